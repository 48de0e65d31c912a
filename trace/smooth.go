package trace

import (
	"math"

	"trivet/fault"
)

// Smooth fits a polynomial of the given degree (0–5) by least squares to the
// values within ± halfS seconds of each time and returns its derivative of
// the given order (0 = the smoothed value, 1 = per second, …) there. Times
// are in seconds and strictly increase; they need not be even. On even times
// this is the Savitzky–Golay filter; near the ends the window is cut, not
// mirrored. Ok is false where the window holds too few values to fit, and the
// result 0 there.
//
// References: Savitzky, Golay 1964, Smoothing and differentiation of data by
// simplified least squares procedures, Analytical Chemistry 36, 1627–1639;
// Steinier, Termonia, Deltour 1972, ibid. 44, 1906–1909 (corrections).
func Smooth(timesS, values []float64, halfS float64, degree, derivative int) (out []float64, ok []bool, err error) {
	if len(timesS) != len(values) {
		return nil, nil, fault.New("smooth-shape", "there are %d times and %d values", len(timesS), len(values))
	}
	if degree < 0 || degree > 5 || derivative < 0 || derivative > degree || !(halfS > 0) {
		return nil, nil, fault.New("smooth-order", "no fit of degree %d within ± %v s gives derivative %d", degree, halfS, derivative).
			WithFix("take a degree from 0 to 5, a derivative no higher, and a window above zero")
	}
	out, ok = make([]float64, len(values)), make([]bool, len(values))
	factorial := 1.0
	for i := 2; i <= derivative; i++ {
		factorial *= float64(i)
	}
	half := halfS * (1 + 1e-9) // a sample on the edge counts
	lo, hi := 0, 0
	for i, t := range timesS {
		for timesS[lo] < t-half {
			lo++
		}
		for hi < len(timesS) && timesS[hi] <= t+half {
			hi++
		}
		c, good := localFit(timesS[lo:hi], values[lo:hi], t, halfS, degree, derivative)
		out[i], ok[i] = c*factorial/math.Pow(halfS, float64(derivative)), good
	}
	return out, ok, nil
}

// localFit returns coefficient want of the least-squares polynomial in
// u = (t − at)/scale.
func localFit(ts, vs []float64, at, scale float64, degree, want int) (float64, bool) {
	m := degree + 1
	if len(ts) < m {
		return 0, false
	}
	var moment [11]float64 // Σ u^k
	var right [6]float64   // Σ u^k (v − v0)
	v0 := vs[0]
	for i, t := range ts {
		u, p := (t-at)/scale, 1.0
		for k := 0; k < 2*m-1; k++ {
			moment[k] += p
			if k < m {
				right[k] += p * (vs[i] - v0)
			}
			p *= u
		}
	}
	// Cholesky of the moment matrix A[i][j] = moment[i+j].
	var l [6][6]float64
	for i := 0; i < m; i++ {
		for j := 0; j <= i; j++ {
			s := moment[i+j]
			for k := 0; k < j; k++ {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if s <= 1e-13*moment[2*i] {
					return 0, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	var x [6]float64
	for i := 0; i < m; i++ {
		s := right[i]
		for k := 0; k < i; k++ {
			s -= l[i][k] * x[k]
		}
		x[i] = s / l[i][i]
	}
	for i := m - 1; i >= want; i-- {
		s := x[i]
		for k := i + 1; k < m; k++ {
			s -= l[k][i] * x[k]
		}
		x[i] = s / l[i][i]
	}
	if want == 0 {
		return x[0] + v0, true
	}
	return x[want], true
}

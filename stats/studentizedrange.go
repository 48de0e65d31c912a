package stats

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
)

// legendre returns Gauss–Legendre nodes and weights on [−1, 1]; they are
// computed once per size.
func legendre(n int) (x, w []float64) {
	type rule struct{ x, w []float64 }
	if v, ok := legendreRules.Load(n); ok {
		r := v.(rule)
		return r.x, r.w
	}
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Legendre{}.FixedLocations(r.x, r.w, -1, 1)
	legendreRules.Store(n, r)
	return r.x, r.w
}

var legendreRules sync.Map

// phi is the standard normal density and bigPhi its distribution function.
func phi(z float64) float64    { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
func bigPhi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// power is x^k for a whole k ≥ 0.
func power(x float64, k int) float64 {
	out := 1.0
	for ; k > 0; k >>= 1 {
		if k&1 == 1 {
			out *= x
		}
		x *= x
	}
	return out
}

// overScale integrates g(s) over the density of s = √(χ²_ν/ν),
//
//	f(s) = 2 (ν/2)^(ν/2)/Γ(ν/2) s^(ν−1) exp(−νs²/2),
//
// by Gauss–Legendre on the range that holds all but 1e-16 of it.
func overScale(df float64, g func(s float64) float64) float64 {
	if math.IsInf(df, 1) || df > 1e7 {
		return g(1)
	}
	n := 600
	if df >= 5 {
		n = 160
	}
	sd := 1 / math.Sqrt(2*df)
	lo, hi := math.Max(0, 1-12*sd), 1+14*sd
	if df < 5 {
		hi += 2
	}
	lg, _ := math.Lgamma(df / 2)
	lead := math.Ln2 + df/2*math.Log(df/2) - lg
	x, w := legendre(n)
	sum := 0.0
	for i := range x {
		s := lo + (hi-lo)*(x[i]+1)/2
		density := math.Exp(lead + (df-1)*math.Log(s) - df*s*s/2)
		if density < 1e-20 {
			continue
		}
		sum += w[i] * density * g(s)
	}
	return sum * (hi - lo) / 2
}

// studentizedRangeUpper is P(Q > q) for the range of k standard normal means
// over an independent s on df degrees of freedom:
//
//	P(Q ≤ q) = ∫ f(s) k∫ φ(z)[Φ(z) − Φ(z−qs)]^(k−1) dz ds.
//
// The upper tail is integrated as such, so small p-values keep an absolute
// error near 1e-14.
func studentizedRangeUpper(q float64, k int, df float64) float64 {
	switch {
	case math.IsNaN(q) || k < 2 || !(df > 0):
		return math.NaN()
	case q <= 0:
		return 1
	}
	const nodes, reach = 160, 9.5
	x, w := legendre(nodes)
	density := make([]float64, nodes)
	below := make([]float64, nodes)
	for i := range x {
		z := reach * x[i]
		density[i] = w[i] * reach * float64(k) * phi(z)
		below[i] = bigPhi(z)
	}
	inside := overScale(df, func(s float64) float64 {
		sum := 0.0
		for i := range x {
			sum += density[i] * power(below[i]-bigPhi(reach*x[i]-q*s), k-1)
		}
		return sum
	})
	return math.Min(1, math.Max(0, 1-inside))
}

// studentizedRangeQuantile is the q with P(Q ≤ q) = p, by bisection.
func studentizedRangeQuantile(p float64, k int, df float64) float64 {
	if !(p > 0 && p < 1) || k < 2 || !(df > 0) {
		return math.NaN()
	}
	lo, hi := 0.0, 4.0
	for studentizedRangeUpper(hi, k, df) > 1-p && hi < 1e6 {
		hi *= 2
	}
	return bisect(func(q float64) float64 { return (1 - p) - studentizedRangeUpper(q, k, df) }, lo, hi)
}

// bisect finds the root of an increasing function, by the secant-safeguarded
// bisection of Dowell & Jarratt (1971, BIT 11:168; the "Illinois" rule).
func bisect(f func(float64) float64, lo, hi float64) float64 {
	flo, fhi := f(lo), f(hi)
	for range 200 {
		if hi-lo <= 1e-14*math.Max(1e-300, math.Abs(lo)+math.Abs(hi)) {
			break
		}
		x := (lo*fhi - hi*flo) / (fhi - flo)
		if !(x > lo && x < hi) {
			x = lo + (hi-lo)/2
			if x == lo || x == hi {
				break
			}
		}
		switch y := f(x); {
		case y == 0:
			return x
		case y < 0:
			lo, flo = x, y
			fhi /= 2
		default:
			hi, fhi = x, y
			flo /= 2
		}
	}
	return lo + (hi-lo)/2
}

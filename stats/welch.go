package stats

import (
	"math"

	"trivet/fault"
)

// Welch compares two independent groups without assuming equal scatter:
// a − b, se² = s_a²/n_a + s_b²/n_b, degrees of freedom after Welch 1947
// (Biometrika 34:28).
func Welch(a, b []float64) (Linear, error) {
	if len(a) < 2 || len(b) < 2 {
		return Linear{}, fault.New("too-few-rows", "Welch's comparison needs two values in each group, not %d and %d", len(a), len(b))
	}
	va, vb := Variance(a)/float64(len(a)), Variance(b)/float64(len(b))
	if va+vb == 0 {
		return Linear{}, fault.New("zero-variance", "neither group has any scatter, so nothing can be tested")
	}
	v := va + vb
	return Linear{
		Estimate: Mean(a) - Mean(b), SE: math.Sqrt(v),
		DF: v * v / (va*va/float64(len(a)-1) + vb*vb/float64(len(b)-1)),
	}, nil
}

// WelchANOVA tests that several groups have the same mean without assuming
// equal scatter (Welch 1951, Biometrika 38:330).
func WelchANOVA(groups [][]float64) (FTest, error) {
	k := float64(len(groups))
	if len(groups) < 2 {
		return FTest{}, fault.New("one-level", "there is only one group")
	}
	var sumW, sumWM float64
	w, m := make([]float64, len(groups)), make([]float64, len(groups))
	for i, g := range groups {
		v := Variance(g)
		if !(v > 0) {
			return FTest{}, fault.New("zero-variance", "group %d has no scatter or a single value", i+1)
		}
		w[i], m[i] = float64(len(g))/v, Mean(g)
		sumW += w[i]
		sumWM += w[i] * m[i]
	}
	centre := sumWM / sumW
	var between, lambda float64
	for i, g := range groups {
		between += w[i] * (m[i] - centre) * (m[i] - centre)
		lambda += (1 - w[i]/sumW) * (1 - w[i]/sumW) / float64(len(g)-1)
	}
	f := FTest{Term: "groups", NumDF: k - 1, DenDF: (k*k - 1) / (3 * lambda)}
	f.F = between / (k - 1) / (1 + 2*(k-2)/(k*k-1)*lambda)
	f.P = fUpper(f.F, f.NumDF, f.DenDF)
	return f, nil
}

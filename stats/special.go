package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// stdQuantile is the quantile of the standard normal distribution.
func stdQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// regIncBeta is the regularised incomplete beta function, with arguments
// outside [0, 1] and non-numbers answered instead of a panic.
func regIncBeta(a, b, x float64) float64 {
	switch {
	case math.IsNaN(x) || !(a > 0) || !(b > 0):
		return math.NaN()
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return mathext.RegIncBeta(a, b, x)
}

// fUpper is P(F > f) on d1 and d2 degrees of freedom:
// I_x(d2/2, d1/2) with x = d2/(d2 + d1 f).
func fUpper(f, d1, d2 float64) float64 {
	switch {
	case math.IsNaN(f) || !(d1 > 0) || !(d2 > 0):
		return math.NaN()
	case f <= 0:
		return 1
	case math.IsInf(f, 1):
		return 0
	}
	return regIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

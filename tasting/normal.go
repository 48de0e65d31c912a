package tasting

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// normalCDF is Φ(z).
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalPDF is φ(z).
func normalPDF(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// normalQuantile is Φ⁻¹(p).
func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// owenT is Owen's function
//
//	T(h,a) = (1/2π) ∫₀ᵃ exp(−h²(1+x²)/2) / (1+x²) dx
//
// for a between 0 and √3, the range the psychometric functions need. The
// integrand is analytic there and 64 Gauss–Legendre nodes leave an error
// below 1e-15 for every h.
//
// References: Owen D.B., 1956, Tables for computing bivariate normal
// probabilities, Annals of Mathematical Statistics 27:1075-1090.
func owenT(h, a float64) float64 {
	sum := 0.0
	for i, u := range owenNodes {
		x := a * u
		q := 1 + x*x
		sum += owenWeights[i] * math.Exp(-h*h*q/2) / q
	}
	return a * sum / (2 * math.Pi)
}

var owenNodes, owenWeights = func() ([]float64, []float64) {
	x, w := make([]float64, 64), make([]float64, 64)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	return x, w
}()

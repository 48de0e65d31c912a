package stats

import "math"

// ConfidenceSequenceRadius is the half width of a 1−alpha confidence
// sequence for a mean of n paired differences, in units of s/√n: the
// interval D̄ ± k·s/√n holds at every n at once, however often one looks and
// whenever one stops.
//
//	k = √(ν (c − 1)/(1 − c/(1+ng))),  c = (√(1+ng)/α)^(2/n),  ν = n − 1
//
// It comes from the e-value of a t test with a N(0, g) prior on the effect
// in units of its SD and the right-Haar prior on that SD. Infinite while
// c ≥ 1+ng: with g = 1 and alpha = 0.05 that is up to n = 4.
//
// References: T. L. Lai, Annals of Statistics 4:265 (1976); Robbins, Annals
// of Mathematical Statistics 41:1397 (1970).
func ConfidenceSequenceRadius(n int, g, alpha float64) float64 {
	if n < 2 || !(g > 0) || !(alpha > 0 && alpha < 1) {
		return math.Inf(1)
	}
	spread := 1 + float64(n)*g
	c := math.Pow(math.Sqrt(spread)/alpha, 2/float64(n))
	if c >= spread {
		return math.Inf(1)
	}
	return math.Sqrt(float64(n-1) * (c - 1) / (1 - c/spread))
}

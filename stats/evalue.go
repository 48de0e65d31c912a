package stats

import "math"

// LogEValue is the logarithm of the e-value against a mean difference of
// zero after n paired differences with t statistic t = D̄√n/s: the evidence of
// a N(0, g) prior on the effect in units of its SD, with the right-Haar prior
// on that SD, against none.
//
//	ln E = −½ ln(1+ng) − (n/2)[ln(1 + t²/(ν(1+ng))) − ln(1 + t²/ν)],  ν = n − 1
//
// An e-value of 1/α or more at any time is evidence at level α, however often
// one looked; [ConfidenceSequenceRadius] inverts it. NaN under n = 2.
func LogEValue(n int, t, g float64) float64 {
	if n < 2 || !(g > 0) {
		return math.NaN()
	}
	nf, df := float64(n), float64(n-1)
	spread := 1 + nf*g
	return -math.Log(spread)/2 - nf/2*(math.Log1p(t*t/(df*spread))-math.Log1p(t*t/df))
}

// NormalMixtureBoundary is the two-sided boundary that a sum of differences
// with known variance stays inside for ever with chance 1 − alpha, where
// v = nσ² is the variance so far and rho > 0 tunes where it is narrowest:
//
//	u(v) = √((v+ρ) ln((v+ρ)/(ρα²)))
//
// References: H. Robbins, Annals of Mathematical Statistics 41:1397 (1970);
// S. R. Howard, A. Ramdas, J. McAuliffe & J. Sekhon, Annals of Statistics
// 49:1055 (2021).
func NormalMixtureBoundary(v, rho, alpha float64) float64 {
	return math.Sqrt((v + rho) * math.Log((v+rho)/(rho*alpha*alpha)))
}

// KnownVarianceEValue is the e-value against mean mu0 of n values with mean
// xbar and known variance, with a N(mu0, tau2) prior on the mean otherwise:
//
//	E = √(σ²/(σ²+nτ²)) exp(τ²n²(x̄−μ₀)²/(2σ²(σ²+nτ²)))
func KnownVarianceEValue(n int, xbar, mu0, variance, tau2 float64) float64 {
	nf := float64(n)
	total := variance + nf*tau2
	d := xbar - mu0
	return math.Sqrt(variance/total) * math.Exp(tau2*nf*nf*d*d/(2*variance*total))
}

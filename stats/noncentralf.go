package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// noncentralFCDF is P(F ≤ f) of the noncentral F distribution with d1 and d2
// degrees of freedom and noncentrality lambda, a Poisson mixture of beta
// distributions:
//
//	P = Σ_j e^(−λ/2) (λ/2)^j/j! · I_x(d1/2 + j, d2/2),  x = d1 f/(d1 f + d2)
//
// The sum starts at the largest Poisson weight, j ≈ λ/2, and runs both ways;
// each further incomplete beta follows from its neighbour by
//
//	I_x(a, b) − I_x(a+1, b) = Γ(a+b)/(Γ(a+1)Γ(b)) · x^a (1−x)^b
//
// so that large noncentralities neither underflow nor need many calls.
//
// References: D. Benton & K. Krishnamoorthy, Computational Statistics & Data
// Analysis 43:249 (2003), algorithm 7.1.
func noncentralFCDF(f, d1, d2, lambda float64) float64 {
	switch {
	case math.IsNaN(f) || !(d1 > 0) || !(d2 > 0) || !(lambda >= 0) || math.IsInf(lambda, 1):
		return math.NaN()
	case f <= 0:
		return 0
	case math.IsInf(f, 1):
		return 1
	case lambda == 0:
		return 1 - fUpper(f, d1, d2)
	}
	const enough = 1e-17
	x := d1 * f / (d1*f + d2)
	half, b := lambda/2, d2/2
	start := math.Floor(half)
	a := d1/2 + start
	weight := distuv.Poisson{Lambda: half}.Prob(start)
	beta := regIncBeta(a, b, x)
	// step is I_x(a, b) − I_x(a+1, b).
	step := math.Exp(lgamma(a+b) - lgamma(a+1) - lgamma(b) + a*math.Log(x) + b*math.Log1p(-x))

	sum := weight * beta
	w, i, s, at := weight, beta, step, a
	for j := start; ; j++ { // upwards: betas fall
		i -= s
		s *= x * (at + b) / (at + 1)
		at++
		w *= half / (j + 1)
		sum += w * math.Max(i, 0)
		if w*math.Max(i, 0) < enough*math.Max(sum, 1e-300) && j > half {
			break
		}
		if w < enough*enough {
			break
		}
	}
	w, i, s, at = weight, beta, step, a
	for j := start; j > 0; j-- { // downwards: betas rise to 1
		s *= at / ((at + b - 1) * x)
		at--
		i = math.Min(1, i+s)
		w *= j / half
		sum += w * i
		if w < enough*sum {
			break
		}
	}
	return math.Min(1, math.Max(0, sum))
}

func lgamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}

// fQuantile is the quantile of the F distribution.
func fQuantile(p, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Quantile(p) }

// PowerF is the chance that an F test at level alpha finds differences among
// treatments when the noncentrality of its F is lambda: 1 − P(F' ≤ F(1−α)).
// See [RandomisedBlocks], [OneWay], [LatinSquares], [IncompleteBlocks] and
// [TwoLevelFactorial] for the noncentrality of common designs.
func PowerF(lambda, df1, df2, alpha float64) float64 {
	if !(df1 > 0) || !(df2 > 0) {
		return 0
	}
	return 1 - noncentralFCDF(fQuantile(1-alpha, df1, df2), df1, df2, lambda)
}

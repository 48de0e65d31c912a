package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// scaleNodes is the number of Gauss–Legendre nodes over the sampling
// distribution of s/σ; 256 give power to about 1e-12.
const scaleNodes = 256

// noncentralTUpper is P(T ≥ t) of the noncentral t distribution with df
// degrees of freedom and noncentrality ncp.
func noncentralTUpper(t, df, ncp float64) float64 {
	if ncp == 0 {
		return tUpper(t, df)
	}
	if ncp < 0 { // T(ncp) and −T(−ncp) have the same distribution
		return 1 - noncentralTUpper(-t, df, -ncp)
	}
	if ncp > largeNCP {
		return farNoncentralT(t, df, ncp)
	}
	return math.Max(0, 1-distuv.NoncentralT{Nu: df, Mu: ncp}.CDF(t))
}

// largeNCP is where the series of gonum's noncentral t begins to underflow:
// its first weight is exp(−ncp²/2).
const largeNCP = 30

// farNoncentralT is P(T ≥ t) = ∫ Φ(ncp − t s) f(s) ds for a large
// noncentrality. Φ falls from 1 to 0 within a few 1/t of s = ncp/t, which
// gets a panel of its own.
func farNoncentralT(t, df, ncp float64) float64 {
	if t <= 0 {
		return 1
	}
	edge, width := ncp/t, 9/t
	below := overSpread(df, edge-width, func(float64) float64 { return 1 })
	return math.Min(1, below+overRange(df, edge-width, edge+width, func(s float64) float64 { return bigPhi(ncp - t*s) }))
}

// PowerDifference is the chance that a two-sided test at level alpha shows a
// difference from zero when the true difference is theta and its estimate
// has standard error se (known up to the estimate of σ on df degrees of
// freedom): P(|T| ≥ t(1−α/2, ν)), T noncentral t with θ/se.
func PowerDifference(theta, se, df, alpha float64) float64 {
	t := tQuantile(1-alpha/2, df)
	ncp := math.Abs(theta) / se
	return noncentralTUpper(t, df, ncp) + noncentralTUpper(t, df, -ncp)
}

// PowerBeyond is the chance that the 1−alpha interval lies wholly at or
// above bound: P(T ≥ t(1−α/2, ν)), T noncentral t with (θ−bound)/se. With
// bound = δ it is the chance of showing a difference that matters.
func PowerBeyond(theta, bound, se, df, alpha float64) float64 {
	return noncentralTUpper(tQuantile(1-alpha/2, df), df, (theta-bound)/se)
}

// PowerEquivalence is the chance that two one-sided tests, each at alpha,
// show the difference to lie inside ±margin:
//
//	π = ∫ [Φ((δ−θ)/se − t s) − Φ((−δ−θ)/se + t s)] f(s) ds,  0 < s < δ/(t·se)
//
// with t = t(1−α, ν) and ν s² ~ χ²(ν). K. F. Phillips, J Pharmacokinet
// Biopharm 18:137 (1990).
func PowerEquivalence(theta, margin, se, df, alpha float64) float64 {
	t := tQuantile(1-alpha, df)
	return overSpread(df, margin/(t*se), func(s float64) float64 {
		return math.Max(0, bigPhi((margin-theta)/se-t*s)-bigPhi((-margin-theta)/se+t*s))
	})
}

// Chances is the probability of each outcome of a three-sided test.
type Chances struct {
	Beyond        float64 // wholly at or above +δ
	BeyondOther   float64 // wholly at or below −δ
	InsideNonzero float64 // inside ±δ, zero excluded
	InsideZero    float64 // inside ±δ, zero included
	Open          float64 // anything else
}

// ThreeSided is the chance of each outcome when the difference is read with
// I(1−alpha) for "beyond" and "zero" and with I(1−2·alpha) for "inside".
func ThreeSided(theta, margin, se, df, alpha float64) Chances {
	c := Chances{
		Beyond:      PowerBeyond(theta, margin, se, df, alpha),
		BeyondOther: PowerBeyond(-theta, margin, se, df, alpha),
	}
	inside := PowerEquivalence(theta, margin, se, df, alpha)
	wide, narrow := tQuantile(1-alpha/2, df), tQuantile(1-alpha, df)
	// |D| < wide·s and |D| < δ − narrow·s, all in units of se.
	c.InsideZero = overSpread(df, margin/(narrow*se), func(s float64) float64 {
		h := math.Min(wide*s, margin/se-narrow*s)
		return math.Max(0, bigPhi(h-theta/se)-bigPhi(-h-theta/se))
	})
	c.InsideZero = math.Min(c.InsideZero, inside)
	c.InsideNonzero = inside - c.InsideZero
	c.Open = math.Max(0, 1-c.Beyond-c.BeyondOther-inside)
	return c
}

// overSpread is ∫₀^upper g(s) f(s) ds over the density f of s/σ estimated on
// df degrees of freedom, ν s² ~ χ²(ν). The range is cut where f is below
// 1e-16 of its mass.
func overSpread(df, upper float64, g func(s float64) float64) float64 {
	return overRange(df, 0, upper, g)
}

// overRange is the part of [overSpread] with from < s < upper.
func overRange(df, from, upper float64, g func(s float64) float64) float64 {
	lo := math.Max(math.Max(0, from), 1-12/math.Sqrt(2*df))
	hi := 1 + 14/math.Sqrt(2*df)
	if df < 5 {
		hi += 2
	}
	hi = math.Min(hi, upper)
	if !(hi > lo) {
		return 0
	}
	x, w := legendre(scaleNodes)
	lg, _ := math.Lgamma(df / 2)
	logC := math.Ln2 + df/2*math.Log(df/2) - lg
	sum := 0.0
	for i := range x {
		s := lo + (hi-lo)*(x[i]+1)/2
		if s <= 0 {
			continue
		}
		sum += w[i] * g(s) * math.Exp(logC+(df-1)*math.Log(s)-df*s*s/2)
	}
	return sum * (hi - lo) / 2
}

// SmallestN is the smallest n in [from, most] with power(n) ≥ want; 0 if
// there is none. Power must not fall as n rises.
func SmallestN(from, most int, want float64, power func(n int) float64) int {
	if power(most) < want {
		return 0
	}
	lo, hi := from, most
	for lo < hi {
		mid := (lo + hi) / 2
		if power(mid) >= want {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// UpperSD is the upper limit, at confidence level one-sided, of a standard
// deviation estimated as s on df degrees of freedom: s √(ν/χ²(1−level, ν)).
func UpperSD(s, df, level float64) float64 {
	return s * math.Sqrt(df/distuv.ChiSquared{K: df}.Quantile(1-level))
}

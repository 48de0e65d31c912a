package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Differences describes treatment − control, one difference per block, in the
// ways a cook asks about it.
type Differences struct {
	N        int
	Mean, SD float64
	// DZ is the mean difference in units of the SD of differences; HedgesG is
	// DZ times the small-sample factor J.
	DZ, J, HedgesG float64

	d []float64
}

// Describe summarises paired differences. Numbers that need two differences
// are NaN for one.
func Describe(d []float64) Differences {
	out := Differences{N: len(d), Mean: Mean(d), SD: SD(d), d: append([]float64(nil), d...)}
	out.DZ = out.Mean / out.SD
	out.J = hedgesJ(float64(out.N - 1))
	out.HedgesG = out.J * out.DZ
	return out
}

// hedgesJ is Γ(ν/2)/(√(ν/2) Γ((ν−1)/2)) (Hedges 1981, J Educ Stat 6:107).
func hedgesJ(df float64) float64 {
	if df <= 1 {
		return math.NaN()
	}
	a, _ := math.Lgamma(df / 2)
	b, _ := math.Lgamma((df - 1) / 2)
	return math.Exp(a-b) / math.Sqrt(df/2)
}

// DZInterval is the exact interval of the standardised difference, by the
// noncentral t distributions that put the observed t at their quantiles.
func (d Differences) DZInterval(level float64) Interval {
	df := float64(d.N - 1)
	t := d.Mean / d.SD * math.Sqrt(float64(d.N))
	if d.N < 2 || math.IsNaN(t) || math.IsInf(t, 0) {
		return Interval{Low: math.NaN(), High: math.NaN(), Level: level}
	}
	at := func(p float64) float64 {
		f := func(mu float64) float64 { return p - distuv.NoncentralT{Nu: df, Mu: mu}.CDF(t) }
		// The noncentrality lies within a few units of t, wider as t grows.
		reach := 10 + 2*math.Abs(t)
		return bisect(f, t-reach, t+reach) / math.Sqrt(float64(d.N))
	}
	return Interval{Low: at((1 + level) / 2), High: at((1 - level) / 2), Level: level}
}

// HedgesInterval is J times [Differences.DZInterval].
func (d Differences) HedgesInterval(level float64) Interval {
	i := d.DZInterval(level)
	return Interval{Low: d.J * i.Low, High: d.J * i.High, Level: level}
}

// Next is where the difference in the next block falls: mean ± t·SD·√(1+1/n).
// It is wide where the interval of the mean is narrow: "in your next cook"
// beside "on average".
func (d Differences) Next(level float64) Interval {
	h := tQuantile((1+level)/2, float64(d.N-1)) * d.SD * math.Sqrt(1+1/float64(d.N))
	return Interval{Low: d.Mean - h, High: d.Mean + h, Level: level}
}

// SDInterval is the χ² interval of the SD of differences.
func (d Differences) SDInterval(level float64) Interval {
	df := float64(d.N - 1)
	if d.N < 2 {
		return Interval{Low: math.NaN(), High: math.NaN(), Level: level}
	}
	chi := distuv.ChiSquared{K: df}
	return Interval{
		Low:   d.SD * math.Sqrt(df/chi.Quantile((1+level)/2)),
		High:  d.SD * math.Sqrt(df/chi.Quantile((1-level)/2)),
		Level: level,
	}
}

// ShareBeyond estimates the share of cooks in which the treatment wins by at
// least the margin in the direction of the claim, under the normal model:
// Φ((mean−δ)/SD) for Higher. Either adds both directions.
func (d Differences) ShareBeyond(claim Claim, margin float64) float64 {
	up, down := bigPhi((d.Mean-margin)/d.SD), bigPhi((-d.Mean-margin)/d.SD)
	switch claim {
	case Higher:
		return up
	case Lower:
		return down
	}
	return math.Min(1, up+down)
}

// SignTest counts the differences above and below zero.
type SignTest struct {
	Positive, N int // N leaves zeros out
	P           float64
	Share       Interval // Clopper–Pearson interval of the share above zero
}

// Signs is the exact sign test, zeros left out (Arbuthnot 1710).
func Signs(d []float64, level float64) SignTest {
	var s SignTest
	for _, v := range d {
		if v != 0 {
			s.N++
		}
		if v > 0 {
			s.Positive++
		}
	}
	s.P = fairTwoSided(s.Positive, s.N)
	s.Share = ClopperPearson(s.Positive, s.N, level)
	return s
}

// ClopperPearson is the exact interval of a share from k of n (Clopper &
// Pearson 1934, Biometrika 26:404).
func ClopperPearson(k, n int, level float64) Interval {
	out := Interval{Low: 0, High: 1, Level: level}
	a := (1 - level) / 2
	if k > 0 {
		out.Low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(a)
	}
	if k < n {
		out.High = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - a)
	}
	return out
}

// fairTwoSided is twice the smaller tail of k in n throws of a fair coin, at
// most 1. P(X ≥ k) = I_½(k, n−k+1).
func fairTwoSided(k, n int) float64 {
	k = max(k, n-k)
	if k == 0 {
		return 1
	}
	return math.Min(1, 2*regIncBeta(float64(k), float64(n-k+1), 0.5))
}

// OutlierLimit is the number of robust standard deviations from the median
// beyond which a difference is flagged (Iglewicz & Hoaglin 1993).
const OutlierLimit = 3.5

// Outliers returns the indices of values farther from the median than 3.5 ×
// 1.4826 × MAD. They are shown, never deleted. Fewer than six values, or half
// of them equal, flag nothing.
func Outliers(x []float64) []int {
	if len(x) < 6 {
		return nil
	}
	median := Median(x)
	away := make([]float64, len(x))
	for i, v := range x {
		away[i] = math.Abs(v - median)
	}
	limit := OutlierLimit * 1.4826 * Median(away)
	if limit == 0 {
		return nil
	}
	var out []int
	for i, a := range away {
		if a > limit {
			out = append(out, i)
		}
	}
	return out
}

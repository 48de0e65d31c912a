package stats

import (
	"math"
	"slices"
)

// SignedRankTest is Wilcoxon's signed-rank test of paired differences
// (Wilcoxon 1945, Biometrics Bull 1:80). Zero differences are dropped and ties
// get midranks; the null distribution is exact for both.
type SignedRankTest struct {
	N int     // differences given
	M int     // differences that are not zero
	V float64 // sum of the ranks of positive differences
	// Estimate is the Hodges–Lehmann estimate: the median of the averages of
	// all pairs of differences, each with itself included, zeros included
	// (Hodges & Lehmann 1963, Ann Math Stat 34:598).
	Estimate float64

	d     []float64
	share []float64 // share[v] = P(2V = v) under no difference
}

// SignedRank prepares the test of differences d.
func SignedRank(d []float64) *SignedRankTest {
	t := &SignedRankTest{N: len(d), d: slices.Clone(d), Estimate: math.NaN()}
	if len(d) > 0 {
		t.Estimate = Median(walshAverages(d))
	}
	var size []float64
	var positive []bool
	for _, v := range d {
		if v != 0 {
			size = append(size, math.Abs(v))
			positive = append(positive, v > 0)
		}
	}
	t.M = len(size)
	doubled := doubledMidranks(size, flipTol)
	total := 0
	for i, r := range doubled {
		total += r
		if positive[i] {
			t.V += float64(r) / 2
		}
	}
	// Each rank is in the positive sum or not, with probability ½: convolve.
	share := make([]float64, total+1)
	share[0] = 1
	reached := 0
	for _, r := range doubled {
		reached += r
		for v := reached; v >= 0; v-- {
			share[v] *= 0.5
			if v >= r {
				share[v] += 0.5 * share[v-r]
			}
		}
	}
	t.share = share
	return t
}

// doubledMidranks ranks values from 1, ties sharing the mean of their ranks;
// doubled so that they are whole. Values within a relative tolerance tie.
func doubledMidranks(x []float64, tol float64) []int {
	order := seq(len(x))
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	ranks := make([]int, len(x))
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && x[order[j]]-x[order[j-1]] <= tol*math.Abs(x[order[j]]) {
			j++
		}
		for k := i; k < j; k++ {
			ranks[order[k]] = (i + 1) + j // 2 × mean of ranks i+1 … j
		}
		i = j
	}
	return ranks
}

// P is the exact p-value against "no difference".
func (t *SignedRankTest) P(claim Claim) float64 {
	at := int(math.Round(2 * t.V))
	var above, below float64
	for v, p := range t.share {
		if v >= at {
			above += p
		}
		if v <= at {
			below += p
		}
	}
	switch claim {
	case Higher:
		return math.Min(1, above)
	case Lower:
		return math.Min(1, below)
	}
	return math.Min(1, 2*math.Min(above, below))
}

// Interval is the interval of Walsh averages that goes with the test for
// differences without ties; with ties or zeros it is slightly conservative.
// Level is the one reached without ties. Infinite with too few differences.
func (t *SignedRankTest) Interval(level float64) Interval {
	free := SignedRank(floats(seq(t.N + 1)[1:])) // ranks 1 … n, no ties
	tail, k := 0.0, 0
	for v := 0; v < len(free.share); v += 2 {
		if tail+free.share[v] > (1-level)/2+1e-15 {
			break
		}
		tail += free.share[v]
		k++
	}
	w := walshAverages(t.d)
	if k < 1 || t.N == 0 {
		return Interval{Low: math.Inf(-1), High: math.Inf(1), Level: 1}
	}
	slices.Sort(w)
	return Interval{Low: w[k-1], High: w[len(w)-k], Level: 1 - 2*tail}
}

func floats(x []int) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = float64(v)
	}
	return out
}

// walshAverages are (dᵢ+dⱼ)/2 for i ≤ j.
func walshAverages(d []float64) []float64 {
	w := make([]float64, 0, len(d)*(len(d)+1)/2)
	for i := range d {
		for j := i; j < len(d); j++ {
			w = append(w, d[i]+(d[j]-d[i])/2)
		}
	}
	return w
}

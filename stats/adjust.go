package stats

import (
	"cmp"
	"math"
	"slices"
)

// Adjust names a way to allow for several comparisons at once.
type Adjust string

// Adjustments. The empty Adjust means AdjustHolm.
const (
	AdjustHolm    Adjust = "holm"    // any set of comparisons (Holm 1979, Scand J Stat 6:65)
	AdjustTukey   Adjust = "tukey"   // all pairs (Tukey 1953; Kramer 1956)
	AdjustDunnett Adjust = "dunnett" // all against one control (Dunnett 1955, JASA 50:1096)
	AdjustNone    Adjust = "none"
)

// Holm returns step-down adjusted p-values: the i-th smallest of m is
// multiplied by m−i+1, kept increasing and at most 1. NaN stays NaN and does
// not count.
func Holm(p []float64) []float64 {
	order := make([]int, 0, len(p))
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	out := slices.Clone(p)
	highest := 0.0
	for rank, i := range order {
		highest = math.Max(highest, math.Min(1, p[i]*float64(len(order)-rank)))
		out[i] = highest
	}
	return out
}

// Tukey is the p-value of one |t| among all pairs of k means on df degrees of
// freedom: P(Q > |t|√2) of the studentized range. With unequal group sizes it
// is the Tukey–Kramer p-value, slightly conservative.
func Tukey(t float64, k int, df float64) float64 {
	if math.IsNaN(t) {
		return math.NaN()
	}
	return studentizedRangeUpper(math.Abs(t)*math.Sqrt2, k, df)
}

// Dunnett is the p-value of one |t| among the comparisons of len(lambda)
// treatments with one control, two-sided, where the correlation of
// comparisons i and j is λᵢλⱼ: λᵢ = √(nᵢ/(n₀+nᵢ)), 1/√2 for equal sizes.
func Dunnett(t float64, lambda []float64, df float64) float64 {
	if math.IsNaN(t) || !(df > 0) {
		return math.NaN()
	}
	return dunnettUpper(math.Abs(t), lambda, df)
}

// loadings finds λ with corr[i][j] = λᵢλⱼ for i ≠ j; false when there is none.
func loadings(corr [][]float64) ([]float64, bool) {
	k := len(corr)
	lambda := make([]float64, k)
	switch k {
	case 1:
		return lambda, true
	case 2:
		if corr[0][1] < 0 {
			return nil, false
		}
		lambda[0] = math.Sqrt(corr[0][1])
		lambda[1] = lambda[0]
		return lambda, true
	}
	for i := range lambda {
		j, l := (i+1)%k, (i+2)%k
		sq := corr[i][j] * corr[i][l] / corr[j][l]
		if !(sq >= 0 && sq < 1) {
			return nil, false
		}
		lambda[i] = math.Sqrt(sq)
	}
	for i := range k {
		for j := range i {
			if math.Abs(corr[i][j]-lambda[i]*lambda[j]) > 1e-6 {
				return nil, false
			}
		}
	}
	return lambda, true
}

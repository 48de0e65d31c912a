package stats

import (
	"math"
	"slices"

	"trivet/fault"
)

// Pairwise returns the differences of all pairs of levels of a factor (the
// later level minus the earlier, in sorted order), adjusted together, with
// intervals at 95 %.
func (m *Model) Pairwise(factorName string, adjust Adjust) ([]Contrast, []fault.Note, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return nil, nil, err
	}
	var pairs [][2]int
	for b := range f.levels {
		for a := b + 1; a < len(f.levels); a++ {
			pairs = append(pairs, [2]int{a, b})
		}
	}
	return m.contrasts(factorName, pairs, adjust, math.Inf(1), 0.05, 0)
}

// Against returns every level of a factor minus one of them, adjusted
// together, with intervals at 95 %.
func (m *Model) Against(factorName, control string, adjust Adjust) ([]Contrast, []fault.Note, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return nil, nil, err
	}
	c := slices.Index(f.levels, control)
	if c < 0 {
		return nil, nil, fault.BadUsage("level-unknown", "%q has no level %q", factorName, control).WithFix("%s", suggest(control, f.levels))
	}
	var pairs [][2]int
	for a := range f.levels {
		if a != c {
			pairs = append(pairs, [2]int{a, c})
		}
	}
	return m.contrasts(factorName, pairs, adjust, math.Inf(1), 0.05, 0)
}

// contrasts estimates pairs of levels and adjusts their p-values together.
// dfCap is the most degrees of freedom any of them may have.
func (m *Model) contrasts(factorName string, pairs [][2]int, adjust Adjust, dfCap, alpha, margin float64) ([]Contrast, []fault.Note, error) {
	f := m.coding.factors[factorName]
	out := make([]Contrast, len(pairs))
	for i, p := range pairs {
		lin, err := m.difference(factorName, p[0], p[1])
		if err != nil {
			return nil, nil, fault.New("not-estimable", "%q against %q cannot be told from the blocks or other effects", f.levels[p[0]], f.levels[p[1]]).
				WithFix("compare them inside the same blocks, or drop the effect that goes with them")
		}
		out[i] = Contrast{Treatment: f.levels[p[0]], Control: f.levels[p[1]],
			Estimate: lin.Estimate, SE: lin.SE, DF: math.Min(lin.DF, dfCap)}
		out[i].fill(alpha, margin)
	}
	if len(out) < 2 {
		return out, nil, nil
	}
	var notes []fault.Note
	switch adjust {
	case AdjustTukey:
		for i := range out {
			out[i].PAdjusted = Tukey(out[i].T, len(f.levels), out[i].DF)
		}
	case AdjustDunnett:
		if lambda, ok := loadings(m.correlations(factorName, pairs)); ok {
			for i := range out {
				out[i].PAdjusted = Dunnett(out[i].T, lambda, out[i].DF)
			}
			break
		}
		notes = append(notes, fault.Notef("dunnett-not-exact",
			"The comparisons are correlated in a way Dunnett's method does not cover; Holm's adjustment is used."))
		fallthrough
	case AdjustHolm, "":
		p := make([]float64, len(out))
		for i := range p {
			p[i] = out[i].P
		}
		for i, v := range Holm(p) {
			out[i].PAdjusted = v
		}
	}
	return out, notes, nil
}

// correlations of the estimated differences of pairs of levels.
func (m *Model) correlations(factorName string, pairs [][2]int) [][]float64 {
	rows := make([][]float64, len(pairs))
	for i, p := range pairs {
		l := m.coding.row(map[string]int{factorName: p[0]})
		axpy(l, m.coding.row(map[string]int{factorName: p[1]}), -1)
		rows[i], _, _ = m.coordinates(0, l)
	}
	cov := func(a, b []float64) float64 {
		if m.reml == nil {
			return dot(a, b)
		}
		return dot(a, multiply(m.profile.c.a, b))
	}
	out := make([][]float64, len(rows))
	for i := range out {
		out[i] = make([]float64, len(rows))
		for j := range out[i] {
			out[i][j] = cov(rows[i], rows[j]) / math.Sqrt(cov(rows[i], rows[i])*cov(rows[j], rows[j]))
		}
	}
	return out
}

// Trend estimates the linear, quadratic … trends, up to degree, over the
// levels of an ordered factor: Σ cᵢ × marginal mean, with c the orthonormal
// polynomial in the scores. Nil scores take the levels as numbers, or 1, 2, 3
// … when they are words.
func (m *Model) Trend(factorName string, scores []float64, degree int) ([]Linear, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return nil, err
	}
	if scores == nil {
		scores = levelScores(f.levels)
	}
	if len(scores) != len(f.levels) {
		return nil, fault.BadUsage("weights", "%d scores for %d levels of %q", len(scores), len(f.levels), factorName)
	}
	if degree < 1 || degree >= len(scores) {
		return nil, fault.BadUsage("trend-degree", "a trend over %d levels has degree 1 to %d, not %d", len(scores), len(scores)-1, degree)
	}
	weights, err := orthogonalPolynomials(scores, degree)
	if err != nil {
		return nil, err
	}
	out := make([]Linear, degree)
	for k, w := range weights {
		if out[k], err = m.Combination(factorName, w, nil); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// orthogonalPolynomials returns orthonormal contrasts of degree 1, 2, … over
// scores, each rising at the last level in the sense of its leading power.
func orthogonalPolynomials(scores []float64, degree int) ([][]float64, error) {
	c := centred(scores)
	one := factor{levels: []string{""}, index: make([]int, len(c))}
	var columns [][]float64
	power := slices.Clone(c)
	for range degree {
		columns = append(columns, slices.Clone(power))
		for i := range power {
			power[i] *= c[i]
		}
	}
	b := newBasis(len(c), columns, &one)
	if b.qr.rank() < degree {
		return nil, fault.BadUsage("trend-scores", "the scores are too few or too alike for a trend of degree %d", degree)
	}
	q := b.qr.q()
	for k := range q {
		if b.qr.r[k][k] < 0 { // sign so that the leading power counts positive
			scale(q[k], -1)
		}
	}
	return q, nil
}

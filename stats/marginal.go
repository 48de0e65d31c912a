package stats

import (
	"math"
	"slices"

	"trivet/fault"
)

// MarginalMean is the mean at one level of a factor, averaged with equal
// weights over the levels of the other factors, covariates at their mean.
type MarginalMean struct {
	Level string
	Linear
}

// MarginalMeans returns the mean of every level of a factor. A level the data
// cannot tell has NaN.
func (m *Model) MarginalMeans(factorName string) ([]MarginalMean, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return nil, err
	}
	out := make([]MarginalMean, len(f.levels))
	for i, level := range f.levels {
		lin, _ := m.linear(1, m.coding.row(map[string]int{factorName: i}))
		out[i] = MarginalMean{Level: level, Linear: lin}
	}
	return out, nil
}

func (m *Model) factor(name string) (factor, error) {
	f, ok := m.coding.factors[name]
	if !ok {
		return f, fault.BadUsage("column-unknown", "the model has no factor %q", name)
	}
	return f, nil
}

// Combination estimates Σ weightᵢ × (marginal mean of level i) of a factor,
// with the weights in the order of its sorted levels; at fixes the levels of
// other factors (nil averages over them). It is an error when the data cannot
// tell it.
func (m *Model) Combination(factorName string, weights []float64, at map[string]string) (Linear, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return Linear{}, err
	}
	if len(weights) != len(f.levels) {
		return Linear{}, fault.BadUsage("weights", "%d weights for %d levels of %q", len(weights), len(f.levels), factorName)
	}
	fixed := map[string]int{}
	for other, level := range at {
		g, err := m.factor(other)
		if err != nil {
			return Linear{}, err
		}
		i := slices.Index(g.levels, level)
		if i < 0 {
			return Linear{}, fault.BadUsage("level-unknown", "%q has no level %q", other, level).WithFix("%s", suggest(level, g.levels))
		}
		fixed[other] = i
	}
	l := make([]float64, len(m.coding.columns))
	l0 := 0.0
	for i, w := range weights {
		if w == 0 {
			continue
		}
		fixed[factorName] = i
		axpy(l, m.coding.row(fixed), w)
		l0 += w
	}
	if math.Abs(l0) < 1e-12 {
		l0 = 0
	}
	lin, ok := m.linear(l0, l)
	if !ok {
		return lin, fault.New("not-estimable", "this comparison of levels of %q cannot be told from the other effects", factorName).
			WithFix("drop the effects it is mixed with, or complete the table")
	}
	return lin, nil
}

// Levels returns the sorted levels of a factor; nil if there is none.
func (m *Model) Levels(factorName string) []string { return m.coding.factors[factorName].levels }

// difference estimates level a minus level b of a factor.
func (m *Model) difference(factorName string, a, b int) (Linear, error) {
	w := make([]float64, len(m.coding.factors[factorName].levels))
	w[a], w[b] = 1, -1
	return m.Combination(factorName, w, nil)
}

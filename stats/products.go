package stats

import (
	"slices"
	"strings"

	"trivet/fault"
)

// WithProducts fits the comparison's model again with products of its factors
// added, each named by its columns: [TreatmentTerm] or a factor of
// [Options.Also]. It returns the model and the names of the added terms, in
// order, for [Model.Test]: the test that a treatment's effect is the same at
// every level of a factor.
//
// Blocks enter as they did in the comparison. Errors are Usage for an unknown
// column and Content for data that cannot bear the terms.
func (c *Comparison) WithProducts(products [][]string) (*Model, []string, error) {
	spec, factors, covariates := c.spec()
	known := map[string]string{TreatmentTerm: TreatmentTerm}
	for i, column := range c.opt.Also {
		known[column] = spec.Fixed[len(c.opt.Covariates)+i]
	}
	var terms []string
	for _, p := range products {
		var parts []string
		for _, column := range p {
			part, ok := known[column]
			if !ok {
				return nil, nil, fault.BadUsage("column-unknown", "the comparison has no factor %q to multiply", column).WithFix("name it among the further effects")
			}
			if slices.Contains(parts, part) {
				return nil, nil, fault.BadUsage("product-twice", "a product names the column %q twice", column).WithFix("name two different columns")
			}
			parts = append(parts, part)
		}
		terms = append(terms, strings.Join(parts, ":"))
	}
	spec.Fixed = append(spec.Fixed, terms...)
	switch {
	case c.model.reml != nil:
		spec.Random = []string{BlockTerm}
	case c.units.block != nil && !c.units.nested():
		spec.Blocks = BlockTerm
	}
	m, err := fitModel(spec, factors, covariates)
	if err != nil {
		return nil, nil, err
	}
	return m, terms, nil
}

// Terms are the names of a model's fixed terms, in order.
func (m *Model) Terms() []string {
	var out []string
	for _, t := range m.coding.terms {
		out = append(out, t.name)
	}
	return out
}

// Mixed reports whether the model has random groupings.
func (m *Model) Mixed() bool { return m.reml != nil }

// Values are the analysed values of one treatment, on the analysis scale:
// what is left after averaging and taking logarithms.
func (c *Comparison) Values(treatment string) []float64 {
	var out []float64
	for i, y := range c.units.response {
		if c.units.treatment.levels[c.units.treatment.index[i]] == treatment {
			out = append(out, y)
		}
	}
	return out
}

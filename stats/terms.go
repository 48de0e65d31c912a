package stats

import (
	"strings"

	"trivet/fault"
)

// term is one fixed effect: a factor, a covariate or a product of them
// ("recipe:temp").
type term struct {
	name        string
	parts       []string
	first, past int // its columns are first … past−1
}

// coding turns fixed terms into columns. Factors get sum-to-zero codes: level
// i < k−1 is the i-th unit vector, the last level is −1 everywhere. An average
// with equal weights over the levels of a factor is then the row with zeros in
// its columns, which makes marginal means and marginal tests simple.
type coding struct {
	factors    map[string]factor
	covariates map[string][]float64
	centre     map[string]float64 // means of covariates
	terms      []term
	columns    [][]float64
}

// newCoding codes the terms, in order.
func newCoding(n int, factors map[string]factor, covariates map[string][]float64, fixed []string) (*coding, error) {
	c := &coding{factors: factors, covariates: covariates, centre: map[string]float64{}}
	for name, x := range covariates {
		c.centre[name] = Mean(x)
	}
	for _, text := range fixed {
		t := term{name: text, parts: strings.Split(text, ":"), first: len(c.columns)}
		product := [][]float64{nil} // nil is a column of ones
		for _, part := range t.parts {
			codes, err := c.codes(n, part)
			if err != nil {
				return nil, err
			}
			next := make([][]float64, 0, len(product)*len(codes))
			for _, code := range codes {
				for _, p := range product {
					next = append(next, times(p, code))
				}
			}
			product = next
		}
		c.columns = append(c.columns, product...)
		t.past = len(c.columns)
		c.terms = append(c.terms, t)
	}
	return c, nil
}

// codes returns the columns of one factor or covariate.
func (c *coding) codes(n int, part string) ([][]float64, error) {
	if x, ok := c.covariates[part]; ok {
		return [][]float64{x}, nil
	}
	f, ok := c.factors[part]
	if !ok {
		return nil, fault.BadUsage("column-unknown", "the model names a column %q that the table does not have", part)
	}
	k := len(f.levels)
	if k < 2 {
		return nil, fault.New("one-level", "%q has a single level %q, so it cannot be told from the mean", part, f.levels[0]).
			WithFix("leave %q out of the model", part)
	}
	codes := make([][]float64, k-1)
	for j := range codes {
		codes[j] = make([]float64, n)
		for i, level := range f.index {
			codes[j][i] = sumCode(level, j, k)
		}
	}
	return codes, nil
}

// sumCode is the value of code j for a level of a factor with k levels.
func sumCode(level, j, k int) float64 {
	switch {
	case level == j:
		return 1
	case level == k-1:
		return -1
	}
	return 0
}

func times(a, b []float64) []float64 {
	if a == nil {
		return b
	}
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] * b[i]
	}
	return out
}

// row returns the predictor row at the given levels of some factors, averaged
// with equal weights over the levels of all others, covariates at their mean.
func (c *coding) row(at map[string]int) []float64 {
	row := make([]float64, len(c.columns))
	for _, t := range c.terms {
		product := []float64{1}
		for _, part := range t.parts {
			var codes []float64
			if _, ok := c.covariates[part]; ok {
				codes = []float64{c.centre[part]}
			} else {
				k := len(c.factors[part].levels)
				codes = make([]float64, k-1)
				if level, ok := at[part]; ok {
					for j := range codes {
						codes[j] = sumCode(level, j, k)
					}
				}
			}
			next := make([]float64, 0, len(product)*len(codes))
			for _, code := range codes {
				for _, p := range product {
					next = append(next, p*code)
				}
			}
			product = next
		}
		copy(row[t.first:t.past], product)
	}
	return row
}

// differences returns the predictor combinations of a term's effects: each
// level minus the first, or products of such differences for an interaction.
// A covariate counts by its slope. Columns of other terms cancel.
func (c *coding) differences(t term) [][]float64 {
	product := [][]float64{{1}}
	for _, part := range t.parts {
		vectors := [][]float64{{1}}
		if _, ok := c.covariates[part]; !ok {
			k := len(c.factors[part].levels)
			vectors = nil
			for level := 1; level < k; level++ {
				v := make([]float64, k-1)
				for j := range v {
					v[j] = sumCode(level, j, k) - sumCode(0, j, k)
				}
				vectors = append(vectors, v)
			}
		}
		var next [][]float64
		for _, v := range vectors {
			for _, p := range product {
				long := make([]float64, 0, len(v)*len(p))
				for _, x := range v {
					for _, y := range p {
						long = append(long, x*y)
					}
				}
				next = append(next, long)
			}
		}
		product = next
	}
	rows := make([][]float64, len(product))
	for i, p := range product {
		rows[i] = make([]float64, len(c.columns))
		copy(rows[i][t.first:t.past], p)
	}
	return rows
}

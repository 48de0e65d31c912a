package stats

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
)

// units are the rows of a table after averaging: what the analysis counts.
type units struct {
	rows       int // rows of the table
	response   []float64
	treatment  factor
	block      *factor
	pieces     bool // a piece column named the units
	also       []factor
	covariates [][]float64
	notes      []fault.Note
}

// gather picks the columns asked for, takes logarithms and averages: in this
// order, so that a ratio of averages is a ratio of geometric means, as in a
// model of the single rows.
func gather(t Table, o *Options) (units, error) {
	u := units{rows: t.Len(), pieces: t.Piece != nil}
	response := slices.Clone(t.Response)
	if o.LogScale {
		for i, y := range response {
			if y <= 0 {
				return u, fault.New("log-not-positive", "logarithms need positive responses").AtRow(i+1).
					On(name(t.ResponseName, "response"), fmt.Sprint(y)).WithFix("compare on the plain scale")
			}
			response[i] = math.Log(y)
		}
	}
	also, values, err := pick(t, o)
	if err != nil {
		return u, err
	}

	keys := make([]string, t.Len())
	for i := range keys {
		parts := []string{t.Treatment[i]}
		for _, labels := range also {
			parts = append(parts, labels[i])
		}
		switch {
		case t.Block == nil && t.Piece == nil:
			parts = append(parts, fmt.Sprint(i)) // every row is a unit
		case t.Block != nil:
			parts = append(parts, t.Block[i])
			if t.Piece != nil {
				parts = append(parts, t.Piece[i])
			}
		default:
			parts = append(parts, t.Piece[i])
		}
		keys[i] = strings.Join(parts, "\x1f")
	}
	groups := groupRows(keys)
	first := make([]int, len(groups))
	for g, rows := range groups {
		first[g] = rows[0]
		u.response = append(u.response, meanAt(response, rows))
	}
	at := func(labels []string) factor {
		out := make([]string, len(first))
		for g, i := range first {
			out[g] = labels[i]
		}
		return newFactor(out)
	}
	u.treatment = at(t.Treatment)
	if t.Block != nil {
		b := at(t.Block)
		u.block = &b
	}
	for _, labels := range also {
		u.also = append(u.also, at(labels))
	}
	for _, v := range values {
		x := make([]float64, len(groups))
		for g, rows := range groups {
			x[g] = meanAt(v, rows)
		}
		u.covariates = append(u.covariates, x)
	}
	if len(groups) < t.Len() {
		what := "block and treatment"
		if len(also) > 0 {
			what = "block, treatment and " + strings.Join(o.Also, ", ")
		}
		code := fault.Code("averaged-to-cells")
		if t.Piece != nil {
			what, code = "piece", "averaged-to-pieces"
		}
		u.notes = append(u.notes, fault.Notef(code,
			"%d rows were averaged to %d units, one per %s: repeated readings are not repeated cooks.", t.Len(), len(groups), what))
	}
	return u, nil
}

// pick finds the factors and covariates the options name.
func pick(t Table, o *Options) (also [][]string, values [][]float64, err error) {
	var known []string
	for _, f := range t.Factors {
		known = append(known, f.Name)
	}
	for _, want := range o.Also {
		i := slices.Index(known, want)
		if i < 0 {
			return nil, nil, fault.BadUsage("column-unknown", "there is no factor column %q", want).On("also", want).WithFix("%s", suggest(want, known))
		}
		also = append(also, t.Factors[i].Labels)
	}
	known = nil
	for _, c := range t.Covariates {
		known = append(known, c.Name)
	}
	for _, want := range o.Covariates {
		i := slices.Index(known, want)
		if i < 0 {
			return nil, nil, fault.BadUsage("column-unknown", "there is no numeric column %q", want).On("covariate", want).WithFix("%s", suggest(want, known))
		}
		values = append(values, t.Covariates[i].Values)
	}
	return also, values, nil
}

// groupRows collects the rows of each key, keys in order of first appearance.
func groupRows(keys []string) [][]int {
	place := make(map[string]int, len(keys))
	var groups [][]int
	for i, k := range keys {
		g, ok := place[k]
		if !ok {
			g = len(groups)
			place[k] = g
			groups = append(groups, nil)
		}
		groups[g] = append(groups[g], i)
	}
	return groups
}

func meanAt(x []float64, rows []int) float64 {
	if len(rows) == 1 {
		return x[rows[0]]
	}
	v := make([]float64, len(rows))
	for k, i := range rows {
		v[k] = x[i]
	}
	return Mean(v)
}

// withoutCovariates keeps the units and forgets their covariates and notes.
func (u units) withoutCovariates() units {
	u.covariates, u.notes = nil, nil
	return u
}

// counts is the number of units per block and treatment.
func (u units) counts() [][]int {
	n := make([][]int, len(u.block.levels))
	for b := range n {
		n[b] = make([]int, len(u.treatment.levels))
	}
	for i, b := range u.block.index {
		n[b][u.treatment.index[i]]++
	}
	return n
}

// complete reports whether every block has every treatment equally often.
func (u units) complete() bool {
	n := u.counts()
	want := n[0][0]
	for _, row := range n {
		for _, c := range row {
			if c == 0 || c != want {
				return false
			}
		}
	}
	return true
}

// nested reports whether no block has two treatments.
func (u units) nested() bool {
	for _, row := range u.counts() {
		used := 0
		for _, c := range row {
			if c > 0 {
				used++
			}
		}
		if used > 1 {
			return false
		}
	}
	return true
}

// unitsPerBlock is the largest number of units in a block.
func (u units) unitsPerBlock() int {
	most := 0
	for _, row := range u.counts() {
		sum := 0
		for _, c := range row {
			sum += c
		}
		most = max(most, sum)
	}
	return most
}

// repeatedCells reports whether some block × treatment has several units.
func (u units) repeatedCells() bool {
	for _, row := range u.counts() {
		for _, c := range row {
			if c > 1 {
				return true
			}
		}
	}
	return false
}

// toCells averages to one unit per block × treatment.
func (u units) toCells() units {
	keys := make([]string, len(u.response))
	for i := range keys {
		keys[i] = fmt.Sprint(u.block.index[i], " ", u.treatment.index[i])
	}
	out := units{rows: u.rows}
	var treatment, block []string
	for _, rows := range groupRows(keys) {
		out.response = append(out.response, meanAt(u.response, rows))
		treatment = append(treatment, u.treatment.levels[u.treatment.index[rows[0]]])
		block = append(block, u.block.levels[u.block.index[rows[0]]])
	}
	out.treatment = newFactor(treatment)
	b := newFactor(block)
	out.block = &b
	return out
}

package tasting

import (
	"fmt"
	"slices"

	"trivet/fault"
)

// Report is a scored table, ready to be printed. Its JSON form holds more.
type Report interface {
	// Table has a header row first.
	Table() [][]string
	Sentences() []string
	Remarks() []fault.Note
}

// TableMethod is a method scored from a table of judgements.
type TableMethod interface {
	Method
	ScoreRows(rows []Row, alpha float64) (Report, error)
}

// outcome carries what every report ends with.
type outcome struct {
	Method string       `json:"method"`
	Alpha  float64      `json:"alpha"`
	Says   []string     `json:"says"`
	Notes  []fault.Note `json:"notes,omitempty"`
}

// Sentences implements Report.
func (o *outcome) Sentences() []string { return o.Says }

// Remarks implements Report.
func (o *outcome) Remarks() []fault.Note { return o.Notes }

func (o *outcome) say(format string, args ...any) {
	o.Says = append(o.Says, fmt.Sprintf(format, args...))
}

func (o *outcome) note(code fault.Code, format string, args ...any) {
	o.Notes = append(o.Notes, fault.Notef(code, format, args...))
}

// close adds what the method never shows.
func (o *outcome) close(m Method) {
	for _, not := range m.Describe().Not {
		o.say("It may not claim %s.", not)
	}
}

// Panel is the values behind a report, one for each assessor and product,
// repeated judgements averaged.
type Panel struct {
	Attribute           string // "" where the method has but one
	Assessors, Products []string
	Values              [][]float64 // by assessor, then product; NaN where not judged
}

// panel returns the assessors who judged every product and, if all, the
// others behind them.
func (g *grid) panel(attribute string, all bool) *Panel {
	p := &Panel{Attribute: attribute, Products: g.products, Assessors: slices.Clone(g.assessors), Values: slices.Clone(g.values)}
	if all {
		p.Assessors, p.Values = append(p.Assessors, g.dropped...), append(p.Values, g.partial...)
	}
	return p
}

// grid is one value for each assessor and product.
type grid struct {
	assessors, products []string
	values              [][]float64 // by assessor, then product
	dropped             []string    // assessors who did not judge every product
	partial             [][]float64 // theirs, NaN where there is none
	replicated          bool        // some cells are means of several judgements
}

// makeGrid averages rows to cells, products and assessors in order of first
// appearance, and leaves out assessors with a gap.
func makeGrid(rows []Row) (*grid, error) {
	g := &grid{}
	type cell struct{ a, p string }
	total, count := map[cell]float64{}, map[cell]int{}
	var people []string
	for i, r := range rows {
		if r.Assessor == "" || r.Product == "" {
			return nil, fault.New("row-incomplete", "a row names no assessor or no product").AtRow(i + 1).WithFix("fill in both columns")
		}
		if !slices.Contains(people, r.Assessor) {
			people = append(people, r.Assessor)
		}
		if !slices.Contains(g.products, r.Product) {
			g.products = append(g.products, r.Product)
		}
		c := cell{r.Assessor, r.Product}
		total[c] += r.Value
		count[c]++
		g.replicated = g.replicated || count[c] > 1
	}
	if len(g.products) < 2 {
		return nil, fault.New("product-count", "there is only one product to compare").WithFix("give rows for at least two products")
	}
	for _, a := range people {
		row := make([]float64, len(g.products))
		whole := true
		for j, p := range g.products {
			n := count[cell{a, p}]
			whole = whole && n > 0
			row[j] = total[cell{a, p}] / float64(n)
		}
		if !whole {
			g.dropped, g.partial = append(g.dropped, a), append(g.partial, row)
			continue
		}
		g.assessors = append(g.assessors, a)
		g.values = append(g.values, row)
	}
	if len(g.assessors) < 2 {
		return nil, fault.New("too-few-assessors", "fewer than two assessors judged every product").WithFix("score a table in which assessors judged all %d products", len(g.products))
	}
	return g, nil
}

func (g *grid) remark(o *outcome) {
	if len(g.dropped) > 0 {
		o.note("assessors-incomplete", "%d assessors did not judge every product and are left out", len(g.dropped))
	}
	if g.replicated {
		o.note("replicates-averaged", "an assessor's repeated judgements of a product are averaged: each assessor counts once")
	}
}

func (g *grid) column(p int) []float64 {
	out := make([]float64, len(g.values))
	for i, row := range g.values {
		out[i] = row[p]
	}
	return out
}

// byAttribute splits rows, attributes in order of first appearance.
func byAttribute(rows []Row) (names []string, parts map[string][]Row) {
	parts = map[string][]Row{}
	for _, r := range rows {
		if _, ok := parts[r.Attribute]; !ok {
			names = append(names, r.Attribute)
		}
		parts[r.Attribute] = append(parts[r.Attribute], r)
	}
	return names, parts
}

// short prints a number for a table.
func short(v float64) string { return fmt.Sprintf("%.3g", v) }

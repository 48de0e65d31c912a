package figure

import (
	"fmt"
	"math"
	"strings"
)

// LedgerItem is one term of a heat ledger, J for each treatment; a term that
// is not finite is unknown.
type LedgerItem struct {
	Name   string
	Joules []float64 // in the order of the treatments
}

// Ledger sets heat taken in against what became of it, treatments side by
// side.
type Ledger struct {
	Head
	Treatments []string
	In         []LedgerItem // through which face
	Out        []LedgerItem // stored, boiled off, evaporated, dripped, radiated
}

var _ Figure = Ledger{}

func (f Ledger) check() (spread, error) {
	sp := newSpread()
	sp.add(0)
	some := false
	for _, items := range [][]LedgerItem{f.In, f.Out} {
		for _, it := range items {
			if len(it.Joules) != len(f.Treatments) {
				return sp, errInput("Joules", it.Name, "%s has %d values for %d treatments", it.Name, len(it.Joules), len(f.Treatments))
			}
			sp.add(it.Joules...)
			for _, j := range it.Joules {
				some = some || finite(j)
			}
		}
	}
	if !some {
		return sp, errEmpty("the heat ledger", "give at least one term")
	}
	return sp, nil
}

// Scene lays the figure out.
func (f Ledger) Scene(size Size, theme Theme) (*Scene, error) {
	sp, err := f.check()
	if err != nil {
		return nil, err
	}
	m := Measure{Unit: "kJ"}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.Head, f.Alt(), size, theme)
		g := &s.Root
		y := s.body.Y
		var keys []entry
		for t, name := range f.Treatments {
			keys = append(keys, entry{label: name, style: StyleOf(t), point: true})
		}
		y = s.legend(g, keys, s.body.X, y, s.body.W) + 2*s.u
		lo, hi := sp.lo/1000, sp.hi/1000
		if hi == lo {
			hi = lo + 1
		}
		d := max(0, DecimalsFor((hi-lo)/10)) // the least digit is about a hundredth of the longest bar
		room := Width(m.Text(hi, d), Regular, s.small) + 14*s.u
		left := 0.0
		if lo < 0 {
			left = 6 * s.u
		}
		ax := axis{m: m, lo: lo, hi: hi, from: s.body.X + left, to: s.body.Right() - room}
		thick := 10 * s.u
		if s.body.H > 0 {
			rows := float64(len(f.In) + len(f.Out))
			text := rows*(s.em*leading+6*s.u) + 2*(s.em*leading+6*s.u) + s.xAxisHeight("heat, kJ", s.body.W)
			thick = math.Max(thick, math.Min(28*s.u, (s.body.Bottom()-y-text)/(rows*float64(len(f.Treatments)))-3*s.u))
		}
		side := func(title string, items []LedgerItem) {
			if len(items) == 0 {
				return
			}
			sg := g.Sub(title)
			y = s.paragraph(sg, title+": "+f.sums(items, d), s.body.X, y, s.body.W, s.em, Bold, Ink) + 2*s.u
			var rows []barRow
			for _, it := range items {
				row := barRow{label: it.Name}
				for t, j := range it.Joules {
					row.bars = append(row.bars, bar{j / 1000, m.Text(j/1000, d), StyleOf(t)})
				}
				rows = append(rows, row)
			}
			y = s.barRows(sg, rows, ax, y, thick) + 4*s.u
		}
		side("Heat in", f.In)
		side("What became of it", f.Out)
		plot := Box{s.body.X, y, ax.to - s.body.X, 0}
		y = s.xAxis(g, ax, s.xTicks(ax), plot, "heat, kJ")
		limit := s.body.Bottom()
		return s.done(y), y, limit, nil
	})
}

// sums prints the total of each treatment.
func (f Ledger) sums(items []LedgerItem, d int) string {
	parts := make([]string, len(f.Treatments))
	for t, name := range f.Treatments {
		sum := 0.0
		for _, it := range items {
			sum += it.Joules[t]
		}
		parts[t] = Measure{Unit: "kJ"}.Text(sum/1000, d) + " " + name
		if !finite(sum) {
			parts[t] = "unknown " + name
		}
	}
	return strings.Join(parts, ", ")
}

// Table gives every term in J.
func (f Ledger) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"side", "term"}}
	for _, name := range f.Treatments {
		t.Columns = append(t.Columns, name+", J")
	}
	for _, side := range []struct {
		name  string
		items []LedgerItem
	}{{"in", f.In}, {"out", f.Out}} {
		for _, it := range side.items {
			row := []string{side.name, it.Name}
			for _, j := range it.Joules {
				row = append(row, cell(j))
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// Alt says both sides.
func (f Ledger) Alt() string {
	if _, err := f.check(); err != nil {
		return "An empty heat ledger."
	}
	return fmt.Sprintf("Heat ledger. Heat in: %s. What became of it: %s. Largest: %s.", f.sums(f.In, 1), f.sums(f.Out, 1), f.largest())
}

func (f Ledger) largest() string {
	name, most := "", math.Inf(-1)
	for _, it := range f.Out {
		for _, j := range it.Joules {
			if finite(j) && j > most {
				name, most = it.Name, j
			}
		}
	}
	if name == "" {
		return "unknown"
	}
	return name
}

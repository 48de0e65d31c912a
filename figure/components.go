package figure

import (
	"fmt"
	"math"
	"strings"
)

// Component is one source of scatter.
type Component struct {
	Name     string
	Variance float64 // in the square of the measure's unit; ≥ 0
}

// Components shows where the scatter of a response comes from: between
// blocks, between pieces, between readings of one piece.
type Components struct {
	Head
	Measure Measure // of the response
	Parts   []Component
}

var _ Figure = Components{}

func (f Components) total() (sum float64, err error) {
	for _, p := range f.Parts {
		if !finite(p.Variance) || p.Variance < 0 {
			return 0, errInput("Variance", fmt.Sprint(p.Variance), "the variance of %s is not zero or more", p.Name)
		}
		sum += p.Variance
	}
	if sum == 0 {
		return 0, errEmpty("the components figure", "give at least one variance above zero")
	}
	return sum, nil
}

// Scene lays the figure out.
func (f Components) Scene(size Size, theme Theme) (*Scene, error) {
	total, err := f.total()
	if err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.Head, f.Alt(), size, theme)
		var rows []barRow
		room := 0.0
		for i, p := range f.Parts {
			b := bar{value: 100 * p.Variance / total, text: f.says(p, total), style: StyleOf(i)}
			room = math.Max(room, Width(b.text, Regular, s.small))
			rows = append(rows, barRow{p.Name, []bar{b}})
		}
		ax := axis{m: Measure{Kind: Percent}, lo: 0, hi: 100, from: s.body.X, to: s.body.Right() - math.Min(room+12*s.u, s.body.W*0.5)}
		thick := 16 * s.u
		if s.body.H > 0 {
			n := float64(len(rows))
			thick = math.Max(thick, math.Min(44*s.u, (s.body.H-s.xAxisHeight("share", s.body.W))/n-s.em*leading-12*s.u))
		}
		y := s.barRows(&s.Root, rows, ax, s.body.Y, thick)
		plot := Box{ax.from, y, ax.to - ax.from, 0}
		y = s.xAxis(&s.Root, ax, s.xTicks(ax), plot, "share of the variance, %")
		limit := s.body.Bottom()
		return s.done(y), y, limit, nil
	})
}

// says prints a component's standard deviation and share.
func (f Components) says(p Component, total float64) string {
	m := f.Measure.Delta()
	sd := math.Sqrt(p.Variance)
	d := DecimalsFor(m.Shown(sd))
	if m.Kind == Duration {
		d = 0
	}
	return fmt.Sprintf("SD %s, %s\u00a0%%", m.Text(sd, d), decimal(100*p.Variance/total, 0, false))
}

// Table gives the variance, standard deviation and share of each part.
func (f Components) Table() Table {
	m := f.Measure.Delta()
	t := Table{Caption: f.Title, Columns: []string{"source", joinUnit("standard deviation", m), "share of the variance, %"}}
	total, err := f.total()
	if err != nil {
		return t
	}
	for _, p := range f.Parts {
		t.Rows = append(t.Rows, []string{p.Name, m.cell(math.Sqrt(p.Variance)), cell(100 * p.Variance / total)})
	}
	return t
}

// Alt says each share.
func (f Components) Alt() string {
	total, err := f.total()
	if err != nil {
		return "No scatter to show."
	}
	parts := make([]string, len(f.Parts))
	for i, p := range f.Parts {
		parts[i] = p.Name + ": " + f.says(p, total)
	}
	return capital(fmt.Sprintf("where the scatter of %s comes from. %s.", f.Measure.Name, strings.Join(parts, "; ")))
}

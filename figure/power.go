package figure

import (
	"fmt"
	"strings"
)

// Curve is the chance of one outcome over a range.
type Curve struct {
	Label  string
	Chance []float64 // 0–1, one for each of Power.X; not finite is a gap
}

// Power shows the chance of each verdict over true effects, or over the
// number of blocks.
type Power struct {
	Head
	Measure Measure   // of X
	X       []float64 // rising
	Curves  []Curve
	Margin  float64 // a line at δ on the X axis; 0 none
	Target  float64 // a line at a wanted chance, e.g. 0.8; 0 none
}

var _ Figure = Power{}

func (f Power) check() error {
	if len(f.X) < 2 || len(f.Curves) == 0 {
		return errEmpty("the power figure", "give at least two places and one curve")
	}
	for i := range f.X {
		if !finite(f.X[i]) || i > 0 && f.X[i] <= f.X[i-1] {
			return errInput("X", fmt.Sprint(f.X[i]), "the places of the power figure do not rise")
		}
	}
	for _, c := range f.Curves {
		if len(c.Chance) != len(f.X) {
			return errInput("Chance", c.Label, "curve %q has %d chances for %d places", c.Label, len(c.Chance), len(f.X))
		}
		for _, p := range c.Chance {
			if finite(p) && (p < -1e-9 || p > 1+1e-9) {
				return errInput("Chance", fmt.Sprint(p), "curve %q leaves the range 0 to 1", c.Label)
			}
		}
	}
	return nil
}

// Scene lays the figure out.
func (f Power) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.Head, f.Alt(), size, theme)
		g := &s.Root
		var keys []entry
		for i, c := range f.Curves {
			keys = append(keys, entry{label: c.Label, style: StyleOf(i), line: true, point: true})
		}
		y := s.legend(g, keys, s.body.X, s.body.Y, s.body.W) + 8*s.u
		heading := f.Measure.Heading()
		above := 0.0
		if f.Margin > 0 {
			above = s.small * leading
		}
		h := 220 * s.u
		if s.body.H > 0 {
			h = max(80*s.u, s.body.Bottom()-y-above-s.xAxisHeight(heading, s.body.W))
		}
		pa := axis{m: Measure{Kind: Percent}, lo: 0, hi: 100, from: y + above + h, to: y + above}
		ticks := s.yTicks(pa)
		for i := range ticks {
			ticks[i].label += "\u00a0%"
		}
		left := s.labelWidth(ticks) + 10*s.u
		xa := axis{m: f.Measure, lo: f.X[0], hi: f.X[len(f.X)-1], from: s.body.X + left + 6*s.u, to: s.body.Right() - 8*s.u}
		plot := Box{s.body.X + left, pa.to, s.body.W - left, h}
		s.yAxis(g, pa, ticks, plot)
		if f.Target > 0 {
			g.Line(plot.X, pa.at(100*f.Target), plot.Right(), pa.at(100*f.Target), Of(Ink), s.u, 2*s.u, 3*s.u)
		}
		if f.Margin > 0 {
			for _, v := range []float64{-f.Margin, f.Margin} {
				if xa.inside(v) {
					g.Line(xa.at(v), plot.Y, xa.at(v), plot.Bottom(), Of(Ink), s.u, 4*s.u, 3*s.u)
					s.within(g, "margin", xa.at(v), plot.Y-s.small*0.4, s.small, Muted)
				}
			}
		}
		every := 1 + len(f.X)/12 // markers stay apart
		for i, c := range f.Curves {
			cg := g.Sub(c.Label)
			st := StyleOf(i)
			var run []Point
			flush := func() {
				if len(run) > 1 {
					cg.Add(Path{Segs: Polyline(run...), Stroke: Of(st.Role), Width: 2.2 * s.u, Dash: st.dash(2.2 * s.u)})
				}
				run = nil
			}
			for k, p := range c.Chance {
				if !finite(p) {
					flush()
					continue
				}
				run = append(run, Point{xa.at(f.X[k]), pa.at(100 * p)})
			}
			flush()
			for k, p := range c.Chance {
				if finite(p) && k%every == 0 {
					cg.Add(st.Marker(Point{xa.at(f.X[k]), pa.at(100 * p)}, 4*s.u))
				}
			}
		}
		y = s.xAxis(g, xa, s.xTicks(xa), plot, heading)
		limit := s.body.Bottom()
		return s.done(y), y, limit, nil
	})
}

// Table gives every chance.
func (f Power) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{joinUnit(f.Measure.Name, f.Measure)}}
	for _, c := range f.Curves {
		t.Columns = append(t.Columns, c.Label+", %")
	}
	if f.check() != nil {
		return t
	}
	for k, x := range f.X {
		row := []string{f.Measure.cell(x)}
		for _, c := range f.Curves {
			row = append(row, cell(100*c.Chance[k]))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// Alt says each curve at both ends.
func (f Power) Alt() string {
	if f.check() != nil {
		return "No curves to show."
	}
	last := len(f.X) - 1
	parts := make([]string, len(f.Curves))
	m := Measure{Kind: Percent}
	for i, c := range f.Curves {
		parts[i] = fmt.Sprintf("%s: %s to %s", c.Label, m.Text(100*c.Chance[0], 0), m.Text(100*c.Chance[last], 0))
	}
	d := trimmed(f.Measure.Shown(f.X[last]), 2)
	return fmt.Sprintf("Chance of each outcome as %s goes from %s to %s. %s.", f.Measure.Name, f.Measure.Text(f.X[0], d), f.Measure.Text(f.X[last], d), strings.Join(parts, "; "))
}

package figure

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// CookLoss is one cook's loss by part, in % of the raw mass; a part that is
// not finite was not weighed.
type CookLoss struct {
	Cook  string
	Parts []float64
}

// total returns the sum of the known parts.
func (c CookLoss) total() float64 {
	sum := 0.0
	for _, p := range c.Parts {
		if finite(p) {
			sum += p
		}
	}
	return sum
}

func (c CookLoss) complete() bool {
	for _, p := range c.Parts {
		if !finite(p) {
			return false
		}
	}
	return true
}

// TreatmentLoss holds the cooks of one treatment and the mean of their total
// loss with its interval.
type TreatmentLoss struct {
	Name     string
	Cooks    []CookLoss
	Mean     float64 // of the total; not finite draws none
	Interval Interval
}

// Losses stacks what each cook lost while cooking, resting and being cut, by
// treatment, with the treatment means.
type Losses struct {
	Head
	Parts      []string // at most three, e.g. "cooking", "rest", "cut"
	Treatments []TreatmentLoss
	Level      float64 // of the intervals
}

var _ Figure = Losses{}

// lossTones are the opacities of the parts: told apart by lightness, the
// last by its outline alone.
var lossTones = [3]float64{0.8, 0.38, 0.08}

// Bars of more cooks than fewBars get thinner, and of more than mostBars some
// are drawn.
const (
	fewBars  = 64
	mostBars = 300
)

// Scene lays the figure out.
func (f Losses) Scene(size Size, theme Theme) (*Scene, error) {
	if len(f.Parts) == 0 || len(f.Parts) > len(lossTones) {
		return nil, errInput("Parts", fmt.Sprint(len(f.Parts)), "losses have one to three parts")
	}
	sp := newSpread()
	sp.add(0)
	cooks := 0
	for _, t := range f.Treatments {
		for _, c := range t.Cooks {
			if len(c.Parts) != len(f.Parts) {
				return nil, errInput("Cooks", c.Cook, "cook %s has %d parts, not %d", c.Cook, len(c.Parts), len(f.Parts))
			}
			cooks++
			up, down := 0.0, 0.0
			for _, p := range c.Parts {
				if finite(p) {
					up += math.Max(p, 0)
					down += math.Min(p, 0)
				}
			}
			sp.add(up, down)
		}
		sp.add(t.Mean)
	}
	if cooks == 0 {
		return nil, errEmpty("the losses figure", "give at least one cook with its weighings")
	}
	lo, hi := sp.lo, sp.hi
	for _, t := range f.Treatments { // a huge interval must not flatten the bars
		for _, v := range []float64{t.Interval.Lo, t.Interval.Hi} {
			if finite(v) {
				sp.add(math.Max(lo-(hi-lo)*0.5, math.Min(hi+(hi-lo)*0.5, v)))
			}
		}
	}
	if sp.lo == sp.hi {
		sp.hi = 1
	}
	sp.hi += (sp.hi - sp.lo) * 0.04
	if sp.lo < 0 {
		sp.lo -= (sp.hi - sp.lo) * 0.04
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme, sp, cooks)
		return sc, bottom, limit, nil
	})
}

func (f Losses) lay(size Size, theme Theme, sp spread, cooks int) (*Scene, float64, float64) {
	step := (cooks + mostBars - 1) / mostBars
	note := "A bar is a cook, the largest loss first. Above the bars: the mean with its interval."
	if step > 1 {
		note = fmt.Sprintf("A bar is a cook, the largest loss first; one of every %d is drawn, and the largest and smallest. Above the bars: the mean with its interval.", step)
	}
	s := newSheet(f.orNote(note), f.Alt(), size, theme)
	g := &s.Root
	var keys []entry
	for i, p := range f.Parts {
		tone := Of(Muted).Fade(lossTones[i])
		keys = append(keys, entry{label: p, style: Style{Role: Muted}, fill: &tone})
	}
	y := s.legend(g, keys, s.body.X, s.body.Y, s.body.W) + 2*s.u
	heading := "share of the raw mass lost, %"
	axisRoom := s.xAxisHeight(heading, s.body.W)
	meanRow := s.em*leading + 18*s.u
	gap := 10 * s.u
	bar := 15 * s.u
	if cooks > 16 {
		bar = 9 * s.u
	}
	if shown := (cooks + step - 1) / step; shown > fewBars { // as high as fewBars of them
		bar = bar * fewBars / float64(shown)
	}
	if s.body.H > 0 {
		room := s.body.Bottom() - y - axisRoom - float64(len(f.Treatments))*(meanRow+gap)
		bar = math.Max(math.Min(3*s.u, bar), math.Min(26*s.u, room/float64(cooks)*float64(step)))
	}
	gutter := 0.0
	named := bar >= s.small*1.1
	if named {
		for _, t := range f.Treatments {
			for _, c := range t.Cooks {
				gutter = math.Max(gutter, Width(c.Cook, Regular, s.small)+6*s.u)
			}
		}
		gutter = math.Min(gutter, s.body.W*0.3)
	}
	ax := axis{m: Measure{Kind: Percent}, lo: sp.lo, hi: sp.hi, from: s.body.X + gutter, to: s.body.Right() - 6*s.u}
	ticks := s.xTicks(ax)
	for i, t := range f.Treatments {
		tg := g.Sub(t.Name)
		for k, line := range Wrap(f.meanText(t), Bold, s.em, s.body.W) {
			if k > 0 {
				y += s.em * leading
			}
			tg.Add(Text{X: s.body.X, Y: y + s.em, S: line, Size: s.em, Weight: Bold, Fill: Of(Ink)})
		}
		y += s.em * leading
		grid := &Group{}
		tg.Add(grid)
		f.mean(s, tg, t, ax, y+9*s.u, StyleOf(i))
		y += 18 * s.u
		top := y - 18*s.u
		order := slices.Clone(t.Cooks)
		slices.SortStableFunc(order, func(a, b CookLoss) int {
			switch d := b.total() - a.total(); {
			case d > 0:
				return 1
			case d < 0:
				return -1
			}
			return strings.Compare(a.Cook, b.Cook)
		})
		for k, c := range order {
			if k%step != 0 && k != len(order)-1 {
				continue
			}
			if named {
				tg.Add(Text{X: ax.from - 6*s.u, Y: y + bar*0.5 + s.small*0.35, S: Fit(c.Cook, Regular, s.small, gutter-6*s.u), Size: s.small, Anchor: End, Fill: Of(Muted)})
			}
			f.bar(s, tg, c, ax, Box{ax.from, y + bar*0.1, 0, bar * 0.8}, StyleOf(i).Role)
			y += bar
		}
		for _, t := range ticks {
			grid.Line(ax.at(t.v), top, ax.at(t.v), y+2*s.u, Of(Grid), s.u)
		}
		if ax.lo < 0 {
			tg.Line(ax.at(0), top, ax.at(0), y+2*s.u, Of(Ink), s.u)
		}
		y += gap
	}
	plot := Box{ax.from, y, ax.to - ax.from, 0}
	bottom := s.xAxis(g, ax, ticks, plot, heading)
	limit := s.body.Bottom()
	return s.done(bottom), bottom, limit
}

func (f Losses) bar(s *sheet, g *Group, c CookLoss, ax axis, row Box, role Role) {
	up, down := 0.0, 0.0
	bg := g.Sub(f.title(c))
	for i, p := range c.Parts {
		if !finite(p) || p == 0 {
			continue
		}
		from := up
		if p < 0 {
			from = down
			down += p
		} else {
			up += p
		}
		x1, x2 := ax.at(from), ax.at(from+p)
		if x1 > x2 {
			x1, x2 = x2, x1
		}
		bg.Add(Path{Segs: Box{x1, row.Y, x2 - x1, row.H}.Path(), Fill: Of(role).Fade(lossTones[i]), Stroke: Of(role), Width: math.Min(0.8*s.u, row.H*0.25)})
	}
	if !c.complete() && row.H > 6*s.u {
		bg.Add(Text{X: ax.at(up) + 4*s.u, Y: row.Y + row.H*0.5 + s.small*0.35, S: "?", Size: s.small, Fill: Of(Ink)})
	}
}

func (f Losses) mean(s *sheet, g *Group, t TreatmentLoss, ax axis, y float64, st Style) {
	if !finite(t.Mean) {
		return
	}
	if !math.IsNaN(t.Interval.Lo) && !math.IsNaN(t.Interval.Hi) && t.Interval.Hi > t.Interval.Lo {
		lo, hi := math.Max(t.Interval.Lo, ax.lo), math.Min(t.Interval.Hi, ax.hi)
		g.Line(ax.at(lo), y, ax.at(hi), y, Of(Ink), 2*s.u)
		for _, e := range []struct{ v, drawn, out float64 }{{t.Interval.Lo, lo, -1}, {t.Interval.Hi, hi, 1}} {
			x := ax.at(e.drawn)
			if e.v == e.drawn {
				g.Line(x, y-5*s.u, x, y+5*s.u, Of(Ink), 2*s.u)
			} else {
				g.Add(Path{Segs: Polygon(Point{x + e.out*2*s.u, y}, Point{x - e.out*7*s.u, y - 5*s.u}, Point{x - e.out*7*s.u, y + 5*s.u}), Fill: Of(Ink)})
			}
		}
	}
	g.Add(st.Marker(Point{ax.at(t.Mean), y}, 5.5*s.u))
}

func (f Losses) meanText(t TreatmentLoss) string {
	m := Measure{Kind: Percent}
	n := plural(len(t.Cooks), "cook")
	if !finite(t.Mean) {
		return fmt.Sprintf("%s, %s: no mean", t.Name, n)
	}
	w := (t.Interval.Hi - t.Interval.Lo) / 2
	if !finite(w) || w <= 0 {
		return fmt.Sprintf("%s, %s: mean %s", t.Name, n, m.Text(t.Mean, 1))
	}
	d := DecimalsFor(w)
	return fmt.Sprintf("%s, %s: mean %s; %s: %s", t.Name, n, m.Text(t.Mean, d), percent(f.Level), m.Range(t.Interval.Lo, t.Interval.Hi, d))
}

func (f Losses) title(c CookLoss) string {
	parts := make([]string, len(c.Parts))
	for i, p := range c.Parts {
		parts[i] = f.Parts[i] + " " + Measure{Kind: Percent}.Text(p, 1)
	}
	return c.Cook + ": " + strings.Join(parts, ", ")
}

// Table gives the parts of each cook.
func (f Losses) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"treatment", "cook"}}
	for _, p := range f.Parts {
		t.Columns = append(t.Columns, p+", %")
	}
	t.Columns = append(t.Columns, "total, %")
	for _, tr := range f.Treatments {
		for _, c := range tr.Cooks {
			row := []string{tr.Name, c.Cook}
			for _, p := range c.Parts {
				row = append(row, cell(p))
			}
			total := ""
			if c.complete() {
				total = cell(c.total())
			}
			t.Rows = append(t.Rows, append(row, total))
		}
	}
	return t
}

// Alt says the mean of each treatment.
func (f Losses) Alt() string {
	parts := make([]string, len(f.Treatments))
	for i, t := range f.Treatments {
		parts[i] = f.meanText(t)
	}
	return fmt.Sprintf("Loss of each cook in percent of its raw mass, stacked by part (%s). %s.", strings.Join(f.Parts, ", "), strings.Join(parts, ". "))
}

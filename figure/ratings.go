package figure

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// RatedProduct is a product with the mean of its scores.
type RatedProduct struct {
	Name     string
	Mean     float64 // not finite draws none
	Interval Interval
}

// AssessorScores is what one assessor gave each product.
type AssessorScores struct {
	Assessor string
	Scores   []float64 // one for each product; not finite is a gap
}

// Ratings shows liking or a rated attribute: how the scores of each product
// spread over the scale, its mean with interval, and each assessor's own
// scores joined by a line, so that a panel that agrees is told from one that
// only averages out.
type Ratings struct {
	Head
	Measure   Measure // of a score
	Lo, Hi    float64 // ends of the scale; equal: as far as the scores go
	Products  []RatedProduct
	Assessors []AssessorScores
	Level     float64 // of the intervals
}

var _ Figure = Ratings{}

func (f Ratings) check() error {
	if len(f.Products) == 0 {
		return errEmpty("the ratings figure", "give at least one product")
	}
	some := false
	for _, a := range f.Assessors {
		if len(a.Scores) != len(f.Products) {
			return errInput("Assessors", a.Assessor, "assessor %s has %d scores for %d products", a.Assessor, len(a.Scores), len(f.Products))
		}
		for _, v := range a.Scores {
			some = some || finite(v)
		}
	}
	if !some {
		return errEmpty("the ratings figure", "give at least one score")
	}
	if !finite(f.Lo) || !finite(f.Hi) || f.Lo > f.Hi {
		return errInput("Lo", fmt.Sprint(f.Lo), "the scale does not run from low to high")
	}
	return nil
}

// Scene lays the figure out.
func (f Ratings) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme)
		return sc, bottom, limit, nil
	})
}

func (f Ratings) lay(size Size, theme Theme) (*Scene, float64, float64) {
	s := newSheet(f.orNote(f.keyNote()), f.Alt(), size, theme)
	limit := s.body.Bottom()
	g := &s.Root
	y := s.legend(g, f.keys(), s.body.X, s.body.Y, s.body.W) + 4*s.u

	labels := make([][]string, len(f.Products))
	words := 0.0
	for k, p := range f.Products {
		labels[k] = Wrap(f.says(p), Regular, s.em, s.body.W)
		words += float64(len(labels[k]))*s.em*leading + 4*s.u
	}
	heading := f.Measure.Heading()
	lane := 66 * s.u
	if s.body.H > 0 {
		lane = math.Max(34*s.u, (limit-y-s.xAxisHeight(heading, s.body.W)-words)/float64(len(f.Products)))
	}
	// Dots stand in the upper part of a lane, the mean below them.
	const dots, mean = 0.70, 0.86
	ax := f.axis(s)
	r := f.radius(s, ax, lane*dots)

	tops := make([]float64, len(f.Products)) // of each lane
	at := y
	for k := range f.Products {
		at += float64(len(labels[k]))*s.em*leading + 4*s.u
		tops[k] = at
		at += lane
	}
	plot := Box{s.body.X, y, s.body.W, at - y}
	ticks := s.xTicks(ax)
	for _, t := range ticks {
		g.Line(ax.at(t.v), y, ax.at(t.v), plot.Bottom(), Of(Grid), s.u)
	}

	places := f.places(ax, tops, lane*dots, r)
	lines := g.Sub("the scores of each assessor")
	alpha := math.Max(0.16, math.Min(0.5, 8/float64(len(f.Assessors))))
	for i, a := range f.Assessors {
		var pts []Point
		for k, v := range a.Scores {
			if finite(v) {
				pts = append(pts, places[k][i])
			}
		}
		if len(pts) > 1 {
			lines.Sub(f.assessorTitle(a)).Add(Path{Segs: Polyline(pts...), Stroke: Of(Muted).Fade(alpha), Width: s.u})
		}
	}
	for k, p := range f.Products {
		pg := g.Sub(f.says(p))
		st := StyleOf(k)
		for i, a := range f.Assessors {
			if finite(a.Scores[k]) {
				pg.Add(Path{Segs: Circle(places[k][i], r), Fill: Of(st.Role), Stroke: Of(Paper), Width: r / 4})
			}
		}
		f.meanMark(s, pg, p, ax, tops[k]+lane*mean)
		ly := tops[k] - 4*s.u - float64(len(labels[k]))*s.em*leading
		for _, l := range labels[k] {
			pg.Add(Text{X: s.body.X, Y: ly + s.em*0.95, S: l, Size: s.em, Fill: Of(Ink), Halo: true})
			ly += s.em * leading
		}
	}
	y = s.xAxis(g, ax, ticks, plot, heading)
	return s.done(y), y, limit
}

func (f Ratings) keys() []entry {
	out := []entry{{label: "one assessor's score", style: StyleOf(0), point: true}}
	if len(f.Products) > 1 {
		out = append(out, entry{label: "the same assessor", style: Style{Role: Muted}, line: true})
	}
	return append(out, entry{label: f.meanWord(), style: Style{Role: Ink, Shape: Diamond}, line: true, point: true})
}

func (f Ratings) meanWord() string {
	if f.Level > 0 {
		return "mean, " + percent(f.Level) + " interval"
	}
	return "mean"
}

func (f Ratings) keyNote() string {
	if len(f.Products) < 2 {
		return ""
	}
	return "Intervals hold the spread between assessors: products are compared within assessors, along the lines, not by whether intervals overlap."
}

// axis spans the scale, or the scores and means where no scale is given.
func (f Ratings) axis(s *sheet) axis {
	sp := newSpread()
	for _, a := range f.Assessors {
		sp.add(a.Scores...)
	}
	for _, p := range f.Products {
		sp.add(p.Mean)
	}
	if f.Lo < f.Hi {
		sp.add(f.Lo, f.Hi)
	}
	lo, hi := sp.padded(0.04)
	return axis{m: f.Measure, lo: lo, hi: hi, from: s.body.X, to: s.body.Right()}
}

// apart is the least distance between different scores, px. Scores of a scale
// with steps stand far apart and their dots are stacked in columns; marks on
// a line do not, and their dots stand where they were made.
func (f Ratings) apart(ax axis) float64 {
	var at []float64
	for _, a := range f.Assessors {
		for _, v := range a.Scores {
			if finite(v) {
				at = append(at, ax.at(v))
			}
		}
	}
	slices.Sort(at)
	least := math.Abs(ax.to-ax.from) / 10
	for i := 1; i < len(at); i++ {
		if d := at[i] - at[i-1]; d > 0.01 {
			least = math.Min(least, d)
		}
	}
	return least
}

// columns is how many dots of radius r stand side by side at one score.
func columns(apart, r float64) int { return max(1, int(apart*0.72/(2.1*r))) }

// most counts the dots within reach of the fullest place of a product.
func (f Ratings) most(ax axis, reach float64) int {
	most := 0
	for k := range f.Products {
		var at []float64
		for _, a := range f.Assessors {
			if finite(a.Scores[k]) {
				at = append(at, ax.at(a.Scores[k]))
			}
		}
		slices.Sort(at)
		first := 0
		for i := range at {
			for at[i]-at[first] > reach {
				first++
			}
			most = max(most, i-first+1)
		}
	}
	return most
}

// radius is the largest at which the dots of the fullest place still fit.
func (f Ratings) radius(s *sheet, ax axis, room float64) float64 {
	apart := f.apart(ax)
	r := 4.2 * s.u
	for ; r > 1.2*s.u; r *= 0.94 {
		stack := float64(f.most(ax, 2*r))
		if apart >= 2.2*r {
			stack = math.Ceil(float64(f.most(ax, 0.01)) / float64(columns(apart, r)))
		}
		if stack*2.2*r <= room {
			break
		}
	}
	return r
}

// places returns where the dot of each product and assessor stands.
func (f Ratings) places(ax axis, tops []float64, room, r float64) [][]Point {
	apart := f.apart(ax)
	out := make([][]Point, len(f.Products))
	for k := range f.Products {
		at := make([]float64, len(f.Assessors))
		for i, a := range f.Assessors {
			at[i] = math.NaN()
			if finite(a.Scores[k]) {
				at[i] = ax.at(a.Scores[k])
			}
		}
		if apart >= 2.2*r {
			out[k] = stacked(at, columns(apart, r), r, tops[k]+room)
			continue
		}
		off := swarm(at, r, math.Max(0, room/2-r))
		for i := range at {
			out[k] = append(out[k], Point{at[i], tops[k] + room/2 + off[i]})
		}
	}
	return out
}

// stacked piles dots of one place up from base, so many side by side.
func stacked(at []float64, columns int, r, base float64) []Point {
	total, seen := map[int]int{}, map[int]int{}
	key := func(x float64) int { return int(math.Round(x * 100)) }
	for _, x := range at {
		if finite(x) {
			total[key(x)]++
		}
	}
	out := make([]Point, len(at))
	for i, x := range at {
		if !finite(x) {
			continue
		}
		n := seen[key(x)]
		seen[key(x)]++
		wide := min(columns, total[key(x)])
		row, col := n/wide, n%wide
		out[i] = Point{x + (float64(col)-float64(wide-1)/2)*2.1*r, base - r - float64(row)*2.1*r}
	}
	return out
}

// meanMark draws a mean with its interval; an arrow tells of a limit that
// leaves the sheet.
func (f Ratings) meanMark(s *sheet, g *Group, p RatedProduct, ax axis, y float64) {
	if !finite(p.Mean) {
		return
	}
	if lo, hi := p.Interval.Lo, p.Interval.Hi; lo <= hi {
		g.Line(ax.at(lo), y, ax.at(hi), y, Of(Ink), 2.2*s.u)
		for _, v := range []float64{lo, hi} {
			if ax.inside(v) {
				g.Line(ax.at(v), y-4*s.u, ax.at(v), y+4*s.u, Of(Ink), 2.2*s.u)
			}
		}
	}
	g.Add(Style{Role: Ink, Shape: Diamond}.Marker(Point{ax.at(p.Mean), y}, 5*s.u))
}

func (f Ratings) says(p RatedProduct) string {
	if !finite(p.Mean) {
		return p.Name
	}
	w := (p.Interval.Hi - p.Interval.Lo) / 2
	if !finite(w) || w <= 0 || f.Level <= 0 {
		return p.Name + ": mean " + f.Measure.Text(p.Mean, 2)
	}
	d := f.Measure.Decimals(p.Mean, w)
	return fmt.Sprintf("%s: mean %s, %s interval %s", p.Name, f.Measure.number(p.Mean, d, false), percent(f.Level), f.Measure.Range(p.Interval.Lo, p.Interval.Hi, d))
}

func (f Ratings) assessorTitle(a AssessorScores) string {
	var parts []string
	for k, v := range a.Scores {
		if finite(v) {
			parts = append(parts, f.Products[k].Name+" "+f.Measure.Text(v, trimmed(f.Measure.Shown(v), 2)))
		}
	}
	return a.Assessor + ": " + strings.Join(parts, ", ")
}

// Table gives every score, then the means.
func (f Ratings) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"assessor"}}
	for _, p := range f.Products {
		t.Columns = append(t.Columns, joinUnit(p.Name, f.Measure))
	}
	if f.check() != nil {
		return t
	}
	row := func(name string, value func(k int) float64) {
		cells := []string{name}
		for k := range f.Products {
			cells = append(cells, f.Measure.cell(value(k)))
		}
		t.Rows = append(t.Rows, cells)
	}
	for _, a := range f.Assessors {
		row(a.Assessor, func(k int) float64 { return a.Scores[k] })
	}
	row("mean", func(k int) float64 { return f.Products[k].Mean })
	if f.Level > 0 {
		row(percent(f.Level)+" interval from", func(k int) float64 { return f.Products[k].Interval.Lo })
		row(percent(f.Level)+" interval to", func(k int) float64 { return f.Products[k].Interval.Hi })
	}
	return t
}

// Alt says the mean of each product.
func (f Ratings) Alt() string {
	if f.check() != nil {
		return "No scores to show."
	}
	parts := make([]string, len(f.Products))
	for k, p := range f.Products {
		parts[k] = f.says(p)
	}
	what := f.Measure.Name
	if what == "" {
		what = "scores"
	}
	return capital(fmt.Sprintf("%s of %s by %s. %s.", what, plural(len(f.Products), "product"), plural(len(f.Assessors), "assessor"), strings.Join(parts, "; ")))
}

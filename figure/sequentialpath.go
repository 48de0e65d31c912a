package figure

import (
	"fmt"
	"math"
	"strings"
)

// SequentialPath follows a sequential test: right answers against answers
// given, between the line that ends it with a difference and the line that
// ends it without one.
type SequentialPath struct {
	Head
	// The lines after n answers: Upper + Slope·n and Lower + Slope·n.
	Slope, Upper, Lower float64
	Right               []bool // the answers in the order given
	N, Correct          int    // instead, where only the counts are known
	At                  int    // answers used when a line was crossed; 0: none was
	Decision            string // what the crossing says, such as "difference"
}

var _ Figure = SequentialPath{}

func (f SequentialPath) check() error {
	n, x := f.counts()
	switch {
	case n == 0:
		return errEmpty("the sequential figure", "give at least one answer")
	case x < 0 || x > n:
		return errInput("Correct", fmt.Sprint(x), "there are more correct answers than answers (%d)", n)
	case f.At < 0 || f.At > n:
		return errInput("At", fmt.Sprint(f.At), "the decision does not fall within the %d answers", n)
	case !(f.Slope > 0 && f.Slope < 1):
		return errInput("Slope", fmt.Sprint(f.Slope), "the slope of the lines is not between 0 and 1")
	case !(f.Upper > 0 && f.Lower < 0) || math.Abs(f.Upper) > huge || math.Abs(f.Lower) > huge:
		return errInput("Upper", fmt.Sprint(f.Upper), "the lines do not lie on two sides of the start")
	}
	return nil
}

// counts returns all answers and the right ones among them.
func (f SequentialPath) counts() (n, x int) {
	if f.Right == nil {
		return f.N, f.Correct
	}
	return len(f.Right), f.after(len(f.Right))
}

// after returns the right answers among the first n.
func (f SequentialPath) after(n int) (x int) {
	for _, ok := range f.Right[:n] {
		if ok {
			x++
		}
	}
	return x
}

// decided returns where the test ended, or stands now.
func (f SequentialPath) decided() (n, x int) {
	if f.At > 0 && f.Right != nil {
		return f.At, f.after(f.At)
	}
	return f.counts()
}

// Scene lays the figure out.
func (f SequentialPath) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme)
		return sc, bottom, limit, nil
	})
}

func (f SequentialPath) lay(size Size, theme Theme) (*Scene, float64, float64) {
	s := newSheet(f.Head, f.Alt(), size, theme)
	limit := s.body.Bottom()
	g := &s.Root
	n, x := f.counts()
	keys := []entry{
		{label: "from here on: a difference", style: StyleOf(0), line: true},
		{label: "from here down: no difference of the size set", style: StyleOf(1), line: true},
	}
	if f.Right != nil {
		keys = append(keys, entry{label: "answers in the order given", style: Style{Role: Ink}, line: true})
	}
	if f.Right != nil && f.At > 0 && f.At < n {
		keys = append(keys, entry{label: "after the decision, not counted", style: Style{Role: Muted, Dash: []float64{2, 2}}, line: true})
	}
	y := s.legend(g, keys, s.body.X, s.body.Y, s.body.W) + 2*s.u
	head := "right answers"
	y = s.paragraph(g, head, s.body.X, y, s.body.W, s.small, Regular, Muted) + 6*s.u
	heading := "answers given"
	h := 260 * s.u
	if s.body.H > 0 {
		h = math.Max(100*s.u, limit-y-s.xAxisHeight(heading, s.body.W))
	}
	// Far enough that both lines can be reached.
	end := math.Max(1.12*float64(n), 1.2*math.Max(f.Upper/(1-f.Slope), -f.Lower/f.Slope))
	top := math.Max(1.05*float64(x), math.Min(end, f.Upper+f.Slope*end))
	ya := axis{m: Measure{}, lo: 0, hi: top, from: y + h, to: y}
	yt := countsOnly(s.yTicks(ya))
	left := s.labelWidth(yt) + 10*s.u
	plot := Box{s.body.X + left, y, s.body.W - left, h}
	xa := axis{m: Measure{}, lo: 0, hi: end, from: plot.X, to: plot.Right()}
	at := func(n, x float64) Point { return Point{xa.at(n), ya.at(x)} }

	f.zone(g, "a difference", f.Upper, end, top, true, at, Of(S1).Fade(0.1))
	f.zone(g, "no difference of the size set", f.Lower, end, top, false, at, Of(S2).Fade(0.1))
	s.yAxis(g, ya, yt, plot)
	f.line(g, f.Upper, end, top, at, StyleOf(0), 2.2*s.u)
	f.line(g, f.Lower, end, top, at, StyleOf(1), 2.2*s.u)
	f.path(s, g.Sub("the path of the answers"), at)

	dn, dx := f.decided()
	p := at(float64(dn), float64(dx))
	g.Add(Path{Segs: Circle(p, 6.5*s.u), Fill: Of(Ink), Stroke: Of(Paper), Width: 1.6 * s.u})
	f.mark(s, g, p, plot, f.At > 0 && float64(dx) > f.Slope*float64(dn))
	y = s.xAxis(g, xa, countsOnly(s.xTicks(xa)), plot, heading)
	return s.done(y), y, limit
}

// ends returns the ends of a line inside the plot.
func (f SequentialPath) ends(c, end, top float64) (n0, n1 float64) {
	n0 = math.Max(0, -c/f.Slope)
	n1 = math.Min(end, (top-c)/f.Slope)
	return n0, math.Max(n0, n1)
}

func (f SequentialPath) line(g *Group, c, end, top float64, at func(n, x float64) Point, st Style, w float64) {
	n0, n1 := f.ends(c, end, top)
	g.Add(Path{Segs: Polyline(at(n0, c+f.Slope*n0), at(n1, c+f.Slope*n1)), Stroke: Of(st.Role), Width: w, Dash: st.dash(w)})
}

// zone tints what lies beyond a line, as far as counts can go: no more right
// answers than answers.
func (f SequentialPath) zone(g *Group, title string, c, end, top float64, above bool, at func(n, x float64) Point, fill Paint) {
	n0, n1 := f.ends(c, end, top)
	var pts []Point
	if above {
		meet := c / (1 - f.Slope) // the line meets right = answers
		if meet >= end || meet >= top {
			return
		}
		last := math.Min(end, top)
		pts = append(pts, at(meet, meet), at(last, last))
		if top < end {
			pts = append(pts, at(n1, top))
		}
		pts = append(pts, at(n1, c+f.Slope*n1))
	} else {
		pts = append(pts, at(n0, 0), at(n1, c+f.Slope*n1))
		if n1 < end {
			pts = append(pts, at(end, top))
		}
		pts = append(pts, at(end, 0))
	}
	g.Sub(title).Add(Path{Segs: Polygon(pts...), Fill: fill})
}

// path draws the answers up to the decision, and faintly those after it.
func (f SequentialPath) path(s *sheet, g *Group, at func(n, x float64) Point) {
	if f.Right == nil {
		return
	}
	pts := []Point{at(0, 0)}
	x := 0
	for i, ok := range f.Right {
		if ok {
			x++
		}
		pts = append(pts, at(float64(i+1), float64(x)))
	}
	used := len(f.Right)
	if f.At > 0 {
		used = f.At
	}
	w := 2 * s.u
	if used < len(f.Right) {
		g.Add(Path{Segs: Polyline(pts[used:]...), Stroke: Of(Muted), Width: w, Dash: []float64{2 * w, 2 * w}})
	}
	g.Add(Path{Segs: Polyline(pts[:used+1]...), Stroke: Of(Ink), Width: w})
	if used <= 80 {
		for _, p := range pts[1 : used+1] {
			g.Add(Path{Segs: Circle(p, 2.6*s.u), Fill: Of(Ink)})
		}
	}
}

// mark words the decision by its point: above and left of it for a
// difference, below and right of it otherwise, where the lines leave room.
func (f SequentialPath) mark(s *sheet, g *Group, p Point, plot Box, up bool) {
	lines := []string{f.says()}
	if Width(lines[0], Bold, s.em) > plot.W*0.5 {
		lines = Wrap(strings.Replace(lines[0], ": ", ":\n", 1), Bold, s.em, plot.W*0.6)
	}
	w := 0.0
	for _, l := range lines {
		w = math.Max(w, Width(l, Bold, s.em))
	}
	h := float64(len(lines)) * s.em * leading
	x, y := p.X+12*s.u, p.Y+8*s.u
	if up {
		x, y = p.X-12*s.u-w, p.Y-8*s.u-h
	}
	x = math.Max(plot.X+6*s.u, math.Min(plot.Right()-6*s.u-w, x))
	y = math.Max(plot.Y+2*s.u, math.Min(plot.Bottom()-3*s.u-h, y))
	for _, l := range lines {
		g.Add(Text{X: x, Y: y + s.em*0.95, S: l, Size: s.em, Weight: Bold, Fill: Of(Ink), Halo: true})
		y += s.em * leading
	}
}

func (f SequentialPath) says() string {
	n, x := f.decided()
	what := "not decided"
	if f.At > 0 {
		what = f.Decision
	}
	return fmt.Sprintf("%s: %d right of %d", what, x, n)
}

// Table gives the count after each answer with the lines.
func (f SequentialPath) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"answers", "right", "lower line", "upper line", "decision"}}
	if f.check() != nil {
		return t
	}
	dn, _ := f.decided()
	row := func(n, x int) {
		says := ""
		if n == dn && f.At > 0 {
			says = f.Decision
		}
		c := f.Slope * float64(n)
		t.Rows = append(t.Rows, []string{fmt.Sprint(n), fmt.Sprint(x), cell(f.Lower + c), cell(f.Upper + c), says})
	}
	if f.Right == nil {
		row(f.N, f.Correct)
		return t
	}
	x := 0
	for i, ok := range f.Right {
		if ok {
			x++
		}
		row(i+1, x)
	}
	return t
}

// Alt says how the test ended.
func (f SequentialPath) Alt() string {
	if f.check() != nil {
		return "No answers to show."
	}
	n, _ := f.decided()
	c := f.Slope * float64(n)
	out := fmt.Sprintf("Sequential test, %s. After %s the lines lie at %s and %s right.", f.says(), plural(n, "answer"), decimal(f.Lower+c, 1, false), decimal(f.Upper+c, 1, false))
	if all, _ := f.counts(); all > n {
		out += fmt.Sprintf(" %d later answers are not counted.", all-n)
	}
	return out
}

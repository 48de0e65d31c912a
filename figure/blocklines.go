package figure

import (
	"fmt"
	"math"
	"strings"
)

// BlockValues are the values of one block, in the order of the treatments; a
// value that is not finite is missing.
type BlockValues struct {
	Block  string
	Values []float64
}

// Effect is the mean difference of a treatment from the first one.
type Effect struct {
	Treatment string
	Estimate  float64
	Interval  Interval
}

// BlockLines shows each block's treatments joined by a line, and beside (on a
// phone below) every block's difference with the mean difference and its
// interval, against the margin.
type BlockLines struct {
	Head
	Measure    Measure
	BlockWord  string   // what a block is, e.g. "pork loin"; "" prints "block"
	Treatments []string // the control first
	Blocks     []BlockValues
	Effects    []Effect // one per further treatment, in order; may be empty
	Level      float64  // of the intervals
	Margin     float64  // δ; 0 draws none
}

var _ Figure = BlockLines{}

func (f BlockLines) check() error {
	if len(f.Treatments) < 2 {
		return errInput("Treatments", fmt.Sprint(len(f.Treatments)), "block lines need at least two treatments")
	}
	some := false
	for _, b := range f.Blocks {
		if len(b.Values) != len(f.Treatments) {
			return errInput("Blocks", b.Block, "block %s has %d values for %d treatments", b.Block, len(b.Values), len(f.Treatments))
		}
		for _, v := range b.Values {
			some = some || finite(v)
		}
	}
	if !some {
		return errEmpty("the block lines figure", "give at least one block with a value")
	}
	if len(f.Effects) > 0 && len(f.Effects) != len(f.Treatments)-1 {
		return errInput("Effects", fmt.Sprint(len(f.Effects)), "there are %d effects for %d treatments beside the first", len(f.Effects), len(f.Treatments)-1)
	}
	return nil
}

// Scene lays the figure out.
func (f BlockLines) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme)
		return sc, bottom, limit, nil
	})
}

func (f BlockLines) lay(size Size, theme Theme) (*Scene, float64, float64) {
	s := newSheet(f.orNote(f.keyNote()), f.Alt(), size, theme)
	limit := s.body.Bottom()
	g := &s.Root
	top := f.key(s, g)
	paired := f.hasEffects()
	if size.Compact && paired {
		h := 200*s.u + float64(f.nameLines(s, s.body.W*0.9))*s.small*leading
		y := f.lines(s, g.Sub("values of each block"), Box{s.body.X, top, s.body.W, h})
		y = f.differencesLying(s, g.Sub("differences"), Box{X: s.body.X, Y: y + 10*s.u, W: s.body.W})
		return s.done(y), y, limit
	}
	natural := 300 * s.u
	if paired && len(f.Effects) > 1 {
		natural = math.Max(natural, float64(len(f.Effects))*92*s.u)
	}
	h := s.height(natural) - (top - s.body.Y)
	main := Box{s.body.X, top, s.body.W, h}
	bottom := top + h
	if paired {
		share := 0.62
		if len(f.Treatments) > 3 {
			share = 0.56
		}
		main.W = s.body.W * share
		gap := 22 * s.u
		panel := Box{main.Right() + gap, top, s.body.W - main.W - gap, h}
		if len(f.Effects) > 1 {
			bottom = math.Max(bottom, f.differencesLying(s, g.Sub("differences"), panel)-4*s.u)
		} else {
			f.differencesBeside(s, g.Sub("differences"), panel)
		}
	}
	f.lines(s, g.Sub("values of each block"), main)
	return s.done(bottom), bottom, limit
}

// nameLines estimates the lines that the column names need in a width.
func (f BlockLines) nameLines(s *sheet, w float64) int {
	deep := 1
	for _, name := range f.Treatments {
		deep = max(deep, len(Wrap(name, Bold, s.small, w/float64(len(f.Treatments))*0.8)))
	}
	return min(deep, 4)
}

// keyNote says how to read the marks in use.
func (f BlockLines) keyNote() string {
	word := f.BlockWord
	if word == "" {
		word = "block"
	}
	out := "Short bars: means."
	if f.hasEffects() {
		out += fmt.Sprintf(" Dots: the difference of each %s; beside them the mean and its %s interval.", word, percent(f.Level))
		if f.Margin > 0 {
			out += " Shaded: too small to matter."
		}
	}
	return out
}

func (f BlockLines) hasEffects() bool {
	if len(f.Effects) == 0 {
		return false
	}
	for _, e := range f.Effects {
		if finite(e.Estimate) {
			return true
		}
	}
	return false
}

// turns counts the blocks that go up, down and stay between the first two
// treatments.
func (f BlockLines) turns() (up, down, level int) {
	for _, b := range f.Blocks {
		d := b.Values[1] - b.Values[0]
		switch {
		case !finite(d):
		case d > 0:
			up++
		case d < 0:
			down++
		default:
			level++
		}
	}
	return up, down, level
}

// against reports whether a block moves against the majority; only two
// treatments have a majority.
func (f BlockLines) against(b BlockValues) bool {
	if len(f.Treatments) != 2 {
		return false
	}
	up, down, _ := f.turns()
	d := b.Values[1] - b.Values[0]
	return up >= down && d < 0 || up < down && d > 0
}

func (f BlockLines) key(s *sheet, g *Group) float64 {
	y := s.body.Y
	if len(f.Treatments) == 2 {
		up, down, level := f.turns()
		solid, dashed := fmt.Sprintf("%d higher with %s", up, f.Treatments[1]), fmt.Sprintf("%d lower", down)
		if up < down {
			solid, dashed = fmt.Sprintf("%d lower with %s", down, f.Treatments[1]), fmt.Sprintf("%d higher", up)
		}
		if level > 0 {
			solid += fmt.Sprintf(", %d the same", level)
		}
		entries := []entry{{label: solid, style: Style{Role: Muted}, line: true}}
		if min(up, down) > 0 {
			entries = append(entries, entry{label: dashed, style: Style{Role: Muted, Dash: []float64{3, 2}}, line: true})
		}
		y = s.legend(g, entries, s.body.X, y, s.body.W)
	}
	return y + 4*s.u
}

// mean returns the mean of a treatment over the blocks that have it.
func (f BlockLines) mean(t int) float64 {
	sum, n := 0.0, 0
	for _, b := range f.Blocks {
		if finite(b.Values[t]) {
			sum += b.Values[t]
			n++
		}
	}
	return sum / float64(n)
}

// lines draws the main panel into box, axis words included, and returns the
// y below it.
func (f BlockLines) lines(s *sheet, g *Group, box Box) float64 {
	sp := newSpread()
	for _, b := range f.Blocks {
		sp.add(b.Values...)
	}
	lo, hi := sp.padded(0.06)
	head := Wrap(f.Measure.Heading(), Regular, s.small, box.W)
	for i, l := range head {
		g.Add(Text{X: box.X, Y: box.Y + s.small*(0.95+float64(i)*leading), S: l, Size: s.small, Fill: Of(Muted)})
	}
	plot := box
	plot.Y += float64(len(head))*s.small*leading + 4*s.u
	ax := axis{m: f.Measure, lo: lo, hi: hi, from: box.Bottom() - 40*s.u, to: plot.Y + 6*s.u}
	ticks := s.yTicks(ax) // once: the room is measured for these labels
	lw := s.labelWidth(ticks) + 10*s.u
	plot.X, plot.W = box.X+lw, box.W-lw

	// The columns stand so that the mean labels fit outside of them.
	d := f.decimals(hi - lo)
	meanText := func(t int) string { return f.Measure.number(f.mean(t), d, false) }
	inset := 0.0
	for _, t := range []int{0, len(f.Treatments) - 1} {
		inset = math.Max(inset, Width(meanText(t), Bold, s.em)+20*s.u)
	}
	n := len(f.Treatments)
	inset = math.Max(inset, plot.W/float64(2*n))
	if inset*2 > plot.W*0.72 {
		inset = plot.W * 0.36
	}
	x := func(t int) float64 {
		return plot.X + inset + (plot.W-2*inset)*float64(t)/float64(n-1)
	}
	column := (plot.W - 2*inset) / float64(n-1)
	if n == 2 {
		column = math.Min(column, 2*inset)
	}
	names := make([][]string, n)
	deep := 1
	for t, name := range f.Treatments {
		names[t] = Wrap(name, Bold, s.small, column-4*s.u)
		if len(names[t]) > 4 {
			names[t] = append(names[t][:3], Fit(strings.Join(names[t][3:], " "), Bold, s.small, column-4*s.u))
		}
		deep = max(deep, len(names[t]))
	}
	ax.from = box.Bottom() - float64(deep)*s.small*leading - 8*s.u
	plot.H = ax.from + 6*s.u - plot.Y

	s.yAxis(g, ax, ticks, plot)
	alpha := 0.75
	if len(f.Blocks) > 24 {
		alpha = 0.5
	}
	for _, b := range f.Blocks {
		bg := g.Sub(f.blockTitle(b))
		var pts []Point
		for t, v := range b.Values {
			if finite(v) {
				pts = append(pts, Point{x(t), ax.at(v)})
			}
		}
		w := 1.3 * s.u
		path := Path{Segs: Polyline(pts...), Stroke: Of(Muted).Fade(alpha), Width: w}
		if f.against(b) {
			path.Dash = []float64{3 * w, 2 * w}
		}
		if len(pts) > 1 {
			bg.Add(path)
		}
		for t, v := range b.Values {
			if finite(v) {
				bg.Add(StyleOf(t).Marker(Point{x(t), ax.at(v)}, 3.6*s.u))
			}
		}
	}
	for t := range f.Treatments {
		for i, l := range names[t] {
			g.Add(Text{X: x(t), Y: ax.from + 10*s.u + s.small*(0.9+float64(i)*leading), S: l, Size: s.small, Weight: Bold, Anchor: Middle, Fill: Of(Ink)})
		}
		m := f.mean(t)
		if !finite(m) {
			continue
		}
		y := ax.at(m)
		g.Line(x(t)-11*s.u, y, x(t)+11*s.u, y, Of(Ink), 3*s.u)
		label := Text{X: x(t) - 15*s.u, Y: y + s.em*0.35, S: meanText(t), Size: s.em, Weight: Bold, Anchor: End, Fill: Of(Ink), Halo: true}
		switch {
		case t == n-1:
			label.X, label.Anchor = x(t)+15*s.u, Start
		case t > 0:
			label.X, label.Y, label.Anchor = x(t), y-7*s.u, Middle
		}
		// A mean of very many digits is moved back onto the sheet.
		b := label.Box()
		label.X += math.Max(0, 2*s.u-b.X) - math.Max(0, b.Right()+2*s.u-s.Size.W)
		g.Add(label)
	}
	return box.Bottom()
}

// decimals for a mean: two digits of the intervals if known, else a
// hundredth of the range.
func (f BlockLines) decimals(span float64) int {
	u := span / 20
	for _, e := range f.Effects {
		if w := (e.Interval.Hi - e.Interval.Lo) / 2; finite(w) && w > 0 {
			u = math.Min(u, w)
		}
	}
	d := f.Measure.Decimals(f.mean(0), u)
	if f.Measure.Kind == Duration {
		return min(d, 0)
	}
	return d
}

func (f BlockLines) blockTitle(b BlockValues) string {
	parts := make([]string, len(b.Values))
	for t, v := range b.Values {
		parts[t] = f.Treatments[t] + " " + f.Measure.Text(v, 2)
	}
	return b.Block + ": " + strings.Join(parts, ", ")
}

// differences returns the axis of differences and each block's difference of
// treatment t+1 from the first. The interval counts fully up to four times
// the spread of the rest, so that a huge one does not flatten the dots.
func (f BlockLines) differences() (lo, hi float64, each [][]float64) {
	sp := newSpread()
	sp.add(0)
	if f.Margin > 0 {
		sp.add(-f.Margin, f.Margin)
	}
	for t := 1; t < len(f.Treatments); t++ {
		ds := make([]float64, len(f.Blocks))
		for i, b := range f.Blocks {
			ds[i] = b.Values[t] - b.Values[0]
			sp.add(ds[i])
		}
		sp.add(f.Effects[t-1].Estimate)
		each = append(each, ds)
	}
	lo, hi = sp.padded(0)
	reach := 1.5 * (hi - lo)
	for _, e := range f.Effects {
		for _, v := range []float64{e.Interval.Lo, e.Interval.Hi} {
			if finite(v) {
				sp.add(math.Max(lo-reach, math.Min(hi+reach, v)))
			}
		}
	}
	lo, hi = sp.padded(0.06)
	return lo, hi, each
}

func (f BlockLines) differenceHeading() string {
	m := f.Measure.Delta()
	if len(f.Treatments) > 2 {
		m.Name = "difference from " + f.Treatments[0]
	} else {
		m.Name = f.Treatments[1] + " minus " + f.Treatments[0]
	}
	return m.Heading()
}

// differencesBeside draws the right panel of two treatments, upright.
func (f BlockLines) differencesBeside(s *sheet, g *Group, box Box) {
	lo, hi, each := f.differences()
	m := f.Measure.Delta()
	head := Wrap(f.differenceHeading(), Regular, s.small, box.W)
	for i, l := range head {
		g.Add(Text{X: box.X, Y: box.Y + s.small*(0.95+float64(i)*leading), S: l, Size: s.small, Fill: Of(Muted)})
	}
	plot := box
	plot.Y += float64(len(head))*s.small*leading + 4*s.u
	text := Wrap(f.effectText(0), Regular, s.small, box.W)
	ax := axis{m: m, lo: lo, hi: hi, from: box.Bottom() - float64(len(text))*s.small*leading - 8*s.u, to: plot.Y + 6*s.u}
	plot.H = ax.from + 6*s.u - plot.Y
	ticks := s.yTicks(ax)
	lw := s.labelWidth(ticks) + 10*s.u
	plot.X, plot.W = box.X+lw, box.W-lw
	if f.Margin > 0 {
		top, bottom := ax.at(math.Min(f.Margin, hi)), ax.at(math.Max(-f.Margin, lo))
		g.Fill(Box{plot.X, top, plot.W, bottom - top}, Of(Band))
	}
	s.yAxis(g, ax, ticks, plot)
	g.Line(plot.X, ax.at(0), plot.Right(), ax.at(0), Of(Ink), 1.2*s.u)
	f.effect(s, g, 0, each[0], ax, plot.X+plot.W/2, plot.W, true)
	for i, l := range text {
		g.Add(Text{X: box.X + box.W/2, Y: ax.from + 10*s.u + s.small*(0.9+float64(i)*leading), S: l, Size: s.small, Anchor: Middle, Fill: Of(Ink)})
	}
}

// differencesLying draws a row for each further treatment over one axis, and
// returns the y below it. A box of no height grows as needed.
func (f BlockLines) differencesLying(s *sheet, g *Group, box Box) float64 {
	lo, hi, each := f.differences()
	inset := 8 * s.u
	ax := axis{m: f.Measure.Delta(), lo: lo, hi: hi, from: box.X + inset, to: box.Right() - inset}
	y := s.paragraph(g, f.differenceHeading(), box.X, box.Y, box.W, s.small, Regular, Muted) + 2*s.u
	px := s.em
	if box.H > 0 {
		px = s.small
	}
	text := 0.0
	for t := range each {
		text += float64(len(Wrap(f.effectText(t), Regular, px, box.W))) * px * leading
	}
	lane := 58 * s.u
	if box.H > 0 {
		lane = math.Max(24*s.u, (box.Bottom()-y-s.xAxisHeight("", box.W)-text)/float64(len(each))-8*s.u)
	}
	for t, ds := range each {
		y = s.paragraph(g, f.effectText(t), box.X, y, box.W, px, Regular, Ink)
		plot := Box{box.X, y + 2*s.u, box.W, lane}
		if f.Margin > 0 {
			left, right := ax.at(math.Max(-f.Margin, lo)), ax.at(math.Min(f.Margin, hi))
			g.Fill(Box{left, plot.Y, right - left, plot.H}, Of(Band))
		}
		g.Line(ax.at(0), plot.Y, ax.at(0), plot.Bottom(), Of(Ink), 1.2*s.u)
		f.effect(s, g, t, ds, ax, plot.Y+plot.H/2, lane, false)
		y = plot.Bottom() + 6*s.u
		if t == len(each)-1 {
			y = s.xAxis(g, ax, s.xTicks(ax), plot, "") + 4*s.u
		}
	}
	return y
}

// effectText says a mean difference: "mean +0.3 (95 %: −0.4 to +1.0) points".
func (f BlockLines) effectText(t int) string {
	e := f.Effects[t]
	m := f.Measure.Delta()
	name := ""
	if len(f.Effects) > 1 {
		name = e.Treatment + ": "
	}
	if !finite(e.Estimate) {
		return name + "no mean difference"
	}
	w := (e.Interval.Hi - e.Interval.Lo) / 2
	if !finite(w) || w <= 0 {
		return name + "mean " + m.Signed(e.Estimate, f.decimals(math.Abs(e.Estimate)+1e-9))
	}
	d := m.Decimals(e.Estimate, w)
	if m.Kind == Duration {
		d = min(d, 0)
	}
	return fmt.Sprintf("%smean %s; %s: %s", name, m.Signed(e.Estimate, d), percent(f.Level), m.SignedRange(e.Interval.Lo, e.Interval.Hi, d))
}

// effect draws the dots of one treatment and its mean difference along ax, in
// a lane across it centred at mid.
func (f BlockLines) effect(s *sheet, g *Group, t int, ds []float64, ax axis, mid, lane float64, upright bool) {
	at := func(v, across float64) Point {
		if upright {
			return Point{mid + across, ax.at(v)}
		}
		return Point{ax.at(v), mid + across}
	}
	r := 3 * s.u
	px := make([]float64, len(ds))
	for i, d := range ds {
		px[i] = ax.at(d)
	}
	side := math.Min(lane*0.26, 60*s.u)
	off := swarm(px, r, side*0.8)
	for i, d := range ds {
		if finite(d) {
			p := at(d, off[i]-side*0.75)
			g.Add(Path{Segs: Circle(p, r), Fill: Of(S1 + Role((t+1)%6)).Fade(0.55)})
		}
	}
	e := f.Effects[t]
	if !finite(e.Estimate) {
		return
	}
	across := side * 0.75
	if !(math.IsNaN(e.Interval.Lo) || math.IsNaN(e.Interval.Hi)) {
		lo, hi := math.Max(e.Interval.Lo, ax.lo), math.Min(e.Interval.Hi, ax.hi)
		a, b := at(lo, across), at(hi, across)
		g.Line(a.X, a.Y, b.X, b.Y, Of(Ink), 2.4*s.u)
		c := 6 * s.u
		for _, end := range []struct{ v, drawn float64 }{{e.Interval.Lo, lo}, {e.Interval.Hi, hi}} {
			if end.v == end.drawn {
				p, q := at(end.v, across-c), at(end.v, across+c)
				g.Line(p.X, p.Y, q.X, q.Y, Of(Ink), 2.4*s.u)
				continue
			}
			back := math.Copysign(10*s.u/math.Abs(ax.to-ax.from)*(ax.hi-ax.lo), end.v-end.drawn)
			tip, p, q := at(end.drawn, across), at(end.drawn-back, across-c), at(end.drawn-back, across+c)
			g.Add(Path{Segs: Polygon(tip, p, q), Fill: Of(Ink)})
		}
	}
	style := StyleOf(t + 1)
	g.Add(style.Marker(at(e.Estimate, across), 6*s.u))
}

// Table gives each block's values and differences.
func (f BlockLines) Table() Table {
	t := Table{Caption: f.Title}
	word := f.BlockWord
	if word == "" {
		word = "block"
	}
	t.Columns = []string{word}
	for _, name := range f.Treatments {
		t.Columns = append(t.Columns, joinUnit(name, f.Measure))
	}
	for _, name := range f.Treatments[min(1, len(f.Treatments)):] {
		t.Columns = append(t.Columns, joinUnit(name+" minus "+f.Treatments[0], f.Measure.Delta()))
	}
	for _, b := range f.Blocks {
		row := []string{b.Block}
		for _, v := range b.Values {
			row = append(row, f.Measure.cell(v))
		}
		for _, v := range b.Values[min(1, len(b.Values)):] {
			row = append(row, f.Measure.Delta().cell(v-b.Values[0]))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// Alt says how many blocks move which way and the mean difference.
func (f BlockLines) Alt() string {
	word := f.BlockWord
	if word == "" {
		word = "block"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s of %s, each joined across %s.", f.Measure.Name, plural(len(f.Blocks), word), strings.Join(f.Treatments, ", "))
	if len(f.Treatments) == 2 && f.check() == nil {
		up, down, level := f.turns()
		fmt.Fprintf(&b, " Higher with %s in %d, lower in %d, equal in %d.", f.Treatments[1], up, down, level)
	}
	for t := range f.Effects {
		fmt.Fprintf(&b, " %s.", capital(f.effectText(t)))
	}
	if f.Margin > 0 {
		m := f.Measure.Delta()
		fmt.Fprintf(&b, " Margin ±%s.", m.Text(f.Margin, trimmed(m.Shown(f.Margin), 3)))
	}
	return capital(b.String())
}

package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// LeftOut is the answer without one block.
type LeftOut struct {
	Block    string
	Estimate float64
	Interval Interval
	Verdict  string // printed where it is another one; "" where it is the same
}

// Redefined is the answer by another definition of the response.
type Redefined struct {
	Name     string // "within 3 K"
	Estimate float64
	Interval Interval
	Verdict  string // printed where it is another one; "" where it is the same
}

// LeaveOneOut shows how far an answer hangs on any single block, and on how
// the response is defined: the estimate with every block, without each in
// turn, and by other definitions.
type LeaveOneOut struct {
	Head
	Measure  Measure // of the difference
	Estimate float64 // with every block
	Interval Interval
	Margin   float64 // 0 draws none
	Level    float64
	Left     []LeftOut
	Others   []Redefined
}

var _ Figure = LeaveOneOut{}

// Scene lays the figure out.
func (f LeaveOneOut) Scene(size Size, theme Theme) (*Scene, error) {
	if len(f.Left) == 0 || !finite(f.Estimate) {
		return nil, errEmpty("the leave-one-out figure", "give an estimate and at least one block left out")
	}
	sp := newSpread()
	sp.add(0, f.Estimate)
	if f.Margin > 0 {
		sp.add(-f.Margin, f.Margin)
	}
	for _, l := range f.Left {
		sp.add(l.Estimate)
	}
	for _, o := range f.Others {
		sp.add(o.Estimate)
	}
	inner := sp
	reach := 2 * (inner.hi - inner.lo)
	for _, in := range f.intervals() {
		for _, v := range []float64{in.Lo, in.Hi} {
			if finite(v) {
				sp.add(math.Max(inner.lo-reach, math.Min(inner.hi+reach, v)))
			}
		}
	}
	lo, hi := sp.padded(0.05)
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.orNote(f.key()), f.Alt(), size, theme)
		g := &s.Root
		heading := f.Measure.Heading()
		row := 16 * s.u
		low, crowd, high := f.sorted()
		rows := append(slices.Clone(low), high...)
		crowded := 0.0 // height of those between
		if len(crowd) > 0 {
			crowded = 120 * s.u
		}
		if len(rows) > 24 {
			row = 14 * s.u
		}
		first := s.em * 1.9
		more, below := s.small*1.6, 0.0 // a row of the other definitions, and all of them
		if len(f.Others) > 0 {
			below = more * (float64(len(f.Others)) + 1.4)
		}
		if s.body.H > 0 {
			room := s.body.H - first - below - s.xAxisHeight(heading, s.body.W) - 8*s.u
			crowded = math.Min(crowded*1.6, room*0.45)
			row = math.Max(4*s.u, math.Min(row*1.6, (room-crowded)/float64(len(rows))))
		}
		px := math.Min(s.small, row*0.95)
		named := px >= s.small*0.8
		gutter := math.Max(Width("all blocks", Bold, s.small), Width("one left out", Regular, s.small))
		between := fmt.Sprintf("without one of %d", len(crowd))
		if len(crowd) > 0 {
			gutter = math.Max(gutter, Width(between, Regular, s.small))
		}
		for _, l := range rows {
			gutter = math.Max(gutter, Width("without "+l.Block, Regular, px))
		}
		for _, o := range f.Others {
			gutter = math.Max(gutter, Width(o.Name, Regular, s.small))
		}
		gutter = math.Min(gutter, s.body.W*0.34) + 10*s.u
		ax := axis{m: f.Measure, lo: lo, hi: hi, from: s.body.X + gutter, to: s.body.Right() - 8*s.u}
		top := s.body.Y
		bottom := top + first + float64(len(rows))*row + crowded + below + 4*s.u
		if f.Margin > 0 {
			g.Fill(Box{ax.at(-f.Margin), top, ax.at(f.Margin) - ax.at(-f.Margin), bottom - top}, Of(Band))
		}
		g.Line(ax.at(0), top, ax.at(0), bottom, Of(Ink), s.u)
		g.Line(ax.at(f.Estimate), top, ax.at(f.Estimate), bottom, Of(S1), s.u, 2*s.u, 3*s.u)
		g.Add(Text{X: s.body.X, Y: top + first/2 + s.small*0.35, S: "all blocks", Size: s.small, Weight: Bold, Fill: Of(Ink)})
		f.draw(s, g, ax, top+first/2, f.Estimate, f.Interval, 3*s.u, 6*s.u, false)
		if !named {
			g.Add(Text{X: s.body.X, Y: top + first + s.small, S: Fit("one left out", Regular, s.small, gutter-8*s.u), Size: s.small, Fill: Of(Muted)})
		}
		if len(crowd) > 0 {
			f.crowd(s, g, ax, top+first+float64(len(low))*row, crowded, crowd, Fit(between, Regular, s.small, gutter-8*s.u))
		}
		for i, l := range rows {
			y := top + first + (float64(i)+0.5)*row
			if i >= len(low) {
				y += crowded
			}
			title := "without " + l.Block
			rg := g.Sub(title)
			if named {
				rg.Add(Text{X: s.body.X, Y: y + px*0.35, S: Fit(title, Regular, px, gutter-8*s.u), Size: px, Fill: Of(Ink)})
			}
			if !finite(l.Estimate) {
				continue
			}
			f.draw(s, rg, ax, y, l.Estimate, l.Interval, 1.6*s.u, math.Min(4*s.u, row*0.4), l.Verdict != "")
			if l.Verdict != "" {
				rg.Add(f.turned(s, ax, l, y, px))
			}
		}
		if len(f.Others) > 0 {
			f.others(s, g, ax, top+first+float64(len(rows))*row+crowded, more, gutter)
		}
		y := s.xAxis(g, ax, s.xTicks(ax), Box{ax.from, bottom, ax.to - ax.from, 0}, heading)
		limit := s.body.Bottom()
		return s.done(y), y, limit, nil
	})
}

// From mostNamed blocks on each has no row of its own: those that move the
// estimate furthest do, and the others stand close together between them.
const (
	mostNamed = 40
	namedEach = 6   // at either end
	mostDots  = 300 // drawn of those between
)

// sorted are the blocks that have a row of their own, in the order given where
// they are few, and else the lowest, those between and the highest, by their
// estimates.
func (f LeaveOneOut) sorted() (low, crowd, high []LeftOut) {
	if len(f.Left) <= mostNamed {
		return f.Left, nil, nil
	}
	var all []LeftOut
	for _, l := range f.Left {
		if finite(l.Estimate) {
			all = append(all, l)
		}
	}
	if len(all) <= 2*namedEach {
		return all, nil, nil
	}
	slices.SortStableFunc(all, func(a, b LeftOut) int { return cmp.Compare(a.Estimate, b.Estimate) })
	n := len(all) - namedEach
	return all[:namedEach], all[namedEach:n], all[n:]
}

// crowd draws estimates one under the other as close as they get, with a
// frontier of their intervals.
func (f LeaveOneOut) crowd(s *sheet, g *Group, ax axis, top, height float64, all []LeftOut, title string) {
	cg := g.Sub(title)
	cg.Add(Text{X: s.body.X, Y: top + height/2 + s.small*0.35, S: title, Size: s.small, Fill: Of(Muted)})
	step := max(1, (len(all)+mostDots-1)/mostDots)
	y := func(i int) float64 { return top + (float64(i)+0.5)/float64(len(all))*height }
	thick := math.Max(0.5*s.u, height/float64((len(all)+step-1)/step))
	for i := 0; i < len(all); i += step {
		if in := all[i].Interval; !math.IsNaN(in.Lo) && !math.IsNaN(in.Hi) {
			cg.Add(Path{Segs: Polyline(Point{ax.at(math.Max(in.Lo, ax.lo)), y(i)}, Point{ax.at(math.Min(in.Hi, ax.hi)), y(i)}), Stroke: Of(S1).Fade(0.3), Width: thick})
		}
	}
	var turned []Node // above the others
	for i, l := range all {
		if i%step == 0 || l.Verdict != "" {
			at := Point{ax.at(l.Estimate), y(i)}
			if l.Verdict != "" {
				turned = append(turned, Style{Role: S1, Shape: Disc, Hollow: true}.Marker(at, 3*s.u))
				continue
			}
			cg.Add(Path{Segs: Circle(at, 1.6*s.u), Fill: Of(S1)})
		}
	}
	cg.Add(turned...)
}

// intervals are all that are drawn.
func (f LeaveOneOut) intervals() []Interval {
	out := []Interval{f.Interval}
	for _, l := range f.Left {
		out = append(out, l.Interval)
	}
	for _, o := range f.Others {
		out = append(out, o.Interval)
	}
	return out
}

// others draws the other definitions under a heading of their own.
func (f LeaveOneOut) others(s *sheet, g *Group, ax axis, top, row, gutter float64) {
	const heading = "other definitions"
	g.Line(s.body.X, top+row*0.25, ax.to, top+row*0.25, Of(Grid), s.u)
	g.Add(Text{X: s.body.X, Y: top + row*0.85 + s.small*0.35, S: heading, Size: s.small, Weight: Bold, Fill: Of(Ink), Halo: true})
	for i, o := range f.Others {
		y := top + (float64(i)+1.9)*row
		og := g.Sub(o.Name)
		og.Add(Text{X: s.body.X, Y: y + s.small*0.35, S: Fit(o.Name, Regular, s.small, gutter-8*s.u), Size: s.small, Fill: Of(Ink)})
		if !finite(o.Estimate) {
			continue
		}
		f.draw(s, og, ax, y, o.Estimate, o.Interval, 2*s.u, 4.5*s.u, o.Verdict != "")
		if o.Verdict != "" {
			og.Add(f.turned(s, ax, LeftOut{Estimate: o.Estimate, Interval: o.Interval, Verdict: o.Verdict}, y, s.small))
		}
	}
}

// key says how to read the marks in use.
func (f LeaveOneOut) key() string {
	out := fmt.Sprintf("Lines: %s intervals.", percent(f.Level))
	if f.Margin > 0 {
		out += " Shaded: too small to matter."
	}
	if _, crowd, _ := f.sorted(); len(crowd) > 0 {
		out += fmt.Sprintf(" The %d that move it furthest either way have a row each; the others stand close together by size.", namedEach)
	}
	for _, l := range f.Left {
		if l.Verdict != "" {
			out += " An open ring: without this block the verdict would be another one."
			break
		}
	}
	for _, o := range f.Others {
		if o.Verdict != "" {
			return out + " Open rings under other definitions: the verdict would be another one."
		}
	}
	return out
}

// turned labels a row whose verdict is another one: beside its interval where
// there is room, else over it beside the estimate.
func (f LeaveOneOut) turned(s *sheet, ax axis, l LeftOut, y, px float64) Text {
	px = math.Max(px, s.small*0.9)
	t := Text{Y: y + px*0.35, Size: px, Weight: Italic, Fill: Of(Ink), Halo: true, S: l.Verdict}
	w := Width(t.S, Italic, px) + 12*s.u
	lo, hi := ax.at(l.Estimate), ax.at(l.Estimate)
	if finite(l.Interval.Lo) {
		lo = math.Max(ax.at(l.Interval.Lo), ax.from)
	}
	if finite(l.Interval.Hi) {
		hi = math.Min(ax.at(l.Interval.Hi), ax.to)
	}
	at := ax.at(l.Estimate)
	switch {
	case ax.to-hi >= w:
		t.X = hi + 8*s.u
	case lo-ax.from >= w:
		t.X, t.Anchor = lo-8*s.u, End
	case ax.to-at >= at-ax.from:
		t.X = at + 10*s.u
		t.S = Fit(t.S, Italic, px, ax.to-t.X)
	default:
		t.X, t.Anchor = at-10*s.u, End
		t.S = Fit(t.S, Italic, px, t.X-ax.from)
	}
	return t
}

func (f LeaveOneOut) draw(s *sheet, g *Group, ax axis, y, estimate float64, in Interval, width, r float64, hollow bool) {
	if !math.IsNaN(in.Lo) && !math.IsNaN(in.Hi) {
		g.Line(ax.at(math.Max(in.Lo, ax.lo)), y, ax.at(math.Min(in.Hi, ax.hi)), y, Of(S1), width)
	}
	g.Add(Style{Role: S1, Shape: Disc, Hollow: hollow}.Marker(Point{ax.at(estimate), y}, r))
}

// Table gives the estimate and interval without each block.
func (f LeaveOneOut) Table() Table {
	m := f.Measure
	t := Table{Caption: f.Title, Columns: []string{"left out", joinUnit("estimate", m), "interval low", "interval high", "verdict if another"}}
	row := func(name string, e float64, in Interval, verdict string) {
		t.Rows = append(t.Rows, []string{name, m.cell(e), m.cell(in.Lo), m.cell(in.Hi), verdict})
	}
	row("none", f.Estimate, f.Interval, "")
	for _, l := range f.Left {
		row(l.Block, l.Estimate, l.Interval, l.Verdict)
	}
	for _, o := range f.Others {
		row("none; other definition: "+o.Name, o.Estimate, o.Interval, o.Verdict)
	}
	return t
}

// Alt says how far the estimate moves and how often the verdict turns.
func (f LeaveOneOut) Alt() string {
	sp := newSpread()
	turned := 0
	for _, l := range f.Left {
		sp.add(l.Estimate)
		if l.Verdict != "" {
			turned++
		}
	}
	if sp.empty() || !finite(f.Estimate) {
		return "No estimates with a block left out."
	}
	d := f.Measure.Decimals(f.Estimate, (f.Interval.Hi-f.Interval.Lo)/2)
	if f.Measure.Kind == Duration {
		d = min(d, 0)
	}
	out := fmt.Sprintf("The estimate is %s with all %s; leaving out one moves it between %s and %s.",
		f.Measure.Signed(f.Estimate, d), plural(len(f.Left), "block"), f.Measure.Signed(sp.lo, d), f.Measure.Signed(sp.hi, d))
	if turned == 0 {
		out += " The verdict never changes."
	} else {
		out += fmt.Sprintf(" The verdict changes for %d.", turned)
	}
	for _, o := range f.Others {
		out += fmt.Sprintf(" By another definition, %s, it is %s", o.Name, f.Measure.Signed(o.Estimate, d))
		if o.Verdict != "" {
			out += ", which changes the verdict"
		}
		out += "."
	}
	return out
}

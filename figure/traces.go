package figure

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// TraceLine is one sensor of one cook, in seconds from heat on. A value that
// is not finite is a gap.
type TraceLine struct {
	Cook      string
	Channel   string // its panel: "core", "surface", …
	Treatment int    // index into Traces.Treatments
	AtS       []float64
	Values    []float64
}

// TraceBand is the spread of several cooks under one treatment.
type TraceBand struct {
	Channel   string
	Treatment int
	AtS       []float64
	Lo, Hi    []float64
	Mid       []float64 // drawn as a line; may be nil
	What      string    // what the band is, e.g. "lowest to highest of 20 cooks"
}

// TraceMark is a timed event of a cook.
type TraceMark struct {
	Label     string // "turn", "off heat" …: one lane each
	AtS       float64
	Treatment int
}

// Level is a horizontal line worth naming, such as the target of the core.
type Level struct {
	Channel string // "" in every panel
	Value   float64
	Label   string
}

// Traces lays the cooks of a study over one another in step at heat on: one
// panel for each channel over a common clock, and lanes for the marks below.
type Traces struct {
	Head
	Measure    Measure // of the values, e.g. Temperature
	Treatments []string
	Lines      []TraceLine
	Bands      []TraceBand
	Marks      []TraceMark
	Levels     []Level
}

var _ Figure = Traces{}

func (f Traces) channels() []string {
	var out []string
	add := func(c string) {
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	for _, b := range f.Bands {
		add(b.Channel)
	}
	for _, l := range f.Lines {
		add(l.Channel)
	}
	return out
}

// extent returns the range of times and, of one channel or of all (""), of
// values.
func (f Traces) extent(channel string) (t, v spread) {
	t, v = newSpread(), newSpread()
	in := func(at []float64, values ...[]float64) {
		for _, vs := range values {
			for i := range min(len(at), len(vs)) {
				if finite(at[i]) && finite(vs[i]) {
					t.add(at[i])
					v.add(vs[i])
				}
			}
		}
	}
	for _, l := range f.Lines {
		if channel == "" || l.Channel == channel {
			in(l.AtS, l.Values)
		}
	}
	for _, b := range f.Bands {
		if channel == "" || b.Channel == channel {
			in(b.AtS, b.Lo, b.Hi, b.Mid)
		}
	}
	return t, v
}

// lanes returns the labels of the marks in order of first appearance; those
// beyond six share a lane.
func (f Traces) lanes() (labels []string, lane func(string) int) {
	for _, m := range f.Marks {
		if !slices.Contains(labels, m.Label) {
			labels = append(labels, m.Label)
		}
	}
	const most = 6
	all := labels
	if len(labels) > most {
		labels = append(slices.Clone(labels[:most-1]), "other marks: "+strings.Join(labels[most-1:], ", "))
	}
	return labels, func(l string) int { return min(slices.Index(all, l), len(labels)-1) }
}

// Scene lays the figure out.
func (f Traces) Scene(size Size, theme Theme) (*Scene, error) {
	times, all := f.extent("")
	if all.empty() {
		return nil, errEmpty("the traces figure", "give at least one trace with a value")
	}
	for i, l := range f.Lines {
		if l.Treatment < 0 || l.Treatment >= len(f.Treatments) {
			return nil, errInput(fmt.Sprintf("Lines[%d].Treatment", i), fmt.Sprint(l.Treatment), "trace of cook %s has no such treatment", l.Cook)
		}
	}
	for i, b := range f.Bands {
		if b.Treatment < 0 || b.Treatment >= len(f.Treatments) {
			return nil, errInput(fmt.Sprintf("Bands[%d].Treatment", i), fmt.Sprint(b.Treatment), "a band has no such treatment")
		}
	}
	if f.Measure.Degrees == Both && f.Measure.Kind != Temperature {
		f.Measure.Degrees = Celsius
	}
	for _, m := range f.Marks {
		times.add(m.AtS)
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme, times)
		return sc, bottom, limit, nil
	})
}

func (f Traces) lay(size Size, theme Theme, times spread) (*Scene, float64, float64) {
	s := newSheet(f.Head, f.Alt(), size, theme)
	g := &s.Root
	y := s.legend(g, f.entries(), s.body.X, s.body.Y, s.body.W) + 4*s.u

	channels := f.channels()
	labels, lane := f.lanes()
	row := 10 * s.u
	laneHead := 0.0 // lane labels stand above on narrow sheets, else beside
	left, right := 0.0, 6*s.u
	if size.Compact {
		laneHead = s.small * leading
	} else {
		for _, l := range labels {
			left = math.Max(left, math.Min(Width(l, Regular, s.small)+8*s.u, s.body.W*0.2))
		}
	}
	laneHeight := laneHead + math.Max(float64(len(f.Treatments))*row, s.small*1.1) + 6*s.u
	clockMeasure := Measure{Kind: Duration}
	heading := "time from heat on, min:s"
	below := s.xAxisHeight(heading, s.body.W) + float64(len(labels))*laneHeight
	gap := 8 * s.u
	each := 150 * s.u
	if len(channels) == 1 {
		each = 230 * s.u
	}
	head := s.small*leading + 4*s.u
	if s.body.H > 0 {
		each = (s.body.Bottom()-y-below)/float64(len(channels)) - head - gap
		each = math.Max(each, 60*s.u)
	}

	// One left margin for all panels, so that their clocks stand in line.
	axes := make([]axis, len(channels))
	for i, c := range channels {
		_, v := f.extent(c)
		for _, l := range f.Levels {
			if l.Channel == "" || l.Channel == c {
				v.add(l.Value)
			}
		}
		lo, hi := v.padded(0.05)
		axes[i] = axis{m: f.Measure, lo: lo, hi: hi, from: y + head + each, to: y + head}
		left = math.Max(left, s.labelWidth(s.yTicks(axes[i]))+8*s.u)
		if f.Measure.Degrees == Both {
			fa := axes[i]
			fa.m.Degrees = Fahrenheit
			right = math.Max(right, s.labelWidth(s.yTicks(fa))+10*s.u)
		}
		y += head + each + gap
	}
	y -= gap
	tx := axis{m: clockMeasure, lo: times.lo, hi: times.hi, from: s.body.X + left, to: s.body.Right() - right}
	if tx.lo == tx.hi {
		tx.lo, tx.hi = tx.lo-1, tx.hi+1
	}
	ticks := s.xTicks(tx)
	var plot Box
	for i, c := range channels {
		a := axes[i]
		plot = Box{tx.from, a.to, tx.to - tx.from, a.from - a.to}
		f.panel(s, g.Sub(c), c, a, tx, plot, ticks)
	}
	if len(labels) > 0 {
		lg := g.Sub("marks")
		for i, l := range labels {
			top := y + 6*s.u + float64(i)*laneHeight
			if size.Compact {
				lg.Add(Text{X: plot.X, Y: top + s.small, S: Fit(l, Regular, s.small, plot.W), Size: s.small, Fill: Of(Muted)})
			} else {
				lg.Add(Text{X: plot.X - 6*s.u, Y: top + float64(len(f.Treatments))*row/2 + s.small*0.35, S: Fit(l, Regular, s.small, left-6*s.u), Size: s.small, Anchor: End, Fill: Of(Muted)})
			}
			for t := range f.Treatments {
				ly := top + laneHead + (float64(t)+0.5)*row
				lg.Line(plot.X, ly, plot.Right(), ly, Of(Grid), s.u)
			}
		}
		for _, m := range f.Marks {
			if !tx.inside(m.AtS) || m.Treatment < 0 || m.Treatment >= len(f.Treatments) {
				continue
			}
			ly := y + 6*s.u + float64(lane(m.Label))*laneHeight + laneHead + (float64(m.Treatment)+0.5)*row
			mark := StyleOf(m.Treatment).Marker(Point{tx.at(m.AtS), ly}, 3.4*s.u)
			if p, ok := mark.(Path); ok && p.Stroke.Role == Paper { // marks of many cooks show through
				p.Stroke = Paint{}
				p.Fill = p.Fill.Fade(0.6)
				mark = p
			}
			lg.Add(mark)
		}
		y += float64(len(labels)) * laneHeight
		plot = Box{plot.X, y, plot.W, 0}
	}
	bottom := s.xAxis(g, tx, ticks, plot, heading)
	limit := s.body.Bottom()
	return s.done(bottom), bottom, limit
}

func (f Traces) entries() []entry {
	var out []entry
	for t, name := range f.Treatments {
		n := map[string]bool{}
		for _, l := range f.Lines {
			if l.Treatment == t {
				n[l.Cook] = true
			}
		}
		label := name
		if len(n) > 1 {
			label += fmt.Sprintf(" (%d cooks)", len(n))
		}
		for _, b := range f.Bands {
			if b.Treatment == t && b.What != "" {
				label += " (" + b.What + ")"
				break
			}
		}
		out = append(out, entry{label: label, style: StyleOf(t), line: true, point: len(f.Marks) > 0})
	}
	return out
}

func (f Traces) panel(s *sheet, g *Group, channel string, a, tx axis, plot Box, ticks []tick) {
	title := channel
	if u := f.Measure.UnitShown(); u != "" {
		title += ", " + u
	}
	g.Add(Text{X: s.body.X, Y: a.to - 7*s.u, S: Fit(title, Bold, s.small, s.body.W), Size: s.small, Weight: Bold, Fill: Of(Ink)})
	s.yAxis(g, a, s.yTicks(a), plot)
	if f.Measure.Degrees == Both {
		fa := a
		fa.m.Degrees = Fahrenheit
		for _, t := range s.yTicks(fa) {
			y := fa.at(t.v)
			g.Line(plot.Right(), y, plot.Right()+4*s.u, y, Of(Muted), s.u)
			g.Add(Text{X: plot.Right() + 7*s.u, Y: y + s.small*0.35, S: t.label, Size: s.small, Fill: Of(Muted)})
		}
		g.Add(Text{X: s.body.Right(), Y: a.to - 7*s.u, S: "°F", Size: s.small, Weight: Bold, Anchor: End, Fill: Of(Ink)})
	}
	for _, t := range ticks {
		g.Line(tx.at(t.v), plot.Y, tx.at(t.v), plot.Bottom(), Of(Grid), s.u)
	}
	if tx.inside(0) && tx.lo < 0 {
		g.Line(tx.at(0), plot.Y, tx.at(0), plot.Bottom(), Of(Muted), 1.2*s.u)
	}
	in := &Group{Clip: Box{plot.X - 2*s.u, plot.Y - 2*s.u, plot.W + 4*s.u, plot.H + 4*s.u}.Path()}
	g.Add(in)
	columns := max(2, int(plot.W/(1.6*s.u))) // about a line's width each
	place := func(run []Point) []Point {
		out := make([]Point, len(run))
		for i, p := range run {
			out[i] = Point{tx.at(p.X), a.at(p.Y)}
		}
		return out
	}
	for _, b := range f.Bands {
		if b.Channel != channel {
			continue
		}
		st := StyleOf(b.Treatment)
		for _, run := range bandRuns(b) {
			in.Add(Path{Segs: Polygon(simplify(place(run), 0.2)...), Fill: Of(st.Role).Fade(0.22)})
		}
		f.stroke(in, decimate(b.AtS, b.Mid, tx.lo, tx.hi, columns), place, st, 2.4*s.u, 1)
	}
	n := 0
	for _, l := range f.Lines {
		if l.Channel == channel {
			n++
		}
	}
	width, alpha := 2.2*s.u, 1.0
	switch {
	case n > 12:
		width, alpha = 1.1*s.u, 0.65
	case n > 4:
		width, alpha = 1.5*s.u, 0.85
	}
	for _, l := range f.interleaved(channel) {
		lg := in.Sub(l.Cook + ", " + f.Treatments[l.Treatment])
		f.stroke(lg, decimate(l.AtS, l.Values, tx.lo, tx.hi, columns), place, StyleOf(l.Treatment), width, alpha)
	}
	for _, l := range f.Levels {
		if l.Channel != "" && l.Channel != channel || !a.inside(l.Value) {
			continue
		}
		y := a.at(l.Value)
		g.Line(plot.X, y, plot.Right(), y, Of(Ink), s.u, 2*s.u, 3*s.u)
		ty := y - 4*s.u
		if ty-s.small < plot.Y {
			ty = y + s.small
		}
		x := plot.X
		if tx.inside(0) {
			x = math.Max(x, tx.at(0))
		}
		x += 5 * s.u
		g.Add(Text{X: x, Y: ty, S: Fit(l.Label, Italic, s.small, plot.Right()-x), Size: s.small, Weight: Italic, Fill: Of(Ink), Halo: true})
	}
}

// interleaved returns the lines of a channel, one of each treatment in turn,
// so that no treatment is painted over by another.
func (f Traces) interleaved(channel string) []TraceLine {
	turn := make([]int, len(f.Treatments))
	type ranked struct {
		TraceLine
		rank int
	}
	var all []ranked
	for _, l := range f.Lines {
		if l.Channel == channel {
			all = append(all, ranked{l, turn[l.Treatment]})
			turn[l.Treatment]++
		}
	}
	slices.SortStableFunc(all, func(a, b ranked) int { return a.rank - b.rank })
	out := make([]TraceLine, len(all))
	for i, r := range all {
		out[i] = r.TraceLine
	}
	return out
}

func (f Traces) stroke(g *Group, runs [][]Point, place func([]Point) []Point, st Style, width, alpha float64) {
	for _, run := range runs {
		pts := simplify(place(run), 0.2)
		if len(pts) == 1 {
			g.Add(st.Marker(pts[0], width))
			continue
		}
		g.Add(Path{Segs: Polyline(pts...), Stroke: Of(st.Role).Fade(alpha), Width: width, Dash: st.dash(width)})
	}
}

// bandRuns returns closed outlines of the stretches where both edges exist.
func bandRuns(b TraceBand) [][]Point {
	var out [][]Point
	var lo, hi []Point
	flush := func() {
		if len(lo) > 1 {
			slices.Reverse(lo)
			out = append(out, append(hi, lo...))
		}
		lo, hi = nil, nil
	}
	for i := range min(len(b.AtS), min(len(b.Lo), len(b.Hi))) {
		if !finite(b.AtS[i]) || !finite(b.Lo[i]) || !finite(b.Hi[i]) {
			flush()
			continue
		}
		lo, hi = append(lo, Point{b.AtS[i], b.Lo[i]}), append(hi, Point{b.AtS[i], b.Hi[i]})
	}
	flush()
	return out
}

// Table gives, for each trace, its start, extremes and end; the samples
// themselves are in the data.
func (f Traces) Table() Table {
	m := f.Measure
	if m.Degrees == Both {
		m.Degrees = Celsius
	}
	unit := func(name string) string { return joinUnit(name, m) }
	t := Table{Caption: f.Title, Columns: []string{"cook", "treatment", "channel", "from, s", "to, s", unit("first"), unit("lowest"), unit("highest"), "highest at, s", unit("last")}}
	row := func(name, treatment, channel string, at, v []float64) {
		ts, vs := newSpread(), newSpread()
		first, last, topAt := math.NaN(), math.NaN(), math.NaN()
		for i := range min(len(at), len(v)) {
			if !finite(at[i]) || !finite(v[i]) {
				continue
			}
			if ts.empty() {
				first = v[i]
			}
			if v[i] > vs.hi {
				topAt = at[i]
			}
			ts.add(at[i])
			vs.add(v[i])
			last = v[i]
		}
		t.Rows = append(t.Rows, []string{name, treatment, channel, cell(ts.lo), cell(ts.hi), m.cell(first), m.cell(vs.lo), m.cell(vs.hi), cell(topAt), m.cell(last)})
	}
	name := func(i int) string {
		if i < 0 || i >= len(f.Treatments) {
			return ""
		}
		return f.Treatments[i]
	}
	for _, b := range f.Bands {
		row(b.What+" (middle)", name(b.Treatment), b.Channel, b.AtS, b.Mid)
	}
	for _, l := range f.Lines {
		row(l.Cook, name(l.Treatment), l.Channel, l.AtS, l.Values)
	}
	return t
}

// Alt says what is overlaid and how high each channel goes.
func (f Traces) Alt() string {
	times, all := f.extent("")
	if all.empty() {
		return "No traces."
	}
	m := f.Measure
	if m.Degrees == Both {
		m.Degrees = Celsius
	}
	var parts []string
	for _, c := range f.channels() {
		_, v := f.extent(c)
		if !v.empty() {
			parts = append(parts, fmt.Sprintf("%s from %s to %s", c, m.Text(v.lo, 0), m.Text(v.hi, 0)))
		}
	}
	cooks := map[string]bool{}
	for _, l := range f.Lines {
		cooks[l.Cook] = true
	}
	what := plural(len(cooks), "cook")
	if len(cooks) == 0 {
		what = plural(len(f.Bands), "band")
	}
	return fmt.Sprintf("Traces of %s in step at heat on, for %s, over %s: %s.",
		what, strings.Join(f.Treatments, " and "), Measure{Kind: Duration}.Text(times.hi-math.Min(0, times.lo), 0), strings.Join(parts, "; "))
}

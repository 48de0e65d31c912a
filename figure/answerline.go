package figure

import (
	"fmt"
	"math"
	"strings"
)

// Direction is the way a claim says a response moves.
type Direction string

// Directions of a claim.
const (
	Higher Direction = "higher"
	Lower  Direction = "lower"
	Either Direction = "either"
)

// Interval is a range of a difference; a limit that is not finite is open.
type Interval struct{ Lo, Hi float64 }

// Answer is one question of an [AnswerLine]: treatment minus control.
type Answer struct {
	Ask      string
	Verdict  string // the sentence printed under the question
	Settled  bool   // an unsettled answer is drawn hollow
	Measure  Measure
	Estimate float64  // not finite when there is none
	Outer    Interval // at 1−a: decides "matters"
	Inner    Interval // at 1−2a: decides "inside the margin"
	Level    float64  // 1−a, e.g. 0.95
	Margin   float64  // δ > 0
	Claim    Direction
}

// AnswerLine stacks the answers of a study. Every line is ruled in units of
// its own margin, so the zones of "too small to matter" stand under one
// another whatever the responses are measured in.
type AnswerLine struct {
	Head
	Answers []Answer
}

var _ Figure = AnswerLine{}

// Scene lays the lines out.
func (f AnswerLine) Scene(size Size, theme Theme) (*Scene, error) {
	if len(f.Answers) == 0 {
		return nil, errEmpty("the answer line", "give at least one question")
	}
	for i, a := range f.Answers {
		if !(a.Margin > 0) || !finite(a.Margin) {
			return nil, errInput(fmt.Sprintf("Answers[%d].Margin", i), fmt.Sprint(a.Margin), "the margin of %q is not a positive number", a.Ask)
		}
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.orNote(f.key()), f.Alt(), size, theme)
		y := s.body.Y
		for i, a := range f.Answers {
			if i > 0 {
				y += 10 * s.u
				s.Root.Line(s.body.X, y, s.body.Right(), y, Of(Grid), s.u)
				y += 12 * s.u
			}
			y = f.row(s, a, y)
		}
		limit := s.body.Bottom()
		return s.done(y), y, limit, nil
	})
}

// key says how to read the marks in use.
func (f AnswerLine) key() string {
	out := "Thin bars: the wide intervals; thick bars: the narrow ones."
	for _, a := range f.Answers {
		if !a.Settled && finite(a.Estimate) {
			return out + " An open ring: not settled."
		}
	}
	return out
}

// reach is the half-width of all rulers in margins.
func (f AnswerLine) reach() float64 {
	reach := 1.6
	for _, a := range f.Answers {
		for _, v := range []float64{a.Estimate, a.Outer.Lo, a.Outer.Hi, a.Inner.Lo, a.Inner.Hi} {
			if finite(v) {
				reach = math.Max(reach, math.Abs(v)/a.Margin*1.08)
			}
		}
	}
	return math.Min(reach, 6)
}

func (f AnswerLine) row(s *sheet, a Answer, y float64) float64 {
	g := s.Root.Sub(a.Ask)
	y = s.paragraph(g, a.Ask, s.body.X, y, s.body.W, s.em, Bold, Ink)
	if a.Verdict != "" {
		y = s.paragraph(g, a.Verdict, s.body.X, y, s.body.W, s.em, Regular, Ink)
	}
	y += 6 * s.u

	inset := 10 * s.u // room for arrowheads
	reach := f.reach()
	ax := axis{m: a.Measure, lo: -reach * a.Margin, hi: reach * a.Margin, from: s.body.X + inset, to: s.body.Right() - inset}
	lane := s.small * leading // the words of direction
	mid := y + lane + 13*s.u
	base := mid + 15*s.u
	left, right := ax.at(-a.Margin), ax.at(a.Margin)

	g.Fill(Box{left, y + lane, right - left, base - y - lane}, Of(Band))
	g.Line(ax.from, base, ax.to, base, Of(Muted), s.u)
	for _, v := range []float64{-a.Margin, 0, a.Margin} {
		g.Line(ax.at(v), base, ax.at(v), base+5*s.u, Of(Muted), s.u)
	}
	g.Line(ax.at(0), y+lane, ax.at(0), base, Of(Ink), s.u)
	f.directions(s, g, a, ax, y+s.small*0.95)
	for _, word := range []string{"too small to matter", "too small"} {
		w := Width(word, Italic, s.small)
		if w+4*s.u <= right-left && (right-left)/2+ax.at(0)+150*s.u < ax.to {
			g.Add(Text{X: ax.at(0), Y: y + s.small*0.95, S: word, Size: s.small, Weight: Italic, Anchor: Middle, Fill: Of(Muted)})
			break
		}
	}
	f.interval(s, g, a, ax, mid)

	d := trimmed(a.Measure.Shown(a.Margin), 2)
	ly := base + 6*s.u + s.small*0.9
	low, high := a.Measure.Signed(-a.Margin, d), a.Measure.Signed(a.Margin, d)
	room := right - ax.at(0) - math.Max(Width(low, Regular, s.small), Width(high, Regular, s.small))/2
	switch {
	case room > s.small*0.8: // all three fit
		s.within(g, "0", ax.at(0), ly, s.small, Muted)
		s.within(g, low, left, ly, s.small, Muted)
		s.within(g, high, right, ly, s.small, Muted)
	default: // the two ends grow outwards
		g.Add(Text{X: ax.at(0) - s.small*0.5, Y: ly, S: low, Size: s.small, Anchor: End, Fill: Of(Muted)})
		g.Add(Text{X: ax.at(0) + s.small*0.5, Y: ly, S: high, Size: s.small, Fill: Of(Muted)})
	}
	y = ly + s.small*0.5
	return s.paragraph(g, a.numbers(), s.body.X, y, s.body.W, s.em, Regular, Muted)
}

// trimmed returns the fewest decimals up to most that print v unchanged.
func trimmed(v float64, most int) int {
	for d := 0; d < most; d++ {
		p := math.Pow(10, float64(d))
		if math.Abs(math.Round(v*p)/p-v) < 1e-9*math.Abs(v) {
			return d
		}
	}
	return most
}

// directions writes which side the claim points to, above the ruler.
func (f AnswerLine) directions(s *sheet, g *Group, a Answer, ax axis, y float64) {
	arrow := func(x1, x2 float64) {
		ya := y - s.small*0.3
		tip := 4 * s.u
		if x2 < x1 {
			tip = -tip
		}
		g.Line(x1, ya, x2, ya, Of(Ink), 1.4*s.u)
		g.Add(Path{Segs: Polyline(Point{x2 - tip, ya - 4*s.u}, Point{x2, ya}, Point{x2 - tip, ya + 4*s.u}), Stroke: Of(Ink), Width: 1.4 * s.u})
	}
	shaft := 18 * s.u
	put := func(word string, side float64) {
		w := Width(word, Italic, s.small)
		if side < 0 {
			arrow(ax.from+shaft, ax.from)
			g.Add(Text{X: ax.from + shaft + 6*s.u, Y: y, S: word, Size: s.small, Weight: Italic, Fill: Of(Ink)})
			return
		}
		arrow(ax.to-shaft, ax.to)
		g.Add(Text{X: ax.to - shaft - 6*s.u - w, Y: y, S: word, Size: s.small, Weight: Italic, Fill: Of(Ink)})
	}
	switch a.Claim {
	case Lower:
		put("claimed: lower", -1)
	case Either:
		put("claimed: either way", -1)
		arrow(ax.to-shaft, ax.to)
	default:
		put("claimed: higher", 1)
	}
}

// interval draws both intervals and the estimate; what runs off the ruler
// ends in an arrowhead.
func (f AnswerLine) interval(s *sheet, g *Group, a Answer, ax axis, y float64) {
	if !finite(a.Estimate) && !finite(a.Outer.Lo) && !finite(a.Outer.Hi) {
		word := "no estimate"
		g.Add(Text{X: ax.at(0), Y: y + s.small*0.35, S: word, Size: s.small, Weight: Italic, Anchor: Middle, Fill: Of(Ink), Halo: true})
		return
	}
	bar := func(in Interval, width float64, caps bool) {
		if math.IsNaN(in.Lo) || math.IsNaN(in.Hi) {
			return
		}
		x1, x2 := ax.from, ax.to
		if ax.inside(in.Lo) || in.Lo > ax.hi {
			x1 = math.Min(ax.at(in.Lo), ax.to)
		}
		if ax.inside(in.Hi) || in.Hi < ax.lo {
			x2 = math.Max(ax.at(in.Hi), ax.from)
		}
		g.Add(Path{Segs: Polyline(Point{x1, y}, Point{x2, y}), Stroke: Of(S1), Width: width, Crisp: true})
		if !caps {
			return
		}
		head := func(x, out float64) {
			g.Add(Path{Segs: Polygon(Point{x + out*8*s.u, y}, Point{x - out*2*s.u, y - 6*s.u}, Point{x - out*2*s.u, y + 6*s.u}), Fill: Of(S1)})
		}
		tick := func(x float64) { g.Line(x, y-6*s.u, x, y+6*s.u, Of(S1), width) }
		switch {
		case ax.inside(in.Lo):
			tick(x1)
		case in.Lo < ax.lo:
			head(ax.from, -1)
		}
		switch {
		case ax.inside(in.Hi):
			tick(x2)
		case in.Hi > ax.hi:
			head(ax.to, 1)
		}
	}
	bar(a.Outer, 1.8*s.u, true)
	bar(a.Inner, 5*s.u, false)
	if ax.inside(a.Estimate) {
		st := Style{Role: S1, Shape: Disc, Hollow: !a.Settled}
		g.Add(st.Marker(Point{ax.at(a.Estimate), y}, 6.5*s.u))
	}
}

// numbers prints the estimate with both intervals.
func (a Answer) numbers() string {
	if !finite(a.Estimate) {
		return "No estimate."
	}
	m := a.Measure
	d := m.Decimals(a.Estimate, a.halfWidth())
	if m.Kind == Duration {
		d = min(d, 1)
	}
	out := m.Signed(a.Estimate, d)
	if finite(a.Outer.Lo) || finite(a.Outer.Hi) {
		out += fmt.Sprintf("; %s: %s", percent(a.Level), m.SignedRange(a.Outer.Lo, a.Outer.Hi, d))
	}
	if finite(a.Inner.Lo) || finite(a.Inner.Hi) {
		out += fmt.Sprintf("; %s: %s", percent(2*a.Level-1), m.SignedRange(a.Inner.Lo, a.Inner.Hi, d))
	}
	return out
}

func (a Answer) halfWidth() float64 {
	switch lo, hi := a.Outer.Lo, a.Outer.Hi; {
	case finite(lo) && finite(hi):
		return (hi - lo) / 2
	case finite(lo):
		return a.Estimate - lo
	case finite(hi):
		return hi - a.Estimate
	}
	return 0
}

// percent prints a level such as 0.9875 as "98.75 %".
func percent(level float64) string {
	p := math.Round(level*1e4) / 100
	return decimal(p, trimmed(p, 2), false) + "\u00a0%"
}

// Table gives the estimate and intervals of each question.
func (f AnswerLine) Table() Table {
	t := Table{
		Caption: f.Title,
		Columns: []string{"question", "verdict", "estimate", "interval low", "interval high", "level", "narrow interval low", "narrow interval high", "margin", "unit"},
	}
	for _, a := range f.Answers {
		m := a.Measure
		n := func(v float64) string { return cell(m.Shown(v)) }
		if m.Kind == Duration {
			n = cell
		}
		unit := m.UnitShown()
		if m.Kind == Duration {
			unit = "s"
		}
		t.Rows = append(t.Rows, []string{a.Ask, a.Verdict, n(a.Estimate), n(a.Outer.Lo), n(a.Outer.Hi), cell(a.Level), n(a.Inner.Lo), n(a.Inner.Hi), n(a.Margin), unit})
	}
	return t
}

// Alt says each answer.
func (f AnswerLine) Alt() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s with the interval of each answer against its margin.", plural(len(f.Answers), "question"))
	for _, a := range f.Answers {
		fmt.Fprintf(&b, " %s Estimate %s; margin %s.", strings.TrimSpace(a.Ask+" "+a.Verdict), a.numbers(), a.Measure.Text(a.Margin, trimmed(a.Measure.Shown(a.Margin), 2)))
	}
	return b.String()
}

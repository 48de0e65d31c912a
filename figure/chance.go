package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Chance sets a tasting's number of correct answers against what guessing
// alone would give, with the count from which guessing is ruled out, and d′
// with its interval below.
type Chance struct {
	Head
	Method   string  // "triangle", …
	N        int     // answers
	Guess    float64 // chance of a correct guess, 0 < Guess < 1
	Correct  int     // −1 before the tasting is closed
	Critical int     // least count that rules guessing out; 0 none
	Alpha    float64 // at which Critical was taken
	DPrime   float64 // not finite draws none
	Interval Interval
	Level    float64 // of Interval
}

var _ Figure = Chance{}

// Scene lays the figure out.
func (f Chance) Scene(size Size, theme Theme) (*Scene, error) {
	if f.N < 1 {
		return nil, errEmpty("the chance figure", "give a tasting with at least one answer")
	}
	if !(f.Guess > 0 && f.Guess < 1) {
		return nil, errInput("Guess", fmt.Sprint(f.Guess), "the chance of a correct guess is not between 0 and 1")
	}
	if f.Correct > f.N {
		return nil, errInput("Correct", fmt.Sprint(f.Correct), "there are more correct answers than answers (%d)", f.N)
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme)
		return sc, bottom, limit, nil
	})
}

// from and to bound the counts worth drawing: all but a hundred-thousandth
// of the guesses, the critical count and the observed one.
func (f Chance) counts() (from, to int) {
	b := distuv.Binomial{N: float64(f.N), P: f.Guess}
	from, to = f.N, 0
	for k := 0; k <= f.N; k++ {
		if b.Prob(float64(k)) > 1e-5 {
			from, to = min(from, k), max(to, k)
		}
	}
	for _, k := range []int{f.Correct, f.Critical} {
		if k > 0 || k == f.Correct && k == 0 {
			from, to = min(from, k), max(to, k)
		}
	}
	return max(0, from-1), min(f.N, to+1)
}

func (f Chance) lay(size Size, theme Theme) (*Scene, float64, float64) {
	s := newSheet(f.Head, f.Alt(), size, theme)
	g := &s.Root
	y := s.body.Y
	pale, dark := Of(Muted).Fade(0.35), Of(S1)
	keys := []entry{{label: "chance of each count if everyone guesses", style: Style{Role: Muted}, fill: &pale}}
	if f.Critical > 0 && f.Critical <= f.N {
		keys = append(keys, entry{label: fmt.Sprintf("%d or more: at most %s by guessing", f.Critical, percent(f.Alpha)), style: Style{Role: S1}, fill: &dark})
	}
	y = s.legend(g, keys, s.body.X, y, s.body.W)
	from, to := f.counts()
	heading := fmt.Sprintf("correct answers of %d", f.N)
	below := s.xAxisHeight(heading, s.body.W) + f.stripHeight(s)
	h := 190 * s.u
	if s.body.H > 0 {
		h = math.Max(90*s.u, s.body.Bottom()-y-below)
	}
	b := distuv.Binomial{N: float64(f.N), P: f.Guess}
	most := 0.0
	for k := from; k <= to; k++ {
		most = math.Max(most, b.Prob(float64(k)))
	}
	flag := s.em*leading + 12*s.u // room for the observed count above the bars
	pa := axis{m: Measure{Kind: Percent}, lo: 0, hi: 100 * most * 1.02, from: y + h, to: y + flag}
	ticks := s.yTicks(pa)
	left := s.labelWidth(ticks) + 22*s.u
	plot := Box{s.body.X + left, y, s.body.W - left, h}
	for _, t := range ticks {
		t.label += "\u00a0%"
		g.Line(plot.X, pa.at(t.v), plot.Right(), pa.at(t.v), Of(Grid), s.u)
		g.Add(Text{X: plot.X - 6*s.u, Y: pa.at(t.v) + s.small*0.35, S: t.label, Size: s.small, Anchor: End, Fill: Of(Muted)})
	}
	ka := axis{m: Measure{}, lo: float64(from) - 0.6, hi: float64(to) + 0.6, from: plot.X, to: plot.Right()}
	w := math.Max(1, ka.unit()*0.76)
	for k := from; k <= to; k++ {
		p := b.Prob(float64(k))
		top := pa.at(100 * p)
		fill := pale
		if f.Critical > 0 && k >= f.Critical {
			fill = dark
		}
		bg := g.Sub(fmt.Sprintf("%d correct: %.3g %% by guessing", k, 100*p))
		bg.Fill(Box{ka.at(float64(k)) - w/2, top, w, plot.Bottom() - top}, fill)
	}
	if f.Critical > from && f.Critical <= f.N {
		x := ka.at(float64(f.Critical) - 0.5)
		g.Line(x, plot.Y+flag*0.9, x, plot.Bottom(), Of(Ink), s.u, 3*s.u, 3*s.u)
	}
	if f.Correct >= 0 {
		x := ka.at(float64(f.Correct))
		tip := math.Min(pa.at(100*b.Prob(float64(f.Correct))), plot.Bottom()-4*s.u) - 3*s.u
		g.Line(x, plot.Y+s.em*leading, x, tip, Of(Ink), 2*s.u)
		g.Add(Path{Segs: Polygon(Point{x, tip + 2*s.u}, Point{x - 5*s.u, tip - 8*s.u}, Point{x + 5*s.u, tip - 8*s.u}), Fill: Of(Ink)})
		label := fmt.Sprintf("observed: %d", f.Correct)
		half := Width(label, Bold, s.em) / 2
		lx := math.Max(plot.X+half, math.Min(plot.Right()-half, x))
		g.Add(Text{X: lx, Y: plot.Y + s.em, S: label, Size: s.em, Weight: Bold, Anchor: Middle, Fill: Of(Ink)})
	}
	y = s.xAxis(g, ka, countsOnly(s.xTicks(ka)), plot, heading)
	y = f.strip(s, g.Sub("d′"), y)
	limit := s.body.Bottom()
	return s.done(y), y, limit
}

// countsOnly keeps to whole counts.
func countsOnly(ticks []tick) []tick {
	var out []tick
	for _, t := range ticks {
		if t.v == math.Round(t.v) {
			out = append(out, tick{t.v, decimal(t.v, 0, false)})
		}
	}
	return out
}

func (f Chance) stripHeight(s *sheet) float64 {
	if !finite(f.DPrime) {
		return 0
	}
	return 8*s.u + float64(len(Wrap(f.dText(), Regular, s.em, s.body.W)))*s.em*leading + 26*s.u + s.xAxisHeight("", s.body.W)
}

// strip draws d′ with its interval and returns the y below.
func (f Chance) strip(s *sheet, g *Group, y float64) float64 {
	if !finite(f.DPrime) {
		return y
	}
	y = s.paragraph(g, f.dText(), s.body.X, y+8*s.u, s.body.W, s.em, Regular, Ink)
	top := math.Max(2, f.DPrime*1.15)
	if finite(f.Interval.Hi) {
		top = math.Max(top, math.Min(f.Interval.Hi*1.08, 6))
	}
	ax := axis{lo: 0, hi: top, from: s.body.X + 8*s.u, to: s.body.Right() - 8*s.u}
	mid := y + 12*s.u
	plot := Box{s.body.X, y, s.body.W, 26 * s.u}
	lo, hi := math.Max(f.Interval.Lo, 0), f.Interval.Hi
	if !math.IsNaN(lo) && !math.IsNaN(hi) {
		x2 := ax.at(math.Min(hi, top))
		g.Line(ax.at(lo), mid, x2, mid, Of(S1), 2*s.u)
		g.Line(ax.at(lo), mid-6*s.u, ax.at(lo), mid+6*s.u, Of(S1), 2*s.u)
		if hi <= top {
			g.Line(x2, mid-6*s.u, x2, mid+6*s.u, Of(S1), 2*s.u)
		} else {
			g.Add(Path{Segs: Polygon(Point{x2 + 4*s.u, mid}, Point{x2 - 6*s.u, mid - 6*s.u}, Point{x2 - 6*s.u, mid + 6*s.u}), Fill: Of(S1)})
		}
	}
	g.Add(StyleOf(0).Marker(Point{ax.at(math.Max(0, f.DPrime)), mid}, 6*s.u))
	return s.xAxis(g, ax, s.xTicks(ax), plot, "")
}

func (f Chance) dText() string {
	w := (f.Interval.Hi - f.Interval.Lo) / 2
	m := Measure{}
	if !finite(w) || w <= 0 {
		return "d′ = " + m.Text(f.DPrime, 2)
	}
	d := DecimalsFor(w)
	return fmt.Sprintf("d′ = %s; %s: %s", m.Text(f.DPrime, d), percent(f.Level), m.Range(f.Interval.Lo, f.Interval.Hi, d))
}

// Table gives the chance of each count.
func (f Chance) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"correct answers", "chance by guessing", "observed", "rules guessing out"}}
	if f.N < 1 || !(f.Guess > 0 && f.Guess < 1) {
		return t
	}
	b := distuv.Binomial{N: float64(f.N), P: f.Guess}
	yes := func(v bool) string {
		if v {
			return "yes"
		}
		return ""
	}
	from, to := f.counts()
	for k := from; k <= to; k++ {
		t.Rows = append(t.Rows, []string{cell(float64(k)), fmt.Sprintf("%.4g", b.Prob(float64(k))), yes(k == f.Correct), yes(f.Critical > 0 && k >= f.Critical)})
	}
	return t
}

// Alt says the count against chance.
func (f Chance) Alt() string {
	out := fmt.Sprintf("%s tasting with %d answers, %s correct expected by guessing.", capital(f.Method), f.N, decimal(float64(f.N)*f.Guess, 0, false))
	if f.Method == "" {
		out = capital(out[1:])
	}
	if f.Correct >= 0 {
		out += fmt.Sprintf(" Observed %d.", f.Correct)
	} else {
		out += " Not closed yet."
	}
	if f.Critical > 0 && f.Critical <= f.N {
		out += fmt.Sprintf(" %d or more would rule guessing out at %s.", f.Critical, percent(f.Alpha))
	}
	if finite(f.DPrime) {
		out += " " + f.dText() + "."
	}
	return out
}

package publish

import (
	"fmt"
	"math"
	"strings"

	"trivet/fault"
	"trivet/figure"
)

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// halfWidth is the uncertainty that decides how many digits are printed: half
// the outer interval, or the distance to its one closed end.
func (e *Evidence) halfWidth() float64 {
	lo, hi := e.Outer.Lo, e.Outer.Hi
	switch {
	case finite(lo) && finite(hi):
		return (hi - lo) / 2
	case finite(lo):
		return e.Estimate - lo
	case finite(hi):
		return hi - e.Estimate
	case e.SE > 0:
		return 2 * e.SE
	}
	return 0
}

func (e *Evidence) decimals() int {
	d := e.Measure.Decimals(e.Estimate, e.halfWidth())
	if e.Measure.Kind == figure.Duration {
		d = min(d, 0)
	}
	return d
}

// lead says the estimate, its interval and the margin in two sentences.
func (q Question) lead() string {
	e := q.Evidence
	if e == nil || !finite(e.Estimate) {
		return ""
	}
	m, d := e.Measure, e.decimals()
	way := "higher"
	shown := e.Estimate
	if shown < 0 {
		way = "lower"
		if m.Kind != figure.LogRatio { // a ratio is not symmetric: keep its sign until printed
			shown = -shown
		}
	}
	amount := strings.TrimPrefix(m.Text(shown, d), "−")
	name := e.Response
	if name == "" {
		name = "the response"
	}
	text := fmt.Sprintf("%s was on average %s %s with %s than with %s", capital(name), amount, way, q.Treatment, q.Control)
	if finite(e.Outer.Lo) || finite(e.Outer.Hi) {
		text += fmt.Sprintf(" (%s interval: %s; %s, %s)", level(e.Level), m.SignedRange(e.Outer.Lo, e.Outer.Hi, d), count(e.Blocks, "block"), count(e.Pieces, "piece"))
	}
	text += "."
	if e.Margin > 0 && finite(e.Margin) {
		text += fmt.Sprintf(" The smallest difference that matters was set at %s.", e.margin())
	}
	return text
}

// margin prints the margin with no digits it was not written with.
func (e *Evidence) margin() string {
	m := e.Measure
	if m.Kind == figure.Duration {
		return m.Text(e.Margin, 0)
	}
	v := m.Shown(e.Margin)
	d := 0
	for ; d < 4; d++ {
		p := math.Pow(10, float64(d))
		if math.Abs(math.Round(v*p)/p-v) < 1e-9*math.Max(1, math.Abs(v)) {
			break
		}
	}
	return m.Text(e.Margin, d)
}

// numbers lists the estimate's figures for those who want them.
func (q Question) numbers() []Fact {
	e := q.Evidence
	if e == nil {
		return nil
	}
	m, d := e.Measure, e.decimals()
	var out []Fact
	add := func(term, text string) {
		if text != "" {
			out = append(out, Fact{term, text})
		}
	}
	vd := e.Value.Decimals(e.TreatMean, e.halfWidth())
	if e.Value.Kind == figure.Duration {
		vd = min(vd, 0)
	}
	if finite(e.TreatMean) && finite(e.CtrlMean) {
		add("Means", fmt.Sprintf("%s with %s, %s with %s", e.Value.Text(e.TreatMean, vd), q.Treatment, e.Value.Text(e.CtrlMean, vd), q.Control))
	}
	if finite(e.Estimate) {
		add("Difference", m.Signed(e.Estimate, d)+", "+q.Treatment+" minus "+q.Control)
	}
	interval := func(term string, i figure.Interval) {
		if !math.IsNaN(i.Lo) && !math.IsNaN(i.Hi) && (finite(i.Lo) || finite(i.Hi)) {
			add(term, m.SignedRange(i.Lo, i.Hi, d))
		}
	}
	interval(level(e.Level)+" interval", e.Outer)
	interval(level(2*e.Level-1)+" interval", e.Inner)
	if e.SignFlip != nil {
		interval(level(e.Level)+" interval by sign flips", *e.SignFlip)
	}
	if e.NextCook != nil {
		interval("The next pair, 95 %", *e.NextCook)
	}
	if e.Margin > 0 && finite(e.Margin) {
		add("Margin", e.margin())
	}
	if e.SE > 0 && finite(e.SE) && m.Kind != figure.LogRatio {
		se := m.Delta().Text(e.SE, figure.DecimalsFor(m.Shown(e.SE)))
		if m.Kind == figure.Duration {
			se = fmt.Sprintf("%.*f s", max(0, figure.DecimalsFor(e.SE)), e.SE)
		}
		add("Standard error", fmt.Sprintf("%s, %s degrees of freedom", se, trim(e.DF)))
	}
	if finite(e.P) && e.P >= 0 {
		add("Chance of so large a difference if there were none", probability(e.P))
	}
	if e.ValueU > 0 && finite(e.ValueU) {
		u := e.Value.Delta().Text(e.ValueU, figure.DecimalsFor(e.Value.Delta().Shown(e.ValueU)))
		if e.Value.Kind == figure.Duration {
			u = fmt.Sprintf("%.*f s", max(0, figure.DecimalsFor(e.ValueU)), e.ValueU)
		}
		if e.ValueK > 0 {
			u += fmt.Sprintf(" (k = %.2g)", e.ValueK)
		}
		add("Expanded uncertainty of one value", u)
		if e.ValueMain != "" {
			add("Most of it comes from", e.ValueMain)
		}
		if e.ValueHalf != "" {
			add("What would halve it", sentence(e.ValueHalf))
		}
	}
	add("Method", e.Method)
	return out
}

// text prints the value with its uncertainty, for a column that gives the
// unit.
func (v Value) text() string {
	if v.High > v.Low {
		d := max(0, figure.DecimalsFor((v.High-v.Low)/2))
		return fmt.Sprintf("%.*f (%.*f to %.*f)", d, v.Value, d, v.Low, d, v.High)
	}
	return v.Measure.PlusMinusBare(v.Value, v.U)
}

func probability(p float64) string {
	if p < 0.001 {
		return "under 0.001"
	}
	return fmt.Sprintf("%.*f", min(3, max(2, figure.DecimalsFor(p))), p)
}

// level prints 0.9875 as "98.75 %".
func level(l float64) string {
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.2f", 100*l), "0"), ".") + "\u00a0%"
}

// trim prints a number to one decimal, without a trailing zero.
func trim(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// sentence starts with a capital and ends with a full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?:") {
		return s
	}
	return s + "."
}

func sentences(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = sentence(s)
	}
	return out
}

func noteSentences(notes []fault.Note) []fault.Note {
	out := make([]fault.Note, len(notes))
	for i, n := range notes {
		out[i] = fault.Note{Code: n.Code, Text: sentence(n.Text)}
	}
	return out
}

func capitalTerms(facts []Fact) []Fact {
	out := make([]Fact, len(facts))
	for i, f := range facts {
		out[i] = Fact{capital(f.Term), f.Text}
	}
	return out
}

func capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	if len(r) > 1 && r[1] == '′' {
		return s // a symbol, such as d′
	}
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// heading names a cook: "L01-first: sear first, planned, third in the order".
func (c Cook) heading() string {
	parts := []string{}
	for _, s := range []string{c.Treatment, c.Role} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if c.Order > 0 {
		parts = append(parts, fmt.Sprintf("run %d", c.Order))
	}
	if len(c.Deviations) > 0 {
		parts = append(parts, count(len(c.Deviations), "deviation"))
	}
	if len(parts) == 0 {
		return c.Label
	}
	return c.Label + ": " + strings.Join(parts, ", ")
}

// mass prints to the scale's resolution, or to a tenth of a gram.
func (w Weighing) mass() string {
	m := figure.Measure{Unit: "g"}
	d := 1
	if w.ResG > 0 {
		d = max(0, int(math.Ceil(-math.Log10(w.ResG)-1e-9)))
	}
	return m.Text(w.MassG, d)
}

func (d Deviation) sentence() string {
	text := d.What
	if at := clock(d.AtS, d.HasAt); at != "" {
		text = at + ": " + text
	}
	if d.Why != "" {
		text += " (" + d.Why + ")"
	}
	return text
}

package answer

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"trivet/quantity"
	"trivet/study"
)

// Words renders numbers for people: in °F and with the names of a study's
// treatments where it has them.
type Words struct {
	Study      *study.Study
	Fahrenheit bool
}

// Treatment returns a treatment's name, else its id.
func (w Words) Treatment(id string) string {
	for _, t := range w.Study.Treatments {
		if t.ID == id && t.Name != "" {
			return t.Name
		}
	}
	return id
}

// handMoments are the moments at which a temperature is read by hand, by the
// end of its id.
var handMoments = map[string]string{"raw": "before heat", "off-heat": "off the heat", "rested": "after the rest", "served": "at serving"}

// Response returns a response's id as words: "cooking loss"; of a temperature
// read by hand its place and moment: "core by hand, after the rest".
func (Words) Response(id string) string {
	if place, moment, ok := strings.Cut(id, "_by_hand_"); ok && handMoments[moment] != "" {
		return place + " by hand, " + handMoments[moment]
	}
	return strings.Replace(strings.ReplaceAll(id, "_", " "), "(", " (", 1)
}

// Difference renders a difference of a response with its unit, rounded to
// two digits of u: "1.2 points", "3.4 °C", "1 min 20 s", "12 %" for ratios.
func (w Words) Difference(f *Finding, x, u float64) string {
	if f.Evidence != nil && f.Evidence.Ratio {
		return fmt.Sprintf("%s %%", round(100*math.Expm1(x), 100*u))
	}
	switch f.Unit {
	case "%":
		return round(x, u) + " points"
	case "°C", "K":
		if w.Fahrenheit {
			return round(1.8*x, 1.8*u) + " °F"
		}
		return round(x, u) + " °C"
	case "s":
		if math.Abs(x) >= 60 {
			sign := ""
			if x < 0 {
				sign = "−"
			}
			return sign + quantity.Seconds(math.Round(math.Abs(x))).String()
		}
	}
	if f.Unit == "" {
		return round(x, u)
	}
	return round(x, u) + " " + f.Unit
}

// Range renders an interval of differences by their direction, the unit
// once where it can be: "2.9 to 4.0 points lower", "0.3 °C lower to 1.2 °C
// higher".
func (w Words) Range(f *Finding, i Interval, u float64) string {
	size := func(x float64) string { return strings.TrimPrefix(w.Difference(f, x, u), "−") }
	switch {
	case i.Low >= 0:
		return joinRange(size(i.Low), size(i.High)) + " higher"
	case i.High <= 0:
		return joinRange(size(i.High), size(i.Low)) + " lower"
	}
	return size(i.Low) + " lower to " + size(i.High) + " higher"
}

// joinRange joins two amounts, leaving out a unit that both have.
func joinRange(lo, hi string) string {
	if a, unit, ok := strings.Cut(lo, " "); ok && strings.HasSuffix(hi, " "+unit) && !strings.Contains(unit, " ") {
		lo = a
	}
	return lo + " to " + hi
}

// Margin renders a question's margin: as written, without the sign that
// marks a difference of temperatures, in °F where those are asked for.
func (w Words) Margin(q study.Question) string {
	if m := q.Margin; w.Fahrenheit && m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindDifference {
		return strings.TrimPrefix(quantity.FormatDifference(quantity.Kelvins(m.Value), quantity.Customary), "+")
	}
	return strings.TrimPrefix(q.Margin.Text, "+")
}

// margin is the margin of a finding's question.
func (w Words) margin(f *Finding) string {
	for _, q := range w.Study.Questions {
		if q.ID == f.Question && q.Margin.Text == f.Margin {
			return w.Margin(q)
		}
	}
	return strings.TrimPrefix(f.Margin, "+")
}

// round prints x with two significant digits of u, with a true minus sign.
func round(x, u float64) string {
	d := 2
	if u > 0 && !math.IsInf(u, 0) {
		d = max(0, min(6, 1-int(math.Floor(math.Log10(u)))))
	}
	return minus(fmt.Sprintf("%.*f", d, x))
}

func minus(s string) string {
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// Sentence says the evidence and what follows from it in one or two plain
// sentences.
func (w Words) Sentence(f *Finding) string {
	ev := f.Evidence
	if ev == nil {
		return f.Sentence
	}
	t, c, what := w.Treatment(f.Treatment), w.Treatment(f.Control), w.Response(f.Response)
	way := "higher"
	if ev.Estimate < 0 {
		way = "lower"
	}
	// Two digits of the interval's half width: what the numbers can bear.
	u := (ev.Wide.High - ev.Wide.Low) / 2
	interval := "no interval yet"
	if math.IsInf(u, 0) || math.IsNaN(u) {
		u = ev.SE
	} else {
		interval = fmt.Sprintf("%s interval: %s", percent(1-ev.Level), w.Range(f, ev.Wide, u))
	}
	b := &strings.Builder{}
	fmt.Fprintf(b, "With %s, %s was %s %s than with %s on average (%s; %d blocks).", t, what,
		strings.TrimPrefix(w.Difference(f, ev.Estimate, u), "−"), way, c, interval, ev.Blocks)
	b.WriteString(" " + w.verdictSentence(f))
	return b.String()
}

func (w Words) verdictSentence(f *Finding) string {
	ev := f.Evidence
	v, lead := f.would(), ""
	switch {
	case f.Verdict != nil:
		v = *f.Verdict
	case len(f.WhyNot) == 1 && f.WhyNot[0] == "not-sealed":
		lead = "Had the plan been sealed beforehand the verdict would be: "
	default:
		return "No verdict: " + whyWords(f) + "."
	}
	m := w.margin(f)
	var s string
	switch v {
	case Matters:
		s = fmt.Sprintf("the difference is at least the margin of %s, as claimed.", m)
	case Opposite:
		s = fmt.Sprintf("the reverse of the claim is true, by at least the margin of %s.", m)
	case TooSmall:
		s = fmt.Sprintf("there is a real difference, smaller than the margin of %s.", m)
	case NoDifference:
		s = fmt.Sprintf("any average difference is smaller than the margin of %s.", m)
	default:
		s = w.unsettled(f)
	}
	if lead == "" {
		s = Capital(s)
	}
	if ev.More != nil && ev.More.Text != "" {
		s += " " + ev.More.Text
	}
	return lead + s
}

// unsettled says what is open, in one line.
func (w Words) unsettled(f *Finding) string {
	ev := f.Evidence
	if f.RawVerdict.Settled() {
		return "not settled yet, although the numbers alone say “" + f.RawVerdict.Printed() + "”: " + strings.Join(f.held(), "; ") + "."
	}
	lo, hi, nlo, nhi := ev.Wide.Low, ev.Wide.High, ev.Narrow.Low, ev.Narrow.High
	claim := "a rise"
	other := "a fall"
	if f.Claim == study.Lower {
		lo, hi, nlo, nhi = -hi, -lo, -nhi, -nlo
		claim, other = other, claim
	}
	d := ev.MarginValue
	switch {
	case lo > 0:
		return fmt.Sprintf("not settled yet: some %s is shown, whether it reaches %s is open.", strings.TrimPrefix(claim, "a "), w.margin(f))
	case hi < 0 && f.Claim != study.Either:
		return fmt.Sprintf("not settled yet: it moved the other way, and whether that reaches %s is open.", w.margin(f))
	case nhi < d && nlo <= -d && f.Claim != study.Either:
		return fmt.Sprintf("not settled yet: %s of %s or more is contradicted, while %s may still matter.", claim, f.Margin, other)
	}
	return fmt.Sprintf("not settled yet: a difference of %s or more is still possible, and so is none.", w.margin(f))
}

// whyWords renders the reasons for having no verdict.
func whyWords(f *Finding) string {
	var parts []string
	for _, code := range f.WhyNot {
		switch code {
		case "not-sealed":
			parts = append(parts, "the plan was not sealed before the data")
		case "under-4-blocks":
			parts = append(parts, fmt.Sprintf("there are fewer than %d blocks", minBlocksForVerdict))
		case "few-error-df":
			parts = append(parts, fmt.Sprintf("fewer than %d degrees of freedom are left for the error", minErrorDF))
		case "treatment-is-batch":
			parts = append(parts, "treatment and batch cannot be told apart")
		case "no-margin":
			parts = append(parts, "no margin was set")
		default:
			parts = append(parts, checkText(f, string(code)))
		}
	}
	return strings.Join(parts, "; ")
}

func checkText(f *Finding, code string) string {
	for _, c := range f.Checks {
		if string(c.Code) == code {
			return c.Text
		}
	}
	return strings.ReplaceAll(code, "-", " ")
}

func (e *evaluation) sentence() string { return Words{Study: e.study}.Sentence(e.finding) }

// percent prints a level such as 0.95 or 0.9875 as a cook would read it.
func percent(x float64) string {
	s := fmt.Sprintf("%.2f", 100*x)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	return s + " %"
}

// Capital starts a sentence with a capital letter.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// Spread renders the scatter a plan rests on, in the unit of its margin.
func (w Words) Spread(q *QuestionPlan) string {
	if q.Ratio {
		return fmt.Sprintf("SD %.3g %%", 100*q.Spread.SD)
	}
	unit := "points"
	if r, ok := study.LookupResponse(q.Response); ok && r.Unit != "%" {
		unit = r.Unit
	} else if !ok {
		unit = ""
		for _, d := range w.Study.Readings {
			if d.ID == q.Response {
				unit = d.Unit
			}
		}
	}
	sd := q.Spread.SD
	if w.Fahrenheit && (unit == "°C" || unit == "K") {
		sd, unit = sd*1.8, "°F"
	}
	return strings.TrimSpace(fmt.Sprintf("SD %.3g %s", sd, unit))
}

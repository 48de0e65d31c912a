package answer

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/measure"
	"trivet/quantity"
	"trivet/study"
	"trivet/tasting"
)

// CookResult is a cook with its measured responses.
type CookResult struct {
	Cook   study.Cook
	Result *measure.Result
	// Findings are what is doubtful in the cook's record; those that touch a
	// question's response enter its checks.
	Findings []measure.Finding
}

// Input is all that an answer rests on.
type Input struct {
	Study *study.Study
	// Seal is nil for a study that was never sealed; Changes lists sealed
	// parts that differ from it today, in words.
	Seal    *study.Seal
	Changes []string
	// Sealed holds the questions as they were sealed. The sealed margin
	// decides; a question that was added or turned into another one since
	// the seal counts as unsealed. Nil takes every question as sealed.
	Sealed map[string]study.SealedQuestion
	Cooks  []CookResult
	Looks  int // earlier looks at the answer before the plan was finished
	// AfterBlock keeps only the first so many blocks, by run order; 0 all.
	AfterBlock int
}

// Study answers every question of a study.
func Study(in Input) (*Answer, error) {
	s := in.Study
	out := &Answer{Format: FormatVersion, Study: s.ID, Title: s.Title, Sealed: in.Seal != nil,
		Alpha: s.Risk.Alpha, Mode: s.Risk.Mode, Invented: s.Invented, Changes: nonNil(in.Changes), Notes: []fault.Note{}}
	if in.Seal != nil {
		out.SealHash = in.Seal.Hash
	}
	if out.Alpha == 0 {
		out.Alpha = 0.05
	}
	if s.Risk.Mode == "group-sequential" {
		out.Notes = append(out.Notes, atLook(&in)...)
	}
	cooks, notes := analysed(in)
	out.Notes = append(out.Notes, notes...)
	if len(out.Changes) > 0 {
		out.Notes = append(out.Notes, fault.Notef("changed-since-seal",
			"the plan was changed after it was sealed: %s", strings.Join(out.Changes, "; ")))
	}
	if in.Looks > 0 && s.Risk.Mode == "sequential" {
		out.Notes = append(out.Notes, fault.Notef("looked-any-time", "the answer was looked at %s before; the wider interval that holds at every look is used", times(in.Looks)))
	}
	if in.Looks > 0 && !s.Risk.Interim() {
		out.Notes = append(out.Notes, fault.Notef("looked-early",
			"the answer was looked at %s before the planned number of blocks was reached; a fixed plan allows one look, at its end", times(in.Looks)))
	}

	var ev []*evaluation
	for i := range s.Questions {
		q := &s.Questions[i]
		f := &Finding{Question: q.ID, Ask: q.Ask, WhyNot: []fault.Code{}, Checks: []Check{}, Notes: []fault.Note{}}
		out.Findings = append(out.Findings, f)
		if q.Tasting != nil {
			answerTasting(f, q, s, in.Seal != nil)
			continue
		}
		out.Family++
		decides, sealed := asSealed(in, *q, f)
		e := &evaluation{finding: f, question: &decides, study: s, sealed: sealed, alpha: out.Alpha, cooks: cooks, unitScale: 1}
		if err := e.prepare(); err != nil {
			return nil, err
		}
		ev = append(ev, e)
	}
	m := max(out.Family, 1)
	if s.Risk.Interim() {
		for _, e := range ev {
			e.decide(out.Alpha / float64(m))
		}
	} else {
		levels := stepDown(m, len(ev), out.Alpha, func(i int, a float64) bool { return ev[i].decide(a) })
		for i, e := range ev {
			e.decide(levels[i])
		}
	}
	for _, e := range ev {
		e.finish()
		e.others()
	}
	out.Notes = append(out.Notes, unasked(in)...)
	out.Next = next(in, out)
	if out.Family > 1 && !s.Risk.Interim() {
		out.Notes = append(out.Notes, fault.Notef("step-down",
			"%d questions on responses share the error rate %.3g: each is judged at %.3g divided by the number not yet settled; tastings keep their own", out.Family, out.Alpha, out.Alpha))
	}
	return out, nil
}

// asSealed returns the question with its sealed margin, and whether it is the
// question that was sealed; what differs is noted on the finding.
func asSealed(in Input, q study.Question, f *Finding) (study.Question, bool) {
	if in.Seal == nil {
		return q, false
	}
	if in.Sealed == nil {
		return q, true
	}
	was, ok := in.Sealed[q.ID]
	switch {
	case !ok:
		f.Notes = append(f.Notes, fault.Notef("question-added",
			"this question was added after the plan was sealed: its numbers explore, they settle nothing"))
		return q, false
	case was.Changed:
		f.Notes = append(f.Notes, fault.Notef("question-changed",
			"this question was sealed as another one (response, treatments, direction or reading): its numbers explore, they settle nothing"))
		return q, false
	case was.MarginChanged && was.Margin.MarginKind == "":
		f.Notes = append(f.Notes, fault.Notef("margin-added", "the margin of %s was set after the plan was sealed: without a sealed margin nothing is settled", q.Margin.Text))
		return q, false
	case was.MarginChanged:
		f.Notes = append(f.Notes, fault.Notef("margin-changed",
			"the margin was changed to %s after the plan was sealed; the sealed one, %s, decides", q.Margin.Text, was.Margin.Text))
		q.Margin = was.Margin
	}
	return q, true
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func nonNil[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// analysed picks the cooks that count: planned ones, and spares that stand
// in for a void cook of the same block and treatment. What is left out is
// noted.
func analysed(in Input) ([]CookResult, []fault.Note) {
	type cell struct{ block, treatment string }
	void := map[cell]int{}
	for _, c := range in.Cooks {
		if c.Cook.Role == study.Void {
			void[cell{c.Cook.Block, c.Cook.Treatment}]++
		}
	}
	keep := in.Cooks
	if in.AfterBlock > 0 {
		first := map[string]bool{}
		order := slices.Clone(in.Cooks)
		slices.SortStableFunc(order, func(a, b CookResult) int { return cmp.Compare(a.Cook.Order, b.Cook.Order) })
		for _, c := range order {
			if c.Cook.Role != study.Pilot && len(first) < in.AfterBlock {
				first[c.Cook.Block] = true
			}
		}
		keep = slices.DeleteFunc(slices.Clone(in.Cooks), func(c CookResult) bool { return !first[c.Cook.Block] })
	}
	var out []CookResult
	var notes []fault.Note
	var pilots, voids, spares int
	for _, c := range keep {
		switch c.Cook.Role {
		case study.Pilot:
			pilots++
		case study.Void:
			voids++
		case study.Spare:
			k := cell{c.Cook.Block, c.Cook.Treatment}
			if void[k] > 0 {
				void[k]--
				out = append(out, c)
			} else {
				spares++
			}
		default:
			out = append(out, c)
		}
	}
	say := func(code fault.Code, n int, one, many string) {
		if n == 1 {
			notes = append(notes, fault.Notef(code, "one %s", one))
		} else if n > 1 {
			notes = append(notes, fault.Notef(code, "%d %s", n, many))
		}
	}
	say("pilots-left-out", pilots, "pilot cook is left out", "pilot cooks are left out")
	say("voids-left-out", voids, "cook is void by a sealed rule and left out", "cooks are void by sealed rules and left out")
	say("spares-left-out", spares, "spare replaced nothing and is left out", "spares replaced nothing and are left out")
	return out, notes
}

func answerTasting(f *Finding, q *study.Question, s *study.Study, sealed bool) {
	var t *study.Tasting
	for i := range s.Tastings {
		if s.Tastings[i].Question == q.ID || s.Tastings[i].ID == q.ID {
			t = &s.Tastings[i]
		}
	}
	f.Printed = Verdict("").Printed()
	if t == nil {
		f.WhyNot = append(f.WhyNot, "no-tasting")
		f.Sentence = "The tasting has not been held yet."
		f.Printed = "not held yet"
		return
	}
	if !t.Closed {
		f.WhyNot = append(f.WhyNot, "tasting-open")
		f.Sentence = "The tasting is still open; its key stays locked until it is closed."
		f.Printed = "still open"
		return
	}
	method, err := tasting.LookupChoice(q.Tasting.Method)
	if err != nil {
		f.WhyNot = append(f.WhyNot, "method-unknown")
		f.Sentence = "The tasting's method cannot be scored from counts: " + err.Error() + "."
		return
	}
	res, err := tasting.Score(method, tasting.Count{N: t.N, Correct: t.Correct, PiecePairs: len(t.Cooks) / 2}, tasting.Rule{
		For: tasting.Aim(q.Tasting.For), Alpha: q.Tasting.Alpha, Beta: q.Tasting.Beta,
		Discriminators: q.Tasting.Discriminators, DPrime: q.Tasting.DPrime})
	if err != nil {
		f.WhyNot = append(f.WhyNot, "tasting-count")
		f.Sentence = "The tasting cannot be scored: " + err.Error() + "."
		return
	}
	f.Tasting = res
	f.Notes = append(f.Notes, res.Notes...)
	f.Printed = tastingPrinted(res.Verdict)
	if len(res.Says) > 0 {
		f.Sentence = res.Says[0]
	}
	if !sealed {
		f.WhyNot = append(f.WhyNot, "not-sealed")
		f.Printed = "would be “" + f.Printed + "”, had it been sealed"
	}
}

func tastingPrinted(v tasting.Verdict) string {
	switch v {
	case tasting.Different:
		return "tasters can tell them apart"
	case tasting.NotShownDifferent:
		return "not shown that tasters can tell them apart"
	case tasting.Similar:
		return "alike within the limit set"
	case tasting.NotShownSimilar:
		return "not shown to be alike"
	}
	return string(v)
}

// MarshalJSON writes non-finite ends as null.
func (i Interval) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Low  *float64 `json:"low"`
		High *float64 `json:"high"`
	}{finite(i.Low), finite(i.High)})
}

func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// marginOnScale turns a written margin into the analysis scale of a
// response.
func marginOnScale(m quantity.Margin) (delta float64, ratio bool) {
	if m.MarginKind == quantity.MarginRatio {
		return math.Log1p(m.Value), true
	}
	return m.Value, false
}

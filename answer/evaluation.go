package answer

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/measure"
	"trivet/stats"
	"trivet/study"
)

// Floors of the verdict rules.
const (
	minBlocksForVerdict = 4 // under it: numbers only
	minBlocksForInside  = 6 // for the two codes that need the interval inside ±δ
	minErrorDF          = 3
	sequentialPrior     = 1 // g of the confidence sequence
)

// evaluation answers one question on a response.
type evaluation struct {
	finding  *Finding
	question *study.Question
	study    *study.Study
	sealed   bool
	alpha    float64
	cooks    []CookResult

	values []value // one a cook
	effect *effect
	// unitScale turns a value into the unit of the finding: 100 for yes and
	// no, which are read as shares in %.
	unitScale float64
	bare      *effect // without the covariates, nil when there are none
	flip      *stats.SignFlipTest
	cells     []cell // block differences treatment − control on the analysis scale
	left      []leftOut
	rule      *stopping // of a plan with looks
	// shared is how much of the stated measurement variance the scatter
	// between pieces leaves no room for.
	shared   float64
	evidence *Evidence
	delta    float64
	judged   bool // at evidence.Level, with the outcome settled
	settled  bool
	why      []fault.Code // reasons for no verdict at all
	family   []Check      // checks that do not depend on the level

	doubts []recordDoubt // about the cooks' records
	// What the comparison was made of and how it is made again of less.
	compared     stats.Table
	compareAgain func(stats.Table) *effect
	// The effect without the blocks with a breach, and with any doubt.
	unbreached, undoubted *blocksLeft
}

type value struct {
	cook     study.Cook
	response measure.Response
}

// cell is one block's difference.
type cell struct {
	block          string
	difference     float64
	treatmentFirst bool
}

type leftOut struct {
	block  string
	effect effect
}

// prepare computes everything that does not depend on the verdict level.
func (e *evaluation) prepare() error {
	q, f := e.question, e.finding
	f.Response, f.Claim, f.Margin = q.Response, q.Claim, q.Margin.Text
	f.Treatment, f.Control = q.Compare.Treatment, q.Compare.Against
	if f.Treatment == "" || f.Control == "" {
		return fault.New("no-contrast", "question %s names no pair of treatments", q.ID).
			WithFix("add compare: {treatment: …, against: …}")
	}
	e.gather()
	if len(e.values) == 0 {
		e.why = append(e.why, "no-data")
		return nil
	}
	kind := e.values[0].response.Kind
	for _, v := range e.values {
		if v.response.Kind != kind {
			e.why = append(e.why, "mixed-kinds")
			f.Notes = append(f.Notes, fault.Notef("mixed-kinds", "%s was recorded as %s and as %s", q.Response, kind, v.response.Kind))
			return nil
		}
	}
	var ratio bool
	e.delta, ratio = marginOnScale(q.Margin)
	if !(e.delta > 0) {
		e.why = append(e.why, "no-margin")
	}
	if ratio && kind != study.Count {
		for _, v := range e.values {
			if v.response.Value <= 0 {
				e.why = append(e.why, "ratio-needs-positive")
				f.Notes = append(f.Notes, fault.Notef("ratio-needs-positive",
					"a ratio margin compares logarithms, and %s has values at or below 0", q.Response))
				return nil
			}
		}
	}
	if err := e.estimate(kind, ratio); err != nil {
		x := fault.As(err)
		if x == nil || x.Kind == fault.Internal {
			return err
		}
		e.why = append(e.why, x.Code)
		f.Notes = append(f.Notes, fault.Notef(x.Code, "%s", x.Message))
		e.pitfallsWithoutNumbers()
		return nil
	}
	if e.effect == nil {
		e.why = append(e.why, "treatment-not-cooked")
		return nil
	}
	f.Evidence = e.evidence
	e.pairs(ratio)
	e.components(kind)
	e.fixedChecks()
	e.recordDoubts()
	e.pitfalls()
	return nil
}

// gather takes the question's response from every cook that counts.
func (e *evaluation) gather() {
	missing := 0
	units := map[string]bool{}
	for _, c := range e.cooks {
		r, ok := c.Result.Get(e.question.Response)
		if !ok {
			missing++
			continue
		}
		e.values = append(e.values, value{c.Cook, r})
		if !units[r.Unit] {
			units[r.Unit] = true
			e.finding.Unit = r.Unit
		}
	}
	slices.SortStableFunc(e.values, func(a, b value) int {
		return cmp.Or(cmp.Compare(a.cook.Block, b.cook.Block), cmp.Compare(a.cook.Treatment, b.cook.Treatment), cmp.Compare(a.cook.Label, b.cook.Label))
	})
	if missing > 0 {
		e.finding.Notes = append(e.finding.Notes, fault.Notef("response-missing",
			"%d of %d cooks have no %s", missing, len(e.cooks), e.question.Response))
	}
	if len(units) > 1 {
		e.why = append(e.why, "mixed-units")
		e.finding.Notes = append(e.finding.Notes, fault.Notef("mixed-units", "%s was recorded in more than one unit", e.question.Response))
	}
}

func (e *evaluation) table() stats.Table {
	var t stats.Table
	t.ResponseName = e.question.Response
	for _, v := range e.values {
		t.Response = append(t.Response, v.response.Value)
		t.Treatment = append(t.Treatment, v.cook.Treatment)
		t.Block = append(t.Block, v.cook.Block)
	}
	return t
}

// pairs lists each block's two values and their difference.
func (e *evaluation) pairs(ratio bool) {
	ev := e.evidence
	var order []string
	at := map[string]int{}
	sums := map[string]*[4]float64{} // sum and count of treatment, then control
	place := map[string][2]int{}     // first run order of treatment, then control
	for _, v := range e.values {
		b := v.cook.Block
		if _, ok := at[b]; !ok {
			at[b] = len(order)
			order = append(order, b)
			sums[b] = &[4]float64{}
		}
		at := place[b]
		switch v.cook.Treatment {
		case e.finding.Treatment:
			sums[b][0] += v.response.Value * e.unitScale
			sums[b][1]++
			if at[0] == 0 || v.cook.Order < at[0] {
				at[0] = v.cook.Order
			}
		case e.finding.Control:
			sums[b][2] += v.response.Value * e.unitScale
			sums[b][3]++
			if at[1] == 0 || v.cook.Order < at[1] {
				at[1] = v.cook.Order
			}
		}
		place[b] = at
	}
	var ts, cs []float64
	for _, b := range order {
		s := sums[b]
		p := Pair{Block: b}
		if s[1] > 0 {
			x := s[0] / s[1]
			p.Treatment = &x
			ts = append(ts, x)
		}
		if s[3] > 0 {
			x := s[2] / s[3]
			p.Control = &x
			cs = append(cs, x)
		}
		if p.Treatment == nil && p.Control == nil {
			continue
		}
		ev.Pairs = append(ev.Pairs, p)
		if p.Treatment != nil && p.Control != nil {
			d := *p.Treatment - *p.Control
			if ratio {
				d = math.Log(*p.Treatment / *p.Control)
			}
			if !math.IsNaN(d) && !math.IsInf(d, 0) {
				e.cells = append(e.cells, cell{b, d, place[b][0] < place[b][1]})
			}
		}
	}
	ev.TreatmentMean, ev.ControlMean = stats.Mean(ts), stats.Mean(cs)
	var us []float64
	for _, v := range e.values {
		us = append(us, v.response.StdU)
		ev.ResolutionStep = math.Max(ev.ResolutionStep, v.response.ResolutionStep)
	}
	for _, d := range e.study.Readings {
		if d.ID == e.question.Response && d.Unit == e.finding.Unit {
			ev.ResolutionStep = math.Max(ev.ResolutionStep, d.Resolution)
		}
	}
	slices.Sort(us)
	ev.MeasurementU = us[len(us)/2]
	if len(e.cells) >= 3 && e.effect.normal {
		h := stats.Describe(e.differences()).Next(0.95)
		ev.NextCook = &Interval{h.Low, h.High}
	}
}

// fixedChecks looks at what does not depend on the level: the reasons for
// having no verdict at all, resolution, blinding, and the plan's number.
func (e *evaluation) fixedChecks() {
	ev := e.evidence
	if !e.sealed {
		e.why = append(e.why, "not-sealed")
	}
	if ev.Blocks < minBlocksForVerdict {
		e.why = append(e.why, "under-4-blocks")
	}
	if ev.DF < minErrorDF {
		e.why = append(e.why, "few-error-df")
	}
	if day, confounded := e.confounded(); confounded {
		e.why = append(e.why, "treatment-is-batch")
		e.finding.Notes = append(e.finding.Notes, fault.Notef("treatment-is-batch",
			"all pieces of %s were cooked on days of their own (%s), so treatment and day cannot be told apart", e.finding.Treatment, day))
	}
	step := ev.ResolutionStep
	if ev.Ratio && ev.ControlMean > 0 {
		step /= ev.ControlMean
	}
	if step > e.delta/4 {
		e.check("resolution", Failed, "readings step by %.2g %s, more than a quarter of the margin", ev.ResolutionStep, e.finding.Unit)
	} else {
		e.check("resolution", Passed, "the instrument's step is at most a quarter of the margin")
	}
	switch {
	case !e.question.Judged:
	case e.blind():
		e.check("blind", Passed, "the readings were made blind")
	default:
		e.check("blind", Failed, "a judged reading was not made blind")
	}
	planned := e.study.Blocks.Count
	switch {
	case e.looks() && e.study.Risk.Mode == "sequential":
		e.check("stopping", Passed, "the interval holds at every look, so stopping early is allowed")
	case e.looks():
		e.check("stopping", Passed, "the interval holds at every planned look (%s), so stopping at one is allowed", countList(e.study.Risk.Looks))
	case planned > 0 && ev.Blocks < planned:
		e.check("planned-number", Failed, "%d of the %d planned blocks are in", ev.Blocks, planned)
	case planned > 0:
		e.check("planned-number", Passed, "all %d planned blocks are in", planned)
	}
	e.weighings()
	e.orderNote()
}

func (e *evaluation) check(code fault.Code, s State, format string, args ...any) {
	e.family = append(e.family, Check{code, s, fmt.Sprintf(format, args...)})
}

func (e *evaluation) blind() bool {
	if e.question.Blind {
		return true
	}
	for _, v := range e.values {
		if !v.response.Blind {
			return false
		}
	}
	return true
}

// confounded reports whether the two treatments share no day.
func (e *evaluation) confounded() (string, bool) {
	days := map[string]map[string]bool{}
	for _, v := range e.values {
		if v.cook.Day == "" {
			return "", false
		}
		if days[v.cook.Treatment] == nil {
			days[v.cook.Treatment] = map[string]bool{}
		}
		days[v.cook.Treatment][v.cook.Day] = true
	}
	one := ""
	for d := range days[e.finding.Treatment] {
		if days[e.finding.Control][d] {
			return "", false
		}
		if one == "" || d < one {
			one = d
		}
	}
	return one, one != ""
}

// weighings fails the question when a piece weighed more after than before:
// one of the two weighings is wrong, and nobody can say which.
func (e *evaluation) weighings() {
	var labels []string
	for _, v := range e.values {
		for _, n := range v.response.Notes {
			if n.Code == "mass-gained" {
				labels = append(labels, v.cook.Label)
			}
		}
	}
	if len(labels) > 0 {
		e.check("weighings", Failed, "%s weighed more afterwards than before: check the weighings, the tare, and fat that was taken up", strings.Join(labels, ", "))
	}
}

// orderNote says when one treatment always went first in its block.
func (e *evaluation) orderNote() {
	first := map[string]value{}
	for _, v := range e.values {
		if v.cook.Order == 0 {
			return
		}
		if f, ok := first[v.cook.Block]; !ok || v.cook.Order < f.cook.Order {
			first[v.cook.Block] = v
		}
	}
	always := ""
	for _, v := range first {
		if always == "" {
			always = v.cook.Treatment
		} else if always != v.cook.Treatment {
			return
		}
	}
	if len(first) > 1 {
		e.finding.Notes = append(e.finding.Notes, fault.Notef("always-first",
			"%s was cooked first in every block: the difference may be the order, not the treatment", always))
	}
}

// looks reports whether the question may be looked at before its planned
// number: the plan says so and the response is a number, whose intervals for
// continued looking rest on differences that scatter normally.
func (e *evaluation) looks() bool {
	m := e.study.Risk.Mode
	return (m == "sequential" || m == "group-sequential") && e.effect != nil && e.effect.normal
}

// intervals returns I(1−a) and I(1−2a) of an effect on n blocks, or those of
// the plan's looks.
func (e *evaluation) intervals(x effect, n int, a float64) (wide, narrow Interval) {
	if e.rule != nil {
		w, r := e.rule.radii(n, x.df)
		return around(x.estimate, w*x.se), around(x.estimate, r*x.se)
	}
	w, r := x.interval(1-a), x.interval(1-2*a)
	return Interval{w.Low, w.High}, Interval{r.Low, r.High}
}

func around(x, h float64) Interval { return Interval{x - h, x + h} }

// decide judges the question at level a and reports whether it is settled.
func (e *evaluation) decide(a float64) bool {
	f, ev := e.finding, e.evidence
	if ev == nil {
		f.RawVerdict = ""
		return false
	}
	if e.judged && ev.Level == a {
		return e.settled
	}
	e.judged, ev.Level = true, a
	e.rule = nil
	if e.looks() {
		if rule, err := newStopping(e.study.Risk, e.study.Blocks.Count, a); err == nil {
			e.rule = rule
		}
	}
	ev.Wide, ev.Narrow = e.intervals(*e.effect, ev.Blocks, a)
	f.RawVerdict = Judge(ev.Wide, ev.Narrow, e.delta, f.Claim)
	f.Checks = slices.Clone(e.family)
	verdict := f.RawVerdict
	hold := func(code fault.Code, format string, args ...any) {
		f.Checks = append(f.Checks, Check{code, Failed, fmt.Sprintf(format, args...)})
	}
	pass := func(code fault.Code, format string, args ...any) {
		f.Checks = append(f.Checks, Check{code, Passed, fmt.Sprintf(format, args...)})
	}
	if verdict == TooSmall || verdict == NoDifference {
		if ev.Blocks < minBlocksForInside {
			hold("few-blocks", "a verdict of no difference that matters needs %d blocks; there are %d", minBlocksForInside, ev.Blocks)
		} else {
			pass("few-blocks", "there are enough blocks for a verdict of no difference that matters")
		}
	}
	e.checkLeftOut(verdict, a, hold, pass)
	e.checkSignFlip(verdict, a, hold, pass)
	e.checkCovariates(verdict, a, hold, pass)
	e.checkRecords(verdict, a)
	if verdict.Settled() && slices.ContainsFunc(f.Checks, func(c Check) bool { return c.State == Failed }) {
		verdict = Unsettled
	}
	f.Verdict = nil
	if len(e.why) == 0 {
		f.Verdict = &verdict
	}
	f.WhyNot = slices.Clone(e.why)
	if len(e.why) == 0 && f.RawVerdict.Settled() && !verdict.Settled() {
		for _, c := range f.Checks {
			if c.State == Failed {
				f.WhyNot = append(f.WhyNot, c.Code)
			}
		}
	}
	e.settled = verdict.Settled()
	return e.settled
}

// checkLeftOut fails when dropping one block turns a settled code into
// another settled code. A turn to unsettled keeps it, with a note.
func (e *evaluation) checkLeftOut(verdict Verdict, a float64, hold, pass func(fault.Code, string, ...any)) {
	ev := e.evidence
	ev.LeaveOneOut = ev.LeaveOneOut[:0]
	turned, rests := "", ""
	for _, l := range e.left {
		n := ev.Blocks - 1
		if e.rule != nil && e.rule.mode == "group-sequential" {
			n = ev.Blocks // the look's own level
		}
		wide, narrow := e.intervals(l.effect, n, a)
		raw := Judge(wide, narrow, e.delta, e.finding.Claim)
		ev.LeaveOneOut = append(ev.LeaveOneOut, LeftOut{l.block, l.effect.estimate, wide, raw})
		if raw == verdict {
			continue
		}
		if raw.Settled() {
			turned = l.block
		} else {
			rests = l.block
		}
	}
	if !verdict.Settled() || len(e.left) == 0 {
		return
	}
	switch {
	case turned != "":
		hold("one-block-turns-it", "without block %s the verdict would be another", turned)
	case rests != "":
		e.finding.Checks = append(e.finding.Checks, Check{"rests-on-one-block", Passed, "rests on block " + rests + ": without it the question would not be settled"})
	default:
		pass("rests-on-one-block", "the verdict holds without any one block")
	}
}

// checkSignFlip compares with the interval by test inversion over sign flips
// at the same level, where 2/2ⁿ allows one.
func (e *evaluation) checkSignFlip(verdict Verdict, a float64, hold, pass func(fault.Code, string, ...any)) {
	ev := e.evidence
	ev.SignFlip = nil
	n := len(e.cells)
	if e.rule != nil || !e.effect.normal { // other kinds rest on sign flips or exact tests already
		return
	}
	if e.bare != nil {
		if verdict.Settled() {
			e.finding.Checks = append(e.finding.Checks, Check{"sign-flip", Unsure, "leans on the normal assumption: sign flips do not adjust for covariates"})
		}
		return
	}
	if n < 2 || math.Ldexp(2, -n) > a {
		if verdict.Settled() {
			e.finding.Checks = append(e.finding.Checks, Check{"sign-flip", Unsure,
				fmt.Sprintf("leans on the normal assumption: %d blocks are too few for an interval without it at this level", n)})
		}
		return
	}
	if e.flip == nil {
		e.flip = stats.SignFlip(e.differences(), e.study.Design.Seed)
	}
	w, r := e.flip.Interval(1-a), e.flip.Interval(1-2*a)
	wide, narrow := Interval{w.Low, w.High}, Interval{r.Low, r.High}
	ev.SignFlip = &wide
	if !verdict.Settled() {
		return
	}
	if got := Judge(wide, narrow, e.delta, e.finding.Claim); got != verdict && !(inside(got) && inside(verdict)) {
		hold("sign-flip", "the interval that does not lean on the normal distribution says “%s”", got.Printed())
	} else {
		pass("sign-flip", "the interval that does not lean on the normal distribution agrees")
	}
}

func inside(v Verdict) bool { return v == TooSmall || v == NoDifference }

// finish writes the printed form and the sentence.
func (e *evaluation) finish() {
	f := e.finding
	switch {
	case f.Evidence == nil:
		f.Printed = "no numbers yet"
		f.Sentence = e.noNumbers()
		return
	case f.Verdict != nil:
		f.Printed = f.Verdict.Printed()
	case slices.Contains(f.WhyNot, "not-sealed") && len(f.WhyNot) == 1:
		f.Printed = "would be “" + f.would().Printed() + "”, had it been sealed"
	default:
		f.Printed = Verdict("").Printed()
	}
	if f.Verdict != nil && *f.Verdict == Unsettled {
		f.Evidence.More = howManyMore(e)
	}
	f.Sentence = e.sentence()
}

func (e *evaluation) noNumbers() string {
	if slices.Contains(e.why, "no-data") {
		return fmt.Sprintf("No cook has %s yet.", e.question.Response)
	}
	for _, n := range e.finding.Notes {
		if slices.Contains(e.why, n.Code) {
			return Capital(n.Text) + "."
		}
	}
	return "There is nothing to compare yet."
}

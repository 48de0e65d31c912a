package publish

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/measure"
	"trivet/quantity"
	"trivet/safety"
	"trivet/study"
	"trivet/trace"
)

// AssembleOptions steer [Assemble].
type AssembleOptions struct {
	// Results are all responses of every cook where the caller has measured
	// them; nil measures them.
	Results    []answer.CookResult
	Made       time.Time
	Fahrenheit bool
	Version    string // of trivet
	Rerun      string // the one command that answers the study again
	// Brief leaves out every cook's own record and traces, for a page that
	// shows them elsewhere.
	Brief bool
	// Photos chooses the photos that a brief report shows beside its findings;
	// nil shows none. A full report shows all, each with its cook.
	Photos   func(study.Photo) bool
	Progress bench.Progress
}

// Assemble fills a report from an answered study: it measures every cook in
// full, draws its traces and words the evidence.
func Assemble(ctx context.Context, rd bench.Reader, got *bench.Answered, o AssembleOptions) (*Report, error) {
	rec := got.Record
	all := o.Results
	if all == nil {
		var err error
		if all, err = bench.Measure(ctx, rd, rec, nil); err != nil {
			return nil, err
		}
	}
	a := &assembler{rec: rec, got: got, all: all, o: o, words: answer.Words{Study: rec.Study, Fahrenheit: o.Fahrenheit}}
	s := rec.Study
	r := &Report{Study: s.ID, Title: s.Title, Authors: s.Authors, Licence: s.Licence, Made: o.Made, Invented: s.Invented,
		Claim: Claim{Says: s.Claim.Says, Scope: s.Claim.Scope, Fair: s.Claim.Fair, Against: s.Claim.Against},
		Notes: got.Answer.Notes, Rerun: o.Rerun,
		Versions: []Fact{{"trivet", o.Version}, {"study document", fmt.Sprint(study.FormatVersion)},
			{"answer", fmt.Sprint(answer.FormatVersion)}, {"measuring method", fmt.Sprint(measure.MethodVersion)}}}
	for _, f := range got.Answer.Findings {
		r.Questions = append(r.Questions, a.question(f))
	}
	r.AnswerLine = a.answerLine()
	r.Plan = a.plan()
	for _, c := range safety.Cautions(bench.SafetyFacts(rec, all)) {
		if c.ShownAt(safety.OnReport) {
			r.Cautions = append(r.Cautions, c)
		}
	}
	if !o.Brief {
		if err := a.cooks(ctx, rd, r); err != nil {
			return nil, err
		}
	}
	if o.Brief && o.Photos != nil {
		if err := a.chosenPhotos(ctx, rd, r); err != nil {
			return nil, err
		}
	}
	if f := a.losses(); f != nil {
		r.Overview = append(r.Overview, Exhibit{ID: "losses", Figure: f})
	}
	r.Methods = a.methods()
	return r, nil
}

type assembler struct {
	rec   *bench.Record
	got   *bench.Answered
	all   []answer.CookResult
	o     AssembleOptions
	words answer.Words
}

func (a *assembler) degrees() figure.Degrees {
	if a.o.Fahrenheit {
		return figure.Fahrenheit
	}
	return figure.Celsius
}

func (a *assembler) head(title string) figure.Head {
	return figure.Head{Title: title, Invented: a.rec.Study.Invented}
}

// valueMeasure says how a response's values are printed.
func (a *assembler) valueMeasure(name, unit string) figure.Measure {
	return figure.MeasureOf(a.words.Response(name), unit, a.degrees())
}

// differenceMeasure says how a difference of a finding's response is printed.
func (a *assembler) differenceMeasure(f *answer.Finding) figure.Measure {
	m := a.valueMeasure(f.Response, f.Unit)
	if f.Evidence != nil && f.Evidence.Ratio {
		m.Kind = figure.LogRatio
		return m
	}
	return m.Delta()
}

func span(i answer.Interval) figure.Interval { return figure.Interval{Lo: i.Low, Hi: i.High} }

func (a *assembler) question(f *answer.Finding) Question {
	q := Question{ID: f.Question, Ask: f.Ask, Printed: f.Printed, Sentence: a.words.Sentence(f), Sealed: a.got.Answer.Sealed,
		Settled:   f.Verdict != nil && f.Verdict.Settled(),
		Treatment: a.words.Treatment(f.Treatment), Control: a.words.Treatment(f.Control), Notes: f.Notes}
	for _, c := range f.Checks {
		q.Checks = append(q.Checks, Check{Code: string(c.Code), State: State(c.State), Text: c.Text})
	}
	if f.Tasting != nil {
		a.tasting(&q, f)
		return q
	}
	ev := f.Evidence
	if ev == nil {
		return q
	}
	value := a.valueMeasure(f.Response, f.Unit)
	q.Evidence = &Evidence{Response: a.words.Response(f.Response), Measure: a.differenceMeasure(f), Value: value,
		Estimate: ev.Estimate, SE: ev.SE, DF: ev.DF, Outer: span(ev.Wide), Inner: span(ev.Narrow), Level: 1 - ev.Level,
		Margin: ev.MarginValue, Claim: figure.Direction(f.Claim), P: ev.PValue, Pieces: ev.N, Blocks: ev.Blocks,
		TreatMean: ev.TreatmentMean, CtrlMean: ev.ControlMean, Method: ev.Method}
	if x, ok := a.typical(f); ok {
		q.Evidence.ValueU, q.Evidence.ValueK = x.Expanded()
		if f.Unit != x.Unit { // yes and no are read as shares
			q.Evidence.ValueU = 0
		}
		if src, share := x.Dominant(); share > 0 {
			q.Evidence.ValueMain = fmt.Sprintf("%s, %.0f %% of the variance", src.Name, 100*share)
		}
		q.Evidence.ValueHalf = x.Halving()
	}
	if ev.SignFlip != nil {
		i := span(*ev.SignFlip)
		q.Evidence.SignFlip = &i
	}
	if ev.NextCook != nil {
		i := span(*ev.NextCook)
		q.Evidence.NextCook = &i
	}
	if lo, hi, ok := leaveOutRange(ev); ok {
		q.Sensitivity = append(q.Sensitivity, fmt.Sprintf("Leaving out one block at a time, the estimate stays at %s.",
			a.words.Range(f, answer.Interval{Low: lo, High: hi}, ev.SE)))
	}
	for _, o := range ev.Compared() {
		q.OtherWays = append(q.OtherWays, a.words.Redefined(f, o))
	}
	b := figure.BlockLines{Head: a.head(answer.Capital(value.Name) + " of each " + a.blockWord()), Measure: value, BlockWord: a.rec.Study.Blocks.What,
		Treatments: []string{q.Control, q.Treatment}, Level: 1 - ev.Level}
	for _, p := range ev.Pairs {
		b.Blocks = append(b.Blocks, figure.BlockValues{Block: p.Block, Values: []float64{orNaN(p.Control), orNaN(p.Treatment)}})
	}
	if !ev.Ratio { // differences of logarithms do not lie on the response's axis
		b.Margin = ev.MarginValue
		b.Effects = []figure.Effect{{Treatment: q.Treatment, Estimate: ev.Estimate, Interval: span(ev.Wide)}}
	}
	q.Exhibits = append(q.Exhibits, Exhibit{ID: "blocks-" + f.Question, Figure: b})
	if l := a.leaveOut(f); l != nil {
		q.Exhibits = append(q.Exhibits, Exhibit{ID: "without-" + f.Question, Figure: l})
	}
	if c := a.scatter(f); c != nil {
		q.Exhibits = append(q.Exhibits, Exhibit{ID: "scatter-" + f.Question, Figure: c})
	}
	return q
}

// scatter draws where the scatter of single values comes from; nil when that
// cannot be told.
func (a *assembler) scatter(f *answer.Finding) figure.Figure {
	out := figure.Components{Head: a.head("Where the scatter of single values comes from"), Measure: a.differenceMeasure(f)}
	total := 0.0
	for _, c := range f.Evidence.Components {
		name := "between " + c.Name + "s"
		if c.Name == "measurement" {
			name = c.Name
		}
		out.Parts = append(out.Parts, figure.Component{Name: name, Variance: max(0, c.Variance)})
		total += c.Variance
	}
	if len(out.Parts) < 2 || !(total > 0) {
		return nil
	}
	return out
}

// leaveOut draws the estimate without each block in turn; nil when there are
// too few to leave one out.
func (a *assembler) leaveOut(f *answer.Finding) figure.Figure {
	ev := f.Evidence
	if len(ev.LeaveOneOut) < 3 {
		return nil
	}
	out := figure.LeaveOneOut{Head: a.head("The difference without each " + a.blockWord() + " in turn"), Measure: a.differenceMeasure(f),
		Estimate: ev.Estimate, Interval: span(ev.Wide), Margin: ev.MarginValue, Level: 1 - ev.Level}
	if len(ev.Compared()) > 0 {
		out.Title += ", and by other definitions"
	}
	for _, o := range ev.Compared() {
		out.Others = append(out.Others, figure.Redefined{Name: o.Short, Estimate: *o.Estimate, Interval: span(*o.Wide), Verdict: o.Turned()})
	}
	for _, l := range ev.LeaveOneOut {
		out.Left = append(out.Left, figure.LeftOut{Block: l.Block, Estimate: l.Estimate, Interval: span(l.Wide)})
	}
	return out
}

// blockWord is what a block is called: "pork loin", else "block".
func (a *assembler) blockWord() string {
	if w := a.rec.Study.Blocks.What; w != "" {
		return w
	}
	return "block"
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

func leaveOutRange(ev *answer.Evidence) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, l := range ev.LeaveOneOut {
		lo, hi = math.Min(lo, l.Estimate), math.Max(hi, l.Estimate)
	}
	return lo, hi, len(ev.LeaveOneOut) > 0
}

// tasting fills a tasting's numbers and its figure.
func (a *assembler) tasting(q *Question, f *answer.Finding) {
	t := f.Tasting
	q.Settled = true
	add := func(term, format string, args ...any) {
		q.Facts = append(q.Facts, Fact{term, fmt.Sprintf(format, args...)})
	}
	add("method", "%s test", t.Method)
	add("correct answers", "%d of %d; guessing gives %.1f on average", t.Correct, t.N, float64(t.N)*t.GuessProbability)
	if t.Critical != nil {
		add("least count that rules guessing out", "%d at α = %.3g", *t.Critical, t.Alpha)
	}
	add("chance of so many by guessing", "%s (exact binomial)", probability(t.PValue))
	add("discriminators (pd)", "%.0f %%, one-sided limits %.0f %% and %.0f %%", 100*t.PD, 100*t.PDLow, 100*t.PDHigh)
	c := figure.Chance{Head: a.head(f.Ask), Method: t.Method, N: t.N, Guess: t.GuessProbability, Correct: t.Correct,
		Alpha: t.Alpha, DPrime: math.NaN(), Level: 1 - 2*t.Alpha}
	if t.Critical != nil {
		c.Critical = *t.Critical
	}
	if t.DPrime != nil {
		c.DPrime = *t.DPrime
		c.Interval = figure.Interval{Lo: orNaN(t.DPrimeLow), Hi: orInf(t.DPrimeHigh)}
		add("d′", "%.2f", *t.DPrime)
	}
	for i, says := range t.Says {
		if i > 0 { // the first is the sentence of the answer
			q.Notes = append(q.Notes, fault.Note{Code: "claim-bounds", Text: says})
		}
	}
	q.Exhibits = append(q.Exhibits, Exhibit{ID: "chance-" + f.Question, Figure: c})
}

func orInf(x *float64) float64 {
	if x == nil {
		return math.Inf(1)
	}
	return *x
}

func (a *assembler) answerLine() *figure.AnswerLine {
	out := &figure.AnswerLine{Head: a.head("The answers")}
	for _, f := range a.got.Answer.Findings {
		ev := f.Evidence
		if ev == nil || !(ev.MarginValue > 0) {
			continue
		}
		out.Answers = append(out.Answers, figure.Answer{Ask: f.Ask, Verdict: answer.Capital(f.Printed) + ".", Measure: a.differenceMeasure(f),
			Settled: f.Verdict != nil && f.Verdict.Settled(), Estimate: ev.Estimate, Outer: span(ev.Wide), Inner: span(ev.Narrow),
			Level: 1 - ev.Level, Margin: ev.MarginValue, Claim: figure.Direction(f.Claim)})
	}
	if len(out.Answers) == 0 {
		return nil
	}
	return out
}

// blocksInWords says what is in the plan: "20 blocks (pork loin), each with 2
// pieces and 1 spare".
func blocksInWords(b study.Blocks) string {
	out := counted(b.Count, "block")
	if b.What != "" {
		out += " (" + b.What + ")"
	}
	if b.Pieces > 0 {
		out += ", each with " + counted(b.Pieces, "piece")
		if b.Spares > 0 {
			out += " and " + counted(b.Spares, "spare")
		}
	}
	return out
}

func counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

func (a *assembler) plan() Plan {
	s, rec := a.rec.Study, a.rec
	p := Plan{Sealed: rec.Seal != nil, Changes: a.got.Answer.Changes}
	if rec.Seal != nil {
		p.Hash, p.At, p.First = rec.Seal.Hash, rec.Seal.At, firstCook(rec.Cooks)
	}
	add := func(term, format string, args ...any) {
		p.Facts = append(p.Facts, Fact{term, fmt.Sprintf(format, args...)})
	}
	if s.Design.Kind != "" {
		add("design", "%s", s.Design.Kind)
	}
	if s.Blocks.Count > 0 {
		add("blocks", "%s", blocksInWords(s.Blocks))
	}
	add("error rate", "α = %.3g over all questions on responses", a.got.Answer.Alpha)
	switch s.Risk.Mode {
	case "sequential":
		add("stopping", "may stop at any look: the intervals hold throughout")
	case "group-sequential":
		looks := strings.Trim(strings.Join(strings.Fields(fmt.Sprint(s.Risk.Looks)), ", "), "[]")
		share := "little of the error rate is spent early (O’Brien and Fleming)"
		if s.Risk.Spending == "pocock" {
			share = "the error rate is spent evenly over them (Pocock)"
		}
		add("stopping", "looks after %s blocks; %s", looks, share)
	default:
		add("stopping", "one look, when all planned blocks are in")
	}
	if s.Design.Seed != "" {
		add("seed of the random order", "%s", s.Design.Seed)
	}
	for _, q := range s.Questions {
		if q.Response != "" {
			margin := a.words.Margin(q)
			if margin == "" {
				margin = "not decided yet"
			}
			add("margin of “"+q.ID+"”", "%s; claimed %s", margin, q.Claim)
		} else if q.Tasting != nil {
			add("tasting “"+q.ID+"”", "%s, α = %.3g, β = %.3g", q.Tasting.Method, q.Tasting.Alpha, q.Tasting.Beta)
		}
	}
	for _, c := range s.Controlled {
		p.Controls = append(p.Controls, Fact{c.Name, c.Text})
	}
	for _, x := range s.Instruments {
		p.Instruments = append(p.Instruments, Fact{x.ID, measure.InstrumentLine(x)})
	}
	for _, v := range s.VoidRules {
		p.Void = append(p.Void, v.When)
	}
	for _, slot := range s.Design.RunOrder {
		p.Order = append(p.Order, Slot{slot.Order, slot.Block, slot.Piece, a.words.Treatment(slot.Treatment), slot.Code})
	}
	for _, e := range rec.Events {
		if e.Kind != study.EventLoaded {
			p.History = append(p.History, Event{e.At, e.What})
		}
	}
	return p
}

// firstCook is when the first planned cook began, as far as its log or its
// day tell; zero when nothing does.
func firstCook(cooks []study.Cook) time.Time {
	var first time.Time
	for _, c := range cooks {
		if c.Role == study.Pilot {
			continue
		}
		at, err := time.Parse("2006-01-02", c.Day)
		if z := time.UnixMicro(c.ZeroUS).UTC(); c.ZeroSet && z.Year() > 2000 {
			at, err = z, nil
		}
		if err == nil && (first.IsZero() || at.Before(first)) {
			first = at
		}
	}
	return first
}

// panelColumns is how many columns a cook's own traces are thinned to.
const panelColumns = 300

// cooks fills every cook's record and the figure of all cores in step.
func (a *assembler) cooks(ctx context.Context, rd bench.Reader, r *Report) error {
	var names []string
	index := map[string]int{}
	for _, t := range a.rec.Study.Treatments {
		index[t.ID] = len(names)
		names = append(names, a.words.Treatment(t.ID))
	}
	step := figure.Traces{Head: a.head("Every core, in step at heat on"), Treatments: names,
		Measure: figure.Measure{Name: "core", Kind: figure.Temperature, Degrees: a.degrees()}}
	for i, c := range a.rec.Cooks {
		a.o.Progress.Report(i, len(a.rec.Cooks))
		traces, c, err := bench.CorrectedTraces(ctx, rd, a.rec.Study.ID, c)
		if err != nil {
			return err
		}
		k := Cook{Label: c.Label, Block: c.Block, Piece: c.Piece, Treatment: a.words.Treatment(c.Treatment), Role: string(c.Role),
			Order: c.Order, Day: c.Day, VoidWhy: c.VoidWhy, Notes: a.all[i].Result.Remarks()}
		own := figure.Traces{Head: a.head(c.Label + ": " + k.Treatment), Treatments: []string{k.Treatment},
			Measure: figure.Measure{Name: "temperature", Kind: figure.Temperature, Degrees: a.degrees()}}
		for t := range traces {
			tr := &traces[t]
			if !tr.Channel.IsTemperature() {
				continue
			}
			at, v := thinned(tr, c, panelColumns)
			if len(at) == 0 {
				continue
			}
			own.Lines = append(own.Lines, figure.TraceLine{Cook: c.Label, Channel: panel(tr.Channel), AtS: at, Values: v})
			if tr.Channel.Place == trace.Core && c.Role != study.Pilot && c.Role != study.Void {
				at, v := thinned(tr, c, panelColumns/3)
				step.Lines = append(step.Lines, figure.TraceLine{Cook: c.Label, Channel: "core", Treatment: index[c.Treatment], AtS: at, Values: v})
			}
		}
		for _, m := range c.Marks {
			k.Marks = append(k.Marks, Mark{AtS: float64(m.AtUS) / 1e6, What: markWords(m.Kind), Note: m.Note})
			if m.Kind != study.NoteMark && m.Kind != study.Sync {
				own.Marks = append(own.Marks, figure.TraceMark{Label: markWords(m.Kind), AtS: float64(m.AtUS) / 1e6})
			}
		}
		if len(own.Lines) > 0 {
			k.Traces = &Exhibit{ID: "traces-" + c.Label, Figure: own}
		}
		for _, x := range a.all[i].Result.Responses {
			if x.Kind == study.Number {
				val := Value{Name: a.words.Response(x.Name), Measure: a.valueMeasure(x.Name, x.Unit), Value: x.Value, U: expanded(x)}
				if low, high, uneven := x.Uneven(); uneven && x.Unit != "°C" && x.Unit != "K" {
					val.Low, val.High = low, high
				}
				k.Values = append(k.Values, val)
			}
		}
		for _, w := range c.Weighings {
			k.Weighings = append(k.Weighings, Weighing{Stage: stageWords(w.Stage), MassG: w.MassG, ResG: w.ResG,
				AtS: float64(w.AtUS) / 1e6, HasAt: w.HasAt, Note: w.Note})
		}
		for _, d := range c.Deviations {
			k.Deviations = append(k.Deviations, Deviation{AtS: float64(d.AtUS) / 1e6, HasAt: d.AtUS != 0, What: d.What, Why: d.Why})
		}
		if k.Photos, err = photosOf(ctx, rd, a.rec.Study, &c, nil); err != nil {
			return err
		}
		for t := range traces {
			if off := traces[t].Channel.OffsetK; off != 0 {
				k.Corrections = append(k.Corrections, fmt.Sprintf("%s: %.2g K subtracted, found at the ice point", traces[t].Channel.ID, off))
			}
		}
		r.Cooks = append(r.Cooks, k)
	}
	if len(step.Lines) > 0 {
		r.Overview = append(r.Overview, Exhibit{ID: "cores", Figure: step})
	}
	return nil
}

// thinned returns a channel's line in seconds from heat on, with NaN where a
// gap breaks it.
func thinned(tr *trace.Trace, c study.Cook, columns int) (at, values []float64) {
	if tr.Len() == 0 {
		return nil, nil
	}
	from, to := tr.TimesUS[0], tr.TimesUS[tr.Len()-1]
	zero := from
	if tr.Elapsed {
		zero = 0
	}
	if c.ZeroSet {
		zero = c.ZeroUS
	}
	for _, p := range tr.Envelope(from, to, columns, 10*tr.PeriodUS()) {
		t := float64(p.US-zero) / 1e6
		if p.Break {
			at, values = append(at, t), append(values, math.NaN())
		}
		at, values = append(at, t), append(values, p.V)
	}
	return at, values
}

// panel names the strip of a figure a channel is drawn in.
func panel(c trace.Channel) string {
	switch c.Place {
	case trace.Core, trace.Depth:
		return "inside"
	case trace.Surface:
		return "surface"
	case trace.Pan:
		return "pan"
	case trace.Air:
		return "air"
	case trace.Fat:
		return "fat"
	case trace.Bath:
		return "bath"
	}
	return "other"
}

func markWords(k study.MarkKind) string { return strings.ReplaceAll(string(k), "-", " ") }

func stageWords(s study.Stage) string { return strings.ReplaceAll(string(s), "-", " ") }

// losses stacks what every cook that was weighed lost on the heat and in the
// rest. Where one was not weighed after its rest, what the others lost in it
// stands in the table of responses alone: bars of a figure mean the same.
func (a *assembler) losses() figure.Figure {
	f := figure.Losses{Head: a.head("Mass lost, in % of the raw mass"), Parts: []string{"cooking", "rest"}, Level: 0.95}
	rested := true
	weighed := map[string][]answer.CookResult{}
	for _, c := range a.all {
		if _, ok := c.Result.Get("cooking_loss"); !ok || c.Cook.Role == study.Pilot || c.Cook.Role == study.Void {
			continue
		}
		weighed[c.Cook.Treatment] = append(weighed[c.Cook.Treatment], c)
		_, ok := c.Result.Get("rest_loss")
		rested = rested && ok
	}
	if !rested {
		f.Head, f.Parts = a.head("Mass lost on the heat, in % of the raw mass"), f.Parts[:1]
	}
	any := false
	for _, t := range a.rec.Study.Treatments {
		tl := figure.TreatmentLoss{Name: a.words.Treatment(t.ID), Mean: math.NaN(), Interval: figure.Interval{Lo: math.NaN(), Hi: math.NaN()}}
		var totals []float64
		for _, c := range weighed[t.ID] {
			cook, _ := c.Result.Get("cooking_loss")
			parts, total := []float64{cook.Value}, cook.Value
			if rested {
				rest, _ := c.Result.Get("rest_loss")
				parts, total = append(parts, rest.Value), total+rest.Value
			}
			tl.Cooks = append(tl.Cooks, figure.CookLoss{Cook: c.Cook.Label, Parts: parts})
			totals = append(totals, total)
			any = true
		}
		if m, lo, hi, ok := meanInterval(totals); ok {
			tl.Mean, tl.Interval = m, figure.Interval{Lo: lo, Hi: hi}
		}
		f.Treatments = append(f.Treatments, tl)
	}
	if !any {
		return nil
	}
	return f
}

func (a *assembler) methods() Methods {
	var m Methods
	seen := map[string]bool{}
	for _, f := range a.got.Answer.Findings {
		id, target := study.SplitResponse(f.Response)
		if f.Response == "" || seen[f.Response] {
			continue
		}
		seen[f.Response] = true
		text := "a reading typed in by a person"
		if r, ok := study.LookupResponse(f.Response); ok {
			text = r.What
			if target != "" {
				text = strings.Replace(text, "a target", target, 1)
			}
		}
		if x, ok := a.typical(f); ok && x.Unit == f.Unit {
			u, k := x.Expanded()
			text += fmt.Sprintf("; one value is uncertain by about %s (expanded uncertainty, k = %.2g)", a.uncertainty(f, u), k)
		}
		m.Responses = append(m.Responses, Fact{a.words.Response(id), text})
	}
	slices.SortStableFunc(m.Responses, func(x, y Fact) int { return strings.Compare(x.Term, y.Term) })
	return m
}

// typical is the response of the cook with the middle uncertainty of those
// that a finding rests on; false where none states any.
func (a *assembler) typical(f *answer.Finding) (measure.Response, bool) {
	var all []measure.Response
	for _, c := range a.got.Results {
		if c.Cook.Role == study.Pilot || c.Cook.Role == study.Void || c.Cook.Treatment != f.Treatment && c.Cook.Treatment != f.Control {
			continue
		}
		if x, ok := c.Result.Get(f.Response); ok && x.StdU > 0 {
			all = append(all, x)
		}
	}
	if len(all) == 0 {
		return measure.Response{}, false
	}
	slices.SortStableFunc(all, func(x, y measure.Response) int { return cmp.Compare(x.StdU, y.StdU) })
	return all[len(all)/2], true
}

// expanded is the expanded uncertainty of a value; 0 where none is known.
func expanded(x measure.Response) float64 {
	if !(x.StdU > 0) {
		return 0
	}
	u, _ := x.Expanded()
	return u
}

// uncertainty prints an uncertainty in the response's unit.
func (a *assembler) uncertainty(f *answer.Finding, u float64) string {
	switch f.Unit {
	case "s":
		return quantity.Seconds(math.Round(u)).String()
	case "%":
		return fmt.Sprintf("%.2g points", u)
	case "°C", "K":
		if a.o.Fahrenheit {
			return fmt.Sprintf("%.2g °F", 1.8*u)
		}
		return fmt.Sprintf("%.2g °C", u)
	}
	return fmt.Sprintf("%.2g %s", u, f.Unit)
}

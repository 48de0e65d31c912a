package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// sureHeatOn is the confidence from which a detected heat-on stands in for
// one that was not marked.
const sureHeatOn = 0.6

// sameMomentS is how near a typed mark must be for a detected one of its kind
// to be the same event, s.
const sameMomentS = 20

// marksOf are the kinds of mark that a detected event may become; the other
// kinds become notes.
var marksOf = map[string]study.MarkKind{
	trace.HeatOn: study.HeatOn, trace.Turn: study.Turn, trace.FatIn: study.FatIn, trace.OffHeat: study.OffHeat,
}

// OfferMarks reads the events of a cook from its traces and offers those that
// the cook did not enter, in µs from heat on as the record has it (from the
// start of the log when it has none). Their source is "detected"; nothing is
// changed. Kinds of which the cook entered any are offered only away from
// them: what was entered stands.
func OfferMarks(in Input) []study.Mark {
	in, _ = OneClock(in)
	zero, traces := clockOf(in)
	var out []study.Mark
	for _, e := range trace.Detect(traces, detecting(in)) {
		m := study.Mark{AtUS: e.AtUS - zero, Source: "detected", Note: fmt.Sprintf("%s (confidence %.2f, ± %.0f s)", e.Why, e.Confidence, math.Ceil(2*e.TimeU))}
		kind, ok := marksOf[e.Kind]
		if !ok {
			kind = study.NoteMark
			m.Note = e.Kind + ": " + m.Note
		}
		m.Kind = kind
		same := func(k study.Mark) bool { // for notes: of what begins alike
			told, _, named := strings.Cut(k.Note, ":")
			return k.Kind == kind && (kind != study.NoteMark || named && told == e.Kind)
		}
		once := kind == study.HeatOn || kind == study.OffHeat
		if slices.ContainsFunc(in.Cook.Marks, func(k study.Mark) bool {
			return same(k) && (once || math.Abs(float64(k.AtUS-m.AtUS)) < sameMomentS*1e6)
		}) || kind == study.HeatOn && in.Cook.ZeroSet {
			continue
		}
		out = append(out, m)
	}
	return out
}

// detecting tells the detector how thick the piece is.
func detecting(in Input) trace.DetectOptions {
	var opt trace.DetectOptions
	if ts := in.Piece.ThicknessM; len(ts) > 0 {
		opt.ThicknessM = mean(ts)
	}
	return opt
}

// clockOf returns the time on the traces' clock that marks count from, and
// the traces that share that clock.
func clockOf(in Input) (zero int64, traces []*trace.Trace) {
	zero = in.Cook.ZeroUS
	elapsed, first := false, int64(math.MaxInt64)
	if in.Cook.ZeroSet {
		elapsed = zero < firstClockUS
	} else if len(in.Traces) > 0 {
		elapsed = in.Traces[0].Elapsed
	}
	for i := range in.Traces {
		if t := &in.Traces[i]; t.Elapsed == elapsed && t.Len() > 0 && t.Validate() == nil {
			traces = append(traces, t)
			first = min(first, t.TimesUS[0])
		}
	}
	if !in.Cook.ZeroSet {
		zero = first
		if elapsed || len(traces) == 0 {
			zero = 0
		}
	}
	return zero, traces
}

// AcceptMarks returns the cook with marks added, in order of time, and the
// heat-on mark among them made the cook's zero: every time of the record is
// then counted from it. Marks of the cook stay as they are.
func AcceptMarks(in Input, marks []study.Mark) study.Cook {
	c := in.Cook
	zero, _ := clockOf(in)
	// Offers count from heat on as corrected; the record keeps it as entered.
	corrected, _ := OneClock(in)
	from, _ := clockOf(corrected)
	marks = slices.Clone(marks)
	for i := range marks {
		marks[i].AtUS += from - zero
	}
	c.Marks = append(slices.Clone(c.Marks), marks...)
	if i := slices.IndexFunc(marks, func(m study.Mark) bool { return m.Kind == study.HeatOn }); i >= 0 && !c.ZeroSet {
		c = shifted(c, marks[i].AtUS)
		c.ZeroUS, c.ZeroSet = zero+marks[i].AtUS, true
	}
	study.SortMarks(c.Marks)
	return c
}

// shifted counts the times of a record from by µs later.
func shifted(c study.Cook, by int64) study.Cook {
	c.Marks, c.Weighings, c.Deviations = slices.Clone(c.Marks), slices.Clone(c.Weighings), slices.Clone(c.Deviations)
	for i := range c.Marks {
		c.Marks[i].AtUS -= by
	}
	for i := range c.Weighings {
		if c.Weighings[i].HasAt {
			c.Weighings[i].AtUS -= by
		}
	}
	for i := range c.Deviations {
		c.Deviations[i].AtUS -= by
	}
	return c
}

// withHeatOn fills in a heat-on that was not marked from the traces, if they
// tell it well enough.
func withHeatOn(in Input) (Input, []fault.Note) {
	if in.Cook.ZeroSet || len(in.Traces) == 0 {
		return in, nil
	}
	if !slices.ContainsFunc(in.Cook.Marks, func(m study.Mark) bool { return m.Kind == study.HeatOn }) {
		zero, traces := clockOf(in)
		for _, e := range trace.Detect(traces, detecting(in)) {
			if e.Kind == trace.HeatOn && e.Confidence >= sureHeatOn {
				at := e.AtUS - zero
				in.Cook = shifted(in.Cook, at)
				in.Cook.ZeroUS, in.Cook.ZeroSet = e.AtUS, true
				return in, []fault.Note{fault.Notef("heat-on-detected",
					"no heat-on mark: %.0f s after the start of the log is taken, where %s", float64(at)/1e6, e.Why)}
			}
		}
	}
	return in, []fault.Note{fault.Notef("no-heat-on", "no heat-on mark: times count from the start of the log")}
}

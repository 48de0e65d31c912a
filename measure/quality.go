package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/quantity"
	"trivet/study"
	"trivet/trace"
)

// Severity says what a finding does to a cook.
type Severity string

// Severities. A note is for the record; a doubt asks for a look; a breach is
// outside what the study said it would hold.
const (
	QualityNote   Severity = "note"
	QualityDoubt  Severity = "doubt"
	QualityBreach Severity = "breach"
)

// Finding is one thing about a cook's record that a reader of its numbers
// must know.
type Finding struct {
	Code     fault.Code `json:"code"`
	Severity Severity   `json:"severity"`
	Channel  string     `json:"channel,omitempty"`
	Clock    string     `json:"clock,omitempty"` // SHA-256 of the log it is about, or "marks"
	// Place is where the channel sits; Responses are those the finding names
	// itself, else see [Finding.Touches].
	Place     trace.Place `json:"place,omitempty"`
	Responses []string    `json:"responses,omitempty"`
	FromS     float64     `json:"from_s"` // from heat on; 0 where it has no time
	ToS       float64     `json:"to_s"`
	Count     int         `json:"count,omitempty"` // how often
	Value     float64     `json:"value"`           // the amount that was judged, in SI or °C
	Text      string      `json:"text"`
}

// Thresholds of the report; our choice, no source.
const (
	gapLeastS      = 10.0 // a gap is longer than this and than five samples
	flatLeastS     = 120.0
	flatOthersK    = 3.0 // what other sensors of the piece do meanwhile
	spikeLeastK    = 3.0
	agreeLeastK    = 1.0 // sensors before heat on
	spikesTold     = 3   // spikes named one by one
	coreImpossible = 105.0
)

// Quality reports what is doubtful in a cook's record: gaps, flat lines,
// spikes, sensors that disagree before heat on, a pan off its set point and
// for how long, thickness, start and mass outside what the study controls,
// weighings that its questions need and that are missing, and clocks and
// marks that do not fit the log. The study may be nil. Findings are in order
// of severity, the worst first.
func Quality(in Input, s *study.Study) []Finding {
	in, _ = OneClock(in)
	q := &qualityCheck{in: in, s: s}
	zero, traces := clockOf(in)
	q.zero = zero
	q.span(traces)
	q.clocks(traces)
	for _, t := range traces {
		q.gaps(t)
		q.flat(t, traces)
		q.spikes(t)
		q.impossible(t)
		q.crossings(t)
	}
	q.disagreement(traces)
	q.pan(traces)
	q.controlled(traces)
	q.weighings()
	q.instruments(traces)
	rank := map[Severity]int{QualityBreach: 0, QualityDoubt: 1, QualityNote: 2}
	slices.SortStableFunc(q.out, func(a, b Finding) int { return rank[a.Severity] - rank[b.Severity] })
	return q.out
}

type qualityCheck struct {
	in       Input
	s        *study.Study
	zero     int64
	from, to int64 // heat on to serving, on the traces' clock
	pull     int64 // 0 when unknown
	out      []Finding
}

func (q *qualityCheck) add(f Finding, format string, args ...any) {
	f.Text = fmt.Sprintf(format, args...)
	q.out = append(q.out, f)
}

func (q *qualityCheck) sec(us int64) float64 { return float64(us-q.zero) / 1e6 }

// clockText writes a time of a cook as m:ss.
func clockText(s float64) string {
	sign := ""
	if s <= -1 {
		sign, s = "−", -s
	}
	s = max(s, 0)
	return fmt.Sprintf("%s%d:%02d", sign, int(s)/60, int(s)%60)
}

// span finds the time that counts: heat on to serving.
func (q *qualityCheck) span(traces []*trace.Trace) {
	q.from, q.to = q.zero, math.MinInt64
	for _, m := range q.in.Cook.Marks {
		switch m.Kind {
		case study.OffHeat:
			q.pull = q.zero + m.AtUS
		case study.Cut, study.Served:
			if at := q.zero + m.AtUS; q.to == math.MinInt64 || at < q.to {
				q.to = at
			}
		}
	}
	last := int64(math.MinInt64)
	for _, t := range traces {
		last = max(last, t.TimesUS[t.Len()-1])
	}
	if q.to == math.MinInt64 {
		q.to = last
	}
}

// gapUS is the step above which two samples of a channel are apart.
func (q *qualityCheck) gapUS(t *trace.Trace) int64 {
	return max(int64(gapLeastS*1e6), 5*t.PeriodUS())
}

// gaps in a channel between heat on and serving.
func (q *qualityCheck) gaps(t *trace.Trace) {
	limit := q.gapUS(t)
	n, total, worst := 0, 0.0, trace.Gap{}
	for _, g := range t.Gaps(limit) {
		if g.ToUS <= q.from || g.FromUS >= q.to {
			continue
		}
		n++
		total += float64(g.ToUS-g.FromUS) / 1e6
		if g.ToUS-g.FromUS > worst.ToUS-worst.FromUS {
			worst = g
		}
	}
	if n == 0 {
		return
	}
	sev := QualityNote
	if total > 60 || total > 0.02*float64(q.to-q.from)/1e6 || q.pull > worst.FromUS && q.pull < worst.ToUS {
		sev = QualityDoubt
	}
	q.add(Finding{Code: "gap", Severity: sev, Channel: t.Channel.ID, Place: t.Channel.Place, FromS: q.sec(worst.FromUS), ToS: q.sec(worst.ToUS), Count: n, Value: total},
		"%s has %s without samples, %.0f s in all; the longest from %s to %s", t.Channel.ID, counted(n, "gap"), total, clockText(q.sec(worst.FromUS)), clockText(q.sec(worst.ToUS)))
}

func counted(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func inPiece(t *trace.Trace) bool {
	switch t.Channel.Place {
	case trace.Core, trace.Depth, trace.Surface:
		return true
	}
	return false
}

// flat lines: the same count for two minutes while the rest of the piece
// moves.
func (q *qualityCheck) flat(t *trace.Trace, all []*trace.Trace) {
	if !inPiece(t) {
		return
	}
	start, end := t.Index(q.from), t.Index(q.to)
	for i := start; i < end; {
		j := i + 1
		for j < end && t.Counts[j] == t.Counts[i] && !t.Missing.Has(j) {
			j++
		}
		from, to := t.TimesUS[i], t.TimesUS[j-1]
		if float64(to-from)/1e6 >= flatLeastS {
			for _, o := range all {
				if o == t || !inPiece(o) {
					continue
				}
				a, okA := o.At(from, math.MaxInt64)
				b, okB := o.At(to, math.MaxInt64)
				if okA && okB && math.Abs(a-b) > flatOthersK {
					q.add(Finding{Code: "flat-line", Severity: QualityDoubt, Channel: t.Channel.ID, Place: t.Channel.Place, FromS: q.sec(from), ToS: q.sec(to), Value: float64(to-from) / 1e6},
						"%s reads the same from %s to %s while %s changes by %.0f K", t.Channel.ID, clockText(q.sec(from)), clockText(q.sec(to)), o.Channel.ID, math.Abs(a-b))
					break
				}
			}
		}
		i = j
	}
}

// spikes: a sample far from both its neighbours, which agree.
func (q *qualityCheck) spikes(t *trace.Trace) {
	if t.Channel.Place == trace.Scale || t.Channel.Place == trace.Other {
		return
	}
	// Counts are enough: a threshold in counts, at least eight times the
	// usual step from sample to sample.
	perK := 1 / t.Quantum
	if t.Channel.Unit == trace.DegF {
		perK *= 1.8
	}
	least := int64(math.Ceil(spikeLeastK * perK))
	n, first, worst := 0, int64(0), int64(0)
	var usual int64
	for i := 1; i+1 < t.Len(); i++ {
		c := t.Counts[i]
		a, b := c-t.Counts[i-1], c-t.Counts[i+1]
		if a < 0 {
			a = -a
		}
		usual += (a - usual) / 16
		if a < least {
			continue
		}
		if b < 0 {
			b = -b
		}
		between := t.Counts[i-1] - t.Counts[i+1]
		if b < least || max(between, -between) > min(a, b)/3 || t.Missing.Has(i) || t.Missing.Has(i-1) || t.Missing.Has(i+1) {
			continue
		}
		if us := t.TimesUS[i]; us >= q.from && us <= q.to {
			if n == 0 {
				first = us
			}
			n++
			worst = max(worst, a)
		}
	}
	if n == 0 {
		return
	}
	sev := QualityNote
	if n > spikesTold && n*200 > t.Len() {
		sev = QualityDoubt
	}
	k := float64(worst) / perK
	q.add(Finding{Code: "spike", Severity: sev, Channel: t.Channel.ID, Place: t.Channel.Place, FromS: q.sec(first), ToS: q.sec(first), Count: n, Value: k},
		"%s has %s of up to %.0f K, the first at %s", t.Channel.ID, counted(n, "spike"), k, clockText(q.sec(first)))
}

// impossible values: a core above boiling is another unit or another place.
func (q *qualityCheck) impossible(t *trace.Trace) {
	if t.Channel.Place != trace.Core {
		return
	}
	for i := t.Index(q.from); i < t.Index(q.to); i++ {
		if v, ok := t.Value(i); ok && v > coreImpossible {
			q.add(Finding{Code: "core-impossible", Severity: QualityDoubt, Channel: t.Channel.ID, Place: t.Channel.Place, FromS: q.sec(t.TimesUS[i]), ToS: q.sec(t.TimesUS[i]), Value: v},
				"%s reads %.0f °C at %s: a moist core does not pass boiling; is its unit °F, or has the probe come out?", t.Channel.ID, v, clockText(q.sec(t.TimesUS[i])))
			return
		}
	}
}

// disagreement of the sensors in the piece in the 15 s before heat on.
func (q *qualityCheck) disagreement(traces []*trace.Trace) {
	if !q.in.Cook.ZeroSet {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	var low, high string
	n := 0
	for _, t := range traces {
		if !inPiece(t) || t.Channel.Place == trace.Surface {
			continue
		}
		m, covered := t.Mean(q.from-15e6, q.from, 5e6)
		if covered < 0.5 {
			continue
		}
		n++
		if m < lo {
			lo, low = m, t.Channel.ID
		}
		if m > hi {
			hi, high = m, t.Channel.ID
		}
	}
	if n > 1 && hi-lo > agreeLeastK {
		q.add(Finding{Code: "sensors-disagree", Severity: QualityDoubt, FromS: -15, Value: hi - lo},
			"before heat on %s reads %.1f K more than %s: the piece was not even, or a sensor is off", high, hi-lo, low)
	}
}

// control finds a controlled quantity by name.
func (q *qualityCheck) control(name string) (study.Control, bool) {
	if q.s == nil {
		return study.Control{}, false
	}
	i := slices.IndexFunc(q.s.Controlled, func(c study.Control) bool { return c.Name == name })
	if i < 0 {
		return study.Control{}, false
	}
	return q.s.Controlled[i], true
}

// pan off its set point between heat on and the pull.
func (q *qualityCheck) pan(traces []*trace.Trace) {
	c, ok := q.control("pan")
	if !ok || c.Kind != quantity.KindTemperature {
		return
	}
	end := q.pull
	if end == 0 {
		end = q.to
	}
	for _, t := range traces {
		if t.Channel.Place != trace.Pan {
			continue
		}
		var off, longest, run, all, worst float64
		first := int64(0)
		most := max(30, 3*float64(t.PeriodUS())/1e6) // a longer step is a gap
		for i := max(t.Index(q.from), 1); i < t.Index(end); i++ {
			v, ok := t.Value(i)
			step := float64(t.TimesUS[i]-t.TimesUS[i-1]) / 1e6
			if !ok || step > most {
				continue
			}
			all += step
			d := v - c.Value
			if math.Abs(d) > c.Tolerance {
				if off == 0 {
					first = t.TimesUS[i]
				}
				off += step
				run += step
				longest = max(longest, run)
				if math.Abs(d) > math.Abs(worst) {
					worst = d
				}
			} else {
				run = 0
			}
		}
		if off == 0 {
			continue
		}
		sev := QualityNote
		if off > 0.1*all {
			sev = QualityBreach
		}
		q.add(Finding{Code: "pan-off", Severity: sev, Channel: t.Channel.ID, Place: t.Channel.Place, FromS: q.sec(first), ToS: q.sec(end), Value: off},
			"the pan was outside %s for %.0f s of %.0f s (%.0f %%), the longest stretch %.0f s, by %+.0f K at most", c.Text, off, all, 100*off/all, longest, worst)
	}
}

// controlled quantities of the piece.
func (q *qualityCheck) controlled(traces []*trace.Trace) {
	if q.s == nil {
		return
	}
	p := q.in.Piece
	for _, c := range q.s.Controlled {
		beyond := func(v float64) bool { return math.Abs(v-c.Value) > c.Tolerance*(1+1e-9) }
		switch c.Name {
		case "thickness":
			if len(p.ThicknessM) == 0 {
				q.add(Finding{Code: "thickness-missing", Severity: QualityDoubt}, "the thickness is controlled (%s) and was not measured", c.Text)
				continue
			}
			for _, t := range p.ThicknessM {
				if beyond(t) {
					q.add(Finding{Code: "thickness-outside", Severity: QualityBreach, Value: t}, "a thickness of %.1f mm is outside %s", 1e3*t, c.Text)
					break
				}
			}
		case "mass":
			v := p.MassKg
			for _, w := range q.in.Cook.Weighings {
				if w.Stage == study.Raw {
					v = w.MassG / 1000
				}
			}
			if v > 0 && beyond(v) {
				q.add(Finding{Code: "mass-outside", Severity: QualityBreach, Value: v}, "the raw mass of %.1f g is outside %s", 1e3*v, c.Text)
			}
		case "start":
			v, known := 0.0, false
			if p.StartC != nil {
				v, known = *p.StartC, true
			} else {
				for _, t := range traces {
					if m, covered := t.Mean(q.from-15e6, q.from+1, 5e6); (t.Channel.Place == trace.Core || t.Channel.Place == trace.Depth && !known) && covered > 0.5 {
						v, known = m, true
					}
				}
			}
			switch {
			case !known:
				q.add(Finding{Code: "start-missing", Severity: QualityDoubt}, "the start temperature is controlled (%s) and was not recorded", c.Text)
			case beyond(v):
				q.add(Finding{Code: "start-outside", Severity: QualityBreach, Value: v}, "the piece started at %.1f °C, outside %s", v, c.Text)
			}
		}
	}
}

// weighings that the study's questions need.
func (q *qualityCheck) weighings() {
	have := map[study.Stage]bool{}
	for _, w := range q.in.Cook.Weighings {
		have[w.Stage] = true
	}
	if q.in.Piece.MassKg > 0 {
		have[study.Raw] = true
	}
	needs := map[string][]study.Stage{
		"cooking_loss":     {study.Raw, study.AtPull},
		"rest_loss":        {study.Raw, study.AtPull, study.AfterRest},
		"total_loss":       {study.Raw, study.AfterRest},
		"drip_loss":        {study.Raw, study.Drip},
		"evaporation_loss": {study.Raw, study.AtPull, study.Drip},
	}
	if have[study.AfterCut] {
		needs["total_loss"] = []study.Stage{study.Raw}
	}
	missing := map[study.Stage]bool{}
	var touched []string
	if q.s != nil {
		for _, x := range q.s.Questions {
			if slices.ContainsFunc(q.in.Cook.Readings, func(r study.Reading) bool { return r.Response == x.Response }) {
				continue // typed in
			}
			for _, st := range needs[x.Response] {
				if !have[st] && !q.byScale(st) {
					missing[st] = true
					if !slices.Contains(touched, x.Response) {
						touched = append(touched, x.Response)
					}
				}
			}
		}
	}
	var words []string
	for _, st := range []study.Stage{study.Raw, study.AtPull, study.AfterRest, study.Drip} {
		if missing[st] {
			words = append(words, stageWords(st))
		}
	}
	if len(words) > 0 {
		q.add(Finding{Code: "weighing-missing", Severity: QualityBreach, Count: len(words), Responses: touched}, "a question needs the piece weighed %s, and it was not", strings.Join(words, " and "))
	}
	var last study.Weighing
	for _, w := range q.in.Cook.Weighings {
		if last.MassG > 0 && w.Stage != study.Drip && last.Stage != study.Drip && w.MassG > last.MassG+2*(weighU(w)+weighU(last)) && stageOrder(w.Stage) > stageOrder(last.Stage) {
			q.add(Finding{Code: "mass-gained", Severity: QualityDoubt, Value: w.MassG - last.MassG}, "the piece weighed %.1f g %s and %.1f g %s", last.MassG, stageWords(last.Stage), w.MassG, stageWords(w.Stage))
		}
		last = w
	}
}

// byScale reports whether a mass that nobody typed in is read from the scale.
func (q *qualityCheck) byScale(st study.Stage) bool {
	if !slices.ContainsFunc(q.in.Traces, func(t trace.Trace) bool { return t.Channel.Place == trace.Scale }) {
		return false
	}
	v, err := newView(q.in)
	if err != nil {
		return false
	}
	_, ok := v.fromScale(st)
	return ok
}

func stageOrder(s study.Stage) int {
	return slices.Index([]study.Stage{study.Raw, study.DuringCook, study.AtPull, study.AfterRest, study.AfterCut}, s)
}

// clocks: marks outside the log, logs on different clocks or days, missing
// marks.
func (q *qualityCheck) clocks(traces []*trace.Trace) {
	if len(q.in.Traces) == 0 {
		return
	}
	if !q.in.Cook.ZeroSet {
		q.add(Finding{Code: "no-heat-on", Severity: QualityDoubt}, "there is no heat-on mark: times count from the start of the log")
	}
	if len(traces) < len(q.in.Traces) {
		q.add(Finding{Code: "clocks-mixed", Severity: QualityDoubt, Count: len(q.in.Traces) - len(traces)},
			"%s on another clock than the heat-on mark: align them", counted(len(q.in.Traces)-len(traces), "channel"))
	}
	q.fixes()
	if len(traces) == 0 {
		return
	}
	if q.pull == 0 {
		q.add(Finding{Code: "no-off-heat", Severity: QualityDoubt}, "there is no off-heat mark")
	}
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	latest, earliest := int64(math.MinInt64), int64(math.MaxInt64)
	for _, t := range traces {
		a, b := t.TimesUS[0], t.TimesUS[t.Len()-1]
		first, last = min(first, a), max(last, b)
		latest, earliest = max(latest, a), min(earliest, b)
	}
	if latest > earliest {
		q.add(Finding{Code: "clocks-apart", Severity: QualityDoubt, Value: float64(latest-earliest) / 1e6},
			"some channels end %.0f s before others begin: their clocks may differ", float64(latest-earliest)/1e6)
	}
	for _, m := range q.in.Cook.Marks {
		at := q.zero + m.AtUS
		if m.Kind == study.NoteMark || m.Kind == study.Cut || m.Kind == study.Served {
			continue
		}
		if at < first-1e6 || at > last+1e6 {
			q.add(Finding{Code: "mark-outside", Severity: QualityDoubt, FromS: q.sec(at), ToS: q.sec(at)},
				"the %s mark at %s is outside the log, which runs from %s to %s: do the clocks agree?", m.Kind, clockText(q.sec(at)), clockText(q.sec(first)), clockText(q.sec(last)))
		}
	}
}

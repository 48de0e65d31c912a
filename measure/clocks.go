package measure

import (
	"fmt"
	"math"
	"slices"
	"time"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// clockSource is the line of a budget for a time between two clocks.
const clockSource = "clocks of the event and the core's log against each other"

// alignment is a fix as the map it is.
func alignment(f study.ClockFix) trace.Alignment {
	return trace.Alignment{AnchorUS: f.AnchorUS, OffsetUS: f.OffsetUS, Rate: f.Rate}
}

// OneClock brings what a cook recorded to one clock: the samples of each log
// and the times a person entered, by the corrections of the record that stand
// (see [study.ClockFix]). Samples keep their values, the record its
// corrections; in itself is not changed. Everything in this package does so by
// itself; call it to draw or write what was recorded. Notes say what was
// moved.
func OneClock(in Input) (Input, []fault.Note) {
	if in.oneClock || len(in.Cook.Clocks) == 0 {
		return in, nil
	}
	in.oneClock = true
	var notes []fault.Note
	name := func(clock string) string { return ClockName(in.Cook, clock) }
	tell := func(clock string) {
		for _, f := range in.Cook.ClockPath(clock) {
			onto := "onto the cook's clock"
			if f.To != "" {
				onto = "onto that of " + name(f.To)
			}
			notes = append(notes, fault.Notef("clock-corrected", "the times of %s are moved %s: %s", name(f.Clock), onto, FixWords(f)))
		}
	}
	in.Traces = slices.Clone(in.Traces)
	var told []string
	for i := range in.Traces {
		t := &in.Traces[i]
		path := in.Cook.ClockPath(t.Source)
		if len(path) == 0 || t.Source == "" {
			continue
		}
		out := t
		for _, f := range path {
			next, err := out.Aligned(alignment(f))
			if err != nil {
				notes = append(notes, fault.Notef("clock-refused", "the correction of the clock of %s cannot be applied to %s: %s", name(f.Clock), t.Channel.ID, err))
				out = t
				break
			}
			next.Elapsed = f.Elapsed
			out = next
		}
		if out != t && !slices.Contains(told, t.Source) {
			told = append(told, t.Source)
			tell(t.Source)
		}
		in.Traces[i] = *out
	}
	if path := in.Cook.ClockPath(study.MarksClock); len(path) > 0 {
		tell(study.MarksClock)
		in.Cook = movedMarks(in.Cook, path)
	}
	return in, notes
}

// zeroMoves reports whether the heat-on time was entered with the marks, so
// that it moves with them; one that was detected, or given when a log was
// loaded, stands on the clock of the log.
func zeroMoves(c study.Cook) bool {
	return slices.ContainsFunc(c.Marks, func(m study.Mark) bool { return m.Kind == study.HeatOn && m.Source != "detected" })
}

// movedMarks maps what a person entered; what was detected stays where it is
// on the traces.
func movedMarks(c study.Cook, path []study.ClockFix) study.Cook {
	move := func(us int64) int64 {
		for _, f := range path {
			us = alignment(f).Apply(us)
		}
		return us
	}
	was, zero := c.ZeroUS, c.ZeroUS
	if zeroMoves(c) {
		zero = move(zero)
	}
	c.ZeroUS = zero
	c.Marks, c.Weighings, c.Deviations = slices.Clone(c.Marks), slices.Clone(c.Weighings), slices.Clone(c.Deviations)
	for i := range c.Marks {
		if m := &c.Marks[i]; m.Source == "detected" {
			m.AtUS += was - zero
		} else {
			m.AtUS = move(was+m.AtUS) - zero
		}
	}
	study.SortMarks(c.Marks)
	for i := range c.Weighings {
		if w := &c.Weighings[i]; w.HasAt {
			w.AtUS = move(was+w.AtUS) - zero
		}
	}
	for i := range c.Deviations {
		c.Deviations[i].AtUS = move(was+c.Deviations[i].AtUS) - zero
	}
	return c
}

// ClockName is a clock in words: the file of a log, "the marks".
func ClockName(c study.Cook, clock string) string {
	switch clock {
	case "":
		return "the cook's clock"
	case study.MarksClock:
		return "the marks"
	}
	for _, l := range c.Logs {
		if l.SHA256 == clock {
			return l.File
		}
	}
	return clock[:min(12, len(clock))]
}

// FixWords writes a correction with its uncertainty:
// "+37.4 s ± 0.2 s and +180 ppm ± 12 ppm".
func FixWords(f study.ClockFix) string {
	_, u := clockText(0), 2*f.UUS(f.MidUS)/1e6
	off := float64(alignment(f).Apply(f.MidUS)-f.MidUS) / 1e6
	var text string
	if math.Abs(off) > 36*3600 {
		text = fmt.Sprintf("its zero stands at %s ± %s s", time.UnixMicro(alignment(f).Apply(0)).UTC().Format("2006-01-02 15:04:05.0Z"), twoDigits(u))
		if f.Elapsed {
			text = fmt.Sprintf("from another origin of time ± %s s", twoDigits(u))
		}
	} else {
		text = fmt.Sprintf("%s s ± %s s", signed(off, decimals(max(u, 1e-3))), twoDigits(u))
	}
	if f.Rate != 0 {
		text += fmt.Sprintf(" and %s ppm ± %s ppm", signed(f.Rate*1e6, 0), twoDigits(2*f.RateU*1e6))
	}
	return text
}

func signed(v float64, d int) string {
	if v < 0 {
		return fmt.Sprintf("−%.*f", d, -v)
	}
	return fmt.Sprintf("+%.*f", d, v)
}

func twoDigits(u float64) string {
	if u <= 0 {
		return "0"
	}
	return fmt.Sprintf("%.*f", decimals(u), u)
}

// betweenClocks is the standard uncertainty, s, of a span between a moment on
// clock a and one on clock b, both near a time on the one clock: that of the
// corrections which only one of them goes through. It is 0 where both are one
// clock or nobody compared them.
func betweenClocks(c study.Cook, a, b string, us int64) float64 {
	sum := 0.0
	pa, pb := c.ClockPath(a), c.ClockPath(b)
	for _, side := range [][2][]study.ClockFix{{pa, pb}, {pb, pa}} {
		at := us
		for _, f := range slices.Backward(side[0]) {
			at = alignment(f).Inverse().Apply(at)
			if !slices.ContainsFunc(side[1], func(o study.ClockFix) bool { return o.Clock == f.Clock }) {
				sum += squared(f.UUS(at) / 1e6)
			}
		}
	}
	return math.Sqrt(sum)
}

// eventClock is the clock on which a kind of mark was timed; "" where it was
// read from the traces.
func (v *view) eventClock(kind study.MarkKind) string {
	clock := ""
	for _, m := range v.in.Cook.Marks {
		if m.Kind == kind {
			clock = ""
			if m.Source != "detected" {
				clock = study.MarksClock
			}
		}
	}
	return clock
}

// addClocks adds to a budget what the clocks leave open, for responses whose
// event stands on another clock than the core: a time by that of the clocks, a
// core at a mark by that times its slope.
func (v *view) addClocks(id string, r *Response) {
	if len(v.in.Cook.Clocks) == 0 {
		return
	}
	kind := study.OffHeat
	if id == "time_to_core" {
		kind = study.HeatOn
	}
	events := []string{v.eventClock(kind)}
	if events[0] == "" { // read from the traces: it may stand on any log
		events = events[:0]
		for _, t := range v.in.Traces {
			if !slices.Contains(events, t.Source) {
				events = append(events, t.Source)
			}
		}
	}
	at := v.in.Cook.ZeroUS
	if pull, ok := v.mark(study.OffHeat); ok && kind == study.OffHeat {
		at += int64(pull * 1e6)
	}
	u := 0.0
	for _, t := range v.in.Traces {
		if t.Channel.Place == trace.Core || t.Channel.Place == trace.Depth {
			for _, clock := range events {
				u = max(u, betweenClocks(v.in.Cook, clock, t.Source, at))
			}
		}
	}
	switch id {
	case "time_to_core", "time_to_peak":
	case "core_at_pull", "carryover":
		s, pull, _, err := v.corePulled()
		if err != nil {
			return
		}
		slope, _ := s.slopeAt(pull, slopeWindowS)
		u *= math.Abs(slope)
	default:
		return
	}
	if u > 0 {
		r.Budget = append(r.Budget, Source{clockSource, "A", u})
	}
}

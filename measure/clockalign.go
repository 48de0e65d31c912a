package measure

import (
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/quantity"
	"trivet/study"
	"trivet/trace"
)

// Ways of aligning two clocks.
const (
	ByMarks  = "marks"
	ByTurns  = "turns"
	BySignal = "signal"
)

// How far apart clocks are looked for, s: first near, then anywhere; our
// choice, no source.
const (
	lagNearS = 300.0
	lagFarS  = 26 * 3600.0 // a wrong time zone, or a wrong day
)

// AlignClock finds the correction of a clock of a cook onto another: the
// SHA-256 of a log or [study.MarksClock]. It compares what was recorded, not
// what was corrected. By is how: by the pattern of marks and of the events
// that a log tells, by the turns that both logs tell, or by a signal that both
// recorded; "" tries all and takes the one with the least uncertainty. The
// correction has no id, person or time yet.
func AlignClock(in Input, clock, to, by string) (study.ClockFix, error) {
	for _, c := range []string{clock, to} {
		if c == "" || c != study.MarksClock && !slices.ContainsFunc(in.Traces, func(t trace.Trace) bool { return t.Source == c }) {
			return study.ClockFix{}, fault.New("clock-unknown", "the cook has no samples of a log %q", ClockName(in.Cook, c)).
				On("clock", c).WithFix("name a log that was loaded into the cook, or %q", study.MarksClock)
		}
	}
	if clock == to {
		return study.ClockFix{}, fault.New("clock-itself", "a clock cannot be set by itself").On("to", to).WithFix("name two clocks")
	}
	marks := clock == study.MarksClock || to == study.MarksClock
	ways := []string{by}
	if by == "" {
		ways = []string{BySignal, ByTurns}
		if marks {
			ways = []string{ByMarks}
		}
	}
	var best trace.ClockFit
	var why []string
	found := false
	for _, way := range ways {
		var f trace.ClockFit
		var err error
		switch {
		case way == ByMarks && marks:
			f, err = alignMarks(in, clock, to)
		case way == ByMarks:
			err = fault.New("clock-marks", "no mark is shared by two logs").
				WithFix("give the times of one moment on both with --pair, or align each log to %q", study.MarksClock)
		case marks:
			err = fault.New("clock-way", "marks have no %s to compare", way).WithFix("align by marks")
		case way == ByTurns:
			f, err = trace.AlignByTurns(ofLog(in, to), ofLog(in, clock), detecting(in))
		case way == BySignal:
			f, err = alignSignals(in, clock, to)
		default:
			err = fault.BadUsage("clock-way", "clocks are aligned by marks, turns or signal").On("by", way).WithFix("name one of them")
		}
		if err != nil {
			if len(ways) == 1 {
				return study.ClockFix{}, err
			}
			if x := fault.As(err); x != nil {
				why = append(why, x.Message)
			}
			continue
		}
		if !found || f.At(middleOf(in, clock)) < best.At(middleOf(in, clock)) {
			best, found = f, true
		}
	}
	if !found {
		return study.ClockFix{}, fault.New("clock-unfit", "the clocks of %s and %s cannot be told apart: %s", ClockName(in.Cook, clock), ClockName(in.Cook, to), strings.Join(why, "; ")).
			WithFix("give the times of one moment on both with --pair, or the difference with --set")
	}
	return FixOf(best, clock, to, elapsedOf(in, to)), nil
}

// FixOf is a fit as it is kept with a cook.
func FixOf(f trace.ClockFit, clock, to string, elapsed bool) study.ClockFix {
	var notes []string
	for _, n := range f.Notes {
		notes = append(notes, n.Text)
	}
	return study.ClockFix{Clock: clock, To: to, AnchorUS: f.Alignment.AnchorUS, OffsetUS: f.Alignment.OffsetUS, Rate: f.Alignment.Rate,
		Elapsed: elapsed, Method: f.Method, Points: len(f.Points), RMSUS: f.RMSUS, WorstUS: f.WorstUS,
		MidUS: f.MidUS, OffsetUUS: f.OffsetUUS, RateU: f.RateU, Note: strings.Join(notes, "; ")}
}

// FixByHand is a correction that a person states, such as "+2.4 s ± 0.3 s":
// what is added to a clock whose record begins at fromUS, with its standard
// uncertainty. Without one half a second either way is taken, with a note.
func FixByHand(text, clock, to string, fromUS int64, elapsed bool) (study.ClockFix, error) {
	value, u, stated := strings.Cut(strings.ReplaceAll(text, "+/-", "±"), "±")
	offset, err := SignedSeconds(value)
	if err != nil {
		return study.ClockFix{}, err
	}
	uS, note := rectangular(0.5), "set by hand without an uncertainty: half a second either way is taken"
	if stated {
		note = ""
		if uS, err = SignedSeconds(u); err != nil {
			return study.ClockFix{}, err
		}
		if uS < 0 {
			return study.ClockFix{}, fault.New("u", "an uncertainty cannot be negative")
		}
	}
	f, err := trace.AlignByMarks([]trace.SyncPoint{{DeviceUS: fromUS, CommonUS: fromUS + int64(math.Round(offset*1e6)), UUS: max(uS*1e6, 1)}})
	if err != nil {
		return study.ClockFix{}, err
	}
	fix := FixOf(f, clock, to, elapsed)
	fix.Method, fix.Points, fix.Note = "set", 0, note
	return fix, nil
}

// SignedSeconds reads "+2.4 s", "-1:00" or "−0.5 s".
func SignedSeconds(text string) (float64, error) {
	t := strings.TrimSpace(strings.ReplaceAll(text, "−", "-"))
	sign := 1.0
	if rest, ok := strings.CutPrefix(t, "-"); ok {
		sign, t = -1, rest
	}
	d, err := quantity.ParseDuration(strings.TrimSpace(strings.TrimPrefix(t, "+")))
	return sign * d.S(), err
}

// ofLog are the traces of one log.
func ofLog(in Input, clock string) []*trace.Trace {
	var out []*trace.Trace
	for i := range in.Traces {
		if t := &in.Traces[i]; t.Source == clock && t.Len() > 0 && t.Validate() == nil {
			out = append(out, t)
		}
	}
	return out
}

func elapsedOf(in Input, clock string) bool {
	if clock == study.MarksClock {
		if in.Cook.ZeroSet {
			return in.Cook.ZeroUS < firstClockUS
		}
		return len(in.Traces) > 0 && in.Traces[0].Elapsed
	}
	traces := ofLog(in, clock)
	return len(traces) > 0 && traces[0].Elapsed
}

// middleOf is the middle of what a clock timed, on that clock.
func middleOf(in Input, clock string) int64 {
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, t := range ofLog(in, clock) {
		first, last = min(first, t.TimesUS[0]), max(last, t.TimesUS[t.Len()-1])
	}
	if first > last {
		return in.Cook.ZeroUS
	}
	return first + (last-first)/2
}

// alignMarks compares the pattern of the marks with that of the events that a
// log tells.
func alignMarks(in Input, clock, to string) (trace.ClockFit, error) {
	log := clock
	if clock == study.MarksClock {
		log = to
	}
	zero, _ := clockOf(in)
	var marks []trace.Event
	for _, m := range in.Cook.Marks {
		if m.Source == "detected" {
			continue
		}
		for event, kind := range marksOf {
			if kind == m.Kind {
				marks = append(marks, trace.Event{Kind: event, AtUS: zero + m.AtUS})
			}
		}
	}
	read := trace.Detect(ofLog(in, log), detecting(in))
	points, tie := trace.MatchEvents(read, marks)
	if len(points) < 2 || tie {
		return trace.ClockFit{}, fault.New("clock-marks", "the marks and the events that %s tells do not match at one place: %d agree", ClockName(in.Cook, log), len(points)).
			WithFix("mark heat on, turns and off heat, or give the times of one moment on both with --pair")
	}
	f, err := trace.AlignByMarks(points)
	if err != nil {
		return f, err
	}
	if log == clock {
		f = f.Inverse()
	}
	return f, nil
}

// alignSignals tries the channels of the two logs against each other, those of
// one place first, and takes the pair that tells the clocks best.
func alignSignals(in Input, clock, to string) (trace.ClockFit, error) {
	type pair struct{ common, device *trace.Trace }
	var same, other []pair
	for _, c := range ofLog(in, to) {
		for _, d := range ofLog(in, clock) {
			p := pair{c, d}
			switch {
			case c.Channel.Place == d.Channel.Place && math.Abs(c.Channel.DepthM-d.Channel.DepthM) < 3e-3:
				same = append(same, p)
			case inPiece(c) && inPiece(d) || c.Channel.Place == trace.Scale || d.Channel.Place == trace.Scale:
				other = append(other, p)
			}
		}
	}
	const most = 16
	var best trace.ClockFit
	var last error
	found := false
	for _, pairs := range [][]pair{same, other} {
		for _, p := range pairs[:min(len(pairs), most)] {
			f, err := trace.AlignBySignal(p.common, p.device, lagNearS)
			if err != nil {
				if f, err = trace.AlignBySignal(p.common, p.device, lagFarS); err != nil {
					last = err
					continue
				}
			}
			if !found || f.OffsetUUS < best.OffsetUUS {
				best, found = f, true
			}
		}
		if found {
			return best, nil
		}
	}
	if last == nil {
		last = fault.New("alignment-signal", "the two logs recorded nothing alike").
			WithFix("align by turns, or give the times of one moment on both with --pair")
	}
	return best, last
}

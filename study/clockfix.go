package study

import (
	"math"
	"slices"
	"time"

	"trivet/fault"
)

// MarksClock names the clock of what a person entered: marks, timed weighings
// and deviations that were not read from the traces. The other clocks of a
// cook are its logs, named by their SHA-256.
const MarksClock = "marks"

// ClockFix corrects one clock of a cook: its times are mapped onto another
// clock. It stands beside what was recorded, which it never changes, and is
// applied whenever that is read. The newest fix of a clock that was not undone
// is the one that stands; none is ever removed.
type ClockFix struct {
	ID    string // UUIDv7
	Clock string // whose times are mapped: SHA-256 of a log, or MarksClock
	// To is the clock they are mapped onto, itself corrected by what stands
	// for it; "" is the one clock of the cook.
	To string
	// A time t becomes t + OffsetUS + (t − AnchorUS)·Rate.
	AnchorUS, OffsetUS int64
	Rate               float64
	Elapsed            bool    // the mapped times count from the start of a log
	Method             string  // marks | turns | signal | set
	Points             int     // events or stretches it rests on; 0 when set by hand
	RMSUS              float64 // root mean square distance of the points, µs
	WorstUS            int64   // largest distance
	// OffsetUUS is the standard uncertainty, µs, of a time near MidUS once
	// mapped, and RateU that of the rate.
	MidUS            int64
	OffsetUUS, RateU float64
	Note             string // what is doubtful about it, in sentences
	By               string // who set it
	At               time.Time
	UndoneBy         string
	UndoneAt         time.Time // zero: not undone
}

// UUS is the standard uncertainty of a time of the corrected clock once
// mapped, µs: it grows away from the middle of the points.
func (f ClockFix) UUS(us int64) float64 {
	return math.Hypot(f.OffsetUUS, f.RateU*float64(us-f.MidUS))
}

// Standing is the fix of a clock that stands.
func (c *Cook) Standing(clock string) (ClockFix, bool) {
	for _, f := range slices.Backward(c.Clocks) {
		if f.Clock == clock && f.UndoneAt.IsZero() {
			return f, true
		}
	}
	return ClockFix{}, false
}

// ClockPath is how times of a clock come to the one clock of the cook: the
// fixes to apply, in order. It is empty for a clock that is not corrected.
func (c *Cook) ClockPath(clock string) []ClockFix {
	var path []ClockFix
	for len(path) <= len(c.Clocks) {
		f, ok := c.Standing(clock)
		if !ok {
			return path
		}
		if slices.ContainsFunc(path, func(p ClockFix) bool { return p.Clock == clock }) {
			return path // a record made elsewhere that goes round: the way so far
		}
		path = append(path, f)
		if f.To == "" {
			return path
		}
		clock = f.To
	}
	return path
}

// AddClockFix returns the cook with a fix added. It refuses a fix of an
// unknown clock, onto itself or onto a clock that is itself mapped onto this
// one.
func (c Cook) AddClockFix(f ClockFix) (Cook, error) {
	known := func(clock string) bool {
		return clock == MarksClock || slices.ContainsFunc(c.Logs, func(l LogRef) bool { return l.SHA256 == clock && clock != "" })
	}
	switch {
	case !known(f.Clock) || f.To != "" && !known(f.To):
		return c, fault.New("clock-unknown", "the cook has no such clock").On("clock", f.Clock).WithFix("name one of its logs, or %q", MarksClock)
	case f.Clock == f.To:
		return c, fault.New("clock-itself", "a clock cannot be set by itself").On("to", f.To).WithFix("name two clocks")
	}
	for _, p := range c.ClockPath(f.To) {
		if p.To == f.Clock {
			return c, fault.New("clock-round", "the clock it would be set by is itself set by this one").On("to", f.To).
				WithFix("undo the other correction first, or correct the other clock")
		}
	}
	c.Clocks = append(slices.Clone(c.Clocks), f)
	return c, nil
}

// UndoClockFix returns the cook with the standing fix of a clock undone, so
// that the one before it stands again, and the fix.
func (c Cook) UndoClockFix(clock, by string, at time.Time) (Cook, ClockFix, error) {
	for i := len(c.Clocks) - 1; i >= 0; i-- {
		if c.Clocks[i].Clock == clock && c.Clocks[i].UndoneAt.IsZero() {
			c.Clocks = slices.Clone(c.Clocks)
			c.Clocks[i].UndoneAt, c.Clocks[i].UndoneBy = at, by
			return c, c.Clocks[i], nil
		}
	}
	return c, ClockFix{}, fault.New("clock-as-it-was", "this clock is not corrected").On("clock", clock)
}

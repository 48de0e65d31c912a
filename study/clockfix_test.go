package study

import (
	"testing"
	"time"

	"trivet/fault"
)

func TestClockFixes(t *testing.T) {
	at := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	c := Cook{Logs: []LogRef{{File: "pan.csv", SHA256: "aa"}, {File: "scale.csv", SHA256: "bb"}, {File: "camera.csv", SHA256: "cc"}}}
	add := func(clock, to string, offsetUS int64) error {
		next, err := c.AddClockFix(ClockFix{Clock: clock, To: to, OffsetUS: offsetUS, At: at})
		if err == nil {
			c = next
		}
		return err
	}
	for _, x := range []struct {
		name, clock, to string
		refused         fault.Code
	}{
		{"a log by another", "bb", "aa", ""},
		{"a log by one that is corrected itself", "cc", "bb", ""},
		{"the marks by a log", MarksClock, "aa", ""},
		{"round in a circle", "aa", "cc", "clock-round"},
		{"by itself", "aa", "aa", "clock-itself"},
		{"unknown", "dd", "aa", "clock-unknown"},
		{"by an unknown", "aa", "dd", "clock-unknown"},
		{"onto the cook's own clock", "aa", "", ""},
	} {
		err := add(x.clock, x.to, 1e6)
		if f := fault.As(err); (f == nil) != (x.refused == "") || f != nil && f.Code != x.refused {
			t.Errorf("%s: %v, want %q", x.name, err, x.refused)
		}
	}
	if p := c.ClockPath("cc"); len(p) != 3 || p[0].Clock != "cc" || p[1].Clock != "bb" || p[2].Clock != "aa" {
		t.Errorf("the way of cc is %+v", p)
	}
	before := len(c.Clocks)
	if err := add("bb", "aa", 2e6); err != nil {
		t.Fatal(err)
	}
	if f, _ := c.Standing("bb"); f.OffsetUS != 2e6 {
		t.Errorf("the newest does not stand: %+v", f)
	}
	next, f, err := c.UndoClockFix("bb", "lead", at)
	if err != nil || f.OffsetUS != 2e6 || f.UndoneBy != "lead" {
		t.Fatal(f, err)
	}
	if f, _ := next.Standing("bb"); f.OffsetUS != 1e6 {
		t.Errorf("the one before does not stand again: %+v", f)
	}
	if len(next.Clocks) != before+1 || !c.Clocks[before].UndoneAt.IsZero() {
		t.Errorf("undoing removed a fix, or changed the record it was given")
	}
	next, _, _ = next.UndoClockFix("bb", "lead", at)
	if _, ok := next.Standing("bb"); ok {
		t.Error("both are undone and one stands")
	}
	if _, _, err := next.UndoClockFix("bb", "lead", at); fault.As(err) == nil {
		t.Error("undone a third time")
	}
	// A record made elsewhere may go round: the way ends.
	round := Cook{Clocks: []ClockFix{{Clock: "a", To: "b"}, {Clock: "b", To: "a"}}}
	if p := round.ClockPath("a"); len(p) != 2 {
		t.Errorf("%+v", p)
	}
}

package measure

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

const startUS = int64(1_780_000_000_000_000) // a time of day

// twoLogs is a cook logged by two devices: the core at 1 Hz, the pan at 1 Hz on
// a device whose clock is behind. Heat on is 60 s after the core's log begins.
func twoLogs(behindS float64) Input {
	core := trace.Trace{Channel: trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegC, Class: "T special"}, Quantum: 0.1, Source: "aa"}
	pan := trace.Trace{Channel: trace.Channel{ID: "pan", Place: trace.Pan, Unit: trace.DegC}, Quantum: 0.1, Source: "bb"}
	for s := range 1500 {
		us := startUS + int64(s)*1e6
		rise := max(0, float64(s-60))
		core.TimesUS = append(core.TimesUS, us)
		core.Counts = append(core.Counts, int64(math.Round(10*(5+70*(1-math.Exp(-rise*rise/4e5))))))
		pan.TimesUS = append(pan.TimesUS, us-int64(behindS*1e6))
		v := 205.0
		for _, turn := range []int{60, 300, 540, 780, 1020} {
			if d := float64(s - turn); d > 0 {
				v -= 15 * (1 - math.Exp(-d/4)) * math.Exp(-d/40)
			}
		}
		pan.Counts = append(pan.Counts, int64(math.Round(10*v)))
	}
	return Input{
		Cook: study.Cook{ID: "k", Label: "L01-a", ZeroUS: startUS + 60e6, ZeroSet: true,
			Logs:  []study.LogRef{{File: "core.csv", SHA256: "aa"}, {File: "pan.csv", SHA256: "bb"}},
			Marks: []study.Mark{{Kind: study.HeatOn, Source: "typed"}, {Kind: study.Turn, AtUS: 240e6, Source: "typed"}, {Kind: study.OffHeat, AtUS: 1000e6, Source: "typed"}}},
		Traces: []trace.Trace{core, pan},
	}
}

func TestOneClockMovesALogAndNothingElse(t *testing.T) {
	in := twoLogs(37)
	raw := twoLogs(37)
	in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUS: 37e6, OffsetUUS: 0.1e6, Method: "turns"}}
	out, notes := OneClock(in)
	if !reflect.DeepEqual(in.Traces, raw.Traces) {
		t.Error("the samples as recorded were changed")
	}
	if !slices.Equal(out.Traces[1].TimesUS, out.Traces[0].TimesUS) || !slices.Equal(out.Traces[1].Counts, raw.Traces[1].Counts) {
		t.Error("the pan is not on the clock of the core")
	}
	if len(notes) != 1 || !strings.Contains(notes[0].Text, "pan.csv") || !strings.Contains(notes[0].Text, "+37.00 s ± 0.20 s") {
		t.Errorf("%+v", notes)
	}
	again, notes := OneClock(out)
	if !reflect.DeepEqual(again, out) || notes != nil {
		t.Error("a second time moves them again")
	}
	// Undone, all is as it was.
	in.Cook.Clocks[0].UndoneAt = in.Cook.Clocks[0].At.AddDate(2026, 0, 0)
	out, _ = OneClock(in)
	if !reflect.DeepEqual(out.Traces, raw.Traces) {
		t.Error("an undone correction is applied")
	}
}

// A log that counts from its start comes onto the clock of another.
func TestOneClockJoinsAnElapsedLog(t *testing.T) {
	in := twoLogs(0)
	pan := &in.Traces[1]
	pan.Elapsed = true
	for i := range pan.TimesUS {
		pan.TimesUS[i] -= startUS
	}
	if got := Quality(in, nil); !slices.ContainsFunc(got, func(f Finding) bool { return f.Code == "clocks-mixed" }) {
		t.Errorf("%+v", got)
	}
	fix, err := AlignClock(in, "bb", "aa", "")
	if err == nil {
		t.Fatalf("a pan tells nothing of a core: %+v", fix)
	}
	in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUS: startUS, OffsetUUS: 0.3e6}}
	r, err := Cook(in, "pan_mean")
	if err != nil || len(r.Responses) != 1 {
		t.Fatalf("%+v %v", r, err)
	}
	if got := Quality(in, nil); slices.ContainsFunc(got, func(f Finding) bool { return f.Code == "clocks-mixed" }) {
		t.Errorf("%+v", got)
	}
}

// An event read from the traces may stand on the log whose clock is known worst.
func TestClocksOfADetectedEventEnterTheBudget(t *testing.T) {
	for _, tc := range []struct {
		source string
		want   float64
	}{{"typed", 0}, {"detected", 2}} {
		in := twoLogs(0)
		in.Cook.Marks[0].Source = tc.source
		in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUUS: 2e6, MidUS: startUS + 60e6}}
		r, err := Cook(in, "time_to_core(40 °C)")
		if err != nil || len(r.Responses) != 1 {
			t.Fatalf("%+v %v", r, err)
		}
		u := 0.0
		for _, s := range r.Responses[0].Budget {
			if s.Name == clockSource {
				u = s.StdU
			}
		}
		if math.Abs(u-tc.want) > 1e-6 {
			t.Errorf("heat on %s: u = %.3f s, want %g s", tc.source, u, tc.want)
		}
	}
}

// The uncertainty of the clocks enters what lies between them, and nothing
// else.
func TestClocksEnterTheBudget(t *testing.T) {
	in := twoLogs(0)
	names := []string{"time_to_core(40 °C)", "core_at_pull", "pan_mean"}
	line := func(in Input, name string) float64 {
		t.Helper()
		r, err := Cook(in, name)
		if err != nil || len(r.Responses) != 1 {
			t.Fatalf("%s: %+v %v", name, r, err)
		}
		for _, s := range r.Responses[0].Budget {
			if s.Name == clockSource {
				return s.StdU
			}
		}
		return 0
	}
	for _, name := range names {
		if u := line(in, name); u != 0 {
			t.Errorf("%s: %.2f s without a correction", name, u)
		}
	}
	// The core's log against the marks: u = √(2² + (1e-3·1000)²) s at off heat.
	at := startUS + 60e6
	in.Cook.Clocks = []study.ClockFix{{Clock: "aa", To: study.MarksClock, OffsetUUS: 2e6, MidUS: at, RateU: 1e-3}}
	if u := line(in, names[0]); math.Abs(u-2) > 1e-6 {
		t.Errorf("time to core: u = %.3f s, want 2 s", u)
	}
	v, _ := newView(in)
	s, pull, _, err := v.corePulled()
	if err != nil {
		t.Fatal(err)
	}
	slope, _ := s.slopeAt(pull, slopeWindowS)
	if u, want := line(in, names[1]), slope*math.Sqrt(5); math.Abs(u-want) > 1e-6 {
		t.Errorf("core at pull: u = %.4f K, want %.4f K", u, want)
	}
	if u := line(in, names[2]); u != 0 {
		t.Errorf("pan mean: %.2f", u)
	}
	// A correction of the pan does not touch the core.
	in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUUS: 2e6}}
	if u := line(in, names[0]); u != 0 {
		t.Errorf("time to core by the pan's clock: %.2f s", u)
	}
	// Marks and core both by the pan: both corrections count.
	in.Cook.Clocks = []study.ClockFix{{Clock: "aa", To: "bb", OffsetUUS: 3e6}, {Clock: study.MarksClock, To: "bb", OffsetUUS: 4e6}}
	if u := line(in, names[0]); math.Abs(u-5) > 1e-6 {
		t.Errorf("time to core over two clocks: u = %.3f s, want 5 s", u)
	}
	// Marks by the core, which is itself corrected: that one cancels.
	in.Cook.Clocks = []study.ClockFix{{Clock: "aa", To: "bb", OffsetUUS: 3e6}, {Clock: study.MarksClock, To: "aa", OffsetUUS: 4e6}}
	if u := line(in, names[0]); math.Abs(u-4) > 1e-6 {
		t.Errorf("time to core, shared way: u = %.3f s, want 4 s", u)
	}
}

func TestMovedMarks(t *testing.T) {
	in := twoLogs(0)
	in.Cook.Marks = append(in.Cook.Marks, study.Mark{Kind: study.Turn, AtUS: 480e6, Source: "detected"})
	in.Cook.Weighings = []study.Weighing{{Stage: study.AtPull, AtUS: 1010e6, HasAt: true}, {Stage: study.Raw}}
	in.Cook.Clocks = []study.ClockFix{{Clock: study.MarksClock, To: "aa", OffsetUS: -10e6}}
	out, _ := OneClock(in)
	c := out.Cook
	// All that was entered moves together; what was detected stays on the
	// traces, which are now 10 s later from heat on.
	if c.ZeroUS != in.Cook.ZeroUS-10e6 || c.Marks[1].AtUS != 240e6 || c.Marks[2].AtUS != 490e6 || c.Weighings[0].AtUS != 1010e6 || c.Weighings[1].AtUS != 0 {
		t.Errorf("%d %+v %+v", c.ZeroUS-in.Cook.ZeroUS, c.Marks, c.Weighings)
	}
	// Heat on given with the log: the other marks alone move.
	in.Cook.Marks = in.Cook.Marks[1:]
	if c := mustOne(in).Cook; c.ZeroUS != in.Cook.ZeroUS || c.Marks[0].AtUS != 230e6 || c.Marks[1].AtUS != 480e6 {
		t.Errorf("%+v", c.Marks)
	}
}

func mustOne(in Input) Input {
	out, _ := OneClock(in)
	return out
}

// Marks offered from corrected traces and taken into the record are where
// they were offered, and the record is not corrected twice.
func TestAcceptedMarksStandWhereTheyWereOffered(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := twoLogs(0)
		draw := func(name string) int64 { return rapid.Int64Range(-60e6, 60e6).Draw(rt, name) }
		in.Cook.Clocks = []study.ClockFix{{Clock: study.MarksClock, To: "aa", OffsetUS: draw("marks")}, {Clock: "bb", To: "aa", OffsetUS: draw("pan")}}
		offered := study.Mark{Kind: study.FatIn, AtUS: rapid.Int64Range(0, 900e6).Draw(rt, "fat in"), Source: "detected"}
		taken := AcceptMarks(in, []study.Mark{offered})
		if taken.ZeroUS != in.Cook.ZeroUS || taken.Marks[0].AtUS > taken.Marks[len(taken.Marks)-1].AtUS {
			rt.Fatalf("%+v", taken)
		}
		in.Cook = taken
		got := mustOne(in).Cook.Marks
		i := slices.IndexFunc(got, func(m study.Mark) bool { return m.Kind == study.FatIn })
		if got[i].AtUS != offered.AtUS {
			rt.Fatalf("offered at %d µs, stands at %d µs", offered.AtUS, got[i].AtUS)
		}
	})
}

func TestAlignClock(t *testing.T) {
	// A second pan sensor on a device 37 s behind.
	in := twoLogs(37)
	in.Traces[0].Channel.Place, in.Traces[0].Counts = trace.Pan, in.Traces[1].Counts
	fix, err := AlignClock(in, "bb", "aa", "")
	if err != nil || fix.Method != BySignal || math.Abs(float64(fix.OffsetUS)-37e6) > 3*fix.UUS(fix.MidUS) || fix.UUS(fix.MidUS) > 1e6 || fix.To != "aa" {
		t.Errorf("%+v %v", fix, err)
	}
	for _, c := range []struct {
		name, clock, to, by string
		code                fault.Code
	}{
		{"unknown log", "cc", "aa", "", "clock-unknown"},
		{"itself", "aa", "aa", "", "clock-itself"},
		{"marks of two logs", "bb", "aa", ByMarks, "clock-marks"},
		{"no such way", "bb", "aa", "smell", "clock-way"},
		{"marks by signal", study.MarksClock, "aa", BySignal, "clock-way"},
	} {
		if _, err := AlignClock(in, c.clock, c.to, c.by); fault.As(err) == nil || fault.As(err).Code != c.code {
			t.Errorf("%s: %v, want %s", c.name, err, c.code)
		}
	}
}

func TestQualityTellsOfClocks(t *testing.T) {
	has := func(in Input, code fault.Code) *Finding {
		for _, f := range Quality(in, nil) {
			if f.Code == code {
				return &f
			}
		}
		return nil
	}
	in := twoLogs(37)
	if f := has(in, "clock-unaligned"); f == nil || f.Severity != QualityDoubt {
		t.Errorf("two logs that nobody compared: %+v", f)
	}
	in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUS: 37e6, OffsetUUS: 0.1e6, RMSUS: 0.3e6, Points: 5, Method: "turns", MidUS: startUS}}
	if f := has(in, "clock-corrected"); f == nil || f.Severity != QualityNote || !strings.Contains(f.Text, "residual 0.30 s") {
		t.Errorf("%+v", f)
	}
	if f := has(in, "clock-unaligned"); f != nil {
		t.Errorf("%+v", f)
	}
	in.Cook.Clocks[0].OffsetUUS = 3e6
	if f := has(in, "clock-unsure"); f == nil || f.Severity != QualityDoubt {
		t.Errorf("known to ±6 s: %+v", f)
	}
}

// Offers are read from the traces on one clock, and count from heat on as it
// is corrected.
func TestOffersAreReadOnOneClock(t *testing.T) {
	in := twoLogs(0)
	in.Cook.ZeroSet, in.Cook.ZeroUS, in.Cook.Marks = false, 0, nil
	for i := range in.Traces[0].Counts { // a core that tells nothing
		in.Traces[0].Counts[i] = 50
	}
	at := func(in Input) int64 {
		t.Helper()
		for _, m := range OfferMarks(in) {
			if m.Kind == study.HeatOn {
				return m.AtUS
			}
		}
		t.Fatalf("no heat on is offered: %+v", OfferMarks(in))
		return 0
	}
	plain := at(in)
	in.Cook.Clocks = []study.ClockFix{{Clock: "bb", To: "aa", OffsetUS: 30e6}}
	if got := at(in); got-plain != 30e6 {
		t.Errorf("heat on moves by %d µs with the log that tells it, want 30 s", got-plain)
	}
}

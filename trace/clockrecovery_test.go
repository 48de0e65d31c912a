package trace

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"trivet/fault"
)

// panCourse is a pan as a sensor reads it at some times (s): it heats up,
// sags when food is laid on and at each turn, and recovers.
func panCourse(r *rand.Rand, spanS float64) func(t float64) float64 {
	var at, depth []float64
	for t := 60 + 60*r.Float64(); t < spanS; t += 90 + 120*r.Float64() {
		at, depth = append(at, t), append(depth, 8+10*r.Float64())
	}
	return func(t float64) float64 {
		v := 205 - 60*math.Exp(-max(t, 0)/200)
		for i, a := range at {
			if d := t - a; d > 0 {
				v -= depth[i] * (1 - math.Exp(-d/4)) * math.Exp(-d/40)
			}
		}
		return v
	}
}

// recorded is a course as a device records it: at its own rate from its own
// moment, with noise, in steps, stamped by its own clock, which is behind by
// offset and loses rate.
func recorded(r *rand.Rand, id string, place Place, course func(float64) float64, everyS, fromS, toS, noise, step, offsetS, rate float64) *Trace {
	t := &Trace{Channel: Channel{ID: id, Place: place, Unit: DegC}, Quantum: step}
	if place == Scale {
		t.Channel.Unit = Gram
	}
	for s := fromS; s <= toS; s += everyS {
		v := course(s) + noise*r.NormFloat64()
		t.TimesUS = append(t.TimesUS, int64(math.Round((s*(1-rate)-offsetS)*1e6)))
		t.Counts = append(t.Counts, int64(math.Round(v/step)))
	}
	return t
}

// deviceTime is when a device with this clock stamps a true time.
func deviceTime(s, offsetS, rate float64) int64 {
	return int64(math.Round((s*(1-rate) - offsetS) * 1e6))
}

// A clock of any offset and drift is recovered within what is stated, at every
// moment of the record, whatever the rates of the two logs. Six times the
// standard uncertainty holds for all of some thousand draws; TestClockRecovery
// asks for twice.
func TestSignalRecoversOffsetAndDrift(t *testing.T) {
	for _, pair := range []struct {
		name           string
		common, device float64 // s between samples
	}{{"1 Hz and 1 Hz", 1, 1}, {"1 Hz and 10 Hz", 1, 0.1}, {"10 Hz and 0.2 Hz", 0.1, 5}, {"0.2 Hz and 1 Hz", 5, 1}} {
		t.Run(pair.name, func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
				offset := rapid.Float64Range(-90, 90).Draw(rt, "offset s")
				rate := rapid.Float64Range(-400e-6, 400e-6).Draw(rt, "rate")
				span := rapid.Float64Range(1200, 2400).Draw(rt, "span s")
				course := panCourse(r, span)
				a := recorded(r, "pan", Pan, course, pair.common, 0.137, span, 0.3, 0.1, 0, 0)
				b := recorded(r, "pan too", Pan, func(s float64) float64 { return 3 + 0.9*course(s) }, pair.device, 11.31, span-7, 0.3, 0.1, offset, rate)
				f, err := AlignBySignal(a, b, 120)
				if err != nil {
					rt.Fatal(err)
				}
				for _, s := range []float64{20, span / 2, span - 20} {
					dev := deviceTime(s, offset, rate)
					e, u := float64(f.Alignment.Apply(dev))/1e6-s, f.At(dev)/1e6
					if math.Abs(e) > 6*u+0.005 {
						rt.Fatalf("%.0f s is mapped %.3f s off, u = %.3f s (rate %.0f ± %.0f ppm, true %.0f; %d points; %v)", s, e, u, 1e6*f.Alignment.Rate, 1e6*f.RateU, 1e6*rate, len(f.Points), f.Notes)
					}
					if u > 5 {
						rt.Fatalf("an uncertainty of %.1f s tells nothing", u)
					}
				}
			})
		})
	}
}

// Two draws in which one stretch was off by eight times what it said of itself
// and tilted the line with it.
func TestNoStretchDecidesAlone(t *testing.T) {
	for _, c := range []struct {
		seed       uint64
		rate, span float64
	}{{0x77042b3372b239a7, 400e-6, 2060.5}, {0x1c, -400e-6, 2185.5}} {
		r := rand.New(rand.NewPCG(c.seed, 1))
		course := panCourse(r, c.span)
		a := recorded(r, "pan", Pan, course, 5, 0.137, c.span, 0.3, 0.1, 0, 0)
		b := recorded(r, "pan too", Pan, func(s float64) float64 { return 3 + 0.9*course(s) }, 1, 11.31, c.span-7, 0.3, 0.1, 1, c.rate)
		f, err := AlignBySignal(a, b, 120)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []float64{20, c.span / 2, c.span - 20} {
			dev := deviceTime(s, 1, c.rate)
			e, u := float64(f.Alignment.Apply(dev))/1e6-s, f.At(dev)/1e6
			t.Logf("%.0f s is mapped %.3f s off, u = %.3f s", s, e, u)
			if math.Abs(e) > 6*u {
				t.Errorf("%.0f s is mapped %.3f s off, u = %.3f s", s, e, u)
			}
		}
	}
}

// Aligning A to B is the inverse of aligning B to A.
func TestAlignmentIsSymmetric(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 2))
		offset, rate := 60*(r.Float64()-0.5), 4e-4*(r.Float64()-0.5)
		every := rapid.SampledFrom([]float64{0.1, 1, 5}).Draw(rt, "device period")
		course := panCourse(r, 1500)
		a := recorded(r, "a", Pan, course, 1, 0, 1500, 0.2, 0.1, 0, 0)
		b := recorded(r, "b", Pan, course, every, 3.3, 1490, 0.2, 0.1, offset, rate)
		there, err := AlignBySignal(a, b, 60)
		if err != nil {
			rt.Fatal(err)
		}
		back, err := AlignBySignal(b, a, 60)
		if err != nil {
			rt.Fatal(err)
		}
		var points, swapped []SyncPoint
		for range 2 + r.IntN(6) {
			s := 1500 * r.Float64()
			p := SyncPoint{DeviceUS: deviceTime(s, offset, rate), CommonUS: int64((s + 0.3*r.NormFloat64()) * 1e6)}
			points, swapped = append(points, p), append(swapped, SyncPoint{DeviceUS: p.CommonUS, CommonUS: p.DeviceUS})
		}
		mark, err := AlignByMarks(points)
		if err != nil {
			rt.Skip(err) // marks so close that the line through them is no clock's
		}
		kram, err := AlignByMarks(swapped)
		if err != nil {
			rt.Skip(err)
		}
		if there.Method != "signal" || mark.Method != "marks" {
			rt.Fatal(there.Method, mark.Method)
		}
		for _, s := range []float64{0, 700, 1500} {
			us := deviceTime(s, offset, rate)
			if d := back.Alignment.Apply(there.Alignment.Apply(us)) - us; abs(d) > 2 {
				rt.Fatalf("signal: there and back is %d µs off", d)
			}
			// The two ways differ by the square of the rate; where one of them
			// leaves a rate out at the edge of its uncertainty, by that.
			if (mark.Alignment.Rate == 0) != (kram.Alignment.Rate == 0) {
				continue
			}
			if d := kram.Alignment.Apply(mark.Alignment.Apply(us)) - us; float64(abs(d)) > 0.02*mark.At(us)+2 {
				rt.Fatalf("marks: there and back is %d µs off, u = %.0f µs, rate %g, %d points", d, mark.At(us), mark.Alignment.Rate, len(points))
			}
		}
	})
}

// How well clocks are recovered; docs/clocks.md repeats these numbers, and
// `go test ./trace -run TestClockRecovery -v` prints them.
func TestClockRecovery(t *testing.T) {
	const trials, slow = 60, 5 // reading turns takes a second a cook
	for _, c := range []struct {
		name          string
		worstS        float64 // largest error allowed of 95 of 100
		withinTwo     float64 // least share within twice the uncertainty
		common, other float64
		fit           func(r *rand.Rand, common, other, offset, rate float64) (ClockFit, error)
	}{
		{"signal, 1 Hz and 1 Hz", 0.4, 0.85, 1, 1, signalTrial},
		{"signal, 1 Hz and 10 Hz", 0.3, 0.85, 1, 0.1, signalTrial},
		{"signal, 10 Hz and 0.2 Hz", 0.6, 0.85, 0.1, 5, signalTrial},
		{"signal, 1 Hz and scale at 0.2 Hz", 1, 0.85, 1, 5, scaleTrial},
		{"marks, 5 by hand (±0.5 s)", 0.8, 0.85, 0, 0, marksTrial},
		{"turns, 6 events, 1 Hz and 1 Hz", 2, 0.85, 0, 0, turnsTrial},
	} {
		r := rand.New(rand.NewPCG(11, 12))
		var off, us, rates []float64
		within, told := 0, 0
		n := trials
		if strings.HasPrefix(c.name, "turns") {
			n = slow
		}
		for range n {
			offset, rate := 120*(r.Float64()-0.5), UsualRate*(2*r.Float64()-1)
			f, err := c.fit(r, c.common, c.other, offset, rate)
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			for _, s := range []float64{60, 900, 1740} {
				dev := deviceTime(s, offset, rate)
				e, u := math.Abs(float64(f.Alignment.Apply(dev))/1e6-s), f.At(dev)/1e6
				off, us = append(off, e), append(us, u)
				told++
				if e <= 2*u {
					within++
				}
			}
			rates = append(rates, math.Abs(f.Alignment.Rate-rate)*1e6)
		}
		slices.Sort(off)
		slices.Sort(us)
		slices.Sort(rates)
		at := func(v []float64, p float64) float64 { return v[int(p*float64(len(v)-1))] }
		share := float64(within) / float64(told)
		t.Logf("%-34s error median %.3f s, 95 %% %.3f s; u median %.3f s; within 2u %.0f %%; rate off by %.0f ppm (median), %.0f (95 %%)",
			c.name, at(off, 0.5), at(off, 0.95), at(us, 0.5), 100*share, at(rates, 0.5), at(rates, 0.95))
		if at(off, 0.95) > c.worstS {
			t.Errorf("%s: 95 %% of times lie within %.2f s, want %.2f s", c.name, at(off, 0.95), c.worstS)
		}
		if share < c.withinTwo {
			t.Errorf("%s: %.0f %% lie within twice the uncertainty", c.name, 100*share)
		}
	}
}

func signalTrial(r *rand.Rand, common, other, offset, rate float64) (ClockFit, error) {
	course := panCourse(r, 1800)
	return AlignBySignal(recorded(r, "pan", Pan, course, common, 0.137, 1800, 0.3, 0.1, 0, 0),
		recorded(r, "pan too", Pan, course, other, 5.7, 1790, 0.3, 0.1, offset, rate), 120)
}

// scaleTrial sets a pan's temperature against a scale that feels the same
// events: steps of mass where the pan sags.
func scaleTrial(r *rand.Rand, common, other, offset, rate float64) (ClockFit, error) {
	course := panCourse(r, 1800)
	mass := func(t float64) float64 { return 600 - 0.02*t - 1.5*course(t) }
	return AlignBySignal(recorded(r, "pan", Pan, course, common, 0.137, 1800, 0.3, 0.1, 0, 0),
		recorded(r, "scale", Scale, mass, other, 5.7, 1790, 0.5, 0.1, offset, rate), 120)
}

// turnsTrial sets two probes in one slab against each other, at other depths
// and noisier, by what each tells of heat on, turns and off heat.
func turnsTrial(r *rand.Rand, _, _, offset, rate float64) (ClockFit, error) {
	var turns []float64
	for t := 200 + 60*r.Float64(); t < 1400; t += 200 + 100*r.Float64() {
		turns = append(turns, t)
	}
	common := panCook(60, 1500, 1800, turns, 0.1, 2, 15, 28)
	var device []*Trace
	for _, t := range panCook(60.4, 1500.3, 1800, turns, 0.3, 3, 27) {
		t.TimesUS = slices.Clone(t.TimesUS)
		for i, us := range t.TimesUS {
			t.TimesUS[i] = deviceTime(float64(us)/1e6, offset, rate)
		}
		device = append(device, t)
	}
	return AlignByTurns(common, device, DetectOptions{})
}

func marksTrial(r *rand.Rand, _, _, offset, rate float64) (ClockFit, error) {
	var p []SyncPoint
	for _, s := range []float64{60, 420, 800, 1200, 1700} {
		hand := func() float64 { return r.Float64() - 0.5 }
		p = append(p, SyncPoint{DeviceUS: deviceTime(s+hand(), offset, rate), CommonUS: int64(1e6 * (s + hand()))})
	}
	return AlignByMarks(p)
}

func TestAlignmentRefusesAndWarns(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	course := panCourse(r, 1500)
	at := func(device, common float64) SyncPoint {
		return SyncPoint{DeviceUS: int64(device * 1e6), CommonUS: int64(common * 1e6)}
	}
	flat := recorded(r, "flat", Pan, func(float64) float64 { return 200 }, 1, 0, 1500, 0, 0.1, 0, 0)
	pan := recorded(r, "pan", Pan, course, 1, 0, 1500, 0.2, 0.1, 0, 0)
	noise := recorded(r, "noise", Pan, func(float64) float64 { return 20 }, 1, 0, 1500, 0.3, 0.1, 0, 0)
	ramp := func(from float64) *Trace {
		return recorded(r, fmt.Sprint("ramp", from), Core, func(t float64) float64 { return 5 + 0.02*t }, 1, from, 1500, 0.05, 0.1, 0, 0)
	}
	for _, c := range []struct {
		name    string
		fit     func() (ClockFit, error)
		refused fault.Code // "" where a fit is given
		note    fault.Code // it must hold
	}{
		{"no shared mark", func() (ClockFit, error) { return AlignByMarks(nil) }, "alignment-points", ""},
		{"one mark", func() (ClockFit, error) { return AlignByMarks([]SyncPoint{at(10, 12)}) }, "", "clock-offset-only"},
		{"two marks of one moment", func() (ClockFit, error) { return AlignByMarks([]SyncPoint{at(10, 12), at(10, 12.2)}) }, "", "clock-offset-only"},
		{"two marks a minute apart", func() (ClockFit, error) { return AlignByMarks([]SyncPoint{at(10, 12), at(70, 72.1)}) }, "", "clock-no-drift"},
		{"marks that no clock explains", func() (ClockFit, error) {
			return AlignByMarks([]SyncPoint{at(0, 0), at(600, 900), at(1200, 1800)})
		}, "alignment-rate", ""},
		{"one mark of six taken wrongly", func() (ClockFit, error) {
			return AlignByMarks([]SyncPoint{at(0, 2), at(300, 302.1), at(600, 601.9), at(900, 935), at(1200, 1202), at(1500, 1502.1)})
		}, "", "clock-dropped"},
		{"an uncertainty that is no number", func() (ClockFit, error) {
			return AlignByMarks([]SyncPoint{{DeviceUS: 1, CommonUS: 2, UUS: math.Inf(1)}})
		}, "alignment-points", ""},
		{"a flat channel", func() (ClockFit, error) { return AlignBySignal(pan, flat, 60) }, "alignment-signal", ""},
		{"noise alone", func() (ClockFit, error) { return AlignBySignal(pan, noise, 60) }, "alignment-signal", ""},
		{"straight rises, which fit anywhere", func() (ClockFit, error) { return AlignBySignal(ramp(0), ramp(0.5), 60) }, "alignment-signal", ""},
		{"too short", func() (ClockFit, error) {
			return AlignBySignal(pan, recorded(r, "short", Pan, course, 1, 100, 120, 0.2, 0.1, 0, 0), 60)
		}, "alignment-signal", ""},
		{"no samples", func() (ClockFit, error) { return AlignBySignal(pan, &Trace{Quantum: 0.1}, 60) }, "alignment-signal", ""},
		{"short, one event", func() (ClockFit, error) {
			return AlignBySignal(pan, recorded(r, "short", Pan, course, 1, 60, 200, 0.05, 0.1, 1, 0), 20)
		}, "", "clock-offset-only"},
	} {
		f, err := c.fit()
		if got := fault.As(err); (got == nil) != (c.refused == "") || got != nil && (got.Code != c.refused) {
			t.Errorf("%s: %v, want %q (%+v)", c.name, err, c.refused, f)
			continue
		}
		if c.note != "" && !slices.ContainsFunc(f.Notes, func(n fault.Note) bool { return n.Code == c.note }) {
			t.Errorf("%s: notes %+v, want %s", c.name, f.Notes, c.note)
		}
		if c.refused == "" && !(f.OffsetUUS > 0 && f.RateU > 0) {
			t.Errorf("%s: no uncertainty: %+v", c.name, f)
		}
	}
}

// Two marks ten minutes apart, timed to 0.1 s: the line through two points is
// worked out by hand.
func TestLineThroughTwoMarks(t *testing.T) {
	f, err := AlignByMarks([]SyncPoint{
		{DeviceUS: 0, CommonUS: 2_000_000, UUS: 100_000},
		{DeviceUS: 600_000_000, CommonUS: 603_000_000, UUS: 100_000},
	})
	if err != nil {
		t.Fatal(err)
	}
	// Rate: 1 s in 600 s; u = 0.1·√2/600. Offset in the middle: 2.5 s; u =
	// 0.1/√2.
	near(t, "rate", f.Alignment.Rate, 1.0/600, 1e-12)
	near(t, "u(rate)", f.RateU, 0.1*math.Sqrt2/600, 1e-12)
	near(t, "offset", float64(f.Alignment.OffsetUS), 2.5e6, 1)
	near(t, "u(offset)", f.OffsetUUS, 0.1e6/math.Sqrt2, 1)
	near(t, "u at the end", f.At(600_000_000), 0.1e6, 1)
}

func BenchmarkAlignBySignal(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	course := panCourse(r, 3600)
	x := recorded(r, "pan", Pan, course, 1, 0, 3600, 0.3, 0.1, 0, 0)
	y := recorded(r, "pan too", Pan, course, 0.1, 0, 3600, 0.3, 0.1, 40, 1e-4)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := AlignBySignal(x, y, 300); err != nil {
			b.Fatal(err)
		}
	}
}

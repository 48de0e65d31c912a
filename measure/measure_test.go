package measure_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// channel makes a 1 Hz trace from a function of time in seconds, starting at
// from, in steps of 0.1.
func channel(id string, place trace.Place, from, to int, f func(t float64) float64) trace.Trace {
	tr := trace.Trace{Channel: trace.Channel{ID: id, Place: place, Unit: trace.DegC}, Elapsed: true, Quantum: 0.1}
	for s := from; s <= to; s++ {
		tr.TimesUS = append(tr.TimesUS, int64(s)*1e6)
		tr.Counts = append(tr.Counts, int64(math.Round(f(float64(s))*10)))
	}
	return tr
}

// core rises 5 °C to 55 °C in 1000 s (0.05 K/s), is pulled there, then
// carries over along a parabola to 60 °C at 1300 s and falls.
func core(t float64) float64 {
	if t <= 1000 {
		return 5 + 0.05*t
	}
	return 60 - 5*(t-1300)*(t-1300)/90000
}

func cook() measure.Input {
	c := study.Cook{Label: "c1", ZeroSet: true,
		Marks: []study.Mark{{Kind: study.HeatOn}, {Kind: study.OffHeat, AtUS: 1000e6}, {Kind: study.Served, AtUS: 1600e6}},
		Weighings: []study.Weighing{
			{Stage: study.Raw, MassG: 250, ResG: 0.1},
			{Stage: study.AtPull, MassG: 225, AtUS: 1000e6, HasAt: true, ResG: 0.1},
			{Stage: study.AfterRest, MassG: 215, AtUS: 1600e6, HasAt: true, ResG: 0.1},
		}}
	return measure.Input{Cook: c, Piece: study.Piece{ThicknessM: []float64{0.03, 0.03}}, Traces: []trace.Trace{
		channel("core", trace.Core, -60, 1700, core),
		channel("pan", trace.Pan, -60, 1700, func(t float64) float64 {
			if t < 0 {
				return 205
			}
			return 205 - 25*math.Exp(-t/100)
		}),
	}}
}

func TestResponsesFollowTheirDefinitions(t *testing.T) {
	for _, tc := range []struct {
		name, unit string
		want, tol  float64
	}{
		{"time_to_core(50 °C)", "s", 900, 2},
		{"time_to_core(122 °F)", "s", 900, 2}, // the same target
		{"core_at_pull", "°C", 55, 0.06},
		{"core_peak", "°C", 60, 0.06},
		{"carryover", "K", 5, 0.1},
		{"time_to_peak", "s", 300, 10},
		{"heating_rate", "K/min", 3, 0.01},
		{"cooking_loss", "%", 10, 1e-9},
		{"rest_loss", "%", 4, 1e-9},   // 10 g of 250 g raw, not of 225 g
		{"total_loss", "%", 14, 1e-9}, // the sum of both
		{"steam_rate", "g/min", 1, 1e-9},
		{"steam_heat", "W", 39.3, 0.1}, // 2357.7 J/g at 60 °C (IAPWS), 1 g/min
		{"pan_mean", "°C", 205 - 2.5, 0.2},
		{"pan_sag", "K", 25, 0.2},
	} {
		t.Run(tc.name, func(t *testing.T) {
			res, err := measure.Cook(cook(), tc.name)
			if err != nil {
				t.Fatal(err)
			}
			r, ok := res.Get(tc.name)
			if !ok {
				t.Fatalf("absent: %+v", res.Absent)
			}
			if math.Abs(r.Value-tc.want) > tc.tol || r.Unit != tc.unit {
				t.Errorf("%v %s, want %v %s", r.Value, r.Unit, tc.want, tc.unit)
			}
			if !(r.StdU > 0) {
				t.Error("no uncertainty")
			}
		})
	}
}

// A profile known exactly: 50 °C at the centre, rising with the square of
// the distance to 80 °C at both faces. Within 5 K of the core lies
// √(5/30) = 0.408 of the half thickness.
func TestProfileResponses(t *testing.T) {
	in := cook()
	in.Traces = nil
	for _, mm := range []float64{0, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30} {
		temp := 50 + 30*math.Pow((mm-15)/15, 2)
		tr := channel("d", trace.Depth, 0, 1700, func(float64) float64 { return temp })
		tr.Channel.DepthM = mm / 1000
		in.Traces = append(in.Traces, tr)
	}
	res, err := measure.Cook(in, "even_share", "face_spread", "core_at_pull")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"even_share": 40.8, "face_spread": 30, "core_at_pull": 50} {
		r, ok := res.Get(name)
		if !ok {
			t.Fatalf("%s: %+v", name, res.Absent)
		}
		if math.Abs(r.Value-want) > 1 {
			t.Errorf("%s = %.2f, want %.2f", name, r.Value, want)
		}
	}
}

// Depth sensors that straddle the centre give its temperature by a parabola.
// Values: −8/0/+8 mm reading 61.2/55.0/58.4 °C have their vertex +1.17 mm
// off, at 54.90 °C (computed by hand from the three equations).
func TestCoreFromThreeDepths(t *testing.T) {
	in := cook()
	in.Traces = nil
	for _, p := range [][2]float64{{7, 61.2}, {15, 55.0}, {23, 58.4}} {
		tr := channel("d", trace.Depth, 0, 1700, func(float64) float64 { return p[1] })
		tr.Channel.DepthM = p[0] / 1000
		in.Traces = append(in.Traces, tr)
	}
	res, err := measure.Cook(in, "core_at_pull")
	if err != nil {
		t.Fatal(err)
	}
	r, ok := res.Get("core_at_pull")
	if !ok || math.Abs(r.Value-54.898) > 0.001 {
		t.Errorf("core %v (%v), want 54.898", r.Value, res.Absent)
	}
}

// Loss uncertainty by hand: 250.0 → 225.0 g, each u = √((0.1²/12)+0.3²) =
// 0.3014 g: u = (100/250) √(0.3014² + 0.9² × 0.3014²) = 0.1622 points
// (formula: JCGM 100:2008, 5.1).
func TestLossUncertainty(t *testing.T) {
	res, err := measure.Cook(cook(), "cooking_loss")
	if err != nil {
		t.Fatal(err)
	}
	r, _ := res.Get("cooking_loss")
	if math.Abs(r.StdU-0.1622) > 0.0001 {
		t.Errorf("u = %.4f points, want 0.1622", r.StdU)
	}
}

// A mass in ounces tells that the scale shows tenths of an ounce, not grams.
func TestMassesTypedInOunces(t *testing.T) {
	const oz = 28.349523125
	in := measure.Input{Cook: study.Cook{Weighings: []study.Weighing{{Stage: study.Raw, MassG: 10.6 * oz}, {Stage: study.AtPull, MassG: 9 * oz}}}}
	res, err := measure.Cook(in, "cooking_loss")
	if err != nil {
		t.Fatal(err)
	}
	r, ok := res.Get("cooking_loss")
	// u = (100/m0) √(u1² + (m1/m0)² u0²), each u of 0.1 oz/√12 and 0.3 g.
	each := math.Hypot(0.1*oz/math.Sqrt(12), 0.3)
	want := 100 / (10.6 * oz) * math.Hypot(each, each*9/10.6)
	if !ok || math.Abs(r.StdU-want) > 1e-6 {
		t.Errorf("u is %.5f %%, want %.5f", r.StdU, want)
	}
	if !slices.ContainsFunc(r.Notes, func(n fault.Note) bool { return n.Code == "scale-unstated" && strings.Contains(n.Text, "0.1 oz") }) {
		t.Errorf("nothing tells what was assumed: %v", r.Notes)
	}
}

func TestRepeatsInsideAPieceCountAsOne(t *testing.T) {
	in := cook()
	in.Cook.Readings = []study.Reading{{Response: "shear", Kind: study.Number, Unit: "N", Values: []float64{30, 34, 32, 36, 28, 32}}}
	res, err := measure.Cook(in, "shear")
	if err != nil {
		t.Fatal(err)
	}
	r, _ := res.Get("shear")
	if r.Value != 32 || r.Repeats != 6 || math.Abs(r.SpreadSD-math.Sqrt(8)) > 1e-12 || math.Abs(r.StdU-math.Sqrt(8.0/6)) > 1e-12 {
		t.Errorf("got %+v", r)
	}
}

func TestWhatIsMissingIsSaid(t *testing.T) {
	bare := measure.Input{Cook: study.Cook{Label: "c1"}}
	for name, why := range map[string]string{
		"cooking_loss": "there is no raw mass",
		"core_at_pull": "there is no core channel and fewer than three depth channels",
		"pan_mean":     "no pan temperature was recorded",
		"crunch":       "no reading of crunch was typed in for this cook",
	} {
		res, err := measure.Cook(bare, name)
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Absent) != 1 || res.Absent[0].Why != why {
			t.Errorf("%s: %+v, want %q", name, res.Absent, why)
		}
	}
	if _, err := measure.Cook(cook(), "time_to_core"); err == nil {
		t.Error("time_to_core without a target must be refused")
	}
}

// Shifting every sensor by the same amount moves temperatures by it and
// leaves differences and times from the pull alone.
func TestCarryoverIgnoresACommonOffset(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		off := float64(rapid.IntRange(-30, 30).Draw(t, "tenths")) / 10
		in := cook()
		in.Traces = []trace.Trace{channel("core", trace.Core, -60, 1700, func(s float64) float64 { return core(s) + off })}
		res, err := measure.Cook(in, "carryover", "core_peak", "time_to_peak")
		if err != nil {
			t.Fatal(err)
		}
		c, _ := res.Get("carryover")
		p, _ := res.Get("core_peak")
		if math.Abs(c.Value-5) > 0.12 || math.Abs(p.Value-60-off) > 0.06 {
			t.Fatalf("offset %v: carryover %v, peak %v", off, c.Value, p.Value)
		}
	})
}

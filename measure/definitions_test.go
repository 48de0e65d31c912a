package measure_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// others reads a response of a cook by its other definitions.
func others(t *testing.T, in measure.Input, name string) map[string]measure.Other {
	t.Helper()
	in.Others = true
	res, err := measure.Cook(in, name)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]measure.Other{}
	for _, o := range res.Others {
		if o.Response != name {
			t.Errorf("%s among those of %s", o.Response, name)
		}
		out[o.Definition] = o
	}
	return out
}

func TestOtherDefinitionsFollowTheirWords(t *testing.T) {
	for _, tc := range []struct {
		response, definition string
		want, tol            float64
	}{
		// The core rises 0.05 K/s: two kelvins are 40 s.
		{"time_to_core(50 °C)", "target-lower", 860, 2},
		{"time_to_core(50 °C)", "target-higher", 940, 2},
		{"cooking_loss", "with-rest", 14, 1e-9},
		{"rest_loss", "of-pulled", 100 * 10.0 / 225, 1e-9},
		// 205 − 25 e^(−t/100) from 60 s to 1000 s: 25·100·e^(−0.6)/940 below.
		{"pan_mean", "after-1-min", 205 - 2500*(math.Exp(-.6)-math.Exp(-10))/940, 0.1},
		{"pan_sag", "within-1-min", 25, 0.2},
	} {
		t.Run(tc.response+" "+tc.definition, func(t *testing.T) {
			o, ok := others(t, cook(), tc.response)[tc.definition]
			if !ok || o.Why != "" || math.Abs(o.Value-tc.want) > tc.tol {
				t.Errorf("%+v, want %v ± %v", o, tc.want, tc.tol)
			}
		})
	}
}

// A flat face at 80 °C and a core at 60 °C, straight in between: within ±b
// lies b/20 of the way, twice over the thickness.
func straightCook() measure.Input {
	in := cook()
	in.Traces = nil
	for i, c := range []float64{80, 75, 70, 65, 60, 65, 70, 75, 80} {
		tr := channel(string(rune('a'+i)), trace.Depth, -60, 1700, func(float64) float64 { return c })
		tr.Channel.DepthM = 0.03 * float64(i) / 8
		in.Traces = append(in.Traces, tr)
	}
	return in
}

func TestEvenShareWithinOtherBands(t *testing.T) {
	in := straightCook()
	res, err := measure.Cook(in, "even_share")
	if err != nil {
		t.Fatal(err)
	}
	own, _ := res.Get("even_share")
	got := others(t, in, "even_share")
	narrow, broad := got["within-3-k"], got["within-8-k"]
	if math.Abs(own.Value-25) > 3 || math.Abs(narrow.Value-15) > 4 || math.Abs(broad.Value-40) > 4 {
		t.Errorf("within 5 K %.1f %%, 3 K %.1f %%, 8 K %.1f %%; want about 25, 15 and 40", own.Value, narrow.Value, broad.Value)
	}
	// Nothing changes with time: at serving it is as at the pull.
	if served := got["at-serving"]; math.Abs(served.Value-own.Value) > 0.5 {
		t.Errorf("at serving %.2f %%, at the pull %.2f %%", served.Value, own.Value)
	}
}

func TestOneSensorHasNoColdest(t *testing.T) {
	o := others(t, cook(), "core_at_pull")["coldest-sensor"]
	if !strings.Contains(o.Why, "one sensor alone") {
		t.Errorf("%+v", o)
	}
}

func TestColdestOfSeveralSensors(t *testing.T) {
	in := cook()
	in.Traces = append(in.Traces, channel("beside", trace.Core, -60, 1700, func(t float64) float64 { return core(t) - 3 }))
	res, _ := measure.Cook(in, "core_at_pull")
	if r, _ := res.Get("core_at_pull"); math.Abs(r.Value-53.5) > 0.1 { // the mean of both
		t.Fatalf("core at pull %v", r.Value)
	}
	if o := others(t, in, "core_at_pull")["coldest-sensor"]; math.Abs(o.Value-52) > 0.1 {
		t.Errorf("%+v, want 52", o)
	}
}

func TestMedianOfRepeats(t *testing.T) {
	in := cook()
	in.Cook.Readings = []study.Reading{{Response: "shear", Unit: "N", Kind: study.Number, Values: []float64{30, 31, 32, 33, 74}},
		{Response: "grade", Kind: study.Grade, Values: []float64{1, 2, 3}}, {Response: "cooking_loss", Unit: "%", Values: []float64{12}}}
	if o := others(t, in, "shear")["median"]; o.Value != 32 { // the mean is 40
		t.Errorf("%+v", o)
	}
	for _, name := range []string{"grade", "cooking_loss"} { // no median of grades; typed once, no rest to add
		if o := others(t, in, name); len(o) != 0 {
			t.Errorf("%s: %+v", name, o)
		}
	}
}

// What is asked for beside a response changes nothing of the response.
func TestOtherDefinitionsLeaveTheResponseAlone(t *testing.T) {
	in := straightCook()
	in.Cook.Readings = nil
	plain, err := measure.Cook(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Others = true
	with, err := measure.Cook(in)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range plain.Responses {
		w := with.Responses[i]
		if r.Name != w.Name || r.Value != w.Value || r.StdU != w.StdU {
			t.Errorf("%s: %v ± %v, with others %v ± %v", r.Name, r.Value, r.StdU, w.Value, w.StdU)
		}
	}
	if len(with.Others) == 0 {
		t.Error("no other definition was read")
	}
}

func TestDefinitionsAreNamedOnce(t *testing.T) {
	for _, r := range study.Responses() {
		name := r.ID
		if r.Target {
			name += "(60 °C)"
		}
		var seen []string
		for _, d := range measure.Definitions(name) {
			if d.Says == "" || slices.Contains(seen, d.ID) {
				t.Errorf("%s: %+v", name, d)
			}
			seen = append(seen, d.ID)
		}
	}
	if d := measure.Definitions("lethality"); len(d) != 0 {
		t.Errorf("lethality may be read as %+v: it rests on the coldest estimate alone", d)
	}
}

package measure_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"trivet/fault"
	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// held is a core held at tC for twelve minutes from heat on.
func held(tC float64) measure.Input {
	in := cook()
	in.Foods = study.Foods{Animal: "beef"}
	in.Piece = study.Piece{}
	in.Traces = []trace.Trace{channel("core", trace.Core, 0, 720, func(float64) float64 { return tC })}
	in.Traces[0].Channel.Class = "T special"
	return in
}

// Twelve minutes at 60 °C give 720/106.2 = 6.78 by the D and z fitted to the
// meat table (USDA FSIS, Revised Appendix A, December 2021, Table 2).
func TestLethalityOfAHeldCore(t *testing.T) {
	res, err := measure.Cook(held(60), "lethality")
	if err != nil {
		t.Fatal(err)
	}
	r, ok := res.Get("lethality")
	if !ok || math.Abs(r.Value-720/106.2) > 0.01 || r.Unit != "log10" {
		t.Fatalf("%+v %+v", r, res.Absent)
	}
	// One kelvin more is 10^(1/5.56) = 1.51 times as much, so the interval is
	// uneven: T special is ±0.5 K, u = 0.29 K, k = 2.
	low, high := r.Interval()
	f := math.Pow(10, 2*0.29/5.56)
	if math.Abs(low-r.Value/f) > 0.15*r.Value || math.Abs(high-r.Value*f) > 0.15*r.Value || r.Value-low >= high-r.Value {
		t.Errorf("%v in %v to %v, want %v to %v", r.Value, low, high, r.Value/f, r.Value*f)
	}
	if !slices.ContainsFunc(r.Notes, func(n fault.Note) bool {
		return strings.Contains(n.Text, "local food code") && strings.Contains(n.Text, "fitted here to USDA FSIS")
	}) {
		t.Errorf("%+v", r.Notes)
	}
}

func TestLethalityCountsTheColdestPoint(t *testing.T) {
	in := held(60)
	in.Traces = append(in.Traces, channel("d10", trace.Depth, 0, 720, func(float64) float64 { return 58 }))
	in.Traces[1].Channel.DepthM = 0.010
	res, _ := measure.Cook(in, "lethality")
	r, _ := res.Get("lethality")
	if want := 720 / 106.2 * math.Pow(10, -2/5.56); math.Abs(r.Value-want) > 0.02 {
		t.Errorf("%v, want %v", r.Value, want)
	}
}

func TestLethalityEarnsNothing(t *testing.T) {
	for _, tc := range []struct {
		name  string
		spoil func(*measure.Input)
		want  float64
	}{
		{"below the table's first row", func(in *measure.Input) { *in = held(54) }, 0},
		{"across a gap", func(in *measure.Input) {
			tr := &in.Traces[0]
			tr.TimesUS, tr.Counts = slices.Delete(tr.TimesUS, 180, 541), slices.Delete(tr.Counts, 180, 541)
		}, (179 + 179) / 106.2},
		{"before heat on", func(in *measure.Input) { in.Cook.ZeroUS = 360e6 }, 360 / 106.2},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := held(60)
			tc.spoil(&in)
			res, err := measure.Cook(in, "lethality")
			if err != nil {
				t.Fatal(err)
			}
			if r, ok := res.Get("lethality"); !ok || math.Abs(r.Value-tc.want) > 0.02 {
				t.Errorf("%v %v, want %v", r.Value, res.Absent, tc.want)
			}
		})
	}
}

// There is no default: a food that no table holds gives no number.
func TestLethalityNeedsAFood(t *testing.T) {
	for _, animal := range []string{"", "duck", "none"} {
		in := held(60)
		in.Foods.Animal = animal
		in.Asked = []string{"lethality"}
		res, err := measure.Cook(in)
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := res.Get("lethality"); ok || !slices.ContainsFunc(res.Absent, func(a measure.Absent) bool { return a.Name == "lethality" && a.Fix != "" }) {
			t.Errorf("%q: %+v", animal, res.Absent)
		}
	}
}

// Without names what the study's questions ask is measured too, and told
// where it is missing.
func TestWhatIsAskedIsMeasured(t *testing.T) {
	in := cook()
	in.Asked = []string{"time_to_core(50 °C)", "shear", "cooking_loss"}
	res, err := measure.Cook(in)
	if err != nil {
		t.Fatal(err)
	}
	if r, ok := res.Get("time_to_core(50 °C)"); !ok || math.Abs(r.Value-900) > 2 {
		t.Errorf("%+v", r)
	}
	if len(res.Absent) != 1 || res.Absent[0].Name != "shear" {
		t.Errorf("%+v", res.Absent)
	}
	seen := map[string]bool{}
	for _, r := range res.Responses {
		if seen[r.Name] {
			t.Errorf("%s twice", r.Name)
		}
		seen[r.Name] = true
	}
}

package measure_test

import (
	"math"
	"slices"
	"testing"

	"trivet/measure"
	"trivet/quantity"
	"trivet/study"
	"trivet/trace"
)

// controlledStudy holds what a study may control, and one question.
func controlledStudy() *study.Study {
	return &study.Study{
		Questions: []study.Question{{ID: "loss", Response: "cooking_loss"}, {ID: "time", Response: "time_to_core(45 °C)"}},
		Controlled: []study.Control{
			{Name: "thickness", Kind: quantity.KindLength, Value: 0.030, Tolerance: 0.001, Text: "30 mm ± 1 mm"},
			{Name: "start", Kind: quantity.KindTemperature, Value: 5, Tolerance: 1, Text: "5 °C ± 1 °C"},
			{Name: "pan", Kind: quantity.KindTemperature, Value: 205, Tolerance: 10, Text: "205 °C ± 10 °C"},
		},
	}
}

func sound() measure.Input {
	in := cook()
	for i := range in.Traces {
		in.Traces[i].Channel.Class = "T special"
	}
	in.Traces[1] = channel("pan", trace.Pan, -60, 1700, func(float64) float64 { return 205 })
	in.Traces[1].Channel.Class = "K class 1"
	in.Traces = append(in.Traces, channel("d10", trace.Depth, -60, 1700, core))
	in.Traces[2].Channel.DepthM, in.Traces[2].Channel.Class = 0.010, "T special"
	return in
}

func TestQualityOfASoundCook(t *testing.T) {
	if f := measure.Quality(sound(), controlledStudy()); len(f) != 0 {
		t.Errorf("%+v", f)
	}
}

func TestQualityFindsWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		name, code string
		severity   measure.Severity
		value      float64
		spoil      func(*measure.Input)
	}{
		{"a gap across the pull", "gap", measure.QualityDoubt, 41, func(in *measure.Input) {
			tr := &in.Traces[0]
			tr.TimesUS, tr.Counts = slices.Delete(slices.Clone(tr.TimesUS), 1040, 1080), slices.Delete(slices.Clone(tr.Counts), 1040, 1080)
		}},
		{"a gap where the core passes its target", "gap-at-crossing", measure.QualityDoubt, 41, func(in *measure.Input) {
			tr := &in.Traces[0]
			i := slices.IndexFunc(tr.Counts, func(c int64) bool { return c >= 450 })
			tr.TimesUS, tr.Counts = slices.Delete(slices.Clone(tr.TimesUS), i-20, i+20), slices.Delete(slices.Clone(tr.Counts), i-20, i+20)
		}},
		{"a stuck sensor", "flat-line", measure.QualityDoubt, 199, func(in *measure.Input) {
			for i := 400; i < 600; i++ {
				in.Traces[0].Counts[i] = in.Traces[0].Counts[400]
			}
			in.Traces[0].Counts[600] = in.Traces[0].Counts[599] + 100
		}},
		{"a spike", "spike", measure.QualityNote, 20, func(in *measure.Input) { in.Traces[0].Counts[700] += 200 }},
		{"a core in °F", "core-impossible", measure.QualityDoubt, math.NaN(), func(in *measure.Input) {
			for i := range in.Traces[0].Counts {
				in.Traces[0].Counts[i] = in.Traces[0].Counts[i]*18/10 + 320
			}
		}},
		{"sensors apart", "sensors-disagree", measure.QualityDoubt, 2, func(in *measure.Input) {
			for i := range in.Traces[2].Counts {
				in.Traces[2].Counts[i] += 20
			}
		}},
		{"a cold pan", "pan-off", measure.QualityBreach, 300, func(in *measure.Input) {
			for i := 100; i < 400; i++ {
				in.Traces[1].Counts[i] = 1900
			}
		}},
		{"a thin piece", "thickness-outside", measure.QualityBreach, .028, func(in *measure.Input) { in.Piece.ThicknessM = []float64{.030, .028} }},
		{"a warm start", "start-outside", measure.QualityBreach, 12, func(in *measure.Input) { v := 12.0; in.Piece.StartC = &v }},
		{"not weighed", "weighing-missing", measure.QualityBreach, 0, func(in *measure.Input) { in.Cook.Weighings = in.Cook.Weighings[:1] }},
		{"a heavier piece", "mass-gained", measure.QualityDoubt, 10, func(in *measure.Input) { in.Cook.Weighings[2].MassG = 235 }},
		{"no heat-on mark", "no-heat-on", measure.QualityDoubt, 0, func(in *measure.Input) { in.Cook.ZeroSet = false }},
		{"a mark after the log", "mark-outside", measure.QualityDoubt, 0, func(in *measure.Input) { in.Cook.Marks[1].AtUS = 3000e6 }},
		{"two clocks", "clocks-mixed", measure.QualityDoubt, 0, func(in *measure.Input) { in.Traces[1].Elapsed = false }},
		{"an unknown sensor", "sensor-unchecked", measure.QualityNote, 0, func(in *measure.Input) { in.Traces[0].Channel.Class = "" }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := sound()
			tc.spoil(&in)
			found := measure.Quality(in, controlledStudy())
			i := slices.IndexFunc(found, func(f measure.Finding) bool { return string(f.Code) == tc.code })
			if i < 0 {
				t.Fatalf("%+v", found)
			}
			f := found[i]
			if f.Severity != tc.severity || f.Text == "" || !math.IsNaN(tc.value) && math.Abs(f.Value-tc.value) > 1.01 {
				t.Errorf("%+v", f)
			}
		})
	}
}

func TestWhatAFindingTouches(t *testing.T) {
	core, pan := measure.Finding{Code: "gap", Place: trace.Core}, measure.Finding{Code: "flat-line", Place: trace.Pan}
	for _, tc := range []struct {
		name     string
		finding  measure.Finding
		response string
		typed    bool
		want     bool
	}{
		{"a gap in the core, its peak", core, "core_peak", false, true},
		{"a gap in the core, a time to it", core, "time_to_core(50 °C)", false, true},
		{"a gap in the core, a weighed loss", core, "cooking_loss", false, false},
		{"a gap in the core, a typed reading", core, "shear", true, false},
		{"a gap in the core, a typed core", core, "core_peak", true, false},
		{"a stuck pan sensor, the pan", pan, "pan_mean", false, true},
		{"a stuck pan sensor, the core", pan, "core_peak", false, false},
		{"a pan off its set point, a typed reading", measure.Finding{Code: "pan-off", Place: trace.Pan}, "shear", true, true},
		{"a piece too thin, a loss", measure.Finding{Code: "thickness-outside"}, "cooking_loss", false, true},
		{"clocks apart, a time", measure.Finding{Code: "clocks-apart"}, "time_to_core(50 °C)", false, true},
		{"clocks apart, a loss", measure.Finding{Code: "clocks-apart"}, "cooking_loss", false, false},
		{"one response named, that", measure.Finding{Code: "weighing-missing", Responses: []string{"rest_loss"}}, "rest_loss", false, true},
		{"one response named, another", measure.Finding{Code: "weighing-missing", Responses: []string{"rest_loss"}}, "cooking_loss", false, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := tc.finding.Touches(tc.response, tc.typed); got != tc.want {
				t.Errorf("%v", got)
			}
		})
	}
}

// A typed heat-on stands; a missing one is read from the traces.
func TestMarksAreOfferedAndTaken(t *testing.T) {
	in := sound()
	if m := measure.OfferMarks(in); slices.ContainsFunc(m, func(m study.Mark) bool { return m.Kind == study.HeatOn || m.Kind == study.OffHeat }) {
		t.Errorf("offered over what was entered: %+v", m)
	}
	// The log began 60 s before heat on, and nobody marked it.
	in.Cook.ZeroSet, in.Cook.Marks = false, []study.Mark{{Kind: study.OffHeat, AtUS: 1060e6}}
	for i := range in.Traces {
		for k := range in.Traces[i].TimesUS {
			in.Traces[i].TimesUS[k] += 60e6
		}
	}
	offered := measure.OfferMarks(in)
	i := slices.IndexFunc(offered, func(m study.Mark) bool { return m.Kind == study.HeatOn })
	if i < 0 || math.Abs(float64(offered[i].AtUS)-60e6) > 25e6 || offered[i].Source != "detected" {
		t.Fatalf("%+v", offered)
	}
	on := offered[i].AtUS
	c := measure.AcceptMarks(in, offered[i:i+1])
	if !c.ZeroSet || c.ZeroUS != on || len(c.Marks) != 2 || c.Marks[0].AtUS != 0 || c.Marks[1].AtUS != 1060e6-on {
		t.Errorf("%+v", c)
	}
	if in.Cook.ZeroSet || in.Cook.Marks[0].AtUS != 1060e6 {
		t.Error("the record itself was changed")
	}
}

func BenchmarkQuality(b *testing.B) {
	in, s := sound(), controlledStudy()
	for i := range 6 {
		t := in.Traces[2]
		t.Channel.ID += string(rune('a' + i))
		in.Traces = append(in.Traces, t)
	}
	b.ReportAllocs()
	for b.Loop() {
		measure.Quality(in, s)
	}
}

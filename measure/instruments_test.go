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

// Two points by hand: reads 0.4 in ice and 98.9 where water boils at 98.31 °C
// (500 m, 954.61 hPa by the ICAO atmosphere, IAPWS saturation line): 55.0
// means (54.6)(98.31/98.5) = 54.49 °C.
func TestTwoPointCheck(t *testing.T) {
	c, ok := measure.CheckOf(study.Instrument{ID: "p", IceC: []float64{0.4}, BoilC: []float64{98.9}, AltitudeM: 500})
	if !ok || math.Abs(c.HighC-98.31) > 0.02 || math.Abs(c.At(55)-54.49) > 0.01 {
		t.Errorf("%+v: 55 → %.3f", c, c.At(55))
	}
	// Boiling points by altitude, from the same atmosphere and line.
	for m, want := range map[float64]float64{0: 99.97, 1000: 96.65, 1609: 94.62, 3000: 89.97} {
		c, _ := measure.CheckOf(study.Instrument{BoilC: []float64{95}, AltitudeM: m})
		if math.Abs(c.LowC-want) > 0.015 {
			t.Errorf("%g m: boils at %.3f °C, want %.2f", m, c.LowC, want)
		}
	}
	if _, ok := measure.CheckOf(study.Instrument{ID: "bare"}); ok {
		t.Error("no check makes no correction")
	}
	// One point corrects by an offset, and is less sure far from it.
	one, _ := measure.CheckOf(study.Instrument{IceC: []float64{0.3, 0.5}})
	if math.Abs(one.At(60)-59.6) > 1e-9 || one.U(60) <= one.U(0) {
		t.Errorf("%+v", one)
	}
}

func TestInstrumentsCorrectTheirChannels(t *testing.T) {
	in := cook()
	in.Traces[0].Channel.Sensor = "probe-1"
	in.Instruments = []study.Instrument{{ID: "probe-1", Class: "T special", IceC: []float64{0.5, 0.5, 0.5}}}
	res, err := measure.Cook(in, "core_at_pull", "carryover")
	if err != nil {
		t.Fatal(err)
	}
	core, _ := res.Get("core_at_pull")
	rise, _ := res.Get("carryover")
	if math.Abs(core.Value-54.5) > 0.06 || math.Abs(rise.Value-5) > 0.1 || !core.SensorChecked {
		t.Errorf("core %.2f, carryover %.2f, %+v", core.Value, rise.Value, core.Budget)
	}
	text := ""
	for _, n := range res.Notes {
		text += n.Text
	}
	if !strings.Contains(text, "probe-1 reads 0.50 °C in ice") {
		t.Error(text)
	}
	if v, _ := in.Traces[0].Value(0); v != 5-3 && v != 2 {
		t.Errorf("the trace itself was changed: %v", v)
	}
}

// A probe with τ = 6 s in a ramp of 0.1 K/s lags 0.6 K behind.
func TestLagAndStem(t *testing.T) {
	var ts, truth, read []float64
	r := 0.0
	for i := range 400 {
		x := float64(i) / 2
		ts, truth = append(ts, x), append(truth, 0.1*x)
		r += (0.1*x - r) * (1 - math.Exp(-0.5/6))
		read = append(read, r)
	}
	if lag := truth[399] - read[399]; math.Abs(lag-0.6) > 0.06 {
		t.Fatalf("lag %.3f", lag)
	}
	out, err := measure.LagCorrected(ts, read, 6)
	if err != nil || math.Abs(out[300]-truth[300]) > 0.05 {
		t.Errorf("%.3f, want %.3f: %v", out[300], truth[300], err)
	}
	if _, err := measure.LagCorrected(ts, read, 0); err == nil {
		t.Error("no time constant")
	}
	// A steel probe of 3 mm (k 16) in meat (h about 200 W/m²K): m = 129/m, so
	// that 40 mm leave 1/cosh(5.16) = 1.1 %.
	if s := measure.StemError(0.040, 0.003, 16, 200); math.Abs(s-0.0114) > 0.0003 {
		t.Errorf("%.4f", s)
	}
}

// lagged is the core of cook() as a sensor with a time constant reads it.
func lagged(tauS float64) measure.Input {
	in := cook()
	in.Piece = study.Piece{}
	r := core(-60)
	in.Traces[0] = channel("core", trace.Core, -60, 1700, func(t float64) float64 {
		r += (core(t) - r) * (1 - math.Exp(-1/tauS))
		return r
	})
	in.Traces[0].Channel.Sensor, in.Traces[0].Channel.Class = "probe-1", "T special"
	return in
}

// A time constant of 20 s leaves a core that rises 0.05 K/s one kelvin behind;
// the register's constant undoes that, is noted and budgeted, and leaves the
// trace alone.
func TestLagIsCorrectedWhereTheRegisterAsks(t *testing.T) {
	in := lagged(20)
	before := slices.Clone(in.Traces[0].Counts)
	plain, _ := measure.Cook(in, "core_at_pull")
	in.Instruments = []study.Instrument{{ID: "probe-1", LagS: 20}}
	res, err := measure.Cook(in, "core_at_pull")
	if err != nil {
		t.Fatal(err)
	}
	was, _ := plain.Get("core_at_pull")
	is, _ := res.Get("core_at_pull")
	if math.Abs(was.Value-54) > 0.1 || math.Abs(is.Value-55) > 0.15 {
		t.Errorf("%.2f, corrected %.2f", was.Value, is.Value)
	}
	i := slices.IndexFunc(is.Budget, func(s measure.Source) bool { return strings.Contains(s.Name, "lag") })
	if i < 0 || math.Abs(is.Budget[i].StdU-0.2*20*0.05) > 0.05 {
		t.Errorf("%+v", is.Budget)
	}
	if !slices.ContainsFunc(res.Notes, func(n fault.Note) bool { return n.Code == "sensor-lag-corrected" }) {
		t.Errorf("%+v", res.Notes)
	}
	if !slices.ContainsFunc(measure.Quality(in, nil), func(f measure.Finding) bool { return f.Code == "sensor-lag-corrected" }) {
		t.Error("the quality report does not list it")
	}
	if !slices.Equal(before, in.Traces[0].Counts) {
		t.Error("the trace was changed")
	}
}

// A correction upwards earns no lethality.
func TestLagEarnsNoLethality(t *testing.T) {
	in := lagged(20)
	in.Foods = study.Foods{Animal: "pork"}
	plain, _ := measure.Cook(in, "lethality")
	in.Instruments = []study.Instrument{{ID: "probe-1", LagS: 20}}
	res, _ := measure.Cook(in, "lethality")
	was, _ := plain.Get("lethality")
	is, ok := res.Get("lethality")
	if !ok || !(is.Value > 0) || is.Value > was.Value*(1+1e-9) {
		t.Errorf("%v, with the correction %v", was.Value, is.Value)
	}
}

// A stem that brings 5 % of the difference to a handle at 25 °C makes a core
// at 55 °C read 53.5 °C.
func TestHeatAlongTheStemIsCorrected(t *testing.T) {
	stem := &study.Stem{LengthM: 0.028, DiameterM: 0.003, ConductivityWMK: 16, FilmWM2K: 209}
	share := measure.StemError(stem.LengthM, stem.DiameterM, stem.ConductivityWMK, stem.FilmWM2K)
	in := cook()
	in.Piece = study.Piece{}
	in.Traces[0] = channel("core", trace.Core, -60, 1700, func(t float64) float64 { return core(t) + share*(25-core(t)) })
	in.Traces[0].Channel.Sensor = "probe-1"
	in.Instruments = []study.Instrument{{ID: "probe-1", Class: "T special", Stem: stem}}

	res, _ := measure.Cook(in, "core_at_pull")
	if r, _ := res.Get("core_at_pull"); math.Abs(r.Value-55+30*share) > 0.1 || !slices.ContainsFunc(res.Notes, func(n fault.Note) bool { return n.Code == "sensor-stem-left" }) {
		t.Errorf("without a handle's temperature: %.2f %+v", r.Value, res.Notes)
	}
	in.Traces = append(in.Traces, channel("room", trace.Air, -60, 1700, func(float64) float64 { return 25 }))
	res, _ = measure.Cook(in, "core_at_pull")
	r, _ := res.Get("core_at_pull")
	i := slices.IndexFunc(r.Budget, func(s measure.Source) bool { return strings.Contains(s.Name, "stem") })
	if math.Abs(r.Value-55) > 0.1 || i < 0 || math.Abs(r.Budget[i].StdU-0.5*30*share/math.Sqrt(3)) > 0.01 {
		t.Errorf("%.2f %+v", r.Value, r.Budget)
	}
}

// The quality report judges the register by the cook that used it.
func TestQualityOfInstruments(t *testing.T) {
	for _, tc := range []struct {
		name, code string
		tool       study.Instrument
		severity   measure.Severity
	}{
		{"another sensor than the register's", "sensor-unlisted", study.Instrument{ID: "probe-2"}, measure.QualityNote},
		{"far off in ice", "check-far", study.Instrument{ID: "probe-1", IceC: []float64{3.1}}, measure.QualityDoubt},
		{"ice and boiling water alike", "check-refused", study.Instrument{ID: "probe-1", IceC: []float64{0.1}, BoilC: []float64{12}}, measure.QualityDoubt},
		{"checked a year ago", "check-old", study.Instrument{ID: "probe-1", Checked: "2025-03-01", IceC: []float64{0.1}}, measure.QualityNote},
		{"checked afterwards", "check-old", study.Instrument{ID: "probe-1", Checked: "2026-03-04", IceC: []float64{0.1}}, measure.QualityNote},
		{"corrected by its check", "sensor-corrected", study.Instrument{ID: "probe-1", IceC: []float64{0.1}}, measure.QualityNote},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := cook()
			in.Cook.Day = "2026-03-03"
			in.Traces[0].Channel.Sensor = "probe-1"
			in.Instruments = []study.Instrument{tc.tool}
			found := measure.Quality(in, nil)
			i := slices.IndexFunc(found, func(f measure.Finding) bool { return string(f.Code) == tc.code })
			if i < 0 || found[i].Severity != tc.severity {
				t.Errorf("%+v", found)
			}
		})
	}
	in := cook()
	in.Traces[0].Channel.Sensor = "probe-1"
	in.Instruments = []study.Instrument{{ID: "probe-1", Class: "T special"}}
	if slices.ContainsFunc(measure.Quality(in, nil), func(f measure.Finding) bool { return f.Code == "sensor-unchecked" }) {
		t.Error("the register states a class")
	}
}

// Tolerances at temperatures of cooking, as makers tabulate ASTM E230/E230M
// and IEC 60584-1 (thermocouples) and IEC 60751:2022 (platinum); secondary
// sources.
func TestToleranceClasses(t *testing.T) {
	for _, tc := range []struct {
		class       string
		at60, at200 float64 // half widths, K
	}{
		{"T special", 0.5, 0.8}, {"T standard", 1.0, 1.5}, {"T class 1", 0.5, 0.8}, {"T class 2", 1.0, 1.5},
		{"K special", 1.1, 1.1}, {"K standard", 2.2, 2.2}, {"K class 1", 1.5, 1.5}, {"K class 2", 2.5, 2.5},
		{"N special", 1.1, 1.1}, {"N standard", 2.2, 2.2}, {"N class 1", 1.5, 1.5}, {"N class 2", 2.5, 2.5},
		{"J special", 1.1, 1.1}, {"J standard", 2.2, 2.2},
		{"Pt AA", 0.202, 0.44}, {"Pt A", 0.27, 0.55}, {"Pt B", 0.6, 1.3}, {"thermistor", 0.2, 0.2},
	} {
		if !slices.Contains(study.SensorClasses(), tc.class) {
			t.Errorf("%s is not a class of the study document", tc.class)
		}
		for at, want := range map[float64]float64{60: tc.at60, 200: tc.at200} {
			in := cook()
			in.Piece = study.Piece{}
			in.Traces[0] = channel("core", trace.Core, -60, 1700, func(float64) float64 { return at })
			in.Traces[0].Channel.Class = tc.class
			res, err := measure.Cook(in, "core_at_pull")
			if err != nil {
				t.Fatal(err)
			}
			r, _ := res.Get("core_at_pull")
			if got := r.Budget[0].StdU * math.Sqrt(3); math.Abs(got-want) > 1e-9 || r.Budget[0].Name != "sensor, class "+tc.class {
				t.Errorf("%s at %g °C: %+v, want ±%g K", tc.class, at, r.Budget[0], want)
			}
		}
	}
	if n := len(study.SensorClasses()); n != 18 {
		t.Errorf("%d classes, 18 are tested", n)
	}
}

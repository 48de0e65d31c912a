package measure_test

import (
	"math"
	"strings"
	"testing"

	"trivet/measure"
	"trivet/study"
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

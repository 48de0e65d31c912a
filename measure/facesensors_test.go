package measure

import (
	"math"
	"strings"
	"testing"

	"trivet/study"
	"trivet/trace"
)

// Where a sensor on a face is known worse than those inside, what is read at
// the faces is no better known than it.
func TestSensorsOnFacesEnterTheirBudgets(t *testing.T) {
	inside := trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegC, Class: "T special"}
	face := trace.Channel{ID: "surface-a", Place: trace.Surface, Unit: trace.DegC, Class: "K standard"}
	v := &view{all: []series{{ch: inside, timeS: []float64{0}}, {ch: face, timeS: []float64{0}}}}
	if got, want := v.worstCalibration(inside, 60), calibration(face, 60); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	v.all[1].ch.Class = "Pt A"
	if got, want := v.worstCalibration(inside, 60), calibration(inside, 60); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// The share that is about as warm as the core reaches towards the faces: what
// the class of their sensors leaves open stands in its budget, and goes when
// they are checked.
func TestFaceSensorsEnterTheEvenShare(t *testing.T) {
	c := searedCook(t, "first", 1)
	in := c.input(c.probe(0.3, 1, true))
	line := func() float64 {
		res, err := Cook(in, "even_share")
		if err != nil {
			t.Fatal(err)
		}
		r, ok := res.Get("even_share")
		if !ok {
			t.Fatal(res.Absent)
		}
		for _, s := range r.Budget {
			if strings.HasPrefix(s.Name, "sensors on the faces") {
				return s.StdU
			}
		}
		return 0
	}
	if u := line(); u <= 0 || u > 10 {
		t.Errorf("class not stated: %.2f points", u)
	}
	for i := range in.Traces {
		in.Traces[i].Channel.CheckedUK = 0.1
	}
	if u := line(); u != 0 {
		t.Errorf("checked: %.2f points", u)
	}
}

// Water boils at 95.0 °C at 1500 m (845.6 hPa in the standard atmosphere, ISO
// 2533:1975; that pressure's boiling point by IAPWS-IF97): there 99 °C is dry
// crust.
func TestCrustsFollowTheAltitude(t *testing.T) {
	v := &view{in: Input{Instruments: []study.Instrument{{ID: "scale"}, {ID: "probe", AltitudeM: 1500}}}}
	if got := v.boilingC(); math.Abs(got-95.0) > 0.1 {
		t.Errorf("boils at %.2f °C", got)
	}
	if got := (&view{}).boilingC(); got != 0 {
		t.Errorf("no altitude: %g", got)
	}
	const l = 0.030
	sensors := probe(newConvective(l, 1.3e-7, 500, 5, 100).at, l, 0, 0.1, 900, 3, append([]float64{0.0003}, eight...)...)
	for _, c := range []struct {
		boilsC float64
		crust  bool
	}{{0, false}, {95, true}} {
		f, err := newProfileFit(sensors, ProfileOptions{ThicknessM: l, BoilingC: c.boilsC, OffS: math.NaN()})
		if err != nil {
			t.Fatal(err)
		}
		if f.boils != c.crust {
			t.Errorf("boiling at %g °C: crust %t", c.boilsC, f.boils)
		}
	}
}

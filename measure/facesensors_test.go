package measure

import (
	"testing"

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

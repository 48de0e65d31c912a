package measure_test

import (
	"testing"

	"trivet/measure"
)

// Value and expanded uncertainty end at the same place, the uncertainty with
// two significant digits at most (JCGM 100:2008, 7.2.6).
func TestFormatEndsBothNumbersAtOnePlace(t *testing.T) {
	for _, tc := range []struct {
		unit  string
		value float64
		u     float64 // standard uncertainty; k is 2
		want  string
	}{
		{"%", 24.3086, 0.0805, "24.31 ± 0.16 %"},
		{"%", 24.3086, 0.0498, "24.31 ± 0.10 %"}, // U = 0.0996
		{"°C", 55.04, 0.335, "55.04 ± 0.67 °C"},
		{"W", 1234.4, 61.7, "1230 ± 120 W"},
		{"log10", 6.78, 0.9, "6.8 ± 1.8 log10"},
		{"%", -13.953, 0.21, "−13.95 ± 0.42 %"},
		{"%", -0.001, 0.21, "0.00 ± 0.42 %"},
		{"s", 15.0, 0.7, "15.0 s ± 1.4 s"},
		{"s", 752.34, 0.7, "12 min 32.3 s ± 1.4 s"},
		{"s", 752.34, 7, "12 min 32 s ± 14 s"},
		{"s", 720, 7, "12 min 0 s ± 14 s"},
		{"s", 752.34, 65, "12 min 30 s ± 2 min 10 s"},
		{"s", 3725.2, 31, "1 h 2 min 5 s ± 1 min 2 s"},
		{"s", -3.2, 0.7, "−3.2 s ± 1.4 s"},
		{"s", 59.97, 0.7, "1 min 0.0 s ± 1.4 s"},
		{"s", 90, 0, "1 min 30 s"},
		{"N", 41.25, 0, "41.25 N"},
	} {
		r := measure.Response{Unit: tc.unit, Value: tc.value, StdU: tc.u, Budget: []measure.Source{{Name: "x", Type: "B", StdU: tc.u}}}
		if got := r.Format(); got != tc.want {
			t.Errorf("%v, u %v: %q, want %q", tc.value, tc.u, got, tc.want)
		}
	}
}

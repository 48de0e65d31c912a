package figure

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func labels(ts []tick) string {
	out := make([]string, len(ts))
	for i, t := range ts {
		out[i] = t.label
	}
	return strings.Join(out, " ")
}

func TestTicks(t *testing.T) {
	tests := []struct {
		name   string
		m      Measure
		lo, hi float64
		most   int
		want   string
	}{
		{"tens", Measure{}, 0, 50, 6, "0 10 20 30 40 50"},
		{"fives", Measure{Kind: Percent}, 14.2, 28.9, 5, "15 20 25"},
		{"halves", Measure{}, -1, 1, 5, "−1.0 −0.5 0.0 0.5 1.0"},
		{"hundredths", Measure{}, 0.011, 0.049, 5, "0.02 0.03 0.04"},
		{"°F are round in °F", Measure{Kind: Temperature, Degrees: Fahrenheit}, 0, 100, 5, "50 100 150 200"},
		{"differences in °F pass through 0", Measure{Kind: Difference, Degrees: Fahrenheit}, -10, 10, 5, "−10 0 10"},
		{"minutes", Measure{Kind: Duration}, -60, 1500, 7, "0:00 5:00 10:00 15:00 20:00 25:00"},
		{"half minutes", Measure{Kind: Duration}, 0, 125, 6, "0:00 0:30 1:00 1:30 2:00"},
		{"hours", Measure{Kind: Duration}, 0, 4 * 3600, 5, "0:00 1:00:00 2:00:00 3:00:00 4:00:00"},
		{"a change in %", Measure{Kind: LogRatio}, -math.Log(1.3), math.Log(1.3), 7, "−20 −10 0 10 20 30"},
		{"no span", Measure{}, 3, 3, 5, ""},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			got := labels(axis{m: tc.m, lo: tc.lo, hi: tc.hi, to: 100}.ticks(tc.most))
			if got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

// Ticks lie on the axis, never more than asked for, at one step of 1, 2 or 5
// times a power of ten, and no two labels are alike.
func TestTicksAreEven(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e5, 1e5).Draw(t, "lo")
		span := math.Pow(10, rapid.Float64Range(-4, 6).Draw(t, "log span"))
		most := rapid.IntRange(2, 12).Draw(t, "most")
		a := axis{lo: lo, hi: lo + span, to: 500}
		ts := a.ticks(most)
		if len(ts) > most+1 {
			t.Fatalf("%d ticks, asked for %d", len(ts), most)
		}
		seen := map[string]bool{}
		for i, k := range ts {
			if !a.inside(k.v) {
				t.Fatalf("tick %v is off the axis %v to %v", k.v, a.lo, a.hi)
			}
			if seen[k.label] {
				t.Fatalf("label %q twice", k.label)
			}
			seen[k.label] = true
			if i > 0 {
				step := k.v - ts[i-1].v
				mantissa := step / math.Pow(10, math.Floor(math.Log10(step)+1e-4))
				if r := math.Round(mantissa); math.Abs(mantissa-r) > 1e-4 || r != 1 && r != 2 && r != 5 {
					t.Fatalf("step %v is not 1, 2 or 5 times a power of ten", step)
				}
			}
		}
	})
}

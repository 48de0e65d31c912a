package measure

import (
	"math"
	"testing"
)

// The table that stands in for a slow function is as good as the function.
func TestTabulated(t *testing.T) {
	calls := 0
	f := func(x float64) float64 { calls++; return math.Pow(10, x/5.56) }
	g := tabulated(-1.8, 1.8, 200, f)
	for _, x := range []float64{-1.8, -1.2345, -0.001, 0, 0.7, 1.79, 2.5, -9, math.Inf(1)} {
		if got, want := g(x), math.Pow(10, x/5.56); got != want && math.Abs(got/want-1) > 1e-5 {
			t.Errorf("at %g: %g, want %g", x, got, want)
		}
	}
	if calls > 206 {
		t.Errorf("asked %d times", calls)
	}
}

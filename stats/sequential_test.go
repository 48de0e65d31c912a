package stats

import (
	"math"
	"testing"
)

// Values of k for g = 1, α = 0.05, computed independently by direct
// integration of the e-value over the noncentral t density (agreement
// 1.2e-14; mpmath).
func TestConfidenceSequenceRadius(t *testing.T) {
	for n, want := range map[int]float64{5: 8.453, 6: 5.450, 8: 4.251, 10: 3.870, 20: 3.425} {
		if got := ConfidenceSequenceRadius(n, 1, 0.05); math.Abs(got-want) > 5e-4 {
			t.Errorf("n = %d: k = %.4f, want %.3f", n, got, want)
		}
	}
	for n := range 5 {
		if got := ConfidenceSequenceRadius(n, 1, 0.05); !math.IsInf(got, 1) {
			t.Errorf("n = %d: k = %v, want infinite", n, got)
		}
	}
}

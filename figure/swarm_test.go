package figure

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// No two dots of a swarm cover one another, but for those that found every
// lane taken and share the middle.
func TestSwarmKeepsDotsApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SliceOfN(rapid.Float64Range(0, 300), 1, 120).Draw(t, "at")
		const r, half = 3, 40
		off := swarm(at, r, half)
		for i := range at {
			if math.Abs(off[i]) > half {
				t.Fatalf("dot %d lies %v beside the axis, of %v", i, off[i], half)
			}
			for j := range i {
				apart := math.Hypot(at[i]-at[j], off[i]-off[j])
				if apart < 1.959*r && (off[i] != 0 || off[j] != 0) {
					t.Fatalf("dots %d and %d are %v apart, of radius %v", i, j, apart, float64(r))
				}
			}
		}
	})
}

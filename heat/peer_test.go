package heat

import (
	"fmt"
	"testing"
)

// The core on 480 cells at 300, 600, 900 and 1200 s by an independent
// program: testdata/peer/peer.py with SciPy 1.10.1 (solve_ivp, LSODA, rtol
// 1e-9, with boiling 1e-6), NumPy 1.24.2. With boiling it keeps the
// temperature of a boiling cell in the cell's middle, first order in the cell
// width, where this package puts it at the front.
func TestAgainstSciPy(t *testing.T) {
	for _, c := range []struct {
		boil bool
		core [4]float64
		tol  float64
	}{
		{false, [4]float64{8.9686, 29.8405, 53.3812, 74.0863}, 0.005},
		{true, [4]float64{7.8656, 21.8209, 36.6223, 49.1077}, 0.04},
	} {
		r := run(t, peerCook(c.boil), Options{Cells: 240, TolK: 1e-3})
		for i, want := range c.core {
			within(t, fmt.Sprintf("boiling %t: core at %d s", c.boil, 300*(i+1)), r.CoreC[60*(i+1)], want, c.tol)
		}
	}
}

package heat

import (
	"testing"
)

// A reused solver allocates for events and legs only: twenty times the steps
// cost not one allocation more.
func TestTimeLoopDoesNotAllocate(t *testing.T) {
	disc := discCook()
	for _, c := range []struct {
		name string
		spec *Spec
		opt  Options
	}{
		{"slab", panCook(), Options{Cells: 16, TolK: 0.2}},
		{"slab, pure conduction", peerCook(false), Options{Cells: 16, TolK: 0.2}},
		{"disc", disc, Options{Cells: 12, RadialCells: 5, TolK: 0.2}},
	} {
		s, res := NewSolver(), new(Result)
		steps := 0
		count := func(maxStepS float64) float64 {
			opt := c.opt
			opt.MaxStepS = maxStepS
			return testing.AllocsPerRun(3, func() {
				if err := s.RunInto(res, c.spec, opt); err != nil {
					t.Fatal(err)
				}
				steps = res.Stats.Steps
			})
		}
		few := count(60)
		fewSteps := steps
		many := count(1)
		if steps < 5*fewSteps {
			t.Fatalf("%s: %d steps after %d show nothing", c.name, steps, fewSteps)
		}
		if many > few {
			t.Errorf("%s: %v allocations in %d steps, %v in %d", c.name, few, fewSteps, many, steps)
		}
	}
}

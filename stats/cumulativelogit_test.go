package stats

import (
	"math"
	"testing"
)

// Counting the kinds of blocks gives the likelihood of the blocks one by one.
func TestDistinctBlocks(t *testing.T) {
	p := &cumulativeProblem{levels: 4}
	var groups [][]int
	for i := range 300 {
		var rows []int
		for j := range 2 + i%2 { // some blocks have a repeat
			rows = append(rows, len(p.place))
			p.place = append(p.place, (i*7+j*i%5)%4)
			p.x = append(p.x, []float64{float64(j % 2)})
		}
		groups = append(groups, rows)
	}
	p.nodes, p.weight = hermite()
	one, kinds := *p, *p
	one.groups, one.times = groups, make([]float64, len(groups))
	for k := range one.times {
		one.times[k] = 1
	}
	kinds.groups, kinds.times = kinds.distinct(groups)
	if n := len(kinds.groups); n >= len(groups)/2 {
		t.Errorf("%d kinds of %d blocks", n, len(groups))
	}
	for _, par := range [][]float64{{-1, 0, 0.3, 0.5, -0.2}, {-2, 0.4, 0.1, -1, 0.7}} {
		for _, random := range []bool{false, true} {
			one.random, kinds.random = random, random
			a, b := one.logLikelihood(par), kinds.logLikelihood(par)
			if math.Abs(a-b) > 1e-9*math.Abs(a) {
				t.Errorf("at %v, random %v: %.12g one by one, %.12g by kinds", par, random, a, b)
			}
		}
	}
}

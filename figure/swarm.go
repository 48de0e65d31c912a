package figure

import (
	"math"
	"sort"
)

// swarm returns an offset across the axis for each pixel position so that
// dots of radius r do not cover one another, as far as half allows; beyond
// that they share a place. Positions that are not finite get 0.
func swarm(at []float64, r, half float64) []float64 {
	off := make([]float64, len(at))
	order := make([]int, 0, len(at))
	for i, v := range at {
		if finite(v) {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return at[order[i]] < at[order[j]] })
	step := r * 1.1
	// The dots lie in lanes, a step apart. They come in order along the axis,
	// so that only the last of a lane can be in the way of the next, and a
	// lane concerns no lane beyond its neighbours.
	const apart = 2 * 0.98
	lanes := 0
	if half >= 0 && step > 0 {
		lanes = int(half / step)
	}
	last := make([]float64, 2*lanes+1)
	for i := range last {
		last[i] = math.Inf(-1)
	}
	free := func(lane int, x float64) bool {
		for l := max(0, lane-1); l <= min(2*lanes, lane+1); l++ {
			if dx, dy := x-last[l], float64(l-lane)*step; dx < 2*r && dx*dx+dy*dy < apart*apart*r*r {
				return false
			}
		}
		return true
	}
	for _, i := range order {
		lane := lanes
		for n := range 2*lanes + 1 { // the middle first, then outwards on both sides
			k := lanes + (n+1)/2
			if n%2 == 0 {
				k = lanes - n/2
			}
			if free(k, at[i]) {
				lane = k
				break
			}
		}
		last[lane] = at[i]
		off[i] = float64(lane-lanes) * step
	}
	return off
}

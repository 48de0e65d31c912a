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
	for k, i := range order {
		best := 0.0
	search:
		for n := 0; float64((n+1)/2)*step <= half; n++ {
			cand := float64((n+1)/2) * step
			if n%2 == 0 {
				cand = -cand
			}
			for j := k - 1; j >= 0 && at[i]-at[order[j]] < 2*r; j-- {
				if math.Hypot(at[i]-at[order[j]], cand-off[order[j]]) < 2*r*0.98 {
					continue search
				}
			}
			best = cand
			break
		}
		off[i] = best
	}
	return off
}

package trace

import (
	"math"
	"slices"
)

// What a sensor reads besides its noise, K: near a face the food boils and
// dries, out of the piece it may read anything.
const (
	nearFaceK = 1.5 // on a face, falling by e each nearFaceM
	nearFaceM = 0.7e-3
	outsideM  = 0.3e-3 // this far out of the piece it is out
	outsideK  = 20
)

// restOf is what a sensor of a probe reads besides its noise.
func (w wander) restOf(depth, thick float64) float64 {
	x := min(depth, thick-depth)
	if x < -outsideM {
		return outsideK
	}
	if w != touchedWander {
		return w.restK
	}
	return w.restK + nearFaceK*math.Exp(-max(x, 0)/nearFaceM)
}

// facesFrom reads the changes behind a moment at which the probe was moved:
// the slab is known, and how deep the probe stands now shows at once.
func (g *eventGrid) facesFrom(sags []sag) *faced {
	const reachMM = 9
	best := g.follow(g.fits(g.was, reachMM), sags)
	for _, step := range [...]float64{1e-3, 0.5e-3, 0.5e-3} {
		at := best.placement
		for _, by := range [...]float64{-step, step} {
			p := at
			p.shiftM += by
			if f := g.follow(p, sags); f.chance > best.chance {
				best = f
			}
		}
	}
	return best
}

// fits is the placement, up to so many millimetres from what it was, under
// which the slab best tells what the sensors read first.
func (g *eventGrid) fits(was placement, reachMM int) placement {
	thick := g.thickM + was.thickM
	best, least := was, math.Inf(1)
	for half := -2 * reachMM; half <= 2*reachMM; half++ {
		p := was
		p.shiftM += float64(half) * 0.5e-3
		sum := squareOf(float64(half)*0.5e-3/insertionM) / 8
		for _, s := range g.piece {
			d := s.depth
			rest := splashK
			if s.t.Channel.Place == Depth {
				d += p.shiftM
				rest = g.wander.restOf(d, thick)
			}
			// A kelvin of the slab itself is not known after that pause.
			sd := math.Hypot(math.Hypot(s.noise, rest), 1)
			off := average(s.y[:min(3, g.n)]) - slabAt(g.from, thick, d)
			sum += math.Abs(off)/sd + math.Log(sd)
		}
		if sum < least {
			best, least = p, sum
		}
	}
	return best
}

// slabAt is the temperature of a slab's cells at a depth.
func slabAt(x []float64, thick, depth float64) float64 {
	widths := slabCells(thick)
	edge, lowAt, low := 0.0, 0.0, x[len(widths)]
	for i, w := range widths {
		mid := edge + w/2
		if depth <= mid {
			return low + max(depth-lowAt, 0)/(mid-lowAt)*(x[i]-low)
		}
		low, lowAt = x[i], mid
		edge += w
	}
	return low + min((depth-lowAt)/(thick-lowAt), 1)*(x[len(widths)+1]-low)
}

// later is the slab so many steps behind the last, with nothing read.
func (f *faced) later(steps int) []float64 {
	x, next := slices.Clone(f.end), make([]float64, len(f.end))
	for range steps {
		f.slab.step(x, next)
		x, next = next, x
	}
	return x
}

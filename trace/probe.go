package trace

import (
	"fmt"
	"math"
)

// A probe that is moved or pulled shows in all its sensors at once, also in
// those so deep that conduction could not reach them for half a minute.
const (
	probeBlockS = 4   // seconds of each mean compared
	probeRestK  = 0.4 // what conduction and splashes break of the course of a deep sensor, K
	probeFaceK  = 4   // more at a face, falling by e each probeFadeM
	probeFadeM  = 2.5e-3
	probeSigmas = 3   // standard deviations from which a sensor breaks off
	probeLeast  = 55  // least sum of their squares over all sensors
	probeTell   = 3   // sensors that must break off, where there are so many
	probeQuietS = 25  // seconds after a break that belong to it
	probeAloneK = 8   // least break where there is one sensor only
	aloneSure   = 0.2 // most confidence of what one sensor tells: it may have been turned to other heat
	pairSure    = 0.5 // and of two
	probeLaterS = 40  // when what came of it is looked at
)

// handled is a moment at which the probe was touched.
type handled struct {
	at       int
	kind     string
	breakK   float64 // largest break, K
	sensors  []string
	share    float64 // of the sensors inside
	spreadK  float64 // between the sensors afterwards
	shiftedK float64 // of their mean
}

// probeHandled finds where the probe was moved, pulled out or put back.
func (g *eventGrid) probeHandled() []handled {
	var inside []*sensed
	for _, s := range g.piece {
		if s.t.Channel.Place != Surface {
			inside = append(inside, s)
		}
	}
	w := max(2, int(math.Round(probeBlockS/g.dt)))
	if len(inside) == 0 || g.n < 4*w {
		return nil
	}
	limits := make([]float64, len(inside))
	for r, s := range inside {
		x := min(s.depth, g.thickM-s.depth)
		// A break is the difference of three means, of variance 6/w.
		limits[r] = probeSigmas * math.Hypot(probeRestK+probeFaceK*math.Exp(-x/probeFadeM), s.noise*math.Sqrt(6/float64(w)))
		if len(inside) == 1 {
			limits[r] = max(limits[r], probeAloneK)
		}
	}
	block := func(s *sensed, i int) float64 { return average(s.y[i : i+w]) }
	score := func(i int) (sum float64) {
		told, largest := 0, 0.0
		for r, s := range inside {
			if s.nan[i] || s.nan[i-1] {
				continue
			}
			// The course goes on from the two blocks before.
			b := block(s, i) - 2*block(s, i-w) + block(s, i-2*w)
			z := b / limits[r] * probeSigmas
			sum += z * z
			largest = max(largest, z*z)
			if math.Abs(z) > probeSigmas {
				told++
			}
		}
		switch {
		case told < min(probeTell, len(inside)), len(inside) > 1 && largest > 0.8*sum:
			return 0 // those near a face alone
		case len(inside) > 1 && sum < probeLeast:
			return 0
		}
		return sum
	}
	var out []handled
	wasOut := false
	for i := 2 * w; i+w < g.n; i++ {
		size := score(i)
		if size == 0 {
			continue
		}
		top := i
		// The first top: what follows is the course turning back.
		for k := i + 1; k < min(i+2*w, g.n-w) && score(k) >= size; k++ {
			top, size = k, score(k)
		}
		h := g.handledAt(inside, limits, top, w, wasOut)
		if h.kind != "" {
			wasOut = h.kind == ProbeOut
			out = append(out, h)
		}
		i = top + int(probeQuietS/g.dt)
	}
	return out
}

// handledAt tells what came of a break: sensors that read alike afterwards
// are in air.
func (g *eventGrid) handledAt(inside []*sensed, limits []float64, at, w int, wasOut bool) handled {
	h := handled{at: at}
	later := min(at+int(probeLaterS/g.dt), g.n-w)
	lo, hi := math.Inf(1), math.Inf(-1)
	was := [2]float64{math.Inf(1), math.Inf(-1)}
	noise := 0.0
	for r, s := range inside {
		before, after := average(s.y[at-w:at]), average(s.y[later:later+w])
		b := average(s.y[at:at+w]) - 2*before + average(s.y[at-2*w:at-w])
		if math.Abs(b) > limits[r] {
			h.sensors = append(h.sensors, s.t.Channel.ID)
			if math.Abs(b) > math.Abs(h.breakK) {
				h.breakK = b
			}
		}
		h.shiftedK += (after - before) / float64(len(inside))
		lo, hi = min(lo, after), max(hi, after)
		was[0], was[1] = min(was[0], before), max(was[1], before)
		noise = max(noise, s.noise)
	}
	h.share = float64(len(h.sensors)) / float64(len(inside))
	h.spreadK = hi - lo
	alike := h.spreadK < max(2, 0.25*(was[1]-was[0]))+3*noise && math.Abs(h.shiftedK) > 4
	if len(inside) == 1 {
		alike = math.Abs(h.shiftedK) > 15
	}
	switch {
	case wasOut:
		h.kind = ProbeIn
	case alike:
		h.kind = ProbeOut
	default:
		h.kind = ProbeMoved
	}
	return h
}

func average(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// inside counts the sensors that stand in the piece.
func (g *eventGrid) inside() (n int) {
	for _, s := range g.piece {
		if s.t.Channel.Place != Surface {
			n++
		}
	}
	return n
}

// probeEvent offers what was found.
func (g *eventGrid) probeEvent(h handled) Event {
	why := fmt.Sprintf("%d sensors break off their course by up to %.0f K at once", len(h.sensors), math.Abs(h.breakK))
	if len(h.sensors) == 1 {
		why = fmt.Sprintf("%s breaks off its course by %.0f K at once", h.sensors[0], math.Abs(h.breakK))
	}
	switch h.kind {
	case ProbeOut:
		why += " and read alike from then on"
	case ProbeIn:
		why += " after the probe was out"
	}
	sure := confidence(h.kind, h.share*math.Abs(h.breakK))
	switch g.inside() {
	case 1:
		sure = min(sure, aloneSure)
	case 2:
		sure = min(sure, pairSure)
	}
	return Event{Kind: h.kind, AtUS: g.us(h.at), Confidence: sure, Why: why, Channels: h.sensors}
}

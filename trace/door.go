package trace

import (
	"fmt"
	"math"
	"slices"
)

// Air that falls within seconds and comes back within minutes is an open
// door or lid; a thermostat swings slower and both ways.
const (
	doorLeastK = 6   // least fall, K
	doorFallS  = 12  // within which it falls
	doorUsual  = 2   // times the fall that nine in ten moments stay below
	doorBackS  = 420 // within which it comes back
	doorBack   = 0.5 // by this share
)

// doors finds where the air round the piece falls and comes back.
func (g *eventGrid) doors(s *sensed) []Event {
	w := max(2, int(math.Round(doorFallS/g.dt)))
	back := int(math.Round(doorBackS / g.dt))
	short := max(1, int(math.Round(5/g.dt)))
	// How much it swings by itself in that time.
	usual := scatter(s.y)
	var swings []float64
	for i := w + short; i < g.n-short; i += short {
		swings = append(swings, math.Abs(average(s.y[i:i+short])-average(s.y[i-w-short:i-w])))
	}
	if len(swings) == 0 {
		return nil
	}
	slices.Sort(swings)
	least := max(doorLeastK, doorUsual*swings[len(swings)*9/10]) + 5*usual
	var out []Event
	for i := w + short; i < g.n-short; i++ {
		before := average(s.y[i-w-short : i-w])
		low := average(s.y[i : i+short])
		fall := before - low
		if fall < least || s.nan[i] {
			continue
		}
		// Was it falling before at much of that pace?
		if j := i - 2*w - short; j >= 0 && average(s.y[j:j+short])-before > fall/2 {
			continue
		}
		lowest, came := i, false
		for k := i; k < min(i+back, g.n); k++ {
			if s.y[k] < s.y[lowest] {
				lowest = k
			}
			if k > lowest+short && average(s.y[k-short:k]) > low-(before-fall-low)+doorBack*(before-s.y[lowest])-(low-s.y[lowest]) {
				came = true
				i = k
				break
			}
		}
		if !came {
			i = lowest
			continue
		}
		deep := before - s.y[lowest]
		// The fall began where it had a tenth of its depth.
		at := lowest
		for at > 0 && s.y[at] < before-0.1*deep-2*usual {
			at--
		}
		out = append(out, Event{Kind: DoorOpen, AtUS: g.us(at), Confidence: confidence(DoorOpen, deep), Channels: []string{s.t.Channel.ID},
			Why: fmt.Sprintf("%s falls by %.0f K and comes back", s.t.Channel.ID, deep)})
	}
	return out
}

package trace

import (
	"fmt"
	"math"
	"slices"
)

// A sensor on a face that gets wet falls within seconds and comes back; no
// other sensor shares that.
const (
	wetLeastK = 8  // least fall, K
	wetFallS  = 4  // within which it falls
	wetBackS  = 45 // within which it comes back by most of it
	wetAwayS  = 10 // from any event that explains it
)

// wet finds falls of a sensor on a face that no other event explains.
func (g *eventGrid) wet(taken []Event) []Event {
	var out []Event
	w := max(1, int(math.Round(wetFallS/g.dt)))
	back := int(math.Round(wetBackS / g.dt))
	for _, s := range g.piece {
		if s.t.Channel.Place != Surface {
			continue
		}
		for i := w; i < g.n-1; i++ {
			fall := s.y[i-w] - s.y[i]
			if fall < wetLeastK+6*s.noise || s.nan[i] {
				continue
			}
			came, lowest := false, i
			for k := i; k < min(i+back, g.n) && !came; k++ {
				if s.y[k] < s.y[lowest] {
					lowest = k
				}
				came = s.y[k] > s.y[i-w]-0.4*(s.y[i-w]-s.y[lowest])
			}
			at := g.us(i - w)
			explained := slices.ContainsFunc(taken, func(e Event) bool { return abs(e.AtUS-at) < wetAwayS*1e6 })
			if came && !explained {
				deep := s.y[i-w] - s.y[lowest]
				out = append(out, Event{Kind: WetProbe, AtUS: at, Confidence: confidence(WetProbe, deep), Channels: []string{s.t.Channel.ID},
					Why: fmt.Sprintf("%s alone falls by %.0f K within seconds and comes back", s.t.Channel.ID, deep)})
			}
			if came {
				i = max(i, lowest) + back/2
			}
		}
	}
	return out
}

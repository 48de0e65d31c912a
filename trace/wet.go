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

// wetting is a fall of a sensor on a face that came back.
type wetting struct {
	s      *sensed
	at, to int
	deepK  float64
}

// wettings finds falls of a sensor on a face that the other face does not
// answer by a rise.
func (g *eventGrid) wettings() (out []wetting) {
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
			came, lowest, k := false, i, i
			for ; k < min(i+back, g.n) && !came; k++ {
				if s.y[k] < s.y[lowest] {
					lowest = k
				}
				came = s.y[k] > s.y[i-w]-0.4*(s.y[i-w]-s.y[lowest])
			}
			answered := slices.ContainsFunc(g.piece, func(o *sensed) bool {
				return o != s && o.t.Channel.Place == Surface && o.y[lowest]-o.y[i-w] > fall/2
			})
			if came && !answered {
				from := i - w
				for from+1 < i && s.y[from+1] > s.y[i-w]-fall/4 {
					from++
				}
				out = append(out, wetting{s, from, min(k+back/3, g.n-1), s.y[i-w] - s.y[lowest]})
			}
			if came {
				i = max(i, lowest) + back/2
			}
		}
	}
	return out
}

// wet offers the wettings that no other event explains.
func (g *eventGrid) wet(all []wetting, taken []Event) []Event {
	var out []Event
	for _, w := range all {
		us := g.us(w.at)
		if slices.ContainsFunc(taken, func(e Event) bool { return abs(e.AtUS-us) < wetAwayS*1e6 }) {
			continue
		}
		out = append(out, Event{Kind: WetProbe, AtUS: us, Confidence: confidence(WetProbe, w.deepK), Channels: []string{w.s.t.Channel.ID},
			Why: fmt.Sprintf("%s alone falls by %.0f K within seconds and comes back", w.s.t.Channel.ID, w.deepK)})
	}
	return out
}

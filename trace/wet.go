package trace

import (
	"fmt"
	"math"
	"slices"
)

// A sensor on a face that gets wet falls within seconds and comes back; no
// other sensor shares that. One sample that falls alone is no drop of water.
const (
	wetLeastK  = 4   // least fall, K
	wetSigmas  = 6   // and in standard deviations of a sample
	wetFallS   = 4   // within which it falls
	wetBackS   = 45  // within which it comes back by most of it
	wetAwayS   = 10  // from any event that explains it
	wetBeforeS = 10  // of the course before that is drawn on
	wetSlowKS  = 0.5 // steepest course that is drawn on, K/s
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
	before := max(3, int(math.Round(wetBeforeS/g.dt)))
	for _, s := range g.piece {
		if s.t.Channel.Place != Surface {
			continue
		}
		y := middles(s.y)
		ts := make([]float64, before)
		for k := range ts {
			ts[k] = float64(k)
		}
		for i := w + before; i < g.n-1; i++ {
			from := i - w
			slope, _ := line(ts, y[from-before+1:from+1]) // K a step
			usual := func(k int) float64 { return y[from] + min(max(slope, -wetSlowKS*g.dt), 0)*float64(k-from) }
			fall := usual(i) - y[i]
			if fall < wetLeastK+wetSigmas*s.noise || s.nan[i] {
				continue
			}
			came, lowest, k := false, i, i
			for ; k < min(i+back, g.n) && !came; k++ {
				if y[k] < y[lowest] {
					lowest = k
				}
				came = y[k] > usual(k)-0.4*(usual(lowest)-y[lowest]) && y[k]-y[lowest] > fall/3
			}
			answered := slices.ContainsFunc(g.piece, func(o *sensed) bool {
				return o != s && o.t.Channel.Place == Surface && o.y[lowest]-o.y[from] > fall/2
			})
			if came && !answered {
				deep := usual(lowest) - y[lowest]
				for from+1 < i && y[from+1] > usual(from+1)-fall/4 {
					from++
				}
				out = append(out, wetting{s, from, min(k+back/3, g.n-1), deep})
			}
			if came {
				i = max(i, lowest) + back/2
			}
		}
	}
	return out
}

// middles takes the middle one of every three values.
func middles(y []float64) []float64 {
	out := slices.Clone(y)
	for i := 1; i+1 < len(y); i++ {
		out[i] = max(min(y[i-1], y[i]), min(max(y[i-1], y[i]), y[i+1]))
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

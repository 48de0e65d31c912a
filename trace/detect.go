package trace

import (
	"cmp"
	"math"
	"slices"
)

// Kinds of event that [Detect] finds. The first four are spelt as the marks of
// a cook; the others are kept as notes.
const (
	HeatOn  = "heat-on"
	Turn    = "turn"
	OffHeat = "off-heat"
	FatIn   = "fat-in"

	Moved      = "moved" // from a pan to an oven or the like, or back
	ProbeMoved = "probe-moved"
	ProbeOut   = "probe-out"
	ProbeIn    = "probe-in"
	WetProbe   = "wet-probe"
	DoorOpen   = "door-open" // of an oven, or the lid of a pot
)

// Event is something that seems to have happened, read from the traces. It is
// an offer: what the cook entered stands above it.
type Event struct {
	Kind       string
	AtUS       int64
	Confidence float64 // 0–1: the share of such offers that were true, on computed cooks
	TimeU      float64 // standard uncertainty of AtUS, s, as counted on the same
	Why        string  // sentence
	Channels   []string
}

// DetectOptions tune [Detect]; zero values take the defaults.
type DetectOptions struct {
	WindowS float64 // seconds looked at before and after a change; default 8
	StepK   float64 // smallest change of slope that counts, K/s; default 0.08
	RiseK   float64 // rise above the start that counts as heat on, K; default 1

	// ThicknessM is the thickness of the piece; 0 takes the outermost sensors to
	// stand as far from their faces as each other.
	ThicknessM float64
}

func (o DetectOptions) filled() DetectOptions {
	set := func(v *float64, d float64) {
		if !(*v > 0) {
			*v = d
		}
	}
	set(&o.WindowS, 8)
	set(&o.StepK, 0.08)
	set(&o.RiseK, 1)
	return o
}

// heatOn looks for the first rise of a piece sensor and the first sag of the
// pan. The most telling sign wins; signs within ten seconds of it support it,
// and the earliest of them is the moment.
func (g *eventGrid) heatOn(traces []*Trace, opt DetectOptions) (Event, bool) {
	var signs []Event
	const (
		soonS = 3  // standard uncertainty of the moment, s
		lateS = 20 // of a core, which lags by its depth
	)
	add := func(t *Trace, confidence, u float64, why string, us int64, ok bool) {
		if ok {
			signs = append(signs, Event{Kind: HeatOn, AtUS: us, Confidence: confidence, TimeU: u, Why: t.Channel.ID + why, Channels: []string{t.Channel.ID}})
		}
	}
	for _, t := range traces {
		switch t.Channel.Place {
		case Depth:
			if d := t.Channel.DepthM; min(d, g.thickM-d) > tooDeepM {
				us, ok := rises(t, opt)
				add(t, 0.3, lateS, " begins to rise; so deep a sensor lags behind the heat", us, ok)
				continue
			}
			fallthrough
		case Surface:
			us, ok := bends(t, +1, 2*opt.StepK, opt)
			add(t, 0.7, soonS, " begins to rise", us, ok)
		case Core:
			us, ok := rises(t, opt)
			add(t, 0.3, lateS, " begins to rise; a core lags behind the heat", us, ok)
		case Pan:
			us, ok := bends(t, -1, 0.5, opt)
			add(t, 0.6, soonS, " begins to sag", us, ok)
		}
	}
	if len(signs) == 0 {
		return Event{}, false
	}
	slices.SortStableFunc(signs, func(a, b Event) int {
		return cmp.Or(cmp.Compare(b.Confidence, a.Confidence), cmp.Compare(a.AtUS, b.AtUS))
	})
	best := signs[0]
	for _, s := range signs[1:] {
		if abs(s.AtUS-signs[0].AtUS) < 10e6 {
			best.Confidence = 0.9
			best.Channels = append(best.Channels, s.Channels...)
			if s.AtUS < best.AtUS {
				best.AtUS, best.Why = s.AtUS, s.Why
			}
		}
	}
	return best, true
}

// rises finds where the values leave their start for good and walks back to
// the foot of the rise.
func rises(t *Trace, opt DetectOptions) (int64, bool) {
	ts, vs := t.Points(0)
	if len(vs) < 8 {
		return 0, false
	}
	n := max(4, len(vs)/50)
	start := slices.Clone(vs[:min(n, len(vs))])
	slices.Sort(start)
	base := start[len(start)/2]
	at := -1
	for i := len(vs) - 1; i >= 0 && vs[i] > base+opt.RiseK; i-- {
		at = i
	}
	if at <= 0 { // never left it, ended below it, or was risen from the first
		peak := slices.Max(vs)
		if peak < base+5*opt.RiseK {
			return 0, false
		}
		for at = 0; at < len(vs) && vs[at] <= base+opt.RiseK; at++ {
		}
		if at == 0 || at == len(vs) {
			return 0, false
		}
	}
	for at > 0 && vs[at-1] < vs[at] && vs[at-1] > base {
		at--
	}
	return int64(math.Round(ts[max(at-1, 0)] * 1e6)), true
}

// bends finds the first moment where the slope turns up (sign +1) or down
// (−1) by more than step K/s and far more than the noise before; the sharpest
// bend within a window of it is the moment.
func bends(t *Trace, sign, step float64, opt DetectOptions) (int64, bool) {
	ts, vs := t.Points(0)
	all := slopes(ts, vs, opt.WindowS)
	bend := func(i int) float64 { return sign * (all[i].after - all[i].before) }
	for i, s := range all {
		if !s.ok || sign*s.after < step || bend(i) < step+6*s.noise {
			continue
		}
		best := i
		for j := i; j < len(all) && ts[j] <= ts[i]+opt.WindowS; j++ {
			if all[j].ok && bend(j) > bend(best) {
				best = j
			}
		}
		return int64(math.Round(ts[best] * 1e6)), true
	}
	return 0, false
}

// slope holds least-squares slopes just before and just after a moment, K/s.
type slope struct {
	before, after float64
	noise         float64 // standard uncertainty of after − before
	ok            bool
}

func slopes(ts, vs []float64, windowS float64) []slope {
	out := make([]slope, len(ts))
	for i := range ts {
		out[i] = slopesAt(ts, vs, i, windowS)
	}
	return out
}

func slopesAt(ts, vs []float64, i int, windowS float64) slope {
	lo, hi := i, i
	for lo > 0 && ts[i]-ts[lo-1] <= windowS {
		lo--
	}
	for hi < len(ts)-1 && ts[hi+1]-ts[i] <= windowS {
		hi++
	}
	if i-lo < 2 || hi-i < 2 {
		return slope{}
	}
	b, ub := line(ts[lo:i+1], vs[lo:i+1])
	a, ua := line(ts[i:hi+1], vs[i:hi+1])
	return slope{before: b, after: a, noise: math.Hypot(ua, ub), ok: true}
}

// line is the least-squares slope and its standard uncertainty.
func line(ts, vs []float64) (slope, u float64) {
	n := float64(len(ts))
	var mt, mv float64
	for i := range ts {
		mt, mv = mt+ts[i]/n, mv+vs[i]/n
	}
	var stt, stv, svv float64
	for i := range ts {
		dt, dv := ts[i]-mt, vs[i]-mv
		stt, stv, svv = stt+dt*dt, stv+dt*dv, svv+dv*dv
	}
	if stt == 0 {
		return 0, 0
	}
	slope = stv / stt
	if n > 2 {
		u = math.Sqrt(max(0, svv-slope*stv) / (n - 2) / stt)
	}
	return slope, u
}

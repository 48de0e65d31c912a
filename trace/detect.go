package trace

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Kinds of event that [Detect] finds; they are spelt as the marks of a cook.
const (
	HeatOn  = "heat-on"
	Turn    = "turn"
	OffHeat = "off-heat"
)

// Event is something that seems to have happened, read from the traces. It is
// an offer: what the cook entered stands above it.
type Event struct {
	Kind       string
	AtUS       int64
	Confidence float64 // 0–1: a rank among hints, no probability
	Why        string  // sentence
	Channels   []string
}

// DetectOptions tune [Detect]; zero values take the defaults.
type DetectOptions struct {
	WindowS float64 // seconds looked at before and after a change; default 8
	StepK   float64 // smallest change of slope that counts, K/s; default 0.08
	RiseK   float64 // rise above the start that counts as heat on, K; default 1
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

// Detect reads heat on, turns and off heat from the traces of one cook, on
// one clock, in order of time.
//
// Heat on is where the slope of a sensor near a face bends up, or that of the
// pan down; with a core alone, where it first rises. A turn is where the slopes near the two faces change at once and in
// opposite directions: the hot face begins to fall as the other begins to
// rise. Off heat is the last change where the hot face begins to fall for
// good and the other face does not begin to rise.
//
// Turns need a sensor within about 3 mm of either face: conduction smooths
// the bend away deeper (at 5 mm under a face of meat it takes minutes). With
// one such sensor only heat on and off heat are offered. The thresholds are
// our choice, tried on computed cooks only; no source.
func Detect(traces []*Trace, opt DetectOptions) []Event {
	opt = opt.filled()
	var out []Event
	on, ok := heatOn(traces, opt)
	if !ok {
		return nil
	}
	out = append(out, on)
	a, b := faces(traces)
	if a == nil {
		return out
	}
	changes := slopeChanges(a, b, on.AtUS, opt)
	off := offHeat(changes, a, b)
	for i, c := range changes {
		if i == off {
			out = append(out, c.event(OffHeat, a, b))
			break
		}
		if c.turn {
			out = append(out, c.event(Turn, a, b))
		}
	}
	return out
}

// heatOn looks for the first rise of a piece sensor and the first sag of the
// pan. The most telling sign wins; signs within ten seconds of it support it,
// and the earliest of them is the moment.
func heatOn(traces []*Trace, opt DetectOptions) (Event, bool) {
	var signs []Event
	add := func(t *Trace, confidence float64, why string, us int64, ok bool) {
		if ok {
			signs = append(signs, Event{HeatOn, us, confidence, t.Channel.ID + why, []string{t.Channel.ID}})
		}
	}
	for _, t := range traces {
		switch t.Channel.Place {
		case Surface, Depth:
			us, ok := bends(t, +1, 2*opt.StepK, opt)
			add(t, 0.7, " begins to rise", us, ok)
		case Core:
			us, ok := rises(t, opt)
			add(t, 0.3, " begins to rise; a core lags behind the heat", us, ok)
		case Pan:
			us, ok := bends(t, -1, 0.5, opt)
			add(t, 0.6, " begins to sag", us, ok)
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

// faces picks the sensors nearest the two faces; the second is nil when there
// is only one.
func faces(traces []*Trace) (a, b *Trace) {
	var depths []*Trace
	for _, t := range traces {
		switch {
		case t.Channel.Place == Surface && t.Channel.Side == "B" && b == nil:
			b = t
		case t.Channel.Place == Surface && a == nil:
			a = t
		case t.Channel.Place == Depth:
			depths = append(depths, t)
		}
	}
	slices.SortStableFunc(depths, func(x, y *Trace) int {
		return int(math.Copysign(1, x.Channel.DepthM-y.Channel.DepthM))
	})
	if n := len(depths); n > 0 {
		if a == nil {
			a = depths[0]
		}
		if last := depths[n-1]; b == nil && last != a {
			b = last
		}
	}
	if a == nil {
		a, b = b, nil
	}
	return a, b
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

// change is a moment where the slope near a face changes.
type change struct {
	us     int64
	da, db float64 // change of slope near face A and face B, K/s
	noise  float64
	turn   bool
}

func (c change) event(kind string, a, b *Trace) Event {
	e := Event{Kind: kind, AtUS: c.us, Channels: []string{a.Channel.ID}}
	signal := math.Abs(c.da)
	if b != nil {
		e.Channels = append(e.Channels, b.Channel.ID)
		signal = max(signal, math.Abs(c.db))
		e.Why = fmt.Sprintf("slopes change by %+.2f K/s at %s and %+.2f K/s at %s", c.da, a.Channel.ID, c.db, b.Channel.ID)
	} else {
		e.Why = fmt.Sprintf("slope changes by %+.2f K/s at %s, the only sensor near a face", c.da, a.Channel.ID)
	}
	e.Confidence = signal / (signal + 0.1 + 4*c.noise)
	if b == nil {
		e.Confidence /= 2
	}
	return e
}

// slopeChanges finds the moments after heat on where the slope near a face
// changes most, one within a window.
func slopeChanges(a, b *Trace, fromUS int64, opt DetectOptions) []change {
	ts, va := a.Points(fromUS)
	sa := slopes(ts, va, opt.WindowS)
	var sb []slope
	if b != nil {
		vb := make([]float64, len(ts))
		for i, s := range ts {
			v, ok := b.At(fromUS+int64(math.Round(s*1e6)), math.MaxInt64)
			if !ok && i > 0 {
				v = vb[i-1]
			}
			vb[i] = v
		}
		sb = slopes(ts, vb, opt.WindowS)
	}
	all := make([]change, 0, len(ts))
	score := func(c change) float64 { return max(math.Abs(c.da), math.Abs(c.db), math.Abs(c.da-c.db)) }
	for i, s := range ts {
		if s < opt.WindowS || !sa[i].ok { // heat on itself is such a change
			continue
		}
		c := change{us: fromUS + int64(math.Round(s*1e6)), da: sa[i].after - sa[i].before, noise: sa[i].noise}
		if b != nil {
			c.db, c.noise = sb[i].after-sb[i].before, math.Hypot(c.noise, sb[i].noise)
		}
		all = append(all, c)
	}
	var out []change
	weakest := 0.0
	half := int64(opt.WindowS * 1e6)
	for i, c := range all {
		if score(c) < opt.StepK+5*c.noise {
			continue
		}
		top := true
		for j := i - 1; j >= 0 && top && c.us-all[j].us <= half; j-- {
			top = score(all[j]) <= score(c)
		}
		for j := i + 1; j < len(all) && top && all[j].us-c.us <= half; j++ {
			top = score(all[j]) < score(c)
		}
		if !top {
			continue
		}
		if b != nil {
			// After a turn both slopes ease back, which looks like a small turn
			// the other way: a turn is not much weaker than the last.
			c.turn = c.da*c.db < 0 && min(math.Abs(c.da), math.Abs(c.db)) > opt.StepK/2+2*c.noise && score(c) > weakest
			if c.turn {
				weakest = 0.3 * score(c)
			}
		}
		out = append(out, c)
	}
	return out
}

// offHeat is the index of the last change where a face begins to fall and
// neither face comes back above what it was then; −1 if there is none.
func offHeat(changes []change, a, b *Trace) int {
	for i := len(changes) - 1; i >= 0; i-- {
		c := changes[i]
		falls := c.da < 0 && c.db <= -c.da/4 || c.db < 0 && c.da <= -c.db/4
		if !falls {
			continue
		}
		hot := a
		if b != nil && c.db < c.da {
			hot = b
		}
		now, ok := hot.At(c.us, math.MaxInt64)
		if !ok {
			continue
		}
		stays, after := true, 0
		for j := hot.Index(c.us + 5e6); j < hot.Len() && stays; j++ {
			if v, ok := hot.Value(j); ok {
				stays = v < now
				after++
			}
		}
		if stays && after > 5 {
			return i
		}
	}
	return -1
}

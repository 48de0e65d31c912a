package trace

import (
	"fmt"
	"math"
	"slices"
)

// Turns that follow each other within half a minute cover each other in the
// shapes that a single one leaves. There the slopes near both faces are
// compared over a few seconds, which sees them at low noise.

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

// change is a moment where the slope near a face changes.
type change struct {
	us     int64
	da, db float64 // change of slope near face A and face B, K/s
	noise  float64
	turn   bool
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

// quickEvents reads turns and off heat from slopes.
func quickEvents(traces []*Trace, onUS int64, opt DetectOptions) []Event {
	a, b := faces(traces)
	if a == nil || b == nil {
		return nil
	}
	all := slopeChanges(a, b, onUS, opt)
	off := offHeat(all, a, b)
	var out []Event
	for i, c := range all {
		signal := max(math.Abs(c.da), math.Abs(c.db))
		e := Event{Kind: Turn, AtUS: c.us, Confidence: math.Round(100*signal/(signal+0.1+4*c.noise)) / 100,
			Channels: []string{a.Channel.ID, b.Channel.ID},
			Why:      fmt.Sprintf("slopes change by %+.2f K/s at %s and %+.2f K/s at %s", c.da, a.Channel.ID, c.db, b.Channel.ID)}
		if i == off {
			e.Kind = OffHeat
			return append(out, e)
		}
		if c.turn {
			out = append(out, e)
		}
	}
	return out
}

package trace

import (
	"math"
	"slices"
)

// In still hot air, as of an oven, faces are heated ten times more gently than
// by a pan, and nothing boils or splashes. The same filter tells what happens
// there when it expects little else to.
const (
	plainly   = 100  // gain from which a face seems to meet a pan
	calmLookS = 60   // for which a change is looked at
	settledS  = 30   // behind a change the slab is known again
	tooDeepM  = 6e-3 // a sensor this far under a hot face feels its cooling too late and too little
)

// onPan tells whether a face was heated as plainly as a pan does it.
func (f *faced) onPan() bool {
	return slices.ContainsFunc(f.found, func(c named) bool {
		return (c.to == faceA || c.to == faceB) && c.gain > plainly
	})
}

// calmly reads a cook whose faces met no pan anew, as one in an oven, and
// keeps what was read before where that makes no oven of it.
func (g *eventGrid) calmly(f *faced, sags []sag) *faced {
	part := *g
	part.wander = calmWander
	c := part.faces(sags)
	if len(c.found) == 0 || c.found[0].to != bothFaces {
		return f
	}
	on := c.found[0].at
	c.calm = true
	c.all = slices.DeleteFunc(c.all, func(c change) bool {
		return c.at != on && !allMoves[plainest(&c.told)].cools() && c.take.gain < plainly
	})
	if k := len(c.found) - 1; c.found[k].kind == OffHeat {
		for i := range c.all {
			if o := &c.all[i]; o.at == c.found[k].at {
				o.at = c.innov.moment(*o, moves{-1, -1, false})
			}
		}
	}
	return c
}

// mendLastCooling puts in an off heat that was too faint to show, or that was
// taken for a pan's in a cook that met none.
func (g *eventGrid) mendLastCooling(f *faced) {
	last, ok := g.lastCooling(f)
	if !ok {
		return
	}
	for _, d := range f.found {
		if d.kind == OffHeat {
			f.all = slices.DeleteFunc(f.all, func(o change) bool { return o.at == d.at })
		}
	}
	f.all = append(f.all, last)
	slices.SortFunc(f.all, func(a, b change) int { return a.at - b.at })
}

// lastCooling looks behind the last change for an off heat: as in still air,
// where both faces are heated or nothing heated them plainly, and else as in a
// pan, from the slab as it then is.
func (g *eventGrid) lastCooling(f *faced) (change, bool) {
	found := f.found
	faint := !f.onPan() && !g.touched && !f.calm
	if k := len(found) - 1; faint && k > 0 && found[k].to == offHeat {
		found = found[:k]
	}
	state, from := g.began, 0
	if k := len(found) - 1; k >= 0 {
		state, from = found[k].to, found[k].at+int(settledS/g.dt)
	} else if !g.touched {
		return change{}, false // nothing happened
	}
	if faint {
		state = bothFaces
	}
	if state == offHeat || state == raw || state == anyState || float64(g.n-from)*g.dt < lookS {
		return change{}, false
	}
	under := g.under(f.placement)
	if state == faceA && under[0] > tooDeepM || state == faceB && under[1] > tooDeepM {
		return change{}, false
	}
	part := g.part(from, g.n)
	part.began, part.from, part.wander = state, g.upTo(f, from), usualWander
	if state == bothFaces {
		part.wander, part.looks = calmWander, calmLookS
	}
	again := part.follow(f.placement, nil)
	k := len(again.found) - 1
	if k < 0 || again.found[k].kind != OffHeat {
		return change{}, false
	}
	c := again.found[k].change
	if state == bothFaces {
		c.at = again.innov.moment(c, moves{-1, -1, false})
	}
	c.at += from
	return c, true
}

// under is how deep under either face the sensor nearest to it stands, m.
func (g *eventGrid) under(p placement) [2]float64 {
	thick := g.thickM + p.thickM
	under := [2]float64{thick, thick}
	for _, s := range g.piece {
		d := s.depth
		if s.t.Channel.Place == Depth {
			d += p.shiftM
		}
		if d > -outsideM && d < thick+outsideM {
			under[0], under[1] = min(under[0], max(d, 0)), min(under[1], max(thick-d, 0))
		}
	}
	return under
}

// moment is when a change that is what both faces do most likely happened: the
// mean over the likelihood of the moments round it, each weighed by readings up
// to one end.
func (s *search) moment(c change, m moves) int {
	h := moveIndex[m]
	reach := int(20 / s.f.dt)
	s.takeOut(c.at, c.take, -1)
	defer s.takeOut(c.at, c.take, 1)
	lo, hi := max(0, c.at-reach), min(s.n-1, c.at+reach)
	end := hi + s.look
	gains := make([]float64, 0, hi-lo+1)
	for i := lo; i <= hi; i++ {
		t := s.at(i, end)
		gains = append(gains, t[h].gain)
	}
	top := slices.Max(gains)
	if top <= 0 {
		return c.at
	}
	sum, at := 0.0, 0.0
	for k, g := range gains {
		w := math.Exp(g - top)
		sum += w
		at += w * float64(lo+k)
	}
	return int(math.Round(at / sum))
}

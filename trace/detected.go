package trace

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// placement is a guess at where the sensors stand: how much deeper the probe
// went in than meant, how much thicker the piece is, and how well the pan
// touches it: of both faces alike, or a deeper sensor would look like a poorer
// pan.
type placement struct {
	shiftM, thickM float64
	hot            int     // film of the pan
	lnAlpha        float64 // of the diffusivity against that of meat
}

// insertionM is the standard uncertainty of how deep a probe went in.
const insertionM = 1.7e-3

// shiftU is the standard uncertainty of how deep the probe stands: more once
// it was moved.
func (g *eventGrid) shiftU() float64 {
	if g.touched {
		return 2 * insertionM
	}
	return insertionM
}

func (g *eventGrid) mostShift() float64 { return 2.4 * g.shiftU() }

// faced are the changes of a cook under one placement.
type faced struct {
	placement
	found  []named
	calm   bool // read as a cook in an oven
	all    []change
	innov  *search
	chance float64 // log-likelihood of the readings
	slab   *slabFilter
	depth  []float64 // of each sensor
	end    []float64 // the slab behind the last step
}

// follow reads the changes of the faces with the sensors standing so.
func (g *eventGrid) follow(p placement, sags []sag) *faced {
	thick := g.thickM + p.thickM
	depth, sd := make([]float64, len(g.piece)), make([]float64, len(g.piece))
	for r, s := range g.piece {
		depth[r], sd[r] = s.depth, math.Hypot(s.noise, g.wander.restK)
		switch s.t.Channel.Place {
		case Depth:
			depth[r] = min(max(s.depth+p.shiftM, 0), thick)
			sd[r] = math.Hypot(s.noise, g.wander.restOf(s.depth+p.shiftM, thick))
		case Surface:
			depth[r] = min(s.depth, thick)
			if s.depth > 0 {
				depth[r] = thick
			}
			sd[r] = math.Hypot(s.noise, splashK)
		}
	}
	f := newSlabFilter(thick, slabDiffusivity*math.Exp(p.lnAlpha), g.dt, depth, sd, g.wander)
	start := g.from
	if start == nil {
		start = g.start(f, depth, thick)
	}
	z, end := f.innovations(start, g.read, g.n)
	out := &faced{placement: p, innov: newSearch(f, z, g.n, p.hot, max(lookS, g.looks)), slab: f, depth: depth, end: end}
	pan := func(i int) float64 { return g.panTells(sags, i) }
	out.all = out.innov.run(pan)
	for k := range out.all {
		out.all[k].warming = g.warming(out.all[k].at)
	}
	out.found, _ = sequence(plain(out.all, g.dt), g.began)
	if k := len(out.found) - 1; k >= 0 && out.found[k].to != offHeat {
		if c, ok := out.innov.tail(out.found[k].at+out.innov.look, pan); ok {
			c.warming = g.warming(c.at)
			out.all = append(out.all, c)
			out.innov.takeOut(c.at, c.take, 1)
			out.found, _ = sequence(plain(out.all, g.dt), g.began)
		}
	}
	out.chance = -dot(z, z) / 2
	for r := range f.m {
		out.chance += float64(g.n) * math.Log(f.w[r*f.m+r])
		if sd[r] > outsideK { // tells nothing of where the others stand
			out.chance += float64(g.n) * math.Log(outsideK/math.Hypot(g.piece[r].noise, g.wander.restK))
		}
	}
	for _, c := range out.found {
		if c.kind == HeatOn || c.kind == Turn {
			out.chance += c.pan
		}
	}
	out.chance -= squareOf(p.shiftM/g.shiftU())/2 + squareOf(p.thickM/1e-3)/2 + squareOf(p.lnAlpha/0.1)/2
	return out
}

// plain leaves out the changes that are small against one just before, or
// that go on with it: they mend what conduction and films do not tell of that
// one.
func plain(all []change, dt float64) []change {
	const (
		mendS = 40
		onS   = 20
		share = 0.15
	)
	var out []change
	for k, c := range all {
		echo := false
		for _, o := range all[:k] {
			since := float64(c.at-o.at) * dt
			echo = echo || since < mendS && c.take.gain < share*o.take.gain || since < onS && c.take.goesOn(o.take)
		}
		if !echo {
			out = append(out, c)
		}
	}
	return out
}

// goesOn tells whether a change does to each face nothing that an earlier one
// did not.
func (c account) goesOn(o account) bool {
	for face, jump := range c.jumpK {
		if jump*o.jumpK[face] < 0 || jump != 0 && o.jumpK[face] == 0 {
			return false
		}
	}
	return true
}

// start is the slab as the sensors read it first: straight between them.
func (g *eventGrid) start(f *slabFilter, depth []float64, thick float64) []float64 {
	type at struct{ d, c float64 }
	var read []at
	for r, s := range g.piece {
		read = append(read, at{depth[r], average(s.y[:min(5, g.n)])})
	}
	slices.SortStableFunc(read, func(a, b at) int { return cmp.Compare(a.d, b.d) })
	x := make([]float64, f.n)
	widths := slabCells(thick)
	edge := 0.0
	line := func(d float64) float64 {
		k, _ := slices.BinarySearchFunc(read, d, func(r at, d float64) int { return cmp.Compare(r.d, d) })
		if k == 0 {
			return read[0].c
		}
		if k == len(read) {
			return read[k-1].c
		}
		a, b := read[k-1], read[k]
		return a.c + (d-a.d)/(b.d-a.d)*(b.c-a.c)
	}
	for i, w := range widths {
		x[i] = line(edge + w/2)
		edge += w
	}
	x[len(widths)], x[len(widths)+1] = line(0), line(thick)
	return x
}

func squareOf(v float64) float64 { return v * v }

// faces reads the changes under the likeliest placement of the sensors: the
// turns of one cook were all felt at the same depths.
func (g *eventGrid) faces(sags []sag) *faced {
	if g.from != nil {
		return g.facesFrom(sags)
	}
	best := g.follow(placement{hot: 3}, sags)
	if !slices.ContainsFunc(g.piece, func(s *sensed) bool { return s.t.Channel.Place == Depth }) {
		return best
	}
	tried := map[placement]bool{{hot: 3}: true}
	try := func(p placement) {
		if tried[p] || math.Abs(p.shiftM) > g.mostShift() || math.Abs(p.thickM) > 3e-3 || g.thickM+p.thickM < 5e-3 || p.hot < 1 || p.hot >= len(contacts) || math.Abs(p.lnAlpha) > 0.3 {
			return
		}
		tried[p] = true
		if f := g.follow(p, sags); f.chance > best.chance {
			best = f
		}
	}
	vary := func(changes ...placement) {
		at := best.placement
		for _, d := range changes {
			try(placement{at.shiftM + d.shiftM, at.thickM + d.thickM, at.hot + d.hot, at.lnAlpha + d.lnAlpha})
		}
	}
	around := func(step float64) {
		vary(placement{hot: 1}, placement{hot: -1})
		if g.known {
			vary(placement{shiftM: step}, placement{shiftM: -step})
			return
		}
		// How deep the outer sensors sit under either face: that of side A is
		// the shift, that of side B the thickness less the shift.
		vary(placement{shiftM: step, thickM: step}, placement{shiftM: -step, thickM: -step})
		vary(placement{thickM: step}, placement{thickM: -step})
	}
	if g.known {
		for _, mm := range []float64{-7, -6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6, 7} {
			if math.Abs(mm) > 3 && !g.touched {
				continue
			}
			try(placement{shiftM: mm / 1000, hot: 3})
		}
	} else {
		around(2e-3)
		around(1e-3)
		around(1e-3)
	}
	around(0.5e-3)
	around(0.5e-3)
	return best
}

// changes of the faces in the whole log. A probe that was moved stands
// elsewhere from then on, and one that is out tells nothing of the piece: each
// part between is read by itself, behind a move from the slab as it was.
func (g *eventGrid) changes(sags []sag) (out []change) {
	const (
		leastS  = 45
		unsureS = 25 // after a probe was put back: what the slab then was is a guess
		againS  = 4  // after it was moved
	)
	settle := int(math.Round((probeBlockS + 2) / g.dt))
	var before *faced
	read := func(lo, hi int, kind string) {
		if float64(hi-lo)*g.dt < leastS {
			before = nil
			return
		}
		part := g.part(lo, hi)
		sure := 0.0
		switch {
		case kind == ProbeMoved && before != nil:
			part.wander = touchedWander
			part.touched, part.was, part.from = true, before.placement, before.later(settle+settle/2)
			sure = againS
			if k := len(before.found) - 1; k >= 0 {
				part.began = before.found[k].to
			} else {
				part.began = anyState
			}
		case kind != "":
			part.touched, part.began = true, anyState
			sure = unsureS
		}
		var seen []sag
		for _, s := range sags {
			s.at -= lo
			seen = append(seen, s)
		}
		f := part.faces(seen)
		if kind == "" && !f.onPan() {
			f = part.calmly(f, seen)
		}
		part.mendLastCooling(f)
		for _, c := range plain(f.all, g.dt) {
			if float64(c.at)*g.dt < sure {
				continue
			}
			c.at += lo
			out = append(out, c)
		}
		before = f
	}
	lo, kind, inside := 0, "", true
	for _, h := range g.probe {
		if inside {
			read(lo, h.at-settle/2, kind)
		}
		lo, kind, inside = h.at+settle, h.kind, h.kind != ProbeOut
	}
	if inside {
		read(lo, g.n, kind)
	}
	return out
}

// part is the grid from a step to another.
func (g *eventGrid) part(lo, hi int) *eventGrid {
	part := *g
	part.fromUS, part.n = g.us(lo), hi-lo
	part.piece = nil
	for _, s := range g.piece {
		c := *s
		c.y, c.nan = s.y[lo:hi], s.nan[lo:hi]
		part.piece = append(part.piece, &c)
	}
	return &part
}

// upTo is the slab at a step.
func (g *eventGrid) upTo(f *faced, step int) []float64 {
	start := g.from
	if start == nil {
		start = g.start(f.slab, f.depth, g.thickM+f.thickM)
	}
	_, x := f.slab.innovations(start, g.read, step)
	return x
}

// read gives what the sensors read at a step.
func (g *eventGrid) read(i int, y []float64) {
	for r, s := range g.piece {
		y[r] = s.y[i]
		if s.nan[i] {
			y[r] = math.NaN()
		}
	}
}

// warming is how fast the piece warms some time after a step: the mean of its
// sensors.
func (g *eventGrid) warming(at int) float64 {
	const fromS, toS, leastS = 30, 150, 40
	lo, hi := at+int(fromS/g.dt), min(at+int(toS/g.dt), g.n-1)
	if float64(hi-lo)*g.dt < leastS {
		return math.NaN()
	}
	var ts, vs []float64
	for i := lo; i <= hi; i++ {
		sum := 0.0
		for _, s := range g.piece {
			sum += s.y[i] / float64(len(g.piece))
		}
		ts, vs = append(ts, float64(i)*g.dt), append(vs, sum)
	}
	rate, _ := line(ts, vs)
	return rate
}

// Detect reads the events of one cook from its traces, on one clock, in order
// of time: heat on, turns, fat in, off heat, a piece that went from a pan to an
// oven or back, a probe that was moved, pulled out or put back, a wet sensor,
// a door or lid.
//
// Several channels speak together: what all sensors in the piece read is
// compared with what a slab would let them read ([newSlabFilter]), and what is
// beyond that with what faces that meet new heat would do; the pan sags under
// a cold side. The changes are then named so that they make a course a piece
// can take (see docs/logs.md for how many are found).
//
// Every event is an offer: what the cook entered stands above it. Thresholds
// are our choice, tried on computed cooks only; no source.
func Detect(traces []*Trace, opt DetectOptions) []Event {
	opt = opt.filled()
	g := newEventGrid(traces, opt)
	if g == nil {
		return nil
	}
	var sags []sag
	for _, s := range g.pan {
		sags = append(sags, g.sags(s)...)
	}
	var out []Event
	var found []named
	var wettings []wetting
	if len(g.piece) > 0 {
		g.probe = g.probeHandled()
		// What a wet sensor reads tells nothing of its face.
		wettings = g.wettings()
		for _, w := range wettings {
			for i := w.at; i <= w.to; i++ {
				w.s.nan[i] = true
			}
		}
		found, _ = sequence(g.changes(sags), raw)
	}
	for _, c := range found {
		if e, ok := g.offer(c); ok {
			out = append(out, e)
		}
	}
	if len(out) == 0 || out[0].Kind != HeatOn {
		on, ok := g.heatOn(traces, opt)
		if !ok {
			return nil
		}
		out = append(out, on)
	}
	onUS, offUS := out[0].AtUS, int64(math.MaxInt64)
	for _, e := range out {
		if e.Kind == HeatOn {
			onUS = e.AtUS
		}
		if e.Kind == OffHeat {
			offUS = e.AtUS
		}
	}
	out = append(out, g.fatIn(found, sags, onUS, offUS)...)
	for _, h := range g.probe {
		if g.us(h.at) > onUS+5e6 {
			out = append(out, g.probeEvent(h))
		}
	}
	for _, s := range g.air {
		out = append(out, g.doors(s)...)
	}
	out = append(out, g.wet(wettings, out)...)
	for k := range out {
		out[k].TimeU = max(out[k].TimeU, g.dt)
	}
	slices.SortStableFunc(out, func(a, b Event) int { return cmp.Compare(a.AtUS, b.AtUS) })
	return out
}

// timeU is the standard uncertainty of the moment of a change, s: a part that
// is there without noise, and what the noise of the sensors adds, by K. Both
// as counted on computed cooks.
func (g *eventGrid) timeU(c named) float64 {
	still, noisy := 1.0, 0.5
	switch {
	case c.kind == HeatOn && c.to == bothFaces:
		still, noisy = 2.5, 3
	case c.kind == HeatOn:
		still = 1.8
	case c.kind == Moved:
		still = 2
	case c.kind == OffHeat && c.from == bothFaces:
		still, noisy = 1.5, 6
	case c.kind == OffHeat:
		still, noisy = 1.2, 3
	}
	noise := 0.0
	for _, s := range g.piece {
		noise += s.noise / float64(len(g.piece))
	}
	return math.Hypot(still, noisy*noise)
}

// offer is a change of the faces, if the sensors there are can tell it: where
// none stands near a face, what that face meets is not seen, and a piece that is
// turned away looks like one that is taken off; two sensors cannot tell what is
// between them.
func (g *eventGrid) offer(c named) (Event, bool) {
	// Most confidence of what one or two sensors tell.
	const (
		fewSure   = 0.85
		fewUnsure = 0.4 // of an off heat
	)
	under := g.under(placement{})
	a, b := under[0] <= tooDeepM, under[1] <= tooDeepM
	e := g.named(c)
	if len(g.piece) < 3 {
		e.Confidence = min(e.Confidence, fewSure)
	}
	switch {
	case !a && !b:
		return e, false
	case !a || !b:
		return e, c.kind == HeatOn || c.kind == Turn && c.pan > panLeast
	case len(g.piece) > 2:
		return e, true
	case c.kind == OffHeat:
		e.Confidence = min(e.Confidence, fewUnsure)
	}
	return e, c.kind != Moved
}

// named tells a change of the faces.
func (g *eventGrid) named(c named) Event {
	t := c.told[c.by]
	var why []string
	for face, side := range [...]string{"A", "B"} {
		if j := t.jumpK[face]; j != 0 {
			why = append(why, "face "+side+" "+upDown(j))
		}
	}
	if c.pan > panLeast {
		why = append(why, "the pan sags")
	}
	if c.kind == Moved {
		why = append(why, "too slowly for a pan")
		if c.to != bothFaces {
			why[len(why)-1] = "after both faces were heated"
		}
	}
	e := Event{Kind: c.kind, AtUS: g.us(c.at), Why: strings.Join(why, ", "), Confidence: confidence(c.kind, c.margin), TimeU: g.timeU(c)}
	for _, s := range g.piece {
		e.Channels = append(e.Channels, s.t.Channel.ID)
	}
	if c.pan > panLeast {
		for _, s := range g.pan {
			e.Channels = append(e.Channels, s.t.Channel.ID)
		}
	}
	return e
}

func upDown(z float64) string {
	if z > 0 {
		return "begins to be heated"
	}
	return "begins to cool"
}

package heat

import (
	"fmt"
	"math"

	"trivet/fault"
)

// actionStart is when an action of a leg begins: at a turn (1 is the first),
// or at a time from the leg's start; neither is never.
type actionStart struct {
	turn  int
	timeS float64 // +Inf when unset
}

var never = actionStart{timeS: inf}

// outcome is how a leg went.
type outcome struct {
	turns int
	endS  float64 // from the leg's start
	why   string
}

// target is a temperature that ends a leg or turns the piece.
type target struct {
	probe   int
	valueC  float64
	falling bool
	turn    bool
	what    string
}

func (tg *target) reached(v float64) bool {
	if tg.falling {
		return v <= tg.valueC
	}
	return v >= tg.valueC
}

// cookLeg runs leg i, first placing actions that count back from its end.
func (s *Solver) cookLeg(i int) error {
	leg := &s.spec.Legs[i]
	s.leg = i
	s.legStart = s.t
	starts, remarks, err := s.placeActions(leg)
	if err != nil {
		return err
	}
	s.recordLegStart(leg)
	for _, r := range remarks {
		s.note(Remark, r)
	}
	out, err := s.runLeg(leg, starts)
	if err != nil {
		return err
	}
	s.recordLegEnd(leg, out)
	return nil
}

// sameMomentS is how close two times are taken for one: the clock of a leg is
// a difference of clocks of the cook and misses its end by round-off.
const sameMomentS = 1e-9

// runLeg marches from the leg's start to its end.
func (s *Solver) runLeg(leg *Leg, starts []actionStart) (outcome, error) {
	out := outcome{}
	s.legT = 0
	s.place(bottom, leg.Bottom, true)
	s.place(top, leg.Top, true)
	rimFace := leg.rim()
	s.place(rim, rimFace, true)
	topNow, bottomNow, rimNow := leg.Top, leg.Bottom, rimFace
	s.restart()

	act := func(k int) {
		a := &leg.Also[k]
		s.note(ActionStart, describeAction(a))
		for _, c := range [...]struct {
			p   position
			f   Face
			now *Face
		}{{bottom, a.Bottom, &bottomNow}, {top, a.Top, &topNow}, {rim, a.Rim, &rimNow}} {
			if c.f == nil {
				continue
			}
			f := c.f
			if film, ok := f.(FatFilm); ok && film.Under == nil {
				under := *c.now
				if old, ok := under.(FatFilm); ok {
					under = old.Under
				}
				film.Under = under
				f = film
			}
			*c.now = f
			s.place(c.p, f, true)
		}
		s.restart()
	}
	done := s.tally.done[:0]
	for range leg.Also {
		done = append(done, false)
	}
	s.tally.done = done

	s.lookNow()
	s.recordStart()
	coreStart := s.probes.v[2][probeCore]
	targets := s.tally.targets[:0]
	for _, e := range [...]struct {
		probe int
		value *float64
		name  string
	}{{probeCore, leg.Ends.CoreC, "core"}, {probeSurface, leg.Ends.SurfaceC, "surface"}, {probeColdest, leg.Ends.ColdestC, "coldest point"}} {
		if e.value == nil {
			continue
		}
		v := s.probes.v[2][e.probe]
		targets = append(targets, target{probe: e.probe, valueC: *e.value, what: e.name, falling: leg.Rest && v > *e.value})
	}
	if leg.Turn != nil && leg.Turn.CoreRiseK > 0 {
		targets = append(targets, target{probe: probeCore, valueC: coreStart + leg.Turn.CoreRiseK, turn: true})
	}
	s.tally.targets = targets
	for k := range targets {
		tg := &targets[k]
		if !tg.turn && tg.reached(s.probes.v[2][tg.probe]) {
			out.why = fmt.Sprintf("%s already at %.1f °C", tg.what, s.probes.v[2][tg.probe])
			return out, nil
		}
	}
	endS := inf
	if leg.Ends.TimeS != nil {
		endS = *leg.Ends.TimeS
	}
	settled := settleWatch{windowS: math.Max(1800, 0.25*sq(s.spec.Piece.ThicknessM/2)/s.mat.diffusivity())}
	settled.look(0, s.probes.v[2])

	for {
		now := s.legTime()
		for k := range leg.Also {
			st := starts[k]
			if !done[k] && (st.turn > 0 && out.turns >= st.turn || now >= st.timeS-sameMomentS) {
				done[k] = true
				act(k)
			}
		}
		stop := endS
		if t := leg.nextTurn(out.turns); t < stop {
			stop = t
		}
		for k := range leg.Also {
			if !done[k] && starts[k].timeS < stop {
				stop = starts[k].timeS
			}
		}
		if t := s.nextSnapshot() - s.legStart; t < stop && t > now+sameMomentS {
			stop = t
		}
		hit, err := s.step(stop, targets, leg)
		if err != nil {
			return out, err
		}
		now = s.legTime()
		if hit != nil && !hit.turn {
			out.endS = now
			out.why = fmt.Sprintf("%s %.1f °C", hit.what, hit.valueC)
			return out, nil
		}
		if now >= endS-sameMomentS {
			out.endS = now
			out.why = fmt.Sprintf("%.4g s", endS)
			return out, nil
		}
		turned := false
		if hit != nil {
			turned = true
			hit.valueC = coreStart + leg.Turn.CoreRiseK*float64(out.turns+2)
		} else if now >= leg.nextTurn(out.turns)-sameMomentS {
			turned = true
		}
		if turned {
			out.turns++
			s.turn(out.turns)
		}
		if endS == inf && settled.look(now, s.probes.v[2]) {
			return out, s.neverEnds(leg, targets, out.turns)
		}
	}
}

// rim is the face of a disc's side.
func (l *Leg) rim() Face {
	if l.Rim != nil {
		return l.Rim
	}
	f := l.Top
	if film, ok := f.(FatFilm); ok {
		f = film.Under
	}
	switch f.(type) {
	case nil, Pan, Board:
		return Air{TempC: 25}
	}
	return f
}

func sq(x float64) float64 { return x * x }

// nextTurn is the leg time of the next scheduled turn.
func (l *Leg) nextTurn(made int) float64 {
	switch t := l.Turn; {
	case t == nil:
	case t.EveryS > 0:
		return t.EveryS * float64(made+1)
	case made < len(t.AtS):
		return t.AtS[made]
	}
	return inf
}

// turn swaps the sides of the piece under standing conditions.
func (s *Solver) turn(n int) {
	s.aDown = !s.aDown
	s.touchedAt[bottom], s.touchedAt[top] = s.t, s.t
	for _, p := range [...]position{bottom, top} {
		if b := &s.bc[p]; b.oils {
			s.oiled[s.sideAt(p)] = b.oil
		}
	}
	if s.recording != nil {
		s.note(Turned, turnName(n))
	}
	s.restart()
}

// turnNames saves an allocation per turn in sampled cooks.
var turnNames = func() (names [64]string) {
	for i := range names {
		names[i] = fmt.Sprintf("turn %d", i)
	}
	return names
}()

func turnName(n int) string {
	if n < len(turnNames) {
		return turnNames[n]
	}
	return fmt.Sprintf("turn %d", n)
}

// restart forgets the recent past after conditions jump.
func (s *Solver) restart() {
	n := s.mesh.n
	clear(s.rate[:n])
	clear(s.eRate[:n])
	s.hNext = math.Min(s.hNext, restartStepS)
}

func describeAction(a *Action) string {
	text := ""
	for _, f := range [...]struct {
		name string
		face Face
	}{{"bottom", a.Bottom}, {"top", a.Top}, {"rim", a.Rim}} {
		if f.face == nil {
			continue
		}
		if text != "" {
			text += ", "
		}
		text += f.name + ": " + f.face.Describe()
	}
	return text
}

// settleWatch notices that nothing changes any more.
type settleWatch struct {
	windowS, sinceS float64
	core, mean      float64
	set             bool
}

func (w *settleWatch) look(t float64, v probeValues) bool {
	if !w.set {
		w.set, w.sinceS, w.core, w.mean = true, t, v[probeCore], v[probeMean]
		return false
	}
	if t-w.sinceS < w.windowS {
		return false
	}
	still := math.Abs(v[probeCore]-w.core) < 0.05 && math.Abs(v[probeMean]-w.mean) < 0.05
	w.sinceS, w.core, w.mean = t, v[probeCore], v[probeMean]
	return still || t > 7*86400
}

func (s *Solver) neverEnds(leg *Leg, targets []target, turns int) error {
	v := s.probes.v[2]
	for _, tg := range targets {
		if tg.turn {
			continue
		}
		side := "below"
		if tg.falling {
			side = "above"
		}
		what := tg.what
		if what == "core" || what == "surface" {
			what = "the " + what
		}
		return fault.New("heat-never-ends", "leg %q can never end: %s settles at %.1f °C, %s the %.1f °C it waits for",
			leg.Name, what, v[tg.probe], side, tg.valueC).
			On(fmt.Sprintf("legs[%d].ends_when", s.leg), fmt.Sprintf("%.1f °C", tg.valueC)).
			WithFix("end it at a reachable temperature or at a time, or heat it more")
	}
	return fault.New("heat-never-ends", "leg %q can never end", leg.Name)
}

// step takes one accepted step, at most to leg time stop, ending it exactly
// where a target is first reached. It returns the target reached.
func (s *Solver) step(stop float64, targets []target, leg *Leg) (*target, error) {
	left := stop - s.legTime()
	dt := math.Min(s.hNext, s.maxStep)
	full := dt
	if s.moist {
		dt = s.frontStep(dt)
	}
	cut := dt < full
	lands := false
	if dt >= left*(1-1e-9) {
		dt, lands = left, true
	} else if dt > left/2 {
		dt = left / 2
	}
	s.prepareStep()
	var hit *target
	pinned := 0 // times the step was shortened onto a target
	for {
		if dt < minStepS && !(lands || pinned > 0) {
			return nil, fault.New("heat-step", "the step at %.3f s of the cook could not be solved, near %s", s.t, s.where()).
				On(fmt.Sprintf("legs[%d]", s.leg), leg.Name).
				WithFix("look for extreme coefficients there, or refine the grid")
		}
		errK, ok := s.attempt(dt)
		if !ok || math.IsNaN(errK) {
			s.reject()
			dt, lands, hit, pinned = dt/4, false, nil, 0
			continue
		}
		next := growth(s.stepTol, errK)
		if next < 0.9 && pinned == 0 && errK > s.stepTol && dt > minStepS {
			s.reject()
			dt, lands, cut = dt*math.Max(next, 0.1), false, false
			full = dt
			continue
		}
		s.look()
		if pinned < 4 {
			tg, at := s.firstReached(targets, dt, hit)
			if tg != nil && at != dt {
				s.reject()
				s.rejected--
				hit, dt, lands = tg, at, false
				pinned++
				continue
			}
			hit = tg
		}
		if s.moist && !s.settle(dt) {
			s.reject()
			dt, lands, hit, pinned = dt/2, false, nil, 0
			continue
		}
		s.hNext = dt * next
		if lands || pinned > 0 || cut {
			s.hNext = math.Max(s.hNext, full)
		}
		if s.handedOver && pinned == 0 && !lands {
			s.kinkStep = math.Min(2*dt, math.Max(dt, dt*next*0.8))
		}
		s.handedOver = s.completed
		s.accept(dt, errK)
		if lands {
			s.legT = stop // exactly, whatever the rounding of the sum
			s.t = s.legStart + stop
		}
		return hit, nil
	}
}

// frontStep shortens a step to what the boiling front allows: it ends about
// when the front leaves its cell, and it is short just after, while the cell
// left behind heats up.
func (s *Solver) frontStep(dt float64) float64 {
	if s.handedOver {
		dt = math.Min(dt, s.kinkStep)
	}
	for i, r := range s.dryRate[:s.mesh.n] {
		if r > 0 {
			if left := (1 - s.now.dry[i]) / r * 1.02; left < dt && left > 0.02*dt {
				dt = math.Max(left, frontLeastS)
			}
		}
	}
	return dt
}

const (
	minStepS    = 1e-5
	leastHitS   = 1e-9 // step that ends on a target met at its very start
	frontLeastS = 0.02 // steps are not cut shorter than this for a front
)

// growth is the factor for the next step of a third-order error.
func growth(tol, errK float64) float64 {
	if errK <= tol*1e-4 {
		return 5
	}
	return math.Min(5, 0.9*math.Cbrt(tol/errK))
}

// firstReached finds the target reached first within the tried step and the
// step length that ends on it: dt itself when the step already does.
func (s *Solver) firstReached(targets []target, dt float64, was *target) (*target, float64) {
	var first *target
	best := inf
	for k := range targets {
		tg := &targets[k]
		v0, v1, v2 := s.probes.v[0][tg.probe]-tg.valueC, s.probes.v[1][tg.probe]-tg.valueC, s.probes.v[2][tg.probe]-tg.valueC
		if tg.falling {
			v0, v1, v2 = -v0, -v1, -v2
		}
		// The surface at a step's start depends a little on its length, so a
		// target met at the start of a long step may seem unmet at that of the
		// least one. It is met, or the cook would go on in least steps.
		if tg == was && (math.Abs(v2) < 1e-7 || dt <= leastHitS) {
			return tg, dt
		}
		// A step shortened onto the target may fall just short of it: the
		// parabola is then carried on a little.
		late := 1.0
		if tg == was {
			late = 1.1
		}
		at := firstRoot(v0, v1, v2, late)
		if at < best {
			first, best = tg, at
		}
	}
	if first == nil {
		return nil, dt
	}
	if at := best * dt; at > 0 {
		return first, at
	}
	return first, math.Min(dt, leastHitS)
}

// firstRoot returns where the parabola through (0,a), (γ,b), (1,c) first
// becomes 0 from below, within [0, late]; +Inf when it does not.
func firstRoot(a, b, c, late float64) float64 {
	if a >= 0 {
		return 0
	}
	lo, hi := 0.0, trGamma
	if b < 0 {
		lo, hi = trGamma, 1
		if c < 0 {
			lo, hi = 1, late
			if quadratic(a, b, c, late) < 0 {
				return inf
			}
		}
	}
	for range 60 {
		mid := (lo + hi) / 2
		if quadratic(a, b, c, mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// quadratic evaluates the parabola through (0,a), (γ,b), (1,c).
func quadratic(a, b, c, x float64) float64 {
	const g = trGamma
	return a*(x-g)*(x-1)/g + b*x*(x-1)/(g*(g-1)) + c*x*(x-g)/(1-g)
}

// prepareStep saves the state a step starts from.
func (s *Solver) prepareStep() {
	if s.curvesStale {
		for i := range s.mesh.n {
			s.setCurve(i)
		}
		s.curvesStale = false
	}
	s.old.copyFrom(&s.now)
	for i := range s.mesh.n {
		t := s.now.t[i]
		c := &s.curve[i]
		if t > s.bendC {
			s.invC[i] = 1 / c.cDry
		} else {
			s.invC[i] = 1 / (c.a1 + t*(2*c.a2+3*t*c.a3))
		}
	}
}

// reject goes back to the state the step started from.
func (s *Solver) reject() {
	s.rejected++
	s.now.copyFrom(&s.old)
	if s.moist {
		for i := range s.mesh.n {
			s.setCurve(i)
		}
	}
	for f := range s.faces {
		s.faces[f].surf.tempC = s.old.ts[f]
	}
}

package heat

import (
	"fmt"
	"math"
)

// savedState is the solver at the start of a leg, to which rehearsals of the
// leg go back.
type savedState struct {
	now       cells
	t         float64
	aDown     bool
	touchedAt [3]float64
	oiled     [3]float64
	plateOf   *Plate
	hNext     float64
	kinkStep  float64
	handed    bool
}

func (s *Solver) save() {
	sv := &s.saved
	sv.now.resize(s.mesh.n, len(s.faces))
	sv.now.copyFrom(&s.now)
	sv.kinkStep, sv.handed = s.kinkStep, s.handedOver
	sv.t, sv.aDown, sv.touchedAt, sv.oiled, sv.plateOf, sv.hNext = s.t, s.aDown, s.touchedAt, s.oiled, s.plateOf, s.hNext
}

func (s *Solver) restore() {
	sv := &s.saved
	s.now.copyFrom(&sv.now)
	s.old.copyFrom(&sv.now)
	s.t, s.aDown, s.touchedAt, s.oiled, s.plateOf, s.hNext = sv.t, sv.aDown, sv.touchedAt, sv.oiled, sv.plateOf, sv.hNext
	s.kinkStep, s.handedOver = sv.kinkStep, sv.handed
	for f := range s.faces {
		s.faces[f].surf.tempC = s.now.ts[f]
	}
	clear(s.dryRate[:s.mesh.n])
	s.curvesStale = true
}

// rehearse runs the leg with the given starts, records nothing and goes back.
func (s *Solver) rehearse(leg *Leg, starts []actionStart) (outcome, error) {
	s.reruns++
	res := s.recording
	s.recording = nil
	out, err := s.runLeg(leg, starts)
	s.recording = res
	s.restore()
	return out, err
}

// placeActions finds when each action of a leg begins. Actions that count
// back from the leg's end change that end, so the leg is rehearsed until the
// start and the end agree. Several such actions are placed one after another
// until none moves. Remarks tell of starts that could not be met exactly.
func (s *Solver) placeActions(leg *Leg) ([]actionStart, []string, error) {
	if len(leg.Also) == 0 {
		return nil, nil, nil
	}
	starts := make([]actionStart, len(leg.Also))
	remarks := make([]string, len(leg.Also))
	back := 0
	for k := range leg.Also {
		starts[k] = never
		if a := &leg.Also[k]; a.FromS != nil {
			starts[k].timeS = *a.FromS
		} else {
			back++
		}
	}
	s.save()
	s.restore() // so that the leg itself starts from what its rehearsals did
	for range 4 {
		moved := false
		for k := range leg.Also {
			a := &leg.Also[k]
			was := starts[k]
			var err error
			switch {
			case a.FromTurnsBeforeEnd > 0:
				remarks[k], err = s.placeByTurns(leg, starts, k)
			case a.LastS > 0:
				remarks[k], err = s.placeByTime(leg, starts, k)
			}
			if err != nil {
				return nil, nil, err
			}
			moved = moved || starts[k].turn != was.turn || math.Abs(starts[k].timeS-was.timeS) > 0.01
		}
		if !moved || back < 2 {
			break
		}
	}
	kept := remarks[:0]
	for _, r := range remarks {
		if r != "" {
			kept = append(kept, r)
		}
	}
	return starts, kept, nil
}

// placeByTurns sets the start of action k at turn N−c+1 of the leg's N turns,
// c = FromTurnsBeforeEnd.
func (s *Solver) placeByTurns(leg *Leg, starts []actionStart, k int) (remark string, err error) {
	count := leg.Also[k].FromTurnsBeforeEnd
	turnsFrom := map[int]int{} // start turn → turns of the leg
	try := func(start int) (int, error) {
		if n, ok := turnsFrom[start]; ok {
			return n, nil
		}
		starts[k] = never
		if start >= 1 {
			starts[k].turn = start
		} else if start == 0 {
			starts[k].timeS = 0
		}
		out, err := s.rehearse(leg, starts)
		if err == nil {
			turnsFrom[start] = out.turns
		}
		return out.turns, err
	}
	place := func(start int) {
		starts[k] = never
		if start >= 1 {
			starts[k].turn = start
		} else {
			starts[k].timeS = 0
		}
	}
	total, err := try(-1) // without the action
	if err != nil {
		return "", err
	}
	start := total - count + 1
	lowest, highest := max(0, start), max(0, start)
	for range 12 {
		if start < 1 {
			start = 0
		}
		lowest, highest = min(lowest, start), max(highest, start)
		n, err := try(start)
		if err != nil {
			return "", err
		}
		want := n - count + 1
		if want == start || start == 0 && want < 1 {
			place(start)
			if start == 0 {
				return fmt.Sprintf("the leg has only %s: the action that starts %d before its end acts from its start",
					plural(n, "turn"), count), nil
			}
			return "", nil
		}
		if _, seen := turnsFrom[max(0, want)]; seen {
			break
		}
		start = want
	}
	// No start agrees with the end it causes. Take the latest that leaves at
	// least as many turns as asked.
	for start = highest + 1; start >= 0; start-- {
		n, err := try(start)
		if err != nil {
			return "", err
		}
		if n-start+1 >= count && (start == 0 || n >= start) {
			place(start)
			if left := n - start + 1; start > 0 && left != count {
				return fmt.Sprintf("no start leaves exactly %s after it, because the action itself changes their number; it starts at turn %d and %d remain",
					plural(count, "turn"), start, left), nil
			}
			return "", nil
		}
		if start < lowest-20 {
			break
		}
	}
	place(0)
	return fmt.Sprintf("no start leaves %s after it; the action acts from the leg's start", plural(count, "turn")), nil
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// placeByTime sets the start of action k so that it acts for the leg's last
// LastS seconds.
func (s *Solver) placeByTime(leg *Leg, starts []actionStart, k int) (remark string, err error) {
	last := leg.Also[k].LastS
	starts[k] = never
	out, err := s.rehearse(leg, starts)
	if err != nil {
		return "", err
	}
	// excess(x) = end(x) − x − last falls with x; its root is the start.
	excess := func(x float64) (float64, error) {
		starts[k] = actionStart{timeS: x}
		out, err := s.rehearse(leg, starts)
		return out.endS - x - last, err
	}
	x := out.endS - last
	if x <= 0 {
		starts[k] = actionStart{timeS: 0}
		return fmt.Sprintf("the leg lasts %.0f s, so the action for its last %.0f s acts throughout", out.endS, last), nil
	}
	lo, hi := 0.0, out.endS // excess ≥ 0 at lo unless the action shortens the leg below it
	for range 25 {
		e, err := excess(x)
		if err != nil {
			return "", err
		}
		if math.Abs(e) < 0.005 {
			return "", nil
		}
		if e > 0 {
			lo = x
		} else {
			hi = x
		}
		next := x + e
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if hi-lo < 0.005 {
			break
		}
		x = next
	}
	starts[k] = actionStart{timeS: lo}
	if e, err := excess(lo); err != nil {
		return "", err
	} else if e < 0.1 {
		return "", nil
	}
	if lo == 0 {
		return fmt.Sprintf("the action shortens the leg below %.0f s and acts throughout", last), nil
	}
	return fmt.Sprintf("no start leaves exactly %.0f s after it, because the action moves the leg's end; the latest that leaves at least as much is taken", last), nil
}

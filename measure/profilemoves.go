package measure

import (
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

const (
	// doubtfulMisfitK is the misfit from which on the traces are asked for
	// changes of heat that nobody marked, K.
	doubtfulMisfitK = 0.8
	// likelyChange is the confidence from which what they tell counts: a
	// needless change costs little.
	likelyChange = 0.5
	// apartS is how far such a change must be from a marked one, s.
	apartS = 30
)

// movesNoted are the times of moves that are kept as notes: see [OfferMarks].
func (v *view) movesNoted() (out []float64) {
	for _, m := range v.in.Cook.Marks {
		if m.Kind == study.NoteMark && strings.HasPrefix(m.Note, trace.Moved+":") {
			out = append(out, float64(m.AtUS)/1e6)
		}
	}
	return out
}

// change is a change of heat that the traces tell and nobody marked.
type change struct {
	atS float64
	why string
}

// changesTold are the changes of heat that the traces tell away from what was
// marked, whatever they are taken for: from an oven into a pan looks like heat
// on.
func (v *view) changesTold(opt ProfileOptions) (out []change) {
	zero, traces := clockOf(v.in)
	marked := slices.Concat(opt.TurnsS, opt.ChangesS, []float64{0, opt.OffS})
	for _, e := range trace.Detect(traces, detecting(v.in)) {
		at := float64(e.AtUS-zero) / 1e6
		switch e.Kind {
		case trace.HeatOn, trace.Turn, trace.Moved, trace.OffHeat:
		default:
			continue
		}
		if e.Confidence < likelyChange || at < 0 || opt.EndS > 0 && at > opt.EndS ||
			slices.ContainsFunc(marked, func(m float64) bool { return math.Abs(m-at) < apartS }) {
			continue
		}
		out = append(out, change{at, e.Why})
	}
	return out
}

// withChanges fits a doubtful profile once more with the changes of heat that
// the traces tell, and takes that where it fits clearly better.
func (v *view) withChanges(first *Profile, sensors []ProfileSensor, opt *ProfileOptions) *Profile {
	if first.MisfitK < doubtfulMisfitK || conducts(sensors, opt) {
		return first
	}
	told := v.changesTold(*opt)
	if len(told) == 0 {
		return first
	}
	changed := *opt
	changed.ChangesS = slices.Clone(opt.ChangesS)
	for _, c := range told {
		changed.ChangesS = append(changed.ChangesS, c.atS)
	}
	second, err := FitProfile(sensors, changed)
	if err != nil || second.MisfitK > first.MisfitK/1.5 {
		return first
	}
	for _, c := range told {
		v.notes = append(v.notes, fault.Notef("change-detected",
			"at %.0f s from heat on the heat changed and nobody marked it (%s): the fit of the profile lets what touches the piece change there", c.atS, c.why))
	}
	*opt = changed
	return second
}

// conducts tells whether both faces have sensors and stay below boiling: then
// their readings bound the slab, and moves need not be known.
func conducts(sensors []ProfileSensor, opt *ProfileOptions) bool {
	faces := 0
	for _, s := range sensors {
		if s.OnProbe || s.DepthM >= 0.1e-3 && opt.ThicknessM-s.DepthM >= 0.1e-3 {
			continue
		}
		if slices.Max(s.C) > opt.crustC() {
			return false
		}
		faces++
	}
	return faces == 2
}

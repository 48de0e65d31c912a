package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Thresholds of a scale at rest; our choice, no source.
const (
	restS    = 4.0  // it must hold still for so long, s
	restG    = 0.5  // within so much, or three of its steps, g
	emptyG   = 5.0  // an empty scale shows less than this, g
	emptyPct = 0.02 // and less than this share of the most it showed

	atPullS    = 180.0 // a weighing off the heat is made within this
	leastRestS = 60.0  // one after the rest not before this
)

// Plateau is a time at which a scale was at rest.
type Plateau struct {
	FromS, ToS float64
	FirstG     float64 // mass at its beginning and end, less the tare
	LastG      float64
	TareG      float64 // what the empty scale showed last; 0 when never seen
	Empty      bool
}

// Settle finds where a scale was at rest: readings that stay within half a
// gram (three of its steps if those are larger) for four seconds, so that a
// hand, a tray being moved and the swing after it are left out. What an empty
// scale shows between is the tare of what follows. A piece that loses a gram
// a minute is at rest. Readings further apart are judged three at a time.
func Settle(timeS, massG []float64, stepG float64) []Plateau {
	band := math.Max(restG, 3*stepG)
	var out []Plateau
	most := 0.0
	for _, m := range massG {
		most = math.Max(most, m)
	}
	tare := 0.0
	for i := 0; i < len(timeS); {
		// Grow from i while a window of restS stays within the band.
		j := i
		for j+1 < len(timeS) && timeS[j+1]-timeS[j] < 30 {
			// A slow fall is allowed: the band counts over the last restS.
			k := j
			lo, hi := massG[j+1], massG[j+1]
			// A coarse log is judged by three readings at least.
			for k >= i && (timeS[j+1]-timeS[k] <= restS || j+1-k < 3) {
				lo, hi = math.Min(lo, massG[k]), math.Max(hi, massG[k])
				k--
			}
			if hi-lo > band {
				break
			}
			j++
		}
		if timeS[j]-timeS[i] >= restS && j > i+1 {
			a, b := edges(timeS[i:j+1], massG[i:j+1])
			p := Plateau{FromS: timeS[i], ToS: timeS[j], FirstG: a - tare, LastG: b - tare, TareG: tare}
			if math.Max(a, b) < math.Max(emptyG, emptyPct*most) {
				p.Empty, tare = true, b
			}
			out = append(out, p)
		}
		i = j + 1
	}
	return out
}

// edges are the medians of the first and the last few seconds.
func edges(t, m []float64) (first, last float64) {
	n := len(t)
	i, j := 1, n-1
	for i < n && t[i]-t[0] <= restS {
		i++
	}
	for j > 0 && t[n-1]-t[j-1] <= restS {
		j--
	}
	return median(slices.Clone(m[:i])), median(slices.Clone(m[j:]))
}

// atRest keeps the readings of a loaded scale at rest.
func atRest(s series) series {
	out := s
	out.timeS, out.value = nil, nil
	for _, p := range Settle(s.timeS, s.value, s.stepU) {
		if p.Empty {
			continue
		}
		w := s.between(p.FromS, p.ToS)
		for i := range w.timeS {
			out.timeS, out.value = append(out.timeS, w.timeS[i]), append(out.value, w.value[i]-p.TareG)
		}
	}
	return out
}

// fromScale reads a stage's mass from the scale channel: raw is the last
// loaded rest before heat on, off the heat the first within three minutes of
// the pull, rested the last before serving.
func (v *view) fromScale(stage study.Stage) (study.Weighing, bool) {
	scales := v.channels(trace.Scale)
	if len(scales) == 0 {
		return study.Weighing{}, false
	}
	s := scales[0]
	pull, errPull := v.pullS()
	serve, errServe := v.servingS()
	var from, to float64
	switch {
	case stage == study.Raw && v.in.Cook.ZeroSet:
		from, to = math.Inf(-1), 0
	case stage == study.AtPull && errPull == nil:
		from, to = pull, pull+atPullS
	case stage == study.AfterRest && errPull == nil && errServe == nil:
		from, to = pull+leastRestS, serve
	default:
		return study.Weighing{}, false
	}
	var best Plateau
	found := false
	for _, p := range Settle(s.timeS, s.value, s.stepU) {
		if p.Empty || found && stage == study.AtPull {
			continue
		}
		// A rest that goes on beyond the moment counts up to it.
		w := s.between(math.Max(p.FromS, from), math.Min(p.ToS, to))
		if len(w.timeS) == 0 {
			continue
		}
		a, b := edges(w.timeS, w.value)
		best, found = Plateau{FromS: w.timeS[0], ToS: w.timeS[len(w.timeS)-1], FirstG: a - p.TareG, LastG: b - p.TareG}, true
	}
	if !found {
		return study.Weighing{}, false
	}
	w := study.Weighing{Stage: stage, MassG: best.LastG, AtUS: int64(best.ToS * 1e6), HasAt: true, ResG: s.stepU, Note: "from the scale channel"}
	if stage == study.AtPull {
		w.MassG, w.AtUS = best.FirstG, int64(best.FromS*1e6)
	}
	note := fault.Notef("weighed-by-channel", "the mass %s (%.1f g) is read from the scale channel at %s", stageWords(stage), w.MassG, clockText(float64(w.AtUS)/1e6))
	if !slices.Contains(v.notes, note) {
		v.notes = append(v.notes, note)
	}
	return w, true
}

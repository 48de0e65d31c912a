package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// How well the optional corrections are known; our choice, no source.
const (
	lagShare  = 0.2 // standard uncertainty of a time constant, of itself
	stemShare = 0.5 // half width of a stem's correction, of itself
)

// stemHeat is the heat that a stem brings to its sensor: the share of the
// difference between handle and tip, and the handle's temperature.
type stemHeat struct {
	share  float64
	handle func(t float64) (float64, bool)
}

// instrument finds what a channel names as its sensor.
func (in Input) instrument(ch trace.Channel) (study.Instrument, bool) {
	i := slices.IndexFunc(in.Instruments, func(x study.Instrument) bool { return x.ID == ch.Sensor })
	if ch.Sensor == "" || i < 0 {
		return study.Instrument{}, false
	}
	return in.Instruments[i], true
}

// correctCourses applies the corrections for lag and for heat along the stem
// that the register asks for, and notes each with its size. The traces stay
// as they are.
func (v *view) correctCourses() {
	for i := range v.all {
		s := &v.all[i]
		x, ok := v.in.instrument(s.ch)
		if !ok || len(s.timeS) < 3 || !s.ch.IsTemperature() {
			continue
		}
		if x.LagS > 0 && !v.in.withLag {
			v.undoLag(s, x)
		}
		if x.Stem != nil {
			v.undoStem(s, x)
		}
	}
}

func (v *view) undoLag(s *series, x study.Instrument) {
	out, err := LagCorrected(s.timeS, s.value, x.LagS)
	if err != nil {
		v.notes = append(v.notes, fault.Notef("sensor-lag-left", "%s is not corrected for lag: %s", s.ch.ID, fault.As(err).Message))
		return
	}
	by := farthest(s.value, out)
	s.value, s.lagS = out, x.LagS
	v.notes = append(v.notes, fault.Notef("sensor-lag-corrected", "%s is corrected for its lag: %s follows with a time constant of %.3g s; by %+.1f K at most", s.ch.ID, x.ID, x.LagS, by))
}

func (v *view) undoStem(s *series, x study.Instrument) {
	heat := stemHeat{share: StemError(x.Stem.LengthM, x.Stem.DiameterM, x.Stem.ConductivityWMK, x.Stem.FilmWM2K)}
	if c := x.Stem.HandleC; c != nil {
		heat.handle = func(float64) (float64, bool) { return *c, true }
	} else if air := v.held(trace.Air); len(air) > 0 {
		heat.handle = air[0].at
	}
	if heat.handle == nil || heat.share > 0.5 {
		v.notes = append(v.notes, fault.Notef("sensor-stem-left", "%s is not corrected for heat along its stem: %s", s.ch.ID, stemWhy(heat)))
		return
	}
	out := slices.Clone(s.value)
	for i, t := range s.timeS {
		if handle, ok := heat.handle(t); ok {
			out[i] += heat.share / (1 - heat.share) * (s.value[i] - handle)
		}
	}
	by := farthest(s.value, out)
	s.value, s.stem = out, &heat
	v.notes = append(v.notes, fault.Notef("sensor-stem-corrected", "%s is corrected for heat along its stem: the tip of %s feels %.2g %% of the difference to its handle; by %+.1f K at most", s.ch.ID, x.ID, 100*heat.share, by))
}

func stemWhy(h stemHeat) string {
	if h.handle == nil {
		return "nothing says how warm its handle is, and there is no air channel"
	}
	return "so short a stem tells more of its handle than of its tip"
}

// farthest is the largest change from a to b, with its sign.
func farthest(a, b []float64) float64 {
	by := 0.0
	for i := range a {
		if d := b[i] - a[i]; math.Abs(d) > math.Abs(by) {
			by = d
		}
	}
	return by
}

// course is what the corrections for lag and stem add at a temperature, its
// slope and a time; empty where none was made.
func (s *series) course(tC, slopeKPerS, t float64) []Source {
	var out []Source
	if s.lagS > 0 {
		out = append(out, Source{"correction for the sensor's lag", "B", lagShare * s.lagS * math.Abs(slopeKPerS)})
	}
	if s.stem != nil {
		if handle, ok := s.stem.handle(t); ok {
			out = append(out, Source{"correction for heat along the stem", "B", rectangular(stemShare * s.stem.share * math.Abs(tC-handle))})
		}
	}
	return out
}

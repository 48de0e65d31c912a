package measure

import (
	"slices"
	"strings"

	"trivet/quantity"
	"trivet/study"
	"trivet/trace"
)

// Responses that rest on one kind of record.
var (
	fromInside  = []string{"time_to_core", "core_at_pull", "core_peak", "carryover", "time_to_peak", "heating_rate", "surface_at_serving", "face_spread", "even_share", "lethality"}
	fromFaces   = []string{"surface_at_serving", "face_spread", "even_share", "steam_heat"}
	fromPan     = []string{"pan_mean", "pan_sag"}
	fromMass    = []string{"cooking_loss", "rest_loss", "total_loss", "drip_loss", "evaporation_loss"}
	fromCurve   = []string{"steam_rate", "steam_heat"}
	fromHeatOn  = []string{"time_to_core", "heating_rate", "pan_mean", "pan_sag"}
	fromOffHeat = []string{"core_at_pull", "core_peak", "carryover", "time_to_peak", "heating_rate", "even_share", "steam_rate", "steam_heat", "pan_mean"}
)

// Touches reports whether a finding bears on a response; typed says that its
// value was typed in. What the cook itself was like (the piece, the pan)
// bears on all, what its sensors and clocks did on what is computed from them.
func (f Finding) Touches(response string, typed bool) bool {
	id, _ := study.SplitResponse(response)
	if len(f.Responses) > 0 {
		return slices.ContainsFunc(f.Responses, func(r string) bool { return r == response || r == id })
	}
	switch f.Code {
	case "thickness-outside", "thickness-missing", "start-outside", "start-missing", "mass-outside", "pan-off":
		return true
	}
	if _, built := study.LookupResponse(id); typed || !built {
		return false
	}
	switch f.Code {
	case "gap", "flat-line", "spike", "core-impossible", "sensors-disagree", "sensor-unchecked", "check-far", "check-refused":
		return slices.Contains(ofPlace(f.Place), id)
	case "mass-gained":
		return slices.Contains(fromMass, id)
	case "no-heat-on":
		return slices.Contains(fromHeatOn, id)
	case "no-off-heat":
		return slices.Contains(fromOffHeat, id)
	}
	return !slices.Contains(fromMass, id) // a clock moves what is read from traces
}

// ofPlace are the responses computed from a channel at a place; "" stands for
// the sensors of the piece together.
func ofPlace(p trace.Place) []string {
	switch p {
	case trace.Core, trace.Depth, "":
		return fromInside
	case trace.Surface:
		return fromFaces
	case trace.Pan:
		return fromPan
	case trace.Scale:
		return append(slices.Clone(fromMass), fromCurve...)
	}
	return nil
}

// targetC is the temperature written in brackets after a response's name.
func targetC(target string) (float64, bool) {
	t, err := quantity.ParseTemperature(target)
	return t.C(), err == nil
}

// crossings says where the core passes a target that a question asks for
// while nothing was recorded: the time is then read from a straight line
// across the gap.
func (q *qualityCheck) crossings(t *trace.Trace) {
	if q.s == nil || t.Channel.Place != trace.Core {
		return
	}
	for _, x := range q.s.Questions {
		id, target := study.SplitResponse(x.Response)
		goal, ok := targetC(target)
		if id != "time_to_core" || !ok {
			continue
		}
		last, have := 0, false
		for i := t.Index(q.from); i < t.Len(); i++ {
			v, present := t.Value(i)
			if !present {
				continue
			}
			if v >= goal {
				from, to := t.TimesUS[last], t.TimesUS[i]
				if have && to-from > q.gapUS(t) {
					q.add(Finding{Code: "gap-at-crossing", Severity: QualityDoubt, Channel: t.Channel.ID, Place: t.Channel.Place, Responses: []string{x.Response},
						FromS: q.sec(from), ToS: q.sec(to), Value: float64(to-from) / 1e6},
						"%s passes %s in a gap from %s to %s: the time is read across it", t.Channel.ID, strings.TrimSpace(target), clockText(q.sec(from)), clockText(q.sec(to)))
				}
				break
			}
			last, have = i, true
		}
	}
}

package measure

import (
	"fmt"
	"math"
	"slices"

	"trivet/fault"
	"trivet/quantity"
	"trivet/study"
	"trivet/trace"
)

// DefinitionsVersion rises whenever [Definitions] would give other values.
const DefinitionsVersion = 1

// Definition is another way of reading a response that a careful reader could
// have chosen: a finding that hangs on the choice should say so.
type Definition struct {
	ID    string
	Short string // a few words for a picture
	Says  string // a plain phrase that follows "with"
}

// Other is a response of a cook under another definition, in the same unit.
type Other struct {
	Response   string  `json:"response"`
	Definition string  `json:"definition"`
	Value      float64 `json:"value"`
	StdU       float64 `json:"std_u"`
	Step       float64 `json:"resolution_step"`
	Why        string  `json:"why,omitempty"` // no value: why
}

// other is a definition and how it changes the reading.
type other struct {
	Definition
	def     reading
	formula formula // in place of the response's own; nil keeps it
}

// reading is what the formulas may be told to read otherwise. The zero value
// is the response's own definition.
type reading struct {
	coldestSensor bool    // the core is the coldest sensor, not the fitted centre
	sensors       bool    // the profile is that of the sensors, not the fitted one
	atServing     bool    // the profile is read at serving, not at the pull
	bandK         float64 // half width of the band of even_share
	overS         float64 // the surface is averaged over so long before serving
	ends          bool    // the mass falls from its first to its last reading
	panFromS      float64 // the pan is averaged from then on
	panWithinS    float64 // the pan's fall is looked for within
}

// targetShiftK is how far a target temperature is moved.
const targetShiftK = 2

var coldestSensor = other{Definition{"coldest-sensor", "coldest sensor", "the core read as the coldest sensor inside instead of the centre of the fitted profile"}, reading{coldestSensor: true}, nil}

var bySensors = other{Definition{"sensors", "sensors alone", "the sensors as they read instead of the profile fitted to them"}, reading{sensors: true}, nil}

var whenServed = other{Definition{"at-serving", "at serving", "the profile at serving instead of at the pull"}, reading{atServing: true}, nil}

var firstToLast = other{Definition{"first-to-last", "first and last mass", "the first and the last mass of the rest instead of the median of all slopes"}, reading{ends: true}, nil}

var others = map[string][]other{
	"core_at_pull": {coldestSensor},
	"core_peak":    {coldestSensor},
	"carryover":    {coldestSensor},
	"time_to_peak": {coldestSensor},
	"heating_rate": {coldestSensor},
	"surface_at_serving": {
		{Definition{"mean-10-s", "mean over 10 s", "the mean surface over the 10 s before serving instead of that moment"}, reading{overS: 10}, nil},
	},
	"face_spread": {bySensors, whenServed},
	"even_share": {
		{Definition{"within-3-k", "within 3 K", "the share within 3 K instead of 5 K"}, reading{bandK: 3}, nil},
		{Definition{"within-8-k", "within 8 K", "the share within 8 K instead of 5 K"}, reading{bandK: 8}, nil},
		bySensors, whenServed,
	},
	"cooking_loss": {{Definition{"with-rest", "with the rest", "the loss of the rest added"}, reading{}, totalLoss}},
	"rest_loss":    {{Definition{"of-pulled", "in % off the heat", "the loss in % of the mass off the heat instead of the raw mass"}, reading{}, restOfPulled}},
	"total_loss":   {{Definition{"before-cutting", "before cutting", "the mass before cutting instead of after"}, reading{}, beforeCutting}},
	"steam_rate":   {firstToLast},
	"steam_heat":   {firstToLast},
	"pan_mean":     {{Definition{"after-1-min", "after 1 min", "the pan's mean without the first minute"}, reading{panFromS: 60}, nil}},
	"pan_sag":      {{Definition{"within-1-min", "within 1 min", "the lowest pan within one minute instead of two"}, reading{panWithinS: 60}, nil}},
}

// medianOfRepeats is the other definition of a reading with repeats.
var medianOfRepeats = Definition{"median", "median", "the median of the repeats instead of their mean"}

// Definitions are the other definitions of a response, the same for every
// cook. Of the drip, of what evaporated and of lethality there is none: the
// first two are weighed, and the last is read from the coldest estimate on
// purpose. A name that is no built-in response is a typed reading.
func Definitions(response string) []Definition {
	var out []Definition
	for _, o := range definitionsOf(response) {
		out = append(out, o.Definition)
	}
	if id, _ := study.SplitResponse(response); formulas[id] == nil {
		out = append(out, medianOfRepeats)
	}
	return out
}

func definitionsOf(response string) []other {
	id, target := study.SplitResponse(response)
	if id != "time_to_core" {
		return others[id]
	}
	want, err := quantity.ParseTemperature(target)
	if err != nil {
		return nil
	}
	var out []other
	for _, by := range []float64{-targetShiftK, targetShiftK} {
		moved := fmt.Sprintf("%g °C", want.C()+by)
		way, sign := "lower", "−"
		if by > 0 {
			way, sign = "higher", "+"
		}
		out = append(out, other{Definition{"target-" + way, fmt.Sprintf("target %s%d K", sign, targetShiftK), fmt.Sprintf("a target %d K %s", targetShiftK, way)}, reading{},
			func(v *view, _ string) (Response, error) { return timeToCore(v, moved) }})
	}
	return append(out, coldestSensor)
}

// others reads a response by its other definitions.
func (v *view) others(name string) []Other {
	if i := slices.IndexFunc(v.in.Cook.Readings, func(r study.Reading) bool { return r.Response == name }); i >= 0 {
		return medianOf(v.in.Cook.Readings[i])
	}
	id, target := study.SplitResponse(name)
	var out []Other
	for _, o := range definitionsOf(name) {
		f := o.formula
		if f == nil {
			f = formulas[id]
		}
		out = append(out, v.by(o, name, target, f))
	}
	return out
}

func (v *view) by(o other, name, target string, f formula) Other {
	out := Other{Response: name, Definition: o.ID}
	v.def = o.def
	defer func() { v.def = reading{} }()
	r, err := f(v, target)
	switch {
	case err != nil:
		out.Why = "it cannot be read so"
		if x := fault.As(err); x != nil {
			out.Why = x.Message
		}
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		out.Why = "it came out as no number"
	default:
		id, _ := study.SplitResponse(name)
		v.addClocks(id, &r)
		out.Value, out.StdU, out.Step = r.Value, combine(r.Budget), r.ResolutionStep
	}
	return out
}

// medianOf is the median of a reading's repeats; none where it is the mean by
// its nature (up to two) or not a number.
func medianOf(r study.Reading) []Other {
	if r.Kind != study.Number && r.Kind != "" || len(r.Values) < 3 {
		return nil
	}
	mean, err := fromReading(r)
	if err != nil {
		return nil
	}
	// Of normal repeats the median scatters √(π/2) as much as the mean.
	return []Other{{Response: r.Response, Definition: medianOfRepeats.ID, Value: median(slices.Clone(r.Values)), StdU: math.Sqrt(math.Pi/2) * mean.StdU}}
}

// coldestSensor is the coldest of the sensors inside at each time.
func (v *view) coldestSensor() (series, error) {
	inside := v.channels(trace.Core, trace.Depth)
	if len(inside) == 0 {
		return series{}, absent("there is no sensor inside the piece").WithFix("name the core's channel in the column map")
	}
	if len(inside) == 1 && v.fit() == nil {
		return series{}, absent("one sensor alone is inside, and the core is read from it already")
	}
	out := inside[0]
	out.ch.Place, out.ch.ID = trace.Core, "coldest sensor"
	out.value = slices.Clone(out.value)
	for i, t := range out.timeS {
		for k := range inside {
			if c, ok := inside[k].at(t); ok {
				out.value[i] = min(out.value[i], c)
			}
		}
	}
	return out, nil
}

// profileS is when the profile is read: at the pull, or at serving where that
// is asked for.
func (v *view) profileS() (float64, error) {
	if v.def.atServing {
		return v.servingS()
	}
	return v.pullS()
}

// profileFit is the fitted profile unless the sensors alone are asked for.
func (v *view) profileFit() (*Profile, error) {
	p := v.fit()
	if !v.def.sensors {
		if p != nil {
			v.channels(trace.Core, trace.Depth, trace.Surface)
		}
		return p, nil
	}
	if p == nil {
		return nil, absent("no profile was fitted: the sensors are taken as they are already")
	}
	return nil, nil
}

// bandK is the half width of the band of even_share.
func (v *view) bandK() float64 {
	if v.def.bandK > 0 {
		return v.def.bandK
	}
	return evenBandK
}

// restOfPulled is 100 (off heat − rested)/off heat, %.
func restOfPulled(v *view, _ string) (Response, error) {
	r, err := v.loss(study.AtPull, study.AfterRest)
	if err != nil {
		return r, err
	}
	raw, err := v.raw()
	if err != nil {
		return r, err
	}
	pulled, _ := v.weighing(study.AtPull)
	if !(pulled.MassG > 0) {
		return Response{}, absent("the piece was not weighed %s", stageWords(study.AtPull))
	}
	k := raw.MassG / pulled.MassG
	r.Value, r.ResolutionStep = r.Value*k, r.ResolutionStep*k
	for i := range r.Budget {
		r.Budget[i].StdU *= k
	}
	return r, nil
}

// beforeCutting is the total loss by the weighing after the rest, where one
// after cutting decides.
func beforeCutting(v *view, _ string) (Response, error) {
	if _, ok := v.typed(study.AfterCut); !ok {
		return Response{}, absent("it was not weighed after cutting: the mass after the rest is used already")
	}
	return v.loss(study.Raw, study.AfterRest)
}

// surfaceBefore is the mean over a time up to serving of what the surface
// reads at each moment.
func surfaceBefore(v *view, serveS float64) (Response, error) {
	last, err := v.surfaceAt(serveS)
	if err != nil {
		return last, err
	}
	sum, n := last.Value, 1.0
	for t := serveS - 1; t >= serveS-v.def.overS-1e-9; t-- {
		r, err := v.surfaceAt(t)
		if err != nil {
			return r, absent("the surface was not recorded through the %g s before serving", v.def.overS)
		}
		sum, n = sum+r.Value, n+1
	}
	last.Value = sum / n
	return last, nil
}

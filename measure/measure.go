// Package measure turns what a cook recorded (traces, marks, weighings and
// typed readings) into responses: one value a cook, each with a standard
// uncertainty and the sources it was built from.
//
// Start with [Cook]. The built-in responses and their units are listed by
// study.Responses; any other name is a reading that a person typed in.
//
// Uncertainties follow JCGM 100:2008 (the GUM): each source has a standard
// uncertainty of type A (from scatter) or B (from knowledge), combined as a
// root sum of squares. They describe one cook's value. The spread between
// pieces is not in them: that is what the pairs of a study are for.
package measure

import (
	"cmp"
	"math"
	"slices"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// MethodVersion rises whenever the same record would give other numbers.
const MethodVersion = 8

// Response is one value of a cook.
type Response struct {
	Name   string            `json:"name"`
	Unit   string            `json:"unit"`
	Kind   study.ReadingKind `json:"kind"`
	Value  float64           `json:"value"`
	StdU   float64           `json:"std_u"` // combined standard uncertainty, same unit
	Budget []Source          `json:"budget"`
	// ResolutionStep is the smallest step the instrument can show, in the
	// response's unit; 0 when unknown.
	ResolutionStep float64  `json:"resolution_step"`
	Repeats        int      `json:"repeats"` // values averaged inside the piece
	SpreadSD       float64  `json:"spread_sd"`
	Grades         []string `json:"grades,omitempty"`
	Blind          bool     `json:"blind"`
	Typed          bool     `json:"typed"` // typed in rather than computed
	// SensorChecked says that the sensor behind the value was checked at a
	// fixed point.
	SensorChecked bool         `json:"sensor_checked"`
	Notes         []fault.Note `json:"notes,omitempty"`

	from  []string           // what it was read from
	draws drawn              // where a Monte Carlo propagation was made
	nu    map[string]float64 // degrees of freedom of a source, where they are few
}

// Source is one line of an uncertainty budget.
type Source struct {
	Name string  `json:"name"`
	Type string  `json:"type"` // "A" or "B"
	StdU float64 `json:"std_u"`
}

// Absent says why a response could not be computed.
type Absent struct {
	Name string `json:"name"`
	Why  string `json:"why"`
	Fix  string `json:"fix"`
}

// Input is what one cook recorded.
type Input struct {
	Cook   study.Cook
	Piece  study.Piece // zero when unknown
	Traces []trace.Trace
	// Instruments are the study's register: channels that name one are
	// corrected by its checks.
	Instruments []study.Instrument
	// Foods say what was cooked, for lethality; zero when unknown.
	Foods study.Foods
	// Asked are responses wanted beside the built-in ones where none is
	// named: those of the study's questions.
	Asked []string
	// Others asks for the named responses by their other definitions too.
	Others bool
	// Fits, if given, remembers profiles between measurements.
	Fits *Fits

	withLag  bool // lag is left in
	oneClock bool // the corrections of the clocks were applied: see [OneClock]
}

// Result holds the responses of a cook.
type Result struct {
	Responses []Response   `json:"responses"`
	Absent    []Absent     `json:"absent,omitempty"`
	Notes     []fault.Note `json:"notes,omitempty"`
	// Others are the responses by other definitions, where those were asked for.
	Others []Other `json:"other_definitions,omitempty"`
}

// Remarks are the notes on the cook and on its responses, each once.
func (r *Result) Remarks() []fault.Note {
	out := slices.Clone(r.Notes)
	for _, x := range r.Responses {
		for _, n := range x.Notes {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// Get returns a response by name.
func (r *Result) Get(name string) (Response, bool) {
	for _, x := range r.Responses {
		if x.Name == name {
			return x, true
		}
	}
	return Response{}, false
}

// formula computes one built-in response from a cook; target is the text in
// brackets after the name, e.g. "60 °C".
type formula func(v *view, target string) (Response, error)

var formulas = map[string]formula{
	"time_to_core":       timeToCore,
	"core_at_pull":       coreAtPull,
	"core_peak":          corePeak,
	"carryover":          carryover,
	"time_to_peak":       timeToPeak,
	"heating_rate":       heatingRate,
	"surface_at_serving": surfaceAtServing,
	"face_spread":        faceSpread,
	"even_share":         evenShare,
	"cooking_loss":       cookingLoss,
	"rest_loss":          restLoss,
	"total_loss":         totalLoss,
	"drip_loss":          dripLoss,
	"evaporation_loss":   evaporationLoss,
	"steam_rate":         steamRate,
	"steam_heat":         steamHeat,
	"pan_mean":           panMean,
	"pan_sag":            panSag,
	"lethality":          lethality,
}

// Cook computes the named responses of a cook. Without names it computes
// every built-in one that the record allows, those that are asked, and takes
// over every typed reading; what is missing for a response that is named or
// asked is told in Absent.
func Cook(in Input, names ...string) (*Result, error) {
	v, err := newView(in)
	if err != nil {
		return nil, err
	}
	out := &Result{}
	all := len(names) == 0
	if all {
		for _, r := range study.Responses() {
			if !r.Target && formulas[r.ID] != nil {
				names = append(names, r.ID)
			}
		}
		for _, r := range in.Cook.Readings {
			if !slices.Contains(names, r.Response) {
				names = append(names, r.Response)
			}
		}
		for _, r := range in.Asked {
			if r != "" && !slices.Contains(names, r) {
				names = append(names, r)
			}
		}
	}
	for _, name := range names {
		r, err := v.compute(name)
		if err == nil {
			out.Responses = append(out.Responses, r)
			if in.Others {
				out.Others = append(out.Others, v.others(name)...)
			}
			continue
		}
		f := fault.As(err)
		if f == nil || f.Kind == fault.Internal {
			return nil, err
		}
		if f.Kind == fault.Usage {
			return nil, err
		}
		if !all || slices.Contains(in.Asked, name) {
			out.Absent = append(out.Absent, Absent{Name: name, Why: f.Message, Fix: f.Fix})
		}
	}
	out.Notes = v.notes
	return out, nil
}

// compute finds the formula or the typed reading of a name. A typed reading
// under a built-in name stands in for the formula, with a note.
func (v *view) compute(name string) (Response, error) {
	for _, r := range v.in.Cook.Readings {
		if r.Response == name {
			return fromReading(r)
		}
	}
	id, target := study.SplitResponse(name)
	f := formulas[id]
	if f == nil {
		return Response{}, absent("no reading of %s was typed in for this cook", name).
			WithFix("add it under readings")
	}
	v.read = sourcesRead{}
	r, err := f(v, target)
	if err != nil {
		return Response{}, err
	}
	r.Name, r.Kind, r.from = name, study.Number, v.read.words()
	v.addClocks(id, &r)
	r.StdU = combine(r.Budget)
	r.SensorChecked = slices.ContainsFunc(r.Budget, func(s Source) bool { return s.Name == checkedSensor })
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return Response{}, absent("%s came out as no number", name)
	}
	return r, nil
}

func absent(format string, args ...any) *fault.Error { return fault.New("absent", format, args...) }

// combine is the root sum of squares of a budget (JCGM 100:2008, 5.1.2, with
// sensitivities already applied and no correlations).
func combine(budget []Source) float64 {
	sum := 0.0
	for _, s := range budget {
		sum += s.StdU * s.StdU
	}
	return math.Sqrt(sum)
}

// Dominant returns the largest source of a response's uncertainty and the
// share of the variance it makes, 0 to 1.
func (r Response) Dominant() (Source, float64) {
	if len(r.Budget) == 0 || r.StdU == 0 {
		return Source{}, 0
	}
	top := slices.MaxFunc(r.Budget, func(a, b Source) int { return cmp.Compare(a.StdU, b.StdU) })
	return top, top.StdU * top.StdU / (r.StdU * r.StdU)
}

// fromReading averages the repeats inside a piece: they count as one piece,
// and their spread is kept. The mean's type A uncertainty is s/√n.
func fromReading(r study.Reading) (Response, error) {
	n := len(r.Values)
	if n == 0 {
		return Response{}, absent("the reading of %s has no value", r.Response)
	}
	mean := 0.0
	for _, x := range r.Values {
		mean += x
	}
	mean /= float64(n)
	ss := 0.0
	for _, x := range r.Values {
		ss += (x - mean) * (x - mean)
	}
	out := Response{Name: r.Response, Unit: r.Unit, Kind: r.Kind, Value: mean, Repeats: n,
		Grades: r.Grades, Blind: r.Blind, Typed: true}
	if n > 1 {
		const scatter = "scatter of repeats inside the piece"
		out.SpreadSD = math.Sqrt(ss / float64(n-1))
		out.Budget = append(out.Budget, Source{scatter, "A", out.SpreadSD / math.Sqrt(float64(n))})
		out.withNu(scatter, float64(n-1))
	}
	if r.StdU > 0 {
		out.Budget = append(out.Budget, Source{"stated with the reading", "B", r.StdU})
	}
	out.StdU = combine(out.Budget)
	return out, nil
}

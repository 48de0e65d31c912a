package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/steam"
	"trivet/study"
	"trivet/trace"
)

const (
	// assumedScaleG is the resolution assumed for a scale that does not
	// state one, g.
	assumedScaleG  = 1
	assumedScaleOz = 2.834952 // of one typed in ounces
	// scaleRepeatG is the repeatability of putting a piece on a scale, g
	// (common practice, no source).
	scaleRepeatG = 0.3
)

// weighing returns the last weighing of a stage that was typed in, else what
// the scale channel shows at rest then.
func (v *view) weighing(stage study.Stage) (study.Weighing, bool) {
	if w, ok := v.typed(stage); ok {
		return w, true
	}
	return v.fromScale(stage)
}

func (v *view) typed(stage study.Stage) (study.Weighing, bool) {
	var out study.Weighing
	found := false
	for _, w := range v.in.Cook.Weighings {
		if w.Stage == stage {
			out, found = w, true
		}
	}
	if found {
		v.readWeighing(out)
	}
	return out, found
}

// raw is the raw mass: the raw weighing, else the piece's own mass.
func (v *view) raw() (study.Weighing, error) {
	if w, ok := v.typed(study.Raw); ok && w.MassG > 0 {
		return w, nil
	}
	if v.in.Piece.MassKg > 0 {
		v.read.add("the piece's own mass, %.5g g", 1000*v.in.Piece.MassKg)
		return study.Weighing{Stage: study.Raw, MassG: 1000 * v.in.Piece.MassKg}, nil
	}
	if w, ok := v.fromScale(study.Raw); ok {
		return w, nil
	}
	return study.Weighing{}, absent("there is no raw mass").WithFix("weigh the piece before it goes on")
}

func scaleStepG(w study.Weighing) float64 {
	if w.ResG > 0 {
		return w.ResG
	}
	// A mass that is no tenth of a gram was typed in ounces.
	if tenths := 10 * w.MassG; math.Abs(tenths-math.Round(tenths)) > 1e-6 {
		return assumedScaleOz
	}
	return assumedScaleG
}

// unstatedScale tells what is assumed of a scale, and how to say better.
func unstatedScale(ws ...study.Weighing) fault.Note {
	took := "1 g is"
	for _, w := range ws {
		if w.ResG == 0 && scaleStepG(w) == assumedScaleOz {
			took = "0.1 oz (2.8 g) is"
		}
	}
	return fault.Notef("scale-unstated", "the scale's resolution is not stated; %s assumed: write resolution: 0.1 g among the weighings if it is finer", took)
}

// weighU is the standard uncertainty of a weighing, g: resolution d/√12 and
// repeatability.
func weighU(w study.Weighing) float64 {
	return math.Hypot(scaleStepG(w)/math.Sqrt(12), scaleRepeatG)
}

// loss is 100 (from − to)/m0, % of the raw mass, with
// u = (100/m0) √(u_from² + u_to² + ((from − to)/m0)² u_m0²); when from is the
// raw weighing itself the terms are those of L = 100 (1 − m1/m0):
// u = (100/m0) √(u_1² + (m1/m0)² u_0²) (JCGM 100:2008, 5.1).
func (v *view) loss(from, to study.Stage) (Response, error) {
	m0, err := v.raw()
	if err != nil {
		return Response{}, err
	}
	a := m0
	if from != study.Raw {
		w, ok := v.weighing(from)
		if !ok {
			return Response{}, absent("the piece was not weighed %s", stageWords(from))
		}
		a = w
	}
	b, ok := v.weighing(to)
	if !ok {
		return Response{}, absent("the piece was not weighed %s", stageWords(to))
	}
	r := Response{Unit: "%", Value: 100 * (a.MassG - b.MassG) / m0.MassG}
	r.ResolutionStep = 100 * math.Max(scaleStepG(a), scaleStepG(b)) / m0.MassG
	per := 100 / m0.MassG
	ub := Source{"weighing " + stageWords(to), "B", per * weighU(b)}
	if from == study.Raw {
		r.Budget = []Source{{"weighing " + stageWords(study.Raw), "B", per * weighU(a) * b.MassG / m0.MassG}, ub}
	} else {
		r.Budget = []Source{{"weighing " + stageWords(from), "B", per * weighU(a)}, ub,
			{"weighing " + stageWords(study.Raw), "B", math.Abs(r.Value) / m0.MassG * weighU(m0)}}
	}
	if m0.ResG == 0 || b.ResG == 0 {
		r.Notes = append(r.Notes, unstatedScale(m0, b))
	}
	if r.Value < 0 {
		r.Notes = append(r.Notes, fault.Notef("mass-gained",
			"the piece weighed more %s (%.4g g) than %s (%.4g g): check the weighings", stageWords(to), b.MassG, stageWords(from), a.MassG))
	}
	return r, nil
}

func stageWords(s study.Stage) string {
	switch s {
	case study.Untrimmed:
		return "untrimmed"
	case study.Unblotted:
		return "unblotted"
	case study.Raw:
		return "raw"
	case study.AtPull:
		return "off the heat"
	case study.AfterRest:
		return "after the rest"
	case study.AfterCut:
		return "after cutting"
	case study.Drip:
		return "(drip)"
	}
	return "during the cook"
}

// cookingLoss is 100 (raw − off heat)/raw, %.
func cookingLoss(v *view, _ string) (Response, error) { return v.loss(study.Raw, study.AtPull) }

// restLoss is 100 (off heat − rested)/raw, %: the raw mass stays the
// denominator throughout.
func restLoss(v *view, _ string) (Response, error) { return v.loss(study.AtPull, study.AfterRest) }

// totalLoss is 100 (raw − last)/raw, %, where last is the weighing after
// cutting, else after the rest.
func totalLoss(v *view, _ string) (Response, error) {
	if _, ok := v.typed(study.AfterCut); ok {
		return v.loss(study.Raw, study.AfterCut)
	}
	return v.loss(study.Raw, study.AfterRest)
}

// dripLoss is 100 d/m0, %: the drip collected (fat and juice), over the raw
// mass. Purge of the raw piece is another quantity and not in it.
func dripLoss(v *view, _ string) (Response, error) {
	m0, err := v.raw()
	if err != nil {
		return Response{}, err
	}
	d, ok := v.typed(study.Drip)
	if !ok {
		return Response{}, absent("the drip was not weighed").WithFix("weigh what dripped, its tray tared")
	}
	per := 100 / m0.MassG
	return Response{Unit: "%", Value: per * d.MassG, ResolutionStep: per * scaleStepG(d), Budget: []Source{
		{"weighing the drip", "B", per * weighU(d)},
		{"weighing " + stageWords(study.Raw), "B", per * weighU(m0) * d.MassG / m0.MassG},
	}}, nil
}

// evaporationLoss is 100 (m0 − m1 − d)/m0, %: what was lost on the heat and
// did not drip. Fat that was added and taken up makes it too small.
func evaporationLoss(v *view, _ string) (Response, error) {
	loss, err := v.loss(study.Raw, study.AtPull)
	if err != nil {
		return Response{}, err
	}
	drip, err := dripLoss(v, "")
	if err != nil {
		return Response{}, err
	}
	loss.Value -= drip.Value
	loss.ResolutionStep = math.Max(loss.ResolutionStep, drip.ResolutionStep)
	loss.Budget = append(loss.Budget, drip.Budget[0])
	return loss, nil
}

// A surface that was not recorded lies within so many kelvins of what is
// assumed (our choice, no source); the latent heat changes by 0.1 % a kelvin.
const (
	assumedSurfaceK = 25.0
	latentPerK      = 0.001
)

// massScatter names the scatter of a mass curve.
const massScatter = "scatter of the mass curve and scale"

// steamRate is the mass lost a minute through the rest, g/min: the median of
// all pairwise slopes (Theil 1950, Sen 1968) of the scale channel at rest from
// the pull to serving, or of the timed weighings then. What drips and stays on
// the scale is not steam and is not counted; what drips off it is.
func steamRate(v *view, _ string) (Response, error) {
	f, err := v.massFall()
	if err != nil {
		return Response{}, err
	}
	r := Response{Unit: "g/min", Value: f.rate, ResolutionStep: f.step, Budget: []Source{{massScatter, "A", f.u}}, Notes: f.notes}
	r.withNu(massScatter, float64(f.n-2))
	return r, nil
}

// steamHeat is the heat the steam carries off, W: rate × latent heat at the
// mean surface temperature of the rest (60 °C assumed where none was
// recorded; the latent heat changes by 0.1 % a kelvin).
func steamHeat(v *view, _ string) (Response, error) {
	f, err := v.massFall()
	if err != nil {
		return Response{}, err
	}
	surfaceC, note := 60.0, true
	if pull, e := v.pullS(); e == nil {
		for _, s := range v.channels(trace.Surface) {
			w := s.between(pull, math.Inf(1))
			if len(w.value) > 0 {
				surfaceC, note = mean(w.value), false
				break
			}
		}
	}
	perGram := steam.LatentHeatJPerKg(surfaceC) / 1000 / 60 // J/g a minute → W
	r := Response{Unit: "W", Value: f.rate * perGram, ResolutionStep: f.step * perGram,
		Budget: []Source{{massScatter, "A", f.u * perGram}}, Notes: f.notes}
	r.withNu(massScatter, float64(f.n-2))
	if note {
		r.Budget = append(r.Budget, Source{"latent heat, surface temperature assumed", "B", rectangular(assumedSurfaceK * latentPerK * math.Abs(r.Value))})
		r.Notes = append(r.Notes, fault.Notef("surface-assumed", "no surface was recorded in the rest; 60 °C is assumed for the latent heat"))
	}
	return r, nil
}

// massFall is the fall of the mass after the pull.
type massFall struct {
	rate, u, step float64 // g/min, its standard uncertainty and resolution
	n             int     // points it was told by
	notes         []fault.Note
}

func (v *view) massFall() (f massFall, err error) {
	pull, err := v.pullS()
	if err != nil {
		return f, err
	}
	end := math.Inf(1)
	if serve, e := v.servingS(); e == nil && serve > pull {
		end = serve
	}
	var t, g []float64
	res := float64(assumedScaleG)
	if scales := v.channels(trace.Scale); len(scales) > 0 {
		w := scales[0].between(pull, end)
		all := len(w.timeS)
		w = atRest(w)
		if left := all - len(w.timeS); left > 0 {
			f.notes = append(f.notes, fault.Notef("scale-handled", "%d of %d readings of the scale in the rest, while it was handled or empty, are left out", left, all))
		}
		t, g = thin(w.timeS, w.value, 300)
		res = scales[0].stepU
	} else {
		for _, w := range v.in.Cook.Weighings {
			at := float64(w.AtUS) / 1e6
			if w.HasAt && at >= pull && at <= end && slices.Contains([]study.Stage{study.AtPull, study.DuringCook, study.AfterRest}, w.Stage) {
				t, g = append(t, at), append(g, w.MassG)
				v.readWeighing(w)
				res = scaleStepG(w)
			}
		}
	}
	if len(t) < 2 || t[len(t)-1] <= t[0] {
		return f, absent("there is no mass curve after the pull").
			WithFix("log the scale through the rest, or give two timed weighings")
	}
	slope, se := theilSen(t, g)
	span := t[len(t)-1] - t[0]
	if v.def.ends {
		if len(t) < 3 {
			return f, absent("two masses alone were taken in the rest: they are used already")
		}
		slope = (g[len(g)-1] - g[0]) / span
	}
	fromScale := math.Sqrt2 * res / math.Sqrt(12) / span
	if len(t) < 5 {
		fromScale = math.Sqrt2 * math.Hypot(res/math.Sqrt(12), scaleRepeatG) / span
	}
	f.rate, f.u, f.step, f.n = -60*slope, 60*math.Hypot(se, fromScale), 60*res/span, len(t)
	return f, nil
}

// theilSen is the median of pairwise slopes and a standard error from the
// spread of the residuals (1.4826 MAD) about that line.
func theilSen(t, y []float64) (slope, se float64) {
	var all []float64
	for i := range t {
		for j := i + 1; j < len(t); j++ {
			if t[j] > t[i] {
				all = append(all, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	slope = median(all)
	if len(t) < 3 {
		return slope, 0
	}
	res := make([]float64, len(t))
	mt := mean(t)
	den := 0.0
	for i := range t {
		res[i] = y[i] - slope*t[i]
		den += squared(t[i] - mt)
	}
	m := median(slices.Clone(res))
	for i := range res {
		res[i] = math.Abs(res[i] - m)
	}
	return slope, 1.4826 * median(res) / math.Sqrt(den)
}

// median sorts x in place and returns its median; 0 for none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// thin keeps at most n evenly spaced samples.
func thin(t, y []float64, n int) ([]float64, []float64) {
	if len(t) <= n {
		return t, y
	}
	ot, oy := make([]float64, n), make([]float64, n)
	for i := range n {
		k := i * (len(t) - 1) / (n - 1)
		ot[i], oy[i] = t[k], y[k]
	}
	return ot, oy
}

package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"trivet/fault"
	"trivet/trace"
)

// evenBandK is the half width of the band of even_share, K.
const evenBandK = 5

// point is one temperature at a depth from side A.
type point struct{ depthM, tC float64 }

// profileAt gathers the temperatures through the thickness at a time, sorted
// by depth. A surface channel stands at its face; a core channel at half the
// thickness when that is known.
func (v *view) profileAt(t float64) []point {
	thick, known := v.thicknessM()
	var out []point
	for _, s := range v.channels(trace.Depth, trace.Surface, trace.Core) {
		x, ok := s.at(t)
		if !ok {
			continue
		}
		switch s.ch.Place {
		case trace.Depth:
			out = append(out, point{s.ch.DepthM, x})
		case trace.Core:
			if known {
				out = append(out, point{thick / 2, x})
			}
		case trace.Surface:
			if s.ch.Side == "A" {
				out = append(out, point{0, x})
			} else if known {
				out = append(out, point{thick, x})
			}
		}
	}
	slices.SortFunc(out, func(a, b point) int {
		switch {
		case a.depthM < b.depthM:
			return -1
		case a.depthM > b.depthM:
			return 1
		}
		return 0
	})
	// Two sensors at one depth count as their mean.
	merged := out[:0]
	for _, p := range out {
		if n := len(merged); n > 0 && p.depthM-merged[n-1].depthM < 1e-4 {
			merged[n-1].tC = (merged[n-1].tC + p.tC) / 2
			continue
		}
		merged = append(merged, p)
	}
	return merged
}

// faceSpread is the hottest minus the coldest temperature through the
// thickness at the pull, K: of the fitted profile, face to face, where there
// is one, else of the sensors.
func faceSpread(v *view, _ string) (Response, error) {
	pull, err := v.profileS()
	if err != nil {
		return Response{}, err
	}
	p, err := v.profileFit()
	if err != nil {
		return Response{}, err
	}
	if p != nil {
		if r, ok := v.fittedSpread(p, pull); ok {
			return r, nil
		}
	}
	ps := v.profileAt(pull)
	if len(ps) < 2 {
		return Response{}, absent("fewer than two depths were recorded at the pull").
			WithFix("log the core and at least one face or depth")
	}
	low, high := ps[0].tC, ps[0].tC
	for _, p := range ps {
		low, high = math.Min(low, p.tC), math.Max(high, p.tC)
	}
	s := v.channels(trace.Depth, trace.Surface, trace.Core)[0]
	cal := calibration(s.ch, high)
	return Response{Unit: "K", Value: high - low, ResolutionStep: s.stepU, Budget: []Source{
		{cal.Name + ", two sensors", cal.Type, cal.StdU * math.Sqrt2},
		{"resolution of the log", "B", s.stepU / math.Sqrt(6)},
	}}, nil
}

// surfaceAtServing is the mean of both faces at the served mark (else the cut
// mark), °C: of the fitted profile where there is one, else of the surface
// channels.
func surfaceAtServing(v *view, _ string) (Response, error) {
	serve, err := v.servingS()
	if err != nil {
		return Response{}, err
	}
	if v.def.overS > 0 {
		return surfaceBefore(v, serve)
	}
	return v.surfaceAt(serve)
}

// surfaceAt is the mean of both faces at a time.
func (v *view) surfaceAt(serve float64) (Response, error) {
	if p := v.fit(); p != nil {
		if r, ok := v.fittedSurface(p, serve); ok {
			return r, nil
		}
	}
	var sum float64
	var used []series
	for _, s := range v.channels(trace.Surface) {
		if x, ok := s.at(serve); ok {
			sum += x
			used = append(used, s)
		}
	}
	if len(used) == 0 {
		return Response{}, absent("no surface was recorded at serving").
			WithFix("name a surface channel in the column map")
	}
	n := float64(len(used))
	mean := sum / n
	cal := calibration(used[0].ch, mean)
	r := Response{Unit: "°C", Value: mean, ResolutionStep: used[0].stepU, Budget: []Source{
		{cal.Name, cal.Type, cal.StdU / math.Sqrt(n)},
		{"resolution of the log", "B", used[0].stepU / math.Sqrt(12*n)},
		{"contact of the sensor with the surface (taken as ±1 K)", "B", rectangular(1)},
	}}
	if len(used) == 1 {
		r.Notes = append(r.Notes, fault.Notef("one-face", "the surface is one face only (%s)", used[0].ch.ID))
	}
	return r, nil
}

// evenShare is the share of the thickness within ±5 K of the core at the
// pull, %, of the fitted profile where there is one, else of a monotone cubic
// (Fritsch & Butland 1984) through the depths, sampled at 400 points. The
// latter needs four depths, both faces among them or the
// outermost within 3 mm of a face.
func evenShare(v *view, _ string) (Response, error) {
	pull, err := v.profileS()
	if err != nil {
		return Response{}, err
	}
	thick, known := v.thicknessM()
	if !known {
		return Response{}, absent("the piece has no thickness").WithFix("measure the thickness at several points")
	}
	p, err := v.profileFit()
	if err != nil {
		return Response{}, err
	}
	if p != nil {
		if r, ok := v.fittedEvenShare(p, pull); ok {
			return r, nil
		}
	}
	ps := v.profileAt(pull)
	if len(ps) < 4 {
		return Response{}, absent("fewer than four depths were recorded at the pull")
	}
	const reach = 3e-3
	if ps[0].depthM > reach || thick-ps[len(ps)-1].depthM > reach {
		return Response{}, absent("the outermost sensors are more than 3 mm from a face")
	}
	core, err := v.core()
	if err != nil {
		return Response{}, err
	}
	at, ok := core.at(pull)
	if !ok {
		return Response{}, absent("the core was not recorded at the pull")
	}
	share := func(shiftK float64) (float64, error) {
		x, y := make([]float64, len(ps)), make([]float64, len(ps))
		for i, p := range ps {
			x[i], y[i] = p.depthM, p.tC
		}
		var curve interp.FritschButland
		if err := curve.Fit(x, y); err != nil {
			return 0, absent("the depths do not make a profile: %s", err)
		}
		const n = 400
		in := 0
		for i := range n {
			d := (float64(i) + 0.5) / n * thick
			d = math.Min(math.Max(d, x[0]), x[len(x)-1])
			if math.Abs(curve.Predict(d)-at-shiftK) <= v.bandK() {
				in++
			}
		}
		return 100 * float64(in) / n, nil
	}
	value, err := share(0)
	if err != nil {
		return Response{}, err
	}
	// The sensors' disagreement moves the band: propagate one standard
	// uncertainty of a difference of two sensors numerically.
	u := calibration(core.ch, at).StdU * math.Sqrt2
	lo, _ := share(-u)
	hi, _ := share(u)
	return Response{Unit: "%", Value: value, ResolutionStep: 100.0 / 400, Budget: []Source{
		{"sensors against each other", "B", math.Abs(hi-lo) / 2},
		{"depth of the sensors (±1 mm)", "B", 100 * rectangular(1e-3) * math.Sqrt2 / thick},
	}, Notes: []fault.Note{fault.Notef("even-share-interpolated", "the share is read from a monotone cubic through %d sensors, level beyond the outermost: no profile that conducts heat was fitted", len(ps))}}, nil
}

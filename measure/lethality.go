package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/safety"
	"trivet/trace"
)

// lethality is the log10 reduction summed over the coldest estimated point of
// the piece, L = (1/D) ∫ 10^((T − T_ref)/z) dt, from heat on to the end of the
// record. D and z are those fitted to the published table of the study's food
// (see [safety.FittedKinetics]); there is no default. Nothing is counted below
// the table's first row nor across gaps, and a sensor's lag is never corrected
// upwards for it.
//
// Uncertainty: that of the temperature at its peak, shifted along the whole
// record (Monte Carlo). L grows tenfold in z kelvins, so its interval is
// uneven. D and z themselves are taken as they are.
func lethality(v *view, _ string) (Response, error) {
	food := safety.Food{Animal: v.in.Foods.Animal, Form: v.in.Foods.Form}
	if food.Animal == "" {
		return Response{}, absent("D and z have no default, and the study does not say what was cooked").
			WithFix("name the animal under foods: beef, pork, lamb, chicken or turkey")
	}
	k, err := safety.FittedKinetics(food)
	if err != nil {
		return Response{}, absent("there is no published table for %s to take D and z from", food.Animal).
			WithFix("trivet lethality takes D and z as given")
	}
	all, err := safety.Criteria(food)
	if err != nil {
		return Response{}, err
	}
	baseC := math.Inf(-1)
	for _, c := range all {
		if c.Log10 > 0 {
			baseC = c.Rows[0].TempC
			break
		}
	}
	s, err := v.coldest()
	if err != nil {
		return Response{}, err
	}
	if s, err = v.cautious(s); err != nil {
		return Response{}, err
	}
	v.readHeatOn()
	s = s.between(0, math.Inf(1))
	log := safety.Log{TimeS: s.timeS, TempC: s.value}
	if log.Check() != nil {
		return Response{}, absent("the core was not recorded after heat on")
	}
	r := Response{Unit: "log10", Value: k.Log10(log, baseC, 0)}
	peak := log.Peak()
	at := s.timeS[slices.Index(s.value, peak)]
	slope, _ := s.slopeAt(at, slopeWindowS)
	budget := temperatureBudget(&s, peak, slope, at)
	u := combine(budget)
	shifted := tabulated(-6*u, 6*u, 200, func(shiftK float64) float64 { return k.Log10(log, baseC, shiftK) })
	r.draws = monteCarlo("lethality", []float64{u}, func(e []float64) float64 { return shifted(e[0]) })
	for _, b := range budget {
		b.StdU *= r.draws.sd / u
		r.Budget = append(r.Budget, b)
	}
	r.Notes = append(r.Notes, fault.Notef("lethality-bounds",
		"lethality is for Salmonella at the coldest point the sensors tell, by D = %.4g s at %.4g °C and z = %.3g K, %s; published D differ two- to threefold. It says nothing of spores, toxins or handling: your local food code and the licensed person in charge decide",
		k.DS, k.RefC, k.ZK, k.Source))
	if n, gapS := log.Gaps(); n > 0 {
		r.Notes = append(r.Notes, fault.Notef("lethality-gaps", "lethality counts nothing in %s of %.0f s in all", counted(n, "gap"), gapS))
	}
	return r, nil
}

// tabulated is f between two ends by straight lines through n steps, and f
// itself outside of them: for a smooth f that is slow and asked thousands of
// times.
func tabulated(from, to float64, n int, f func(float64) float64) func(float64) float64 {
	step := (to - from) / float64(n)
	if !(step > 0) {
		return f
	}
	known := make([]float64, n+1)
	for i := range known {
		known[i] = f(from + step*float64(i))
	}
	return func(x float64) float64 {
		at := (x - from) / step
		if !(at >= 0 && at < float64(n)) {
			return f(x)
		}
		i := int(at)
		return known[i] + (at-float64(i))*(known[i+1]-known[i])
	}
}

// coldest is the coldest estimated point at each time: the coldest depth of
// the fitted profile, else the coldest of the sensors inside (of a probe with
// none meant for the core, the vertex between them: see [view.measuredCore]).
func (v *view) coldest() (series, error) {
	if p := v.fit(); p != nil {
		s := v.fittedCore(p)
		s.value = slices.Clone(s.value)
		for i, t := range s.timeS {
			if _, c, ok := p.Through(t); ok {
				s.value[i] = min(s.value[i], slices.Min(c))
			}
		}
		return s, nil
	}
	inside := v.channels(trace.Core, trace.Depth)
	s, err := v.measuredCore()
	if err != nil || len(inside) < 2 {
		return s, err
	}
	s.value = slices.Clone(s.value)
	for i, t := range s.timeS {
		for k := range inside {
			if c, ok := inside[k].at(t); ok {
				s.value[i] = min(s.value[i], c)
			}
		}
	}
	return s, nil
}

// cautious lowers the coldest point to what it is with the sensors' lag left
// in, where that is colder: a correction upwards earns nothing.
func (v *view) cautious(s series) (series, error) {
	if !slices.ContainsFunc(v.all, func(x series) bool { return x.lagS > 0 }) {
		return s, nil
	}
	in := v.in
	in.withLag = true
	w, err := newView(in)
	if err != nil {
		return s, err
	}
	read, err := w.coldest()
	if err != nil {
		return s, err
	}
	s.value = slices.Clone(s.value)
	for i, t := range s.timeS {
		if c, ok := read.at(t); ok {
			s.value[i] = min(s.value[i], c)
		}
	}
	return s, nil
}

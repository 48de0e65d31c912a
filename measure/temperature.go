package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/quantity"
)

// slopeWindowS is the half window of local slopes, s.
const slopeWindowS = 15

// timeToCore is the time from heat on until the core first reaches the
// target and stays at or above it for three samples: t such that
// T_core(t) = target, linear between samples.
//
// Uncertainty: that of the core temperature, drawn through the course of the
// core (Monte Carlo), and the sampling interval/√12.
func timeToCore(v *view, target string) (Response, error) {
	if target == "" {
		return Response{}, fault.BadUsage("target", "time_to_core needs a target").
			WithFix("write it in brackets: time_to_core(60 °C)")
	}
	want, err := quantity.ParseTemperature(target)
	if err != nil {
		return Response{}, err
	}
	s, err := v.core()
	if err != nil {
		return Response{}, err
	}
	v.readHeatOn()
	s = s.between(0, math.Inf(1))
	goal := want.C()
	for i := range s.value {
		if s.value[i] < goal || !stays(s.value[i:], goal, 3) {
			continue
		}
		if i == 0 {
			return Response{}, absent("the core was already at %s at heat on", target)
		}
		f := (goal - s.value[i-1]) / (s.value[i] - s.value[i-1])
		at := s.timeS[i-1] + f*(s.timeS[i]-s.timeS[i-1])
		r := Response{Unit: "s", Value: at, ResolutionStep: s.everyS}
		slope, ok := s.slopeAt(at, slopeWindowS)
		if ok && slope > 0 {
			// Near a slow rise or the peak the time is no straight function
			// of the temperature: the errors are drawn through the curve.
			budget := temperatureBudget(&s, goal, slope, at)
			r.draws = monteCarlo("time_to_core", []float64{combine(budget)}, firstAbove(s, at, slope, goal))
			scale := r.draws.sd / combine(budget)
			for _, b := range budget {
				b.StdU *= scale
				r.Budget = append(r.Budget, b)
			}
		}
		r.Budget = append(r.Budget, Source{"sampling interval", "B", (s.timeS[i] - s.timeS[i-1]) / math.Sqrt(12)})
		return r, nil
	}
	return Response{}, absent("the core never reached %s", target)
}

// firstAbove gives the time at which the core first is above the goal plus an
// error. The course is smoothed over ±slopeWindowS, so that noise does not
// stand for the course; where a goal is beyond what the core reached, the
// time is that of the highest core.
func firstAbove(s series, at, slope, goal float64) func([]float64) float64 {
	// A running maximum of local means is monotone: a search finds the time.
	var ts, top []float64
	high := math.Inf(-1)
	step := max(1, len(s.timeS)/400)
	for i := 0; i < len(s.timeS); i += step {
		w := s.between(s.timeS[i]-slopeWindowS/2, s.timeS[i]+slopeWindowS/2)
		m := mean(w.value)
		if m <= high {
			continue
		}
		high = m
		ts, top = append(ts, s.timeS[i]), append(top, m)
	}
	crossing := func(g float64) float64 {
		k, _ := slices.BinarySearch(top, g)
		switch {
		case len(top) < 2:
			return at + (g-goal)/slope
		case k == 0:
			return ts[0]
		case k == len(top):
			return ts[k-1]
		}
		return ts[k-1] + (g-top[k-1])/(top[k]-top[k-1])*(ts[k]-ts[k-1])
	}
	shift := at - crossing(goal)
	return func(e []float64) float64 { return crossing(goal+e[0]) + shift }
}

func stays(values []float64, goal float64, n int) bool {
	for i := range min(n, len(values)) {
		if values[i] < goal {
			return false
		}
	}
	return true
}

// coreAtPull is the core temperature at the off-heat mark, linear between
// samples, °C.
func coreAtPull(v *view, _ string) (Response, error) {
	s, pull, at, err := v.corePulled()
	if err != nil {
		return Response{}, err
	}
	slope, _ := s.slopeAt(pull, slopeWindowS)
	return Response{Unit: "°C", Value: at, ResolutionStep: s.stepU, Budget: temperatureBudget(&s, at, slope, pull)}, nil
}

// corePulled returns the core series, the time of the pull and the core then.
func (v *view) corePulled() (s series, pullS, atC float64, err error) {
	if s, err = v.core(); err != nil {
		return
	}
	if pullS, err = v.pullS(); err != nil {
		return
	}
	atC, ok := s.at(pullS)
	if !ok {
		err = absent("the core was not recorded at the off-heat mark")
	}
	return s, pullS, atC, err
}

// peak finds the highest core temperature after the pull: the vertex of a
// parabola fitted by least squares to the samples within ±30 s of the
// highest one, which is less biased by noise than the maximum itself.
func (v *view) peak() (s series, pullS, pullC, peakS, peakC float64, err error) {
	s, pullS, pullC, err = v.corePulled()
	if err != nil {
		return
	}
	end := math.Inf(1)
	if serve, e := v.servingS(); e == nil && serve > pullS {
		end = serve
	}
	w := s.between(pullS, end)
	if len(w.value) < 3 {
		err = absent("the core was not recorded after the pull").WithFix("keep logging through the rest")
		return
	}
	top := 0
	for i := range w.value {
		if w.value[i] > w.value[top] {
			top = i
		}
	}
	peakS, peakC = w.timeS[top], w.value[top]
	if c, at, ok := parabolaTop(w.between(peakS-30, peakS+30)); ok {
		peakS, peakC = at, c
	}
	if peakC < pullC { // the core only fell: the peak is the pull itself
		peakS, peakC = pullS, pullC
	}
	return
}

// parabolaTop fits y = a + b x + c x² and returns its vertex if it lies
// inside the samples.
func parabolaTop(w series) (valueC, atS float64, ok bool) {
	if len(w.timeS) < 5 {
		return
	}
	mid := w.timeS[len(w.timeS)/2]
	var s [5]float64
	var t [3]float64
	for i := range w.timeS {
		x, p := w.timeS[i]-mid, 1.0
		for k := range 5 {
			s[k] += p
			if k < 3 {
				t[k] += p * w.value[i]
			}
			p *= x
		}
	}
	// Normal equations of three unknowns by Cramer's rule: x is centred and
	// spans a minute at most, so they are well conditioned.
	det := s[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*s[3]-s[2]*s[2])
	if det == 0 {
		return
	}
	a := (t[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(t[1]*s[4]-s[3]*t[2]) + s[2]*(t[1]*s[3]-s[2]*t[2])) / det
	b := (s[0]*(t[1]*s[4]-s[3]*t[2]) - t[0]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*t[2]-t[1]*s[2])) / det
	c := (s[0]*(s[2]*t[2]-t[1]*s[3]) - s[1]*(s[1]*t[2]-t[1]*s[2]) + t[0]*(s[1]*s[3]-s[2]*s[2])) / det
	if c >= 0 {
		return
	}
	x := -b / (2 * c)
	if at := mid + x; at >= w.timeS[0] && at <= w.timeS[len(w.timeS)-1] {
		return a + b*x + c*x*x, at, true
	}
	return
}

// corePeak is the highest core temperature from the pull to serving, °C.
func corePeak(v *view, _ string) (Response, error) {
	s, _, _, peakS, peakC, err := v.peak()
	if err != nil {
		return Response{}, err
	}
	return Response{Unit: "°C", Value: peakC, ResolutionStep: s.stepU, Budget: temperatureBudget(&s, peakC, 0, peakS)}, nil
}

// carryover is peak − pull of the core, K. The sensor's calibration cancels
// in the difference; its resolution enters twice; the placement error at the
// pull does not cancel, since the profile is flat at the peak.
func carryover(v *view, _ string) (Response, error) {
	s, pull, pullC, _, peakC, err := v.peak()
	if err != nil {
		return Response{}, err
	}
	slope, _ := s.slopeAt(pull, slopeWindowS)
	r := resolution(&s)
	r.StdU *= math.Sqrt2
	gain := Source{"sensor, slope of its calibration (taken as 0.5 %)", "B", 0.005 * (peakC - pullC)}
	return Response{Unit: "K", Value: peakC - pullC, ResolutionStep: s.stepU, Budget: append([]Source{r, s.placed(slope, pull), gain}, s.course(pullC, slope, pull)...)}, nil
}

// timeToPeak is the time from the off-heat mark to the core's peak, s. A
// peak is flat, so that noise moves it far: its uncertainty is drawn (Monte
// Carlo); where the core only fell, it is the half width of the stretch that
// lies within one resolution step, or twice the noise, of the peak.
func timeToPeak(v *view, _ string) (Response, error) {
	s, pull, _, peakS, peakC, err := v.peak()
	if err != nil {
		return Response{}, err
	}
	r := Response{Unit: "s", Value: peakS - pull, ResolutionStep: s.everyS}
	w := s.between(peakS-30, peakS+30)
	w = w.between(pull, math.Inf(1))
	if _, _, ok := parabolaTop(w); !ok {
		first, last := peakS, peakS
		near := math.Max(s.stepU, 2*sampleNoise(s.value))
		for i, t := range s.timeS {
			if t >= pull && peakC-s.value[i] <= near {
				first, last = math.Min(first, t), math.Max(last, t)
			}
		}
		r.Budget = append(r.Budget, Source{"flatness of the peak", "B", rectangular((last - first) / 2)})
	} else {
		r.draws = drawPeak(s.between(math.Max(pull, peakS-120), peakS+120), peakS, math.Hypot(sampleNoise(s.value), s.stepU/math.Sqrt(12)))
		r.Budget = append(r.Budget, Source{"noise about the peak (Monte Carlo)", "A", r.draws.sd})
	}
	if s.fit != nil {
		// What steady contacts leave in the centre over two minutes tilts the
		// course, and a flat peak moves far for a little tilt.
		if _, at, ok := parabolaTop(w); ok {
			curve := parabolaCurve(s.between(math.Max(pull, peakS-120), peakS+120), at, peakC)
			tilt := steadyU * math.Sqrt2 / 120
			r.Budget = append(r.Budget, Source{"slope of the fitted course about the peak", "A", min(tilt/(2*math.Abs(curve)), 120)})
		}
	}
	r.Budget = append(r.Budget, Source{"sampling interval", "B", s.everyS / math.Sqrt(12)})
	return r, nil
}

// drawPeak draws noise on the smooth course about a peak and finds the peak
// as it was found: at the highest sample, then by the parabola about it. The
// course is a parabola over the two minutes on either side.
func drawPeak(w series, peakS, noise float64) drawn {
	wide := w
	top, at, ok := parabolaTop(wide)
	if !ok {
		top, at = 0, peakS
	}
	curve := parabolaCurve(wide, at, top)
	course := make([]float64, len(w.timeS))
	for i, t := range w.timeS {
		course[i] = -curve * squared(t-at)
	}
	u := make([]float64, len(w.timeS))
	for i := range u {
		u[i] = noise
	}
	trial := w
	trial.value = make([]float64, len(w.timeS))
	return monteCarlo("time_to_peak", u, func(e []float64) float64 {
		high := 0
		for i := range trial.value {
			trial.value[i] = course[i] + e[i]
			if trial.value[i] > trial.value[high] {
				high = i
			}
		}
		t := trial.timeS[high]
		if _, x, ok := parabolaTop(trial.between(t-30, t+30)); ok {
			t = x
		}
		return t
	})
}

// parabolaCurve is c of the parabola top − c (t − at)² nearest to the series.
func parabolaCurve(w series, at, top float64) float64 {
	var num, den float64
	for i, t := range w.timeS {
		q := squared(t - at)
		num += q * (top - w.value[i])
		den += q * q
	}
	if den == 0 || num <= 0 {
		return 0
	}
	return num / den
}

// heatingRate is (core at pull − core at heat on)/(time between), K/min.
func heatingRate(v *view, _ string) (Response, error) {
	s, pull, pullC, err := v.corePulled()
	if err != nil {
		return Response{}, err
	}
	v.readHeatOn()
	start, ok := s.at(0)
	if !ok {
		return Response{}, absent("the core was not recorded at heat on")
	}
	if pull <= 0 {
		return Response{}, absent("the off-heat mark is not after heat on")
	}
	slope, _ := s.slopeAt(pull, slopeWindowS)
	perMin := 60 / pull
	r := resolution(&s)
	r.StdU *= math.Sqrt2
	budget := append([]Source{r, s.placed(slope, pull)}, s.course(pullC, slope, pull)...)
	for i := range budget {
		budget[i].StdU *= perMin
	}
	return Response{Unit: "K/min", Value: (pullC - start) * perMin, ResolutionStep: s.stepU * perMin, Budget: budget}, nil
}

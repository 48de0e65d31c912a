package measure

import (
	"math"
	"slices"

	"trivet/trace"
)

// onPan returns the pan channel between heat on and the pull.
func (v *view) onPan() (whole, cooking series, err error) {
	pans := v.channels(trace.Pan)
	if len(pans) == 0 {
		return whole, cooking, absent("no pan temperature was recorded").WithFix("name the pan's channel in the column map")
	}
	pull, err := v.pullS()
	if err != nil {
		return whole, cooking, err
	}
	v.readHeatOn()
	whole = pans[0]
	if len(pans) > 1 {
		whole = meanOf(pans)
	}
	cooking = whole.between(0, pull)
	if len(cooking.timeS) < 2 {
		return whole, cooking, absent("the pan was not recorded between heat on and off heat")
	}
	return whole, cooking, nil
}

// panMean is the time mean of the pan temperature from heat on to the pull,
// °C: the trapezium rule over the samples divided by the time they span.
func panMean(v *view, _ string) (Response, error) {
	_, s, err := v.onPan()
	if err != nil {
		return Response{}, err
	}
	if s = s.between(v.def.panFromS, math.Inf(1)); len(s.timeS) < 2 {
		return Response{}, absent("the pan was not recorded after the first minute")
	}
	area := 0.0
	for i := 1; i < len(s.timeS); i++ {
		area += (s.value[i] + s.value[i-1]) / 2 * (s.timeS[i] - s.timeS[i-1])
	}
	m := area / (s.timeS[len(s.timeS)-1] - s.timeS[0])
	return Response{Unit: "°C", Value: m, ResolutionStep: s.stepU,
		Budget: []Source{calibration(s.ch, m), resolution(&s)}}, nil
}

// panSag is how far the pan fell when the piece went in, K: its mean over
// the 30 s before heat on (else the first sample) less the lowest
// temperature in the two minutes after.
func panSag(v *view, _ string) (Response, error) {
	whole, s, err := v.onPan()
	if err != nil {
		return Response{}, err
	}
	before := s.value[0]
	if w := whole.between(-30, math.Nextafter(0, -1)); len(w.value) > 0 {
		before = mean(w.value)
	}
	within := 120.0
	if v.def.panWithinS > 0 {
		within = v.def.panWithinS
	}
	w := s.between(0, within)
	if len(w.value) == 0 {
		return Response{}, absent("the pan was not recorded in the two minutes after heat on")
	}
	r := resolution(&s)
	r.StdU *= math.Sqrt2
	return Response{Unit: "K", Value: before - slices.Min(w.value), ResolutionStep: s.stepU, Budget: []Source{r}}, nil
}

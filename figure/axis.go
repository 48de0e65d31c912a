package figure

import "math"

// axis maps values to pixels along one direction and knows its ticks.
type axis struct {
	m        Measure
	lo, hi   float64 // values at the ends
	from, to float64 // pixels at the ends
}

// at returns the pixel of a value; what lies off the axis stands at its end.
func (a axis) at(v float64) float64 {
	if !(a.hi > a.lo) || math.IsNaN(v) {
		return (a.from + a.to) / 2
	}
	share := (v - a.lo) / (a.hi - a.lo)
	return a.from + math.Max(0, math.Min(1, share))*(a.to-a.from)
}

// unit is the length of one unit along the axis, px.
func (a axis) unit() float64 { return math.Abs(a.to-a.from) / (a.hi - a.lo) }

// inside reports whether a value lies on the axis.
func (a axis) inside(v float64) bool {
	// Rounding of the ends counts for more than the span on a short axis far
	// from zero.
	const slack, rounding = 1e-9, 1e-15
	d := (a.hi-a.lo)*slack + math.Max(math.Abs(a.lo), math.Abs(a.hi))*rounding
	return finite(v) && v >= a.lo-d && v <= a.hi+d
}

// tick is a labelled position.
type tick struct {
	v     float64 // in the axis' inputs' unit
	label string
}

// ticks returns at most most ticks inside the axis at sensible steps: 1, 2 or
// 5 times a power of ten of the shown unit, or whole seconds and minutes.
func (a axis) ticks(most int) []tick {
	lo, hi := a.m.Shown(a.lo), a.m.Shown(a.hi)
	if lo > hi {
		lo, hi = hi, lo
	}
	choose := niceStep
	if a.m.Kind == Duration {
		choose = clockStep
	}
	step := choose(hi-lo, most)
	if step <= 0 {
		return nil
	}
	// The ends may lie between ticks: a finer step can fit as well.
	if finer := choose(hi-lo, most+1); finer < step && math.Floor(hi/finer+1e-9)-math.Ceil(lo/finer-1e-9)+1 <= float64(most) {
		step = finer
	}
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []tick
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		shown := k * step
		v := a.m.held(shown)
		label := decimal(shown, decimals, false)
		if a.m.Kind == Duration {
			label = clock(v, decimals, false)
		}
		out = append(out, tick{v, label})
	}
	return out
}

// niceStep returns the least step of 1, 2, 5 × 10^k that cuts span into at
// most most−1 parts; 0 when span is not positive.
func niceStep(span float64, most int) float64 {
	if !(span > 0) || math.IsInf(span, 0) || most < 2 {
		return 0
	}
	raw := span / float64(most-1)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, f := range []float64{1, 2, 5, 10} {
		if f*p >= raw*(1-1e-9) {
			return f * p
		}
	}
	return 10 * p
}

// clockSteps are steps a kitchen timer would use, in seconds.
var clockSteps = []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400}

func clockStep(span float64, most int) float64 {
	if !(span > 0) || most < 2 {
		return 0
	}
	raw := span / float64(most-1)
	if raw <= 0.5 {
		return niceStep(span, most)
	}
	for _, s := range clockSteps {
		if s >= raw*(1-1e-9) {
			return s
		}
	}
	return 86400 * niceStep(span/86400, most)
}

// spread collects the range of values; what is not finite is passed over.
type spread struct{ lo, hi float64 }

func newSpread() spread { return spread{math.Inf(1), math.Inf(-1)} }

func (s *spread) add(values ...float64) {
	for _, v := range values {
		if finite(v) {
			s.lo, s.hi = math.Min(s.lo, v), math.Max(s.hi, v)
		}
	}
}

func (s spread) empty() bool { return s.lo > s.hi }

// padded returns the range widened by a share of it at each end, never of
// zero width.
func (s spread) padded(share float64) (lo, hi float64) {
	d := s.hi - s.lo
	if d == 0 {
		d = math.Max(math.Abs(s.hi)*0.1, 1)
	}
	return s.lo - d*share, s.hi + d*share
}

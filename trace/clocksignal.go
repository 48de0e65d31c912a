package trace

import (
	"cmp"
	"math"
	"slices"

	"trivet/fault"
)

// How a signal is cut into stretches, and what counts as going together; our
// choices, no source.
const (
	stretchLeastS   = 60.0 // a stretch is at least so long
	stretchSamples  = 24   // and holds at least so many samples
	stretchesMost   = 16
	coarseBins      = 800 // of a record in the first search
	correlateWhole  = 0.5 // least correlation of the changes of the whole
	correlateWindow = 0.6 // least correlation of a stretch
	// betweenSamples is the standard uncertainty of a lag for where changes
	// fall between samples, as a share of their interval: a quarter of a
	// rectangle of one interval, which covers simulated pans.
	betweenSamples = 0.25 / 3.4641016151377544
)

// AlignBySignal aligns a device by a course that both recorded, such as two
// sensors of one pan. It looks first where the changes of the whole records
// correlate best; then, stretch by stretch, for the lag at which the device's
// samples are best told by the other record (level, trend and gain free):
//
//	y(t) = a + c·t + b·x(t + lag) + e
//
// Each lag has the standard uncertainty u² = 2 s² / S″, s² the variance of the
// residuals (widened for their correlation from sample to sample), S″ the
// curvature of their sum of squares. A robust line through the lags gives
// offset and drift.
//
// MaxLagS bounds the search; where one log counts from its start and the other
// by the clock, it is searched wherever the two can overlap. Signals that
// correlate weakly (below 0.5), are flat or too short are refused. A lag
// between what the two sensors feel cannot be told from their clocks.
func AlignBySignal(common, device *Trace, maxLagS float64) (ClockFit, error) {
	// The record with fewer samples is the one whose stretches are looked
	// for, whichever is asked for, so that the two ways agree.
	if cmp.Or(cmp.Compare(common.PeriodUS(), device.PeriodUS()), cmp.Compare(device.Len(), common.Len()),
		cmp.Compare(common.Channel.ID, device.Channel.ID), slices.Compare(common.Counts, device.Counts)) > 0 {
		f, err := alignSignal(device, common, maxLagS)
		if err != nil {
			return f, err
		}
		return f.Inverse(), nil
	}
	return alignSignal(common, device, maxLagS)
}

func alignSignal(common, device *Trace, maxLagS float64) (ClockFit, error) {
	bad := func(format string, args ...any) (ClockFit, error) {
		return ClockFit{}, fault.New("alignment-signal", format, args...).On("trace", device.Channel.ID).
			WithFix("mark an event on both clocks, or take a signal that changes sharply")
	}
	x, y := courseOf(common), courseOf(device)
	if len(x.v) < 30 || len(y.v) < 30 || !(maxLagS > 0) {
		return bad("the signals are too short to compare: %d and %d samples", len(x.v), len(y.v))
	}
	if slices.Min(x.v) == slices.Max(x.v) || slices.Min(y.v) == slices.Max(y.v) {
		return bad("a signal that never changes tells no time")
	}
	// Seconds from the start of each record; a lag is what must be added.
	base := float64(device.TimesUS[0]-common.TimesUS[0]) / 1e6
	around := base
	if common.Elapsed != device.Elapsed {
		around, maxLagS = 0, max(maxLagS, x.t[len(x.t)-1], y.t[len(y.t)-1])
	}
	either := (common.Channel.Place == Scale) != (device.Channel.Place == Scale)
	coarse, rho := coarseLag(x, y, around, maxLagS, either)
	if rho < correlateWhole {
		return bad("the two signals hardly go together (correlation %.2f)", max(rho, 0))
	}
	// Noise of x, new at every lag, digs false dips; a mean over an even window
	// moves nothing.
	x = x.smoothed(max(1, x.period, min(y.period, 3)))
	half := max(3*coarse.step, 2*y.period)
	whole := x.lagOf(y, coarse.lag, half, max(coarse.step/8, 0.25))
	if !whole.ok {
		return bad("the signals change too little to tell where they belong together")
	}
	span := y.t[len(y.t)-1] - y.t[0]
	reach := max(4, 3*y.period, 4*whole.u) + 5e-4*span/2
	var points []SyncPoint
	at := func(mid, lag, u float64) SyncPoint {
		us := device.TimesUS[0] + int64(math.Round(mid*1e6))
		return SyncPoint{DeviceUS: us, CommonUS: common.TimesUS[0] + int64(math.Round((mid+lag)*1e6)), UUS: u * 1e6}
	}
	for _, part := range y.stretches() {
		if l := x.lagOf(part, whole.lag, reach, max(0.25, x.period/2)); l.ok && l.rho >= correlateWindow && l.u < reach {
			points = append(points, at(l.mid, l.lag, l.u))
		}
	}
	points = telling(points)
	few := len(points) < 3
	if few && either {
		// One step of a scale fits one step of a temperature, whatever made them.
		return bad("a scale and a temperature must go together in three stretches at least, and do in %d", len(points))
	}
	if few {
		points = []SyncPoint{at(whole.mid, whole.lag, whole.u)}
	}
	f, err := fitClock(how{method: "signal", pointU: 1e6}, points)
	if err != nil {
		return f, err
	}
	if few {
		f.Notes = []fault.Note{fault.Notef("clock-offset-only",
			"too few stretches of the signal change enough to tell a drift: the offset alone is taken, and ±%.0f ppm for the drift", UsualRate*1e6)}
	}
	f.Correlation = whole.rho
	if common.Channel.Place != device.Channel.Place {
		f.Notes = append(f.Notes, fault.Notef("clock-places", "the signals come from different places (%s and %s): what one feels later than the other goes into the offset", common.Channel.Place, device.Channel.Place))
	}
	f.stamps([]*Trace{common}, []*Trace{device})
	return f, nil
}

// telling leaves out stretches that know their lag more than eight times worse
// than the better quarter: they weigh next to nothing.
func telling(points []SyncPoint) []SyncPoint {
	if len(points) < 4 {
		return points
	}
	var us []float64
	for _, p := range points {
		us = append(us, p.UUS)
	}
	slices.Sort(us)
	return slices.DeleteFunc(points, func(p SyncPoint) bool { return p.UUS > 8*us[len(us)/4] })
}

// course is a record as plain numbers: seconds from its first sample, values
// that are there.
type course struct {
	t, v   []float64
	period float64
}

func courseOf(t *Trace) course {
	c := course{period: float64(t.PeriodUS()) / 1e6}
	if t.Len() > 0 {
		c.t, c.v = t.Points(t.TimesUS[0])
	}
	return c
}

// smoothed is the mean over ±half a width about each sample.
func (c course) smoothed(width float64) course {
	out := c
	out.v = make([]float64, len(c.v))
	lo, hi, sum := 0, 0, 0.0
	for i, t := range c.t {
		for hi < len(c.t) && c.t[hi] <= t+width/2+1e-9 {
			sum += c.v[hi]
			hi++
		}
		for c.t[lo] < t-width/2-1e-9 {
			sum -= c.v[lo]
			lo++
		}
		// Near an end the mean is over a window that is even about the sample.
		if n := hi - lo; 2*(i-lo)+1 == n {
			out.v[i] = sum / float64(n)
		} else {
			out.v[i] = c.v[i]
		}
	}
	return out
}

// stretches cuts a record into even stretches.
func (c course) stretches() []course {
	span := c.t[len(c.t)-1]
	n := min(int(span/stretchLeastS), len(c.t)/stretchSamples, stretchesMost)
	var out []course
	for i := range max(n, 1) {
		from, _ := slices.BinarySearch(c.t, span*float64(i)/float64(max(n, 1)))
		to, _ := slices.BinarySearch(c.t, span*float64(i+1)/float64(max(n, 1)))
		if to-from >= stretchSamples/2 {
			out = append(out, course{t: c.t[from:to], v: c.v[from:to], period: c.period})
		}
	}
	return out
}

// binned is the mean of a record in even bins from its start; NaN where there
// is no sample for as long as two bins.
func (c course) binned(step float64) []float64 {
	n := int(c.t[len(c.t)-1]/step) + 1
	out, count := make([]float64, n), make([]float64, n)
	for i, t := range c.t {
		k := min(int(t/step), n-1)
		out[k] += c.v[i]
		count[k]++
	}
	for k := range out {
		if count[k] > 0 {
			out[k] /= count[k]
		} else if k > 0 && count[max(k-1, 0)] > 0 {
			out[k] = out[k-1]
		} else {
			out[k] = math.NaN()
		}
	}
	return out
}

type coarseResult struct{ lag, step float64 }

// coarseLag searches the lag around ± reach at which the changes of the two
// records correlate best. Where either is set a negative correlation counts as
// well: a mass falls as a temperature rises.
func coarseLag(x, y course, around, reach float64, either bool) (coarseResult, float64) {
	step := max(x.period, y.period, 0.5, max(x.t[len(x.t)-1], y.t[len(y.t)-1])/coarseBins)
	dx, dy := changes(x.binned(step)), changes(y.binned(step))
	best, at := math.Inf(-1), 0
	for k := int(math.Floor((around - reach) / step)); k <= int(math.Ceil((around+reach)/step)); k++ {
		r := correlation(dx, dy, k)
		if either && r > -2 {
			r = math.Abs(r)
		}
		if r > best {
			best, at = r, k
		}
	}
	return coarseResult{float64(at) * step, step}, best
}

// changes is the slope of even samples, smoothed over five; 0 where samples
// are missing.
func changes(v []float64) []float64 {
	out := make([]float64, len(v))
	for i := 2; i+2 < len(v); i++ {
		if d := v[i+2] + v[i+1] - v[i-1] - v[i-2]; !math.IsNaN(d) {
			out[i] = d
		}
	}
	return out
}

// correlation of y with x shifted by lag; −2 where less than a third of the
// shorter of them overlaps.
func correlation(x, y []float64, lag int) float64 {
	from, to := max(0, -lag), min(len(y), len(x)-lag)
	if to-from < max(10, min(len(x), len(y))/3) {
		return -2
	}
	var sxy, sxx, syy, sx, sy float64
	n := float64(to - from)
	for i := from; i < to; i++ {
		a, b := x[i+lag], y[i]
		sx, sy, sxx, syy, sxy = sx+a, sy+b, sxx+a*a, syy+b*b, sxy+a*b
	}
	vx, vy := sxx-sx*sx/n, syy-sy*sy/n
	if vx <= 0 || vy <= 0 {
		return -2
	}
	return (sxy - sx*sy/n) / math.Sqrt(vx*vy)
}

// lagFit is where a stretch fits best. Lag is what is added to its seconds to
// get those of the other record, mid the middle of the stretch.
type lagFit struct {
	lag, u, rho, mid float64
	ok               bool
}

// lagOf looks for the lag of y in x within around ± half, on a grid of g
// seconds and then by a parabola about the best.
func (c course) lagOf(y course, around, half, g float64) lagFit {
	const thin = 4000 // samples are enough
	if n := len(y.t); n > thin {
		z := course{period: y.period * float64(n) / thin}
		for k := range thin {
			i := k * n / thin
			z.t, z.v = append(z.t, y.t[i]), append(z.v, y.v[i])
		}
		y = z
	}
	n := 2*int(math.Ceil(half/g)) + 1
	lagAt := func(k int) float64 { return around + float64(k-n/2)*g }
	share := make([]float64, n) // of the variance that is not told
	var last fitted
	best := -1
	for k := range n {
		f := c.fit(y, lagAt(k))
		share[k] = f.share
		if !math.IsNaN(f.share) && (best < 0 || f.share < share[best]) {
			best, last = k, f
		}
	}
	// A best at the edge is none.
	w := max(2, int(math.Round(1/g)))
	if best < w || best+w >= n {
		return lagFit{}
	}
	// Parabola by least squares through the 2w+1 points about the best.
	var s2, s4, m, mq, mk float64
	for k := -w; k <= w; k++ {
		d := share[best+k]
		if math.IsNaN(d) {
			return lagFit{}
		}
		q := float64(k * k)
		s2, s4, m = s2+q, s4+q*q, m+d
		mk += float64(k) * d
		mq += q * d
	}
	count := float64(2*w + 1)
	curve := (mq - m*s2/count) / (s4 - s2*s2/count)
	tilt := mk / s2
	if !(curve > 0) {
		return lagFit{}
	}
	shift := -tilt / (2 * curve)
	if math.Abs(shift) > float64(w) {
		return lagFit{}
	}
	least := max(m/count-curve*s2/count-tilt*tilt/(4*curve), min(share[best], 1)*0.5, 1e-9)
	dof := float64(last.n - 4)
	if dof < 4 {
		return lagFit{}
	}
	// S(l) = S₀ + ½ S″ (l − l₀)², in shares of the variance: S″ = 2·curve/g².
	widen := (1 + last.auto) / (1 - last.auto)
	u := g * math.Sqrt(least/dof*widen/curve)
	// Noise digs narrow dips into a flat bottom, and the curvature of one tells
	// nothing: the lags that fit nearly as well (within three standard
	// deviations) tell how well the best is known.
	bar := share[best] * (1 + 9*widen/dof)
	first, end := best, best
	for k, d := range share {
		if d <= bar { // NaN is not
			first, end = min(first, k), max(end, k)
		}
	}
	if first == 0 || end == n-1 {
		return lagFit{}
	}
	u = max(u, g*float64(end-first)/6)
	// Where a sharp change falls between two samples is told by one or two of
	// them only.
	u = math.Hypot(u, betweenSamples*y.period)
	return lagFit{lag: lagAt(best) + shift*g, u: u, rho: math.Sqrt(max(0, 1-least)), mid: (y.t[0] + y.t[len(y.t)-1]) / 2, ok: true}
}

// fitted is the regression of a stretch at one lag.
type fitted struct {
	share float64 // of the variance about level and trend that is not told; NaN where it cannot be computed
	auto  float64 // correlation of the residuals from sample to sample, 0 to 0.9
	n     int
}

// fit regresses y(t) on 1, t and x(t + lag).
func (c course) fit(y course, lag float64) fitted {
	xs := make([]float64, 0, len(y.t))
	ys := make([]float64, 0, len(y.t))
	ts := make([]float64, 0, len(y.t))
	gap := 10*c.period + 1e-9
	mid := (y.t[0] + y.t[len(y.t)-1]) / 2
	hi, _ := slices.BinarySearch(c.t, y.t[0]+lag)
	for i, t := range y.t {
		at := t + lag
		for hi < len(c.t) && c.t[hi] < at {
			hi++
		}
		if hi == len(c.t) {
			break
		}
		var v float64
		switch {
		case c.t[hi] == at:
			v = c.v[hi]
		case hi == 0 || c.t[hi]-c.t[hi-1] > gap:
			continue
		default:
			f := (at - c.t[hi-1]) / (c.t[hi] - c.t[hi-1])
			v = c.v[hi-1] + f*(c.v[hi]-c.v[hi-1])
		}
		xs, ys, ts = append(xs, v), append(ys, y.v[i]), append(ts, t-mid)
	}
	n := len(xs)
	if n < 8 || 3*n < 2*len(y.t) {
		return fitted{share: math.NaN()}
	}
	xs, ys = detrended(ts, xs), detrended(ts, ys)
	var sxx, sxy, syy float64
	for i := range xs {
		sxx, sxy, syy = sxx+xs[i]*xs[i], sxy+xs[i]*ys[i], syy+ys[i]*ys[i]
	}
	if sxx <= 0 || syy <= 0 {
		return fitted{share: math.NaN()}
	}
	b := sxy / sxx
	var ss, cross, before float64
	for i := range xs {
		e := ys[i] - b*xs[i]
		ss += e * e
		if i > 0 {
			cross += e * before
		}
		before = e
	}
	out := fitted{share: ss / syy, n: n}
	if ss > 0 {
		out.auto = min(max(cross/ss, 0), 0.9)
	}
	return out
}

// detrended takes the least-squares line off v in place.
func detrended(t, v []float64) []float64 {
	n := float64(len(v))
	var mt, mv, stt, stv float64
	for i := range v {
		mt, mv = mt+t[i]/n, mv+v[i]/n
	}
	for i := range v {
		stt += (t[i] - mt) * (t[i] - mt)
		stv += (t[i] - mt) * (v[i] - mv)
	}
	b := 0.0
	if stt > 0 {
		b = stv / stt
	}
	for i := range v {
		v[i] -= mv + b*(t[i]-mt)
	}
	return v
}

package trace

import (
	"cmp"
	"math"
	"slices"

	"trivet/fault"
)

// ClockFit is an alignment with how well it is known.
//
// Its uncertainties are standard uncertainties after JCGM 100:2008: of type A
// from the scatter of the points about the line where there are enough of
// them, else of type B from what is known of one point ([SyncPoint.UUS], or
// the default of the method).
type ClockFit struct {
	Alignment Alignment   `json:"alignment"`
	Method    string      `json:"method"` // "marks", "turns" or "signal"
	Points    []SyncPoint `json:"points"`
	Dropped   []SyncPoint `json:"dropped,omitempty"` // points far off the line of the others
	RMSUS     float64     `json:"rms_us"`            // root mean square distance of the points, weighted like the fit, µs
	WorstUS   int64       `json:"worst_us"`          // largest distance
	// MidUS is the device time at which the offset is known best: the weighted
	// mean of the points. OffsetUUS is the standard uncertainty of a time
	// mapped there, µs, and RateU that of the rate; the two are independent.
	MidUS     int64   `json:"mid_us"`
	OffsetUUS float64 `json:"offset_u_us"`
	RateU     float64 `json:"rate_u"`
	// Nu are the degrees of freedom of a type A uncertainty; 0 where it is of
	// type B and taken as known.
	Nu float64 `json:"nu,omitempty"`
	// Correlation of the two signals; 0 where none was compared.
	Correlation float64      `json:"correlation,omitempty"`
	Notes       []fault.Note `json:"notes,omitempty"`
}

// At is the standard uncertainty of a device time once mapped, µs:
//
//	u²(t) = u²(offset) + u²(rate)·(t − mid)²
//
// so that it grows away from the points.
func (f ClockFit) At(deviceUS int64) float64 {
	return math.Hypot(f.OffsetUUS, f.RateU*float64(deviceUS-f.MidUS))
}

// Inverse is the fit of the other clock to this one.
func (f ClockFit) Inverse() ClockFit {
	swap := func(points []SyncPoint) []SyncPoint {
		out := make([]SyncPoint, len(points))
		for i, p := range points {
			out[i] = SyncPoint{DeviceUS: p.CommonUS, CommonUS: p.DeviceUS, UUS: p.UUS}
		}
		return out
	}
	out := f
	out.Alignment = f.Alignment.Inverse()
	out.MidUS = f.Alignment.Apply(f.MidUS)
	out.Points = swap(f.Points)
	if f.Dropped != nil {
		out.Dropped = swap(f.Dropped)
	}
	return out
}

// What is taken where the points cannot tell; our choices, no source.
const (
	// handU is how well a person marks a moment: within half a second either
	// way, rectangular.
	handU = 0.5e6 / 1.7320508075688772
	// eventU is how well an event is read from the traces: see the recovery
	// of turns in docs/logs.md.
	eventU = 1.0e6
	// UsualRate is how far a logger's clock may run fast or slow without
	// being broken (200 ppm are 17 s a day); usualRateU is the standard
	// uncertainty of a rate nobody measured, rectangular.
	UsualRate  = 200e-6
	usualRateU = UsualRate / 1.7320508075688772
	// rateDoubt is a rate beyond which the points rather than the clock are
	// to be doubted.
	rateDoubt = 2000e-6
)

// how tells fitClock what is known of the points.
type how struct {
	method string
	pointU float64 // standard uncertainty of a point that states none, µs
	// scatter says that pointU is only a guess: where there are enough points
	// their own scatter takes its place, also where it is smaller.
	scatter bool
}

// fitClock fits a line through the differences of the two clocks, weighted by
// what is known of each point. With five points or more those far off the
// line of the others are dropped first: the line is the median of the slopes
// between any two points (H. Theil 1950, P. K. Sen 1968), far is more than 3.5
// times the scatter by the median absolute deviation. A rate below twice its
// uncertainty is left out, and then counts as uncertainty.
func fitClock(h how, points []SyncPoint) (ClockFit, error) {
	if len(points) == 0 {
		return ClockFit{}, fault.New("alignment-points", "no event was seen on both clocks").WithFix("mark one sync event at least, two to find the drift")
	}
	points = slices.Clone(points)
	slices.SortFunc(points, func(a, b SyncPoint) int {
		return cmp.Or(cmp.Compare(a.DeviceUS, b.DeviceUS), cmp.Compare(a.CommonUS, b.CommonUS))
	})
	stated := false
	for i := range points {
		if points[i].UUS < 0 || math.IsNaN(points[i].UUS) || math.IsInf(points[i].UUS, 0) {
			return ClockFit{}, fault.New("alignment-points", "the uncertainty of a sync point is no number of µs").On("u_us", "")
		}
		if points[i].UUS > 0 {
			stated = true
		} else {
			points[i].UUS = h.pointU
		}
	}
	f := ClockFit{Method: h.method}
	f.Points, f.Dropped = apart(points)
	if n := len(f.Dropped); n > 0 {
		f.Notes = append(f.Notes, fault.Notef("clock-dropped", "left out %d of %d points, far off the line of the others", n, len(points)))
	}
	l := lineThrough(f.Points)
	withRate := len(f.Points) > 1 && l.spanUS > 0
	params := 1
	if withRate {
		params = 2
	}
	// Stretches of a signal may be off by more than each can know of itself,
	// by how the samples fall on a sharp change: a variance that all share is
	// added to theirs, so that the one that is surest of itself does not
	// decide.
	if h.method == "signal" {
		l = l.sharing(params)
	}
	// The Birge ratio widens stated uncertainties that the scatter exceeds
	// (R. T. Birge 1932, Phys. Rev. 40, 207).
	if nu := len(f.Points) - params; nu > 0 {
		chi2, told := l.chi2(withRate), float64(nu)
		if h.method == "signal" {
			// Stretches so far off say that others may be off as well.
			gone := float64(len(f.Dropped))
			chi2, told = chi2+farOff*farOff*gone, told+gone
		}
		ratio := math.Sqrt(chi2 / told)
		// Events are read to about a second, and points that agree to less do
		// so by the grid of the samples: 1/√12 of a step is left.
		if h.scatter {
			ratio = max(ratio, 1/math.Sqrt(12))
		}
		if ratio > 1-1e-6 || h.scatter && !stated && nu >= 3 {
			// Few points know their own scatter badly: the standard deviation
			// of Student's t is √(ν/(ν − 2)) (JCGM 101:2008, 6.4.9.4).
			few := max(float64(nu), 3)
			l.widen(ratio * math.Sqrt(few/(few-2)))
			f.Nu = float64(nu)
		}
	}
	f.MidUS = l.midUS
	f.Alignment = Alignment{AnchorUS: l.midUS, OffsetUS: l.offsetUS}
	f.OffsetUUS, f.RateU = l.offsetU, usualRateU
	switch {
	case !withRate && len(f.Points) == 1:
		f.Notes = append(f.Notes, fault.Notef("clock-offset-only",
			"one event was seen on both clocks: it tells the offset and no drift; ±%.0f ppm are taken for that", UsualRate*1e6))
	case !withRate:
		f.Notes = append(f.Notes, fault.Notef("clock-offset-only",
			"the events stand at one time: they tell the offset and no drift; ±%.0f ppm are taken for that", UsualRate*1e6))
	case math.Abs(l.rate) >= 2*l.rateU:
		f.Alignment.Rate, f.RateU = l.rate, l.rateU
	default:
		// The rate left out stays as uncertainty; points too near each other
		// know less of it than is known of clocks.
		if f.RateU = math.Hypot(l.rate, l.rateU); l.rateU > usualRateU {
			f.RateU = usualRateU
		}
		f.Notes = append(f.Notes, fault.Notef("clock-no-drift",
			"no drift beyond its uncertainty (%+.0f ppm ± %.0f ppm, k = 2): the offset alone is taken", l.rate*1e6, 2*l.rateU*1e6))
	}
	if r := f.Alignment.Rate; math.Abs(r) > rateDoubt {
		if math.Abs(r) > 0.05 {
			return ClockFit{}, fault.New("alignment-rate", "the clocks would run %.1f %% apart, which no clock does", r*100).
				WithFix("look whether the events that were taken together belong together")
		}
		f.Notes = append(f.Notes, fault.Notef("clock-fast", "the clocks run %.0f ppm apart, more than clocks do: look whether the points belong together", r*1e6))
	}
	f.residuals()
	return f, nil
}

// residuals fills in how far the points lie from the fit.
func (f *ClockFit) residuals() {
	var ss, sw float64
	f.WorstUS = 0
	for _, p := range f.Points {
		d, w := f.Alignment.Apply(p.DeviceUS)-p.CommonUS, 1/(p.UUS*p.UUS)
		ss += w * float64(d) * float64(d)
		sw += w
		f.WorstUS = max(f.WorstUS, abs(d))
	}
	f.RMSUS = math.Sqrt(ss / sw)
}

// farOff is how many times the scatter a point is off that is left out.
const farOff = 3.5

// apart splits off the points that lie far off the line of the others; at
// most a third of them.
func apart(points []SyncPoint) (near, far []SyncPoint) {
	n := len(points)
	if n < 5 {
		return points, nil
	}
	diff := func(i int) float64 {
		return float64((points[i].CommonUS - points[i].DeviceUS) - (points[0].CommonUS - points[0].DeviceUS))
	}
	var slopes []float64
	for i := range n {
		for j := range i {
			if dx := float64(points[i].DeviceUS - points[j].DeviceUS); dx > 0 {
				slopes = append(slopes, (diff(i)-diff(j))/dx)
			}
		}
	}
	slope := 0.0
	if len(slopes) > 0 {
		slope = medianOf(slopes)
	}
	rest := make([]float64, n)
	for i := range rest {
		rest[i] = diff(i) - slope*float64(points[i].DeviceUS-points[0].DeviceUS)
	}
	level := medianOf(slices.Clone(rest))
	off := make([]float64, n)
	for i := range off {
		off[i] = math.Abs(rest[i] - level)
	}
	// 1.4826 makes the median absolute deviation a standard deviation of
	// normal scatter.
	scatter := 1.4826 * medianOf(slices.Clone(off))
	for i, p := range points {
		if off[i] > farOff*max(scatter, p.UUS) {
			far = append(far, p)
		} else {
			near = append(near, p)
		}
	}
	if len(far) > n/3 {
		return points, nil
	}
	return near, far
}

func medianOf(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// clockLine is the weighted least-squares line common − device = offset +
// rate·(device − mid), its points' weights 1/u².
type clockLine struct {
	points   []SyncPoint
	midUS    int64
	offsetUS int64
	rate     float64
	spanUS   int64
	offsetU  float64
	rateU    float64
}

func lineThrough(points []SyncPoint) clockLine {
	l := clockLine{points: points}
	first := points[0]
	var sw, sx, sy float64
	for _, p := range points {
		w := 1 / (p.UUS * p.UUS)
		sw += w
		sx += w * float64(p.DeviceUS-first.DeviceUS)
		sy += w * float64((p.CommonUS-p.DeviceUS)-(first.CommonUS-first.DeviceUS))
	}
	mx, my := sx/sw, sy/sw
	l.midUS = first.DeviceUS + int64(math.Round(mx))
	l.offsetUS = first.CommonUS - first.DeviceUS + int64(math.Round(my))
	l.offsetU = 1 / math.Sqrt(sw)
	l.spanUS = points[len(points)-1].DeviceUS - first.DeviceUS
	var sxx, sxy float64
	for _, p := range points {
		w := 1 / (p.UUS * p.UUS)
		x := float64(p.DeviceUS-first.DeviceUS) - mx
		sxx += w * x * x
		sxy += w * x * float64((p.CommonUS-p.DeviceUS)-l.offsetUS)
	}
	if sxx > 0 {
		l.rate, l.rateU = sxy/sxx, 1/math.Sqrt(sxx)
	}
	return l
}

func (l *clockLine) chi2(withRate bool) float64 {
	sum := 0.0
	for _, p := range l.points {
		d := float64((p.CommonUS - p.DeviceUS) - l.offsetUS)
		if withRate {
			d -= l.rate * float64(p.DeviceUS-l.midUS)
		}
		sum += d * d / (p.UUS * p.UUS)
	}
	return sum
}

// sharing is the line with the variance added to every point's that makes its
// chi-squared equal to its degrees of freedom; the line itself where that is
// less already (R. C. Paule, J. Mandel 1982, Consensus values and weighting
// factors, J. Res. NBS 87, 377-385).
func (l clockLine) sharing(params int) clockLine {
	nu := float64(len(l.points) - params)
	if nu <= 0 || l.chi2(params == 2) <= nu {
		return l
	}
	with := func(u float64) clockLine {
		points := slices.Clone(l.points)
		for i := range points {
			points[i].UUS = math.Hypot(points[i].UUS, u)
		}
		return lineThrough(points)
	}
	lo, hi := 0.0, 1e3 // µs
	for line := with(hi); line.chi2(params == 2) > nu; line = with(hi) {
		hi *= 2
	}
	for range 40 {
		mid := (lo + hi) / 2
		if line := with(mid); line.chi2(params == 2) > nu {
			lo = mid
		} else {
			hi = mid
		}
	}
	return with(hi)
}

func (l *clockLine) widen(ratio float64) {
	l.offsetU *= ratio
	l.rateU *= ratio
}

// AlignByMarks aligns a device by events that were marked on both clocks. A
// point that states no uncertainty is taken as marked by hand within half a
// second. One event gives the offset only, with a note.
func AlignByMarks(points []SyncPoint) (ClockFit, error) {
	return fitClock(how{method: "marks", pointU: math.Sqrt2 * handU, scatter: true}, points)
}

// AlignByTurns aligns a device by the events that both devices felt: heat on,
// turns and off heat as [Detect] reads them on each side. The pattern of the
// times between them tells which belong together; at least three must agree.
func AlignByTurns(common, device []*Trace, opt DetectOptions) (ClockFit, error) {
	f, err := AlignByEvents(Detect(common, opt), Detect(device, opt))
	if err == nil {
		f.stamps(common, device)
	}
	return f, err
}

// AlignByEvents is [AlignByTurns] for events already read.
func AlignByEvents(common, device []Event) (ClockFit, error) {
	points, tie := MatchEvents(common, device)
	a, b := len(patterned(common)), len(patterned(device))
	if len(points) < 3 {
		return ClockFit{}, fault.New("alignment-turns", "the events that the two devices felt do not match: %d and %d were read, %d agree", a, b, len(points)).
			WithFix("mark an event on both clocks, or take a signal that both recorded")
	}
	if tie {
		return ClockFit{}, fault.New("alignment-turns", "the pattern of the events fits at more than one place: %d of %d and %d agree at two of them", len(points), a, b).
			WithFix("mark an event on both clocks, or take a signal that both recorded")
	}
	f, err := fitClock(how{method: "turns", pointU: math.Sqrt2 * eventU, scatter: true}, points)
	if n := min(a, b) - len(points); err == nil && n > 0 {
		f.Notes = append(f.Notes, fault.Notef("clock-unmatched", "%d of %d events of the shorter list found no partner", n, min(a, b)))
	}
	return f, err
}

// patterned are the events whose pattern tells two clocks apart.
func patterned(events []Event) []Event {
	var out []Event
	for _, e := range events {
		if e.Kind == HeatOn || e.Kind == Turn || e.Kind == OffHeat {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b Event) int { return cmp.Compare(a.AtUS, b.AtUS) })
	return out
}

// nearUS is how far two readings of one event may lie apart once shifted.
const nearUS = 4e6

// MatchEvents pairs heat on, turns and off heat of two clocks by the pattern
// of the times between them, kind by kind, each event once: the shift at
// which most agree within 4 s (and 300 ppm of the way), the closest of equals.
// Tie reports that as many agree at another shift.
func MatchEvents(common, device []Event) (points []SyncPoint, tie bool) {
	a, b := patterned(common), patterned(device)
	type trial struct {
		shift  int64
		points []SyncPoint
		spread float64
	}
	var best trial
	var all []trial
	for _, x := range a {
		for _, y := range b {
			if x.Kind != y.Kind {
				continue
			}
			t := trial{shift: x.AtUS - y.AtUS}
			used := make([]bool, len(a))
			for _, q := range b {
				k, nearest := -1, math.Inf(1)
				for i, p := range a {
					d := math.Abs(float64(p.AtUS - q.AtUS - t.shift))
					if p.Kind == q.Kind && !used[i] && d <= nearUS+3e-4*math.Abs(float64(q.AtUS-y.AtUS)) && d < nearest {
						k, nearest = i, d
					}
				}
				if k >= 0 {
					used[k] = true
					t.points = append(t.points, SyncPoint{DeviceUS: q.AtUS, CommonUS: a[k].AtUS})
					t.spread += nearest
				}
			}
			all = append(all, t)
			if len(t.points) > len(best.points) || len(t.points) == len(best.points) && t.spread < best.spread {
				best = t
			}
		}
	}
	for _, t := range all {
		tie = tie || len(t.points) == len(best.points) && abs(t.shift-best.shift) > 3*nearUS
	}
	return best.points, tie
}

// stamps adds what the resolution of the time stamps leaves open: a log that
// stamps whole seconds may have read anywhere within them (rectangular).
func (f *ClockFit) stamps(sides ...[]*Trace) {
	sum := 0.0
	for _, traces := range sides {
		coarsest := 0.0
		for _, t := range traces {
			coarsest = max(coarsest, float64(t.stampUS()))
		}
		sum += coarsest * coarsest / 12
	}
	if sum == 0 {
		return
	}
	f.OffsetUUS = math.Hypot(f.OffsetUUS, math.Sqrt(sum))
	f.Notes = append(f.Notes, fault.Notef("clock-stamps", "the times of the logs are written in coarse steps, which adds %.2f s to the uncertainty", math.Sqrt(sum)/1e6))
}

// stampUS is the decimal step in which the times are written, where that is a
// tenth of a second or more; 0 when finer.
func (t *Trace) stampUS() int64 {
	step := int64(1e6)
	for _, us := range t.TimesUS {
		for us%step != 0 {
			if step /= 10; step < 1e5 {
				return 0
			}
		}
	}
	if t.Len() == 0 {
		return 0
	}
	return step
}

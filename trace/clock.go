package trace

import (
	"cmp"
	"math"
	"slices"

	"trivet/fault"
)

// ClockFit is an alignment with how well it is known.
type ClockFit struct {
	Alignment Alignment   `json:"alignment"`
	Method    string      `json:"method"` // "marks", "turns" or "signal"
	Points    []SyncPoint `json:"points"`
	RMSUS     float64     `json:"rms_us"`   // root mean square distance of the points, µs
	WorstUS   int64       `json:"worst_us"` // largest distance
	// OffsetUUS is the standard uncertainty of a time mapped in the middle of
	// the points, µs, and RateU that of the rate; 0 where the points are too
	// few to tell.
	OffsetUUS float64 `json:"offset_u_us"`
	RateU     float64 `json:"rate_u"`
}

// At is the standard uncertainty of a device time once mapped, µs: it grows
// away from the points.
func (f ClockFit) At(deviceUS int64) float64 {
	mid := 0.0
	for _, p := range f.Points {
		mid += float64(p.DeviceUS) / float64(len(f.Points))
	}
	return math.Hypot(f.OffsetUUS, f.RateU*(float64(deviceUS)-mid))
}

// fitClock fits offset and rate to points with Student residuals; a rate that
// is no larger than its own uncertainty is left out.
func fitClock(method string, points []SyncPoint) (ClockFit, error) {
	a, worst, err := FitAlignment(points)
	if err != nil {
		return ClockFit{}, err
	}
	f := ClockFit{Alignment: a, Method: method, Points: points, WorstUS: worst}
	f.scatter(2)
	if a.Rate != 0 && (len(points) < 3 || math.Abs(a.Rate) < 2*f.RateU) && len(points) != 2 {
		// Offset alone: the mean of the differences.
		sum := 0.0
		for _, p := range points {
			sum += float64(p.CommonUS - p.DeviceUS)
		}
		f.Alignment = Alignment{AnchorUS: a.AnchorUS, OffsetUS: int64(math.Round(sum / float64(len(points))))}
		f.scatter(1)
	}
	return f, nil
}

// scatter fills in residuals and uncertainties for so many parameters.
func (f *ClockFit) scatter(params int) {
	n := len(f.Points)
	var ss, mid, sxx float64
	f.WorstUS = 0
	for _, p := range f.Points {
		d := float64(f.Alignment.Apply(p.DeviceUS) - p.CommonUS)
		ss += d * d
		f.WorstUS = max(f.WorstUS, int64(math.Abs(d)))
		mid += float64(p.DeviceUS) / float64(n)
	}
	f.RMSUS = math.Sqrt(ss / float64(n))
	f.OffsetUUS, f.RateU = 0, 0
	if n <= params {
		return
	}
	s := math.Sqrt(ss / float64(n-params))
	f.OffsetUUS = s / math.Sqrt(float64(n))
	for _, p := range f.Points {
		sxx += (float64(p.DeviceUS) - mid) * (float64(p.DeviceUS) - mid)
	}
	if params > 1 && sxx > 0 {
		f.RateU = s / math.Sqrt(sxx)
	}
}

// AlignByMarks aligns a device by events that were marked on both clocks.
func AlignByMarks(points []SyncPoint) (ClockFit, error) { return fitClock("marks", points) }

// AlignByTurns aligns a device by the events that both devices felt: heat on,
// turns and off heat as [Detect] reads them on each side. The pattern of the
// times between them tells which belong together; at least three must agree
// within 4 s.
func AlignByTurns(common, device []*Trace) (ClockFit, error) {
	pick := func(traces []*Trace) []Event {
		out := Detect(traces, DetectOptions{})
		return slices.DeleteFunc(out, func(e Event) bool { return e.Kind != HeatOn && e.Kind != Turn && e.Kind != OffHeat })
	}
	a, b := pick(common), pick(device)
	const near = 4e6
	var best []SyncPoint
	spread := math.Inf(1)
	for _, x := range a {
		for _, y := range b {
			shift := x.AtUS - y.AtUS
			var points []SyncPoint
			sum := 0.0
			for _, q := range b {
				k := slices.IndexFunc(a, func(p Event) bool { return abs(p.AtUS-q.AtUS-shift) <= near })
				if k >= 0 {
					points = append(points, SyncPoint{DeviceUS: q.AtUS, CommonUS: a[k].AtUS})
					sum += math.Abs(float64(a[k].AtUS - q.AtUS - shift))
				}
			}
			if len(points) > len(best) || len(points) == len(best) && sum < spread {
				best, spread = points, sum
			}
		}
	}
	if len(best) < 3 {
		return ClockFit{}, fault.New("alignment-turns", "the events that the two devices felt do not match: %d and %d were read, %d agree", len(a), len(b), len(best)).
			WithFix("mark an event on both clocks, or take a signal that both recorded")
	}
	return fitClock("turns", best)
}

// signalParts is into how many stretches a record is cut to tell drift.
const signalParts = 5

// AlignBySignal aligns a device by a course that both recorded, such as two
// sensors of one pan: where the changes of the two correlate best, for the
// whole and then for each of five stretches, which tell the drift. MaxLagS
// bounds the search. It refuses signals that correlate weakly (below 0.5).
func AlignBySignal(common, device *Trace, maxLagS float64) (ClockFit, error) {
	bad := func(format string, args ...any) (ClockFit, error) {
		return ClockFit{}, fault.New("alignment-signal", format, args...).On("trace", device.Channel.ID).
			WithFix("mark an event on both clocks, or take a signal that changes sharply")
	}
	step := max(common.PeriodUS(), device.PeriodUS(), 500_000)
	if common.Len() < 30 || device.Len() < 30 || !(maxLagS > 0) {
		return bad("the signals are too short to compare")
	}
	x, y := changesOf(common, step), changesOf(device, step)
	maxLag := int(maxLagS * 1e6 / float64(step))
	// The common start: index i of y stands at device.TimesUS[0] + i·step.
	base := device.TimesUS[0] - common.TimesUS[0]
	lagAt := func(from, to, around, within int) (lag float64, rho float64) {
		best := -2.0
		at := 0
		score := func(k int) float64 {
			return correlation(x, y, from, to, int(math.Round(float64(base)/float64(step)))+k)
		}
		for k := around - within; k <= around+within; k++ {
			if r := score(k); r > best {
				best, at = r, k
			}
		}
		l, r := score(at-1), score(at+1)
		d := 0.0
		if q := l - 2*best + r; q < 0 {
			d = min(max(0.5*(l-r)/q, -0.5), 0.5)
		}
		return float64(at) + d, best
	}
	whole, rho := lagAt(0, len(y), 0, maxLag)
	if rho < 0.5 {
		return bad("the two signals hardly go together (correlation %.2f)", rho)
	}
	round := float64(base) - math.Round(float64(base)/float64(step))*float64(step)
	var points []SyncPoint
	part := len(y) / signalParts
	for p := range signalParts {
		from, to := p*part, (p+1)*part
		lag, r := lagAt(from, to, int(math.Round(whole)), max(3, len(y)/200))
		if r < 0.6 {
			continue
		}
		at := device.TimesUS[0] + int64(from+to)/2*step
		points = append(points, SyncPoint{DeviceUS: at, CommonUS: at + int64(math.Round(lag*float64(step)-round))})
	}
	if len(points) < 2 {
		at := device.TimesUS[0] + int64(len(y))/2*step
		points = []SyncPoint{{DeviceUS: at, CommonUS: at + int64(math.Round(whole*float64(step)-round))}}
	}
	slices.SortFunc(points, func(a, b SyncPoint) int { return cmp.Compare(a.DeviceUS, b.DeviceUS) })
	return fitClock("signal", points)
}

// changesOf is the slope of a trace on even steps, smoothed over three.
func changesOf(t *Trace, step int64) []float64 {
	n := int((t.TimesUS[t.Len()-1]-t.TimesUS[0])/step) + 1
	v, missing := t.Resample(t.TimesUS[0], step, n, 10*step)
	out := make([]float64, n)
	for i := 2; i+2 < n; i++ {
		if !missing.Has(i-2) && !missing.Has(i+2) {
			out[i] = v[i+2] + v[i+1] - v[i-1] - v[i-2]
		}
	}
	return out
}

// correlation of y[from:to] with x shifted by lag; −2 where they hardly
// overlap.
func correlation(x, y []float64, from, to, lag int) float64 {
	from, to = max(from, -lag), min(to, len(x)-lag)
	if to-from < 10 {
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

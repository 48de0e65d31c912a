package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// series is a channel as plain numbers: seconds from heat on, and °C, g or W.
// Samples without a value are left out.
type series struct {
	ch     trace.Channel
	timeS  []float64
	value  []float64
	stepU  float64  // quantum in the converted unit
	longS  float64  // longest gap between neighbours, s
	everyS float64  // median interval, s
	fit    *Profile // the fit it was read from; nil where it was measured
	lagS   float64  // time constant it is corrected for
	stem   *stemHeat
}

// firstClockUS tells a time of day from a time since a log began: no log runs
// for 30 years.
const firstClockUS = 30 * 365 * 24 * 3600 * 1e6

func clockWords(elapsed bool) string {
	if elapsed {
		return "from the start of its log"
	}
	return "by the clock"
}

// view is a cook prepared for measuring: channels on one clock that starts
// at heat on.
type view struct {
	in    Input
	all   []series
	notes []fault.Note

	def     reading // what is read otherwise than by the response's own definition
	fitted  bool    // the fit was tried
	profile *Profile
	read    sourcesRead // by the response that is being computed
}

func newView(in Input) (*view, error) {
	in, moved := OneClock(in)
	in, notes := withHeatOn(in)
	v := &view{in: in, notes: append(moved, notes...)}
	var last readTimes
	for i := range in.Traces {
		tr := &in.Traces[i]
		if err := tr.Validate(); err != nil {
			return nil, err
		}
		zero := in.Cook.ZeroUS
		if !in.Cook.ZeroSet && tr.Len() > 0 {
			zero = tr.TimesUS[0]
			if tr.Elapsed {
				zero = 0
			}
		}
		if in.Cook.ZeroSet && tr.Elapsed != (zero < firstClockUS) {
			v.notes = append(v.notes, fault.Notef("clock-mismatch",
				"channel %s counts %s, the heat-on mark %s: it is left out", tr.Channel.ID, clockWords(tr.Elapsed), clockWords(!tr.Elapsed)))
			continue
		}
		s := series{ch: tr.Channel, stepU: tr.Resolution()}
		if !last.timesOf(tr, zero, &s) {
			s.timeS, s.value = tr.Points(zero)
			if len(s.timeS) > 1 {
				gaps := make([]float64, len(s.timeS)-1)
				for k := range gaps {
					gaps[k] = s.timeS[k+1] - s.timeS[k]
				}
				s.longS = slices.Max(gaps)
				slices.Sort(gaps)
				s.everyS = gaps[len(gaps)/2]
			}
			last = readTimes{tr, zero, s}
		}
		v.correct(&s)
		v.all = append(v.all, s)
	}
	v.correctCourses()
	return v, nil
}

// readTimes are the times of a trace as they were read.
type readTimes struct {
	tr   *trace.Trace
	zero int64
	s    series
}

// timesOf lets the series of a trace have the times, and what is known of
// them, of one before that shares them, as all channels of one log do that
// misses no sample; it is false where they must be read.
func (l *readTimes) timesOf(tr *trace.Trace, zero int64, s *series) bool {
	if l.tr == nil || l.zero != zero || tr.Len() == 0 || l.tr.Len() != tr.Len() || &l.tr.TimesUS[0] != &tr.TimesUS[0] ||
		l.tr.Missing.Count() > 0 || tr.Missing.Count() > 0 {
		return false
	}
	s.timeS, s.longS, s.everyS = l.s.timeS, l.s.longS, l.s.everyS
	s.value = make([]float64, tr.Len())
	for i := range s.value {
		s.value[i], _ = tr.Value(i)
	}
	return true
}

// at returns the value at time t by linear interpolation; false outside the
// record or inside a gap longer than ten usual intervals.
func (s *series) at(t float64) (float64, bool) {
	i, exact := slices.BinarySearch(s.timeS, t)
	if exact {
		return s.value[i], true
	}
	if i == 0 || i == len(s.timeS) {
		return 0, false
	}
	if span := s.timeS[i] - s.timeS[i-1]; s.everyS > 0 && span > 10*s.everyS {
		return 0, false
	}
	f := (t - s.timeS[i-1]) / (s.timeS[i] - s.timeS[i-1])
	return s.value[i-1] + f*(s.value[i]-s.value[i-1]), true
}

// between returns the part of the series with from ≤ t ≤ to.
func (s *series) between(from, to float64) series {
	i, _ := slices.BinarySearch(s.timeS, from)
	j, found := slices.BinarySearch(s.timeS, to)
	if found {
		j++
	}
	out := *s
	if i >= j {
		out.timeS, out.value = nil, nil
		return out
	}
	out.timeS, out.value = s.timeS[i:j], s.value[i:j]
	return out
}

// slopeAt is the local rate of change at t in units a second: a straight
// line fitted by least squares over ±half seconds.
func (s *series) slopeAt(t, half float64) (float64, bool) {
	w := s.between(t-half, t+half)
	if len(w.timeS) < 3 {
		return 0, false
	}
	var mt, mv float64
	for i := range w.timeS {
		mt += w.timeS[i]
		mv += w.value[i]
	}
	n := float64(len(w.timeS))
	mt /= n
	mv /= n
	var num, den float64
	for i := range w.timeS {
		num += (w.timeS[i] - mt) * (w.value[i] - mv)
		den += (w.timeS[i] - mt) * (w.timeS[i] - mt)
	}
	if den == 0 {
		return 0, false
	}
	return num / den, true
}

// held are the channels at some places that hold samples.
func (v *view) held(places ...trace.Place) []series {
	var out []series
	for _, s := range v.all {
		if slices.Contains(places, s.ch.Place) && len(s.timeS) > 0 {
			out = append(out, s)
		}
	}
	return out
}

// mark returns the time of the last mark of a kind, seconds from heat on.
func (v *view) mark(kind study.MarkKind) (float64, bool) {
	at, ok := 0.0, false
	for _, m := range v.in.Cook.Marks {
		if m.Kind == kind {
			at, ok = float64(m.AtUS)/1e6, true
		}
	}
	if ok {
		v.readMark(kind, at)
	}
	return at, ok
}

// pullS is when the piece left the heat.
func (v *view) pullS() (float64, error) {
	if t, ok := v.mark(study.OffHeat); ok {
		return t, nil
	}
	return 0, absent("there is no off-heat mark").WithFix("mark when the piece left the heat")
}

// servingS is when the piece was served, else cut; endS is what follows.
func (v *view) servingS() (float64, error) {
	if t, ok := v.mark(study.Served); ok {
		return t, nil
	}
	if t, ok := v.mark(study.Cut); ok {
		return t, nil
	}
	return 0, absent("there is no served or cut mark").WithFix("mark when the piece was served or cut")
}

// core returns the core's series: the centre of the fitted profile (see
// [FitProfile]) where three or more sensors at known depths allow it, else
// the mean of the core channels, or, with three or more depth channels and
// none marked as core, the vertex of a parabola through the three coldest
// neighbours at each time (the minimum itself where the vertex lies outside
// them).
func (v *view) core() (series, error) {
	if v.def.coldestSensor {
		return v.coldestSensor()
	}
	if v.def.sensors {
		return v.measuredCore()
	}
	if p := v.fit(); p != nil {
		return v.fittedCore(p), nil
	}
	return v.measuredCore()
}

// measuredCore is the core without the fit.
func (v *view) measuredCore() (series, error) {
	cores := v.channels(trace.Core)
	switch {
	case len(cores) == 1:
		return cores[0], nil
	case len(cores) > 1:
		return meanOf(cores), nil
	}
	depths := v.channels(trace.Depth)
	if len(depths) < 3 {
		return series{}, absent("there is no core channel and fewer than three depth channels").
			WithFix("name the core's channel in the column map")
	}
	slices.SortFunc(depths, func(a, b series) int {
		if a.ch.DepthM < b.ch.DepthM {
			return -1
		}
		return 1
	})
	out := depths[0]
	out.ch.Place, out.ch.ID = trace.Core, "core (from depths)"
	out.timeS, out.value = nil, nil
	x := make([]float64, len(depths))
	y := make([]float64, len(depths))
	for i, t := range depths[0].timeS {
		n := 0
		for k := range depths {
			val, ok := depths[0].value[i], k == 0
			if k > 0 {
				val, ok = depths[k].at(t)
			}
			if ok {
				x[n], y[n] = depths[k].ch.DepthM, val
				n++
			}
		}
		if n < 3 {
			continue
		}
		out.timeS = append(out.timeS, t)
		out.value = append(out.value, coldest(x[:n], y[:n]))
	}
	if len(out.timeS) == 0 {
		return series{}, absent("the depth channels never overlap in time")
	}
	return out, nil
}

// coldest is the minimum of a parabola through the coldest point and its two
// neighbours, or the coldest value when that parabola has no minimum between
// them.
func coldest(x, y []float64) float64 {
	i := 0
	for k := range y {
		if y[k] < y[i] {
			i = k
		}
	}
	i = min(max(i, 1), len(y)-2)
	low := slices.Min(y)
	d1 := (y[i] - y[i-1]) / (x[i] - x[i-1])
	d2 := (y[i+1] - y[i]) / (x[i+1] - x[i])
	curve := (d2 - d1) / (x[i+1] - x[i-1])
	if !(curve > 0) {
		return low
	}
	vertex := (x[i-1]+x[i])/2 - d1/(2*curve)
	if vertex < x[i-1] || vertex > x[i+1] {
		return low
	}
	return y[i] + (vertex-x[i])*(d1+curve*(vertex-x[i-1]))
}

// meanOf averages channels at the first one's times.
func meanOf(all []series) series {
	out := all[0]
	out.timeS, out.value = nil, nil
	for i, t := range all[0].timeS {
		sum, n := all[0].value[i], 1.0
		for k := 1; k < len(all); k++ {
			if x, ok := all[k].at(t); ok {
				sum += x
				n++
			}
		}
		out.timeS = append(out.timeS, t)
		out.value = append(out.value, sum/n)
	}
	return out
}

// thicknessM is the mean of the piece's thickness readings; false if none.
func (v *view) thicknessM() (float64, bool) {
	ts := v.in.Piece.ThicknessM
	if len(ts) == 0 {
		return 0, false
	}
	sum := 0.0
	for _, t := range ts {
		sum += t
	}
	return sum / float64(len(ts)), true
}

func squared(x float64) float64 { return x * x }

func rectangular(halfWidth float64) float64 { return halfWidth / math.Sqrt(3) }

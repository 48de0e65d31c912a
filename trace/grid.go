package trace

import (
	"math"
	"slices"
)

// sensed is a channel on the even grid of the detector.
type sensed struct {
	t     *Trace
	y     []float64
	noise float64 // of a sample about its smooth course, K
	depth float64 // under side A, m
	nan   []bool  // drawn across a gap, or before the first sample and after the last
}

// eventGrid brings the channels of a cook onto one even grid.
type eventGrid struct {
	fromUS int64
	dt     float64
	n      int
	thickM float64
	known  bool      // the thickness was told
	piece  []*sensed // sensors in and on the piece at known places
	pan    []*sensed
	air    []*sensed
	fat    []*sensed
	probe  []handled // when the probe was touched
	began  heated    // what the piece was at the first step
	wander wander
	looks  float64 // least time for which a change is looked at, s

	// Behind a moment at which the probe was touched.
	touched bool
	was     placement // where its sensors stood before
	from    []float64 // the slab at the first step, where it is known
}

func (g *eventGrid) us(i int) int64 { return g.fromUS + int64(math.Round(float64(i)*g.dt*1e6)) }

// least samples of a channel that is read at all, and steps of a grid.
const (
	leastSamples = 8
	leastSteps   = 16
	mostSteps    = 1 << 17 // a day and a half at one a second
)

func newEventGrid(traces []*Trace, opt DetectOptions) *eventGrid {
	traces = slices.DeleteFunc(slices.Clone(traces), func(t *Trace) bool { return t.Len() < leastSamples })
	if len(traces) == 0 {
		return nil
	}
	g := &eventGrid{fromUS: math.MaxInt64, thickM: opt.ThicknessM, known: opt.ThicknessM > 0, wander: usualWander}
	last := int64(math.MinInt64)
	period := int64(math.MaxInt64)
	shallow, deep := math.Inf(1), 0.0
	for _, t := range traces {
		g.fromUS, last = min(g.fromUS, t.TimesUS[0]), max(last, t.TimesUS[t.Len()-1])
		if p := t.PeriodUS(); p > 0 {
			period = min(period, p)
		}
		if t.Channel.Place == Depth {
			shallow, deep = min(shallow, t.Channel.DepthM), max(deep, t.Channel.DepthM)
		}
	}
	if !g.known {
		// The outermost sensors stand as far from their faces as each other.
		g.thickM = 30e-3
		if deep > 0 {
			g.thickM = max(deep+min(shallow, 4e-3), 8e-3)
		}
	}
	g.dt = min(max(float64(period)/1e6, 1), 5)
	steps := float64(last-g.fromUS)/1e6/g.dt + 1
	if steps < leastSteps || steps > mostSteps {
		return nil
	}
	g.n = int(steps)
	for _, t := range traces {
		s := &sensed{t: t}
		switch t.Channel.Place {
		case Surface:
			if t.Channel.Side == "B" {
				s.depth = g.thickM
			}
			g.piece = append(g.piece, s)
		case Depth:
			s.depth = min(t.Channel.DepthM, g.thickM)
			g.piece = append(g.piece, s)
		case Core:
			s.depth = g.thickM / 2
			g.piece = append(g.piece, s)
		case Pan:
			g.pan = append(g.pan, s)
		case Air:
			g.air = append(g.air, s)
		case Fat:
			g.fat = append(g.fat, s)
		default:
			continue
		}
		g.resample(s)
	}
	return g
}

// resample averages what falls into a step, and draws lines across gaps; what
// a gap of more than 5 s touches is no evidence.
func (g *eventGrid) resample(s *sensed) {
	ts, vs := s.t.Points(g.fromUS)
	s.y, s.nan = make([]float64, g.n), make([]bool, g.n)
	j := 0
	for i := range g.n {
		lo, hi := (float64(i)-0.5)*g.dt, (float64(i)+0.5)*g.dt
		sum, c := 0.0, 0.0
		for j < len(ts) && ts[j] < hi {
			if ts[j] >= lo {
				sum += vs[j]
				c++
			}
			j++
		}
		switch {
		case c > 0:
			s.y[i] = sum / c
		case j > 0 && j < len(ts):
			s.y[i] = vs[j-1] + (float64(i)*g.dt-ts[j-1])/(ts[j]-ts[j-1])*(vs[j]-vs[j-1])
			s.nan[i] = ts[j]-ts[j-1] > max(5, 3*g.dt)
		case j == 0 && len(vs) > 0:
			s.y[i], s.nan[i] = vs[0], true
		case len(vs) > 0:
			s.y[i], s.nan[i] = vs[len(vs)-1], true
		default:
			s.nan[i] = true
		}
	}
	s.noise = max(scatter(s.y), s.t.Resolution()/math.Sqrt(12), 0.02)
}

// scatter is the standard deviation of a sample about its smooth course, from
// the median size of second differences.
func scatter(v []float64) float64 {
	if len(v) < 5 {
		return 0
	}
	d := make([]float64, 0, len(v)-2)
	for i := 2; i < len(v); i++ {
		d = append(d, math.Abs(v[i]-2*v[i-1]+v[i-2]))
	}
	slices.Sort(d)
	return 1.4826 * d[len(d)/2] / math.Sqrt(6)
}

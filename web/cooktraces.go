package web

import (
	"math"
	"net/http"
	"strconv"

	"trivet/bench"
	"trivet/fault"
	"trivet/trace"
)

// traceData is what the plot of a cook draws. Values are in the person's
// unit; null is a missing sample.
type traceData struct {
	AtS      []float64     `json:"at_s"`
	Channels []channelData `json:"channels"`
	Unit     string        `json:"unit"`
	// Finer says that a stretch of it, asked for by from and to in seconds
	// from heat on, would show more.
	Finer bool `json:"finer"`
	// Predicted is the core that the treatment's cook file predicts.
	Predicted *predictedData `json:"predicted,omitempty"`
}

type channelData struct {
	Name   string     `json:"name"`
	Place  string     `json:"place"`
	Values plotValues `json:"values"`
}

// plotValues are numbers of which those that are not finite are sent as null.
type plotValues []float64

// MarshalJSON writes an array of numbers and nulls.
func (p plotValues) MarshalJSON() ([]byte, error) {
	b := append(make([]byte, 0, 8*len(p)+2), '[')
	for i, v := range p {
		if i > 0 {
			b = append(b, ',')
		}
		if finite(v) {
			b = strconv.AppendFloat(b, v, 'f', -1, 64)
		} else {
			b = append(b, "null"...)
		}
	}
	return append(b, ']'), nil
}

type predictedData struct {
	AtS    []float64 `json:"at_s"`
	Values []float64 `json:"values"`
}

// mostPoints is how many times of a cook are sent to a page, whatever its
// length, and plotColumns how many a screen tells apart.
const (
	mostPoints  = 8000
	plotColumns = 1600
)

// stretchAsked reads from and to, in seconds from heat on; neither is all of
// it.
func stretchAsked(r *http.Request, columns int) (bench.Stretch, error) {
	s := bench.Stretch{Columns: columns}
	if r.FormValue("from") == "" && r.FormValue("to") == "" {
		return s, nil
	}
	const most = 1e9 // s, some thirty years
	from, err := strconv.ParseFloat(r.FormValue("from"), 64)
	to, err2 := strconv.ParseFloat(r.FormValue("to"), 64)
	if err != nil || err2 != nil || !(to > from) || !(math.Abs(from) <= most) || !(math.Abs(to) <= most) || int64(to*1e6) <= int64(from*1e6) {
		return s, fault.New("stretch-unknown", "%s", say("stretch-unknown")).On("from, to", r.FormValue("from")+", "+r.FormValue("to")).WithFix("%s", say("stretch-unknown-fix"))
	}
	s.FromUS, s.ToUS = int64(from*1e6), int64(to*1e6)
	return s, nil
}

// cookTraces sends what the plot of a cook draws: all samples of a short cook,
// of a long one the smallest and the largest of each of mostPoints/2 stretches.
func (d *Desk) cookTraces(w http.ResponseWriter, r *http.Request) {
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	stretch, err := stretchAsked(r, plotColumns)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	traces, _, err := bench.DrawnTraces(r.Context(), d.nb, rec.Study.ID, *c, stretch)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	u := unitsOf(r)
	out := traceData{AtS: []float64{}, Channels: []channelData{}, Unit: u.degrees()}
	shown := func(v float64) float64 {
		v, _ = u.shown(v, "°C")
		return math.Round(v*1000) / 1000
	}
	var drawn []*bench.DrawnTrace
	for i := range traces {
		if t := &traces[i]; t.Channel.IsTemperature() && t.Len() > 0 {
			drawn = append(drawn, t)
		}
	}
	if g, ok := gridOf(drawn, stretch, mostPoints); ok {
		out.AtS, out.Finer = g.times(), g.extremes
		for _, t := range drawn {
			v := g.values(&t.Trace, t.ZeroUS)
			for k := range v {
				v[k] = shown(v[k])
			}
			out.Channels = append(out.Channels, channelData{t.Channel.ID, string(t.Channel.Place), v})
		}
	}
	for _, t := range rec.Study.Treatments {
		src, ok := rec.CookFiles[t.Cook]
		if t.ID != c.Treatment || !ok {
			continue
		}
		if p, err := predict(t.Cook, src, u.Fahrenheit); err == nil {
			pd := &predictedData{}
			for i := range p.res.TimeS {
				pd.AtS, pd.Values = append(pd.AtS, p.res.TimeS[i]), append(pd.Values, shown(p.res.CoreC[i]))
			}
			out.Predicted = pd
		}
	}
	reply(w, http.StatusOK, out)
}

// grid is the one axis of times that all channels of a plot share, in µs from
// heat on.
type grid struct {
	fromUS, stepUS int64
	n              int
	extremes       bool // every two steps are a stretch of which the extremes are drawn
}

// gridOf takes the shortest period of the channels, or stretches where that
// gives more times than most or the samples do not come at a period: those of
// a thinned trace stand where its extremes were.
func gridOf(traces []*bench.DrawnTrace, asked bench.Stretch, most int) (grid, bool) {
	from, to, step := int64(math.MaxInt64), int64(math.MinInt64), int64(math.MaxInt64)
	steady := true
	for _, t := range traces {
		if t.Len() == 0 {
			continue
		}
		from, to = min(from, t.TimesUS[0]-t.ZeroUS), max(to, t.TimesUS[t.Len()-1]-t.ZeroUS)
		p := t.PeriodUS()
		if p > 0 {
			step = min(step, p)
		}
		near := 0 // steps much shorter than the period
		for i := 1; i < t.Len(); i++ {
			if t.TimesUS[i]-t.TimesUS[i-1] < p/8 {
				near++
			}
		}
		steady = steady && near*100 <= t.Len()
	}
	if to <= from || step == math.MaxInt64 {
		return grid{}, false
	}
	if asked.ToUS > asked.FromUS {
		from, to = max(from, asked.FromUS-step), min(to, asked.ToUS+step)
	}
	if to <= from {
		return grid{}, false
	}
	if n := (to-from)/step + 1; steady && n <= int64(most) {
		return grid{from, step, int(n), false}, true
	}
	return grid{from, (to-from)/int64(most) + 1, most, true}, true
}

func (g grid) times() []float64 {
	out := make([]float64, g.n)
	for i := range out {
		out[i] = float64(g.fromUS+int64(i)*g.stepUS) / 1e6
	}
	return out
}

// values are those of a trace on the grid, NaN in gaps: between its samples
// where a stretch has none, else the smallest and the largest of the stretch in
// the order they came.
func (g grid) values(t *trace.Trace, zeroUS int64) []float64 {
	out, missing := t.Resample(g.fromUS+zeroUS, g.stepUS, g.n, 10*max(g.stepUS, t.PeriodUS()))
	for k := range out {
		if missing.Has(k) {
			out[k] = math.NaN()
		}
	}
	if !g.extremes {
		return out
	}
	low, lowAt, high, highAt, stretch := 0.0, 0, 0.0, 0, int64(-1)
	put := func() {
		if stretch < 0 {
			return
		}
		first, last := low, high
		if highAt < lowAt {
			first, last = high, low
		}
		out[2*stretch], out[2*stretch+1] = first, last
	}
	for i, us := range t.TimesUS {
		v, ok := t.Value(i)
		if !ok {
			continue
		}
		rel := us - zeroUS - g.fromUS
		if rel < 0 || rel > int64(g.n)*g.stepUS {
			continue // of the line beyond the edge
		}
		s := min(rel/(2*g.stepUS), int64(g.n/2-1))
		if s != stretch {
			put()
			low, lowAt, high, highAt, stretch = v, i, v, i, s
			continue
		}
		if v < low {
			low, lowAt = v, i
		}
		if v > high {
			high, highAt = v, i
		}
	}
	put()
	return out
}

package bench

import (
	"context"
	"math"
	"slices"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// WindowReader is a Reader that reads the samples of a cook thinned for a
// drawing, from fromUS to toUS on each trace's own clock: whole where they are
// few, else the smallest and largest of every few that a column of the drawing
// cannot tell apart. Where want is not nil it is asked of every channel, and
// those it refuses are left out.
type WindowReader interface {
	Window(ctx context.Context, studyID, cookID string, fromUS, toUS int64, columns int, want func(trace.Channel) bool) ([]trace.Trace, error)
}

// SampleCounter is a Reader that tells how many samples a cook has, in all
// its channels, without reading them.
type SampleCounter interface {
	Samples(ctx context.Context, studyID, cookID string) (int, error)
}

// Stretch is what of a cook is to be drawn.
type Stretch struct {
	// FromUS and ToUS count from heat on, in µs. Where ToUS is not after
	// FromUS the whole cook is meant.
	FromUS, ToUS int64
	Columns      int                      // that the drawing tells apart
	Want         func(trace.Channel) bool // nil wants every channel
}

func (s Stretch) whole() bool { return s.ToUS <= s.FromUS }

// DrawnTrace is a trace for a drawing, with heat on in µs on its clock.
type DrawnTrace struct {
	trace.Trace
	ZeroUS int64
}

// DrawnTraces are the traces of a cook and its record on one clock, for a
// drawing: thinned where the reader can, so that a day of samples draws at
// once. Of a stretch they hold the sample before and the one after it too, so
// that a line goes on to both edges.
func DrawnTraces(ctx context.Context, rd Reader, studyID string, cook study.Cook, s Stretch) ([]DrawnTrace, study.Cook, error) {
	w, ok := rd.(WindowReader)
	corrected := slices.ContainsFunc(cook.Clocks, func(f study.ClockFix) bool { return f.UndoneAt.IsZero() })
	read := func(fromUS, toUS int64, columns int) ([]DrawnTrace, study.Cook, error) {
		var traces []trace.Trace
		var err error
		if ok {
			traces, err = w.Window(ctx, studyID, cook.ID, fromUS, toUS, columns, s.Want)
		} else {
			traces, err = rd.Traces(ctx, studyID, cook.ID)
		}
		if err != nil {
			return nil, cook, err
		}
		in, _ := measure.OneClock(measure.Input{Cook: cook, Traces: traces})
		var out []DrawnTrace
		for _, t := range in.Traces {
			if ok || s.Want == nil || s.Want(t.Channel) {
				out = append(out, DrawnTrace{t, HeatOn(&t, &in.Cook)})
			}
		}
		return out, in.Cook, nil
	}
	if s.whole() {
		return read(math.MinInt64, math.MaxInt64, s.Columns)
	}
	cut := func(all []DrawnTrace) []DrawnTrace {
		for i := range all {
			t := &all[i]
			lo, hi := t.Index(t.ZeroUS+s.FromUS), t.Index(t.ZeroUS+s.ToUS+1)
			if t.Len() > 0 {
				t.Trace = *t.Slice(t.TimesUS[max(lo-1, 0)], t.TimesUS[min(hi, t.Len()-1)])
			}
		}
		return all
	}
	if !ok || corrected { // what is where is known when all of it is read
		all, on, err := read(math.MinInt64, math.MaxInt64, math.MaxInt32)
		return cut(all), on, err
	}
	zeros := map[string]int64{}
	lo, hi := cook.ZeroUS, cook.ZeroUS
	if !cook.ZeroSet {
		whole, _, err := read(math.MinInt64, math.MaxInt64, 1)
		if err != nil {
			return nil, cook, err
		}
		for i, t := range whole {
			zeros[t.Source+"/"+t.Channel.ID] = t.ZeroUS
			if i == 0 {
				lo, hi = t.ZeroUS, t.ZeroUS
			}
			lo, hi = min(lo, t.ZeroUS), max(hi, t.ZeroUS)
		}
	}
	// A little more than asked for, so that the neighbours are in it.
	margin := max((s.ToUS-s.FromUS)/int64(max(s.Columns, 1)), 2_000_000)
	all, on, err := read(lo+s.FromUS-margin, hi+s.ToUS+margin, s.Columns)
	for i := range all {
		if zero, known := zeros[all[i].Source+"/"+all[i].Channel.ID]; known {
			all[i].ZeroUS = zero
		}
	}
	return cut(all), on, err
}

// HeatOn is when heat came on, on the clock of a trace of the cook: as the
// record says, else the trace's beginning.
func HeatOn(t *trace.Trace, c *study.Cook) int64 {
	switch {
	case c.ZeroSet:
		return c.ZeroUS
	case t.Elapsed || t.Len() == 0:
		return 0
	}
	return t.TimesUS[0]
}

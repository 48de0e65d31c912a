package bench

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"trivet/fault"
	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// Clock is one clock of a cook: that of a log, or of what was entered.
type Clock struct {
	ID       string // SHA-256 of the log, or study.MarksClock
	Name     string // file of the log
	Channels []string
	Marks    int // entered on it
	// FromUS and ToUS are when it began and ended, on itself.
	FromUS, ToUS int64
	Elapsed      bool // it counts from the start of the log
	Fix          *study.ClockFix
	Before       []study.ClockFix // other corrections of it, oldest first, undone or replaced
	// ToName is the clock that Fix maps it onto.
	ToName string
	// UUS is the standard uncertainty of the correction where it is least and
	// at worst within the record, µs.
	LeastUUS, WorstUUS float64
	Doubts             []string
}

// Clocks are the clocks of a cook: its logs in the order they came, then the
// marks where there are any.
func Clocks(in measure.Input, s *study.Study) []Clock {
	var out []Clock
	for _, l := range in.Cook.Logs {
		if l.SHA256 == "" || slices.ContainsFunc(out, func(c Clock) bool { return c.ID == l.SHA256 }) {
			continue
		}
		c := Clock{ID: l.SHA256, Name: l.File, FromUS: math.MaxInt64, ToUS: math.MinInt64}
		for i := range in.Traces {
			t := &in.Traces[i]
			if t.Source != l.SHA256 || t.Len() == 0 {
				continue
			}
			c.Channels = append(c.Channels, t.Channel.ID)
			c.FromUS, c.ToUS, c.Elapsed = min(c.FromUS, t.TimesUS[0]), max(c.ToUS, t.TimesUS[t.Len()-1]), t.Elapsed
		}
		if len(c.Channels) > 0 {
			out = append(out, c)
		}
	}
	marks := Clock{ID: study.MarksClock, Name: measure.ClockName(in.Cook, study.MarksClock), FromUS: math.MaxInt64, ToUS: math.MinInt64}
	for _, m := range in.Cook.Marks {
		if m.Source != "detected" {
			marks.Marks++
			marks.FromUS, marks.ToUS = min(marks.FromUS, in.Cook.ZeroUS+m.AtUS), max(marks.ToUS, in.Cook.ZeroUS+m.AtUS)
		}
	}
	if marks.Marks > 0 {
		out = append(out, marks)
	}
	findings := measure.Quality(in, s)
	for i := range out {
		c := &out[i]
		if f, ok := in.Cook.Standing(c.ID); ok {
			c.Fix = &f
			c.ToName = measure.ClockName(in.Cook, f.To)
			c.LeastUUS = f.UUS(min(max(f.MidUS, c.FromUS), c.ToUS))
			c.WorstUUS = max(f.UUS(c.FromUS), f.UUS(c.ToUS))
		}
		for _, f := range in.Cook.Clocks {
			if f.Clock == c.ID && (c.Fix == nil || f != *c.Fix) {
				c.Before = append(c.Before, f)
			}
		}
		for _, f := range findings {
			about := f.Clock == c.ID || f.Code == "mark-outside" && c.ID == study.MarksClock
			if f.Severity != measure.QualityNote && about {
				c.Doubts = append(c.Doubts, f.Text)
			}
		}
	}
	return out
}

// FindClock finds a clock by the name of its log's file, the start of it or of
// its SHA-256, or "marks".
func FindClock(clocks []Clock, name string) (Clock, error) {
	var near []Clock
	var all []string
	for _, c := range clocks {
		short := c.Name
		if c.ID == study.MarksClock {
			short = study.MarksClock
		}
		all = append(all, short)
		if name == c.ID || name == short {
			return c, nil
		}
		if name != "" && (strings.HasPrefix(short, name) || len(name) >= 6 && strings.HasPrefix(c.ID, name)) {
			near = append(near, c)
		}
	}
	if len(near) == 1 {
		return near[0], nil
	}
	what := "the cook has no clock %q"
	if len(near) > 1 {
		what = "%q may be several clocks of the cook"
	}
	return Clock{}, fault.BadUsage("clock-unknown", what, name).On("clock", name).WithFix("one of: %s", joinFew(all, 12))
}

// CookInput reads what measuring a cook needs: its record and its samples.
func CookInput(ctx context.Context, rd Reader, rec *Record, cook study.Cook) (measure.Input, error) {
	one := *rec
	one.Cooks = []study.Cook{cook}
	var out measure.Input
	err := eachCook(ctx, rd, &one, nil, func(_ int, in measure.Input) error {
		out = in
		return nil
	})
	return out, err
}

// CorrectedTraces are the samples of a cook and its record on one clock, as
// drawings and tables show them.
func CorrectedTraces(ctx context.Context, rd Reader, studyID string, cook study.Cook) ([]trace.Trace, study.Cook, error) {
	traces, err := rd.Traces(ctx, studyID, cook.ID)
	if err != nil {
		return nil, cook, err
	}
	in, _ := measure.OneClock(measure.Input{Cook: cook, Traces: traces})
	return in.Traces, in.Cook, nil
}

// SuggestClock finds how a log just loaded into a cook fits the clocks the
// cook had: the first of its other logs that tells, else the marks. It is nil
// for the only clock of a cook, and for one that is corrected already. Why
// says what could not be compared where nothing fits.
func SuggestClock(in measure.Input, clock string) (fix *study.ClockFix, why error) {
	if _, ok := in.Cook.Standing(clock); ok {
		return nil, nil
	}
	clocks := Clocks(in, nil)
	for _, c := range clocks {
		if c.ID == clock || c.ID == study.MarksClock {
			continue
		}
		f, err := measure.AlignClock(in, clock, c.ID, "")
		if err == nil {
			return &f, nil
		}
		if why == nil {
			why = err
		}
	}
	if why == nil {
		return nil, nil // the only log
	}
	for _, c := range clocks {
		if c.ID == study.MarksClock {
			if f, err := measure.AlignClock(in, clock, c.ID, measure.ByMarks); err == nil {
				return &f, nil
			}
		}
	}
	return nil, why
}

// Agrees reports whether a correction is no more than its uncertainty allows
// (twice the standard uncertainty) all the way from one time of the clock to
// another: the clocks agree.
func Agrees(f study.ClockFix, fromUS, toUS int64) bool {
	a := trace.Alignment{AnchorUS: f.AnchorUS, OffsetUS: f.OffsetUS, Rate: f.Rate}
	for _, us := range []int64{fromUS, toUS} {
		if math.Abs(float64(a.Apply(us)-us)) > 2*f.UUS(us) {
			return false
		}
	}
	return true
}

// SetClock keeps a correction with a cook and enters it in the history.
func SetClock(ctx context.Context, nb Notebook, studyID string, cook study.Cook, f study.ClockFix, by string, now time.Time) (study.Cook, error) {
	f.ID, f.By, f.At = NewID(now, cook.ID+" clock "+f.Clock), by, now
	next, err := cook.AddClockFix(f)
	if err != nil {
		return cook, err
	}
	onto := measure.ClockName(cook, f.To)
	what := fmt.Sprintf("the clock of %s of cook %s was set by %s: %s (%s)", measure.ClockName(cook, f.Clock), cook.Label, onto, measure.FixWords(f), f.Method)
	return next, putClocks(ctx, nb, studyID, next, f, what, now)
}

// UndoClock undoes the correction of a clock that stands; it is kept in the
// record and the history.
func UndoClock(ctx context.Context, nb Notebook, studyID string, cook study.Cook, clock, by string, now time.Time) (study.Cook, study.ClockFix, error) {
	next, f, err := cook.UndoClockFix(clock, by, now)
	if err != nil {
		return cook, f, err
	}
	what := fmt.Sprintf("the correction of the clock of %s of cook %s was undone: %s (%s)", measure.ClockName(cook, f.Clock), cook.Label, measure.FixWords(f), f.Method)
	return next, f, putClocks(ctx, nb, studyID, next, f, what, now)
}

func putClocks(ctx context.Context, nb Notebook, studyID string, cook study.Cook, f study.ClockFix, what string, now time.Time) error {
	detail, err := json.Marshal(map[string]any{"cook": cook.ID, "clock": f})
	if err != nil {
		return err
	}
	return nb.PutCook(ctx, studyID, cook, study.Event{At: now, Study: studyID, Kind: study.EventChanged, What: what, Detail: string(detail)})
}

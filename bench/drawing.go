package bench

import (
	"context"
	"math"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// WindowReader is a Reader that reads the samples of a cook thinned for a
// drawing, from fromUS to toUS on each trace's own clock: whole where they are
// few, else the smallest and largest of every few that a column of the drawing
// cannot tell apart.
type WindowReader interface {
	Window(ctx context.Context, studyID, cookID string, fromUS, toUS int64, columns int) ([]trace.Trace, error)
}

// DrawnTraces are the traces of a cook and its record on one clock, for a
// drawing of so many columns: thinned where the reader can, so that a day of
// samples draws at once.
func DrawnTraces(ctx context.Context, rd Reader, studyID string, cook study.Cook, columns int) ([]trace.Trace, study.Cook, error) {
	w, ok := rd.(WindowReader)
	if !ok {
		return CorrectedTraces(ctx, rd, studyID, cook)
	}
	traces, err := w.Window(ctx, studyID, cook.ID, math.MinInt64, math.MaxInt64, columns)
	if err != nil {
		return nil, cook, err
	}
	in, _ := measure.OneClock(measure.Input{Cook: cook, Traces: traces})
	return in.Traces, in.Cook, nil
}

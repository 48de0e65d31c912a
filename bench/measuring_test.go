package bench

import (
	"context"
	"errors"
	"testing"

	"trivet/study"
	"trivet/trace"
)

// noTraces reads cooks without samples and runs a hook at each.
type noTraces struct {
	Reader
	hook func()
}

func (r noTraces) Traces(context.Context, string, string) ([]trace.Trace, error) {
	r.hook()
	return nil, nil
}

// An interrupt that falls between two cooks is an interrupt, never a result
// with cooks that were not measured.
func TestMeasureStopsWhenInterrupted(t *testing.T) {
	rec := &Record{Study: &study.Study{ID: "s"}, Cooks: make([]study.Cook, 100)}
	for range 20 {
		ctx, cancel := context.WithCancel(t.Context())
		got, err := Measure(ctx, noTraces{hook: cancel}, rec, nil)
		if !errors.Is(err, context.Canceled) || got != nil {
			t.Fatalf("%d results and error %v", len(got), err)
		}
	}
}

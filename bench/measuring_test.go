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

// Results are kept only where the cook's record names the logs they rest on.
func TestVouched(t *testing.T) {
	log := study.Cook{Logs: []study.LogRef{{File: "a.csv", SHA256: "aa"}}}
	for _, tc := range []struct {
		name   string
		cook   study.Cook
		source string
		want   bool
	}{
		{"the log of the record", log, "aa", true},
		{"another log", log, "bb", false},
		{"live samples", study.Cook{}, "", false},
		{"live samples beside a log without hash", study.Cook{Logs: []study.LogRef{{File: "a.csv"}}}, "", false},
	} {
		if got := vouched(tc.cook, []trace.Trace{{Source: tc.source}}); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
	if !vouched(study.Cook{}, nil) {
		t.Error("a cook without traces rests on its record alone")
	}
}

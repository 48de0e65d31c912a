package store

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/bench"
	"trivet/study"
	"trivet/trace"
)

// The sections of a cook, chunk by chunk or held, are its traces.
func TestSectionsAreTheTraces(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("doc"), nil))
	keep(t, n, longLog(150_000))
	want, err := n.Traces(ctx, "s", "k")
	must(t, err)
	was := mostHeldSamples
	defer func() { mostHeldSamples = was }()
	for _, c := range []struct{ most, sections int }{{1 << 22, 1}, {0, 3}} {
		mostHeldSamples = c.most
		var got []trace.Trace
		must(t, n.Sections(ctx, "s", "k", func(traces []bench.LongTrace) error {
			for _, x := range traces {
				if x.Sections != c.sections || x.Samples != 150_000 || x.Len() != 0 {
					t.Errorf("%d sections of %d samples, want %d", x.Sections, x.Samples, c.sections)
				}
				one := x.Trace
				for i := range x.Sections {
					s, err := x.Section(i)
					if err != nil {
						return err
					}
					joined(&one, *s)
				}
				got = append(got, one)
			}
			return nil
		}))
		if d := cmp.Diff(want, got, cmp.Comparer(trace.Bitmap.Equal)); d != "" {
			t.Error(d)
		}
	}
	err = n.Sections(ctx, "s", "nobody", func([]bench.LongTrace) error { return nil })
	wantCode(t, err, "cook-unknown")
}

package bundle

import (
	"bytes"
	"maps"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// cutUp is a trace in sections that end where the numbers say.
func cutUp(t trace.Trace, ends []int) bench.LongTrace {
	out := bench.Held(&t)
	out.Sections = len(ends)
	out.Section = func(i int) (*trace.Trace, error) {
		from := 0
		if i > 0 {
			from = ends[i-1]
		}
		s := t
		s.TimesUS, s.Counts, s.Missing = t.TimesUS[from:ends[i]], t.Counts[from:ends[i]], t.Missing.Slice(from, ends[i])
		return &s, nil
	}
	return out
}

// A package of samples read in sections, each trace cut up otherwise, is byte
// for byte the one of samples in memory.
func TestSectionsMakeTheSamePackage(t *testing.T) {
	rec, traces, raw := example(t)
	k := &rec.Cooks[0]
	k.Clocks = []study.ClockFix{{ID: "c1", Clock: raw[0].SHA256, OffsetUS: 2_500_000, Rate: 1e-5, Method: "marks", At: rec.Created}}
	base := int64(1_777_629_600_000_000)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(t, "samples")
		var all []trace.Trace
		for c := range 4 {
			x := trace.Trace{Channel: trace.Channel{ID: string(rune('a' + c))}, Quantum: 0.1, Source: raw[0].SHA256}
			at := base
			for i := range n {
				if at += 1_000_000; c == 2 && i == n/2 {
					at++ // a table of its own
				}
				x.TimesUS, x.Counts = append(x.TimesUS, at), append(x.Counts, int64(i*(c+1)))
				if i%7 == c {
					x.Missing.Set(i)
					x.Counts[i] = 0
				}
			}
			all = append(all, x)
		}
		var long []bench.LongTrace
		for _, x := range all {
			var ends []int
			for at := 0; at < n; {
				at = min(n, at+rapid.IntRange(0, 12).Draw(t, "section"))
				ends = append(ends, at)
			}
			long = append(long, cutUp(x, append(ends, n)))
		}
		traces[k.ID] = all
		want, got := memory{}, memory{}
		from := sourceOf(rec, traces, raw)
		if err := writeFiles(from, Extras{}, want.create); err != nil {
			t.Fatal(err)
		}
		whole := from.sections
		from.sections = func(id string, f func([]bench.LongTrace) error) error {
			if id == k.ID {
				return f(long)
			}
			return whole(id, f)
		}
		if err := writeFiles(from, Extras{}, got.create); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(maps.Clone(want), maps.Clone(got)); d != "" {
			t.Fatal(d)
		}
		if n > 1 && (len(want["samples/L01-first.csv"]) == 0 || len(want["samples/L01-first.2.csv"]) == 0 || !bytes.Contains(want["samples/L01-first.csv"], []byte(correctedColumn))) {
			t.Fatalf("%s", want["samples/L01-first.csv"])
		}
	})
}

// Traces without samples stand in one table, as any with the same times.
func TestTracesWithoutSamplesStandTogether(t *testing.T) {
	traces := heldTraces([]trace.Trace{{Channel: trace.Channel{ID: "a"}, Quantum: 1}, {Channel: trace.Channel{ID: "b"}, Quantum: 1}})
	files, err := sampleFiles("k", traces, &study.Cook{})
	must(t, err)
	if len(files) != 1 || len(files[0].traces) != 2 {
		t.Errorf("%+v", files)
	}
}

// Sections that go back in time are not written.
func TestSectionsThatGoBack(t *testing.T) {
	x := trace.Trace{Channel: trace.Channel{ID: "a"}, Quantum: 1, TimesUS: []int64{1, 2}, Counts: []int64{1, 2}}
	long := bench.Held(&x)
	long.Sections, long.Samples = 2, 4
	files, err := sampleFiles("k", []bench.LongTrace{long}, &study.Cook{})
	must(t, err)
	err = writeSamples(&bytes.Buffer{}, files[0], []bench.LongTrace{long}, &study.Cook{})
	if f := fault.As(err); f == nil || f.Code != "trace-order" {
		t.Error(err)
	}
}

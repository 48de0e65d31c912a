package store

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/study"
	"trivet/trace"
)

// dayLong is a channel at 10 Hz with a count of noise.
func dayLong(n int) trace.Trace {
	random := rand.New(rand.NewPCG(3, 1))
	t := trace.Trace{Channel: trace.Channel{ID: "core", Unit: trace.DegC}, Quantum: 0.1}
	v := 50.0
	for i := range n {
		v += 0.3 * random.NormFloat64()
		t.TimesUS, t.Counts = append(t.TimesUS, int64(i)*100_000), append(t.Counts, int64(v))
	}
	return t
}

// A window of a few samples is the trace's own; one of many is thinned, and
// its ends and extremes are those of all samples.
func TestWindow(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("doc"), nil))
	must(t, n.PutCook(ctx, "s", study.Cook{ID: "k"}))
	long := dayLong(150_000)
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{long, {Channel: trace.Channel{ID: "empty"}, Quantum: 1}}, nil))
	more := long
	more.TimesUS, more.Counts = []int64{150_000 * 100_000}, []int64{5}
	must(t, n.AppendSamples(ctx, "s", "k", []trace.Trace{more}))
	whole, err := n.Traces(ctx, "s", "k")
	must(t, err)

	if count, err := n.Samples(ctx, "s", "k"); err != nil || count != 150_001 {
		t.Errorf("%d samples, %v", count, err)
	}
	all, err := n.Window(ctx, "s", "k", math.MinInt64, math.MaxInt64, 100, nil)
	must(t, err)
	if len(all) != 2 || all[0].Len() > 2*150_000/trace.OverviewSamples+10 || all[1].Len() != 0 {
		t.Fatalf("%d traces, %d samples", len(all), all[0].Len())
	}
	if some, err := n.Window(ctx, "s", "k", math.MinInt64, math.MaxInt64, 100, func(c trace.Channel) bool { return c.ID == "empty" }); err != nil || len(some) != 1 || some[0].Channel.ID != "empty" {
		t.Fatalf("of one channel: %d traces, %v", len(some), err)
	}
	_, want := whole[0].Points(0)
	_, got := all[0].Points(0)
	if slices.Min(got) != slices.Min(want) || slices.Max(got) != slices.Max(want) || got[0] != want[0] || got[len(got)-1] != want[len(want)-1] {
		t.Error("an end or an extreme is lost")
	}
	same := cmp.Comparer(trace.Bitmap.Equal)
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.Int64Range(-10, 15_100).Draw(t, "from") * 1_000_000
		to := from + rapid.Int64Range(0, 1200).Draw(t, "s")*1_000_000
		part, err := n.Window(ctx, "s", "k", from, to, 1600, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := whole[0].Slice(from, to)
		if want.Len() == 0 {
			return
		}
		if d := cmp.Diff(*want, part[0], same); d != "" {
			t.Fatal(d)
		}
	})
}

// A day of eight channels at 10 Hz, read from the notebook for a drawing of
// 1600 columns and thinned to them.
func BenchmarkWindowOf24hAt10Hz(b *testing.B) {
	ctx := context.Background()
	n := notebookOf(b, 1)
	k := benchCook(0).ID
	day := dayLong(864_000)
	var traces []trace.Trace
	for i := range 8 {
		t := day
		t.Channel.ID = string(rune('a' + i))
		traces = append(traces, t)
	}
	before := pagesOf(b, n)
	must(b, n.PutTraces(ctx, "s", k, traces, nil))
	size := float64(pagesOf(b, n)-before) * 4096 / (8 * 864_000)
	b.Run("overview", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			drawn, err := n.Window(ctx, "s", k, math.MinInt64, math.MaxInt64, 1600, nil)
			if err != nil {
				b.Fatal(err)
			}
			for i := range drawn {
				t := &drawn[i]
				if p := t.Envelope(t.TimesUS[0], t.TimesUS[t.Len()-1], 1600, 10*t.PeriodUS()); len(p) < 3200 {
					b.Fatal(len(p))
				}
			}
		}
		b.ReportMetric(size, "B/sample")
	})
	b.Run("ten minutes of it", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := n.Window(ctx, "s", k, 12*3600e6, 12*3600e6+600e6, 1600, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
}

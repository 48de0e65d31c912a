package bench_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"trivet/bench"
	"trivet/store"
	"trivet/study"
	"trivet/trace"
)

// BenchmarkQualityOf10000Cooks is the quality report of a study of 10,000
// cooks in a notebook, each with nine channels over twenty minutes at 1 Hz in
// steps of 0.1 K: 108 million samples are read and looked at. Run it with
// -benchtime 1x; filling the notebook takes longer than the report.
func BenchmarkQualityOf10000Cooks(b *testing.B) {
	const cooks, seconds = 10_000, 1200
	ctx := context.Background()
	nb, err := store.Create(ctx, filepath.Join(b.TempDir(), "notebook.trivet"), store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer nb.Close()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	doc := []byte(`study: Many
claim: {says: invented, scope: x, against: y}
questions:
  - {id: loss, ask: Lower?, response: cooking_loss, claim: lower, margin: 2 points, compare: {treatment: new, against: usual}}
treatments:
  - {id: usual, control: true}
  - {id: new}
blocks: {what: batch, count: 5000, pieces: 2}
controlled: {pan: 205 °C ± 10 °C}
`)
	st, err := study.Parse("study.yaml", doc)
	if err != nil {
		b.Fatal(err)
	}
	// Ten sets of samples serve all cooks: they are stored and read again for
	// each.
	sets := make([][]trace.Trace, 10)
	for k := range sets {
		sets[k] = cookOfNineChannels(uint64(k), seconds)
	}
	rec := &bench.Record{Study: st, Document: doc, Created: at, Updated: at}
	traces := map[string][]trace.Trace{}
	for i := range cooks {
		id := bench.NewID(at, fmt.Sprint(i))
		rec.Cooks = append(rec.Cooks, study.Cook{ID: id, Label: fmt.Sprintf("C%05d", i+1), Block: fmt.Sprintf("B%04d", i/2+1), Treatment: []string{"usual", "new"}[i%2],
			Role: study.Planned, Order: i + 1, ZeroSet: true,
			Marks:     []study.Mark{{Kind: study.HeatOn, AtUS: 0, Source: "typed"}, {Kind: study.OffHeat, AtUS: 900e6, Source: "typed"}},
			Weighings: []study.Weighing{{Stage: study.Raw, MassG: 200, ResG: 0.1}, {Stage: study.AtPull, MassG: 170, ResG: 0.1}}})
		traces[id] = sets[i%len(sets)]
	}
	if err := nb.PutImported(ctx, rec, traces, nil); err != nil {
		b.Fatal(err)
	}
	clear(traces)
	b.ReportAllocs()
	from := processorTime()
	for b.Loop() {
		got, err := nb.Record(ctx, st.ID)
		if err != nil {
			b.Fatal(err)
		}
		found, err := bench.Quality(ctx, nb, got, nil)
		if err != nil || len(found) != cooks {
			b.Fatal(len(found), err)
		}
	}
	b.ReportMetric((processorTime()-from).Seconds()/float64(b.N), "cpu-s/op")
}

// processorTime is what the process has used, of all cores together: on a busy
// machine it tells more than the clock.
func processorTime() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// cookOfNineChannels is a slow rise inside, both faces and a pan, as a logger
// of 0.1 K gives them.
func cookOfNineChannels(seed uint64, seconds int) []trace.Trace {
	random := rand.New(rand.NewPCG(seed, 1))
	out := make([]trace.Trace, 9)
	for c := range out {
		t := &out[c]
		t.Channel = trace.Channel{ID: fmt.Sprint("d", c), Place: trace.Depth, DepthM: 0.003 * float64(c+1), Unit: trace.DegC, Class: "T special"}
		t.Elapsed, t.Quantum = true, 0.1
		switch c {
		case 4:
			t.Channel.Place = trace.Core
		case 8:
			t.Channel.Place = trace.Pan
		}
		for i := range seconds {
			v := 5 + 50*(1-math.Exp(-float64(max(i-60, 0))/600))
			if c == 8 {
				v = 205
			}
			t.TimesUS = append(t.TimesUS, int64(i-60)*1_000_000)
			t.Counts = append(t.Counts, int64(math.Round(10*(v+0.1*random.NormFloat64()))))
		}
	}
	return out
}

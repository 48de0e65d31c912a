package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/google/uuid"

	"trivet/bench"
	"trivet/study"
	"trivet/trace"
)

// benchCook is a cook as a careful cook records one: five marks, three
// weighings and a reading repeated six times.
func benchCook(i int) study.Cook {
	id := func(part string) string { return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Append(nil, part, i)).String() }
	k := study.Cook{
		ID: id("cook"), Label: fmt.Sprintf("L%05d-%d", i/2, i%2), Block: fmt.Sprint("L", i/2), Piece: fmt.Sprint(i),
		Treatment: []string{"sear-first", "sear-last"}[i%2], Role: study.Planned, Order: i + 1, Day: "2026-05-01", ZeroSet: true,
		Readings: []study.Reading{{ID: id("reading"), Response: "shear_force", Kind: study.Number, Unit: "N", Values: []float64{31.2, 28.4, 33.0, 30.1, 29.9, 35.7}, StdU: 0.5}},
	}
	for j, kind := range []study.MarkKind{study.HeatOn, study.Turn, study.Turn, study.OffHeat, study.Served} {
		k.Marks = append(k.Marks, study.Mark{ID: id(fmt.Sprint("mark", j)), Kind: kind, AtUS: int64(j) * 240e6, Source: "typed"})
	}
	for j, stage := range []study.Stage{study.Raw, study.AtPull, study.AfterRest} {
		k.Weighings = append(k.Weighings, study.Weighing{ID: id(fmt.Sprint("weighing", j)), Stage: stage, MassG: 250.1 - float64(j)*20, ResG: 0.1})
	}
	return k
}

// benchTraces are nine channels, 20 min at 1 Hz, as a 0.1 K logger gives
// them: a slow rise with a count of noise.
func benchTraces(seed uint64) []trace.Trace {
	random := rand.New(rand.NewPCG(seed, 1))
	out := make([]trace.Trace, 9)
	for c := range out {
		out[c] = trace.Trace{Channel: trace.Channel{ID: fmt.Sprint("d", c), Place: trace.Depth, Unit: trace.DegC}, Quantum: 0.1}
		v := 50.0
		for i := range 1200 {
			v += 0.5*(1-v/1800) + 0.3*random.NormFloat64()
			out[c].TimesUS = append(out[c].TimesUS, int64(i)*1_000_000+random.Int64N(900))
			out[c].Counts = append(out[c].Counts, int64(v))
		}
	}
	return out
}

// notebookOf fills a notebook with cooks, and returns it.
func notebookOf(b *testing.B, cooks int) *Notebook {
	b.Helper()
	ctx := context.Background()
	n, err := Create(ctx, filepath.Join(b.TempDir(), "notebook"), Options{Now: clock})
	must(b, err)
	b.Cleanup(func() { n.Close() })
	rec := &bench.Record{Study: &study.Study{ID: "s", Title: "Sear first or sear last"}, Document: []byte("study: s\n")}
	for i := range cooks {
		rec.Cooks = append(rec.Cooks, benchCook(i))
	}
	must(b, n.PutImported(ctx, rec, nil, nil))
	return n
}

// The first reading of a large study, as a command does it …
func BenchmarkFirstRecordOf10000Cooks(b *testing.B) {
	n := notebookOf(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		n.recent = recentCooks{}
		readRecord(b, n)
	}
}

// … and the next, as a page does it.
func BenchmarkNextRecordOf10000Cooks(b *testing.B) {
	n := notebookOf(b, 10_000)
	readRecord(b, n)
	b.ReportAllocs()
	for b.Loop() {
		readRecord(b, n)
	}
}

func readRecord(b *testing.B, n *Notebook) {
	rec, err := n.Record(context.Background(), "s")
	if err != nil || len(rec.Cooks) != 10_000 || len(rec.Cooks[9_999].Marks) != 5 {
		b.Fatal(err)
	}
}

func BenchmarkStudiesBeside10000Cooks(b *testing.B) {
	n := notebookOf(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := n.Studies(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkResponsesOf10000Cooks(b *testing.B) {
	n := notebookOf(b, 10_000)
	ctx := context.Background()
	var all []bench.StoredResponse
	for i := range 10_000 {
		all = append(all, bench.StoredResponse{CookID: benchCook(i).ID, Response: "cooking_loss", InputHash: "3f", Body: []byte(`{"value":21.44,"u":0.16}`)})
	}
	must(b, n.PutResponses(ctx, "s", all))
	b.ReportAllocs()
	for b.Loop() {
		got, err := n.Responses(ctx, "s", "cooking_loss")
		if err != nil || len(got) != 10_000 {
			b.Fatal(len(got), err)
		}
	}
}

func BenchmarkImport1000Cooks(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		notebookOf(b, 1000)
	}
}

// One cook's traces, each put acknowledged from the disk of the test.
func BenchmarkPutTraces(b *testing.B) {
	n := notebookOf(b, 1)
	ctx := context.Background()
	k := benchCook(0).ID
	sets := [][]trace.Trace{benchTraces(1), benchTraces(2)}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		if err := n.PutTraces(ctx, "s", k, sets[i%2], nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(9*1200*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

// Bytes of the notebook file for each sample stored, everything included.
func BenchmarkBytesPerSample(b *testing.B) {
	ctx := context.Background()
	for b.Loop() {
		n := notebookOf(b, 40)
		before := pagesOf(b, n)
		samples := 0
		for i := range 40 {
			t := benchTraces(uint64(i))
			must(b, n.PutTraces(ctx, "s", benchCook(i).ID, t, nil))
			samples += 9 * 1200
		}
		b.ReportMetric(float64(pagesOf(b, n)-before)*4096/float64(samples), "B/sample")
	}
}

func pagesOf(b *testing.B, n *Notebook) (pages int) {
	must(b, n.write.QueryRow("PRAGMA page_count").Scan(&pages))
	return pages
}

func BenchmarkTraces(b *testing.B) {
	n := notebookOf(b, 1)
	ctx := context.Background()
	k := benchCook(0).ID
	must(b, n.PutTraces(ctx, "s", k, benchTraces(1), nil))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := n.Traces(ctx, "s", k); err != nil {
			b.Fatal(err)
		}
	}
}

// A mark acknowledged from the disk: what a tap on the tablet waits for.
func BenchmarkAddMark(b *testing.B) {
	n := notebookOf(b, 1)
	ctx := context.Background()
	k := benchCook(0).ID
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i++; i%50 == 0 { // a cook has tens of marks, not thousands
			must(b, n.PutCook(ctx, "s", benchCook(0)))
		}
		if err := n.AddMark(ctx, "s", k, study.Mark{ID: fmt.Sprint(i), Kind: study.Turn}); err != nil {
			b.Fatal(err)
		}
	}
}

// 64 channels, one sample each: a tenth of a second of a large kitchen.
func BenchmarkAppendSamplesOf64Channels(b *testing.B) {
	n := notebookOf(b, 1)
	ctx := context.Background()
	k := benchCook(0).ID
	batch := make([]trace.Trace, 64)
	for c := range batch {
		batch[c] = trace.Trace{Channel: trace.Channel{ID: fmt.Sprint("c", c), Unit: trace.DegC}, Quantum: 0.1, TimesUS: []int64{0}, Counts: []int64{0}}
	}
	b.ReportAllocs()
	i := int64(0)
	for b.Loop() {
		i++
		for c := range batch {
			batch[c].TimesUS[0], batch[c].Counts[0] = i*100_000, i
		}
		if err := n.AppendSamples(ctx, "s", k, batch); err != nil {
			b.Fatal(err)
		}
	}
}

package bundle

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"trivet/bench"
	"trivet/study"
	"trivet/trace"
)

// nineChannels are 20 min at 1 Hz of a 0.1 K logger.
func nineChannels() []trace.Trace {
	random := rand.New(rand.NewPCG(1, 1))
	out := make([]trace.Trace, 9)
	for c := range out {
		out[c] = trace.Trace{Channel: trace.Channel{ID: fmt.Sprint("d", c), Unit: trace.DegC}, Quantum: 0.1}
		for i := range 1200 {
			out[c].TimesUS = append(out[c].TimesUS, 1_777_629_600_000_000+int64(i)*1_000_000)
			out[c].Counts = append(out[c].Counts, 50+int64(i)/3+random.Int64N(5))
		}
	}
	return out
}

func BenchmarkWriteSamples(b *testing.B) {
	traces := nineChannels()
	k := &study.Cook{ZeroUS: traces[0].TimesUS[0], ZeroSet: true}
	files, err := sampleFiles("k", heldTraces(traces), k)
	must(b, err)
	f := files[0]
	b.ReportAllocs()
	for b.Loop() {
		var file bytes.Buffer
		must(b, writeSamples(&file, f, heldTraces(traces), k))
		b.SetBytes(int64(file.Len()))
	}
}

func BenchmarkReadSamples(b *testing.B) {
	traces := nineChannels()
	k := &study.Cook{ZeroUS: traces[0].TimesUS[0], ZeroSet: true}
	files, err := sampleFiles("k", heldTraces(traces), k)
	must(b, err)
	f := files[0]
	var text bytes.Buffer
	must(b, writeSamples(&text, f, heldTraces(traces), k))
	file := text.Bytes()
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		into := make([]*trace.Trace, len(traces))
		for i := range into {
			into[i] = &trace.Trace{Quantum: 0.1}
		}
		if err := readSamples(f.path, file, f.columns, into, k); err != nil {
			b.Fatal(err)
		}
	}
}

// A package of forty cooks with nine channels each, on disk, synced.
func BenchmarkWriteAndOpenPackage(b *testing.B) {
	ctx := context.Background()
	s := parsed(b)
	rec := &bench.Record{Document: []byte(document), Study: s}
	traces := map[string][]trace.Trace{}
	for i := range 40 {
		k := study.Cook{ID: fmt.Sprint("k", i), Label: fmt.Sprint("L", i), Role: study.Planned}
		rec.Cooks = append(rec.Cooks, k)
		traces[k.ID] = nineChannels()
	}
	dir := b.TempDir()
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		i++
		path := filepath.Join(dir, fmt.Sprint(i))
		must(b, Write(ctx, path, rec, traces, nil, Extras{}))
		p, err := Open(path, Options{})
		must(b, err)
		must(b, p.Close())
	}
}

package web

import (
	"context"
	"fmt"
	"testing"
	"time"

	"trivet/bench"
	"trivet/study"
)

// largeStudy is an invented record of so many blocks of two cooks, each
// weighed before and after: loss scatters by a few points around 15 % and is
// about 1 point lower under the new treatment.
func largeStudy(t testing.TB, name string, blocks int) *bench.Record {
	t.Helper()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	doc := fmt.Appendf(nil, "study: %s\nclaim: {says: invented, scope: x, against: y}\nquestions:\n  - {id: loss, ask: Lower?, response: cooking_loss, claim: lower, margin: 2 points, compare: {treatment: new, against: usual}}\ntreatments:\n  - {id: usual, control: true}\n  - {id: new}\nblocks: {what: batch, count: %d, pieces: 2}\n", name, blocks)
	st, err := study.Parse("study.yaml", doc)
	if err != nil {
		t.Fatal(err)
	}
	rec := &bench.Record{Study: st, Document: doc, Created: at, Updated: at}
	for i := range 2 * blocks {
		id := fmt.Sprint(name, i)
		loss := 28 + float64(i/2*7%11) - float64(i%2*2) + float64(i*13%7)
		rec.Cooks = append(rec.Cooks, study.Cook{ID: bench.NewID(at, id), Label: fmt.Sprintf("C%05d", i+1), Block: fmt.Sprintf("B%04d", i/2+1),
			Treatment: []string{"usual", "new"}[i%2], Role: study.Planned, Order: i + 1,
			Weighings: []study.Weighing{{ID: bench.NewID(at, id+"raw"), Stage: study.Raw, MassG: 200, ResG: 0.1}, {ID: bench.NewID(at, id+"off"), Stage: study.AtPull, MassG: 200 - loss, ResG: 0.1}}})
	}
	return rec
}

// BenchmarkStudyOf10000Cooks asks for the desk and the page of one study of
// 5,000 blocks: at once after it was changed, and again.
func BenchmarkStudyOf10000Cooks(b *testing.B) {
	d := openDesk(b)
	ctx := context.Background()
	if err := d.nb.PutImported(ctx, largeStudy(b, "Large", 5000), nil, nil); err != nil {
		b.Fatal(err)
	}
	for _, path := range []string{"/", "/studies/large"} {
		start := time.Now()
		d.get(path)
		b.Logf("%s the first time: %v", path, time.Since(start).Round(time.Millisecond))
	}
	for _, x := range []struct{ name, path string }{{"desk", "/"}, {"study", "/studies/large"}} {
		b.Run(x.name+" again", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				d.get(x.path)
			}
		})
	}
}

package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
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

// plannedStudy is largeStudy with all that a real one has written beside its
// cooks: a run order and a piece for each, and an entry of the history.
func plannedStudy(t testing.TB, name string, blocks int) (*bench.Record, []study.Event) {
	t.Helper()
	rec := largeStudy(t, name, blocks)
	var b bytes.Buffer
	b.Write(rec.Document)
	b.WriteString("design:\n  kind: pairs\n  seed: \"1\"\n  run_order:\n")
	var history []study.Event
	for i, c := range rec.Cooks {
		fmt.Fprintf(&b, "    - {order: %d, block: %s, piece: P%05d, treatment: %s, code: %05d}\n", i+1, c.Block, i+1, c.Treatment, i+1)
		rec.Cooks[i].Piece = fmt.Sprintf("P%05d", i+1)
		history = append(history, study.Event{At: rec.Created.Add(time.Duration(i) * time.Minute), Study: rec.Study.ID, Kind: study.EventChanged, What: "cook " + c.Label + " was loaded"})
	}
	b.WriteString("pieces:\n")
	for i, c := range rec.Cooks {
		fmt.Fprintf(&b, "  - {label: P%05d, block: %s, thickness: 30 mm, mass: 200 g}\n", i+1, c.Block)
	}
	st, err := study.Parse("study.yaml", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	rec.Study, rec.Document = st, b.Bytes()
	return rec, history
}

// BenchmarkStudyOf10000Cooks asks for the desk and the page of one study of
// 5,000 blocks that nothing is known of yet: how soon something is there to
// paint, how soon all of it, and how long it takes when all is known.
func BenchmarkStudyOf10000Cooks(b *testing.B) {
	d := openDesk(b)
	ctx := context.Background()
	if err := d.nb.PutImported(ctx, largeStudy(b, "Large", 5000), nil, nil); err != nil {
		b.Fatal(err)
	}
	ask := func(path, have string) (int, time.Duration) {
		q, _ := http.NewRequest(http.MethodGet, d.http.URL+path, nil)
		if have != "" {
			q.Header.Set("X-Have", have)
		}
		start := time.Now()
		r, err := d.client.Do(q)
		if err != nil {
			b.Fatal(err)
		}
		defer r.Body.Close()
		body, _ := io.ReadAll(r.Body)
		return len(body), time.Since(start).Round(100 * time.Microsecond)
	}
	for _, path := range []string{"/studies/large", "/"} {
		n, first := ask(path, "")
		_, more := ask(path, "shell")
		size, whole := ask(path, "plain")
		b.Logf("%s: %d bytes to paint after %v, the plain page %v later, the whole of %d bytes %v later", path, n, first, more, size, whole)
	}
	for _, x := range []struct{ name, path string }{{"desk", "/"}, {"study", "/studies/large"}} {
		b.Run(x.name+" again", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				ask(x.path, "")
			}
		})
	}
	b.Run("study after a change", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			d.nb.AppendEvents(ctx, "large", study.Event{At: time.Now(), Kind: study.EventChanged, What: "a change"})
			b.StartTimer()
			ask("/studies/large", "")
			b.StopTimer()
			ask("/studies/large", "plain")
			b.StartTimer()
		}
	})
}

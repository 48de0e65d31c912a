package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"

	"trivet/bench"
	"trivet/study"
)

// BenchmarkDeskReaders asks for the study page and the desk with 50 readers
// at once and reports the slowest hundredth.
func BenchmarkDeskReaders(b *testing.B) {
	d := openDemo(b, 8)
	d.get("/studies/sear-first-or-sear-last")
	d.get("/")
	bare := httptest.NewServer(d.desk.Handler())
	defer bare.Close()
	var mu sync.Mutex
	var all []time.Duration
	b.ReportAllocs()
	b.ResetTimer()
	var wg sync.WaitGroup
	work := make(chan int)
	for range 50 {
		wg.Go(func() {
			client := &http.Client{Transport: &http.Transport{DisableCompression: true}} // packed pages are not unpacked here
			for i := range work {
				path := "/studies/sear-first-or-sear-last"
				if i%4 == 3 {
					path = "/"
				}
				start := time.Now()
				q, _ := http.NewRequest(http.MethodGet, bare.URL+path, nil)
				q.Header.Set("Accept-Encoding", "gzip")
				r, err := client.Do(q)
				if err != nil {
					b.Error(err)
					continue
				}
				io.Copy(io.Discard, r.Body)
				r.Body.Close()
				mu.Lock()
				all = append(all, time.Since(start))
				mu.Unlock()
			}
		})
	}
	for i := range b.N {
		work <- i
	}
	close(work)
	wg.Wait()
	b.StopTimer()
	slices.Sort(all)
	if len(all) > 0 {
		b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "p99-ms")
		b.ReportMetric(float64(all[len(all)/2].Microseconds())/1000, "p50-ms")
	}
}

// BenchmarkPagesAmong10000Cooks sets the page of a study of 200 cooks in a
// notebook of 10,000, and the desk that lists its 50 studies.
func BenchmarkPagesAmong10000Cooks(b *testing.B) {
	d := openDesk(b)
	ctx := context.Background()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for k := range 50 {
		doc := fmt.Appendf(nil, "study: Study %d\nclaim: {says: invented, scope: x, against: y}\nquestions:\n  - {id: loss, ask: Lower?, response: cooking_loss, claim: lower, margin: 2 points}\ntreatments:\n  - {id: usual, control: true}\n  - {id: new}\nblocks: {what: batch, count: 100, pieces: 2}\n", k)
		st, err := study.Parse("study.yaml", doc)
		if err != nil {
			b.Fatal(err)
		}
		if err := d.nb.PutStudy(ctx, st, doc, nil); err != nil {
			b.Fatal(err)
		}
		rec := &bench.Record{}
		for i := range 200 {
			rec.Cooks = append(rec.Cooks, study.Cook{ID: bench.NewID(at, fmt.Sprint(k, i)), Label: fmt.Sprintf("C%03d", i), Block: fmt.Sprintf("B%02d", i/2),
				Treatment: []string{"usual", "new"}[i%2], Role: study.Planned, Order: i + 1,
				Weighings: []study.Weighing{{ID: bench.NewID(at, fmt.Sprint(k, i, "raw")), Stage: study.Raw, MassG: 200, ResG: 0.1}, {ID: bench.NewID(at, fmt.Sprint(k, i, "off")), Stage: study.AtPull, MassG: 170 + float64(i*7%11), ResG: 0.1}}})
		}
		for _, c := range rec.Cooks {
			if err := d.nb.PutCook(ctx, st.ID, c); err != nil {
				b.Fatal(err)
			}
		}
	}
	d.get("/")
	d.get("/studies/study-7")
	b.Run("study after a change", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			d.nb.AppendEvents(ctx, "study-7", study.Event{At: time.Now(), Kind: study.EventChanged, What: "a change"})
			b.StartTimer()
			d.get("/studies/study-7")
		}
	})
	b.Run("study again", func(b *testing.B) {
		for b.Loop() {
			d.get("/studies/study-7")
		}
	})
	b.Run("desk", func(b *testing.B) {
		for b.Loop() {
			d.get("/")
		}
	})
}

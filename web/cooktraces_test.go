package web

import (
	"context"
	"encoding/json"
	"io"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"trivet/study"
	"trivet/trace"
)

// longCook is a desk with a cook of eight channels at 10 Hz, with one sample
// of the first that stands out.
func longCook(t testing.TB, samples int) (d *deskServer, path string) {
	t.Helper()
	d = openDesk(t)
	rec := largeStudy(t, "Long", 1)
	if err := d.nb.PutImported(context.Background(), rec, nil, nil); err != nil {
		t.Fatal(err)
	}
	var traces []trace.Trace
	for c := range 8 {
		tr := trace.Trace{Channel: trace.Channel{ID: string(rune('a' + c)), Place: trace.Other, Unit: trace.DegC}, Elapsed: true, Quantum: 0.1}
		noise := uint64(c)
		for i := range samples {
			noise = noise*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
			tr.TimesUS, tr.Counts = append(tr.TimesUS, int64(i)*100_000), append(tr.Counts, int64(200+i*300/samples)+int64(noise>>62))
		}
		if c == 0 {
			tr.Counts[samples/3] = 999
		}
		traces = append(traces, tr)
	}
	id := rec.Study.ID
	if err := d.nb.PutTraces(context.Background(), id, rec.Cooks[0].ID, traces, nil); err != nil {
		t.Fatal(err)
	}
	return d, "/studies/" + id + "/cooks/" + rec.Cooks[0].Label + "/traces"
}

// The plot of a long cook is sent few points and still shows the one sample
// that stands out, at its time.
func TestPlotOfALongCook(t *testing.T) {
	for _, samples := range []int{5_000, 100_000, 300_000} {
		d, path := longCook(t, samples)
		status, body := d.get(path)
		if status != http.StatusOK {
			t.Fatalf("status %d: %s", status, body)
		}
		var got struct {
			AtS      []float64                     `json:"at_s"`
			Channels []struct{ Values []*float64 } `json:"channels"`
		}
		if err := json.Unmarshal([]byte(body), &got); err != nil {
			t.Fatal(err)
		}
		if n := len(got.AtS); n > mostPoints || len(got.Channels) != 8 || len(body) > 1_500_000 {
			t.Errorf("%d samples: %d times, %d channels, %d bytes", samples, n, len(got.Channels), len(body))
		}
		most, at := math.Inf(-1), 0.0
		for i, v := range got.Channels[0].Values {
			if v == nil {
				t.Fatalf("%d samples: time %d is missing where there is no gap", samples, i)
			}
			if *v > most {
				most, at = *v, got.AtS[i]
			}
		}
		if want, width := float64(samples/3)/10, got.AtS[2]-got.AtS[0]; most != 99.9 || math.Abs(at-want) > width {
			t.Errorf("%d samples: the peak is %g at %g s, want 99.9 at %g s", samples, most, at, want)
		}
	}
}

// A stretch of a long cook comes with all its samples.
func TestStretchOfALongCook(t *testing.T) {
	t.Parallel()
	d, path := longCook(t, 300_000)
	_, body := d.get(path + "?from=9990&to=10010")
	var got struct {
		AtS      []float64                     `json:"at_s"`
		Finer    bool                          `json:"finer"`
		Channels []struct{ Values []*float64 } `json:"channels"`
	}
	if err := json.Unmarshal([]byte(body), &got); err != nil {
		t.Fatal(err)
	}
	if n := len(got.AtS); n < 200 || n > 204 || got.Finer || len(got.Channels) != 8 {
		t.Fatalf("%d times, finer %v, %d channels", n, got.Finer, len(got.Channels))
	}
	for i, at := range got.AtS {
		if v := got.Channels[0].Values[i]; (at == 10_000) != (v != nil && *v == 99.9) {
			t.Errorf("%v at %g s", v, at)
		}
	}
}

// The page of a long cook comes with its figure, and what rests on every
// sample when it is asked for.
func TestPageOfALongCookFillsIn(t *testing.T) {
	t.Parallel()
	d, path := longCook(t, 100_000)
	path = strings.TrimSuffix(path, "/traces")
	ask := func(have string) string {
		q, err := http.NewRequest(http.MethodGet, d.http.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("X-Have", have)
		r, err := d.client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%d %v", r.StatusCode, err)
		}
		return string(b)
	}
	first := ask("")
	for _, want := range []string{"<svg", "data-plot=", "Weighings"} {
		if !strings.Contains(first, want) {
			t.Errorf("the page as it comes first lacks %q", want)
		}
	}
	for range 10 {
		whole := ask("plain")
		if strings.Contains(whole, " data-have=") {
			continue
		}
		for _, want := range []string{"<td>100000</td>", `id="quality"`, `id="responses"`} {
			if !strings.Contains(whole, want) {
				t.Errorf("the whole page lacks %q", want)
			}
		}
		return
	}
	t.Error("the page never came whole")
}

// The page of a day of eight channels at 10 Hz: how soon there is a plot, and
// how soon all of it.
func BenchmarkPageOf24hAt10Hz(b *testing.B) {
	d, path := longCook(b, 864_000)
	path = strings.TrimSuffix(path, "/traces")
	ctx := context.Background()
	for b.Loop() {
		d.nb.AppendEvents(ctx, "long", study.Event{At: time.Now(), Kind: study.EventChanged, What: "a change"})
		start := time.Now()
		q, _ := http.NewRequest(http.MethodGet, d.http.URL+path, nil)
		r, err := d.client.Do(q)
		if err != nil {
			b.Fatal(err)
		}
		io.Copy(io.Discard, r.Body)
		r.Body.Close()
		b.ReportMetric(float64(time.Since(start).Milliseconds()), "first-ms")
		d.get(path)
	}
}

// The plot of a day of eight channels at 10 Hz, as the page asks for it.
func BenchmarkPlotOf24hAt10Hz(b *testing.B) {
	d, path := longCook(b, 864_000)
	size := 0
	b.ReportAllocs()
	for b.Loop() {
		status, body := d.get(path)
		if status != http.StatusOK {
			b.Fatal(body)
		}
		size = len(body)
	}
	b.ReportMetric(float64(size), "bytes")
}

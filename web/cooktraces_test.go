package web

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"testing"

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

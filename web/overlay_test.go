package web

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/study"
	"trivet/trace"
)

var (
	overlaidCooks   = flag.Int("cooks", 24, "cooks of the study whose traces a browser lays over one another")
	overlaidSeconds = flag.Int("seconds", 1500, "samples of each of their eight channels, one a second")
)

// tracedStudy puts an invented study of so many cooks into the notebook, each
// with eight channels at 1 Hz: the air and what is further inside approach
// 120 °C with a time constant of their own, a tenth faster under the new
// treatment. Heat comes on a minute into each log and some seconds more.
func tracedStudy(t testing.TB, d *deskServer, cooks, seconds int) *bench.Record {
	t.Helper()
	ctx := context.Background()
	rec := largeStudy(t, "Traced", (cooks+1)/2)
	rec.Cooks = rec.Cooks[:cooks]
	channels := []trace.Channel{{ID: "core", Place: trace.Core}, {ID: "d10", Place: trace.Depth, DepthM: 0.01}, {ID: "d20", Place: trace.Depth, DepthM: 0.02}, {ID: "top", Place: trace.Surface, Side: "B"}, {ID: "bottom", Place: trace.Surface, Side: "A"}, {ID: "pan", Place: trace.Pan}, {ID: "air", Place: trace.Air}, {ID: "fat", Place: trace.Fat}}
	for i := range rec.Cooks {
		c := &rec.Cooks[i]
		c.ZeroSet, c.ZeroUS = true, int64(60+i%7)*1e6
		c.Logs = []study.LogRef{{File: fmt.Sprintf("log%03d.csv", i+1)}}
	}
	if err := d.nb.PutImported(ctx, rec, nil, nil); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(9, 1))
	for i := range rec.Cooks {
		c := &rec.Cooks[i]
		var traces []trace.Trace
		for k, ch := range channels {
			ch.Unit = trace.DegC
			tr := trace.Trace{Channel: ch, Elapsed: true, Quantum: 0.1}
			tau := 2400 * math.Exp(0.12*random.NormFloat64()) / float64(k+1)
			if i%2 == 1 {
				tau *= 0.9
			}
			for s := range seconds {
				v := 8.0
				if at := float64(s) - float64(c.ZeroUS)/1e6; at > 0 {
					v = 120 - 112*math.Exp(-at/tau)
				}
				tr.TimesUS, tr.Counts = append(tr.TimesUS, int64(s)*1e6), append(tr.Counts, int64(10*v+2*random.NormFloat64()))
			}
			traces = append(traces, tr)
		}
		if i == 3 && seconds > 700 {
			traces[0].Counts[700] = 1500 // one sample that stands out
		}
		if err := d.nb.PutTraces(ctx, rec.Study.ID, c.ID, traces, nil); err != nil {
			t.Fatal(err)
		}
	}
	return rec
}

// overlaid is what a page is sent.
type overlaid struct {
	Channel  string
	Channels []string
	Unit     string
	Finer    bool
	AtS      []float64 `json:"at_s"`
	Groups   []struct {
		Name        string
		Cooks       int
		Lo, Mid, Hi []*float64
	}
	Lines []struct {
		Cook   string
		Group  int
		Values []*float64
	}
	LeftOut int `json:"left_out"`
}

func (d *deskServer) overlaid(t testing.TB, query string) (overlaid, int) {
	t.Helper()
	q, err := http.NewRequest(http.MethodGet, d.http.URL+"/studies/traced/traces"+query, nil)
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Accept", "application/json")
	r, err := d.client.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var out overlaid
	if err := json.NewDecoder(r.Body).Decode(&out); err != nil {
		t.Fatal(err)
	}
	return out, r.StatusCode
}

func extremes(v []*float64) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if x != nil {
			least, most = min(least, *x), max(most, *x)
		}
	}
	return least, most
}

// All cooks come on one axis in step at heat on, thinned, with the sample
// that stands out; a stretch comes finer and with the same values.
func TestTracesOfAllCooks(t *testing.T) {
	t.Parallel()
	d := openDesk(t)
	rec := tracedStudy(t, d, 24, 3000)
	all, status := d.overlaid(t, "")
	if status != http.StatusOK || all.Channel != "core" || !slices.Equal(all.Channels, []string{"core", "depth 10 mm", "depth 20 mm", "surface A", "surface B", "pan", "air", "fat"}) {
		t.Fatalf("status %d, channel %q of %q", status, all.Channel, all.Channels)
	}
	if len(all.Lines) != 24 || len(all.Groups) != 2 || all.Groups[0].Cooks != 12 || all.Groups[1].Cooks != 12 || len(all.AtS) > finestOverlay || !all.Finer {
		t.Fatalf("%d lines, %d groups, %d times, finer %v", len(all.Lines), len(all.Groups), len(all.AtS), all.Finer)
	}
	if _, most := extremes(all.Lines[3].Values); most != 150 {
		t.Errorf("the sample of 150 °C is drawn at %g", most)
	}
	// At heat on every cook begins to warm, wherever heat came on in its log.
	on := slices.IndexFunc(all.AtS, func(s float64) bool { return s >= 0 })
	for _, l := range all.Lines {
		if v := l.Values[on]; v == nil || math.Abs(*v-8) > 1 {
			t.Errorf("%s is at %v °C at heat on, want 8", l.Cook, v)
		}
	}
	// The median, against the cooks' own samples: 0.3 K is what noise of 0.2 K
	// and a stretch of a few seconds leave.
	for g := range 2 {
		i := len(all.AtS) / 2
		var at []float64
		for k, c := range rec.Cooks {
			if k%2 != g {
				continue
			}
			traces, err := d.nb.Traces(context.Background(), rec.Study.ID, c.ID)
			if err != nil {
				t.Fatal(err)
			}
			v, ok := traces[0].At(int64(all.AtS[i]*1e6)+c.ZeroUS, 10e6)
			if !ok {
				t.Fatal("no sample")
			}
			at = append(at, v)
		}
		slices.Sort(at)
		x := all.Groups[g] // of 12 values, counted from 0, definition 7 takes 2.75, 5.5 and 8.25
		for _, q := range []struct {
			name string
			got  *float64
			want float64
		}{{"lower quartile", x.Lo[i], 0.25*at[2] + 0.75*at[3]}, {"median", x.Mid[i], (at[5] + at[6]) / 2}, {"upper quartile", x.Hi[i], 0.75*at[8] + 0.25*at[9]}} {
			if q.got == nil || math.Abs(*q.got-q.want) > 0.3 {
				t.Errorf("%s: %s %v, want %.2f", x.Name, q.name, q.got, q.want)
			}
		}
	}
	some, _ := d.overlaid(t, "?channel=core&from=600&to=700")
	if some.Finer || len(some.AtS) < 100 || len(some.AtS) > 110 || some.AtS[0] > 600 || some.AtS[len(some.AtS)-1] < 700 || len(some.Lines) != 24 {
		t.Errorf("a stretch of 100 s: finer %v, %d times from %g to %g, %d lines", some.Finer, len(some.AtS), some.AtS[0], some.AtS[len(some.AtS)-1], len(some.Lines))
	}
	if _, most := extremes(some.Lines[3].Values); most != 150 {
		t.Errorf("in the stretch the sample of 150 °C is drawn at %g", most)
	}
	for _, q := range []string{"?from=3", "?from=5&to=5", "?from=NaN&to=9", "?from=0&to=1e300", "?channel=nose"} {
		if _, status := d.overlaid(t, q); status != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", q, status)
		}
	}
	if x, _ := d.overlaid(t, "?channel="+url.QueryEscape("surface A")); x.Channel != "surface A" || len(x.Lines) != 24 {
		t.Errorf("channel %q, %d lines", x.Channel, len(x.Lines))
	}

	// Without a script there is the figure, its table and its files.
	_, page := d.get("/studies/traced/traces?channel=pan")
	for _, want := range []string{"<option selected>pan", `/studies/traced/figures/traces-pan.csv`, "<td>usual</td>", `<img src="/studies/traced/figures/traces-pan.`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if _, csv := d.get("/studies/traced/figures/traces-depth-10-mm.csv"); strings.Count(csv, "\n") != 27 || !strings.Contains(csv, "C00001,usual") {
		t.Errorf("CSV: %.300s", csv)
	}
}

// While a sealed plan is not finished the treatments are not told apart, and
// pilots and void cooks are left out and counted.
func TestTracesTellNothingEarly(t *testing.T) {
	t.Parallel()
	d := openDesk(t)
	rec := tracedStudy(t, d, 6, 300)
	ctx := context.Background()
	void := rec.Cooks[5]
	void.Role, void.VoidWhy = study.Void, "the probe slipped"
	if err := d.nb.PutCook(ctx, rec.Study.ID, void); err != nil {
		t.Fatal(err)
	}
	x, _ := d.overlaid(t, "")
	if len(x.Lines) != 5 || x.LeftOut != 1 || len(x.Groups) != 2 || x.Finer {
		t.Errorf("%d lines, %d left out, %d groups, finer %v", len(x.Lines), x.LeftOut, len(x.Groups), x.Finer)
	}
	rec2, err := d.nb.Record(ctx, rec.Study.ID)
	if err != nil {
		t.Fatal(err)
	}
	rec2.Seal, rec2.Study.Blocks.Count = &study.Seal{At: time.Now()}, 12
	o, err := d.desk.overlayOf(ctx, rec2, "", bench.Stretch{}, units{Fahrenheit: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(o.Groups) != 1 || o.Groups[0].Cooks != 5 || o.Unit != "°F" || math.Abs(o.Lines[0].Values[0]-46.4) > 2 {
		t.Errorf("%d groups, unit %s, first value %g", len(o.Groups), o.Unit, o.Lines[0].Values[0])
	}
	for _, l := range o.Lines {
		if l.Group != 0 {
			t.Errorf("%s is told apart", l.Cook)
		}
	}
}

// What the page of 200 cooks of eight channels and two hours asks for.
func BenchmarkTracesOf200Cooks(b *testing.B) {
	d := openDesk(b)
	rec := tracedStudy(b, d, 200, 7200)
	ctx := context.Background()
	rec, err := d.nb.Record(ctx, rec.Study.ID)
	if err != nil {
		b.Fatal(err)
	}
	for _, x := range []struct {
		name string
		s    bench.Stretch
	}{{"all", bench.Stretch{}}, {"ten minutes", bench.Stretch{FromUS: 1800e6, ToUS: 2400e6}}} {
		b.Run(x.name, func(b *testing.B) {
			b.ReportAllocs()
			size := 0
			for b.Loop() {
				o, err := d.desk.overlayOf(ctx, rec, "", x.s, units{})
				if err != nil {
					b.Fatal(err)
				}
				text, _ := json.Marshal(o)
				size = len(text)
			}
			b.ReportMetric(float64(size), "bytes")
		})
	}
}

package web

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"

	"trivet/study"
	"trivet/trace"
)

// twoLogCook puts a cook logged by two devices into the notebook: the second's
// clock is 37 s behind.
func twoLogCook(t *testing.T, d *deskServer, studyID string) study.Cook {
	t.Helper()
	const start = int64(1_780_000_000_000_000)
	cook := study.Cook{ID: "01900000-0000-7000-8000-000000000001", Label: "two-logs", Role: study.Pilot, ZeroUS: start + 60e6, ZeroSet: true,
		Marks: []study.Mark{{ID: "01900000-0000-7000-8000-000000000002", Kind: study.HeatOn, Source: "typed"}},
		Logs:  []study.LogRef{{File: "first.csv", SHA256: strings.Repeat("a", 64)}, {File: "second.csv", SHA256: strings.Repeat("b", 64)}}}
	var traces []trace.Trace
	r := rand.New(rand.NewPCG(1, 2))
	for i, l := range cook.Logs {
		tr := trace.Trace{Channel: trace.Channel{ID: fmt.Sprintf("pan %d", i+1), Place: trace.Pan, Unit: trace.DegC}, Quantum: 0.1, Source: l.SHA256}
		for s := range 1500 {
			v := 205.0
			for _, turn := range []float64{60, 300, 540, 780, 1020} {
				if x := float64(s) - turn; x > 0 {
					v -= 15 * (1 - math.Exp(-x/4)) * math.Exp(-x/40)
				}
			}
			tr.TimesUS = append(tr.TimesUS, start+int64(s)*1e6-int64(i)*37e6)
			tr.Counts = append(tr.Counts, int64(math.Round(10*v+2*r.NormFloat64())))
		}
		traces = append(traces, tr)
	}
	ctx := context.Background()
	if err := d.nb.PutCook(ctx, studyID, cook); err != nil {
		t.Fatal(err)
	}
	if err := d.nb.PutTraces(ctx, studyID, cook.ID, traces, nil); err != nil {
		t.Fatal(err)
	}
	return cook
}

func TestClocksOfACook(t *testing.T) {
	d := openDesk(t)
	const id = "one-clock"
	d.post("/studies", url.Values{"title": {"One clock"}})
	cook := twoLogCook(t, d, id)
	page := "/studies/" + id + "/cooks/" + cook.Label
	first, second := cook.Logs[0].SHA256, cook.Logs[1].SHA256
	get := func(path string) string {
		t.Helper()
		code, body := d.get(path)
		if code != http.StatusOK {
			t.Fatalf("%s: %d", path, code)
		}
		return body
	}
	post := func(want int, form url.Values) string {
		t.Helper()
		code, body := d.post(page+"/clocks", form)
		if code != want {
			t.Fatalf("%v: %d, want %d", form, code, want)
		}
		return body
	}
	wants(t, get(page), `id="clocks"`, "first.csv", "second.csv", "Nobody compared the clock of second.csv with that of first.csv")

	// Comparing shows what would be done and does nothing.
	body := get(page + "?clock=" + second + "&onto=" + first + "&by=")
	wants(t, body, "second.csv onto first.csv: &#43;37.0", "Apply this correction")
	if len(d.record(id).Cooks[0].Clocks) != 0 {
		t.Fatal("comparing corrected a clock")
	}
	wants(t, get(page+"?clock="+second+"&onto=marks&by=signal"), "Marks have no signal to compare")

	wants(t, post(http.StatusOK, url.Values{"clock": {second}, "onto": {first}, "do": {"apply"}}), "onto first.csv, by signal", "Undo the correction of second.csv")
	_, data := d.get(page + "/traces")
	if strings.Contains(data, "-97") { // the second log begins with the first now
		t.Errorf("the plot shows the second log where its own clock puts it: %.200s", data)
	}
	wants(t, post(http.StatusOK, url.Values{"clock": {second}, "do": {"undo"}}), "Earlier corrections of second.csv (1)")
	wants(t, post(http.StatusOK, url.Values{"clock": {second}, "do": {"set"}, "set": {"+37 s ± 0.2 s"}}), "&#43;37.00 s ± 0.40 s", "set by hand")

	// What cannot be read is refused where it was typed, and kept.
	wants(t, post(http.StatusUnprocessableEntity, url.Values{"clock": {second}, "do": {"set"}, "set": {"soon"}}), `value="soon"`)
	post(http.StatusUnprocessableEntity, url.Values{"clock": {"nobody"}, "do": {"set"}, "set": {"1 s"}})
	post(http.StatusUnprocessableEntity, url.Values{"clock": {first}, "onto": {first}, "do": {"apply"}})
	post(http.StatusUnprocessableEntity, url.Values{"clock": {first}, "do": {"undo"}})
	if n := len(d.record(id).Cooks[0].Clocks); n != 2 {
		t.Errorf("%d corrections are kept, want 2", n)
	}
}

// The panel at the size of a phone, a tablet and a desktop.
func TestClocksForEverybody(t *testing.T) {
	checker := axe(t)
	chromium := browser(t)
	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"One clock"}})
	cook := twoLogCook(t, d, "one-clock")
	page := "/studies/one-clock/cooks/" + cook.Label
	first, second := cook.Logs[0].SHA256, cook.Logs[1].SHA256
	d.post(page+"/clocks", url.Values{"clock": {first}, "do": {"set"}, "set": {"−1 s ± 0.4 s"}})
	d.post(page+"/clocks", url.Values{"clock": {first}, "do": {"undo"}})
	d.post(page+"/clocks", url.Values{"clock": {first}, "onto": {"marks"}, "do": {"set"}, "set": {"+0.8 s"}})
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"phone", 390, 844, false}, {"tablet", 820, 1180, true}, {"desktop", 1400, 900, false}} {
		t.Run(size.name, func(t *testing.T) {
			var offline atomic.Bool
			p := newPerson(t, chromium, "clocks-"+size.name, d.http.URL, size.w, size.h, size.dark, &offline)
			p.do(chromedp.Navigate(p.base + page + "?clock=" + second + "&onto=" + first + "&by="))
			p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("#clocks details")) d.open = true`))
			p.sees("second.csv onto first.csv", "Apply this correction")
			p.violations(checker)
			for _, f := range p.list(checks) {
				if f != "style attributes" { // the plot's, as in TestEveryDeskPageForEverybody
					t.Errorf("%s", f)
				}
			}
			p.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("clocks").scrollIntoView()`))
			p.shot("panel")
		})
	}
}

package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// How soon pages are painted by a browser that is already open, beside a page
// of one line in the same browser, which tells what the browser takes by
// itself. The times are told, not judged; "make bench-paint" asks for those of
// 10,000 cooks. That the page stays light enough is checked.
func TestPaintInABrowser(t *testing.T) {
	chromium := browser(t)
	d := openDesk(t)
	if !d.desk.ui.built() {
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	if err := d.nb.PutImported(context.Background(), largeStudy(t, "Large", *largeBlocks), nil, nil); err != nil {
		t.Fatal(err)
	}
	line := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		io.WriteString(w, `<!DOCTYPE html><html lang="en"><head><title>One line</title><link rel="icon" href="data:,"></head><body><h1>One line</h1></body></html>`)
	}))
	defer line.Close()
	var offline atomic.Bool
	bare := newPerson(t, chromium, "one line", line.URL, 1200, 900, false, &offline)
	bare.allow("data:,")
	p := newPerson(t, chromium, "large", d.http.URL, 1200, 900, false, &offline)

	type times [2]float64 // ms since the navigation began: the answer's last byte, first contentful paint
	paint := func(p *person, page string) times {
		p.Helper()
		p.do(chromedp.Navigate(p.base + page))
		at, err := chromedp.Run(p.ctx, chromedp.Evaluate[times](`new Promise((done) => { const look = () => { const e = performance.getEntriesByName("first-contentful-paint")[0]; e ? done([performance.getEntriesByType("navigation")[0].responseEnd, e.startTime]) : setTimeout(look, 5); }; look(); })`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	paint(bare, "/")
	t.Logf("nothing worked out yet, answer and paint: list of studies %.0f ms, study %.0f ms", paint(p, "/"), paint(p, "/studies/large"))
	p.waitsLong(`!document.querySelector("[data-have]")`)
	pages := []struct {
		name, path string
		by         *person
		runs       []times
	}{{name: "page of one line", path: "/", by: bare}, {name: "list of studies", path: "/", by: p}, {name: "study", path: "/studies/large", by: p}}
	for range 11 {
		for i := range pages {
			pages[i].runs = append(pages[i].runs, paint(pages[i].by, pages[i].path))
		}
	}
	for _, x := range pages {
		for k, what := range []string{"answer", "painted"} {
			var ms []float64
			for _, r := range x.runs {
				ms = append(ms, r[k])
			}
			slices.Sort(ms)
			t.Logf("%s, %s: median %.0f of %.0f ms", x.name, what, ms[len(ms)/2], ms)
		}
	}
	// What has to be read before anything is painted does not grow with the cooks.
	if n := p.number(`performance.getEntriesByType("navigation")[0].decodedBodySize`); n > 200_000 {
		t.Errorf("the page is %.0f bytes", n)
	}
	if n := p.number(`document.querySelectorAll("*").length`); n > 6000 {
		t.Errorf("the page has %.0f elements", n)
	}
}

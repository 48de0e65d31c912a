package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"crypto/rand"

	"github.com/chromedp/chromedp"

	"trivet/store"
)

// paintPages are the pages that the lead opens of a notebook with a large
// study.
var paintPages = []struct{ name, path string }{
	{"list of studies", "/"},
	{"study", "/studies/large"},
	{"a cook", "/studies/large/cooks/C00701"},
	{"cooks", "/studies/large/cooks"},
	{"treatment", "/studies/large/treatments/new"},
	{"traces", "/studies/large/traces"},
	{"pieces", "/studies/large/pieces"},
	{"text", "/studies/large/text"},
	{"power", "/studies/large/power"},
	{"sheets", "/studies/large/sheets"},
	{"load logs", "/studies/large/load"},
	{"report", "/studies/large/report"},
	{"tastings", "/tastings"},
	{"trash", "/trash"},
	{"links", "/links"},
	{"log of changes", "/audit"},
}

// How soon pages are painted by a browser that is already open, beside a page
// of one line in the same browser, which tells what the browser takes by
// itself: the first time, by a server that has just started on a notebook of
// which nothing is worked out yet, and again. The times are told, not judged;
// "make bench-paint" asks for those of 10,000 cooks. That the pages stay light
// enough is checked.
func TestPaintInABrowser(t *testing.T) {
	chromium := browser(t)
	path := filepath.Join(t.TempDir(), "pristine.trivet")
	nb, err := store.Create(context.Background(), path, store.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	rec, history := plannedStudy(t, "Large", *largeBlocks)
	if err := nb.PutImported(context.Background(), rec, nil, nil); err != nil {
		t.Fatal(err)
	}
	if err := nb.AppendEvents(context.Background(), "large", history...); err != nil {
		t.Fatal(err)
	}
	nb.Close()
	pristine, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// serve starts a server on a notebook that is as it was imported.
	serve := func() (address string, stop func()) {
		t.Helper()
		path := filepath.Join(t.TempDir(), "desk.trivet")
		if err := os.WriteFile(path, pristine, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx := context.Background()
		nb, err := store.Open(ctx, path, store.Options{Now: time.Now})
		if err != nil {
			t.Fatal(err)
		}
		app, err := New(ctx, nb, Options{Now: time.Now, Random: rand.Reader, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		desk, err := NewDesk(app, nb, DeskOptions{OpenFolder: openFolder, Incoming: path + ".incoming", Maps: path + ".maps", Version: "test", Audit: io.Discard})
		if err != nil {
			t.Fatal(err)
		}
		if !desk.ui.built() {
			t.Skip(`the scripts are not built: run "make ui"`)
		}
		h := httptest.NewServer(desk.Handler())
		return h.URL, func() { h.Close(); desk.Close(); nb.Close() }
	}
	line := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		io.WriteString(w, `<!DOCTYPE html><html lang="en"><head><title>One line</title><link rel="icon" href="data:,"></head><body><h1>One line</h1></body></html>`)
	}))
	defer line.Close()
	var offline atomic.Bool
	p := newPerson(t, chromium, "large", line.URL, 1200, 900, false, &offline)
	p.allow("http://127.0.0.1:")
	p.allow("data:,")
	p.quiet.Store(true)

	type times [2]float64 // ms since the navigation began: the answer's last byte, first contentful paint
	paint := func(address string) times {
		p.Helper()
		p.do(chromedp.Navigate(address))
		at, err := chromedp.Run(p.ctx, chromedp.Evaluate[times](`new Promise((done) => { const look = () => { const e = performance.getEntriesByName("first-contentful-paint")[0]; e ? done([performance.getEntriesByType("navigation")[0].responseEnd, e.startTime]) : setTimeout(look, 5); }; look(); })`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	tell := func(name string, runs []times) {
		of := func(k int) (median float64, all []float64) {
			for _, r := range runs {
				all = append(all, r[k])
			}
			slices.Sort(all)
			return all[len(all)/2], all
		}
		answer, _ := of(0)
		painted, all := of(1)
		t.Logf("%s: painted after %.0f ms, the median of %.0f; the answer's end after %.0f ms", name, painted, all, answer)
	}
	paint(line.URL + "/")
	for _, x := range paintPages {
		var cold, warm, lines []times
		for k := range 3 {
			address, stop := serve()
			lines = append(lines, paint(line.URL+"/")) // and the browser has come to rest
			cold = append(cold, paint(address+x.path))
			if k < 2 {
				stop()
				continue
			}
			p.waitsLong(`!document.querySelector("[data-have]")`)
			for range 7 {
				lines = append(lines, paint(line.URL+"/"))
				warm = append(warm, paint(address+x.path))
			}
			if n := p.number(`performance.getEntriesByType("navigation")[0].decodedBodySize`); n > 200_000 && x.name != "text" {
				t.Errorf("%s: the page is %.0f bytes", x.name, n)
			}
			if n := p.number(`document.querySelectorAll("*").length`); n > 6000 {
				t.Errorf("%s: the page has %.0f elements", x.name, n)
			}
			stop()
		}
		tell(x.name+", first asked", cold)
		tell(x.name+", again", warm)
		tell("  page of one line, in between", lines)
	}
}

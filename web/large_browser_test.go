package web

import (
	"context"
	"flag"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

var largeBlocks = flag.Int("blocks", 400, "blocks of two cooks of the study that the browser opens")

// A large study that nothing is worked out of yet: the page is there at once
// and fills in, and every cook can be reached. The time of the first paint is
// told, not judged; run it with -blocks 5000 for 10,000 cooks.
func TestALargeStudyFillsIn(t *testing.T) {
	chromium := browser(t)
	d := openDesk(t)
	if !d.desk.ui.built() {
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	if err := d.nb.PutImported(context.Background(), largeStudy(t, "Large", *largeBlocks), nil, nil); err != nil {
		t.Fatal(err)
	}
	var offline atomic.Bool
	p := newPerson(t, chromium, "large", d.http.URL, 1200, 900, false, &offline)
	painted := func(page string) {
		p.Helper()
		p.do(chromedp.Navigate(p.base + page))
		ms, err := chromedp.Run(p.ctx, chromedp.Evaluate[float64](`new Promise((done) => { const look = () => { const e = performance.getEntriesByName("first-contentful-paint")[0]; e ? done(e.startTime) : setTimeout(look, 5); }; look(); })`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatal(err)
		}
		server, _ := chromedp.Run(p.ctx, chromedp.Evaluate[float64](`performance.getEntriesByType("navigation")[0].responseEnd`))
		t.Logf("%s: the server's answer was there after %.0f ms, painted after %.0f ms", page, server, ms)
	}
	whole := func() {
		p.Helper()
		ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`new Promise((done) => { let n = 0; const look = () => !document.querySelector("[data-have]") ? done(true) : ++n > 1200 ? done(false) : setTimeout(look, 50); look(); })`, chromedp.EvalAwaitPromise))
		if err != nil || !ok {
			p.Fatalf("the page never came whole (%v)", err)
		}
	}
	painted("/")
	painted("/studies/large")
	whole()
	p.sees("differs, by less than matters")
	p.shot("whole")
	painted("/studies/large")
	last := fmt.Sprintf("C%05d", 2**largeBlocks)
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { document.querySelector("[data-list=cooks]").closest("details").open = true; const f = document.getElementById("find-cooks"); f.focus(); f.value = ` + quoted(last) + `; f.dispatchEvent(new Event("input", {bubbles: true})); })()`))
	p.waits(`document.querySelectorAll("[data-list=cooks] tbody tr").length === 1 && document.querySelector("[data-list=cooks] a.row").textContent === ` + quoted(last) + ` && document.activeElement.id === "find-cooks"`)
	p.do(chromedp.Navigate(p.base + "/studies/large?cooks-from=701#cooks"))
	whole()
	p.waits(`document.querySelector("[data-list=cooks] a.row").textContent === "C00701"`)
}

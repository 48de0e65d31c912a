package web

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// shifts adds up how far what stands on a page was moved by what came later
// (W3C Layout Instability API), while somebody reads it from top to end, and
// names what moved.
const shifts = `new Promise((done) => {
	let sum = 0;
	const moved = [];
	const name = (n) => n && n.nodeType === 1 ? n.tagName.toLowerCase() + (n.id ? "#" + n.id : "") + (n.className && n.className.baseVal === undefined ? "." + n.className : "") : String(n && n.textContent).slice(0, 30);
	new PerformanceObserver((list) => {
		for (const e of list.getEntries()) if (!e.hadRecentInput) {
			sum += e.value;
			for (const s of e.sources) moved.push(e.value.toFixed(4) + " " + name(s.node) + " " + Math.round(s.previousRect.y) + " to " + Math.round(s.currentRect.y));
		}
	}).observe({type: "layout-shift", buffered: true});
	const rest = (then) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(then, 20)));
	const there = () => [...document.images].every((i) => { const r = i.getBoundingClientRect(); return r.bottom < 0 || r.top > innerHeight || !r.width || i.complete; });
	let waits = 0;
	const step = () => {
		if (!there() && waits++ < 200) return rest(step);
		if (scrollY + innerHeight >= document.documentElement.scrollHeight - 2) return rest(() => done([sum.toFixed(4), ...moved.slice(0, 8)].join("; ")));
		scrollBy({top: innerHeight * 0.8, behavior: "instant"});
		rest(step);
	};
	rest(step);
})`

// Nothing on a page moves under somebody's eyes when more of it arrives: less
// than a fifth of what counts as good (cumulative layout shift of at most 0.1,
// web.dev "Cumulative Layout Shift"), on pages that come in parts too.
func TestPagesStayPut(t *testing.T) {
	if testing.Short() {
		t.Skip("reads pages in a browser")
	}
	d := openDemo(t, 6)
	needsScripts(t, d)
	if err := d.nb.PutImported(context.Background(), largeStudy(t, "Large", 900), nil, nil); err != nil {
		t.Fatal(err)
	}
	label := d.record(demoID).Cooks[0].Label
	const at = "/studies/" + demoID
	pages := []string{"/studies/large", "/studies/large/cooks", "/", at, at + "/cooks/" + label, at + "/treatments/sear-first", at + "/report", at + "/traces", at + "/load", at + "/power"}
	for _, size := range []struct {
		name string
		w, h int64
	}{{"phone", 390, 844}, {"tablet", 820, 1180}, {"desktop", 1400, 900}} {
		t.Run(size.name, func(t *testing.T) {
			var offline atomic.Bool
			p := newPerson(t, browser(t), "steady-"+size.name, d.http.URL, size.w, size.h, false, &offline)
			for _, page := range pages {
				p.do(chromedp.Navigate(p.base + page))
				p.waitsLong(`document.readyState === "complete" && !document.querySelector("[data-have]")`)
				if strings.Contains(page, "/cooks/") {
					p.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
				}
				got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](shifts, chromedp.EvalAwaitPromise))
				if err != nil {
					t.Fatal(err)
				}
				var sum float64
				fmt.Sscan(got, &sum)
				if sum >= 0.02 {
					t.Errorf("%s moves by %s", page, got)
				} else {
					t.Logf("%s moves by %s", page, got)
				}
			}
		})
	}
}

package web

import (
	"context"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// number evaluates an expression in the page.
func (p *person) number(expression string) float64 {
	p.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[float64](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.Fatalf("%s: %s: %v", p.name, expression, err)
	}
	return v
}

// overlayHelpers are what the tests below say to the plot: key presses a key on it, see
// tells the stretch from the labels of its axis, turn sends n wheel events, one
// a frame, and tells how long each frame took.
const overlayHelpers = `(() => {
	const at = () => document.querySelector(".overlay .canvas");
	const over = () => document.querySelector(".overlay .u-over");
	window.said = () => document.querySelector(".overlay .readout").textContent;
	window.key = (k, shift) => at().dispatchEvent(new KeyboardEvent("keydown", {key: k, shiftKey: !!shift, bubbles: true, cancelable: true}));
	window.finger = (type, id, share) => { const b = over().getBoundingClientRect(); over().dispatchEvent(new PointerEvent(type, {pointerId: id, pointerType: "touch", clientX: b.left + share * b.width, clientY: b.top + b.height / 2, bubbles: true})); };
	window.turn = (n, step) => new Promise((done) => {
		const b = over().getBoundingClientRect(), took = [];
		let last = 0, i = 0;
		const frame = (now) => {
			if (last) took.push(now - last);
			last = now;
			if (i++ === n) { took.sort((a, b) => a - b); done(took); return; }
			over().dispatchEvent(new WheelEvent("wheel", {deltaY: step(i), ctrlKey: true, clientX: b.left + b.width * (0.3 + 0.4 * i / n), clientY: b.top + 50, bubbles: true, cancelable: true}));
			requestAnimationFrame(frame);
		};
		requestAnimationFrame(frame);
	});
	window.pixels = () => { const c = document.querySelector(".overlay canvas"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 0; i < d.length; i += 4) { const top = Math.max(d[i], d[i+1], d[i+2]); if (d[i+3] > 20 && top - Math.min(d[i], d[i+1], d[i+2]) > 40) n++; } return n; };
})()`

// The traces of all cooks by mouse, keys and touch, on phone, tablet and
// desktop, light, dark and on paper. The times are told, not judged; run it
// with -cooks 200 -seconds 7200 for a large study.
func TestTracesOfAllCooksInABrowser(t *testing.T) {
	checker := axe(t)
	chromium := browser(t)
	d := openDesk(t)
	if !d.desk.ui.built() {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal(`TRIVET_BROWSER is set and the scripts are not built: run "make ui"`)
		}
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	tracedStudy(t, d, *overlaidCooks, *overlaidSeconds)
	var offline atomic.Bool
	p := newPerson(t, chromium, "overlay", d.http.URL, 1200, 900, false, &offline)
	ready := `document.querySelector("[data-overlay]")?.dataset.ready`
	drawn := `document.querySelector("[data-overlay]")?.dataset.drawn`
	told := func(what string) {
		p.Helper()
		p.waitsLong(ready + ` === "core"`)
		t.Logf("%s: plot after %.0f ms, a key answered %.0f ms later", what,
			p.number(`performance.getEntriesByName("traces-ready")[0].startTime`),
			p.number(overlayHelpers+`; (() => { const t = performance.now(); key("ArrowRight"); return new Promise((done) => { const look = () => said() ? done(performance.now() - t) : setTimeout(look, 1); look(); }); })()`))
	}
	p.do(chromedp.Navigate(p.base + "/studies/traced"))
	told("nothing measured yet")
	p.waitsLong(drawn + ` === "whole" && !document.querySelector("[data-have]")`)
	p.do(chromedp.Navigate(p.base + "/studies/traced"))
	told("the page again")
	p.waitsLong(drawn + ` === "whole"`)
	frames := func(what, step string) {
		p.Helper()
		p.number(`turn(120, ` + step + `).then((t) => { window.took = [t.length, t.reduce((a, b) => a + b, 0) / t.length, t[Math.floor(t.length * 0.99)], t.filter((x) => x > 20.1).length].map((x) => x.toFixed(1)); return 1; })`)
		took := p.list(`window.took`)
		mean, _ := strconv.ParseFloat(took[1], 64)
		t.Logf("%s: %.0f frames a second; the slowest hundredth took %s ms; %.3s of %.3s frames took longer than 20 ms", what, 1000/mean, took[2], took[3], took[0])
	}
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".overlay .canvas").scrollIntoView({block: "center"})`))
	frames("zoom in and out", `(i) => (i % 40 < 20 ? -60 : 60)`)
	frames("zoom in", `() => -15`)
	p.waitsLong(drawn + ` === "finer"`) // at rest the finer stretch is fetched
	p.shot("zoomed")
	p.do(chromedp.Evaluate[chromedp.Void](`key("0")`))
	p.waitsLong(drawn + ` === "whole"`)

	// Keys: the cursor, one cook after the other, and its page.
	p.do(chromedp.Evaluate[chromedp.Void](`key("ArrowRight", true); key("ArrowUp")`))
	p.waits(`said().includes("C0") && said().includes("usual: median") && said().includes("middle half")`)
	p.waits(`document.querySelector(".overlay .one a").pathname.startsWith("/studies/traced/cooks/C0")`)
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = said(); key("ArrowUp")`))
	p.waits(`said() !== window.before`)
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = said(); key("End")`))
	p.waits(`said() !== window.before`)
	// The mouse reads out whichever line is near.
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const o = document.querySelector(".overlay .u-over"), b = o.getBoundingClientRect(); window.before = said(); o.dispatchEvent(new MouseEvent("mousemove", {clientX: b.left + 0.3 * b.width, clientY: b.top + 0.6 * b.height, movementX: 1, bubbles: true})); })()`))
	p.waits(`said() !== window.before`)
	if n := p.number(`pixels()`); n < 2000 {
		t.Errorf("only %.0f coloured pixels are drawn", n)
	}

	// Touch: one finger takes it along, two zoom.
	p.do(chromedp.Evaluate[chromedp.Void](`finger("pointerdown", 1, 0.4); finger("pointerdown", 2, 0.6); finger("pointermove", 1, 0.2); finger("pointermove", 2, 0.8); finger("pointerup", 1, 0.2); finger("pointerup", 2, 0.8)`))
	p.waitsLong(drawn + ` === "finer"`)
	p.do(chromedp.Evaluate[chromedp.Void](`finger("pointerdown", 3, 0.3); finger("pointermove", 3, 0.6); finger("pointerup", 3, 0.6)`))
	p.click(`.overlay [data-do="all"]`)
	p.waitsLong(drawn + ` === "whole"`)

	// Another channel.
	p.picks("#overlay-channel", "pan")
	p.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("overlay-channel").dispatchEvent(new Event("change"))`))
	p.waitsLong(ready + ` === "pan"`)
	if got := p.list(`[...document.querySelectorAll(".overlay .key title")].map((x) => x.textContent)`); len(got) != 2 || !strings.HasPrefix(got[0], "usual") {
		t.Errorf("the key says %q", got)
	}
	// The server gone: the old traces stay and it says so.
	offline.Store(true)
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const real = window.fetch; window.fetch = () => Promise.reject(new TypeError("lost")); const s = document.getElementById("overlay-channel"); s.value = "air"; s.dispatchEvent(new Event("change")); window.fetch = real; })()`))
	p.waits(`!document.querySelector(".overlay [data-problem]").hidden`)
	offline.Store(false)
	p.click(`.overlay [data-do="again"]`)
	p.waitsLong(ready + ` === "air" && document.querySelector(".overlay [data-problem]").hidden`)

	for _, x := range []struct {
		name          string
		width, height int64
		scheme        string
	}{{"desktop", 1440, 900, "light"}, {"tablet", 820, 1180, "dark"}, {"phone", 390, 844, "light"}} {
		p.do(chromedp.EmulateViewport(x.width, x.height), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: x.scheme}}})
			return err
		}))
		p.do(chromedp.Navigate(p.base + "/studies/traced"))
		p.waitsLong(drawn + ` === "whole" && !document.querySelector("[data-have]")`)
		p.check()
		p.violations(checker)
		p.shot(x.name)
		p.open("/studies/traced/traces")
		p.violations(checker)
		p.shot("page-" + x.name)
	}
	// On paper stands the still figure.
	p.do(chromedp.Navigate(p.base + "/studies/traced"))
	p.waitsLong(drawn + ` === "whole"`)
	p.waitsLong(`document.querySelector(".paper-only img").naturalWidth > 0`)
	var printed []byte
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		out, err := cdp.Call(ctx, t, cdppage.PrintToPDF, cdppage.PrintToPDFParams{})
		if err == nil {
			printed = out.Data
		}
		return err
	}))
	if !strings.Contains(string(printed), "/Image") {
		t.Error("the still figure is not on the printed page")
	}
}

// The page of a long cook: its plot is there before its quality is, and gets
// finer where somebody zooms.
func TestALongCookInABrowser(t *testing.T) {
	chromium := browser(t)
	d, path := longCook(t, 100_000)
	if !d.desk.ui.built() {
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	var offline atomic.Bool
	p := newPerson(t, chromium, "long-cook", d.http.URL, 1200, 900, false, &offline)
	p.do(chromedp.Navigate(p.base + strings.TrimSuffix(path, "/traces")))
	p.waitsLong(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
	p.waitsLong(`!document.querySelector("[data-have], [data-coming]") && document.querySelector("#responses table, #responses details") !== null && document.body.innerText.includes("100000")`)
	p.do(chromedp.Evaluate[chromedp.Void](`for (const k of ["+", "+", "+", "+", "+", "+"]) document.querySelector(".plot .canvas").dispatchEvent(new KeyboardEvent("keydown", {key: k, bubbles: true, cancelable: true}))`))
	p.waitsLong(`document.querySelector("[data-plot]").dataset.drawn === "finer"`)
	p.shot("zoomed")
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".plot .canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "0", bubbles: true, cancelable: true}))`))
	p.waitsLong(`document.querySelector("[data-plot]").dataset.drawn === "whole"`)
}

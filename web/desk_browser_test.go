package web

import (
	"context"
	"encoding/json"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"

	"trivet/bench"
	"trivet/study"
)

// axe returns the accessibility checker of the interface's npm packages, or
// skips: it is there after "make ui".
func axe(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("ui", "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal(`TRIVET_BROWSER is set and axe-core is not there: run "make ui"`)
		}
		t.Skip(`axe-core is not there: run "make ui"`)
	}
	return string(b)
}

// violations are what axe-core finds on the page as it stands.
func (p *person) violations(axe string) {
	p.Helper()
	if _, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](axe+";true")); err != nil {
		p.Fatal(err)
	}
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[[]byte](`axe.run(document, {resultTypes: ["violations"]}).then((r) => r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.target.join(" ")).join(" | ")))`, chromedp.EvalAwaitPromise))
	if err != nil {
		p.Fatal(err)
	}
	var found []string
	if err := json.Unmarshal(got, &found); err != nil {
		p.Fatal(err)
	}
	at, _ := chromedp.Run(p.ctx, chromedp.Location())
	for _, f := range found {
		p.Errorf("%s at %s: axe: %s", p.name, strings.TrimPrefix(at, p.base), f)
	}
}

// openDemo is a desk on which the demo's plan stands with a few of its cooks
// loaded.
func openDemo(t testing.TB, cooks int) *deskServer {
	demo := madeDemo(t)
	d := openDesk(t)
	ctx := context.Background()
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const id = "sear-first-or-sear-last"
	for _, c := range demo.Cooks[:cooks] {
		if err := d.nb.PutCook(ctx, id, c.Cook); err != nil {
			t.Fatal(err)
		}
		if _, err := bench.Load(ctx, d.nb, d.record(id), bench.LoadRequest{Name: c.LogName, Log: strings.NewReader(string(c.Log)), Cook: c.Cook.Label, Now: c.At}); err != nil {
			t.Fatal(err)
		}
	}
	c := demo.Cooks[cooks]
	d.upload("/studies/"+id+"/load", c.LogName, c.Log)
	return d
}

// Every page of the desk at the size of a phone, a tablet and a desktop, light
// and dark: no violation of axe-core, no target too small for a wet finger,
// nothing faint, no request that leaves the house.
func TestEveryDeskPageForEverybody(t *testing.T) {
	checker := axe(t)
	chromium := browser(t)
	d := openDemo(t, 8)
	label := d.record("sear-first-or-sear-last").Cooks[0].Label
	d.desk.opt.ReadAudit = func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(d.audit.String())), nil }
	for _, form := range []url.Values{{"role": {"cook"}, "study": {"sear-first-or-sear-last"}, "name": {"tablet at the stove"}, "once": {"yes"}}, {"role": {"reader"}, "study": {"sear-first-or-sear-last"}}} {
		if code, _ := d.post("/links", form); code != 200 {
			t.Fatal(code)
		}
	}
	plan := trianglePlan(3, 1)
	plan.Study, plan.Question = "sear-first-or-sear-last", ""
	if _, _, err := d.desk.s.room.Open(context.Background(), plan, passphrase); err != nil {
		t.Fatal(err)
	}
	const at = "/studies/sear-first-or-sear-last"
	pages := []string{"/", "/trash", at, at + "/text", at + "/treatments/sear-first", at + "/treatments/sear-first?view=text", at + "/cooks/" + label, at + "/load", at + "/power", "/links", "/audit"}
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"phone", 390, 844, false}, {"tablet", 820, 1180, true}, {"desktop", 1400, 900, false}} {
		t.Run(size.name, func(t *testing.T) {
			var offline atomic.Bool
			p := newPerson(t, chromium, "desk-"+size.name, d.http.URL, size.w, size.h, size.dark, &offline)
			for _, page := range pages {
				p.do(chromedp.Navigate(p.base + page))
				if strings.Contains(page, "/cooks/") && d.desk.ui.built() {
					p.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
				}
				p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
				p.violations(checker)
				for _, f := range p.list(checks) {
					// The plot is laid out by its script through the style object,
					// which the policy allows; style attributes in the text of a
					// page it does not.
					if f != "style attributes" || !strings.Contains(page, "/cooks/") {
						t.Errorf("%s: %s", page, f)
					}
				}
				p.shot(strings.NewReplacer("/", "_", "?", "_").Replace(page))
			}
		})
	}
}

// waits waits until an expression holds.
func (p *person) waits(expression string) {
	p.Helper()
	ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`new Promise((done) => { let n = 0; const look = () => (`+expression+`) ? done(true) : ++n > 200 ? done(false) : setTimeout(look, 25); look(); })`, chromedp.EvalAwaitPromise))
	if err != nil || !ok {
		p.shot("failure")
		p.Fatalf("%s: never came true: %s (%v)", p.name, expression, err)
	}
}

// What scripts add: the prediction follows typing, typing outlives a reload, a
// mark is moved and put back, the cursor is read out on the keyboard.
func TestWhatScriptsAddToTheDesk(t *testing.T) {
	chromium := browser(t)
	d := openDemo(t, 2)
	if !d.desk.ui.built() {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal(`TRIVET_BROWSER is set and the scripts are not built: run "make ui"`)
		}
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	const id = "sear-first-or-sear-last"
	label := d.record(id).Cooks[0].Label
	var offline atomic.Bool
	p := newPerson(t, chromium, "desk-scripts", d.http.URL, 1400, 1000, false, &offline)
	typed := func(css, text string) {
		p.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector(` + quoted(css) + `); e.value = ` + quoted(text) + `; e.dispatchEvent(new Event("input", {bubbles: true})); })()`))
	}

	p.do(chromedp.Navigate(p.base + "/studies/" + id + "/treatments/sear-first"))
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = document.querySelector(".predicted [data-result] p").textContent`))
	typed(`[name="leaf:piece.thickness"]`, "45 mm")
	p.waits(`document.querySelector(".predicted [data-result] p").textContent !== window.before`)
	typed(`[name="leaf:piece.thickness"]`, "a hand wide")
	p.sees("a hand wide")
	p.waits(`document.querySelector(".predicted [role=alert]") !== null`)
	if src := string(d.record(id).CookFiles["cooks/sear-first.yaml"]); !strings.Contains(src, "thickness: 30 mm") {
		t.Error("trying out changed the cook file")
	}

	p.do(chromedp.Navigate(p.base + "/studies/" + id))
	p.waits(`document.querySelector('[name="set:claim.scope"]') !== null`)
	typed(`[name="set:claim.scope"]`, "chops of the whole county")
	p.do(chromedp.Reload())
	p.waits(`document.querySelector('[name="set:claim.scope"]')?.value === "chops of the whole county"`)
	typed(`[name="set:questions[loss].margin"]`, "4 points")
	p.waits(`document.querySelector("#q-loss [data-meaning]").textContent.includes("4 points of a piece")`)

	p.do(chromedp.Navigate(p.base + "/studies/" + id + "/cooks/" + label))
	p.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
	turn := func() int64 {
		for _, m := range d.record(id).Cooks[0].Marks {
			if m.Kind == study.Turn {
				return m.AtUS
			}
		}
		return -1
	}
	before := turn()
	p.do(chromedp.Evaluate[chromedp.Void](`(() => {
		const handle = [...document.querySelectorAll(".plot .mark")].find((m) => m.textContent === "turn");
		handle.setPointerCapture = () => {}; // no real finger is down
		const box = handle.getBoundingClientRect(), x = box.left + box.width / 2, y = box.top + 5;
		for (const [kind, dx] of [["pointerdown", 0], ["pointermove", 40], ["pointerup", 40]])
			handle.dispatchEvent(new PointerEvent(kind, {bubbles: true, cancelable: true, pointerId: 1, clientX: x + dx, clientY: y}));
	})()`))
	p.sees("Undo puts it back.")
	if turn() <= before {
		t.Errorf("a mark dragged later stands at %d, was %d", turn(), before)
	}
	p.click(`[data-do="undo"]`)
	p.sees("Undone.")
	if turn() != before {
		t.Errorf("a mark put back stands at %d, was %d", turn(), before)
	}
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const c = document.querySelector(".plot .canvas"); c.focus(); for (let i = 0; i < 3; i++) c.dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight", bubbles: true})); })()`))
	p.waits(`/^At \d+:\d\d: core \d/.test(document.querySelector(".readout").textContent)`)

	// Zooming: how many steps of a zoom are drawn in a second.
	fps, err := chromedp.Run(p.ctx, chromedp.Evaluate[float64](`new Promise((done) => {
		let n = 0; const start = performance.now();
		const step = () => { document.querySelector('[data-do="' + (n++ % 2 ? "out" : "in") + '"]').click(); performance.now() - start > 1000 ? done(n * 1000 / (performance.now() - start)) : requestAnimationFrame(step); };
		requestAnimationFrame(step);
	})`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("zooming drew %.0f steps a second", fps)
}

func quoted(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}

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
	"trivet/tasting"
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

// openEverything is a desk with something on every page: the demo with a few
// cooks, one of them with a photo, a tasting that runs and one that is closed,
// and links for everybody.
func openEverything(t *testing.T) (d *deskServer, links map[string]string) {
	t.Helper()
	d = openDemo(t, 6)
	ctx := context.Background()
	d.desk.opt.ReadAudit = func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(d.audit.String())), nil }
	links = map[string]string{}
	hand := func(name string, form url.Values) {
		t.Helper()
		_, body := d.post("/links", form)
		_, rest, ok := strings.Cut(body, `<a href="`+d.http.URL)
		if !ok {
			t.Fatalf("no link for %v", form)
		}
		links[name], _, _ = strings.Cut(rest, `"`)
	}
	hand("cook", url.Values{"role": {"cook"}, "study": {demoID}, "name": {"tablet at the stove"}})
	hand("reader", url.Values{"role": {"reader"}, "study": {demoID}})

	plan := trianglePlan(3, 1)
	plan.Study, plan.Question = demoID, "taste"
	open := func() (*bench.Tasting, *bench.TastingSecrets) {
		t.Helper()
		ta, secrets, err := d.desk.s.room.Open(ctx, plan, passphrase)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.desk.s.vault.keep(ta.ID, secrets); err != nil {
			t.Fatal(err)
		}
		return ta, secrets
	}
	over, secrets := open()
	seat := bench.Place{Role: tasting.Taster, Seat: "P01"}
	agree := func(link string) (*deskServer, string) {
		t.Helper()
		guest := &deskServer{TB: t, nb: d.nb, desk: d.desk, http: d.http, client: newClient()}
		code, body := guest.post(link+"/door", url.Values{"consents": {"yes"}})
		if code != 200 {
			t.Fatalf("agreeing: %d", code)
		}
		return guest, body
	}
	door := "/b/" + secrets.Token(seat)
	taster, body := agree(door)
	ballot := url.Values{}
	for _, m := range inputs.FindAllStringSubmatch(body, -1) {
		if !ballot.Has(m[1]) {
			ballot.Set(m[1], m[2])
		}
	}
	for _, x := range secrets.Key.Sets {
		if x.ID == ballot.Get("set") {
			ballot.Set("choice", x.Cups[0].Code)
		}
	}
	if code, body := taster.post(door+"/answer", ballot); code != 200 {
		t.Fatalf("an answer: %d %.500s", code, body)
	}
	if code, body := d.post("/tastings/"+over.ID+"/close", url.Values{"passphrase": {passphrase}, "sure": {"yes"}}); code != 200 || !strings.Contains(body, "The key, revealed") {
		t.Fatalf("closing: %d", code)
	}
	links["closed"] = "/tastings/" + over.ID
	links["result"] = "/watch/" + secrets.Token(bench.Place{Role: tasting.Reader})

	plan.Title = "Chops, once more"
	running, secrets := open()
	links["running"] = "/tastings/" + running.ID
	links["assessor"] = "/b/" + secrets.Token(seat)
	links["tasting"] = "/b/" + secrets.Token(bench.Place{Role: tasting.Taster, Seat: "P02"})
	agree(links["tasting"])
	links["server"] = "/trays/" + secrets.Token(bench.Place{Role: tasting.Server})
	links["watcher"] = "/watch/" + secrets.Token(bench.Place{Role: tasting.Reader})
	links["preparer"] = "/carve/" + d.desk.s.vault.of(running.ID).carve
	return d, links
}

// Every page there is at the size of a phone, a tablet and a desktop, light
// and dark: no violation of axe-core, no target too small for a wet finger,
// nothing faint, no request that leaves the house.
func TestEveryPageForEverybody(t *testing.T) {
	checker := axe(t)
	d, links := openEverything(t)
	label := d.record(demoID).Cooks[0].Label
	const at = "/studies/" + demoID
	type visit struct {
		who   string
		pages []string
	}
	visits := []visit{
		{"lead", []string{"/", "/trash", at, at + "/text", at + "/treatments/sear-first", at + "/treatments/sear-first?view=text", at + "/cooks", at + "/cooks/" + label, at + "/load", at + "/power", at + "/pieces", at + "/order", at + "/cooks/" + label + "?sheet=", at + "/instruments",
			at + "/sheets", at + "/report", "/links", "/audit", "/tastings", "/tastings/new?study=" + demoID, links["running"], links["running"] + "/ballots", links["closed"], "/no/such/page"}},
		{"cook", []string{links["cook"], at + "/cooks", at + "/cooks/" + label, at + "/load"}},
		{"reader", []string{links["reader"]}},
		{"watcher", []string{links["watcher"], links["result"]}},
		{"preparer", []string{links["preparer"]}},
		{"server", []string{links["server"]}},
		{"assessor", []string{links["assessor"]}},
		{"taster", []string{links["tasting"]}},
		{"stranger", []string{"/b/AAAAAAAAAAAAAAAAAAAAAAAA", "/c/AAAAAAAAAAAAAAAAAAAAAAAA"}},
	}
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"phone", 390, 844, false}, {"tablet", 820, 1180, true}, {"desktop", 1400, 900, false}} {
		t.Run(size.name, func(t *testing.T) {
			t.Parallel()
			chromium := browser(t)
			var offline atomic.Bool
			offline.Store(true) // a page that is not there is logged by its status
			for _, v := range visits {
				p := newPerson(t, chromium, v.who+"-"+size.name, d.http.URL, size.w, size.h, size.dark, &offline)
				for _, page := range v.pages {
					p.do(chromedp.Navigate(p.base + page))
					p.waitsLong(`document.readyState === "complete" && !document.querySelector("[data-have]")`)
					plotted := strings.Contains(page, "/cooks/") && d.desk.ui.built()
					if plotted {
						p.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
					}
					if page == links["cook"] {
						p.violations(checker)
						p.shot("door")
						p.click("main form button")
						p.sees("Choose the cook you are at")
					}
					p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
					p.violations(checker)
					for _, f := range p.list(checks) {
						// Plots are laid out by their scripts through the style object,
						// which the policy allows; style attributes in the text of a page
						// it does not.
						if f == "style attributes" && (plotted || page == at) {
							continue
						}
						if page == at+"/sheets" && strings.HasPrefix(f, "a.skip") { // paper, with nothing before its text
							continue
						}
						t.Errorf("%s %s: %s", v.who, page, f)
					}
					p.shot(strings.NewReplacer("/", "_", "?", "_", "=", "_").Replace(strings.TrimPrefix(page, at)[:min(len(strings.TrimPrefix(page, at)), 24)]))
				}
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

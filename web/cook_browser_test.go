package web

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"trivet/study"
)

// The cook's page and the loading page, filled: photos sent by script, marks
// moved with the arrow keys, in inches, on phone, tablet and desktop, light,
// dark and on paper.
func TestACookFilledInABrowser(t *testing.T) {
	checker := axe(t)
	chromium := browser(t)
	d := openDemo(t, 2)
	if !d.desk.ui.built() {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal(`TRIVET_BROWSER is set and the scripts are not built: run "make ui"`)
		}
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	label := d.record(demoID).Cooks[0].Label
	at := "/studies/" + demoID + "/cooks/" + label
	cook := func() study.Cook { return d.record(demoID).Cooks[0] }
	var offline atomic.Bool
	p := newPerson(t, chromium, "cook-filled", d.http.URL, 1440, 900, false, &offline)
	ready := `document.querySelector("[data-plot]")?.dataset.ready === "yes"`
	p.do(chromedp.Navigate(p.base + at))
	p.waits(ready)

	// A photo that is none keeps its words; a good one is shown without a reload.
	file := filepath.Join(t.TempDir(), "note.jpg")
	if err := os.WriteFile(file, []byte("no picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	good := filepath.Join(t.TempDir(), "chop.jpg")
	if err := os.WriteFile(good, snapshot(t, 120), 0o600); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-photo-form]").closest("details").open = true; document.getElementById("photo-alt").value = "a chop on the board"; document.getElementById("photo-caption").value = "raw"; window.same = true`))
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{file}))
	p.click(`[data-photo-form] button`)
	p.waits(`document.querySelector("[data-photo-form] [data-problem]").textContent.includes("note.jpg: this file is no JPEG")`)
	p.waits(`document.getElementById("photo-caption").value === "raw"`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{good}))
	p.click(`[data-photo-form] button`)
	p.waits(`document.querySelector(".photos img")?.alt === "a chop on the board" && window.same && document.getElementById("photo-caption").value === ""`)
	if got := cook().Photos; len(got) != 1 || got[0].Caption != "raw" {
		t.Errorf("%+v", got)
	}

	// Arrow keys move a mark and Escape puts it back; Undo takes back what was saved.
	turn := func() int64 {
		for _, m := range cook().Marks {
			if m.Kind == study.Turn {
				return m.AtUS
			}
		}
		return -1
	}
	before := turn()
	press := func(keys string) {
		p.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](`(() => { const h = [...document.querySelectorAll(".plot .mark")].find((m) => m.textContent === "turn"); h.focus(); for (const key of ` + quoted(keys) + `.split(" ")) h.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})); })()`))
	}
	press("ArrowRight ArrowRight Escape")
	press("ArrowRight ArrowRight ArrowRight Enter")
	p.sees("Undo puts it back.")
	if got := turn(); got != before+3e6 {
		t.Errorf("a mark moved three seconds on stands at %d, was %d", got, before)
	}
	p.click(`[data-do="undo"]`)
	p.sees("Undone.")
	if got := turn(); got != before {
		t.Errorf("a mark put back stands at %d, was %d", got, before)
	}

	d.post(at+"/readings", map[string][]string{"response": {"core_by_hand_off-heat"}, "values": {"61 °C"}})
	d.post(at+"/deviations", map[string][]string{"what": {"oven door open for 20 s"}, "at": {"6:30"}})
	d.upload("/studies/"+demoID+"/load", "dull.csv", dullLog(0))
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"phone", 390, 844, true}, {"tablet", 820, 1180, false}, {"desktop", 1440, 900, true}} {
		p := newPerson(t, chromium, "cook-"+size.name, d.http.URL, size.w, size.h, size.dark, &offline)
		for _, page := range []string{at, "/studies/" + demoID + "/load"} {
			p.do(chromedp.Navigate(p.base + page))
			if page == at {
				p.waits(ready)
			}
			p.shot("folded" + strings.ReplaceAll(page, "/", "_"))
			p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true; for (const i of document.images) i.loading = "eager"`))
			p.waits(`[...document.images].every((i) => i.complete && i.naturalWidth > 0)`)
			p.violations(checker)
			for _, f := range p.list(checks) {
				if f != "style attributes" || page != at {
					t.Errorf("%s %s: %s", size.name, page, f)
				}
			}
			p.shot("open" + strings.ReplaceAll(page, "/", "_"))
		}
	}
	p.do(chromedp.Navigate(p.base+at), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	p.waits(`document.readyState === "complete" && getComputedStyle(document.querySelector("[data-photo-form]")).display === "none" && getComputedStyle(document.querySelector("#marks ul form")).display === "flex"`)
	p.shot("print")
}

package web

import (
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// What people get wrong at the desk: every time the message stands where it
// happened, and what they typed stands there still.
func TestMistakesAtTheDeskInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	d := openDesk(t)
	needsScripts(t, d)
	dir := t.TempDir()
	file := func(name string, content []byte, size int64) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if size > 0 {
			if err := os.Truncate(path, size); err != nil { // all but the beginning is a hole
				t.Fatal(err)
			}
		}
		return path
	}
	var offline atomic.Bool
	p := newPerson(t, chromium, "mistakes", d.http.URL, 820, 1180, false, &offline)
	p.quiet.Store(true) // refused requests are logged by the browser
	beside := func(form, says string) {
		t.Helper()
		p.waitsLong(`[...document.querySelectorAll(` + quoted(form+" [role=alert]") + `)].some((e) => e.checkVisibility() && e.innerText.includes(` + quoted(says) + `))`)
		p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
		p.check()
	}

	// Half-filled forms.
	p.open("/")
	p.writes("#title", "   ")
	p.follows(`form[action="/studies"] button`)
	beside(`form[action="/studies"]`, "A study needs a title")

	// A wrong file to import.
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{file("notes.zip", []byte("no zip at all"), 0)}))
	p.follows("#import button")
	beside("#import", "This zip cannot be taken")
	p.shot("import")

	p.open("/")
	p.writes("#title", "Salt early or late")
	p.follows(`form[action="/studies"] button`)
	p.unfolds("#questions > details.edit")
	p.writes("#nq-margin", "2 points")
	p.follows(`form[action$="/questions"] button`)
	beside(`form[action$="/questions"]`, "A question needs its sentence")
	if got := p.list(`[document.querySelector("#nq-margin").value]`)[0]; got != "2 points" {
		t.Errorf("after a half-filled form the margin is %q", got)
	}
	p.shot("half-filled")
	p.open("/studies/salt-early-or-late")
	p.unfolds("#edit-q-loss")
	p.writes(`#edit-q-loss [name="set:questions[loss].margin"]`, "a little")
	p.click("#edit-q-loss form button")
	beside("#edit-q-loss", "a little")
	if got := p.list(`[document.querySelector('#edit-q-loss [name="set:questions[loss].margin"]').value]`)[0]; got != "a little" {
		t.Errorf("a margin that is none is shown as %q", got)
	}
	p.shot("margin")

	// Logs: too many bytes, none at all, a picture.
	p.open("/studies/salt-early-or-late/load")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{file("endless.csv", []byte("time,core\n"), maxUpload+1)}))
	beside("form[data-drop]", "More than 536 MB at once")
	p.shot("oversized")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{file("empty.csv", nil, 0)}))
	p.waitsLong(`document.querySelector("section.log h2")?.innerText.includes("empty.csv")`)
	beside("section.log", "")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{file("chop.csv", []byte("\x89PNG\r\n\x1a\n\x00\x00"), 0)}))
	p.waitsLong(`document.querySelectorAll("section.log").length === 2`)
	beside("section.log", "")
	p.shot("wrong-files")

	// A text so long that the server takes none of it: it is still in the page
	// that it was typed into.
	p.open("/studies/salt-early-or-late/text")
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#text").value += "# " + "x".repeat(` + strings.Repeat("9", 7) + `)`))
	p.click("main form button")
	p.sees("did not work")
	p.do(chromedp.NavigateBack())
	p.waitsLong(`document.querySelector("#text")?.value.length > 9000000`)
}

// A link that has run out says so, at the door, on every device.
func TestALinkThatHasRunOutInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	clock := &kitchenClock{time.Now()}
	h := openHouseholdAt(t, "", clock.now)
	clock.at = clock.at.Add(placeTime + time.Hour)
	var offline atomic.Bool
	p := newPerson(t, chromium, "late", h.http.URL, 390, 844, true, &offline)
	p.quiet.Store(true)
	for _, who := range h.people {
		for _, token := range who.links {
			door := map[string]string{"reader": "/r/", "newcomer": "/enter/", "cook": "/c/", "assessor": "/b/", "server": "/trays/", "watcher": "/watch/", "preparer": "/carve/"}[who.name]
			if door == "" {
				continue
			}
			p.open(door + token)
			p.sees("This link has expired")
			p.violations(axe(t))
		}
	}
	p.shot("expired")
}

// A study is begun and its claim written with the keyboard alone: Tab reaches
// every control in the order of the page, what has the focus shows it, and
// nothing holds it.
func TestTheDeskByKeyboardAlone(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	d := openDesk(t)
	needsScripts(t, d)
	var offline atomic.Bool
	p := newPerson(t, chromium, "keys", d.http.URL, 1280, 900, false, &offline)
	press := func(keys string) {
		p.Helper()
		p.do(chromedp.KeyEvent(keys))
	}
	// walk goes once round the page and gives the number of its stops.
	walk := func() {
		p.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](`window.stops = []; document.activeElement.blur(); getSelection().removeAllRanges()`))
		want := p.list(`[String([...document.querySelectorAll("a[href],button:enabled,input:not([type=hidden]):enabled,select,textarea,summary,[tabindex='0']")].filter((e) => e.checkVisibility({visibilityProperty: true}) && e.tabIndex >= 0 && (e.type !== "radio" || e.checked)).length)]`)[0]
		for range 200 {
			press("\t")
			got := p.list(`(() => {
				const e = document.activeElement;
				if (e === document.body || stops.includes(e)) return ["round"];
				const before = stops.at(-1), bad = [];
				if (before && !(before.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING)) bad.push("out of order");
				const s = getComputedStyle(e), r = e.getBoundingClientRect();
				if (s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2) bad.push("no focus to see");
				if (r.bottom <= 0 || r.top >= innerHeight) bad.push("out of view");
				stops.push(e);
				return bad.map((b) => b + ": " + e.outerHTML.slice(0, 80));
			})()`)
			if len(got) == 1 && got[0] == "round" {
				break
			}
			for _, b := range got {
				t.Error(b)
			}
		}
		if got := p.list(`[String(stops.length)]`)[0]; got != want {
			t.Errorf("Tab stops at %s of %s controls: %s", got, want, p.list(`[stops.map((e) => e.tagName + "#" + e.id).join(" ")]`)[0])
		}
	}
	to := func(css string) {
		p.Helper()
		for range 200 {
			press("\t")
			if p.list(`[String(document.activeElement.matches(` + quoted(css) + `))]`)[0] == "true" {
				return
			}
		}
		p.shot("failure")
		t.Fatalf("Tab never came to %s", css)
	}
	p.open("/")
	walk()
	p.open("/")
	press("\t")
	if got := p.list(`[document.activeElement.className]`)[0]; got != "skip" {
		t.Errorf("the first stop is %q, want the link that skips to the text", got)
	}
	to("#title")
	press("Salt early or late")
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = true`))
	press("\r")
	p.settled(`!window.before`)
	p.sees("Being planned:")
	walk()
	to("#edit-claim > summary")
	press(" ")
	to(`#edit-claim [name="set:claim.says"]`)
	press("Early salt keeps it juicy")
	to("#edit-claim form button")
	press("\r")
	p.settled(`!document.querySelector("#edit-claim").open`)
	p.sees("Early salt keeps it juicy")
	if got := d.record("salt-early-or-late").Study.Claim.Says; got != "Early salt keeps it juicy" {
		t.Errorf("the claim says %q", got)
	}
	if got := p.list(`[String(document.activeElement.matches("#edit-claim > summary"))]`)[0]; got != "true" {
		t.Error("after saving, the focus is lost")
	}
	p.shot("saved")
}

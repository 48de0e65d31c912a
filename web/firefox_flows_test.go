package web

import (
	"bytes"
	"context"
	"encoding/pem"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"trivet/study"
)

// preferDark makes pages dark, as a system that is set so.
const preferDark = `user_pref("layout.css.prefers-color-scheme.content-override", 0);`

// whole waits until nothing of the page is still to come.
func (f *firefox) whole() {
	f.Helper()
	f.waits(`document.readyState === "complete" && !document.querySelector("[data-have], .saving")`)
}

// unfold opens a fold by its summary.
func (f *firefox) unfold(css string) {
	f.Helper()
	f.waits(`document.querySelector(` + quoted(css) + `) !== null`)
	var open bool
	if f.eval(`document.querySelector(`+quoted(css)+`).open`, &open); !open {
		f.click(css + " > summary")
	}
}

// inView waits until an element stands in the window.
func (f *firefox) inView(css string) {
	f.Helper()
	f.waits(`(() => { const r = document.querySelector(` + quoted(css) + `).getBoundingClientRect(); return r.top > -2 && r.top < innerHeight - 20; })()`)
}

// What people do at the desk, in Firefox: edits shown at once, a clash of two
// people, a cook file with its prediction, the plot by keys and by mouse, a
// log and a photo by the file picker, units, links into a page and back, and
// the page on paper.
func TestTheDeskIsUsedInFirefox(t *testing.T) {
	t.Parallel()
	demo := madeDemo(t)
	d := openDemo(t, 3)
	needsScripts(t, d)
	var slow atomic.Int64 // how long an edit takes, in milliseconds
	inner := d.http.Config.Handler
	d.http.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/edit") {
			time.Sleep(time.Duration(slow.Load()) * time.Millisecond)
		}
		inner.ServeHTTP(w, r)
	})
	const at = "/studies/" + demoID
	f := openFirefox(t, "firefox-desk", d.http.URL, 1280, 900)

	// A link into the page arrives where it says, and the back button returns
	// to the place that was left.
	f.open(at + "#finding-loss")
	f.whole()
	f.inView("#finding-loss")
	f.shot("deep-link")
	f.open(at)
	f.whole()
	f.click(`#cooks a.row`)
	f.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
	f.back()
	f.whole()
	f.inView(`#cooks a.row`)

	// An edit is shown before it is saved.
	const margin = `[name="set:questions[loss].margin"]`
	f.unfold("#edit-q-loss")
	slow.Store(1500)
	f.fill(margin, "3 points")
	f.click("#edit-q-loss form button")
	f.waits(`[...document.querySelectorAll("#questions .saving")].some((e) => e.textContent.includes("3 points"))`)
	if got := d.record(demoID).Study.Questions[0].Margin.Text; got != "2 points" {
		t.Errorf("the margin was saved before the edit arrived: %q", got)
	}
	f.shot("saving")
	f.whole()
	f.sees("by at least 3 points")
	slow.Store(0)

	// Somebody else changes the same field meanwhile.
	f.unfold("#edit-q-loss")
	f.fill(margin, "4 points")
	if code, _ := d.post(at+"/edit", edit("q-loss", "questions[loss].margin", "3 points", "2.5 points")); code != 200 {
		t.Fatal(code)
	}
	f.click("#edit-q-loss form button")
	f.waits(`[...document.querySelectorAll("#questions .clash q")].map((q) => q.textContent).join("|") === "4 points|2.5 points"`)
	f.shot("clash")
	f.click(`#questions .clash [value="mine"]`)
	f.click("#edit-q-loss form button")
	f.waits(`!document.querySelector(".clash")`)
	f.whole()
	f.sees("by at least 4 points")
	if got := d.record(demoID).Study.Questions[0].Margin.Text; got != "4 points" {
		t.Errorf("the choice saved %q", got)
	}

	// The prediction follows the cook file.
	f.open(at + "/treatments/sear-first")
	f.eval(`window.before = document.querySelector(".predicted [data-result] p").textContent`, nil)
	f.fill(`[name="leaf:piece.thickness"]`, "45 mm")
	f.waits(`document.querySelector(".predicted [data-result] p").textContent !== window.before && document.querySelector(".predicted svg")`)
	f.shot("cook-file")
	f.fill(`[name="leaf:piece.thickness"]`, "a hand wide")
	f.waits(`document.querySelector(".predicted [role=alert]") !== null`)
	f.reload() // what was typed is there after a reload
	f.waits(`document.querySelector('[name="leaf:piece.thickness"]').value === "a hand wide"`)

	// The plot by keys, a mark by mouse and undo.
	cook := d.record(demoID).Cooks[0]
	f.open(at + "/cooks/" + cook.Label)
	f.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
	f.eval(`document.querySelector(".plot .canvas").focus()`, nil)
	f.keys("\uE014\uE014\uE014")
	f.waits(`/^At \d+:\d\d: core \d/.test(document.querySelector(".readout").textContent)`)
	span := func() (s string) {
		f.eval(`[...document.querySelectorAll(".plot .mark")].map((m) => m.style.left).join(" ")`, &s)
		return s
	}
	whole := span()
	f.keys("++")
	f.waits(`[...document.querySelectorAll(".plot .mark")].map((m) => m.style.left).join(" ") !== ` + quoted(whole))
	near := span()
	f.click(`[data-do="right"]`)
	f.waits(`[...document.querySelectorAll(".plot .mark")].map((m) => m.style.left).join(" ") !== ` + quoted(near))
	f.click(`[data-do="all"]`)
	f.waits(`[...document.querySelectorAll(".plot .mark")].map((m) => m.style.left).join(" ") === ` + quoted(whole))
	turn := func() (at int64) {
		for _, m := range d.record(demoID).Cooks[0].Marks {
			if m.Kind == study.Turn {
				at = m.AtUS
			}
		}
		return at
	}
	before := turn()
	f.eval(`[...document.querySelectorAll(".plot .mark")].find((m) => m.textContent === "turn").id = "the-turn"`, nil)
	f.drag("#the-turn", 60)
	f.sees("Undo puts it back.")
	if turn() <= before {
		t.Errorf("a mark dragged later stands at %d, was %d", turn(), before)
	}
	f.click(`[data-do="undo"]`)
	f.sees("Undone.")
	if turn() != before {
		t.Errorf("a mark put back stands at %d, was %d", turn(), before)
	}
	f.shot("cook")

	// A photo by the file picker.
	photo := filepath.Join(t.TempDir(), "chop.jpg")
	if err := os.WriteFile(photo, snapshot(t, 120), 0o600); err != nil {
		t.Fatal(err)
	}
	f.unfold("#photos details.edit")
	f.waits(`!document.querySelector("[data-coming]")`) // nothing above moves any more
	f.fill("#photo-alt", "a chop on the board")
	f.waits(`document.querySelector("#photo-alt").value === "a chop on the board"`)
	f.give("#photo-file", photo)
	f.waits(`document.querySelector("#photo-file").files.length === 1`)
	f.click("[data-photo-form] button")
	f.waits(`document.querySelector(".photos img")?.alt === "a chop on the board"`)
	if got := d.record(demoID).Cooks[0].Photos; len(got) != 1 {
		t.Errorf("kept %d photos, want 1", len(got))
	}

	// A log by the file picker.
	c := demo.Cooks[4]
	log := filepath.Join(t.TempDir(), c.LogName)
	if err := os.WriteFile(log, c.Log, 0o600); err != nil {
		t.Fatal(err)
	}
	f.open(at + "/load")
	f.give("#logs", log)
	place := `[...document.querySelectorAll("section.log h2")].findIndex((h) => h.textContent.includes(` + quoted(c.LogName) + `))`
	f.waits(place + " >= 0 && document.readyState === 'complete'") // its name is read out while it is on its way, too
	var n int                                                      // its place among the waiting logs
	f.eval(place, &n)
	f.fill(fmt.Sprintf("#heat-%d", n), "0:45")
	f.click(fmt.Sprintf(`section[aria-labelledby="log-%d"] .acts button`, n))
	f.sees("Loaded into cook " + c.Cook.Label)

	// Another unit, everywhere and at once.
	f.open(at + "/cooks/" + cook.Label)
	f.eval(`(() => { document.querySelector("#temperature").value = "F"; document.querySelector("#length").value = "in"; })()`, nil)
	f.click(".units button")
	f.waits(`document.querySelector("#temperature").value === "F" && document.querySelector("[data-plot]")?.dataset.ready === "yes" && document.querySelector("#traces-h").parentElement.innerText.includes("°F")`)
	var where string
	if f.eval(`location.pathname`, &where); where != at+"/cooks/"+cook.Label {
		t.Errorf("setting the units led to %s", where)
	}
	f.open(at)
	f.whole()
	f.sees("°F", " in ")

	if pdf := f.printed(); !bytes.HasPrefix(pdf, []byte("%PDF-")) || len(pdf) < 50_000 {
		t.Errorf("the study prints as %d bytes, %.8q", len(pdf), pdf)
	} else if *look != "" {
		os.WriteFile(filepath.Join(*look, "firefox-study.pdf"), pdf, 0o644)
	}
}

// A tasting in Firefox on a phone in the dark, to its end: two sets with a
// pause, the connection lost for the last one, and the page asked for again.
func TestABallotInFirefox(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	k := openKitchen(t, Options{})
	var lost atomic.Bool
	k.http.Config.Handler = cut(k.http.Config.Handler, &lost)
	plan := trianglePlan(2, 2)
	plan.Pace.SetSeconds = 1
	ta, s := k.open(plan)
	f := openFirefox(t, "firefox-ballot", k.http.URL, 390, 844, preferDark)
	f.open(seatLink(s, "P01"))
	f.check(axe(t))
	f.click("input[name=consents][value=yes]")
	f.click("main form[method=post] button")
	f.sees("Set 1 of 2")
	f.check(axe(t))
	f.shot("set")
	f.click("section.set:not([hidden]) .big li:nth-child(2) label")
	f.click("section.set:not([hidden]) form button")
	f.sees("You may open the next set.")
	f.click("#next")
	f.sees("Set 2 of 2")
	f.click("section.set:not([hidden]) .big li:nth-child(1) label")
	lost.Store(true)
	k.http.CloseClientConnections()
	f.click("section.set:not([hidden]) form button")
	f.sees("Answers waiting on this phone: 1")
	f.shot("offline")
	lost.Store(false)
	f.sees("Your answer is kept.")
	f.open(seatLink(s, "P01"))
	f.sees("All your answers are in")
	seats, err := k.app.room.Seats(context.Background(), ta)
	if err != nil || len(seats[0].Answered) != 2 {
		t.Errorf("what was kept: %+v, %v", seats, err)
	}
	f.check(axe(t))
}

// Firefox with the kitchen's root among its certificates, which a policy file
// puts there as a household's administrator would: the encrypted pages open
// without an alarm, in a secure context and with a worker.
func TestFirefoxTrustsTheKitchensRoot(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	k := openTwoPorts(t)
	_, s := k.open(trianglePlan(3, 1))

	dir := t.TempDir()
	root := filepath.Join(dir, "root.crt")
	if err := os.WriteFile(root, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: k.root.cert.Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	policies := filepath.Join(dir, "policies.json")
	if err := os.WriteFile(policies, []byte(`{"policies": {"Certificates": {"Install": [`+quoted(root)+`]}}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	const names = `user_pref("network.dns.localDomains", "` + kitchenName + `");`
	f := openFirefox(t, "firefox-tls", k.secure, 820, 1180, names,
		// Firefox reads policies from elsewhere than its own folder only where it
		// is told that it is under test.
		`user_pref("security.turn_off_all_security_so_that_viruses_can_take_over_this_computer", true);`,
		`user_pref("browser.policies.alternatePath", `+quoted(policies)+`);`)
	f.open(seatLink(s, "P01"))
	f.sees("Before you taste")
	f.waits(`location.protocol === "https:" && isSecureContext`)
	f.waits(`"serviceWorker" in navigator`)
	f.click("input[name=consents][value=yes]")
	f.click("main form[method=post] button")
	f.sees("Set 1 of 1")
	var workers int
	for range 100 { // the worker starts after the page
		if f.eval(`navigator.serviceWorker.getRegistrations().then((r) => r.length)`, &workers); workers > 0 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if workers == 0 {
		t.Error("under TLS no worker starts")
	}
	f.shot("door")
}

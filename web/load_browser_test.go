package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"trivet/bench"
)

// Several logs at once: each and all of them show how far they are; the page
// is loaded anew in the middle, the server is lost in the middle and comes
// back, and nothing is lost, sent twice or typed again.
func TestLogsOnTheirWayInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	d := openDemo(t, 2)
	needsScripts(t, d)
	at := "/studies/" + demoID + "/load"
	labels := bench.Labels(d.record(demoID))
	labels = labels[len(labels)-4:]
	dir := t.TempDir()
	logOf := func(i int) string { // long enough to be asked how far it is
		var b strings.Builder
		b.WriteString("s,pan (°C)\n")
		for s := range 200_000 {
			fmt.Fprintf(&b, "%d,%d.%d\n", s, 180+i, s%7)
		}
		return b.String()
	}
	var files []string
	for i, label := range labels {
		path := filepath.Join(dir, label+".csv")
		if err := os.WriteFile(path, []byte(logOf(i)), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, path)
	}
	var lost atomic.Bool
	var came, holds atomic.Int64 // uploads that came; after how many the rest hang
	told := make(chan struct{})  // somebody was told how far the loading is
	tell := sync.OnceFunc(func() { close(told) })
	letGo := make(chan struct{})
	inner := pagesSeen.around(d.desk.Handler())
	gate := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if lost.Load() {
			panic(http.ErrAbortHandler)
		}
		if r.Method == "POST" && r.URL.Path == at {
			if n := came.Add(1); holds.Load() > 0 && n > holds.Load() {
				select { // on its way, and never there
				case <-letGo:
				case <-time.After(20 * time.Second):
				}
				panic(http.ErrAbortHandler)
			}
		}
		if r.Method == "POST" && r.URL.Path == at+"/all" {
			w = &lateAnswer{w, told} // or the loading is over before anybody asks
		}
		inner.ServeHTTP(w, r)
		if r.URL.Path == at+"/progress" {
			tell()
		}
	}))
	t.Cleanup(gate.Close)
	p := newPerson(t, chromium, "way-in", gate.URL, 820, 1180, false, &lost)
	p.quiet.Store(true)
	wait := func(n int) string { return fmt.Sprintf(`document.querySelectorAll("section.log").length === %d`, n) }

	// In the middle of four files the page is loaded anew: the first two are
	// there, and the rest can be chosen again.
	holds.Store(2)
	p.do(chromedp.Navigate(gate.URL + at))
	p.waitsLong(`document.querySelector("form[data-drop]")`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), files))
	p.waitsLong(`[...document.querySelectorAll(".sending li")].map((l) => l.dataset.state).join() === "kept,kept,sending,waits"`)
	p.sees("2 of 4 sent")
	if got := p.number(`document.querySelector("#sending-all").value`); got < 0.45 || got > 0.8 {
		t.Errorf("the bar of all stands at %g", got)
	}
	p.check()
	p.shot("halfway")
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = true`), chromedp.Reload())
	p.waitsLong(`!window.before && ` + wait(3)) // with the one of the demo

	// The server is lost in the middle: the files stay chosen, and are sent by
	// themselves when it is back.
	holds.Store(0)
	close(letGo)
	box := `[data-log="` + bench.HashOf([]byte(logOf(0))) + `"] [name=cook]`
	p.do(chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector(` + quoted(box) + `); e.value = "typed meanwhile"; e.dispatchEvent(new Event("input", {bubbles: true})); })()`))
	lost.Store(true)
	gate.CloseClientConnections()
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), files[2:]))
	p.sees("The server does not answer. The files that are not sent yet are still chosen")
	p.shot("lost")
	lost.Store(false)
	p.waitsLong(wait(5) + ` && document.querySelector("[data-queue]").hidden && document.querySelector("form[data-drop] [data-problem]").hidden`)
	if got := p.list(`[document.querySelector(` + quoted(box) + `).value]`)[0]; got != "typed meanwhile" {
		t.Errorf("what was typed beside it is %q", got)
	}
	all, err := d.desk.staged(demoID)
	if err != nil || len(all) != 5 {
		t.Fatalf("%d logs wait: %v", len(all), err)
	}
	for i, label := range labels {
		want := waiting{Name: label + ".csv", SHA256: bench.HashOf([]byte(logOf(i)))}
		if !slices.ContainsFunc(all, func(x waiting) bool { return x.Name == want.Name && x.SHA256 == want.SHA256 }) {
			t.Errorf("%s did not come as it was", want.Name)
		}
	}

	// All of them are loaded with progress, and the page says what became of each.
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(` + quoted(box) + `).value = ` + quoted(labels[0]) + `; window.same = true; window.bars = 0;
		new MutationObserver(() => { bars += [...document.querySelectorAll("[data-bar]")].filter((b) => !b.hidden).length; }).observe(document.querySelector("#waiting"), {subtree: true, attributes: true, attributeFilter: ["hidden"]})`))
	p.click(`form[data-all] button`)
	p.waitsLong(`document.querySelector("#said .done")`)
	if got := p.list(`[String(window.same), String(document.activeElement.id)]`); got[0] != "true" || got[1] != "said" {
		t.Errorf("the page stayed: %s; the focus is on %q", got[0], got[1])
	}
	if n := p.number(`window.bars`); n < 2 {
		t.Errorf("%g bars were shown while four logs were read, want those of the logs and one of all", n)
	}
	for _, label := range labels {
		if len(d.cookOf(label).Logs) != 1 {
			t.Errorf("cook %s has %d logs", label, len(d.cookOf(label).Logs))
		}
		p.sees("Loaded into cook " + label)
	}
	p.check()
	p.shot("loaded")
}

// lateAnswer keeps an answer back until it is let go.
type lateAnswer struct {
	http.ResponseWriter
	goes <-chan struct{}
}

func (l *lateAnswer) WriteHeader(status int) {
	select {
	case <-l.goes:
		time.Sleep(300 * time.Millisecond) // what was told is drawn meanwhile
	case <-time.After(20 * time.Second):
	}
	l.ResponseWriter.WriteHeader(status)
}

// Whoever is signed out in the middle of work signs in on the spot, over the
// page: a mark that was dragged, a photo with its words, a log, a claim.
func TestSignedOutInTheMiddleOfWorkInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	checker := axe(t)
	chromium := browser(t)
	hash := passphraseHash(t)
	d := openDeskWith(t, Options{PassphraseHash: hash})
	needsScripts(t, d)
	if code, _ := d.post("/login", url.Values{"passphrase": {passphrase}}); code != 200 {
		t.Fatal(code)
	}
	d.post("/studies", url.Values{"title": {"One clock"}})
	cook := twoLogCook(t, d, "one-clock")
	var never atomic.Bool
	p := newPerson(t, chromium, "signed-out", d.http.URL, 390, 844, true, &never)
	p.quiet.Store(true)
	p.open("/login?next=/studies/one-clock/cooks/" + cook.Label)
	p.fill("#passphrase", passphrase)
	p.click("main form[method=post] button")
	out := func() {
		t.Helper()
		if err := d.desk.s.access.signOutLeads(); err != nil {
			t.Fatal(err)
		}
		p.do(chromedp.Evaluate[chromedp.Void](`window.same = true`))
	}
	again := func(name string) {
		t.Helper()
		p.waitsLong(`document.querySelector("dialog.signin[open] #passphrase")`)
		p.sees("Sign in as the lead")
		p.violations(checker)
		p.shot(name)
		p.do(chromedp.SetValue(chromedp.CSS("dialog.signin #passphrase"), "not the one at all"))
		p.click("dialog.signin form button")
		p.sees("not the one this server was started with")
		p.do(chromedp.SetValue(chromedp.CSS("dialog.signin #passphrase"), passphrase))
		p.click("dialog.signin form button")
		p.waitsLong(`!document.querySelector("dialog.signin")`)
	}
	same := func() {
		t.Helper()
		if p.list(`[String(window.same)]`)[0] != "true" {
			t.Error("the page was left")
		}
	}

	// A photo, with its words.
	good := filepath.Join(t.TempDir(), "chop.jpg")
	if err := os.WriteFile(good, snapshot(t, 120), 0o600); err != nil {
		t.Fatal(err)
	}
	p.waitsLong(`document.querySelector("[data-photo-form]")`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-photo-form]").closest("details").open = true; document.getElementById("photo-alt").value = "a chop on the board"`))
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{good}))
	out()
	p.click(`[data-photo-form] button`)
	again("photo")
	p.waitsLong(`document.querySelector(".photos img")?.alt === "a chop on the board"`)
	same()

	// Logs.
	p.do(chromedp.Navigate(p.base + "/studies/one-clock/load"))
	p.waitsLong(`document.querySelector("form[data-drop]")`)
	log := filepath.Join(t.TempDir(), "two-logs.csv")
	if err := os.WriteFile(log, dullLog(0), 0o600); err != nil {
		t.Fatal(err)
	}
	out()
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{log}))
	again("upload")
	p.waitsLong(`document.querySelectorAll("section.log").length === 1`)
	same()
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("section.log details.columns").open = true; document.querySelector('[name="id:a1"]').value = "mid"`))
	out()
	p.click(`section.log button[value=check]`)
	again("load")
	p.waitsLong(`document.querySelector("section.log details.columns[open]")`)
	same()
	if got := p.list(`[document.querySelector('[name="id:a1"]').value]`)[0]; got != "mid" {
		t.Errorf("the name typed is %q", got)
	}

	// Putting it off loses nothing either: the form is kept by the page that
	// signs in.
	p.do(chromedp.Navigate(p.base + "/studies/one-clock"))
	p.waitsLong(`document.querySelector('[name="set:claim.says"]')`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#edit-claim").open = true; document.querySelector('[name="set:claim.says"]').value = "early salt keeps it juicy"`))
	out()
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[name="set:claim.says"]').form.querySelector("button").click()`))
	p.waitsLong(`document.querySelector("dialog.signin[open] #passphrase")`)
	p.click("dialog.signin .acts button.quiet")
	p.sees("You are signed out: nothing was saved")
	p.fill("#passphrase", passphrase)
	p.click("main form[method=post] button")
	p.sees("Signed in again")
	p.click("main form[method=post] button")
	p.sees("early salt keeps it juicy")
}

// A cook whose link has ended is told so over the page, and goes on there with
// a new one.
func TestACooksLinkEndsInTheMiddleInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	h := openHouseholdAt(t, "", time.Now)
	needsScripts(t, h.deskServer)
	var never atomic.Bool
	p := newPerson(t, chromium, "cook-over", h.http.URL, 820, 1180, false, &never)
	p.quiet.Store(true)
	link := func() string {
		t.Helper()
		token, _, err := h.desk.s.access.hand(handedLink{Role: roleCook, Study: h.study, Until: time.Now().Add(time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		return "/c/" + token
	}
	p.open(link())
	p.click("main form button")
	p.sees("Choose the cook you are at")
	p.do(chromedp.Navigate(p.base + "/studies/" + h.study + "/load"))
	p.waitsLong(`document.querySelector("form[data-drop]")`)
	for _, l := range h.links() {
		if _, _, err := h.desk.s.access.revoke(l); err != nil {
			t.Fatal(err)
		}
	}
	log := filepath.Join(t.TempDir(), "pot-1-early.csv")
	if err := os.WriteFile(log, dullLog(0), 0o600); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), []string{log}))
	p.sees("The link by which this browser came to the stove has ended", "Ask the lead for a new link")
	p.shot("over")
	// Another tab of the same browser opens the new link.
	p.do(chromedp.Evaluate[chromedp.Void](`fetch(` + quoted(link()) + `, {method: "POST"}).then(() => { window.came = true; })`))
	p.waits(`window.came`)
	p.click("dialog.signin .acts button.second")
	p.waitsLong(`document.querySelectorAll("section.log").length === 1`)
}

// links lists the ids of all links handed out.
func (h *household) links() (ids []string) {
	handed, _ := h.desk.s.access.handed()
	for _, l := range handed {
		ids = append(ids, l.ID)
	}
	return ids
}

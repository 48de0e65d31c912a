package web

import (
	"context"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"trivet/store"
)

// Two people change one claim, each on a server of their own on one notebook:
// an edit is shown at once and confirmed, the second sees both versions side
// by side and chooses, and what was typed outlives a server that is gone.
func TestTwoPagesOnTwoServersEditOneField(t *testing.T) {
	chromium := browser(t)
	d := openDesk(t)
	if !d.desk.ui.built() {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal(`TRIVET_BROWSER is set and the scripts are not built: run "make ui"`)
		}
		t.Skip(`the scripts are not built: run "make ui"`)
	}
	d.post("/studies", url.Values{"title": {"Salt"}})
	ctx := context.Background()
	nb, err := store.Open(ctx, d.nb.Path(), store.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { nb.Close() })
	app, err := New(ctx, nb, d.desk.s.opt)
	if err != nil {
		t.Fatal(err)
	}
	desk, err := NewDesk(app, nb, DeskOptions{Incoming: filepath.Join(t.TempDir(), "incoming")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(desk.Close)
	second := httptest.NewServer(desk.Handler())
	t.Cleanup(second.Close)

	var gone atomic.Bool
	one := newPerson(t, chromium, "first", d.http.URL, 1200, 900, false, &gone)
	two := newPerson(t, chromium, "second", second.URL, 390, 844, false, &gone)
	const field = `document.querySelector('[name="set:claim.says"]')`
	for _, p := range []*person{one, two} {
		p.do(chromedp.Navigate(p.base + "/studies/salt"))
		p.waits(field + ` && !document.querySelector("[data-have]")`)
	}
	save := func(p *person, text string) {
		p.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](`(() => { const f = ` + field + `; f.closest("details").open = true; f.value = ` + quoted(text) + `; f.dispatchEvent(new Event("input", {bubbles: true})); f.form.requestSubmit(); })()`))
	}

	save(one, "Early salt firms the crumb")
	one.waits(`document.querySelector(".saving") === null && document.querySelector("blockquote p")?.textContent === "Early salt firms the crumb"`)
	if got := d.record("salt").Study.Claim.Says; got != "Early salt firms the crumb" {
		t.Fatalf("the claim says %q", got)
	}

	two.quiet.Store(true) // Chromium logs the status of a refused form
	save(two, "Late salt firms the crumb")
	two.waits(`document.querySelector(".clash") !== null`)
	two.waits(`[...document.querySelectorAll(".clash q")].map((q) => q.textContent).join("|") === "Late salt firms the crumb|Early salt firms the crumb"`)
	two.waits(field + `.value === "Late salt firms the crumb" && document.querySelector("blockquote p")?.textContent !== "Late salt firms the crumb"`)
	two.shot("clash")
	two.waits(`document.documentElement.scrollWidth <= document.documentElement.clientWidth`)
	if got := d.record("salt").Study.Claim.Says; got != "Early salt firms the crumb" {
		t.Fatalf("a clash saved %q", got)
	}
	two.do(chromedp.Evaluate[chromedp.Void](`(() => { document.querySelector('.clash [value="mine"]').click(); ` + field + `.form.requestSubmit(); })()`))
	two.waits(`document.querySelector(".clash") === null && document.querySelector("blockquote p")?.textContent === "Late salt firms the crumb"`)
	if got := d.record("salt").Study.Claim.Says; got != "Late salt firms the crumb" {
		t.Fatalf("the choice left %q", got)
	}

	// The server goes away: nothing typed is lost, and the page says so.
	second.CloseClientConnections()
	second.Listener.Close()
	save(two, "Salt does nothing")
	two.waits(`document.querySelector(".lost[role=alert]") !== null && ` + field + `.value === "Salt does nothing" && document.querySelector("blockquote p").textContent === "Late salt firms the crumb"`)
}

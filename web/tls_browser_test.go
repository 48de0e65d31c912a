package web

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"trivet/bench"
	"trivet/tasting"
)

// cut serves a handler until the connection is lost: then every request is
// cut off without an answer.
func cut(h http.Handler, lost *atomic.Bool) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if lost.Load() {
			panic(http.ErrAbortHandler)
		}
		h.ServeHTTP(w, r)
	})
}

// A phone without the kitchen's certificate and a tablet with it, both from
// the same printed link, which is plain: the phone tastes to the end and never
// meets an alarm; the tablet is offered to go on under encryption, has a
// worker and a screen that can be kept on there, and opens its page again
// without the network.
func TestWithAndWithoutTheCertificateInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	k := openTwoPorts(t)
	var lost atomic.Bool
	over := underTLS(t, k.root, []string{kitchenName}, cut(k.app.Handler(), &lost))
	plain := httptest.NewServer(cut(k.app.Handler(), &lost))
	t.Cleanup(plain.Close)
	byName := func(s *httptest.Server) string { return strings.Replace(s.URL, "127.0.0.1", kitchenName, 1) }
	// The guard reads where TLS is from its own options.
	k.app.opt.SecureURL, k.app.guard.opt.SecureURL, k.app.opt.PublicURL = byName(over), byName(over), byName(plain)
	plan := trianglePlan(3, 1)
	_, s := k.open(plan)

	leaf, err := k.root.leafFor([]string{kitchenName})
	if err != nil {
		t.Fatal(err)
	}
	spki := sha256.Sum256(leaf.Leaf.RawSubjectPublicKeyInfo)
	named := chromedp.Flag("host-resolver-rules", "MAP "+kitchenName+" 127.0.0.1")
	without := browser(t, named)
	// Chromium takes the root from a store that a test cannot write; a leaf
	// trusted by its key is treated as one whose root is there.
	with := browser(t, named, chromedp.Flag("ignore-certificate-errors-spki-list", base64.StdEncoding.EncodeToString(spki[:])))

	var expected atomic.Bool // requests beside the page's own address, and failures of them, are what is tried here
	expected.Store(true)
	phone := newPerson(t, without, "plain-phone", byName(plain), 390, 844, false, &expected)
	phone.allow(byName(over) + "/certificate/trusted")
	phone.open(seatLink(s, "P01"))
	phone.waits(`document.readyState === "complete"`)
	time.Sleep(500 * time.Millisecond) // as long as the trial under TLS takes to fail
	phone.sees("Before you taste", "Not encrypted")
	if got := phone.list(`[String(window.isSecureContext), String(document.querySelector("[data-offer]").hidden), location.protocol, String("serviceWorker" in navigator)]`); strings.Join(got, " ") != "false true http: false" {
		t.Errorf("without the certificate: secure context, offer hidden, protocol, worker: %q", got)
	}
	phone.click("#kitchen summary")
	phone.shot("door")
	phone.click("input[name=consents][value=yes]")
	phone.click("main form[method=post] button")
	phone.sees("Set 1 of 1")
	phone.click("section.set:not([hidden]) .big li:nth-child(2) label")
	phone.click("section.set:not([hidden]) form button")
	phone.sees("Your answer is kept.")
	phone.open("/certificate")
	phone.waits(`!document.querySelector("[data-untrusted]").hidden && document.querySelector("[data-trusted]").hidden`)
	phone.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
	phone.check()
	phone.shot("certificate")

	tablet := newPerson(t, with, "tls-tablet", byName(plain), 820, 1180, true, &expected)
	tablet.allow(byName(over))
	tablet.open("/certificate")
	tablet.waits(`!document.querySelector("[data-trusted]").hidden`)
	tablet.check()
	tablet.shot("certificate")
	tablet.open(seatLink(s, "P02"))
	tablet.waits(`!document.querySelector("[data-offer]").hidden`)
	tablet.shot("offer")
	tablet.click("[data-offer] a")
	tablet.sees("Before you taste", "Keep the screen on")
	if got := tablet.list(`[location.protocol, String(window.isSecureContext)]`); strings.Join(got, " ") != "https: true" {
		t.Errorf("with the certificate: protocol and secure context %q", got)
	}
	tablet.click("input[name=consents][value=yes]")
	tablet.click("main form[method=post] button")
	tablet.sees("Set 1 of 1")
	watched := false // the page, by the worker, once it has started
	for range 20 {
		tablet.do(chromedp.Reload())
		tablet.sees("Set 1 of 1")
		if watched = tablet.list(`[String(navigator.serviceWorker.controller !== null)]`)[0] == "true"; watched {
			break
		}
		time.Sleep(250 * time.Millisecond)
	}
	if !watched {
		t.Fatal("under TLS no worker starts")
	}
	tablet.check()
	tablet.shot("ballot")

	lost.Store(true)
	plain.CloseClientConnections()
	over.CloseClientConnections()
	tablet.do(chromedp.Reload())
	tablet.sees("Set 1 of 1")
	tablet.click("section.set:not([hidden]) .big li:nth-child(2) label")
	tablet.click("section.set:not([hidden]) form button")
	tablet.sees("Answers waiting on this phone: 1")
	tablet.shot("offline")
	lost.Store(false)
	tablet.sees("Your answer is kept.")
	// Done: what opens without the network from now on is that it is done.
	tablet.do(chromedp.Reload())
	tablet.sees("All your answers are in")

	if seats, err := k.app.room.Seats(context.Background(), k.app.room.Tastings()[0]); err != nil || len(seats[0].Answered) != 1 || len(seats[1].Answered) != 1 {
		t.Errorf("what was kept: %+v, %v", seats, err)
	}
	server := newPerson(t, with, "tls-server", byName(over), 820, 1180, false, &expected)
	server.open("/trays/" + s.Token(bench.Place{Role: tasting.Server}))
	server.sees("Keep the screen on")
	server.check()
}

// The server goes away while somebody types: they are told on the page, the
// form is not sent into nothing, what they typed stays, and it is saved when
// the server is back, by the same button.
func TestTheServerIsLostWhileTyping(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	hash := passphraseHash(t)
	d := openDeskWith(t, Options{PassphraseHash: hash})
	if code, _ := d.post("/login", url.Values{"passphrase": {passphrase}}); code != 200 {
		t.Fatal(code)
	}
	d.post("/studies", url.Values{"title": {"Salt"}})
	var lost atomic.Bool
	gate := httptest.NewServer(cut(d.desk.Handler(), &lost))
	t.Cleanup(gate.Close)
	b := browser(t)
	p := newPerson(t, b, "lost-server", gate.URL, 820, 1180, false, &lost)
	p.open("/login?next=/studies/salt")
	p.fill("#passphrase", passphrase)
	p.click("main form[method=post] button")
	p.sees("Being planned:")
	typed := func(text string) {
		p.do(chromedp.Evaluate[chromedp.Void](`(() => { for (const d of document.querySelectorAll("details")) d.open = true; const e = document.querySelector('[name="set:claim.says"]'); e.value = ` + quoted(text) + `; e.dispatchEvent(new Event("input", {bubbles: true})); })()`))
	}
	save := func() {
		p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[name="set:claim.says"]').form.querySelector("button").click()`))
	}
	typed("early salt keeps it juicy")
	lost.Store(true)
	gate.CloseClientConnections()
	time.Sleep(2100 * time.Millisecond) // the server was heard of a moment ago
	save()
	p.sees("Not sent: the server does not answer")
	p.shot("lost")
	if got := p.list(`[document.querySelector('[name="set:claim.says"]').value]`); got[0] != "early salt keeps it juicy" {
		t.Errorf("what was typed is now %q", got[0])
	}
	lost.Store(false)
	save()
	p.waits(`document.readyState === "complete" && document.querySelector(".lost") === null`)
	p.sees("early salt keeps it juicy")
	saved := func(want string) {
		t.Helper()
		for range 100 { // an edit is shown before it is saved
			if d.record("salt").Study.Claim.Says == want {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Errorf("saved: %q", d.record("salt").Study.Claim.Says)
	}
	saved("early salt keeps it juicy")
	p.waits(`document.querySelector(".saving") === null`)

	// Signed out in the middle: sign in over the page, and the form goes on its way.
	typed("early salt keeps it juicier")
	if err := d.desk.s.access.signOutLeads(); err != nil {
		t.Fatal(err)
	}
	p.quiet.Store(true)
	save()
	p.sees("You are signed out: nothing was saved")
	p.check()
	p.shot("signed-out")
	p.fill("dialog #passphrase", passphrase)
	p.click("dialog form button")
	p.waits(`document.querySelector("dialog") === null && document.querySelector(".saving") === null`)
	p.sees("early salt keeps it juicier")
	saved("early salt keeps it juicier")
}

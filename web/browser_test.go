package web

import (
	"context"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

var look = flag.String("look", "", "folder to write screenshots into")

// program finds a browser by the names it may have, or skips the test where
// there is none; with TRIVET_BROWSER=1 its absence is a failure.
func program(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("TRIVET_BROWSER") == "1" {
		t.Fatalf("TRIVET_BROWSER is set and there is no %s in PATH", names[0])
	}
	t.Skipf("no %s in PATH", names[0])
	return ""
}

// browser starts a headless chromium, or skips the test where there is none;
// with TRIVET_BROWSER=1 its absence is a failure.
func browser(t *testing.T, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	return browserFor(t, 4*time.Minute, more...)
}

// browserFor is browser for a test that may take as long as that.
func browserFor(t *testing.T, most time.Duration, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	path := program(t, "chromium", "chromium-browser", "google-chrome")
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("disable-gpu", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true), chromedp.UserDataDir(t.TempDir()))
	opts = append(opts, more...)
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(func() { stop(); stopAlloc() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("starting %s: %v", path, err)
	}
	ctx, cancel := context.WithTimeout(ctx, most)
	t.Cleanup(cancel)
	return ctx
}

// person is somebody with a device: a browser context of their own, with its
// own cookies and storage.
type person struct {
	*testing.T
	ctx     context.Context
	name    string
	base    string
	offline *atomic.Bool
	quiet   atomic.Bool // what the browser logs is expected
	mu      sync.Mutex
	trouble []string
	also    []string // addresses beside base that may be asked
}

// allow lets the pages ask addresses that begin so.
func (p *person) allow(prefix string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.also = append(p.also, prefix)
}

func (p *person) mayAsk(address string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.ContainsFunc(p.also, func(prefix string) bool { return strings.HasPrefix(address, prefix) })
}

func newPerson(t *testing.T, browser context.Context, name, base string, width, height int64, dark bool, offline *atomic.Bool) *person {
	t.Helper()
	p := &person{T: t, name: name, base: base, offline: offline}
	note := func(format string, args ...any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.trouble = append(p.trouble, name+": "+fmt.Sprintf(format, args...))
	}
	ctx, stop := chromedp.NewContext(browser, chromedp.WithNewBrowserContext(), chromedp.WithListener(func(ev any) {
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			if u := ev.Request.URL; !strings.HasPrefix(u, base+"/") && !strings.HasPrefix(u, "data:font/") && u != "about:blank" && !p.mayAsk(u) {
				note("request for %s", u)
			}
		case *runtime.EventExceptionThrown:
			note("exception: %s", ev.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			note("console: %s", ev.Type)
		case *cdplog.EventEntryAdded:
			// A refused form is an answer with status 422, which Chromium logs.
			if !offline.Load() && !p.quiet.Load() && !strings.Contains(ev.Entry.Text, "status of 422") {
				note("log: %s %s", ev.Entry.Text, ev.Entry.URL)
			}
		}
	}))
	t.Cleanup(stop)
	p.ctx = ctx
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	enable := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		if _, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, t, cdplog.Enable, cdp.Empty{})
		return err
	})
	// What runs first makes the page, which lives as long as its context.
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height), enable); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	t.Cleanup(func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		for _, s := range p.trouble {
			t.Error(s)
		}
	})
	return p
}

func (p *person) do(steps ...chromedp.Action[chromedp.Void]) {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.shot("failure")
		p.Fatalf("%s: %v", p.name, err)
	}
}

func (p *person) open(path string) { p.Helper(); p.do(chromedp.Navigate(p.base + path)); p.check() }

// click clicks and, with it, waits for what comes after.
func (p *person) click(css string) {
	p.Helper()
	p.do(chromedp.Click(chromedp.CSS(css), chromedp.NodeVisible))
}

func (p *person) fill(css, text string) {
	p.Helper()
	p.do(chromedp.SetValue(chromedp.CSS(css), text))
}

func (p *person) sees(texts ...string) {
	p.Helper()
	var body string
	for range 100 {
		got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.readyState === "complete" ? document.body.innerText : ""`))
		if err == nil {
			body = got
			missing := false
			for _, t := range texts {
				missing = missing || !strings.Contains(body, t)
			}
			if !missing {
				return
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.shot("failure")
	p.Fatalf("%s does not see %q in:\n%s", p.name, texts, body)
}

func (p *person) shot(name string) {
	if *look == "" {
		return
	}
	b, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
	if err == nil {
		os.WriteFile(filepath.Join(*look, p.name+"-"+name+".png"), b, 0o644)
	}
}

// checks finds what would stop a finger, a keyboard or a screen reader: small
// targets, unnamed inputs, sideways scrolling, doubled ids, skipped headings,
// faint text, style attributes that the policy blocks.
const checks = `(() => {
  const bad = [];
  const vis = (e) => e.checkVisibility({ visibilityProperty: true }) && e.getBoundingClientRect().width > 0;
  if (document.documentElement.scrollWidth > document.documentElement.clientWidth) bad.push('the page is ' + document.documentElement.scrollWidth + ' wide of ' + document.documentElement.clientWidth);
  for (const [sel, n] of [['main', 1], ['head > title', 1], ['html[lang]', 1], ['a.skip', 1]])
    if (document.querySelectorAll(sel).length !== n) bad.push(sel + ' is not there ' + n + ' times');
  if ([...document.querySelectorAll('h1')].filter(vis).length !== 1) bad.push('not one h1 in view');
  const seen = new Set();
  for (const e of document.querySelectorAll('[id]')) { if (seen.has(e.id)) bad.push('id twice: ' + e.id); seen.add(e.id); }
  for (const e of document.querySelectorAll('[aria-labelledby],[aria-describedby]'))
    for (const a of ['aria-labelledby', 'aria-describedby'])
      for (const id of (e.getAttribute(a) || '').split(' ').filter(Boolean)) if (!seen.has(id)) bad.push('named by nothing: ' + id);
  for (const e of document.querySelectorAll('input:not([type=hidden]):not([hidden]),select,textarea'))
    if (!e.labels.length && !e.getAttribute('aria-label')) bad.push('no label: ' + e.name);
  for (const f of document.querySelectorAll('fieldset')) if (!f.querySelector(':scope > legend')?.textContent.trim()) bad.push('fieldset without legend');
  for (const b of document.querySelectorAll('button')) if (!(b.textContent.trim() || b.getAttribute('aria-label'))) bad.push('unnamed button');
  for (const t of document.querySelectorAll('table')) {
    if (!t.caption || !t.caption.textContent.trim()) bad.push('table without caption');
    for (const th of t.querySelectorAll('th')) if (!th.scope) bad.push('th without scope');
  }
  for (const s of document.querySelectorAll('svg:not([aria-hidden=true] *)')) if (s.getAttribute('role') !== 'img' || !s.querySelector(':scope > title')) bad.push('svg without role or title');
  for (const e of document.querySelectorAll('button,.button,summary,.choices label,select,input:not([type=hidden]):not([type=radio]):not([type=checkbox]),textarea')) {
    const r = e.getBoundingClientRect();
    if (vis(e) && (r.height < 47.5 || r.width < 47.5)) bad.push('small target ' + Math.round(r.width) + ' × ' + Math.round(r.height) + ': ' + (e.textContent.trim() || e.name));
  }
  if (document.querySelectorAll('[style]:not(.canvas *)').length) bad.push('style attributes');
  if (document.querySelector('script:not([src])')) bad.push('a script in the page');
  let level = 0;
  for (const h of [...document.querySelectorAll('h1,h2,h3,h4')].filter(vis)) { const l = +h.tagName[1]; if (l > level + 1) bad.push('heading skips a level: ' + h.textContent); level = l; }
  const lum = (c) => { const [r, g, b] = c.match(/[\d.]+/g).map(Number).map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const paper = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\)$/.test(c)) return c; } return 'rgb(255, 255, 255)'; };
  for (const e of document.querySelectorAll('p,li,h1,h2,h3,dt,dd,span,label,button:enabled,th,td,caption,legend,summary,strong')) {
    if (!vis(e) || ![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())) continue;
    const [a, b] = [lum(getComputedStyle(e).color), lum(paper(e))].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) bad.push('contrast ' + ((a + 0.05) / (b + 0.05)).toFixed(2) + ': ' + e.textContent.slice(0, 40));
  }
  return [...new Set(bad)];
})()`

func (p *person) check() {
	p.Helper()
	found, err := chromedp.Run(p.ctx, chromedp.Evaluate[[]string](checks))
	if err != nil {
		p.Fatal(err)
	}
	for _, f := range found {
		at, _ := chromedp.Run(p.ctx, chromedp.Location())
		p.Errorf("%s at %s: %s", p.name, strings.TrimPrefix(at, p.base), f)
	}
}

func (p *person) list(script string) []string {
	p.Helper()
	got, err := chromedp.Run(p.ctx, chromedp.Evaluate[[]string](script))
	if err != nil {
		p.Fatalf("%s: %v", p.name, err)
	}
	return got
}

// The whole of a tasting by clicks: lead at a desk, server with a tablet,
// assessors with phones, one of whom loses the connection and one of whom
// has a keyboard only.
func TestATastingInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	b := browser(t)
	k := openKitchen(t, Options{})
	var offline atomic.Bool
	inner := pagesSeen.around(k.app.Handler())
	gate := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if offline.Load() {
			panic(http.ErrAbortHandler) // the connection is cut without an answer
		}
		inner.ServeHTTP(w, r)
	}))
	t.Cleanup(gate.Close)

	lead := newPerson(t, b, "lead", gate.URL, 1280, 900, false, &offline)
	lead.open("/")
	lead.shot("desk")
	lead.click("a.button")
	lead.sees("Set up a tasting", "What is compared")
	lead.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('details').forEach(d => d.open = true)`))
	lead.check()
	lead.shot("new")
	lead.fill("#title", "Potatoes, salted")
	lead.fill("#assessors", "3")
	lead.fill("#rounds", "2")
	lead.fill("#rest_s", "1")
	lead.fill("#passphrase", passphrase)
	lead.fill("#passphrase2", "something else entirely")
	lead.click("main form[method=post] > p > button")
	lead.sees("The two passphrases differ")
	if got := lead.list(`[document.querySelector('#title').value, document.activeElement.id]`); got[0] != "Potatoes, salted" || got[1] != "problem" {
		t.Errorf("after a mistake the title is %q and focus is on %q", got[0], got[1])
	}
	lead.check()
	lead.shot("new-mistake")
	lead.fill("#passphrase", passphrase)
	lead.fill("#passphrase2", passphrase)
	lead.click("main form[method=post] > p > button")
	lead.sees("Locked", "0 of 6 ballots in", "P03")
	lead.check()
	lead.shot("tasting")
	links := lead.list(`[...document.querySelectorAll('#people code')].map(c => new URL(c.textContent).pathname)`)
	if len(links) != 6 {
		t.Fatalf("links %q", links)
	}

	server := newPerson(t, b, "server", gate.URL, 800, 1100, false, &offline)
	server.open(links[1])
	server.sees("wait: has not agreed yet")
	server.shot("trays")

	preparer := newPerson(t, b, "preparer", gate.URL, 800, 1100, true, &offline)
	preparer.open(links[0])
	preparer.sees("early-salt", "neither serves nor tastes")
	preparer.shot("carve")

	agree := func(p *person, link string) {
		t.Helper()
		p.open(link)
		p.sees("Before you taste", "celery")
		p.shot("door")
		p.click("input[name=consents][value=yes]")
		p.click("main form[method=post] button")
		p.sees("Set 1 of 2")
		p.check()
	}

	// A phone.
	one := newPerson(t, b, "phone", gate.URL, 360, 780, false, &offline)
	agree(one, links[3])
	one.shot("set")
	one.click("section.set:not([hidden]) form button") // nothing chosen: stays
	one.sees("Set 1 of 2")
	one.click("section.set:not([hidden]) .big li:nth-child(2) label")
	one.click("section.set:not([hidden]) input[name=sureness][value='1']")
	one.shot("chosen")
	one.click("section.set:not([hidden]) form button")
	one.sees("Pause", "0:0")
	one.shot("pause")
	one.sees("Your answer is kept.")
	one.do(chromedp.WaitEnabled(chromedp.CSS("#next")))
	one.click("#next")
	one.sees("Set 2 of 2")
	if got := one.list(`[document.activeElement.tagName]`); got[0] != "H1" {
		t.Errorf("focus on %s, want the heading of the new set", got[0])
	}
	one.do(chromedp.NavigateBack())
	one.open(links[3]) // back and again: the answered set does not come back
	one.sees("Set 2 of 2")

	// The connection is lost: the answer waits on the phone, is shown as
	// waiting after a reload is impossible, and arrives once.
	one.click("section.set:not([hidden]) .big li:nth-child(1) label")
	offline.Store(true)
	gate.CloseClientConnections()
	one.click("section.set:not([hidden]) form button")
	one.sees("Thank you", "Answers waiting on this phone: 1")
	one.check()
	one.shot("offline")
	offline.Store(false)
	one.sees("Your answer is kept.")
	one.shot("done")
	one.open(links[3])
	one.sees("All your answers are in")

	// A keyboard only, in the dark.
	two := newPerson(t, b, "keyboard", gate.URL, 390, 800, true, &offline)
	agree(two, links[4])
	key := func(keys ...string) {
		t.Helper()
		for _, s := range keys {
			two.do(chromedp.KeyEvent(s))
		}
	}
	two.shot("set")
	for range 40 { // to the first choice, wherever it stands
		key("\t")
		if two.list(`[document.activeElement.name || ""]`)[0] == "choice" {
			break
		}
	}
	key(" ")
	for range 40 {
		key("\t")
		if two.list(`[document.activeElement.tagName]`)[0] == "BUTTON" {
			break
		}
	}
	key("\r")
	two.sees("Pause")
	two.sees("You may open the next set.")
	two.do(chromedp.Focus(chromedp.CSS("#next")))
	key("\r")
	two.sees("Set 2 of 2")
	two.click("section.set:not([hidden]) .big li:nth-child(3) label")
	two.click("section.set:not([hidden]) form button")
	two.sees("Thank you", "Your answer is kept.")

	// A tablet: answers once and withdraws.
	three := newPerson(t, b, "tablet", gate.URL, 800, 1100, false, &offline)
	agree(three, links[5])
	three.shot("set")
	three.click("section.set:not([hidden]) .big li:nth-child(1) label")
	three.click("section.set:not([hidden]) form button")
	three.sees("Your answer is kept.")
	three.click("details.quiet summary")
	three.click("input[name=sure]")
	three.click("details.quiet button")
	three.sees("Ballots removed: 1")
	three.check()

	lead.open("/tastings/" + k.app.room.Tastings()[0].ID)
	lead.sees("4 of 6 ballots in", "withdrawn")
	lead.open("/tastings/" + k.app.room.Tastings()[0].ID + "/ballots")
	lead.shot("ballots")
	if *look != "" {
		for name, paper := range map[string][2]float64{"a4": {8.27, 11.69}, "letter": {8.5, 11}} {
			pdf, err := chromedp.Run(lead.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperSize{Width: paper[0], Height: paper[1]})))
			if err != nil {
				t.Fatal(err)
			}
			os.WriteFile(filepath.Join(*look, "ballots-"+name+".pdf"), pdf, 0o644)
		}
	}
	lead.open("/tastings/" + k.app.room.Tastings()[0].ID)
	lead.fill("#closing", passphrase)
	lead.click("section[aria-labelledby=close-h] input[name=sure]")
	lead.click("section[aria-labelledby=close-h] button")
	lead.sees("The key, revealed", "of 4", "1 assessor withdrew")
	lead.check()
	lead.shot("result")

	reader := newPerson(t, b, "reader", gate.URL, 360, 780, true, &offline)
	reader.open(links[2])
	reader.sees("The key, revealed")
	reader.shot("result")

	// What the clicks stored is what was scored.
	res, err := k.app.room.Result(context.Background(), k.app.room.Tastings()[0])
	if err != nil {
		t.Fatal(err)
	}
	if res.Received != 4 || res.Scored.Choice.N != 4 || res.Withdrawn != 1 {
		t.Errorf("received %d, scored %d, withdrawn %d; want 4, 4, 1", res.Received, res.Scored.Choice.N, res.Withdrawn)
	}
}

// In the kitchen's network a phone speaks plain HTTP, where a browser gives
// pages less: no secure context, no Sec-Fetch headers. Forms and the ballot's
// script must work there too.
func TestBallotInTheNetwork(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	// Not by its address: on loopback a browser would call the page secure.
	b := browser(t, chromedp.Flag("host-resolver-rules", "MAP "+kitchenName+" 127.0.0.1"))
	hash := passphraseHash(t)
	k := openKitchen(t, Options{Hosts: []string{kitchenName}, PassphraseHash: hash})
	base := strings.Replace(k.http.URL, "127.0.0.1", kitchenName, 1)
	plan := trianglePlan(2, 2)
	plan.Pace.SetSeconds = 1
	ta, s := k.open(plan)

	var offline atomic.Bool
	phone := newPerson(t, b, "network-phone", base, 390, 800, false, &offline)
	phone.open(seatLink(s, "P01"))
	if got := phone.list(`[String(window.isSecureContext)]`); got[0] != "false" {
		t.Fatalf("the context is secure: %s: nothing is tried here", got[0])
	}
	phone.click("input[name=consents][value=yes]")
	phone.click("main form[method=post] button")
	phone.sees("Set 1 of 2")
	phone.click("section.set:not([hidden]) .big li:nth-child(2) label")
	phone.click("section.set:not([hidden]) form button")
	phone.sees("Your answer is kept.")
	lead := newPerson(t, b, "network-lead", base, 1280, 900, true, &offline)
	lead.open("/tastings/" + ta.ID)
	lead.sees("Sign in as the lead")
	lead.shot("login")
	lead.fill("#passphrase", passphrase)
	lead.click("main form[method=post] button")
	lead.sees("1 of 4 ballots in", "Sign out")
	lead.check()
	lead.click("nav.top button")
	lead.sees("Sign in as the lead")
}

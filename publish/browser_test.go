package publish

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser starts a headless chromium, or skips the test where there is none;
// with TRIVET_BROWSER=1 its absence is a failure.
func browser(t *testing.T, listen func(any)) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("TRIVET_BROWSER") == "1" {
			t.Fatal("TRIVET_BROWSER is set and there is no chromium in PATH")
		}
		t.Skip("no chromium in PATH")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("disable-gpu", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true), chromedp.UserDataDir(t.TempDir()))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc, chromedp.WithListener(listen))
	t.Cleanup(func() { stop(); stopAlloc() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("starting %s: %v", path, err)
	}
	ctx, cancel := context.WithTimeout(ctx, 60*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// structure finds what assistive software would stumble over: unnamed
// figures and regions, headings that skip a level, tables without caption or
// scope, doubled ids, links to nowhere.
const structure = `(() => {
  const bad = [];
  const one = (sel, n) => { if (document.querySelectorAll(sel).length !== n) bad.push(sel + ' is not there ' + n + ' times'); };
  one('main', 1); one('h1', 1); one('head > title', 1); one('html[lang]', 1); one('a.skip[href="#answers"]', 1);
  const seen = new Set();
  for (const e of document.querySelectorAll('[id]')) { if (seen.has(e.id)) bad.push('id twice: ' + e.id); seen.add(e.id); }
  for (const a of document.querySelectorAll('a[href^="#"]')) if (!seen.has(a.getAttribute('href').slice(1))) bad.push('link to nowhere: ' + a.getAttribute('href'));
  for (const e of document.querySelectorAll('[aria-labelledby]'))
    for (const id of e.getAttribute('aria-labelledby').split(' ')) if (!seen.has(id) || !document.getElementById(id).textContent.trim()) bad.push('unnamed: ' + id);
  for (const s of document.querySelectorAll('svg')) {
    if (s.getAttribute('role') !== 'img') bad.push('svg without role');
    const d = s.querySelector(':scope > desc');
    if (!s.querySelector(':scope > title') || !d || !d.textContent.trim()) bad.push('svg without title or description');
  }
  for (const f of document.querySelectorAll('figure')) if (!f.querySelector('figcaption') || !f.querySelector('figcaption').textContent.trim()) bad.push('figure without caption');
  for (const t of document.querySelectorAll('table')) {
    if (!t.caption || !t.caption.textContent.trim()) bad.push('table without caption');
    for (const th of t.querySelectorAll('th')) if (!th.scope) bad.push('th without scope: ' + th.textContent);
    const n = t.querySelectorAll('thead th').length;
    for (const r of t.querySelectorAll('tbody tr')) if (r.children.length !== n) bad.push('ragged row in ' + t.caption.textContent);
  }
  const names = new Set();
  for (const e of document.querySelectorAll('section, nav, [role=region]')) {
    const by = e.getAttribute('aria-labelledby');
    const name = e.getAttribute('aria-label') || (by && document.getElementById(by).textContent) || '';
    if (!name || names.has(name)) bad.push('landmark without a name of its own: ' + name);
    names.add(name);
  }
  let level = 0;
  for (const h of document.querySelectorAll('h1,h2,h3,h4,h5,h6')) {
    const l = +h.tagName[1];
    if (l > level + 1) bad.push('heading skips a level: ' + h.textContent);
    level = l;
  }
  for (const d of document.querySelectorAll('dl > *')) if (!['DIV','DT','DD'].includes(d.tagName)) bad.push('dl holds ' + d.tagName);
  for (const l of document.querySelectorAll('ul > *, ol > *')) if (l.tagName !== 'LI') bad.push('list holds ' + l.tagName);
  if (document.querySelectorAll('script').length) bad.push('the page has a script');
  if (document.querySelectorAll('[style]').length) bad.push('style attributes, which the policy blocks');
  return bad;
})()`

// overflow lists what makes the page scroll sideways: nothing should.
const overflow = `(() => {
  const w = document.documentElement.clientWidth, out = [];
  if (document.documentElement.scrollWidth > w) out.push('page is ' + document.documentElement.scrollWidth + ' wide of ' + w);
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('.scroll') && !e.classList.contains('scroll') || e.closest('svg') || e.closest('.skip') || e.closest('details:not([open])')) continue;
    const r = e.getBoundingClientRect();
    if (r.width && (r.right > w + 1 || r.left < -1)) out.push(e.tagName + '.' + e.className + ' ends at ' + r.right);
  }
  return out;
})()`

func TestPageInABrowser(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "report")
	if err := WriteFolder(t.Context(), dir, sample(), []Extra{{Path: "data/extra.csv", What: "More", Write: text("a\r\n")}}); err != nil {
		t.Fatal(err)
	}
	address := (&url.URL{Scheme: "file", Path: filepath.Join(dir, "index.html")}).String()

	var mu sync.Mutex
	var trouble []string
	note := func(format string, args ...any) {
		mu.Lock()
		defer mu.Unlock()
		trouble = append(trouble, fmt.Sprintf(format, args...))
	}
	ctx := browser(t, func(ev any) {
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			if u := ev.Request.URL; u != address && !strings.HasPrefix(u, "data:") {
				note("request for %s", u)
			}
		case *runtime.EventExceptionThrown:
			note("exception: %s", ev.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			note("console: %s", ev.Type)
		case *cdplog.EventEntryAdded:
			note("log: %s", ev.Entry.Text)
		}
	})
	var found []string
	check := func(what string) {
		t.Helper()
		for _, f := range found {
			t.Errorf("%s: %s", what, f)
		}
	}
	enable := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, t, cdplog.Enable, cdp.Empty{})
		return err
	})
	if err := chromedp.Do(ctx, enable, chromedp.Navigate(address)); err != nil {
		t.Fatal(err)
	}
	list := func(script string) []string {
		t.Helper()
		found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](script))
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	found = list(structure)
	check("structure")
	for _, v := range []struct {
		name   string
		width  int64
		scheme string
	}{{"phone", 360, "light"}, {"phone", 390, "dark"}, {"tablet", 800, "light"}, {"tablet", 1010, "light"}, {"small desktop", 1160, "light"}, {"desktop", 1280, "light"}, {"desktop", 1280, "dark"}} {
		scheme := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: v.scheme}}})
			return err
		})
		if err := chromedp.Do(ctx, scheme, chromedp.EmulateViewport(v.width, 900)); err != nil {
			t.Fatal(err)
		}
		found = list(overflow)
		check(fmt.Sprintf("%s %d %s", v.name, v.width, v.scheme))
		if *look != "" {
			shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			os.WriteFile(filepath.Join(*look, "..", fmt.Sprintf("look-%s-%s.png", v.name, v.scheme)), shot, 0o644)
		}
		// With every fold open the page must still fit.
		found = list(`document.querySelectorAll('details').forEach(d => d.open = true); ` + overflow)
		check(fmt.Sprintf("%s %d unfolded", v.name, v.width))
		list(`document.querySelectorAll('details').forEach(d => d.open = false); []`)
	}
	// Dark paper is dark: the figures follow the page.
	colours := list(`[getComputedStyle(document.querySelector('svg text')).fill, getComputedStyle(document.documentElement).backgroundColor]`)
	ink, paper := colours[0], colours[1]
	if ink != "rgb(240, 237, 230)" || paper != "rgb(23, 22, 20)" {
		t.Errorf("in the dark, figure text is %s on %s", ink, paper)
	}
	// Paper of both standards.
	for name, inches := range map[string][2]float64{"a4": {8.27, 11.69}, "letter": {8.5, 11}} {
		pdf, err := chromedp.Run(ctx, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
			on := true
			res, err := cdp.Call(ctx, t, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: inches[0], PaperHeight: inches[1], PrintBackground: &on})
			return res.Data, err
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(pdf) < 20_000 {
			t.Errorf("%s: a PDF of %d bytes", name, len(pdf))
		}
		if *look != "" {
			os.WriteFile(filepath.Join(*look, "..", "look-"+name+".pdf"), pdf, 0o644)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	for _, s := range trouble {
		t.Error(s)
	}
}

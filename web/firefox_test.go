package web

import (
	"bufio"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"
	"github.com/coder/websocket/wsjson"
)

// firefox is a headless Firefox driven by WebDriver BiDi (W3C Working Draft
// "WebDriver BiDi", https://www.w3.org/TR/webdriver-bidi/): one window.
type firefox struct {
	testing.TB
	base, name string
	conn       *websocket.Conn
	window     string // the browsing context
	ctx        context.Context

	mu      sync.Mutex
	last    int
	waiting map[int]chan bidiAnswer
	trouble []string
}

type bidiAnswer struct {
	Type    string          `json:"type"`
	ID      int             `json:"id"`
	Method  string          `json:"method"`
	Result  json.RawMessage `json:"result"`
	Params  json.RawMessage `json:"params"`
	Error   string          `json:"error"`
	Message string          `json:"message"`
}

// openFirefox starts Firefox, or skips the test where there is none; with
// TRIVET_BROWSER=1 its absence is a failure. What a page requests from
// elsewhere than base, and what it logs as an error, fails the test. More
// settings are lines of a profile's user.js.
func openFirefox(t testing.TB, name, base string, width, height int, settings ...string) *firefox {
	t.Helper()
	path := program(t, "firefox-esr", "firefox")
	profile := t.TempDir()
	// Firefox asks its maker for news of several kinds; a test has no need of it.
	const prefs = `user_pref("app.normandy.enabled", false);
user_pref("app.update.enabled", false);
user_pref("browser.safebrowsing.malware.enabled", false);
user_pref("browser.safebrowsing.phishing.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("extensions.getAddons.cache.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
user_pref("toolkit.telemetry.enabled", false);
user_pref("services.settings.server", "http://127.0.0.1:1/none");
`
	if err := os.WriteFile(filepath.Join(profile, "user.js"), []byte(prefs+strings.Join(settings, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 120*time.Second)
	cmd := exec.CommandContext(ctx, path, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port=0")
	cmd.Env = append(os.Environ(), "MOZ_CRASHREPORTER_DISABLE=1", "MOZ_DISABLE_NONLOCAL_CONNECTIONS=1", "HOME="+profile)
	stderr, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cancel()
		cmd.Wait() // ended by the line before: its error says just that
	})
	address := ""
	lines := bufio.NewScanner(stderr)
	for address == "" && lines.Scan() {
		_, address, _ = strings.Cut(lines.Text(), "WebDriver BiDi listening on ")
	}
	if address == "" {
		t.Fatalf("%s never said where it listens", path)
	}
	go func() { // keep the pipe empty
		for lines.Scan() {
		}
	}()

	conn, _, err := websocket.Dial(ctx, strings.TrimSpace(address)+"/session", nil)
	if err != nil {
		t.Fatal(err)
	}
	conn.SetReadLimit(64 << 20)
	f := &firefox{TB: t, base: base, name: name, conn: conn, ctx: ctx, waiting: map[int]chan bidiAnswer{}}
	go f.read()
	t.Cleanup(func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		for _, s := range f.trouble {
			t.Errorf("%s: %s", name, s)
		}
	})
	f.call("session.new", map[string]any{"capabilities": map[string]any{}}, nil)
	f.call("session.subscribe", map[string]any{"events": []string{"log.entryAdded", "network.beforeRequestSent"}}, nil)
	var tree struct {
		Contexts []struct {
			Context string `json:"context"`
		} `json:"contexts"`
	}
	f.call("browsingContext.getTree", map[string]any{}, &tree)
	f.window = tree.Contexts[0].Context
	f.call("browsingContext.setViewport", map[string]any{"context": f.window, "viewport": map[string]int{"width": width, "height": height}}, nil)
	return f
}

// read hands answers to those who wait for them and keeps what went wrong.
func (f *firefox) read() {
	for {
		var a bidiAnswer
		if err := wsjson.Read(f.ctx, f.conn, &a); err != nil {
			return
		}
		f.mu.Lock()
		switch a.Method {
		case "log.entryAdded":
			var e struct{ Level, Text string }
			json.Unmarshal(a.Params, &e)
			// Firefox says this of an image whose page is left while it loads, as
			// this test does; whether images are whole, [firefox.check] looks.
			if e.Level == "error" && !strings.HasPrefix(e.Text, "Image corrupt or truncated") {
				f.trouble = append(f.trouble, "log: "+e.Text)
			}
		case "network.beforeRequestSent":
			var e struct {
				Request struct{ URL string }
			}
			json.Unmarshal(a.Params, &e)
			if u := e.Request.URL; !strings.HasPrefix(u, f.base+"/") && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "blob:") && !strings.HasPrefix(u, "about:") {
				f.trouble = append(f.trouble, "request for "+u)
			}
		default:
			if ch := f.waiting[a.ID]; ch != nil {
				delete(f.waiting, a.ID)
				ch <- a
			}
		}
		f.mu.Unlock()
	}
}

func (f *firefox) call(method string, params any, into any) {
	f.Helper()
	f.mu.Lock()
	f.last++
	id, ch := f.last, make(chan bidiAnswer, 1)
	f.waiting[id] = ch
	f.mu.Unlock()
	if err := wsjson.Write(f.ctx, f.conn, map[string]any{"id": id, "method": method, "params": params}); err != nil {
		f.Fatalf("%s: %s: %v", f.name, method, err)
	}
	select {
	case a := <-ch:
		if a.Type == "error" {
			f.Fatalf("%s: %s: %s: %s", f.name, method, a.Error, a.Message)
		}
		if into != nil {
			if err := json.Unmarshal(a.Result, into); err != nil {
				f.Fatalf("%s: %s: %v in %s", f.name, method, err, a.Result)
			}
		}
	case <-f.ctx.Done():
		f.Fatalf("%s: %s: no answer", f.name, method)
	}
}

func (f *firefox) open(path string) {
	f.Helper()
	f.call("browsingContext.navigate", map[string]any{"context": f.window, "url": f.base + path, "wait": "complete"}, nil)
}

// reload is the browser's own button.
func (f *firefox) reload() {
	f.Helper()
	f.call("browsingContext.reload", map[string]any{"context": f.window, "wait": "complete"}, nil)
}

// back is the browser's own button.
func (f *firefox) back() {
	f.Helper()
	f.call("browsingContext.traverseHistory", map[string]any{"context": f.window, "delta": -1}, nil)
}

// printed is the page as the browser prints it, a PDF.
func (f *firefox) printed() []byte {
	f.Helper()
	var got struct{ Data string }
	f.call("browsingContext.print", map[string]any{"context": f.window}, &got)
	b, err := base64.StdEncoding.DecodeString(got.Data)
	if err != nil {
		f.Fatalf("%s: printing: %v", f.name, err)
	}
	return b
}

// eval gives an expression's value, waited for where it is a promise, by way
// of JSON.
func (f *firefox) eval(expression string, into any) {
	f.Helper()
	var got struct {
		Type             string
		Result           struct{ Value json.RawMessage }
		ExceptionDetails struct{ Text string }
	}
	f.call("script.evaluate", map[string]any{"expression": "(async () => JSON.stringify((await (" + expression + ")) ?? null))()",
		"awaitPromise": true, "target": map[string]any{"context": f.window}}, &got)
	if got.Type == "exception" {
		f.Fatalf("%s: %s: %s", f.name, expression, got.ExceptionDetails.Text)
	}
	var text string
	if err := json.Unmarshal(got.Result.Value, &text); err != nil {
		f.Fatalf("%s: %s: %v", f.name, expression, err)
	}
	if into != nil {
		if err := json.Unmarshal([]byte(text), into); err != nil {
			f.Fatalf("%s: %s gave %s: %v", f.name, expression, text, err)
		}
	}
}

// waits waits until an expression holds, across pages if need be.
func (f *firefox) waits(expression string) {
	f.Helper()
	for range 200 {
		var yes bool
		f.eval(`Boolean((() => { try { return `+expression+`; } catch { return false; } })())`, &yes)
		if yes {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	f.shot("failure")
	var said string
	f.eval(`[...document.querySelectorAll("[role=alert],[role=status],[data-said]")].map((e) => e.textContent.trim()).join(" | ")`, &said)
	f.Fatalf("%s: never came true: %s; the page says: %s", f.name, expression, said)
}

func (f *firefox) sees(texts ...string) {
	f.Helper()
	for _, s := range texts {
		f.waits(`document.body.innerText.includes(` + quoted(s) + `)`)
	}
}

// find gives the handle of one element, scrolled into view.
func (f *firefox) find(css string) map[string]any {
	f.Helper()
	f.waits(`document.querySelector(` + quoted(css) + `)?.checkVisibility()`)
	f.eval(`document.querySelector(`+quoted(css)+`).scrollIntoView({block: "center", behavior: "instant"})`, nil)
	var got struct {
		Nodes []struct {
			SharedID string `json:"sharedId"`
		} `json:"nodes"`
	}
	f.call("browsingContext.locateNodes", map[string]any{"context": f.window, "maxNodeCount": 1, "locator": map[string]any{"type": "css", "value": css}}, &got)
	if len(got.Nodes) == 0 {
		f.Fatalf("%s: %s is not on the page", f.name, css)
	}
	return map[string]any{"sharedId": got.Nodes[0].SharedID}
}

// click is a press and a release of the mouse in the middle of an element. A
// page that still moves can slip away under the pointer: a click that did not
// arrive is made again.
func (f *firefox) click(css string) {
	f.Helper()
	for range 3 {
		f.find(css)
		f.eval(`(() => { window.arrived = false; document.querySelector(`+quoted(css)+`).addEventListener("click", () => { window.arrived = true; }, {once: true, capture: true}); })()`, nil)
		f.pointer("mouse", css, 0)
		var missed bool
		f.eval(`window.arrived === false`, &missed) // on a new page it is undefined
		if !missed {
			return
		}
	}
	f.Fatalf("%s: no click arrives at %s", f.name, css)
}

// drag moves an element sideways with the mouse.
func (f *firefox) drag(css string, dx int) {
	f.Helper()
	f.pointer("mouse", css, dx)
}

func (f *firefox) pointer(kind, css string, dx int) {
	f.Helper()
	origin := map[string]any{"type": "element", "element": f.find(css)}
	steps := []map[string]any{{"type": "pointerMove", "x": 0, "y": 0, "origin": origin}, {"type": "pointerDown", "button": 0}}
	if dx != 0 {
		steps = append(steps, map[string]any{"type": "pointerMove", "x": dx, "y": 0, "origin": "pointer", "duration": 50})
	}
	steps = append(steps, map[string]any{"type": "pointerUp", "button": 0})
	f.call("input.performActions", map[string]any{"context": f.window, "actions": []map[string]any{
		{"type": "pointer", "id": "finger", "parameters": map[string]any{"pointerType": kind}, "actions": steps}}}, nil)
}

// fill clicks into a field and types over what stands there, key by key.
func (f *firefox) fill(css, text string) {
	f.Helper()
	f.click(css)
	f.eval(`document.querySelector(`+quoted(css)+`).select?.()`, nil)
	f.keys(text)
}

// keys types; "\uE004" is Tab, "\uE006" Enter, "\uE014" the right arrow
// (W3C WebDriver, "Keyboard actions", table of normalised key values).
func (f *firefox) keys(text string) {
	f.Helper()
	var steps []map[string]any
	for _, r := range text {
		steps = append(steps, map[string]any{"type": "keyDown", "value": string(r)}, map[string]any{"type": "keyUp", "value": string(r)})
	}
	f.call("input.performActions", map[string]any{"context": f.window, "actions": []map[string]any{{"type": "key", "id": "keyboard", "actions": steps}}}, nil)
}

// give puts a file into a file field.
func (f *firefox) give(css string, files ...string) {
	f.Helper()
	f.call("input.setFiles", map[string]any{"context": f.window, "element": f.find(css), "files": files}, nil)
}

// check is the list of checks that every page passes in the other browser too,
// and axe-core's.
func (f *firefox) check(axe string) {
	f.Helper()
	var found, violations []string
	f.eval(checks, &found)
	var broken []string
	f.eval(`Promise.all([...document.images].map(async (i) => { i.loading = "eager"; try { await i.decode(); return []; } catch { return ["broken image: " + i.src]; } })).then((all) => all.flat())`, &broken)
	found = append(found, broken...)
	f.eval(fmt.Sprintf(`(async () => { %s; return (await axe.run(document, {resultTypes: ["violations"]})).violations.map((v) => "axe: " + v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.target.join(" ")).join(" | ")); })()`, axe), &violations)
	var at string
	f.eval(`location.pathname + location.search`, &at)
	for _, s := range append(found, violations...) {
		if s == "style attributes" && strings.Contains(at, "/cooks/") {
			continue // the plot is laid out through the style object, which the policy allows
		}
		f.Errorf("%s at %s: %s", f.name, at, s)
	}
}

func (f *firefox) shot(name string) {
	if *look == "" {
		return
	}
	var got struct{ Data string }
	f.call("browsingContext.captureScreenshot", map[string]any{"context": f.window, "origin": "document"}, &got)
	if b, err := base64.StdEncoding.DecodeString(got.Data); err == nil {
		os.WriteFile(filepath.Join(*look, f.name+"-"+name+".png"), b, 0o644)
	}
}

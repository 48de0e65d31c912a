package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/tasting"
)

func TestEveryPageCarriesItsGuards(t *testing.T) {
	k := openKitchen(t, Options{})
	ta, s := k.open(trianglePlan(3, 1))
	k.app.vault.keep(ta.ID, s)
	for _, path := range []string{"/", "/tastings/new", "/tastings/" + ta.ID, "/tastings/" + ta.ID + "/ballots", "/nowhere", "/b/nothing", seatLink(s, "P01"),
		"/trays/" + s.Token(bench.Place{Role: tasting.Server}), "/watch/" + s.Token(bench.Place{Role: tasting.Reader}), "/carve/" + k.app.vault.of(ta.ID).carve} {
		p := k.device().get(path)
		csp := p.header.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", path, csp)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin", "Cache-Control": "no-store"} {
			if got := p.header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
		for _, bad := range []string{"<script>", "style=", "onclick", "http://www", "https://"} {
			if strings.Contains(p.body, bad) {
				t.Errorf("%s holds %q", path, bad)
			}
		}
	}
}

func TestForeignNamesAndForeignFormsAreRefused(t *testing.T) {
	k := openKitchen(t, Options{})
	ask := func(method, host string, header ...string) shown {
		req, err := http.NewRequest(method, k.http.URL+"/tastings/new", strings.NewReader(""))
		if err != nil {
			t.Fatal(err)
		}
		if host != "" {
			req.Host = host
		}
		for i := 0; i+1 < len(header); i += 2 {
			req.Header.Set(header[i], header[i+1])
		}
		return k.device().do(req)
	}
	for _, c := range []struct {
		name, method, host string
		header             []string
		status             int
	}{
		{"our own name", "GET", "", nil, 200},
		{"a name pointed here from elsewhere", "GET", "kitchen.example", nil, 421},
		{"localhost", "GET", "localhost:8137", nil, 200},
		{"six", "GET", "[::1]:8137", nil, 200},
		{"our own form", "POST", "", []string{"Sec-Fetch-Site", "same-origin"}, 404}, // and no study is named
		{"a form of another site", "POST", "", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"a form of another site, older browser", "POST", "", []string{"Origin", "http://elsewhere.example"}, 403},
		{"our own form, plain HTTP in the kitchen", "POST", "", []string{"Origin", k.http.URL}, 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			if p := ask(c.method, c.host, c.header...); p.status != c.status {
				t.Errorf("status %d, want %d: %s", p.status, c.status, p.body)
			}
		})
	}
}

func TestGuessingLinksIsSlow(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	k := openKitchen(t, Options{Now: func() time.Time { return now }})
	_, s := k.open(trianglePlan(3, 1))
	d := k.device()
	last := 0
	for range 25 {
		last = d.get("/b/AAAAAAAAAAAAAAAAAAAAAAAA").status
	}
	if last != 429 {
		t.Errorf("after 25 wrong links the status is %d, want 429", last)
	}
	k.has(d.get(seatLink(s, "P01")), 200) // a phone behind the same address goes on
	now = now.Add(time.Minute)
	if p := d.get("/b/AAAAAAAAAAAAAAAAAAAAAAAA"); p.status != 404 {
		t.Errorf("a minute later the status is %d, want 404", p.status)
	}
	// A flood on a good link is slowed, and other links go on.
	last = 0
	for range 80 {
		last = d.get(seatLink(s, "P02")).status
	}
	if last != 429 {
		t.Errorf("after 80 requests at once the status is %d, want 429", last)
	}
	k.has(d.get(seatLink(s, "P03")), 200)
}

func TestInTheNetworkTheLeadSignsIn(t *testing.T) {
	t.Parallel()
	hash := passphraseHash(t)
	if _, err := HashPassphrase("short"); err == nil {
		t.Error("a short passphrase is taken")
	}
	k := openKitchen(t, Options{PassphraseHash: hash})
	ta, s := k.open(trianglePlan(3, 1))
	stranger := k.device()
	for _, path := range []string{"/", "/tastings/new", "/tastings/" + ta.ID, "/tastings/" + ta.ID + "/ballots", "/tastings/" + ta.ID + "/ballots.pdf"} {
		if p := stranger.get(path); p.url != "/login" {
			t.Errorf("%s shows %s to a stranger", path, p.url)
		}
	}
	for _, path := range []string{"/tastings/new", "/tastings/" + ta.ID + "/unlock", "/tastings/" + ta.ID + "/close", "/tastings/" + ta.ID + "/withdraw", "/tastings/" + ta.ID + "/free", "/tastings/" + ta.ID + "/deviation"} {
		if p := stranger.post(path, url.Values{"passphrase": {passphrase}, "sure": {"yes"}, "seat": {"P01"}, "what": {"x"}}); p.status != 401 || !strings.Contains(p.body, "nothing was saved") {
			t.Errorf("%s does something for a stranger", path)
		}
	}
	if k.app.room.Closed(ta.ID) {
		t.Fatal("a stranger closed the tasting")
	}
	// A link is enough for its own work.
	k.has(stranger.get(seatLink(s, "P01")), 200, "Before you taste")
	k.has(stranger.post("/login", url.Values{"passphrase": {"something else"}}), 403, "not the one this server was started with")
	for next, want := range map[string]string{"/tastings/" + ta.ID: "/tastings/" + ta.ID, "//elsewhere.example": "/", "https://elsewhere.example/": "/", "/\\elsewhere.example": "/"} {
		lead := k.device()
		if p := lead.post("/login", url.Values{"passphrase": {passphrase}, "next": {next}}); p.url != want || p.status != 200 {
			t.Errorf("signing in for %q ends at %s, want %s", next, p.url, want)
		}
		if next == "/tastings/"+ta.ID {
			k.has(lead.get("/"), 200, "Potatoes", "Sign out")
			if p := lead.post("/logout", nil); p.url != "/login" {
				t.Errorf("signing out ends at %s", p.url)
			}
			if p := lead.get("/"); p.url != "/login" {
				t.Error("still signed in after signing out")
			}
		}
	}
	// The log names routes, signed in or not, and no link.
	if log := k.log.String(); !strings.Contains(log, `route="GET /b/{token}"`) || !strings.Contains(log, `route="GET /tastings/{id}"`) || strings.Contains(log, seatLink(s, "P01")) || strings.Contains(log, ta.ID) {
		t.Errorf("the log:\n%s", log)
	}
	last := 0
	for range 25 {
		last = stranger.post("/login", url.Values{"passphrase": {"wrong"}}).status
		if last == 429 {
			break
		}
	}
	if last != 429 {
		t.Errorf("passphrases can be guessed without end: status %d", last)
	}
}

// Links live through a restart, the preparer's too; the opened key does not.
func TestAfterARestart(t *testing.T) {
	k := openKitchen(t, Options{})
	ta, s := k.open(trianglePlan(3, 1))
	k.app.vault.keep(ta.ID, s)
	carve := "/carve/" + k.app.vault.of(ta.ID).carve
	k.has(k.device().get(carve), 200)
	link := seatLink(s, "P01")
	d := k.device()
	p := d.post(link+"/door", url.Values{"consents": {"yes"}})
	form := k.form(p)
	form.Set("choice", codesOf(ta, "P01")[0])

	k.start(Options{})
	k.has(d.get(link), 200, "Set 1 of 1")
	k.has(d.post(link+"/answer", form), 200, "All your answers are in")
	k.has(k.device().get(carve), 403, "ask the lead to open the key")
	lead := k.device()
	k.has(lead.get("/tastings/"+ta.ID), 200, "locked with the key", "1 of 3 ballots in")
	k.has(lead.post("/tastings/"+ta.ID+"/unlock", url.Values{"passphrase": {"not the right one"}}), 403, "does not open this key")
	k.has(lead.post("/tastings/"+ta.ID+"/unlock", url.Values{"passphrase": {passphrase}}), 200, link, "/carve/")
	k.has(k.device().get(carve), 200, "neither serves nor tastes")
	k.has(lead.post("/tastings/"+ta.ID+"/lock", nil), 200, "locked with the key")
	k.has(k.device().get(carve), 410, "The lead has ended this link")
	// The lead's browser has seen the key and may not taste.
	k.has(lead.get(seatLink(s, "P02")), 403, "used by the lead")
	// A seat that is free again asks again.
	e := k.device()
	k.has(e.post(seatLink(s, "P02")+"/door", url.Values{"consents": {"no"}}), 200, "You will not be served")
	k.has(lead.post("/tastings/"+ta.ID+"/free", url.Values{"seat": {"P02"}}), 200)
	k.has(k.device().get(seatLink(s, "P02")), 200, "Before you taste")
	k.has(lead.post("/tastings/"+ta.ID+"/free", url.Values{"seat": {"P01"}}), 422, "has answers")
}

func TestMistakesInTheFormOfANewTasting(t *testing.T) {
	k := openKitchen(t, Options{})
	good := func() url.Values {
		return url.Values{"study": {"salted-early-or-late"}, "title": {"Potatoes, typed with care"}, "method": {"triangle"}, "products": {"late-salt\nearly-salt"},
			"assessors": {"6"}, "rounds": {"1"}, "alpha": {"0.05"}, "pd": {"0.30"}, "aim": {"difference"}, "passphrase": {passphrase}, "passphrase2": {passphrase}}
	}
	for _, c := range []struct {
		name, field, value, says string
		status                   int
	}{
		{"no title", "title", " ", "The title is missing", 422},
		{"three products in a triangle", "products", "a\nb\nc", "compares two products", 422},
		{"one product twice", "products", "a\na", "has no name of its own", 422},
		{"no number", "assessors", "many", "not a number in range", 422},
		{"nobody", "assessors", "", "number of assessors is missing", 422},
		{"a twin", "people", "Ann: milk\nAnn", "pseudonym of their own", 422},
		{"an unknown allergen", "people", "P1: plutonium", "not an allergen code", 422},
		{"half a set", "rounds", "1.5", "not a whole number", 422},
		{"alpha", "alpha", "5", "not a number in range", 422},
		{"similarity without a size", "pd", "", "needs the size of difference", 422},
		{"effect twice", "dprime", "1", "given twice", 422},
		{"a piece of nothing", "pieces", "x, 1, middle-salt", "which is not compared", 422},
		{"half a piece", "pieces", "x, 1", "Line 1 is not piece, block, product", 422},
		{"no portions", "pieces", "x, 1, late-salt\ny, 1, early-salt", "portions carved from a piece are missing", 422},
		{"a short passphrase", "passphrase", "short", "differ", 422},
		{"an unknown method", "method", "guesswork", "No tasting method", 422},
		{"an unknown study", "study", "nothing", "No study", 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := &kitchen{T: t, app: k.app, http: k.http}
			form := good()
			form.Set(c.field, c.value)
			if c.name == "similarity without a size" {
				form.Set("aim", "similarity")
			}
			p := k.device().post("/tastings/new", form)
			k.has(p, c.status, c.says)
			if c.field != "title" && !strings.Contains(p.body, "Potatoes, typed with care") {
				t.Error("what was typed is lost")
			}
			if strings.Contains(p.body, passphrase) {
				t.Error("the passphrase is sent back")
			}
		})
	}
	if n := len(k.app.room.Tastings()); n != 0 {
		t.Errorf("%d tastings were made of mistakes", n)
	}
	form := good()
	form.Set("people", "P1\nP2: celery\nP3: undercooked")
	form.Set("allergens", "celery")
	form.Set("undercooked", "yes")
	k.has(k.device().post("/tastings/new", form), 200, "2 people were left out", "P1")
	// Who should not be served undercooked food is asked, and not served.
	ta := k.app.room.Tastings()[0]
	link := seatLink(k.app.vault.of(ta.ID).TastingSecrets, "P1")
	d := k.device()
	k.has(d.get(link), 200, "Food served undercooked", "Served undercooked")
	k.has(d.post(link+"/door", url.Values{"consents": {"yes"}, "not_undercooked": {"yes"}}), 200, "may be served undercooked, so you will not be served")
	large := good()
	large.Set("attributes", strings.Repeat("x", maxForm))
	if p := k.device().post("/tastings/new", large); p.status != 400 && p.status != 413 {
		t.Errorf("a form of %d bytes: status %d", maxForm, p.status)
	}
}

// Every sentence of pages and code is in the catalogue, and every one of the
// catalogue is used.
func TestTheCatalogueIsWhole(t *testing.T) {
	var text strings.Builder
	for _, pattern := range []string{"*.go", "templates/*.tmpl", "pages/*.tmpl"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") || strings.HasPrefix(name, "words") {
				continue
			}
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			text.Write(b)
		}
	}
	said, prefixes := 0, []string{}
	for _, m := range regexp.MustCompile(`\bsay(?: |\()"([a-z0-9-]+)"`).FindAllStringSubmatch(text.String(), -1) {
		said++
		if strings.HasSuffix(m[1], "-") {
			prefixes = append(prefixes, m[1])
		} else if _, ok := english[m[1]]; !ok {
			t.Errorf("no words for %q", m[1])
		}
	}
	if said < 200 {
		t.Errorf("only %d sentences found", said)
	}
	for k := range english {
		ok := strings.Contains(text.String(), `"`+k+`"`)
		for _, p := range prefixes {
			ok = ok || strings.HasPrefix(k, p)
		}
		if !ok {
			t.Errorf("%q is never said", k)
		}
	}
}

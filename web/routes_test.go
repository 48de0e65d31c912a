package web

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/time/rate"

	"trivet/bench"
	"trivet/study"
	"trivet/tasting"
)

// mayUse is who may use which route, once more and by hand: a route that is
// not here fails the tests, so that nobody adds one without thinking of who
// comes. "all" is everybody, signed in or not.
var mayUse = map[string][]string{
	"all": {"GET /ui/{name}", "GET /assets/{name}", "GET /favicon.ico", "GET /login", "POST /login", "POST /logout", "POST /units", "GET /alive", "GET /worker.js",
		"GET /certificate", "GET /certificate/trivet-kitchen-root.crt", "GET /certificate/trusted", "/"},
	"lead": {"GET /{$}", "GET /tastings", "POST /studies", "POST /import", "GET /trash", "GET /studies/{id}", "POST /studies/{id}/trash", "POST /studies/{id}/restore",
		"POST /studies/{id}/edit", "GET /studies/{id}/text", "POST /studies/{id}/text", "POST /studies/{id}/questions", "POST /studies/{id}/treatments", "POST /studies/{id}/order", "GET /studies/{id}/order", "POST /studies/{id}/entries", "POST /studies/{id}/undo", "GET /studies/{id}/pieces", "GET /studies/{id}/instruments", "GET /studies/{id}/trial",
		"POST /studies/{id}/seal", "POST /studies/{id}/look", "GET /studies/{id}/traces", "GET /studies/{id}/power", "GET /studies/{id}/margin", "GET /studies/{id}/figures/{figure}",
		"GET /studies/{id}/report", "GET /studies/{id}/report.zip", "GET /studies/{id}/package.zip", "GET /studies/{id}/sheets", "GET /studies/{id}/sheets.pdf", "GET /copy",
		"GET /studies/{id}/treatments/{treatment}", "POST /studies/{id}/treatments/{treatment}", "POST /studies/{id}/treatments/{treatment}/predict", "POST /studies/{id}/treatments/{treatment}/reshape", "POST /studies/{id}/cooks", "POST /studies/{id}/cooks/{cook}/role", "POST /studies/{id}/cooks/{cook}/clocks", "POST /studies/{id}/cooks/{cook}/channels",
		"POST /studies/{id}/links", "GET /links", "POST /links", "POST /links/handed/{link}", "POST /links/sessions/{session}", "POST /links/places/{link}", "POST /links/leads", "GET /audit",
		"GET /tastings/new", "POST /tastings/new", "GET /tastings/{id}", "POST /tastings/{id}/unlock", "POST /tastings/{id}/lock", "POST /tastings/{id}/free", "POST /tastings/{id}/withdraw",
		"POST /tastings/{id}/deviation", "POST /tastings/{id}/close", "GET /tastings/{id}/ballots", "GET /tastings/{id}/ballots.pdf"},
	"lead cook": {"GET /studies/{id}/cooks", "GET /studies/{id}/cooks/{cook}", "GET /studies/{id}/cooks/{cook}/traces", "POST /studies/{id}/cooks/{cook}/marks", "POST /studies/{id}/cooks/{cook}/day", "POST /studies/{id}/cooks/{cook}/sheet",
		"POST /studies/{id}/cooks/{cook}/weighings", "POST /studies/{id}/cooks/{cook}/readings", "POST /studies/{id}/cooks/{cook}/deviations", "POST /studies/{id}/cooks/{cook}/undo",
		"POST /studies/{id}/cooks/{cook}/photos", "GET /studies/{id}/cooks/{cook}/photos/{photo}", "POST /studies/{id}/cooks/{cook}/photos/{photo}", "GET /studies/{id}/load", "GET /studies/{id}/load/progress", "POST /studies/{id}/load", "POST /studies/{id}/load/{log}"},
	"cook":     {"GET /c/{token}", "POST /c/{token}"},
	"reader":   {"GET /r/{token}"},
	"watcher":  {"GET /watch/{token}"},
	"preparer": {"GET /carve/{token}"},
	"server":   {"GET /trays/{token}", "POST /trays/{token}"},
	"assessor": {"GET /b/{token}", "POST /b/{token}/door", "POST /b/{token}/answer", "POST /b/{token}/withdraw"},
	"newcomer": {"GET /enter/{token}", "POST /enter/{token}"}, // has a lead's link that nobody has used
}

// persona is a person with a browser and the links they were given.
type persona struct {
	name    string
	cookies map[string]string // sent under every name of the server
	links   []string          // random parts
}

// household is the whole app with a study, its cooks, an open tasting and
// somebody of every role.
type household struct {
	*deskServer
	host    string // by which they ask
	study   string
	tasting *bench.Tasting
	secrets *bench.TastingSecrets
	cook    study.Cook
	people  []*persona
}

const kitchenName = "kitchen.home.arpa"

func openHousehold(t *testing.T, secureURL string) *household {
	t.Helper()
	return openHouseholdAt(t, secureURL, kitchenTime)
}

func openHouseholdAt(t *testing.T, secureURL string, now func() time.Time) *household {
	t.Helper()
	hash := passphraseHash(t)
	root, err := OpenKitchenRoot(t.TempDir(), kitchenTime)
	if err != nil {
		t.Fatal(err)
	}
	h := &household{deskServer: openDeskWith(t, Options{PassphraseHash: hash, SecureURL: secureURL, Root: root, Hosts: []string{"127.0.0.1", kitchenName}}), study: "salted-early-or-late"}
	h.desk.s.opt.Now, h.desk.s.access.now, h.desk.s.vault.now = now, now, now
	h.desk.opt.Publishing = Publishing{ // where they are reached is what is asked
		Report:   func(context.Context, string, bool, io.Writer) error { return nil },
		Package:  func(context.Context, string, io.Writer) error { return nil },
		Notebook: func(context.Context, io.Writer) error { return nil }}
	ctx := context.Background()
	st, err := study.Parse("study.yaml", []byte(invented))
	if err != nil {
		t.Fatal(err)
	}
	if err := h.nb.PutStudy(ctx, st, []byte(invented), nil); err != nil {
		t.Fatal(err)
	}
	h.cook = study.Cook{ID: "0191f0d0-0000-7000-8000-000000000001", Label: "pot-1-early", Block: "pot 1", Treatment: "early-salt", Role: study.Planned}
	if err := h.nb.PutCook(ctx, h.study, h.cook); err != nil {
		t.Fatal(err)
	}
	s := h.desk.s
	s.guard.wrong, s.guard.links = newLimits(rate.Inf, 1, kitchenTime), newLimits(rate.Inf, 1, kitchenTime)
	if h.tasting, h.secrets, err = s.room.Open(ctx, trianglesWithPieces(4, 1), passphrase); err != nil {
		t.Fatal(err)
	}
	if err := s.vault.keep(h.tasting.ID, h.secrets); err != nil {
		t.Fatal(err)
	}
	hand := func(l handedLink) string {
		l.Until = now().Add(passTime)
		token, _, err := s.access.hand(l)
		if err != nil {
			t.Fatal(err)
		}
		return token
	}
	person := func(name string, links ...string) *persona {
		p := &persona{name, map[string]string{}, links}
		h.people = append(h.people, p)
		return p
	}
	person("stranger", "AAAAAAAAAAAAAAAAAAAAAAAA")
	person("server", h.secrets.Token(bench.Place{Role: tasting.Server}))
	person("assessor", h.secrets.Token(bench.Place{Role: tasting.Taster, Seat: "P01"}))
	person("watcher", h.secrets.Token(bench.Place{Role: tasting.Reader}))
	person("reader", hand(handedLink{Role: tasting.Reader, Study: h.study}))
	person("newcomer", hand(handedLink{Role: tasting.Lead, Once: true}))
	person("preparer", s.vault.of(h.tasting.ID).carve)
	cook := person("cook", hand(handedLink{Role: roleCook, Study: h.study}))
	if a := h.do(cook, "POST", "/c/"+cook.links[0], nil); a.status != 303 {
		t.Fatalf("a cook's link: %d %s", a.status, a.body)
	}
	lead := person("lead")
	h.signIn(lead)
	return h
}

func (h *household) signIn(lead *persona) {
	h.Helper()
	host := h.host
	h.host = "" // on the machine itself
	if a := h.do(lead, "POST", "/login", url.Values{"passphrase": {passphrase}}); a.status != 303 {
		h.Fatalf("signing in: %d %s", a.status, a.body)
	}
	h.host = host
}

// got is an answer without following where it leads.
type got struct {
	status int
	body   string
	header http.Header
}

func (h *household) do(p *persona, method, path string, form url.Values, header ...string) got {
	h.Helper()
	req, err := http.NewRequest(method, h.http.URL+path, strings.NewReader(form.Encode()))
	if err != nil {
		h.Fatal(err)
	}
	req.Header.Set("Accept", "application/json")
	if method != "GET" {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	for name, value := range p.cookies {
		req.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	if h.host != "" {
		req.Host = h.host
	}
	res, err := http.DefaultTransport.RoundTrip(req) // follows nothing
	if err != nil {
		h.Fatal(err)
	}
	defer res.Body.Close()
	for _, c := range res.Cookies() {
		p.cookies[c.Name] = c.Value
	}
	b, err := io.ReadAll(res.Body)
	if err != nil {
		h.Fatal(err)
	}
	return got{res.StatusCode, string(b), res.Header}
}

// refused tells whether an answer turns the person away.
func (g got) refused() bool {
	var e struct{ Error errorBody }
	json.Unmarshal([]byte(g.body), &e)
	switch e.Error.Code {
	case "link-unknown", "link-ended", "link-over", "signed-out", "roles-apart", "needs-tls", "key-locked", "too-many", "cross-site", "host-unknown":
		return true
	}
	to := g.header.Get("Location")
	return g.status == 401 || g.status == 403 || g.status == 303 && (strings.HasPrefix(to, "/login") || strings.HasPrefix(to, "/certificate"))
}

// fill puts real values into a pattern.
func (h *household) fill(pattern, token string) (method, path string) {
	x := route{Pattern: pattern}
	_, path, ok := strings.Cut(pattern, " ")
	if !ok {
		path = "/no-such-page"
	}
	id := h.study
	if strings.HasPrefix(path, "/tastings/") {
		id = h.tasting.ID
	}
	name := strings.TrimPrefix(h.desk.s.assets.path("page.css"), "/assets/")
	if strings.HasPrefix(path, "/ui/") {
		name = strings.TrimPrefix(h.desk.ui.path("desk.css"), "/ui/")
	}
	return x.method(), strings.NewReplacer("{$}", "", "{id}", id, "{cook}", h.cook.Label, "{treatment}", "early-salt", "{figure}", "power.csv", "{log}", strings.Repeat("a", 64), "{photo}", strings.Repeat("a", 64),
		"{link}", "nothing", "{name}", name, "{token}", token).Replace(path)
}

// harmless orders routes so that what ends things comes last.
func harmless(routes []route) []route {
	out := slices.Clone(routes)
	late := func(r route) int {
		return slices.Index([]string{"POST /studies/{id}/trash", "POST /tastings/{id}/lock", "POST /enter/{token}", "POST /logout"}, r.Pattern)
	}
	slices.SortStableFunc(out, func(a, b route) int { return late(a) - late(b) })
	return out
}

// Every route, as everybody: let in or turned away as the table says, over
// plain HTTP where there is no TLS, and where there is.
func TestEveryRouteAsEverybody(t *testing.T) {
	t.Parallel()
	allowed := map[string]map[string]bool{}
	for who, patterns := range mayUse {
		for _, p := range patterns {
			if allowed[p] != nil {
				t.Errorf("%s is listed twice", p)
			}
			allowed[p] = map[string]bool{}
			for _, w := range strings.Fields(who) {
				allowed[p][w] = true
			}
		}
	}
	for _, c := range []struct {
		name, secure, host string
		barred             []string // over plain HTTP where TLS is there
	}{
		{"no TLS", "", kitchenName, nil},
		{"on the machine itself", "https://" + kitchenName + ":8138", "", nil},
		{"plain HTTP beside TLS", "https://" + kitchenName + ":8138", kitchenName, []string{"lead", "preparer", "newcomer"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := openHousehold(t, c.secure)
			h.host = c.host
			routes := harmless(h.desk.s.table)
			seen := map[string]bool{}
			// What neither who serves nor who tastes may read.
			secret := []string{"late-salt", "early-salt", "pot-1-left", h.secrets.Salt, h.secrets.Key.Seed, h.desk.s.vault.of(h.tasting.ID).carve}
			tried := 0
			for _, p := range h.people {
				for _, r := range routes {
					seen[r.Pattern] = true
					who, known := allowed[r.Pattern]
					if !known {
						continue // told below
					}
					want := (who["all"] || who[p.name]) && !(slices.Contains(c.barred, p.name) && !who["all"])
					links := p.links
					if len(links) == 0 || !strings.Contains(r.Pattern, "{token}") {
						links = []string{"BBBBBBBBBBBBBBBBBBBBBBBB"}
					}
					for _, token := range links {
						method, path := h.fill(r.Pattern, token)
						form := url.Values{}
						if strings.HasSuffix(r.Pattern, "/unlock") {
							form.Set("passphrase", passphrase)
						}
						a := h.do(p, method, path, form)
						tried++
						in := !a.refused()
						if r.Pattern == "POST /login" || r.Pattern == "GET /login" || r.Pattern == "POST /logout" {
							in = a.status < 500 // for everybody, and turns away who types nothing
						}
						if in != want {
							t.Errorf("%s as %s: let in %v, want %v (%d %.200s)", r.Pattern, p.name, in, want, a.status, a.body)
						}
						if a.status >= 500 {
							t.Errorf("%s as %s: %d %.300s", r.Pattern, p.name, a.status, a.body)
						}
						if p.name == "server" || p.name == "assessor" || p.name == "watcher" || p.name == "stranger" {
							for _, x := range secret {
								if strings.Contains(strings.NewReplacer(path, "", url.QueryEscape(path), "").Replace(a.text()), x) { // what was asked for is no news
									t.Errorf("%s tells %s %q", r.Pattern, p.name, x)
								}
							}
						}
						h.guarded(t, r.Pattern, a)
					}
				}
			}
			for _, r := range routes {
				if allowed[r.Pattern] == nil {
					t.Errorf("%s is in nobody's list: say in mayUse who may use it", r.Pattern)
				}
			}
			for p := range allowed {
				if !seen[p] {
					t.Errorf("%s is listed and no route", p)
				}
			}
			if tried < 8*len(routes) {
				t.Errorf("only %d requests", tried)
			}
			// Every POST left a line, and no line holds a link.
			log := h.audit.String()
			for _, r := range routes {
				if r.method() == "POST" && !strings.HasSuffix(r.Pattern, "/predict") && !strings.Contains(log, `"route":"`+r.Pattern+`"`) {
					t.Errorf("%s left no line in the log of changes", r.Pattern)
				}
			}
			for _, p := range h.people {
				for _, link := range p.links {
					if strings.Contains(log, link) && p.name != "stranger" {
						t.Errorf("the log of changes holds the link of %s", p.name)
					}
				}
			}
		})
	}
}

// text is everything an answer tells.
func (g got) text() string {
	var b strings.Builder
	g.header.Write(&b)
	return b.String() + g.body
}

// guarded checks what every answer carries.
func (h *household) guarded(t *testing.T, pattern string, a got) {
	t.Helper()
	csp := a.header.Get("Content-Security-Policy")
	if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
		t.Errorf("%s: policy %q", pattern, csp)
	}
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin", "Strict-Transport-Security": ""} {
		if got := a.header.Get(name); got != want {
			t.Errorf("%s: %s is %q, want %q", pattern, name, got, want)
		}
	}
	if pattern != "GET /assets/{name}" && pattern != "GET /ui/{name}" && pattern != "GET /worker.js" && !strings.Contains(a.header.Get("Cache-Control"), "no-store") {
		t.Errorf("%s may be kept: %q", pattern, a.header.Get("Cache-Control"))
	}
	for _, c := range a.header["Set-Cookie"] {
		if !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=") {
			t.Errorf("%s sets %q", pattern, c)
		}
	}
}

// Every route that changes something refuses a form of another site, and
// every route a foreign name, whoever asks.
func TestEveryRouteRefusesForeignForms(t *testing.T) {
	t.Parallel()
	h := openHousehold(t, "")
	for _, r := range h.desk.s.table {
		for _, p := range h.people {
			token := "BBBBBBBBBBBBBBBBBBBBBBBB"
			if len(p.links) > 0 {
				token = p.links[0]
			}
			method, path := h.fill(r.Pattern, token)
			if method == "POST" {
				for _, header := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "http://elsewhere.example"}, {"Origin", "null"}} {
					if a := h.do(p, method, path, url.Values{"sure": {"yes"}}, header...); a.status != 403 {
						t.Errorf("%s as %s takes a form with %v: %d", r.Pattern, p.name, header, a.status)
					}
				}
			}
			h.host = "kitchen.example"
			if a := h.do(p, method, path, nil); a.status != 421 {
				t.Errorf("%s as %s answers to a foreign name: %d", r.Pattern, p.name, a.status)
			}
			h.host = ""
		}
	}
}

// Links and passphrases can be guessed at on no route without end, and good
// links go on working meanwhile.
func TestGuessingIsSlowOnEveryRoute(t *testing.T) {
	t.Parallel()
	h := openHousehold(t, "")
	s := h.desk.s
	stranger, assessor := h.people[0], h.people[2]
	n := 0
	for _, r := range s.table {
		guess := strings.Contains(r.Pattern, "{token}") || r.Pattern == "POST /login" || r.Pattern == "POST /tastings/{id}/unlock"
		if !guess {
			continue
		}
		n++
		s.guard.wrong = newLimits(rate.Every(time.Hour), 3, kitchenTime)
		p, last := stranger, 0
		if r.Who == leadAlone {
			p = h.people[len(h.people)-1]
		}
		for range 5 {
			method, path := h.fill(r.Pattern, newToken())
			last = h.do(p, method, path, url.Values{"passphrase": {"a guess of many words"}}).status
		}
		if last != 429 {
			t.Errorf("%s: the fifth guess is answered with %d", r.Pattern, last)
		}
		if a := h.do(assessor, "GET", "/b/"+assessor.links[0], nil); a.status != 200 {
			t.Errorf("after guesses at %s a good link is answered with %d", r.Pattern, a.status)
		}
	}
	if n < 14 {
		t.Errorf("only %d routes where something can be guessed", n)
	}
	for _, c := range []struct{ a, b string }{{"192.0.2.7:1000", "192.0.2.7:2000"}, {"[2001:db8::1]:1", "[2001:db8::ffff]:1"}, {"[::ffff:192.0.2.7]:1", "192.0.2.7:1"}} {
		if a, b := networkOf(&http.Request{RemoteAddr: c.a}), networkOf(&http.Request{RemoteAddr: c.b}); a != b {
			t.Errorf("guesses from %s and %s are counted apart: %s, %s", c.a, c.b, a, b)
		}
	}
}

// Time, the lead and a restart end what was handed out, and the person is
// told which.
func TestEndedLinksAndSessionsSayWhy(t *testing.T) {
	t.Parallel()
	clock := &kitchenClock{time.Now()}
	h := openHouseholdAt(t, "", clock.now)
	by := map[string]*persona{}
	for _, p := range h.people {
		by[p.name] = p
	}
	lead := by["lead"]
	says := func(p *persona, path string, status int, texts ...string) {
		t.Helper()
		a := h.do(p, "GET", path, nil)
		for _, x := range texts {
			if a.status != status || !strings.Contains(a.body, x) {
				t.Errorf("%s as %s: %d, want %d and %q\n%.300s", path, p.name, a.status, status, x, a.body)
			}
		}
	}
	stove := "/studies/" + h.study + "/cooks"
	says(by["cook"], stove, 200, "Choose the cook")
	links, _ := h.desk.s.access.handed()
	for _, l := range links {
		if l.Role != roleCook {
			continue
		}
		if a := h.do(lead, "POST", "/links/handed/"+l.ID, nil); a.status != 422 {
			t.Errorf("revoked without being confirmed: %d", a.status)
		}
		says(by["cook"], stove, 200, "Choose the cook")
		if a := h.do(lead, "POST", "/links/handed/"+l.ID, url.Values{"sure": {"yes"}}); a.status != 303 {
			t.Errorf("revoking: %d", a.status)
		}
	}
	if a := h.do(by["cook"], "GET", stove, nil); !a.refused() {
		t.Error("a revoked link's browser is still in")
	}
	says(by["stranger"], "/c/"+by["cook"].links[0], 410, "The lead has ended this link")

	// A seat's link, ended and opened again.
	seat := "/b/" + by["assessor"].links[0]
	place := "/links/places/" + bench.LinkHash(by["assessor"].links[0])
	h.do(lead, "POST", place, url.Values{"sure": {"yes"}})
	says(by["assessor"], seat, 410, "The lead has ended this link")
	says(lead, "/links", 200, "Open again")
	h.do(lead, "POST", place, url.Values{"again": {"yes"}})
	says(by["assessor"], seat, 200, "Before you taste")
	if a := h.do(lead, "POST", "/links/places/nothing", url.Values{"sure": {"yes"}}); a.status != 404 {
		t.Errorf("a link of no tasting: %d", a.status)
	}

	// The preparer's link, ended: the lead has a new one at once.
	old := h.desk.s.vault.of(h.tasting.ID).carve
	for _, l := range links {
		if l.Role == tasting.Preparer {
			h.do(lead, "POST", "/links/handed/"+l.ID, url.Values{"sure": {"yes"}})
		}
	}
	says(by["preparer"], "/carve/"+old, 410, "The lead has ended this link")
	says(by["preparer"], "/carve/"+h.desk.s.vault.of(h.tasting.ID).carve, 200, "neither serves nor tastes")

	// A bad request for a link.
	for _, form := range []url.Values{{"role": {"server"}}, {"role": {"cook"}, "study": {h.study}, "hours": {"0"}}, {"role": {"cook"}, "study": {h.study}, "hours": {"721"}}, {"role": {"cook"}, "study": {h.study}, "name": {strings.Repeat("x", 61)}}, {"role": {"cook"}, "study": {"none"}}} {
		if a := h.do(lead, "POST", "/links", form); a.status != 422 && a.status != 404 {
			t.Errorf("%v: %d", form, a.status)
		}
	}

	clock.at = clock.at.Add(passTime + time.Minute)
	says(by["reader"], "/r/"+by["reader"].links[0], 410, "This link has expired")
	says(by["newcomer"], "/enter/"+by["newcomer"].links[0], 410, "This link has expired")
	if a := h.do(lead, "GET", "/links", nil); !a.refused() {
		t.Error("the lead is signed in after a day")
	}
	says(by["assessor"], seat, 200, "Before you taste")
	clock.at = clock.at.Add(placeTime)
	says(by["assessor"], seat, 410, "This link has expired")
}

// Nothing but handle registers a route.
func TestRoutesAreRegisteredInOnePlace(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	register := regexp.MustCompile(`mux\.Handle(Func)?\(`)
	n := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(b)) {
			if !register.MatchString(line) {
				continue
			}
			n++
			if name != "routes.go" && !strings.Contains(line, `d.mux.Handle("/", d.s.mux)`) {
				t.Errorf("%s registers a route past handle: %s", name, line)
			}
		}
	}
	if n != 2 {
		t.Errorf("%d registrations found", n)
	}
}

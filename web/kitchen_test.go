package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"trivet/bench"
	"trivet/store"
	"trivet/study"
	"trivet/tasting"
)

// invented is a small study: invented cooks of an invented kitchen.
const invented = `study: Salted early or late
invented: yes
claim: {says: "Early salt tastes different", scope: boiled potatoes, against: nobody can tell}
questions:
  - id: taste
    ask: Can people taste when the salt went in?
    tasting: {method: triangle, discriminators: 30 %, alpha: 0.05, beta: 0.10}
treatments:
  - {id: late-salt, control: true}
  - {id: early-salt}
blocks: {what: pot, count: 4, pieces: 2}
risk: {alpha: 0.05, power: 0.8, mode: fixed}
foods: {animal: none, eaten: yes, allergens: [celery]}
`

const passphrase = "four invented test words"

// passphraseHash is what a server is started with for the passphrase.
func passphraseHash(t testing.TB) string {
	t.Helper()
	hash, err := HashPassphrase(passphrase)
	if err != nil {
		t.Fatal(err)
	}
	return hash
}

// syncBuffer is a log that several requests write.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// kitchen is a server on a new notebook.
type kitchen struct {
	*testing.T
	app   *Server
	http  *httptest.Server
	store *store.Notebook
	path  string
	log   *syncBuffer
	now   func() time.Time
}

func openKitchen(t *testing.T, opt Options) *kitchen {
	t.Helper()
	k := &kitchen{T: t, path: filepath.Join(t.TempDir(), "kitchen.trivet"), log: &syncBuffer{}, now: time.Now}
	k.store = newNotebook(t, k.path)
	t.Cleanup(func() { k.store.Close() })
	k.start(opt)
	return k
}

// newNotebook makes a notebook that holds the invented study.
func newNotebook(t testing.TB, path string) *store.Notebook {
	t.Helper()
	ctx := context.Background()
	nb, err := store.Create(ctx, path, store.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	st, err := study.Parse("study.yaml", []byte(invented))
	if err != nil {
		t.Fatal(err)
	}
	if err := nb.PutStudy(ctx, st, []byte(invented), nil); err != nil {
		t.Fatal(err)
	}
	return nb
}

// start serves the notebook; started again it is as after a restart.
func (k *kitchen) start(opt Options) {
	k.Helper()
	if k.http != nil {
		k.http.Close()
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Random == nil {
		opt.Random = rand.Reader
	}
	opt.Log, opt.AccessFile = slog.New(slog.NewTextHandler(k.log, nil)), k.path+".access.json"
	app, err := New(context.Background(), k.store, opt)
	if err != nil {
		k.Fatal(err)
	}
	k.app, k.http = app, httptest.NewServer(pagesSeen.around(app.Handler()))
	k.Cleanup(k.http.Close)
}

// open deals a tasting directly, without the form.
func (k *kitchen) open(plan bench.TastingPlan) (*bench.Tasting, *bench.TastingSecrets) {
	k.Helper()
	t, s, err := k.app.room.Open(context.Background(), plan, passphrase)
	if err != nil {
		k.Fatal(err)
	}
	return t, s
}

func trianglePlan(assessors, rounds int) bench.TastingPlan {
	p := bench.TastingPlan{Study: "salted-early-or-late", Title: "Potatoes", Question: "taste", Invented: true,
		Rule:  tasting.Rule{Alpha: 0.05, Beta: 0.10, Discriminators: 0.30},
		Setup: tasting.Setup{Method: "triangle", Rounds: rounds, Products: []tasting.Product{{ID: "late-salt", Allergens: []string{"celery"}}, {ID: "early-salt"}}}}
	p.Setup.Assessors = seats(assessors)
	return p
}

func seats(n int) []tasting.Assessor {
	f := formReader{in: url.Values{"assessors": {number(float64(n))}}}
	return readPeople(&f)
}

// device is one person's browser.
type device struct {
	k *kitchen
	*http.Client
}

func (k *kitchen) device() *device {
	jar, err := cookiejar.New(nil)
	if err != nil {
		k.Fatal(err)
	}
	return &device{k, &http.Client{Jar: jar, Timeout: 30 * time.Second}}
}

// shown is what a request was answered with.
type shown struct {
	status int
	body   string
	header http.Header
	url    string
}

func (d *device) do(req *http.Request) shown {
	d.k.Helper()
	res, err := d.Do(req)
	if err != nil {
		d.k.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		d.k.Fatal(err)
	}
	return shown{res.StatusCode, string(b), res.Header, res.Request.URL.Path}
}

func (d *device) get(path string) shown {
	d.k.Helper()
	req, err := http.NewRequest("GET", d.k.http.URL+path, nil)
	if err != nil {
		d.k.Fatal(err)
	}
	return d.do(req)
}

func (d *device) post(path string, form url.Values, header ...string) shown {
	d.k.Helper()
	req, err := http.NewRequest("POST", d.k.http.URL+path, strings.NewReader(form.Encode()))
	if err != nil {
		d.k.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	return d.do(req)
}

func (k *kitchen) has(p shown, status int, texts ...string) {
	k.Helper()
	if p.status != status {
		k.Fatalf("%s: status %d, want %d\n%s", p.url, p.status, status, p.body)
	}
	for _, text := range texts {
		if !strings.Contains(p.body, text) {
			k.Fatalf("%s does not say %q\n%s", p.url, text, p.body)
		}
	}
}

var inputs = regexp.MustCompile(`<input type="hidden" name="(id|set)" value="([^"]+)">`)

// form reads the id and set of the first ballot of a page.
func (k *kitchen) form(p shown) url.Values {
	k.Helper()
	out := url.Values{}
	for _, m := range inputs.FindAllStringSubmatch(p.body, -1) {
		if !out.Has(m[1]) {
			out.Set(m[1], m[2])
		}
	}
	if out.Get("id") == "" || out.Get("set") == "" {
		k.Fatalf("no ballot on %s\n%s", p.url, p.body)
	}
	return out
}

func seatLink(s *bench.TastingSecrets, seat string) string {
	return "/b/" + s.Token(bench.Place{Role: tasting.Taster, Seat: seat})
}

package web

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"trivet/bench"
	"trivet/bundle"
	"trivet/fault"
	"trivet/logfile"
	"trivet/store"
	"trivet/study"
	"trivet/trace"
)

// deskServer is the whole app on a new, empty notebook.
type deskServer struct {
	testing.TB
	nb     *store.Notebook
	desk   *Desk
	http   *httptest.Server
	client *http.Client
	audit  *syncBuffer
}

func newClient() *http.Client {
	jar, _ := cookiejar.New(nil)
	return &http.Client{Jar: jar}
}

func openDesk(t testing.TB) *deskServer {
	t.Helper()
	return openDeskWith(t, Options{})
}

func openDeskWith(t testing.TB, opt Options) *deskServer {
	t.Helper()
	opt.Random, opt.Log = rand.Reader, slog.New(slog.DiscardHandler)
	if opt.Now == nil {
		opt.Now = time.Now
	}
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "desk.trivet")
	nb, err := store.Create(ctx, path, store.Options{Now: opt.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { nb.Close() })
	app, err := New(ctx, nb, opt)
	if err != nil {
		t.Fatal(err)
	}
	audit := &syncBuffer{}
	desk, err := NewDesk(app, nb, DeskOptions{OpenFolder: openFolder, Incoming: path + ".incoming", Maps: path + ".maps", Version: "test", Audit: audit})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(desk.Close)
	d := &deskServer{TB: t, nb: nb, desk: desk, http: httptest.NewServer(pagesSeen.around(desk.Handler())), client: newClient(), audit: audit}
	t.Cleanup(d.http.Close)
	return d
}

func openFolder(ctx context.Context, dir string) (bench.Reader, string, bool, error) {
	rd, err := bundle.Open(dir, bundle.Options{LoadLog: func(_ string, r io.Reader, _ []byte) ([]trace.Trace, []fault.Note, error) {
		log, err := logfile.Load(r, logfile.LoadOptions{})
		if err != nil {
			return nil, nil, err
		}
		var out []trace.Trace
		for _, t := range log.Traces {
			out = append(out, *t)
		}
		return out, nil, nil
	}})
	if err != nil {
		return nil, "", false, err
	}
	all, err := rd.Studies(ctx)
	if err != nil {
		return nil, "", false, err
	}
	return rd, all[0].ID, bundle.IsPackage(dir), nil
}

func (d *deskServer) get(path string) (int, string) {
	d.Helper()
	return d.whole(http.MethodGet, path, nil)
}

func (d *deskServer) post(path string, form url.Values) (int, string) {
	d.Helper()
	return d.whole(http.MethodPost, path, form)
}

// whole asks for a page and waits, as scripts do, until nothing of it is
// still to come.
func (d *deskServer) whole(method, path string, form url.Values) (int, string) {
	d.Helper()
	kind := ""
	if form != nil {
		kind = "application/x-www-form-urlencoded"
	}
	return d.ask(method, path, kind, form.Encode())
}

func (d *deskServer) ask(method, path, kind, content string) (int, string) {
	d.Helper()
	q, err := http.NewRequest(method, d.http.URL+path, strings.NewReader(content))
	if err != nil {
		d.Fatal(err)
	}
	q.Header.Set("X-Have", "plain")
	if kind != "" {
		q.Header.Set("Content-Type", kind)
	}
	r, err := d.client.Do(q)
	if err != nil {
		d.Fatal(err)
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	if r.StatusCode == http.StatusOK && bytes.Contains(b, []byte(" data-have=")) { // slow: ask again
		return d.ask(http.MethodGet, r.Request.URL.RequestURI(), "", "")
	}
	return r.StatusCode, string(b)
}

func (d *deskServer) upload(path, name string, content []byte) (int, string) {
	d.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	w, _ := m.CreateFormFile("file", name)
	w.Write(content)
	m.Close()
	return d.ask(http.MethodPost, path, m.FormDataContentType(), b.String())
}

func (d *deskServer) record(id string) *bench.Record {
	d.Helper()
	rec, err := d.nb.Record(context.Background(), id)
	if err != nil {
		d.Fatal(err)
	}
	return rec
}

func wants(t testing.TB, body string, texts ...string) {
	t.Helper()
	for _, x := range texts {
		if !strings.Contains(body, x) {
			t.Errorf("the page does not say %q", x)
		}
	}
}

func edit(form string, fields ...string) url.Values {
	v := url.Values{"form": {form}}
	for i := 0; i+2 < len(fields); i += 3 {
		v.Set("set:"+fields[i], fields[i+2])
		v.Set("was:"+fields[i], fields[i+1])
	}
	return v
}

func TestAStudyIsBegunWrittenAndSealed(t *testing.T) {
	d := openDesk(t)
	if code, body := d.get("/"); code != 200 || !strings.Contains(body, "Nothing here yet") {
		t.Fatalf("an empty desk: %d\n%s", code, body)
	}
	if code, body := d.post("/studies", url.Values{"title": {" "}}); code != 422 || !strings.Contains(body, "A study needs a title") {
		t.Errorf("a study without a title: %d", code)
	}
	_, body := d.post("/studies", url.Values{"title": {"Salt early or late"}})
	wants(t, body, "Salt early or late", "Being planned:", "No claim is written yet")
	const at = "/studies/salt-early-or-late"

	_, body = d.post(at+"/edit", edit("claim", "claim.says", "", "Early salt keeps a chop juicier", "claim.scope", "", "pork chops"))
	wants(t, body, "Early salt keeps a chop juicier", "Pork chops.")
	_, body = d.post(at+"/edit", edit("q-loss", "questions[loss].margin", "", "2 points", "questions[loss].ask", "Does the treatment lower the cooking loss?", "Does early salt lower the cooking loss?"))
	wants(t, body, "by at least 2 points", "teaspoons", "Does early salt lower the cooking loss?")

	// A margin that cannot be read: what was typed stays, with what is wrong.
	code, body := d.post(at+"/edit", edit("q-loss", "questions[loss].margin", "2 points", "two or so"))
	if code != 422 {
		t.Errorf("a bad margin: status %d", code)
	}
	wants(t, body, `value="two or so"`, `role="alert"`)
	if m := d.record("salt-early-or-late").Study.Questions[0].Margin.Text; m != "2 points" {
		t.Errorf("a refused edit changed the margin to %q", m)
	}

	d.post(at+"/edit", edit("plan", "blocks.what", "", "pork loin", "blocks.count", "", "8"))
	_, body = d.post(at+"/order", nil)
	wants(t, body, "The order of all 16 cooks")
	if code, body = d.post(at+"/seal", url.Values{}); code != 422 || !strings.Contains(body, "Sealing was not confirmed") {
		t.Errorf("sealing unasked: %d", code)
	}
	_, body = d.post(at+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	wants(t, body, "Sealed on", "Nothing that was sealed has changed")
	_, body = d.post(at+"/edit", edit("q-loss", "questions[loss].margin", "2 points", "3 points"))
	wants(t, body, "Changed since the seal", "2 points → 3 points")

	doc := string(d.record("salt-early-or-late").Document)
	wants(t, doc, "# in % of the raw mass", "# What differs, and nothing else.") // comments are kept
}

func TestTwoPeopleEditOneField(t *testing.T) {
	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"Salt"}})
	d.post("/studies/salt/edit", edit("claim", "claim.says", "", "mine first"))
	code, body := d.post("/studies/salt/edit", edit("claim", "claim.says", "", "yours second", "claim.scope", "", "chops"))
	if code != http.StatusConflict {
		t.Errorf("a stale edit: status %d", code)
	}
	wants(t, body, "Somebody else changed this", "mine first", "yours second", "chops")
	if got := d.record("salt").Study.Claim; got.Says != "mine first" || got.Scope != "" {
		t.Errorf("a stale edit was saved: %+v", got)
	}
	// Another field of the same form does not clash.
	d.post("/studies/salt/edit", edit("claim", "claim.says", "mine first", "mine first", "claim.scope", "", "chops"))
	if got := d.record("salt").Study.Claim; got.Says != "mine first" || got.Scope != "chops" {
		t.Errorf("an edit beside another's was lost: %+v", got)
	}
	// Whoever has seen both may decide.
	v := edit("claim", "claim.says", "", "yours second")
	v.Set("keep:claim.says", "mine")
	v.Set("seen:claim.says", "something older")
	if code, _ := d.post("/studies/salt/edit", v); code != http.StatusConflict {
		t.Errorf("a choice against a text that was not seen: status %d", code)
	}
	v.Set("seen:claim.says", "mine first")
	d.post("/studies/salt/edit", v)
	if got := d.record("salt").Study.Claim.Says; got != "yours second" {
		t.Errorf("a decided clash left %q", got)
	}
}

func TestTheDocumentAsText(t *testing.T) {
	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"Salt"}})
	rec := d.record("salt")
	text := strings.Replace(string(rec.Document), "count:  ", "count: seven", 1)
	code, body := d.post("/studies/salt/text", url.Values{"text": {text}, "base": {bench.HashOf(rec.Document)}})
	if code != 422 {
		t.Errorf("a document that cannot be read: status %d", code)
	}
	wants(t, body, "Where:", "line ", "count: seven")
	code, body = d.post("/studies/salt/text", url.Values{"text": {"study: Salt\n"}, "base": {"another"}})
	if code != http.StatusConflict {
		t.Errorf("a stale document: status %d", code)
	}
	wants(t, body, "What is saved now")
	good := strings.Replace(string(rec.Document), "says:", "says: salt early", 1)
	if code, _ = d.post("/studies/salt/text", url.Values{"text": {good}, "base": {bench.HashOf(rec.Document)}}); code != 200 {
		t.Errorf("a good document: status %d", code)
	}
	if code, body = d.post("/studies/salt/text", url.Values{"text": {"study: Pepper\n"}, "base": {bench.HashOf([]byte(good))}}); code != 422 || !strings.Contains(body, "another study") {
		t.Errorf("a document of another study: status %d", code)
	}
}

func TestTrashAndBack(t *testing.T) {
	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"Salt"}})
	_, body := d.post("/studies/salt/trash", nil)
	wants(t, body, "Salt", "Put it back")
	if _, body = d.get("/"); strings.Contains(body, "/studies/salt") {
		t.Error("a study in the trash is on the desk")
	}
	_, body = d.post("/studies/salt/restore", nil)
	wants(t, body, "The study was taken out of the trash.")
	if _, body = d.get("/?q=SAL"); !strings.Contains(body, "/studies/salt") {
		t.Error("a restored study is not found")
	}
	if _, body = d.get("/?q=pepper"); strings.Contains(body, "/studies/salt") {
		t.Error("a search finds what it should not")
	}
}

// demoZip packs the invented demo as a kitchen folder.
func demoZip(t testing.TB, demo *bench.Demo, document []byte, logs bool) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	put := func(name string, content []byte) {
		w, err := z.Create("kitchen/" + name)
		if err != nil {
			t.Fatal(err)
		}
		w.Write(content)
	}
	put("study.yaml", document)
	for name, content := range demo.CookFiles {
		put(name, content)
	}
	if logs {
		for _, c := range demo.Cooks {
			put("logs/"+c.LogName, c.Log)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var inventDemo = sync.OnceValues(func() (*bench.Demo, error) { return bench.MakeDemo(nil) })

func madeDemo(t testing.TB) *bench.Demo {
	t.Helper()
	if testing.Short() {
		t.Skip("the demo takes seconds to invent")
	}
	demo, err := inventDemo()
	if err != nil {
		t.Fatal(err)
	}
	return demo
}

func TestLogsWaitUntilTheyAreLoaded(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const at = "/studies/sear-first-or-sear-last"
	c := demo.Cooks[0]
	d.upload(at+"/load", c.LogName, c.Log)
	// A new server on the same notebook still has it.
	again, err := NewDesk(d.desk.s, d.nb, d.desk.opt)
	if err != nil {
		t.Fatal(err)
	}
	d.http.Config.Handler = again.Handler()
	_, body := d.get(at + "/load")
	wants(t, body, c.LogName, `value="`+c.Cook.Label+`"`, "Its ")
	code, body := d.post(at+"/load/"+bench.HashOf(c.Log), url.Values{"cook": {"nobody"}})
	if code == 200 {
		t.Error("a log was loaded into a cook that is not there")
	}
	wants(t, body, `value="nobody"`, c.LogName)
	_, body = d.post(at+"/load/"+bench.HashOf(c.Log), url.Values{"do": {"discard"}})
	if strings.Contains(body, c.LogName) {
		t.Error("a discarded log still waits")
	}
	if code, _ = d.upload(at+"/load", "photo.png", []byte("\x89PNG\r\n\x1a\n not a log")); code != 200 {
		t.Errorf("a wrong file: status %d", code)
	}
	_, body = d.get(at + "/load")
	wants(t, body, "photo.png", `role="alert"`)
}

func TestFiguresAsFiles(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const at = "/studies/sear-first-or-sear-last/figures/"
	for _, x := range []struct{ file, mime, begins string }{
		{"cut-face.svg", "image/svg+xml", "<?xml"},
		{"cut-face.png?size=1080p&paper=none", "image/png", "\x89PNG"},
		{"cut-face.pdf", "application/pdf", "%PDF"},
		{"cut-face.csv", "text/csv; charset=utf-8", "piece"},
	} {
		r, err := d.client.Get(d.http.URL + at + x.file)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if got := r.Header.Get("Content-Type"); r.StatusCode != 200 || got != x.mime || !strings.HasPrefix(string(b), x.begins) {
			t.Errorf("%s: status %d, %s, begins %.12q", x.file, r.StatusCode, got, b)
		}
	}
	if code, _ := d.get(at + "nothing.svg"); code != 422 && code != 404 {
		t.Errorf("an unknown figure: status %d", code)
	}
}

func TestCookFilesAsFormAndAsText(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const id, at = "sear-first-or-sear-last", "/studies/sear-first-or-sear-last/treatments/sear-first"
	_, body := d.get(at)
	wants(t, body, `name="leaf:piece.thickness" value="30 mm"`, `name="leaf:legs[2].ends_when.core" value="61.5 °C"`, "The core peaks at")
	src := string(d.record(id).CookFiles["cooks/sear-first.yaml"])
	form := url.Values{"view": {"form"}, "text": {src}, "base": {bench.HashOf([]byte(src))}, "leaf:piece.thickness": {"35 mm"}, "leaf:legs[1].turn.at": {"60 s, 2 min"}}
	_, part := d.post(at+"/predict", form)
	if strings.Contains(part, "<html") || !strings.Contains(part, "Pulled after") {
		t.Errorf("a prediction is no part of a page: %.200s", part)
	}
	d.post(at, form)
	got := string(d.record(id).CookFiles["cooks/sear-first.yaml"])
	want := strings.NewReplacer("thickness: 30 mm", "thickness: 35 mm", "at: [90 s]", "at: [60 s, 2 min]").Replace(src)
	if got != want {
		t.Errorf("the form changed more than its values:\n%s", got)
	}
	form.Set("leaf:piece.thickness", "a hand wide")
	form.Set("base", bench.HashOf([]byte(got)))
	form.Set("text", got)
	code, body := d.post(at, form)
	if code != 422 {
		t.Errorf("a bad thickness: status %d", code)
	}
	wants(t, body, "a hand wide", `role="alert"`)
	code, body = d.post(at, url.Values{"view": {"text"}, "text": {"piece: 3\n"}, "base": {"stale"}})
	if code != http.StatusConflict {
		t.Errorf("a stale cook file: status %d", code)
	}
	wants(t, body, "piece: 3")
}

func TestMarksMoveBackAndAreRecorded(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const id = "sear-first-or-sear-last"
	c := demo.Cooks[0]
	if err := d.nb.PutCook(context.Background(), id, c.Cook); err != nil {
		t.Fatal(err)
	}
	var turn study.Mark
	for _, m := range c.Cook.Marks {
		if m.Kind == study.Turn {
			turn = m
		}
	}
	at := "/studies/" + id + "/cooks/" + c.Cook.Label
	move := func(to, was string) (int, string) {
		return d.post(at+"/marks", url.Values{"mark": {turn.ID}, "at": {to}, "was": {was}})
	}
	move("1:40", clockOf(turn.AtUS))
	_, body := d.get(at)
	wants(t, body, `value="1:40"`, "was moved from "+clockOf(turn.AtUS)+" to 1:40")
	if code, _ := move("2:00", clockOf(turn.AtUS)); code == 200 {
		t.Error("a mark that somebody else moved was moved on")
	}
	move(clockOf(turn.AtUS), "1:40")
	for _, m := range d.record(id).Cooks[0].Marks {
		if m.ID == turn.ID && m.AtUS != turn.AtUS {
			t.Errorf("moved back to %d, not %d", m.AtUS, turn.AtUS)
		}
	}
	if code, _ := d.post(at+"/weighings", url.Values{"stage": {"raw"}, "mass": {"heavy"}}); code != 422 {
		t.Errorf("a mass in words: status %d", code)
	}
}

// A look at a sealed plan that is not finished is asked for, and recorded
// once.
func TestLookingEarlyIsRecorded(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const id = "sear-first-or-sear-last"
	d.post("/studies/"+id+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	for _, c := range demo.Cooks[:12] {
		if err := d.nb.PutCook(context.Background(), id, c.Cook); err != nil {
			t.Fatal(err)
		}
	}
	looks := func() (n int) {
		for _, e := range d.record(id).Events {
			if e.Kind == study.EventLooked {
				n++
			}
		}
		return n
	}
	_, body := d.get("/studies/" + id)
	wants(t, body, "Look at the answer now")
	if strings.Contains(body, `class="verdict`) {
		t.Error("the answer is shown before anybody asked")
	}
	d.get("/")
	if n := looks(); n != 0 {
		t.Errorf("%d looks before anybody looked", n)
	}
	_, body = d.post("/studies/"+id+"/look", nil)
	wants(t, body, `class="verdict`)
	d.get("/studies/" + id)
	d.get("/")
	if n := looks(); n != 1 {
		t.Errorf("%d looks after one", n)
	}
}

func TestZipsThatMustNotBeUnpacked(t *testing.T) {
	d := openDesk(t)
	made := func(name string) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		w, _ := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
		w.Write([]byte("study: x\n"))
		z.Close()
		return b.Bytes()
	}
	for name, content := range map[string][]byte{"no zip": []byte("hello"), "outside": made("../study.yaml"), "absolute": made("/etc/study.yaml"), "no study": made("readme.txt")} {
		if code, body := d.upload("/import", "x.zip", content); code < 400 || !strings.Contains(body, `role="alert"`) {
			t.Errorf("%s: status %d", name, code)
		} else if strings.Contains(body, os.TempDir()) {
			t.Errorf("%s: the page names a folder of the server", name)
		}
	}
}

func TestACooksLinkOpensTheStoveAlone(t *testing.T) {
	demo := madeDemo(t)
	hash := passphraseHash(t)
	d := openDeskWith(t, Options{PassphraseHash: hash})
	if code, body := d.post("/login", url.Values{"passphrase": {passphrase}, "next": {"/"}}); code != 200 || !strings.Contains(body, "Studies") {
		t.Fatalf("signing in: %d", code)
	}
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	const id = "sear-first-or-sear-last"
	c := demo.Cooks[0].Cook
	if err := d.nb.PutCook(context.Background(), id, c); err != nil {
		t.Fatal(err)
	}
	linkOf := func(role string) string {
		_, body := d.post("/studies/"+id+"/links", url.Values{"role": {role}})
		_, rest, ok := strings.Cut(body, `<a href="`+d.http.URL)
		if !ok {
			t.Fatalf("no link for %s", role)
		}
		link, _, _ := strings.Cut(rest, `"`)
		return link
	}
	cookLink, readerLink := linkOf("cook"), linkOf("reader")

	guest := &deskServer{TB: t, nb: d.nb, desk: d.desk, http: d.http, client: newClient()}
	_, body := guest.get("/studies/" + id + "/cooks/" + c.Label)
	wants(t, body, "passphrase") // a stranger is asked to sign in
	_, body = guest.get(cookLink)
	wants(t, body, "You come as a cook", "neither serve nor taste")
	_, body = guest.post(cookLink, nil)
	wants(t, body, "Choose the cook you are at", c.Label)
	_, body = guest.get("/studies/" + id + "/cooks/" + c.Label)
	wants(t, body, "would be a look at the answer")
	if strings.Contains(body, "cooking loss") {
		t.Error("a cook's link shows responses")
	}
	guest.post("/studies/"+id+"/cooks/"+c.Label+"/weighings", url.Values{"stage": {"cut"}, "mass": {"150 g"}})
	if n := len(d.record(id).Cooks[0].Weighings); n != len(c.Weighings)+1 {
		t.Errorf("a cook's weighing was not kept: %d", n)
	}
	before := string(d.record(id).Document)
	for _, path := range []string{"/", "/studies/" + id, "/studies/" + id + "/text", "/studies/" + id + "/figures/losses.csv", "/tastings", "/trash"} {
		if _, body := guest.get(path); !strings.Contains(body, `name="passphrase"`) {
			t.Errorf("a cook's link opens %s", path)
		}
	}
	for _, path := range []string{"/edit", "/seal", "/look", "/trash", "/links", "/cooks/" + c.Label + "/role"} {
		guest.post("/studies/"+id+path, url.Values{"sure": {"yes"}, "open": {"yes"}, "role": {"reader"}})
	}
	if rec := d.record(id); rec.Seal != nil || string(rec.Document) != before || bench.Trashed(rec.Events) || rec.Cooks[0].Role == study.Void {
		t.Error("a cook's link changed the plan")
	}
	reader := &deskServer{TB: t, nb: d.nb, desk: d.desk, http: d.http, client: newClient()}
	code, body := reader.get(readerLink)
	if code != 200 || !strings.Contains(body, "Searing a chop first") || strings.Contains(body, "<form") {
		t.Errorf("a reader's link: %d", code)
	}
	if _, body := reader.get("/studies/" + id + "/cooks/" + c.Label); !strings.Contains(body, `name="passphrase"`) {
		t.Error("a reader's link opens a cook")
	}
	if code, _ := reader.get("/c/" + strings.TrimPrefix(readerLink, "/r/")); code != 404 {
		t.Errorf("a reader's link opened as a cook's: %d", code)
	}
	for line := range strings.Lines(d.audit.String()) {
		for _, secret := range []string{passphrase, strings.TrimPrefix(cookLink, "/c/"), "150 g"} {
			if strings.Contains(line, secret) {
				t.Errorf("the audit log holds %q: %s", secret, line)
			}
		}
	}
	wants(t, d.audit.String(), `"role":"cook"`, `"route":"POST /studies/{id}/cooks/{cook}/weighings"`, `"role":"lead"`)
}

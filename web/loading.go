package web

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
	"trivet/study"
	"trivet/tasting"
)

const (
	maxUpload   = 512 << 20 // bytes of one request that carries files
	maxText     = 8 << 20   // bytes of a form with a whole study as text
	maxUnpacked = 2 << 30   // bytes a zip may unpack to
	maxEntries  = 50_000    // files in a zip
	maxStaged   = 200       // logs waiting for one study
)

// bodyLimit is the most bytes of a request: files may be large where files
// are taken, and nowhere else.
func bodyLimit(r *http.Request) int64 {
	if r.Method == http.MethodPost && (r.URL.Path == "/import" || strings.HasPrefix(r.URL.Path, "/studies/") && strings.HasSuffix(r.URL.Path, "/load")) {
		return maxUpload
	}
	if r.Method == http.MethodPost && strings.HasPrefix(r.URL.Path, "/studies/") && strings.HasSuffix(r.URL.Path, "/photos") {
		return maxPhotoForm
	}
	if r.Method == http.MethodPost && strings.HasPrefix(r.URL.Path, "/studies/") && strings.HasSuffix(r.URL.Path, "/text") {
		return maxText
	}
	return maxForm
}

type waitingView struct {
	waiting
	Size    string
	Cook    string // as its name tells
	Says    string
	By      string // the saved map it is read by
	Columns []columnView
	Times   []string // columns that may tell the time
	TimeIs  map[string]string
	Notes   []string
	Account []string   // what the dry run met
	Dates   *datesView // where day and month may be the other way round
	Error   *fault.Error
	Checked bool // a person asked to read it again
	Known   bool // the study holds this very file
	Large   bool // too large to be read to its end beforehand
}

type loadView struct {
	ID, Title string
	Logs      []waitingView
	Labels    []string
	Offered   []string // of the labels, as many as somebody may look through
	Done      []string
	Clocks    []clockOffer // of logs just loaded
	Refused   []string     // of all that were to be loaded
	Notes     []string
	Error     *fault.Error
	Places    []choice
	Units     []choice
	Sensors   []choice // the instruments of the study
	Forms     []choice
	LengthIn  string
	Most      int64 // bytes at once
	Words     map[string]string
	Ready     int          // logs whose cook is known
	HeatOn    string       // as typed for all logs
	HeatWrong *fault.Error // with that
}

func (d *Desk) loadPage(w http.ResponseWriter, r *http.Request) {
	d.opening(w, r, func(h *bench.Head) (frame, template.HTML) {
		return d.loadFrame(r, h.Study), d.title(say("load-h"))
	}, func(w http.ResponseWriter) { d.showLoad(w, r, http.StatusOK, loadView{}, "", nil, nil) })
}

func (d *Desk) loadFrame(r *http.Request, s *study.Study) frame {
	return frame{Title: say("load-title", s.Title), Invented: s.Invented, Script: "load", Study: s.ID, StudyName: s.Title, Guest: d.roleOf(r) != tasting.Lead}
}

func (d *Desk) showLoad(w http.ResponseWriter, r *http.Request, status int, v loadView, sha string, wrong *fault.Error, in map[string]string) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v.ID, v.Title, v.Most = rec.Study.ID, rec.Study.Title, maxUpload
	v.Labels = bench.Labels(rec)
	v.Offered = offered(rec, v.Labels)
	v.Words = map[string]string{"waits": say("send-waits"), "sending": say("send-sending"), "kept": say("send-kept"), "of": say("send-of"), "failed": say("send-failed"), "lost": say("send-lost"),
		"again": say("send-again"), "drop": say("send-drop"), "large": say("upload-large", sizeText(maxUpload)) + ": " + say("upload-large-fix") + "."}
	v.Units, v.LengthIn = logUnits, unitsOf(r).lengthUnit()
	for _, p := range logPlaces {
		v.Places = append(v.Places, choice{p, say("place-" + p)})
	}
	for _, x := range rec.Study.Instruments {
		v.Sensors = append(v.Sensors, choice{x.ID, x.ID})
	}
	for _, f := range timeForms {
		v.Forms = append(v.Forms, choice{string(f), say("time-" + string(f))})
	}
	all, err := d.staged(v.ID)
	if err != nil {
		if v.Error == nil {
			v.Error = d.s.publicFault(err)
		}
	}
	maps, unread := d.savedMaps()
	v.Notes = unread
	for _, x := range all {
		if x.SHA256 == sha && in != nil {
			x.In = in
		}
		l := d.inspect(rec, x, v.Labels, maps, unitsOf(r))
		if x.SHA256 == sha {
			l.Checked = true
			if wrong != nil {
				l.Error = wrong
			}
		}
		if l.Cook != "" && l.Error == nil && !l.Dates.open() {
			v.Ready++
		}
		v.Logs = append(v.Logs, l)
	}
	d.render(w, r, status, "loadpage", d.loadFrame(r, rec.Study), v)
}

// mostOffered is how many cooks are offered for a log; any other can be typed.
const mostOffered = 200

// offered are the labels of cooks that have no log yet, or of the others where
// there are none.
func offered(rec *bench.Record, labels []string) []string {
	logged := map[string]bool{}
	for _, c := range rec.Cooks {
		logged[c.Label] = len(c.Logs) > 0
	}
	out := slices.DeleteFunc(slices.Clone(labels), func(l string) bool { return logged[l] })
	if len(out) == 0 {
		out = labels
	}
	return out[:min(len(out), mostOffered)]
}

// inspect is the dry run of one log: what it seems to be or what somebody said
// of it, and what of it cannot be read.
func (d *Desk) inspect(rec *bench.Record, x waiting, labels []string, maps []keptMap, u units) waitingView {
	v := waitingView{waiting: x, Size: sizeText(x.Bytes)}
	if v.In == nil {
		v.In = map[string]string{}
	}
	for _, c := range rec.Cooks {
		for _, l := range c.Logs {
			v.Known = v.Known || l.SHA256 == x.SHA256
		}
	}
	if label, err := logfile.Assign(x.Name, labels); err == nil {
		v.Cook = label
	}
	if typed := v.In["cook"]; typed != "" {
		v.Cook = typed
	}
	dir, err := d.stageDir(rec.Study.ID)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	file := filepath.Join(dir, x.SHA256)
	read, err := d.readAs(file, maps)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	g, base := read.guess, read.base
	v.Says = say("log-says", string(g.Shape), g.Time.Column, string(g.Time.Form), g.Time.Why)
	if g.PeriodS > 0 {
		v.Says += " " + say("log-every", fmt.Sprintf("%.3g s", g.PeriodS))
	}
	v.By, v.Dates = read.by, datesOf(read, v.In)
	m, err := correctedMap(formOf(v.In), g, base, u)
	if err != nil {
		v.Error, m = d.s.publicFault(err), base
	}
	var bad map[string]map[logfile.ProblemKind]int
	log, err := d.dryRun(file, x.Bytes, m)
	switch {
	case err != nil && v.Error == nil:
		v.Error = d.s.publicFault(err)
	case log != nil:
		v.Account, bad = append(accountNotes(&log.Account), emptyShare(log)...), log.Account.Columns
	case err == nil:
		v.Large = true
	}
	v.TimeIs = map[string]string{"time-column": m.Time.Column, "time-form": string(m.Time.Form), "time-offset": m.Time.Offset}
	for key := range v.TimeIs {
		if typed, ok := v.In[key]; ok {
			v.TimeIs[key] = typed
		}
	}
	for _, c := range g.Columns {
		v.Times = append(v.Times, c.Name)
	}
	v.Columns = columnViews(g, m, v.In, u, bad)
	for _, n := range g.Notes {
		if v.Dates != nil && n.Code == "log-time-guess" {
			continue // the page asks
		}
		v.Notes = append(v.Notes, sentenceOf(n.Text))
	}
	return v
}

// readLog is what a waiting file seems to be and the map it is read by: one
// that was saved, or else the guess.
type readLog struct {
	guess *logfile.Guess
	base  *logfile.Map
	by    string              // the saved map
	dates *logfile.DateChoice // what the guess leaves open
}

func (d *Desk) readAs(file string, maps []keptMap) (readLog, error) {
	r, err := d.guessed(file)
	if err != nil {
		return r, err
	}
	if k, ok := mapFor(maps, r.guess); ok {
		return readLog{r.guess, k.Map, filepath.Base(k.file), nil}, nil
	}
	return r, nil
}

// guessed looks at a waiting file, once: it never changes.
func (d *Desk) guessed(file string) (readLog, error) {
	key := filepath.Base(file)
	d.mu.Lock()
	r, ok := d.guesses[key]
	d.mu.Unlock()
	if ok {
		return r, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return r, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	if r.guess, err = logfile.Inspect(f, logfile.Options{}); err != nil {
		return r, err
	}
	// Of a log too long to be read beforehand the beginning decides what is
	// asked; what cannot be read here is told by the dry run.
	if choice, err := logfile.ChooseDates(io.NewSectionReader(f, 0, mostDry), r.guess, logfile.Options{}); err == nil {
		r.dates = choice
	}
	r.base = r.guess.Map()
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.guesses == nil || len(d.guesses) > maxStaged {
		d.guesses = map[string]readLog{}
	}
	d.guesses[key] = r
	return r, nil
}

// formOf is a form that was kept.
func formOf(in map[string]string) *http.Request {
	r := &http.Request{PostForm: url.Values{}}
	for key, v := range in {
		r.PostForm.Set(key, v)
	}
	return r
}

func sizeText(n int64) string {
	switch {
	case n < 10_000:
		return fmt.Sprintf("%d B", n)
	case n < 10_000_000:
		return fmt.Sprintf("%d kB", n/1000)
	}
	return fmt.Sprintf("%d MB", n/1_000_000)
}

// loadStaged loads one waiting log into a cook, reads it again as somebody
// says, or puts it aside; "all" loads every one whose cook is known.
func (d *Desk) loadStaged(w http.ResponseWriter, r *http.Request) {
	id, sha := r.PathValue("id"), r.PathValue("log")
	defer d.writing(id)()
	if sha == "all" {
		d.loadAll(w, r, id)
		return
	}
	dir, err := d.stageDir(id)
	if err != nil || !hexName.MatchString(sha) {
		d.s.fail(w, r, http.StatusNotFound, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix")))
		return
	}
	file := filepath.Join(dir, sha)
	back := "/studies/" + id + "/load"
	r.ParseForm()
	if r.PostFormValue("do") == "discard" {
		forget(file)
		http.Redirect(w, r, back, http.StatusSeeOther)
		return
	}
	in := map[string]string{}
	for key := range r.PostForm {
		in[key] = r.PostFormValue(key)
	}
	if r.PostFormValue("do") == "check" {
		if err := rewriteCard(file, in); err != nil {
			d.showLoad(w, r, statusOf(d.s.publicFault(err)), loadView{}, sha, d.s.publicFault(err), in)
			return
		}
		d.showLoad(w, r, http.StatusOK, loadView{}, sha, nil, in)
		return
	}
	defer d.begin(id, file)()
	done, err := d.load(r, id, file, in)
	if err != nil {
		f := d.s.publicFault(err)
		d.showLoad(w, r, statusOf(f), loadView{}, sha, f, in)
		return
	}
	forget(file)
	v := loadView{Done: done.says}
	v.offer(done.clock)
	d.showLoad(w, r, http.StatusOK, v, "", nil, nil)
}

// loadAll loads every waiting log whose cook is known, each as it was last
// read, and with the heat-on time given for all where its own form has none;
// the rest wait on, and each that is refused says why.
func (d *Desk) loadAll(w http.ResponseWriter, r *http.Request, id string) {
	all, err := d.staged(id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	dir, err := d.stageDir(id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v, status := loadView{HeatOn: strings.TrimSpace(r.PostFormValue("heat_on"))}, http.StatusOK
	if v.HeatOn != "" {
		if _, err := quantity.ParseDuration(v.HeatOn); err != nil {
			v.HeatWrong = d.s.publicFault(err)
			d.showLoad(w, r, statusOf(v.HeatWrong), v, "", nil, nil)
			return
		}
	}
	rec, err := d.nb.Record(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	labels, files := bench.Labels(rec), []string{}
	all = slices.DeleteFunc(all, func(x waiting) bool {
		_, err := logfile.Assign(x.Name, labels)
		return err != nil && x.In["cook"] == ""
	})
	for _, x := range all {
		files = append(files, filepath.Join(dir, x.SHA256))
	}
	defer d.begin(id, files...)()
	for i, x := range all {
		file := files[i]
		in := maps.Clone(x.In)
		if in == nil {
			in = map[string]string{}
		}
		if in["heat_on"] == "" {
			in["heat_on"] = v.HeatOn
		}
		done, err := d.load(r, id, file, in)
		if err != nil {
			f := d.s.publicFault(err)
			status = statusOf(f)
			v.Refused = append(v.Refused, x.Name+": "+sentenceOf(f.Message)+" "+sentenceOf(f.Fix))
			continue
		}
		forget(file)
		v.Done = append(v.Done, done.says...)
		v.offer(done.clock)
	}
	if len(v.Done) == 0 && len(v.Refused) == 0 {
		v.Refused = []string{say("load-all-none")}
	}
	d.showLoad(w, r, status, v, "", nil, nil)
}

// loaded is what loading a log did, and how its clock fits.
type loaded struct {
	says  []string
	clock *clockOffer
}

// load loads a waiting log as in says, and tells what it did.
func (d *Desk) load(r *http.Request, id, file string, in map[string]string) (*loaded, error) {
	ctx := r.Context()
	rec, err := d.nb.Record(ctx, id)
	if err != nil {
		return nil, err
	}
	x, err := readCard(file)
	if err != nil {
		return nil, err
	}
	q := bench.LoadRequest{Name: x.Name, Cook: strings.TrimSpace(in["cook"]), Now: d.s.opt.Now()}
	if text := strings.TrimSpace(in["heat_on"]); text != "" {
		dur, err := quantity.ParseDuration(text)
		if err != nil {
			if f := fault.As(err); f != nil {
				return nil, f.On("heat_on", text)
			}
			return nil, err
		}
		q.HeatOn = func(first int64) int64 { return first + int64(dur.S()*1e6) }
	}
	maps, _ := d.savedMaps()
	read, err := d.readAs(file, maps)
	if err != nil {
		return nil, err
	}
	m, err := correctedMap(formOf(in), read.guess, read.base, unitsOf(r))
	if err != nil {
		return nil, err
	}
	dates := datesOf(read, in)
	if dates.open() && m.Time.Form == read.base.Time.Form {
		return nil, fault.New("date-order-open", "%s", say("date-order-open")).On("date-order", dates.First).WithFix("%s", say("date-order-open-fix"))
	}
	// An order that somebody chose is kept even where it is the guess.
	corrected := !sameMap(m, read.base) || dates != nil
	if corrected || read.by != "" {
		q.Map = m
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	q.Log = d.counted(id, file, f)
	got, err := bench.Load(ctx, d.nb, rec, q)
	if err != nil {
		return nil, err
	}
	a := got.Log.Account
	done := &loaded{says: []string{say("loaded", got.Cook.Label, a.Kept, a.Rows, count(len(got.Log.Traces), "channel", "channels"))}, clock: d.offerClock(r, id, got)}
	if corrected && in["once"] == "" {
		if err := d.keepMap(m, x.Name); err != nil { // the log is loaded all the same
			done.says = append(done.says, sentenceOf(d.s.publicFault(err).Message))
		} else if d.opt.Maps != "" {
			done.says = append(done.says, say("map-kept"))
		}
	}
	for i, p := range a.Problems {
		if i == 10 {
			done.says = append(done.says, say("and-more", len(a.Problems)-10+a.Unlisted))
			break
		}
		done.says = append(done.says, sentenceOf(p.String()))
	}
	return done, nil
}

// sameMap tells whether two maps read a log alike.
func sameMap(a, b *logfile.Map) bool {
	var x, y bytes.Buffer
	return a.Write(&x) == nil && b.Write(&y) == nil && x.String() == y.String()
}

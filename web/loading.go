package web

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
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
	Account []string // what the dry run met
	Error   *fault.Error
	Checked bool // a person asked to read it again
	Known   bool // the study holds this very file
	Large   bool // too large to be read to its end beforehand
}

type loadView struct {
	ID, Title string
	Logs      []waitingView
	Labels    []string
	Done      []string
	Notes     []string
	Error     *fault.Error
	Places    []choice
	Units     []choice
	Sensors   []choice // the instruments of the study
	Forms     []choice
	LengthIn  string
	Most      int64        // bytes at once
	Ready     int          // logs whose cook is known
	HeatOn    string       // as typed for all logs
	HeatWrong *fault.Error // with that
}

func (d *Desk) loadPage(w http.ResponseWriter, r *http.Request) {
	d.showLoad(w, r, http.StatusOK, loadView{}, "", nil, nil)
}

func (d *Desk) showLoad(w http.ResponseWriter, r *http.Request, status int, v loadView, sha string, wrong *fault.Error, in map[string]string) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v.ID, v.Title, v.Most = rec.Study.ID, rec.Study.Title, maxUpload
	v.Labels = bench.Labels(rec)
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
		if l.Cook != "" && l.Error == nil {
			v.Ready++
		}
		v.Logs = append(v.Logs, l)
	}
	d.render(w, r, status, "loadpage", frame{Title: say("load-title", v.Title), Invented: rec.Study.Invented, Script: "load", Study: v.ID, StudyName: v.Title, Guest: d.roleOf(r) != tasting.Lead}, v)
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
	g, base, by, err := readAs(file, maps)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Says = say("log-says", string(g.Shape), g.Time.Column, string(g.Time.Form), g.Time.Why)
	if g.PeriodS > 0 {
		v.Says += " " + say("log-every", fmt.Sprintf("%.3g s", g.PeriodS))
	}
	v.By = by
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
		v.Notes = append(v.Notes, sentenceOf(n.Text))
	}
	return v
}

// readAs is what a file seems to be and the map it is read by: one that was
// saved, or else the guess.
func readAs(file string, maps []keptMap) (g *logfile.Guess, base *logfile.Map, by string, err error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, nil, "", fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	if g, err = logfile.Inspect(f, logfile.Options{}); err != nil {
		return nil, nil, "", err
	}
	if k, ok := mapFor(maps, g); ok {
		return g, k.Map, filepath.Base(k.file), nil
	}
	return g, g.Map(), "", nil
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
	done, err := d.load(r.Context(), id, file, in, unitsOf(r))
	if err != nil {
		f := d.s.publicFault(err)
		d.showLoad(w, r, statusOf(f), loadView{}, sha, f, in)
		return
	}
	forget(file)
	d.showLoad(w, r, http.StatusOK, loadView{Done: done}, "", nil, nil)
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
	for _, x := range all {
		rec, err := d.nb.Record(r.Context(), id)
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		if x.In["cook"] == "" {
			if _, err := logfile.Assign(x.Name, bench.Labels(rec)); err != nil {
				continue
			}
		}
		file := filepath.Join(dir, x.SHA256)
		in := maps.Clone(x.In)
		if in == nil {
			in = map[string]string{}
		}
		if in["heat_on"] == "" {
			in["heat_on"] = v.HeatOn
		}
		done, err := d.load(r.Context(), id, file, in, unitsOf(r))
		if err != nil {
			f := d.s.publicFault(err)
			status = statusOf(f)
			v.Notes = append(v.Notes, x.Name+": "+sentenceOf(f.Message)+" "+sentenceOf(f.Fix))
			continue
		}
		forget(file)
		v.Done = append(v.Done, done...)
	}
	if len(v.Done) == 0 && len(v.Notes) == 0 {
		v.Notes = []string{say("load-all-none")}
	}
	d.showLoad(w, r, status, v, "", nil, nil)
}

// load loads a waiting log as in says, and tells what it did.
func (d *Desk) load(ctx context.Context, id, file string, in map[string]string, u units) ([]string, error) {
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
	g, base, by, err := readAs(file, maps)
	if err != nil {
		return nil, err
	}
	m, err := correctedMap(formOf(in), g, base, u)
	if err != nil {
		return nil, err
	}
	corrected := !sameMap(m, base)
	if corrected || by != "" {
		q.Map = m
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	q.Log = f
	got, err := bench.Load(ctx, d.nb, rec, q)
	if err != nil {
		return nil, err
	}
	a := got.Log.Account
	done := []string{say("loaded", got.Cook.Label, a.Kept, a.Rows, count(len(got.Log.Traces), "channel", "channels"))}
	if corrected && in["once"] == "" {
		if err := d.keepMap(m, x.Name); err != nil { // the log is loaded all the same
			done = append(done, sentenceOf(d.s.publicFault(err).Message))
		} else if d.opt.Maps != "" {
			done = append(done, say("map-kept"))
		}
	}
	for i, p := range a.Problems {
		if i == 10 {
			done = append(done, say("and-more", len(a.Problems)-10+a.Unlisted))
			break
		}
		done = append(done, sentenceOf(p.String()))
	}
	return done, nil
}

// sameMap tells whether two maps read a log alike.
func sameMap(a, b *logfile.Map) bool {
	var x, y bytes.Buffer
	return a.Write(&x) == nil && b.Write(&y) == nil && x.String() == y.String()
}

package web

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
	"trivet/tasting"
	"trivet/trace"
)

const (
	maxUpload   = 512 << 20 // bytes of one request that carries files
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
	return maxForm
}

// waiting is a log that was dropped on a page and is not loaded yet.
type waiting struct {
	SHA256 string    `json:"sha256"`
	Name   string    `json:"name"`
	Bytes  int64     `json:"bytes"`
	At     time.Time `json:"at"`
}

type waitingView struct {
	waiting
	Size     string
	Cook     string // as its name tells
	Says     string
	Columns  []columnView
	Notes    []string
	Error    *fault.Error
	In       map[string]string
	Known    bool // the study holds this very file
	Problems []string
}

type columnView struct{ Name, Role, Place, Unit, Why, Guess string }

type loadView struct {
	ID, Title string
	Logs      []waitingView
	Labels    []string
	Done      []string
	Error     *fault.Error
	Places    []string
}

func (d *Desk) stageDir(studyID string) (string, error) {
	if d.opt.Incoming == "" {
		return "", fault.New("incoming-none", "%s", say("incoming-none")).WithFix("%s", say("incoming-none-fix"))
	}
	dir := filepath.Join(d.opt.Incoming, anchorOf(studyID))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	return dir, nil
}

var hexName = regexp.MustCompile(`^[0-9a-f]{64}$`)

func (d *Desk) staged(studyID string) ([]waiting, error) {
	dir, err := d.stageDir(studyID)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []waiting
	for _, e := range entries {
		sha, ok := strings.CutSuffix(e.Name(), ".json")
		if !ok || !hexName.MatchString(sha) {
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		var x waiting
		if err == nil && json.Unmarshal(b, &x) == nil && x.SHA256 == sha {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b waiting) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
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
	v.ID, v.Title = rec.Study.ID, rec.Study.Title
	v.Labels = bench.Labels(rec)
	v.Places = []string{"core", "depth", "surface", "pan", "air", "fat", "bath", "scale", "other"}
	all, err := d.staged(v.ID)
	if err != nil {
		if v.Error == nil {
			v.Error = d.s.publicFault(err)
		}
	}
	for _, x := range all {
		l := d.inspect(rec, x, v.Labels)
		if x.SHA256 == sha {
			l.Error, l.In = wrong, in
		}
		v.Logs = append(v.Logs, l)
	}
	d.render(w, r, status, "loadpage", frame{Title: say("load-title", v.Title), Invented: rec.Study.Invented, Script: "load", Study: v.ID, StudyName: v.Title, Guest: d.roleOf(r) != tasting.Lead}, v)
}

// inspect is the dry run of one log.
func (d *Desk) inspect(rec *bench.Record, x waiting, labels []string) waitingView {
	v := waitingView{waiting: x, Size: sizeText(x.Bytes), In: map[string]string{}}
	for _, c := range rec.Cooks {
		for _, l := range c.Logs {
			v.Known = v.Known || l.SHA256 == x.SHA256
		}
	}
	if label, err := logfile.Assign(x.Name, labels); err == nil {
		v.Cook = label
	}
	dir, err := d.stageDir(rec.Study.ID)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	f, err := os.Open(filepath.Join(dir, x.SHA256))
	if err != nil {
		v.Error = fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
		return v
	}
	defer f.Close()
	g, err := logfile.Inspect(f, logfile.Options{})
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Says = say("log-says", string(g.Shape), g.Time.Column, string(g.Time.Form), g.Time.Why)
	if g.PeriodS > 0 {
		v.Says += " " + say("log-every", fmt.Sprintf("%.3g s", g.PeriodS))
	}
	cols := g.Columns
	if g.Shape == logfile.Long {
		cols = append(cols, g.Channels...)
	}
	for _, c := range cols {
		row := columnView{Name: c.Name, Role: string(c.Role), Place: string(c.Channel.Place), Unit: string(c.Channel.Unit), Why: c.Why}
		if !c.Sure {
			row.Guess = say("a-guess")
		}
		v.Columns = append(v.Columns, row)
	}
	for _, gap := range g.Gaps {
		v.Notes = append(v.Notes, say("log-gap", fmt.Sprintf("%.3g s", gap.Seconds), gap.Row))
	}
	for _, n := range g.Notes {
		v.Notes = append(v.Notes, sentenceOf(n.Text))
	}
	return v
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

// stageLogs keeps the files of an upload until they are loaded.
func (d *Desk) stageLogs(w http.ResponseWriter, r *http.Request) {
	problem := func(err error) {
		f := d.s.publicFault(err)
		if wantsJSON(r) {
			reply(w, statusOf(f), map[string]errorBody{"error": bodyOf(f)})
			return
		}
		d.showLoad(w, r, statusOf(f), loadView{Error: f}, "", nil, nil)
	}
	if _, err := d.nb.Record(r.Context(), r.PathValue("id")); err != nil {
		problem(err)
		return
	}
	dir, err := d.stageDir(r.PathValue("id"))
	if err != nil {
		problem(err)
		return
	}
	mr, err := r.MultipartReader()
	if err != nil {
		problem(fault.New("form-bad", "%s", say("form-bad")).WithFix("%s", say("upload-fix")).Wrap(err))
		return
	}
	n := 0
	for {
		p, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			problem(uploadFault(err))
			return
		}
		if p.FileName() == "" {
			continue
		}
		if all, err := d.staged(r.PathValue("id")); err == nil && len(all) >= maxStaged {
			problem(fault.New("incoming-full", "%s", say("incoming-full", maxStaged)).WithFix("%s", say("incoming-full-fix")))
			return
		}
		if err := d.keep(dir, p); err != nil {
			problem(err)
			return
		}
		n++
	}
	if n == 0 {
		problem(fault.New("upload-empty", "%s", say("upload-empty")).WithFix("%s", say("upload-fix")))
		return
	}
	if wantsJSON(r) {
		reply(w, http.StatusOK, map[string]int{"kept": n})
		return
	}
	http.Redirect(w, r, "/studies/"+r.PathValue("id")+"/load", http.StatusSeeOther)
}

func uploadFault(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return fault.New("upload-large", "%s", say("upload-large", sizeText(maxUpload))).WithFix("%s", say("upload-large-fix"))
	}
	return fault.New("upload-cut", "%s", say("upload-cut")).WithFix("%s", say("upload-cut-fix")).Wrap(err)
}

// keep writes one file and its card, the card last: what has one is whole.
func (d *Desk) keep(dir string, p *multipart.Part) error {
	tmp, err := os.CreateTemp(dir, "arriving-*")
	if err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	defer os.Remove(tmp.Name())
	var all bytes.Buffer
	n, err := io.Copy(io.MultiWriter(tmp, &all), p)
	if err != nil {
		tmp.Close()
		return uploadFault(err)
	}
	if err := errors.Join(tmp.Sync(), tmp.Close()); err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	x := waiting{SHA256: bench.HashOf(all.Bytes()), Name: path.Base(strings.ReplaceAll(p.FileName(), `\`, "/")), Bytes: n, At: d.s.opt.Now()}
	card, err := json.Marshal(x)
	if err == nil {
		err = os.Rename(tmp.Name(), filepath.Join(dir, x.SHA256))
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, x.SHA256+".json"), card, 0o600)
	}
	if err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	return nil
}

// loadStaged loads one waiting log into a cook, or puts it aside.
func (d *Desk) loadStaged(w http.ResponseWriter, r *http.Request) {
	id, sha := r.PathValue("id"), r.PathValue("log")
	defer d.writing(id)()
	dir, err := d.stageDir(id)
	if err != nil || !hexName.MatchString(sha) {
		d.s.fail(w, r, http.StatusNotFound, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix")))
		return
	}
	file := filepath.Join(dir, sha)
	forget := func() { os.Remove(file + ".json"); os.Remove(file) }
	back := "/studies/" + id + "/load"
	if r.FormValue("do") == "discard" {
		forget()
		http.Redirect(w, r, back, http.StatusSeeOther)
		return
	}
	problem := func(err error) {
		f := d.s.publicFault(err)
		in := map[string]string{}
		for key := range r.PostForm {
			in[key] = r.PostFormValue(key)
		}
		d.showLoad(w, r, statusOf(f), loadView{}, sha, f, in)
	}
	got, err := d.load(r, id, file)
	if err != nil {
		problem(err)
		return
	}
	forget()
	a := got.Log.Account
	v := loadView{Done: []string{say("loaded", got.Cook.Label, a.Kept, a.Rows, count(len(got.Log.Traces), "channel", "channels"))}}
	for i, p := range a.Problems {
		if i == 10 {
			v.Done = append(v.Done, say("and-more", len(a.Problems)-10))
			break
		}
		v.Done = append(v.Done, sentenceOf(p.String()))
	}
	d.showLoad(w, r, http.StatusOK, v, "", nil, nil)
}

func (d *Desk) load(r *http.Request, id, file string) (*bench.Loaded, error) {
	rec, err := d.nb.Record(r.Context(), id)
	if err != nil {
		return nil, err
	}
	card, err := os.ReadFile(file + ".json")
	var x waiting
	if err != nil || json.Unmarshal(card, &x) != nil {
		return nil, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	defer f.Close()
	q := bench.LoadRequest{Name: x.Name, Log: f, Cook: strings.TrimSpace(r.FormValue("cook")), Now: d.s.opt.Now()}
	if text := strings.TrimSpace(r.FormValue("heat_on")); text != "" {
		dur, err := quantity.ParseDuration(text)
		if err != nil {
			if f := fault.As(err); f != nil {
				return nil, f.On("heat_on", text)
			}
			return nil, err
		}
		q.HeatOn = func(first int64) int64 { return first + int64(dur.S()*1e6) }
	}
	if q.Map, err = correctedMap(r, f); err != nil {
		return nil, err
	}
	return bench.Load(r.Context(), d.nb, rec, q)
}

// correctedMap is the guess of a log with the places a person chose; nil
// where nothing was changed.
func correctedMap(r *http.Request, f *os.File) (*logfile.Map, error) {
	g, err := logfile.Inspect(f, logfile.Options{})
	if err != nil {
		return nil, err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	m := g.Map()
	changed := false
	kept := m.Channels[:0]
	for _, c := range m.Channels {
		place := r.FormValue("place:" + c.Column)
		switch {
		case place == "" || place == string(c.Channel.Place):
		case place == "leave-out":
			changed = true
			continue
		default:
			c.Channel.Place, changed = trace.Place(place), true
		}
		kept = append(kept, c)
	}
	m.Channels = kept
	if !changed {
		return nil, nil
	}
	return m, nil
}

// importStudy takes a zip of a package or of a plain folder.
func (d *Desk) importStudy(w http.ResponseWriter, r *http.Request) {
	problem := func(err error) {
		f := d.s.publicFault(err)
		d.showDesk(w, r, statusOf(f), deskList{Import: f})
	}
	dir, err := os.MkdirTemp("", "trivet-import-*")
	if err != nil {
		problem(err)
		return
	}
	defer os.RemoveAll(dir)
	mr, err := r.MultipartReader()
	if err != nil {
		problem(fault.New("form-bad", "%s", say("form-bad")).WithFix("%s", say("upload-fix")).Wrap(err))
		return
	}
	for {
		p, err := mr.NextPart()
		if err != nil {
			if errors.Is(err, io.EOF) {
				problem(fault.New("upload-empty", "%s", say("upload-empty")).WithFix("%s", say("import-fix")))
			} else {
				problem(uploadFault(err))
			}
			return
		}
		if p.FileName() == "" {
			continue
		}
		got, err := d.importFile(r.Context(), dir, p)
		if err != nil {
			problem(err)
			return
		}
		http.Redirect(w, r, "/studies/"+got.Study, http.StatusSeeOther)
		return
	}
}

func (d *Desk) importFile(ctx context.Context, dir string, p io.Reader) (*bench.Imported, error) {
	file := filepath.Join(dir, "upload.zip")
	out, err := os.Create(file)
	if err != nil {
		return nil, err
	}
	if _, err := io.Copy(out, p); err != nil {
		out.Close()
		return nil, uploadFault(err)
	}
	if err := out.Close(); err != nil {
		return nil, err
	}
	folder := filepath.Join(dir, "folder")
	if err := unpack(file, folder); err != nil {
		return nil, err
	}
	rd, id, isPackage, err := d.opt.OpenFolder(ctx, studyFolder(folder))
	if err != nil {
		return nil, withoutFolder(err, dir)
	}
	defer rd.Close()
	defer d.writing(id)()
	if isPackage {
		return bench.ImportPackage(ctx, rd, id, d.nb, nil)
	}
	return bench.ImportFolder(ctx, rd, id, d.nb, d.s.opt.Now(), nil)
}

// withoutFolder keeps the server's own paths out of a message.
func withoutFolder(err error, dir string) error {
	f := fault.As(err)
	if f == nil {
		return err
	}
	c := *f
	if rel, err := filepath.Rel(filepath.Join(dir, "folder"), c.File); err == nil && !strings.HasPrefix(rel, "..") {
		c.File = filepath.ToSlash(rel)
	}
	return &c
}

// studyFolder is the folder of an unpacked zip that holds the study: the top
// or the only folder in it.
func studyFolder(top string) string {
	for range 3 {
		entries, err := os.ReadDir(top)
		if err != nil || len(entries) != 1 || !entries[0].IsDir() {
			return top
		}
		top = filepath.Join(top, entries[0].Name())
	}
	return top
}

// unpack writes a zip into a new folder: plain files alone, within limits,
// none outside the folder.
func unpack(file, dir string) error {
	bad := func(what string) error {
		return fault.New("package-zip", "%s", say("zip-bad", what)).WithFix("%s", say("import-fix"))
	}
	z, err := zip.OpenReader(file)
	if err != nil {
		return bad(say("zip-none")).(*fault.Error).Wrap(err)
	}
	defer z.Close()
	if len(z.File) > maxEntries {
		return bad(say("zip-many"))
	}
	left := int64(maxUnpacked)
	for _, e := range z.File {
		if strings.HasSuffix(e.Name, "/") {
			continue
		}
		name := filepath.FromSlash(e.Name)
		if !filepath.IsLocal(name) || !e.Mode().IsRegular() {
			return bad(e.Name)
		}
		if err := unpackOne(e, filepath.Join(dir, name), &left); err != nil {
			return err
		}
	}
	return nil
}

func unpackOne(e *zip.File, to string, left *int64) error {
	in, err := e.Open()
	if err != nil {
		return fault.New("package-zip", "%s", say("zip-bad", e.Name)).WithFix("%s", say("import-fix")).Wrap(err)
	}
	defer in.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(out, io.LimitReader(in, *left+1))
	if *left -= n; *left < 0 {
		err = fault.New("package-zip", "%s", say("zip-large")).WithFix("%s", say("import-fix"))
	} else if err != nil {
		err = fault.New("package-zip", "%s", say("zip-bad", e.Name)).WithFix("%s", say("import-fix")).Wrap(err)
	}
	return errors.Join(err, out.Close())
}

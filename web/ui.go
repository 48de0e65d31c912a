package web

import (
	"bytes"
	"embed"
	"encoding/json"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/answer"
	"trivet/fault"
	"trivet/publish"
)

// The scripts are built from ui/src by "make ui" into ui/dist, which holds a
// note for whoever has not built them. The style sheet needs no building.
//
//go:embed all:ui/dist
var uiDist embed.FS

//go:embed ui/src/desk.css
var deskCSS []byte

//go:embed pages/*.tmpl
var deskFiles embed.FS

// deskPages are the templates, once for each choice of units: their own words
// hold examples in the units of who reads them.
var deskPages = func() map[units]*template.Template {
	all := map[units]*template.Template{}
	for _, u := range []units{{}, {Fahrenheit: true}, {Inch: true}, {Fahrenheit: true, Inch: true}} {
		all[u] = parseDeskPages(u)
	}
	return all
}()

func parseDeskPages(u units) *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{
		"say":  u.says,
		"own":  u.own,
		"size": sizeText,
		"add":  func(a, b int) int { return a + b },
		"join": strings.Join,
		"json": func(v any) (string, error) { b, err := json.Marshal(v); return string(b), err },
		"dict": func(kv ...any) map[string]any {
			m := map[string]any{}
			for i := 0; i+1 < len(kv); i += 2 {
				m[kv[i].(string)] = kv[i+1]
			}
			return m
		},
		"rest":     func() template.HTML { return restMark },
		"checked":  func(state publish.State) string { return say("check-" + string(state)) },
		"known":    u.knownIn,
		"sentence": sentenceOf,
		"moment":   momentWords,
		"capital":  answer.Capital,
	}).ParseFS(deskFiles, "pages/*.tmpl"))
}

// ui serves the built scripts and the style sheet, under names that carry a
// hash of their content.
type ui struct{ a *assets }

func newUI(themes []byte) (*ui, error) {
	u := &ui{&assets{paths: map[string]string{}, files: map[string][]byte{}}}
	u.add("desk.css", slices.Concat(themes, deskCSS))
	sub, err := fs.Sub(uiDist, "ui/dist")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(sub, "*.[jc]s*")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		if !strings.HasSuffix(name, ".js") && !strings.HasSuffix(name, ".css") {
			continue
		}
		b, err := fs.ReadFile(sub, name)
		if err != nil {
			return nil, err
		}
		u.add(name, b)
	}
	return u, nil
}

func (u *ui) add(name string, b []byte) {
	u.a.add(name, b)
	u.a.paths[name] = "/ui/" + strings.TrimPrefix(u.a.paths[name], "/assets/")
}

func (u *ui) path(name string) string { return u.a.path(name) }

// built tells whether the scripts were built.
func (u *ui) built() bool { return u.path("study.js") != "" }

func (u *ui) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	b, ok := u.a.files[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(b))
}

// frame is what stands around a page of the desk.
type frame struct {
	Title     string
	Invented  bool
	Script    string // of ui/dist, without .js
	Sheet     string // a further style sheet of ui/dist
	Study     string // id, for the way back
	StudyName string
	Guest     bool   // came by a link: sees no way to the study's page
	Stranger  bool   // not come in yet: sees no way anywhere
	Coming    bool   // parts are still being worked out
	Breadth   string // class of what is broader than text: "plotted", "broad"
	// Filled in by render.
	Style, ScriptPath, SheetPath string
	Built, LAN                   bool
	Here                         string
	Whole                        string // where a page is that waits for all of it
	Units                        units
	Watch                        string // the script that watches the connection
	Kitchen                      template.HTML
}

// render writes a page of the desk. It is laid out in memory first, so that a
// fault of a template never leaves half a page.
func (d *Desk) render(w http.ResponseWriter, r *http.Request, status int, name string, f frame, v any) {
	sendPage(w, r, status, d.page(r, f, d.partIn(unitsOf(r), name, v)))
}

// page sets the frame around a body.
func (d *Desk) page(r *http.Request, f frame, body template.HTML) []byte {
	f.Style, f.Built, f.LAN, f.Units = d.ui.path("desk.css"), d.ui.built(), d.s.leads.signIn, unitsOf(r)
	f.Watch, f.Kitchen = d.s.assets.path("kitchen.js"), d.s.kitchen(r)
	f.Here = r.URL.RequestURI()
	if r.Method != http.MethodGet {
		f.Here = "/"
		if f.Study != "" {
			f.Here = "/studies/" + f.Study
		}
	}
	if at, err := url.Parse(f.Here); err == nil && f.Coming {
		q := at.Query()
		q.Set("whole", "")
		at.RawQuery = q.Encode()
		f.Whole = at.String()
	}
	if f.Script != "" {
		f.ScriptPath = d.ui.path(f.Script + ".js")
	}
	if f.Sheet != "" {
		f.SheetPath = d.ui.path(f.Sheet + ".css")
	}
	var out bytes.Buffer
	if err := deskPages[f.Units].ExecuteTemplate(&out, "frame", struct {
		frame
		Body template.HTML
	}{f, body}); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// partIn sets one template for who reads these units.
func (d *Desk) partIn(u units, name string, v any) template.HTML {
	var b bytes.Buffer
	if err := deskPages[u].ExecuteTemplate(&b, name, v); err != nil {
		panic(err)
	}
	return template.HTML(b.String())
}

// renderPart writes a piece of a page, for a script that puts it in place.
func (d *Desk) renderPart(w http.ResponseWriter, r *http.Request, status int, name string, v any) {
	send(w, status, []byte(d.partIn(unitsOf(r), name, v)))
}

func send(w http.ResponseWriter, status int, b []byte) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	w.WriteHeader(status)
	w.Write(b)
}

// units are one person's: kept in the browser, never in the notebook.
type units struct {
	Fahrenheit bool
	Inch       bool
}

const unitsCookie = "trivet-units"

func unitsOf(r *http.Request) units {
	c, err := r.Cookie(unitsCookie)
	if err != nil {
		return units{}
	}
	return units{strings.Contains(c.Value, "F"), strings.Contains(c.Value, "in")}
}

func (d *Desk) setUnits(w http.ResponseWriter, r *http.Request) {
	v := r.FormValue("temperature")
	if v != "F" {
		v = "C"
	}
	if r.FormValue("length") == "in" {
		v += ".in"
	} else {
		v += ".mm"
	}
	http.SetCookie(w, &http.Cookie{Name: unitsCookie, Value: v, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: 365 * 24 * 3600})
	http.Redirect(w, r, localPath(r.FormValue("next")), http.StatusSeeOther)
}

// sentenceOf starts with a capital and ends with a full stop.
func sentenceOf(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	r := []rune(s)
	if last := r[len(r)-1]; last != '.' && last != '?' && last != '!' && last != '…' && last != ':' {
		s += "."
	}
	return strings.ToUpper(string(r[:1])) + s[len(string(r[:1])):]
}

// saved is where a form stood when it was refused: what was wrong and what
// the person had typed.
type saved struct {
	Error *fault.Error
	Form  string // which form
	In    map[string]string
	Was   map[string]string // what the fields held when the form was made
	// Clashes are the fields that somebody else changed meanwhile, with what
	// is saved now.
	Clashes map[string]string
}

package web

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"trivet/fault"
)

//go:embed templates/*.tmpl
var templateFiles embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"say":   say,
	"join":  strings.Join,
	"add":   func(a, b int) int { return a + b },
	"clock": clock,
	"in":    newField,
	"cap":   capital,
	"field": func(f *fault.Error, name string) *fault.Error {
		if f != nil && f.Field == name {
			return f
		}
		return nil
	},
}).ParseFS(templateFiles, "templates/*.tmpl"))

// fieldView is one input of the new-tasting form.
type fieldView struct {
	Name, Label, Hint, Value string
	Rows                     int
	Error                    *fault.Error
}

func newField(v newView, name, label, hint string) fieldView {
	f := fieldView{Name: name, Label: label, Hint: hint, Value: v.In[name]}
	f.Rows = max(3, min(10, strings.Count(f.Value, "\n")+2))
	if v.Error != nil && v.Error.Field == name {
		f.Error = v.Error
	}
	return f
}

// page is the frame around a page's content.
type page struct {
	Title    string
	Invented bool
	Script   string // name of a script of assets
	Refresh  int    // seconds after which the page asks again; 0 never
	Lead     bool   // shows the way back to the desk, and signing out
	LAN      bool
	Style    string
	Watch    string // the script that watches the connection
	Kitchen  template.HTML
}

// render writes a page. It is laid out in memory first, so that a fault of a
// template never leaves half a page.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, name string, p page, v any) {
	p.Style = s.assets.path("page.css")
	p.LAN = s.leads.signIn
	p.Watch, p.Kitchen = s.assets.path("kitchen.js"), s.kitchen(r)
	if p.Script != "" {
		p.Script = s.assets.path(p.Script)
	}
	var body bytes.Buffer
	if err := pages.ExecuteTemplate(&body, name, v); err != nil {
		panic(err)
	}
	var out bytes.Buffer
	if err := pages.ExecuteTemplate(&out, "page", struct {
		page
		Body template.HTML
	}{p, template.HTML(body.String())}); err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(out.Len()))
	w.WriteHeader(status)
	w.Write(out.Bytes())
}

// errorBody is the JSON form of an error, as on the command line.
type errorBody struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Where   string `json:"where"`
	Value   string `json:"value"`
	Fix     string `json:"fix"`
}

func bodyOf(f *fault.Error) errorBody {
	return errorBody{string(f.Code), f.Message, f.Where(), f.Value, f.Fix}
}

// reply writes JSON.
func reply(w http.ResponseWriter, status int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	b = append(b, '\n')
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	w.WriteHeader(status)
	w.Write(b)
}

// publicFault is what may be shown of an error: a fault of trivet itself, or
// of the disk, is logged and shown in general words.
func (s *Server) publicFault(err error) *fault.Error {
	f := fault.As(err)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return fault.New("form-large", "%s", say("form-large")).WithFix("%s", say("form-large-fix"))
	case f == nil || f.Kind == fault.Internal:
		s.opt.Log.Error("fault", "what", err)
		return &fault.Error{Kind: fault.Internal, Code: "internal", Message: say("internal"), Fix: say("internal-fix")}
	}
	return f
}

// statusOf is the HTTP status an error calls for.
func statusOf(f *fault.Error) int {
	switch f.Code {
	case "tasting-unknown", "assessor-unknown", "link-unknown", "study-unknown", "session-unknown":
		return http.StatusNotFound
	case "ballot-late", "ballot-withdrawn":
		return http.StatusGone
	case "ballot-duplicate", "id-conflict", "session-closed":
		return http.StatusConflict
	case "not-admitted", "key-locked", "roles-apart":
		return http.StatusForbidden
	case "too-many":
		return http.StatusTooManyRequests
	case "form-large":
		return http.StatusRequestEntityTooLarge
	case "notebook-locked", "disk-full", "notebook-io":
		return http.StatusServiceUnavailable
	}
	if f.Kind == fault.Internal {
		return http.StatusInternalServerError
	}
	return http.StatusUnprocessableEntity
}

// fail shows an error as a page of its own, or as JSON to a script.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, status int, err error) {
	f := s.publicFault(err)
	if b, ok := w.(*begun); ok { // the title is sent already
		b.failed(f)
		return
	}
	if status == 0 {
		status = statusOf(f)
	}
	if wantsJSON(r) {
		reply(w, status, map[string]errorBody{"error": bodyOf(f)})
		return
	}
	// Who came by a link has no other page here; the lead finds the way home.
	by := s.whoOf(r.Pattern)
	s.render(w, r, status, "error", page{Title: say("error-title"), Lead: (by == leadAlone || by == atStove || by == anyone) && s.leads.isLead(r)}, f)
}

func wantsJSON(r *http.Request) bool { return r.Header.Get("Accept") == "application/json" }

// capital starts a sentence of an error with a capital letter.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// clock writes minutes as h:mm, from 0:00.
func clock(minutes float64) string {
	m := int(minutes + 0.5)
	return strconv.Itoa(m/60) + ":" + string([]byte{byte('0' + m%60/10), byte('0' + m%10)})
}

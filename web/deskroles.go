package web

import (
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"html/template"
	"net/http"
	"strings"
	"sync"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/tasting"
)

// roleCook is who stands at the stove: it sees treatments, as a preparer does,
// and so neither serves nor tastes.
const roleCook tasting.Role = "cook"

// passTime is how long a link to a study is good.
const passTime = 16 * time.Hour

// pass is what a link to a study opens.
type pass struct {
	study string
	role  tasting.Role
	until time.Time
}

// passes are the links handed out. They are in memory alone and end with the
// server.
type passes struct {
	mu sync.Mutex
	by map[string]pass
}

const passCookie = "trivet-pass"

func (d *Desk) passOf(token string) (pass, bool) {
	d.passes.mu.Lock()
	defer d.passes.mu.Unlock()
	p, ok := d.passes.by[token]
	if ok && d.s.opt.Now().After(p.until) {
		delete(d.passes.by, token)
		return pass{}, false
	}
	return p, ok
}

// roleOf is as whom a request comes.
func (d *Desk) roleOf(r *http.Request) tasting.Role {
	if c, err := r.Cookie(passCookie); err == nil {
		if p, ok := d.passOf(c.Value); ok && (p.study == r.PathValue("id") || !d.s.leads.isLead(r)) {
			return p.role
		}
	}
	if d.s.leads.isLead(r) {
		return tasting.Lead
	}
	return ""
}

// atTheStove lets the lead through, and who came by a cook's link to this
// very study.
func (d *Desk) atTheStove(next http.HandlerFunc) http.Handler {
	lead := d.s.leads.only(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, err := r.Cookie(passCookie); err == nil {
			if p, ok := d.passOf(c.Value); ok && p.role == roleCook && p.study == r.PathValue("id") {
				next(w, r)
				return
			}
		}
		lead.ServeHTTP(w, r)
	})
}

type linkView struct {
	ID, For, Is, Link, Until string
	QR                       template.HTML
}

// makeLink hands out a link to a study.
func (d *Desk) makeLink(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	role, path := tasting.Role(r.PostFormValue("role")), "/c/"
	if role == tasting.Reader {
		path = "/r/"
	} else if role != roleCook {
		d.s.fail(w, r, 0, fault.New("role-unknown", "%s", say("role-unknown")).On("role", string(role)).WithFix("%s", say("role-unknown-fix")))
		return
	}
	var b [18]byte
	rand.Read(b[:]) // never fails: crypto/rand ends the program rather than return an error
	token := base64.RawURLEncoding.EncodeToString(b[:])
	p := pass{rec.Study.ID, role, d.s.opt.Now().Add(passTime)}
	d.passes.mu.Lock()
	if d.passes.by == nil {
		d.passes.by = map[string]pass{}
	}
	for t, old := range d.passes.by {
		if d.s.opt.Now().After(old.until) {
			delete(d.passes.by, t)
		}
	}
	d.passes.by[token] = p
	d.passes.mu.Unlock()
	v := linkView{ID: rec.Study.ID, For: say("links-role-" + string(role)), Is: say("links-" + string(role) + "-is"), Link: d.s.base(r) + path + token, Until: p.until.Format("2 January 2006, 15:04")}
	if v.QR, err = qrSVG(v.Link); err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.render(w, r, http.StatusOK, "linkpage", frame{Title: say("links-title", v.For), Invented: rec.Study.Invented, Study: v.ID, StudyName: rec.Study.Title}, v)
}

// byLink finds what a link of the request opens; guessing is slow.
func (d *Desk) byLink(w http.ResponseWriter, r *http.Request, role tasting.Role) (pass, bool) {
	p, ok := d.passOf(r.PathValue("token"))
	if !ok || p.role != role {
		d.s.unknownLink(w, r, "pass-unknown", "pass-unknown-fix")
		return pass{}, false
	}
	return p, true
}

// openCookLink makes a browser the cook's. From then on it may neither serve
// nor taste in the study's tastings, and one that has may not become it.
func (d *Desk) openCookLink(w http.ResponseWriter, r *http.Request) {
	p, ok := d.byLink(w, r, roleCook)
	if !ok {
		return
	}
	for _, t := range d.s.room.Tastings() {
		if t.Study == p.study && !d.s.mayBe(w, r, t, tasting.Preparer) {
			return
		}
	}
	http.SetCookie(w, &http.Cookie{Name: passCookie, Value: r.PathValue("token"), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: int(passTime.Seconds())})
	http.Redirect(w, r, "/studies/"+p.study+"/cooks", http.StatusSeeOther)
}

func (d *Desk) cooksPage(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := &studyView{ID: rec.Study.ID, Title: rec.Study.Title}
	cookLines(v, rec)
	d.render(w, r, http.StatusOK, "cookspage", frame{Title: say("cooks-of", v.Title), Invented: rec.Study.Invented, Study: v.ID, StudyName: v.Title, Guest: d.roleOf(r) != tasting.Lead}, v)
}

// readerPage is the report of a study as it stands, for who has a reader's
// link. A plan that is sealed and not finished is not looked at for a reader.
func (d *Desk) readerPage(w http.ResponseWriter, r *http.Request) {
	p, ok := d.byLink(w, r, tasting.Reader)
	if !ok {
		return
	}
	rec, err := d.nb.Record(r.Context(), p.study)
	var got *bench.Answered
	if err == nil {
		got, err = d.answered(r.Context(), rec, false)
	}
	if err == nil && got == nil {
		err = fault.New("reader-early", "%s", say("reader-early")).WithFix("%s", say("reader-early-fix"))
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.writeReport(w, r, got, true)
}

// auditLine is one request that changes something.
type auditLine struct {
	At     time.Time `json:"at"`
	Role   string    `json:"role"`
	From   string    `json:"from"`
	Route  string    `json:"route"`
	Study  string    `json:"study,omitempty"`
	Cook   string    `json:"cook,omitempty"`
	Status int       `json:"status"`
}

// audited writes a line for every request that is no mere reading. Links and
// what was typed are never written.
func (d *Desk) audited(next http.Handler) http.Handler {
	if d.opt.Audit == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet || r.Method == http.MethodHead || strings.HasSuffix(r.URL.Path, "/predict") {
			next.ServeHTTP(w, r)
			return
		}
		rec := &recorder{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(rec, r)
		role := string(d.roleOf(r))
		if role == "" {
			role = "link"
		}
		line, err := json.Marshal(auditLine{d.s.opt.Now().UTC(), role, addressOf(r), r.Pattern, r.PathValue("id"), r.PathValue("cook"), rec.status})
		if err != nil {
			return
		}
		d.auditing.Lock()
		defer d.auditing.Unlock()
		if _, err := d.opt.Audit.Write(append(line, '\n')); err != nil {
			d.s.opt.Log.Error("fault", "what", err)
		}
	})
}

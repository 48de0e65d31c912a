package web

import (
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/tasting"
)

// roleCook is who stands at the stove: it sees treatments, as a preparer does,
// and so neither serves nor tastes.
const roleCook tasting.Role = "cook"

// passCookies are the names under which a guest's session may come. The one
// of TLS is never sent in the clear; a session begun on plain HTTP goes on
// under TLS.
func passCookies(r *http.Request) []string {
	if r.TLS != nil {
		return []string{"__Host-trivet-pass", "trivet-pass"}
	}
	return []string{"trivet-pass"}
}

// guestOf is as whose guest a request comes, if by a link to a study.
func (s *Server) guestOf(r *http.Request) (guest, bool) {
	for _, name := range passCookies(r) {
		if c, err := r.Cookie(name); err == nil {
			if g, ok := s.access.guest(c.Value); ok {
				return g, true
			}
		}
	}
	return guest{}, false
}

// roleOf is as whom a request comes.
func (d *Desk) roleOf(r *http.Request) tasting.Role {
	if g, ok := d.s.guestOf(r); ok && (g.Study == r.PathValue("id") || !d.s.leads.isLead(r)) {
		return g.Role
	}
	if d.s.leads.isLead(r) {
		return tasting.Lead
	}
	return ""
}

// atTheStove lets the lead through, and who came by a cook's link to this
// very study.
func (d *Desk) atTheStove(next http.HandlerFunc) http.Handler {
	lead := d.s.onlyLead(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if g, ok := d.s.guestOf(r); ok && g.Role == roleCook && g.Study == r.PathValue("id") {
			next(w, r)
			return
		}
		// A page that is only looked at leads to where one signs in.
		mayLead := d.s.leads.isLead(r) && !d.s.exposed(r)
		if d.wasCook(r) && !mayLead && (r.Method != http.MethodGet || d.s.exposed(r) || wantsJSON(r)) {
			d.s.fail(w, r, http.StatusUnauthorized, fault.New("link-over", "%s", say("cook-over")).WithFix("%s", say("cook-over-fix")))
			return
		}
		lead.ServeHTTP(w, r)
	})
}

// wasCook tells that a browser came as a cook of the study before: its link
// has run out, or the lead has ended it.
func (d *Desk) wasCook(r *http.Request) bool {
	_, err := r.Cookie(stoveCookie(r.PathValue("id")))
	return err == nil
}

type linkView struct {
	ID, For, Is, Link, Until string
	Name                     string
	Once                     bool
	QR                       template.HTML
}

// makeLink hands out a link to a study, as its page asks for it.
func (d *Desk) makeLink(w http.ResponseWriter, r *http.Request) {
	d.handOut(w, r, r.PathValue("id"))
}

// handOut hands out a link as a form says.
func (d *Desk) handOut(w http.ResponseWriter, r *http.Request, study string) {
	problem := func(code fault.Code, what, fix, field, value string) {
		d.s.fail(w, r, 0, fault.New(code, "%s", what).On(field, value).WithFix("%s", fix))
	}
	l := handedLink{Role: tasting.Role(r.PostFormValue("role")), Name: strings.TrimSpace(r.PostFormValue("name")), Once: r.PostFormValue("once") == "yes", Until: d.s.opt.Now().Add(passTime)}
	f := frame{}
	switch l.Role {
	case roleCook, tasting.Reader:
		rec, err := d.nb.Record(r.Context(), study)
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		l.Study = rec.Study.ID
		l.Once = l.Once && l.Role == roleCook
		f = frame{Invented: rec.Study.Invented, Study: l.Study, StudyName: rec.Study.Title}
	case tasting.Lead:
		l.Once, l.Until = true, d.s.opt.Now().Add(leadLinkTime)
	default:
		problem("role-unknown", say("role-unknown"), say("role-unknown-fix"), "role", string(l.Role))
		return
	}
	if len([]rune(l.Name)) > 60 {
		problem("link-name", say("link-name-long"), say("link-name-long-fix"), "name", l.Name)
		return
	}
	if text := strings.TrimSpace(r.PostFormValue("hours")); text != "" && l.Role != tasting.Lead {
		hours, err := strconv.Atoi(text)
		if err != nil || hours < 1 || time.Duration(hours)*time.Hour > longestPass {
			problem("link-hours", say("link-hours-bad"), say("link-hours-bad-fix"), "hours", text)
			return
		}
		l.Until = d.s.opt.Now().Add(time.Duration(hours) * time.Hour)
	}
	d.showLink(w, r, f, l)
}

// showLink keeps a link and shows it, this once.
func (d *Desk) showLink(w http.ResponseWriter, r *http.Request, f frame, l handedLink) {
	token, l, err := d.s.access.hand(l)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := linkView{ID: l.Study, Name: l.Name, Once: l.Once, For: say("links-role-" + string(l.Role)), Is: say("links-" + string(l.Role) + "-is"),
		Link: d.s.base(r, l.Role) + passPaths[l.Role] + token, Until: momentWords(l.Until)}
	if v.QR, err = qrSVG(v.Link); err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	f.Title = say("links-title", v.For)
	d.render(w, r, http.StatusOK, "linkpage", f, v)
}

// cookDoorView asks who opens a cook's link whether they want to: from then
// on the browser may neither serve nor taste.
type cookDoorView struct {
	At, Study, Name, Until string
	Once                   bool
}

// cookDoor is what a cook's link shows before it is opened. To look at it
// uses nothing up.
func (d *Desk) cookDoor(w http.ResponseWriter, r *http.Request) {
	l, why := d.s.access.link(r.PathValue("token"), roleCook)
	if g, ok := d.s.guestOf(r); ok && g.Link == l.ID && l.ID != "" {
		http.Redirect(w, r, "/studies/"+l.Study+"/cooks", http.StatusSeeOther)
		return
	}
	if why != "" {
		d.s.unknownLink(w, r, why)
		return
	}
	rec, err := d.nb.Record(r.Context(), l.Study)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := cookDoorView{r.URL.Path, rec.Study.Title, l.Name, momentWords(l.Until), l.Once}
	d.render(w, r, http.StatusOK, "cookdoor", frame{Title: say("cookdoor-title"), Invented: rec.Study.Invented, Stranger: true}, v)
}

// openCookLink makes a browser the cook's. From then on it may neither serve
// nor taste in the study's tastings, and one that has may not become it.
func (d *Desk) openCookLink(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	l, why := d.s.access.link(token, roleCook)
	if why == "" {
		for _, t := range d.s.room.Tastings() {
			if t.Study == l.Study && !d.s.mayBe(w, r, t, roleCook) {
				return
			}
		}
		var session string
		var err error
		if l, session, why, err = d.s.access.open(token, roleCook); err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		if why == "" {
			rememberDevice(w, stoveCookie(l.Study), roleCook)
			http.SetCookie(w, &http.Cookie{Name: passCookies(r)[0], Value: session, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteLaxMode,
				MaxAge: max(1, int(l.Until.Sub(d.s.opt.Now()).Seconds()))})
			http.Redirect(w, r, "/studies/"+l.Study+"/cooks", http.StatusSeeOther)
			return
		}
	}
	d.s.unknownLink(w, r, why)
}

func (d *Desk) cooksPage(w http.ResponseWriter, r *http.Request) {
	d.opening(w, r, func(h *bench.Head) (frame, template.HTML) {
		return d.cooksFrame(r, h.Study), d.title(say("cooks-of", h.Study.Title))
	}, func(w http.ResponseWriter) { d.showCooks(w, r) })
}

func (d *Desk) cooksFrame(r *http.Request, s *study.Study) frame {
	return frame{Title: say("cooks-of", s.Title), Invented: s.Invented, Study: s.ID, StudyName: s.Title, Guest: d.roleOf(r) != tasting.Lead}
}

func (d *Desk) showCooks(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := &studyView{ID: rec.Study.ID, Title: rec.Study.Title}
	cookLines(v, rec, r)
	d.render(w, r, http.StatusOK, "cookspage", d.cooksFrame(r, rec.Study), v)
}

// readerPage is the report of a study as it stands, for who has a reader's
// link. A plan that is sealed and not finished is not looked at for a reader.
func (d *Desk) readerPage(w http.ResponseWriter, r *http.Request) {
	l, why := d.s.access.link(r.PathValue("token"), tasting.Reader)
	if why != "" {
		d.s.unknownLink(w, r, why)
		return
	}
	rec, err := d.nb.Record(r.Context(), l.Study)
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

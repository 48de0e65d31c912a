package web

import (
	"net/http"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/tasting"
)

// linkRow is a link handed out.
type linkRow struct {
	ID, For, Name, To, Made, Until, State string
	Open                                  int
	Live                                  bool
}

// placeRow is one of a tasting's own links. ID is its hash, which opens
// nothing.
type placeRow struct {
	ID, For, Until string
	Refused, Ended bool
}

type placeList struct {
	Title  string
	Places []placeRow
}

type linksView struct {
	Studies  []option
	Links    []linkRow
	Tastings []placeList
	Sessions []sessionRow
	Moved    string // that the address of the machine has changed
	Leads    int
	SignIn   bool
	Error    *fault.Error
}

// linksPage lists every link and session, for the lead to end.
func (d *Desk) linksPage(w http.ResponseWriter, r *http.Request) {
	d.showLinks(w, r, http.StatusOK, nil)
}

func (d *Desk) showLinks(w http.ResponseWriter, r *http.Request, status int, f *fault.Error) {
	all, err := d.nb.Studies(r.Context())
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := linksView{Leads: d.s.access.leadCount(), SignIn: d.s.leads.signIn, Error: f}
	titles := map[string]string{}
	for _, x := range all {
		titles[x.ID] = x.Title
		if !x.Trashed {
			v.Studies = append(v.Studies, option{Code: x.ID, Name: x.Title, On: x.ID == r.FormValue("study")})
		}
	}
	for _, t := range d.s.room.Tastings() {
		titles[t.ID] = t.Title
		if list := d.placesOf(t); len(list.Places) > 0 {
			v.Tastings = append(v.Tastings, list)
		}
	}
	links, open := d.s.access.handed()
	for _, l := range links {
		row := linkRow{ID: l.ID, For: say("links-role-" + string(l.Role)), Name: l.Name, To: titles[l.Study+l.Tasting], Made: shortMoment(l.Made), Until: shortMoment(l.Until), Open: open[l.ID]}
		switch {
		case !l.Revoked.IsZero():
			row.State = say("link-state-revoked", shortMoment(l.Revoked))
		case d.s.opt.Now().After(l.Until):
			row.State = say("link-state-expired")
		case l.Once && !l.Opened.IsZero():
			row.State, row.Live = say("link-state-used", shortMoment(l.Opened)), open[l.ID] > 0
		default:
			row.State, row.Live = say("link-state-good"), true
		}
		v.Links = append(v.Links, row)
	}
	v.Sessions = d.sessionRows(r, titles)
	if at := d.s.opt.where(); at.Before != "" {
		v.Moved = say("where-moved", momentWords(at.Since), at.PublicURL, at.Before)
	}
	d.render(w, r, status, "linkspage", frame{Title: say("linkspage-title")}, v)
}

// placesOf lists the own links of an open tasting: server, watchers, seats.
func (d *Desk) placesOf(t *bench.Tasting) placeList {
	out := placeList{Title: t.Title}
	if d.s.room.Closed(t.ID) {
		return out
	}
	for hash, p := range t.Links() {
		row := placeRow{ID: hash, For: say("role-" + string(p.Role)), Until: dateWords(t.OpenedAt.Add(placeTime), false),
			Refused: d.s.access.refused(hash), Ended: d.s.opt.Now().After(t.OpenedAt.Add(placeTime))}
		if p.Seat != "" {
			row.For += " " + p.Seat
		}
		out.Places = append(out.Places, row)
	}
	slices.SortFunc(out.Places, func(a, b placeRow) int { return strings.Compare(a.For, b.For) })
	return out
}

// handOutAny hands out a link from the page of links, to a study it names.
func (d *Desk) handOutAny(w http.ResponseWriter, r *http.Request) {
	d.handOut(w, r, r.PostFormValue("study"))
}

// unconfirmed tells that a form lacks its confirmation, and says so.
func (d *Desk) unconfirmed(w http.ResponseWriter, r *http.Request) bool {
	if r.PostFormValue("sure") == "yes" {
		return false
	}
	d.showLinks(w, r, http.StatusUnprocessableEntity, fault.New("revoke-sure", "%s", say("revoke-unsure")).WithFix("%s", say("revoke-unsure-fix")))
	return true
}

func (d *Desk) revokeLink(w http.ResponseWriter, r *http.Request) {
	if d.unconfirmed(w, r) {
		return
	}
	l, ok, err := d.s.access.revoke(r.PathValue("link"))
	if err == nil && ok && l.Role == tasting.Preparer {
		err = d.s.vault.redraw(l.Tasting)
	}
	d.afterLinks(w, r, ok, err)
}

// refusePlace ends one of a tasting's own links, or lets it open again.
func (d *Desk) refusePlace(w http.ResponseWriter, r *http.Request) {
	hash := r.PathValue("link")
	known := slices.ContainsFunc(d.s.room.Tastings(), func(t *bench.Tasting) bool { _, ok := t.Links()[hash]; return ok })
	if !known {
		d.afterLinks(w, r, false, nil)
		return
	}
	refuse := r.PostFormValue("again") != "yes"
	if refuse && d.unconfirmed(w, r) {
		return
	}
	d.afterLinks(w, r, true, d.s.access.refuse(hash, refuse))
}

func (d *Desk) signOutLeads(w http.ResponseWriter, r *http.Request) {
	if d.unconfirmed(w, r) {
		return
	}
	if err := d.s.leads.end(r); err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.afterLinks(w, r, true, d.s.access.signOutLeads())
}

func (d *Desk) afterLinks(w http.ResponseWriter, r *http.Request, known bool, err error) {
	switch {
	case err != nil:
		d.s.fail(w, r, 0, err)
	case !known:
		d.s.fail(w, r, http.StatusNotFound, fault.New("pass-unknown", "%s", say("pass-gone")).WithFix("%s", say("pass-gone-fix")))
	default:
		http.Redirect(w, r, "/links", http.StatusSeeOther)
	}
}

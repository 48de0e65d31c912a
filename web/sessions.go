package web

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"slices"
	"strings"
	"time"

	"trivet/fault"
	"trivet/tasting"
)

// openSession is a browser that is in. ID opens nothing.
type openSession struct {
	ID                 string
	Role               tasting.Role
	Study, Name        string
	Since, Seen, Until time.Time // Since of a guest alone; Seen zero before the first request since the start
}

// leadID names the session of a lead by the beginning of its hash.
func leadID(hash string) string { return "lead-" + hash[:min(len(hash), 12)] }

// sessions lists the browsers that are in, leads first, then by name.
func (a *access) sessions() []openSession {
	a.mu.Lock()
	defer a.mu.Unlock()
	var out []openSession
	for h, s := range a.f.Sessions {
		if !a.now().After(s.Until) {
			out = append(out, openSession{ID: leadID(h), Role: tasting.Lead, Seen: a.seen[h], Until: s.Until})
		}
	}
	for h, g := range a.f.Guests {
		if !a.now().After(g.Until) {
			out = append(out, openSession{ID: guestID(h, g), Role: g.Role, Study: g.Study, Name: g.Name, Since: g.Since, Seen: a.seen[h], Until: g.Until})
		}
	}
	slices.SortFunc(out, func(x, y openSession) int {
		if (x.Role == tasting.Lead) != (y.Role == tasting.Lead) {
			if x.Role == tasting.Lead {
				return -1
			}
			return 1
		}
		return strings.Compare(x.Study+"\n"+x.Name+"\n"+x.ID, y.Study+"\n"+y.Name+"\n"+y.ID)
	})
	return out
}

// guestID is the id of a guest; sessions begun before there were ids are
// named by the beginning of their hash.
func guestID(hash string, g guest) string {
	if g.ID != "" {
		return g.ID
	}
	return hash[:12]
}

// end ends a session and returns what it was.
func (a *access) end(id string) (openSession, bool, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for h, s := range a.f.Sessions {
		if leadID(h) == id {
			a.endLead(h)
			return openSession{ID: id, Role: tasting.Lead, Until: s.Until}, true, a.save()
		}
	}
	for h, g := range a.f.Guests {
		if guestID(h, g) == id {
			delete(a.f.Guests, h)
			return openSession{ID: id, Role: g.Role, Study: g.Study, Name: g.Name, Since: g.Since, Until: g.Until}, true, a.save()
		}
	}
	return openSession{}, false, nil
}

// thisLead is the id of the lead's session that a request comes with.
func (l *leads) thisLead(r *http.Request) string {
	if !l.signIn {
		return ""
	}
	sum := sha256.Sum256([]byte(l.of(r).Token(r.Context()))) // as scs names it in the store
	return leadID(base64.RawURLEncoding.EncodeToString(sum[:]))
}

// sessionRow is a browser that is in, on the page of links.
type sessionRow struct {
	ID, For, Name, To, When string
	Says                    string // for whom it is, in a button's name
	This, MayHandOn         bool
}

func (d *Desk) sessionRows(r *http.Request, titles map[string]string) []sessionRow {
	var out []sessionRow
	this := d.s.leads.thisLead(r)
	for _, x := range d.s.access.sessions() {
		row := sessionRow{ID: x.ID, For: say("links-role-" + string(x.Role)), Name: x.Name, To: titles[x.Study], This: x.ID == this, MayHandOn: x.Role != tasting.Lead}
		var when []string
		if !x.Since.IsZero() {
			when = append(when, say("session-since", shortMoment(x.Since)))
		}
		if x.Seen.IsZero() {
			when = append(when, say("session-unseen"))
		} else {
			when = append(when, say("session-seen", shortMoment(x.Seen)))
		}
		row.When = strings.Join(append(when, say("link-until", shortMoment(x.Until))), " · ")
		row.Says = strings.TrimSuffix(row.For+", "+row.Name, ", ")
		out = append(out, row)
	}
	return out
}

// endSession ends a session; handed on, its role opens on one other device,
// by a link that is shown once.
func (d *Desk) endSession(w http.ResponseWriter, r *http.Request) {
	was, ok, err := d.s.access.end(r.PathValue("session"))
	if err != nil || !ok {
		if err == nil {
			err = fault.New("session-gone", "%s", say("session-gone")).WithFix("%s", say("session-gone-fix"))
		}
		d.s.fail(w, r, 0, err)
		return
	}
	if r.PostFormValue("do") != "on" || was.Role == tasting.Lead {
		http.Redirect(w, r, "/links", http.StatusSeeOther)
		return
	}
	rec, err := d.nb.Record(r.Context(), was.Study)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	// What is left of a session's time may be little: a device that takes over
	// has a day at the stove before it, as the first had.
	until := d.s.opt.Now().Add(passTime)
	if was.Until.After(until) {
		until = was.Until
	}
	d.showLink(w, r, frame{Invented: rec.Study.Invented, Study: was.Study, StudyName: rec.Study.Title},
		handedLink{Role: was.Role, Study: was.Study, Name: was.Name, Once: true, Until: until})
}

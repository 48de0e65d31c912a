package web

import (
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/tasting"
)

// find looks up the link of a request for one role. Anything else is answered
// here: an unknown, expired or revoked link, a flood, a role the browser must
// not hold.
func (s *Server) find(w http.ResponseWriter, r *http.Request, role tasting.Role) (*bench.Tasting, bench.Place, bool) {
	token := r.PathValue("token")
	t, place, ok := s.room.Find(token)
	if !ok || place.Role != role {
		s.unknownLink(w, r, "link-unknown")
		return nil, bench.Place{}, false
	}
	if !s.guard.links.allow(token) {
		s.fail(w, r, 0, tooMany())
		return nil, bench.Place{}, false
	}
	if why := s.placeEnded(t, bench.LinkHash(token)); why != "" {
		s.unknownLink(w, r, why)
		return nil, bench.Place{}, false
	}
	if !s.mayBe(w, r, t, role) {
		return nil, bench.Place{}, false
	}
	return t, place, true
}

// placeEnded says why a tasting's own link is good no longer, or nothing.
func (s *Server) placeEnded(t *bench.Tasting, hash string) string {
	switch {
	case s.access.refused(hash):
		return "pass-revoked"
	case s.opt.Now().After(t.OpenedAt.Add(placeTime)):
		return "pass-expired"
	}
	return ""
}

func tooMany() *fault.Error {
	return fault.New("too-many", "%s", say("too-many")).WithFix("%s", say("too-many-fix"))
}

// unknownLink answers a link that opens nothing, and slows whoever tries many.
// Good links go on working at the same address: several phones may share it.
func (s *Server) unknownLink(w http.ResponseWriter, r *http.Request, why string) {
	if !s.guard.wrong.allow(networkOf(r)) {
		s.fail(w, r, 0, tooMany())
		return
	}
	e := endings[why]
	s.fail(w, r, e.status, fault.New(e.code, "%s", say(why)).WithFix("%s", say(e.fix)))
}

// endings are the reasons for which a link opens nothing, by their words.
var endings = map[string]struct {
	status int
	code   fault.Code
	fix    string
}{
	"link-unknown":  {http.StatusNotFound, "link-unknown", "link-unknown-fix"},
	"pass-unknown":  {http.StatusNotFound, "link-unknown", "pass-unknown-fix"},
	"carve-unknown": {http.StatusNotFound, "link-unknown", "carve-unknown-fix"},
	"carve-locked":  {http.StatusForbidden, "key-locked", "carve-locked-fix"},
	"pass-expired":  {http.StatusGone, "link-ended", "pass-unknown-fix"},
	"pass-revoked":  {http.StatusGone, "link-ended", "pass-revoked-fix"},
	"pass-used":     {http.StatusGone, "link-ended", "pass-used-fix"},
	"pass-full":     {http.StatusTooManyRequests, "link-full", "pass-full-fix"},
}

// deviceCookie remembers what a browser has seen of a tasting, and stoveCookie
// that it came as a cook of a study. They keep one device from both knowing
// and being blind by mistake; they are no defence against somebody who wants
// to cheat, who can take another device. They open nothing, and so go over
// TLS and plain HTTP alike: a ballot is plain where the stove was not.
func deviceCookie(t *bench.Tasting) string { return "trivet-" + t.ID[:8] }

func stoveCookie(study string) string { return "trivet-stove-" + hashOf(study)[:8] }

// heldBy lists the roles a browser has held in a tasting.
func (s *Server) heldBy(r *http.Request, t *bench.Tasting) []tasting.Role {
	var out []tasting.Role
	if c, err := r.Cookie(deviceCookie(t)); err == nil {
		out = append(out, tasting.Role(c.Value))
	}
	if _, err := r.Cookie(stoveCookie(t.Study)); err == nil {
		out = append(out, roleCook)
	}
	if g, ok := s.guestOf(r); ok && g.Role == roleCook && g.Study == t.Study {
		out = append(out, roleCook)
	}
	return out
}

// mayBe tells whether this browser may take a role, and remembers it. Once a
// tasting is closed nothing is secret and every role may be held.
func (s *Server) mayBe(w http.ResponseWriter, r *http.Request, t *bench.Tasting, role tasting.Role) bool {
	if role == tasting.Reader || s.room.Closed(t.ID) {
		return true
	}
	for _, held := range s.heldBy(r, t) {
		if !mayHold(held, role) {
			s.fail(w, r, 0, fault.New("roles-apart", "%s", say("roles-apart", say("role-"+string(held)))).WithFix("%s", say("roles-apart-fix")))
			return false
		}
	}
	if role == roleCook {
		return true // remembered for the study, by who asks
	}
	s.remember(w, t, role)
	return true
}

// mayHold is tasting.MayHold for the cook too, who sees treatments as a
// preparer does.
func mayHold(a, b tasting.Role) bool {
	as := func(r tasting.Role) tasting.Role {
		if r == roleCook {
			return tasting.Preparer
		}
		return r
	}
	return tasting.MayHold(as(a), as(b))
}

func (s *Server) remember(w http.ResponseWriter, t *bench.Tasting, role tasting.Role) {
	rememberDevice(w, deviceCookie(t), role)
}

func rememberDevice(w http.ResponseWriter, name string, role tasting.Role) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: string(role), Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode, MaxAge: int(placeTime.Seconds())})
}

// base is the address printed in links. A preparer's link opens the key and
// is good under TLS alone where there is TLS; every other link is plain, so
// that no phone without the kitchen's certificate meets an alarm.
func (s *Server) base(r *http.Request, role tasting.Role) string {
	at := s.opt.where()
	if at.SecureURL != "" && (role == tasting.Preparer || role == tasting.Lead) {
		return strings.TrimSuffix(at.SecureURL, "/")
	}
	if at.PublicURL != "" {
		return strings.TrimSuffix(at.PublicURL, "/")
	}
	if r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// linkPaths are the paths of the links of each role.
var linkPaths = map[tasting.Role]string{tasting.Taster: "/b/", tasting.Server: "/trays/", tasting.Reader: "/watch/", tasting.Preparer: "/carve/"}

// passPaths are the paths of links to a study, and of the lead's own.
var passPaths = map[tasting.Role]string{roleCook: "/c/", tasting.Reader: "/r/", tasting.Lead: "/enter/"}

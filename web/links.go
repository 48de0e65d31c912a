package web

import (
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/tasting"
)

// find looks up the link of a request for one role. Anything else is answered
// here: an unknown link, a flood, a role the browser must not hold.
func (s *Server) find(w http.ResponseWriter, r *http.Request, role tasting.Role) (*bench.Tasting, bench.Place, bool) {
	token := r.PathValue("token")
	t, place, ok := s.room.Find(token)
	if !ok || place.Role != role {
		s.unknownLink(w, r, "link-unknown", "link-unknown-fix")
		return nil, bench.Place{}, false
	}
	if !s.guard.links.allow(token) {
		s.fail(w, r, 0, fault.New("too-many", "%s", say("too-many")).WithFix("%s", say("too-many-fix")))
		return nil, bench.Place{}, false
	}
	if !s.mayBe(w, r, t, role) {
		return nil, bench.Place{}, false
	}
	return t, place, true
}

// unknownLink answers a link that opens nothing, and slows whoever tries many.
// Good links go on working at the same address: several phones may share it.
func (s *Server) unknownLink(w http.ResponseWriter, r *http.Request, words, fix string) {
	if !s.guard.wrong.allow(addressOf(r)) {
		s.fail(w, r, 0, fault.New("too-many", "%s", say("too-many")).WithFix("%s", say("too-many-fix")))
		return
	}
	s.fail(w, r, 0, fault.New("link-unknown", "%s", say(words)).WithFix("%s", say(fix)))
}

// deviceCookie remembers what a browser has seen of a tasting. It keeps one
// device from both knowing and being blind by mistake; it is no defence
// against somebody who wants to cheat, who can take another device.
func deviceCookie(t *bench.Tasting) string { return "trivet-" + t.ID[:8] }

// mayBe tells whether this browser may take a role, and remembers it. Once a
// tasting is closed nothing is secret and every role may be held.
func (s *Server) mayBe(w http.ResponseWriter, r *http.Request, t *bench.Tasting, role tasting.Role) bool {
	if role == tasting.Reader || s.room.Closed(t.ID) {
		return true
	}
	if c, err := r.Cookie(deviceCookie(t)); err == nil && !tasting.MayHold(tasting.Role(c.Value), role) {
		s.fail(w, r, 0, fault.New("roles-apart", "%s", say("roles-apart", say("role-"+c.Value))).WithFix("%s", say("roles-apart-fix")))
		return false
	}
	s.remember(w, t, role)
	return true
}

func (s *Server) remember(w http.ResponseWriter, t *bench.Tasting, role tasting.Role) {
	http.SetCookie(w, &http.Cookie{Name: deviceCookie(t), Value: string(role), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: 7 * 24 * 3600})
}

// base is the address printed in links.
func (s *Server) base(r *http.Request) string {
	if s.opt.PublicURL != "" {
		return strings.TrimSuffix(s.opt.PublicURL, "/")
	}
	return "http://" + r.Host
}

// paths of the links of each role.
var linkPaths = map[tasting.Role]string{tasting.Taster: "/b/", tasting.Server: "/trays/", tasting.Reader: "/watch/", tasting.Preparer: "/carve/"}

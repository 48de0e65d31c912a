package web

import (
	"net/http"
	"strings"

	"trivet/tasting"
)

// who may use a route. Every route of the app is registered with one, by
// handle and nothing else, so that who may do what is read in one list.
type who string

const (
	anyone    who = "anyone"         // nothing of a study or a tasting is in it
	leadAlone who = "lead"           // signed in; under TLS where there is TLS
	atStove   who = "lead or cook"   // cooks of the study in the path
	byCook    who = "cook's link"    // the link in the path is its own proof
	byReader  who = "reader's link"  //
	byWatcher who = "watcher's link" // counts, and the result after closing
	byPrep    who = "preparer's link"
	byServer  who = "server's link"
	bySeat    who = "assessor's link"
	byLeadOne who = "lead's link"
)

// comesAs is the role that a link proves.
var comesAs = map[who]tasting.Role{byCook: roleCook, byReader: tasting.Reader, byWatcher: tasting.Reader, byPrep: tasting.Preparer,
	byServer: tasting.Server, bySeat: tasting.Taster, byLeadOne: tasting.Lead}

// route is one line of the list.
type route struct {
	Pattern string
	Who     who
}

// handle registers a route. Routes for the lead are guarded here; the
// handlers of the others check the link or the guest themselves.
func (s *Server) handle(mux *http.ServeMux, pattern string, by who, h http.Handler) {
	s.table = append(s.table, route{pattern, by})
	if by == leadAlone {
		h = s.onlyLead(h)
	}
	mux.Handle(pattern, h)
}

// whoOf finds by whom a pattern is used.
func (s *Server) whoOf(pattern string) who {
	for _, x := range s.table {
		if x.Pattern == pattern {
			return x.Who
		}
	}
	return anyone
}

// method is the method of a pattern, GET if it names none.
func (x route) method() string {
	if m, _, ok := strings.Cut(x.Pattern, " "); ok {
		return m
	}
	return http.MethodGet
}

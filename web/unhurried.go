package web

import (
	"net/http"
	"time"
)

// fileTime is how long a file may take on its way over a kitchen's network.
const fileTime = 30 * time.Minute

// unhurried gives a route that takes in or hands out files the time they need:
// the server's own limits are meant for forms and pages.
func unhurried(h http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		until := time.Now().Add(fileTime)
		// A connection that has no deadlines needs none moved.
		control := http.NewResponseController(w)
		_ = control.SetReadDeadline(until)
		_ = control.SetWriteDeadline(until)
		h(w, r)
	}
}

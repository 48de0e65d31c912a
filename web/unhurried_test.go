package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// A server in a hurry cuts a slow page and waits for a file.
func TestFilesAreWaitedFor(t *testing.T) {
	const hurry = 50 * time.Millisecond
	slow := func(w http.ResponseWriter, _ *http.Request) {
		time.Sleep(3 * hurry)
		io.WriteString(w, "whole")
	}
	for name, c := range map[string]struct {
		h    http.HandlerFunc
		want string
	}{"a page": {slow, ""}, "a file": {unhurried(slow), "whole"}} {
		t.Run(name, func(t *testing.T) {
			s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { c.h(&recorder{ResponseWriter: w}, r) }))
			s.Config.WriteTimeout = hurry
			s.Start()
			defer s.Close()
			got := ""
			if res, err := http.Get(s.URL); err == nil {
				b, _ := io.ReadAll(res.Body)
				res.Body.Close()
				got = string(b)
			}
			if got != c.want {
				t.Errorf("%q arrives, want %q", got, c.want)
			}
		})
	}
}

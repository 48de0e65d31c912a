package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// A request that is on its way while its lead is signed out does not bring the
// session back, and its late answer does not take the cookie away that the
// lead was given by signing in anew.
func TestARequestOnItsWayWhileTheLeadIsSignedOut(t *testing.T) {
	access, err := openAccess("", time.Now)
	if err != nil {
		t.Fatal(err)
	}
	l := newLeads(Options{SignIn: true}, access)
	came, goes := make(chan struct{}), make(chan struct{})
	mux := http.NewServeMux()
	mux.HandleFunc("POST /in", func(w http.ResponseWriter, r *http.Request) {
		if err := l.begin(r); err != nil {
			t.Error(err)
		}
	})
	mux.HandleFunc("GET /is", func(w http.ResponseWriter, r *http.Request) {
		if !l.isLead(r) {
			http.Error(w, "signed out", http.StatusUnauthorized)
		}
	})
	mux.HandleFunc("GET /slow", func(w http.ResponseWriter, r *http.Request) {
		close(came)
		<-goes
	})
	h := l.load(mux)
	ask := func(method, path string, with *http.Cookie) *http.Response {
		r := httptest.NewRequest(method, path, nil)
		if with != nil {
			r.AddCookie(with)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Result()
	}
	first := ask("POST", "/in", nil).Cookies()
	if len(first) != 1 {
		t.Fatalf("signing in gave the cookies %v", first)
	}
	if r := ask("GET", "/is", first[0]); r.StatusCode != http.StatusOK || len(r.Cookies()) != 0 {
		t.Fatalf("signed in: %s, cookies %v", r.Status, r.Cookies())
	}
	late := make(chan *http.Response)
	go func() { late <- ask("GET", "/slow", first[0]) }()
	<-came
	if err := access.signOutLeads(); err != nil {
		t.Fatal(err)
	}
	close(goes)
	if r := <-late; len(r.Cookies()) != 0 {
		t.Errorf("the late answer sets %v", r.Cookies())
	}
	if r := ask("GET", "/is", first[0]); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("after signing out: %s", r.Status)
	}
	again := ask("POST", "/in", first[0]).Cookies()
	if len(again) != 1 || again[0].Value == first[0].Value {
		t.Fatalf("signing in again gave %v", again)
	}
	if r := ask("GET", "/is", again[0]); r.StatusCode != http.StatusOK {
		t.Errorf("signed in again: %s", r.Status)
	}
}

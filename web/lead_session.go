package web

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/alexedwards/scs/v2"

	"trivet/fault"
)

// leads knows which browsers are the lead's.
type leads struct {
	hash     string
	sessions *scs.SessionManager
}

func newLeads(opt Options) *leads {
	m := scs.New() // kept in memory: a restart signs everybody out
	m.Lifetime = 12 * time.Hour
	m.IdleTimeout = 2 * time.Hour
	m.Cookie.Name = "trivet-lead"
	m.Cookie.HttpOnly = true
	m.Cookie.SameSite = http.SameSiteStrictMode
	m.Cookie.Persist = false
	m.HashTokenInStore = true
	return &leads{hash: opt.PassphraseHash, sessions: m}
}

// HashPassphrase makes the hash Options take. Under 10 characters is refused,
// code "passphrase-short".
func HashPassphrase(passphrase string) (string, error) {
	if len([]rune(passphrase)) < 10 {
		return "", fault.New("passphrase-short", "the passphrase is shorter than 10 characters").WithFix("use several words")
	}
	return argon2id.CreateHash(passphrase, argon2id.DefaultParams)
}

// load reads the session of a request where sessions are used at all.
func (l *leads) load(next http.Handler) http.Handler {
	if l.hash == "" {
		return next
	}
	return l.sessions.LoadAndSave(next)
}

func (l *leads) isLead(r *http.Request) bool {
	return l.hash == "" || l.sessions.GetBool(r.Context(), "lead")
}

// only lets the lead through and sends others to sign in.
func (l *leads) only(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if l.isLead(r) {
			next.ServeHTTP(w, r)
			return
		}
		to := "/login"
		if r.Method == http.MethodGet && r.URL.Path != "/" {
			to += "?next=" + url.QueryEscape(r.URL.Path)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
	})
}

// localPath keeps a redirect inside the app.
func localPath(p string) string {
	if !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.ContainsAny(p, "\\\r\n") {
		return "/"
	}
	return p
}

type loginView struct {
	Next  string
	Error *fault.Error
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) {
	if s.leads.isLead(r) {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.render(w, r, http.StatusOK, "login", page{Title: say("login-title")}, loginView{Next: localPath(r.FormValue("next"))})
}

func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	if s.leads.hash == "" {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	next := localPath(r.FormValue("next"))
	again := func(status int, f *fault.Error) {
		s.render(w, r, status, "login", page{Title: say("login-title")}, loginView{next, f})
	}
	if !s.guard.wrong.allow(addressOf(r)) {
		again(http.StatusTooManyRequests, fault.New("too-many", "%s", say("too-many")).WithFix("%s", say("too-many-fix")))
		return
	}
	s.guard.costly <- struct{}{}
	ok, err := argon2id.ComparePasswordAndHash(r.FormValue("passphrase"), s.leads.hash)
	<-s.guard.costly
	if err != nil || !ok {
		again(http.StatusForbidden, fault.New("passphrase-wrong", "%s", say("login-wrong")).On("passphrase", "").WithFix("%s", say("login-wrong-fix")))
		return
	}
	if err := s.leads.sessions.RenewToken(r.Context()); err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	s.leads.sessions.Put(r.Context(), "lead", true)
	http.Redirect(w, r, next, http.StatusSeeOther)
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) {
	if s.leads.hash != "" {
		if err := s.leads.sessions.Destroy(r.Context()); err != nil {
			s.fail(w, r, http.StatusInternalServerError, err)
			return
		}
	}
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}

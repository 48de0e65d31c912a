package web

import (
	"context"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/alexedwards/scs/v2"

	"trivet/fault"
	"trivet/tasting"
)

// leads knows which browsers are the lead's. Sessions under TLS and on plain
// HTTP have different cookies: the one of TLS is never sent in the clear.
type leads struct {
	hash       string
	signIn     bool // somebody has to sign in to be the lead
	plain, tls *scs.SessionManager
}

// leadTime is the longest that a lead stays signed in.
const leadTime = 12 * time.Hour

func newLeads(opt Options, a *access) *leads {
	manager := func(name string, secure bool) *scs.SessionManager {
		m := scs.New()
		m.Store = a
		m.Lifetime = leadTime
		m.IdleTimeout = 2 * time.Hour
		m.Cookie.Name = name
		m.Cookie.HttpOnly = true
		m.Cookie.Secure = secure
		m.Cookie.SameSite = http.SameSiteStrictMode
		m.Cookie.Persist = false
		m.HashTokenInStore = true
		return m
	}
	return &leads{hash: opt.PassphraseHash, signIn: opt.PassphraseHash != "" || opt.SignIn,
		plain: manager("trivet-lead", false), tls: manager("__Host-trivet-lead", true)}
}

// HashPassphrase makes the hash Options take. Under 10 characters is refused,
// code "passphrase-short".
func HashPassphrase(passphrase string) (string, error) {
	if len([]rune(passphrase)) < 10 {
		return "", fault.New("passphrase-short", "the passphrase is shorter than 10 characters").WithFix("use several words")
	}
	return argon2id.CreateHash(passphrase, argon2id.DefaultParams)
}

func (l *leads) of(r *http.Request) *scs.SessionManager {
	if r.TLS != nil {
		return l.tls
	}
	return l.plain
}

// load reads the session of a request where sessions are used at all.
func (l *leads) load(next http.Handler) http.Handler {
	if !l.signIn {
		return next
	}
	plain, tls := l.plain.LoadAndSave(next), l.tls.LoadAndSave(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, err := r.Cookie(l.of(r).Cookie.Name); err == nil {
			once := &cookieOnce{ResponseWriter: w, had: c.Name + "=" + c.Value + ";"}
			defer once.drop()
			w = once
		}
		if r.TLS != nil {
			tls.ServeHTTP(w, r)
		} else {
			plain.ServeHTTP(w, r)
		}
	})
}

// cookieOnce takes out of an answer the cookie that came with its request. A
// browser has it, and keeps it until it is closed; where somebody signed in
// anew while the answer was on its way, it would put the old one back.
type cookieOnce struct {
	http.ResponseWriter
	had string
}

func (c *cookieOnce) drop() {
	h := c.Header()
	if all := h["Set-Cookie"]; all != nil {
		h["Set-Cookie"] = slices.DeleteFunc(all, func(s string) bool { return strings.HasPrefix(s, c.had) })
	}
}

func (c *cookieOnce) WriteHeader(status int) {
	c.drop()
	c.ResponseWriter.WriteHeader(status)
}

func (c *cookieOnce) Write(p []byte) (int, error) {
	c.drop()
	return c.ResponseWriter.Write(p)
}

// Unwrap lets an answer be sent in parts (http.ResponseController).
func (c *cookieOnce) Unwrap() http.ResponseWriter { return c.ResponseWriter }

func (l *leads) isLead(r *http.Request) bool {
	return !l.signIn || l.of(r).GetBool(r.Context(), "lead")
}

// begin makes the browser of a request the lead's, under a new token.
func (l *leads) begin(r *http.Request) error {
	m := l.of(r)
	if err := m.RenewToken(r.Context()); err != nil {
		return err
	}
	m.Put(r.Context(), "lead", true)
	return nil
}

func (l *leads) end(r *http.Request) error {
	if !l.signIn {
		return nil
	}
	return l.of(r).Destroy(r.Context())
}

// exposed tells that a request came over plain HTTP through a network that
// could have come under TLS.
func (s *Server) exposed(r *http.Request) bool {
	return s.opt.where().SecureURL != "" && r.TLS == nil && !loopbackName(hostOf(r.Host))
}

func loopbackName(host string) bool {
	return host == "localhost" || host == "127.0.0.1" || host == "::1"
}

// onlyLead lets the lead through and sends others to sign in; under plain HTTP
// in a network that has TLS, to the page of the certificate.
func (s *Server) onlyLead(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case s.exposed(r):
			s.needsTLS(w, r)
		case s.leads.isLead(r):
			next.ServeHTTP(w, r)
		default:
			s.askToSignIn(w, r)
		}
	})
}

// needsTLS answers what is not shown or taken in the clear.
func (s *Server) needsTLS(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet && !wantsJSON(r) {
		to := "/certificate"
		if !strings.HasPrefix(r.URL.Path, linkPaths[tasting.Preparer]) && r.URL.Path != "/" {
			to += "?next=" + url.QueryEscape(r.URL.Path)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	s.fail(w, r, http.StatusForbidden, fault.New("needs-tls", "%s", say("needs-tls")).WithFix("%s", say("needs-tls-fix")))
}

// askToSignIn sends a reader to the sign-in page; who was in the middle of a
// form signs in right there, and what was typed comes back after.
func (s *Server) askToSignIn(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		to := "/login"
		if r.URL.Path != "/" {
			to += "?next=" + url.QueryEscape(r.URL.Path)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	signedOut := fault.New("signed-out", "%s", say("signed-out")).WithFix("%s", say("signed-out-fix"))
	if wantsJSON(r) {
		s.fail(w, r, http.StatusUnauthorized, signedOut)
		return
	}
	v := loginView{Next: "/", Error: signedOut, Passphrase: s.leads.hash != ""}
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind == "application/x-www-form-urlencoded" && r.ContentLength <= maxForm && r.ParseForm() == nil {
		v.To, v.Kept = localPath(r.URL.Path), keptFields(r.PostForm, "")
	} else {
		v.Error = signedOut.WithFix("%s", say("signed-out-file-fix"))
	}
	s.render(w, r, http.StatusUnauthorized, "login", page{Title: say("login-title")}, v)
}

// keptField is a field of a form that waits until its writer has signed in.
type keptField struct{ Name, Value string }

// keptPrefix marks, in the sign-in form, the fields of the form that waits.
const keptPrefix = "kept."

// keptFields lists a form's fields in order, passphrases left out.
func keptFields(form url.Values, prefix string) []keptField {
	var out []keptField
	for name, values := range form {
		plain, ok := strings.CutPrefix(name, prefix)
		if !ok || strings.Contains(plain, "passphrase") {
			continue
		}
		for _, v := range values {
			out = append(out, keptField{plain, v})
		}
	}
	slices.SortStableFunc(out, func(a, b keptField) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// localPath keeps a redirect inside the app.
func localPath(p string) string {
	if !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.ContainsAny(p, "\\\r\n") {
		return "/"
	}
	return p
}

type loginView struct {
	Next       string
	Error      *fault.Error
	To         string // where the form that waits goes
	Kept       []keptField
	Passphrase bool // there is one; otherwise a link from the terminal signs in
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) {
	if s.exposed(r) {
		http.Redirect(w, r, "/certificate?next=/login", http.StatusSeeOther)
		return
	}
	if s.leads.isLead(r) {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.render(w, r, http.StatusOK, "login", page{Title: say("login-title")}, loginView{Next: localPath(r.FormValue("next")), Passphrase: s.leads.hash != ""})
}

func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	if s.exposed(r) {
		s.needsTLS(w, r)
		return
	}
	if !s.leads.signIn {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := loginView{Next: localPath(r.PostForm.Get("next")), Kept: keptFields(r.PostForm, keptPrefix), Passphrase: s.leads.hash != ""}
	if to := r.PostForm.Get("to"); to != "" {
		v.To = localPath(to)
	}
	again := func(status int, f *fault.Error) {
		v.Error = f
		s.render(w, r, status, "login", page{Title: say("login-title")}, v)
	}
	if !s.guard.wrong.allow(networkOf(r)) {
		again(http.StatusTooManyRequests, tooMany())
		return
	}
	ok := false
	if s.leads.hash != "" {
		done, err := s.guard.costlyTurn(r.Context())
		if err != nil {
			return // the asker has gone
		}
		ok, err = argon2id.ComparePasswordAndHash(r.PostForm.Get("passphrase"), s.leads.hash)
		done()
		ok = ok && err == nil
	}
	if !ok {
		again(http.StatusForbidden, fault.New("passphrase-wrong", "%s", say("login-wrong")).On("passphrase", "").WithFix("%s", say("login-wrong-fix")))
		return
	}
	if err := s.leads.begin(r); err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	if v.To != "" {
		s.render(w, r, http.StatusOK, "signedin", page{Title: say("signedin-title")}, v)
		return
	}
	http.Redirect(w, r, v.Next, http.StatusSeeOther)
}

// costlyTurn waits for one of the few places in which passphrases are tried.
func (g *guard) costlyTurn(ctx context.Context) (done func(), err error) {
	select {
	case g.costly <- struct{}{}:
		return func() { <-g.costly }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// logout ends the lead's session and a guest's.
func (s *Server) logout(w http.ResponseWriter, r *http.Request) {
	err := s.leads.end(r)
	for _, name := range passCookies(r) {
		if c, e := r.Cookie(name); e == nil && err == nil {
			err = s.access.leave(c.Value)
			http.SetCookie(w, &http.Cookie{Name: name, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteLaxMode, MaxAge: -1})
		}
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	to := "/login"
	if s.exposed(r) {
		to = "/certificate"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// NewLeadLink draws a link that signs the lead in, once and within the hour.
func (s *Server) NewLeadLink() (path string, err error) {
	token, _, err := s.access.hand(handedLink{Role: tasting.Lead, Once: true, Until: s.opt.Now().Add(leadLinkTime)})
	return passPaths[tasting.Lead] + token, err
}

// enterPage asks before a lead's link is used up: a link that is only looked
// at, by a program that shows previews, stays good.
func (s *Server) enterPage(w http.ResponseWriter, r *http.Request) {
	if s.exposed(r) {
		s.needsTLS(w, r)
		return
	}
	if _, why := s.access.link(r.PathValue("token"), tasting.Lead); why != "" {
		s.unknownLink(w, r, why)
		return
	}
	s.render(w, r, http.StatusOK, "enter", page{Title: say("login-title")}, r.URL.Path)
}

func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if s.exposed(r) {
		s.needsTLS(w, r)
		return
	}
	_, _, why, err := s.access.open(r.PathValue("token"), tasting.Lead)
	if why != "" {
		s.unknownLink(w, r, why)
		return
	}
	if err == nil && s.leads.signIn {
		err = s.leads.begin(r)
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

package web

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"trivet/fault"
)

// policy allows a page its own style, script and addresses and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; " +
	"worker-src 'self'; font-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// maxForm is the most bytes of a form: a long comment fits many times.
const maxForm = 256 << 10

// guard stands before every page.
type guard struct {
	opt   Options
	cross *http.CrossOriginProtection
	// wrong slows whoever guesses links or passphrases, by address; links
	// slows whoever floods a valid link.
	wrong, links *limits
	// costly bounds how many passphrases are tried at once: each takes 64 MiB.
	costly chan struct{}
}

func newGuard(opt Options) *guard {
	return &guard{opt: opt, cross: http.NewCrossOriginProtection(),
		wrong:  newLimits(rate.Every(5*time.Second), 20, opt.Now),
		links:  newLimits(rate.Limit(10), 60, opt.Now),
		costly: make(chan struct{}, 2)}
}

// around wraps the pages: panics are caught, strange hosts and cross-site
// posts refused, headers set, and one line logged without any link.
func (g *guard) around(s *Server, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start, route := time.Now(), ""
		rec := &recorder{ResponseWriter: w, status: http.StatusOK}
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				g.opt.Log.Error("fault", "route", route, "what", p, "stack", string(debug.Stack()))
				if !rec.wrote {
					s.fail(rec, r, http.StatusInternalServerError, fault.New("internal", "%s", say("internal")).WithFix("%s", say("internal-fix")))
				}
			}
			g.opt.Log.Info("request", "method", r.Method, "route", route, "status", rec.status, "bytes", rec.bytes, "ms", float64(time.Since(start).Microseconds())/1000)
		}()
		g.headers(rec, r)
		if !slices.Contains(g.opt.where().Hosts, hostOf(r.Host)) {
			s.fail(rec, r, http.StatusMisdirectedRequest, fault.New("host-unknown", "%s", say("host-unknown")).WithFix("%s", say("host-unknown-fix")))
			return
		}
		if err := g.cross.Check(r); err != nil {
			s.fail(rec, r, http.StatusForbidden, fault.New("cross-site", "%s", say("cross-site")).WithFix("%s", say("cross-site-fix")))
			return
		}
		r.Body = http.MaxBytesReader(rec, r.Body, bodyLimit(r))
		next.ServeHTTP(rec, r.WithContext(context.WithValue(r.Context(), routeKey{}, &route)))
	})
}

// routeKey finds, in a request's context, where its route is noted for the
// log. The route is a pattern such as "GET /b/{token}", never an address.
type routeKey struct{}

// noteRoute notes the pattern that the pages were chosen by.
func noteRoute(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if route, ok := r.Context().Value(routeKey{}).(*string); ok {
			defer func() { *route = r.Pattern }()
		}
		next.ServeHTTP(w, r)
	})
}

// policy lets a plain page try, besides, whether the server's address under
// TLS is trusted.
func (g *guard) policy(r *http.Request) string {
	to := g.opt.secureHere(r)
	if to == "" || r.TLS != nil || !slices.Contains(g.opt.where().Hosts, hostOf(r.Host)) {
		return policy
	}
	return strings.Replace(policy, "connect-src 'self'", "connect-src 'self' "+to, 1)
}

func (g *guard) headers(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", g.policy(r))
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	// "no-referrer" would turn the Origin of our own forms into "null" where
	// the browser sends no Sec-Fetch-Site: on plain HTTP in the kitchen.
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), payment=()")
	h.Set("Cache-Control", "no-store")
	// There is no Strict-Transport-Security: it would turn the plain port of
	// the same name into a TLS one too (RFC 6797, 8.3, keeps port numbers),
	// and phones without the kitchen's certificate would meet an alarm.
}

// hostOf is a Host header without its port and brackets.
func hostOf(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	return strings.ToLower(strings.Trim(host, "[]"))
}

// networkOf is by what guesses are counted: an IPv4 address, or the /64 of an
// IPv6 one, in which a single device has as many addresses as it likes.
func networkOf(r *http.Request) string {
	a, err := netip.ParseAddr(addressOf(r))
	if err != nil {
		return addressOf(r)
	}
	if a = a.Unmap(); a.Is6() {
		if p, err := a.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}

func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// recorder notes what was sent.
type recorder struct {
	http.ResponseWriter
	status int
	bytes  int
	wrote  bool
}

func (r *recorder) WriteHeader(status int) {
	if !r.wrote {
		r.status, r.wrote = status, true
	}
	r.ResponseWriter.WriteHeader(status)
}

func (r *recorder) Write(p []byte) (int, error) {
	r.wrote = true
	n, err := r.ResponseWriter.Write(p)
	r.bytes += n
	return n, err
}

// Unwrap serves http.ResponseController.
func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }

// limits holds a rate limiter a name, and forgets those long unused.
type limits struct {
	mu    sync.Mutex
	limit rate.Limit
	burst int
	now   func() time.Time
	by    map[string]*rate.Limiter
}

func newLimits(l rate.Limit, burst int, now func() time.Time) *limits {
	return &limits{limit: l, burst: burst, now: now, by: map[string]*rate.Limiter{}}
}

// maxLimits is the most limiters kept: beyond it the unused are forgotten.
const maxLimits = 4096

func (l *limits) of(name string) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	n := l.by[name]
	if n == nil {
		if len(l.by) >= maxLimits {
			for k, v := range l.by {
				if v.TokensAt(now) >= float64(l.burst) {
					delete(l.by, k)
				}
			}
		}
		if len(l.by) >= maxLimits { // all in use: one for the rest
			name = ""
			if n = l.by[name]; n != nil {
				return n
			}
		}
		n = rate.NewLimiter(l.limit, l.burst)
		l.by[name] = n
	}
	return n
}

// allow takes one use.
func (l *limits) allow(name string) bool { return l.of(name).AllowN(l.now(), 1) }

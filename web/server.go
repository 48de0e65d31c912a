package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"

	"trivet/bench"
	"trivet/fault"
)

// Options set a server up. Now and Random are required.
type Options struct {
	Now    func() time.Time
	Random io.Reader // cryptographic, safe for several goroutines
	// PassphraseHash is the argon2id hash of the lead's passphrase; empty
	// makes every visitor the lead, for loopback only.
	PassphraseHash string
	// Hosts are the host names, without port, by which the server may be
	// asked for; empty means localhost, 127.0.0.1 and ::1. Any other name is
	// refused, so that a page elsewhere cannot reach a kitchen's server by
	// pointing its own name here.
	Hosts []string
	// Where tells how the server is reached at the time, instead of Hosts,
	// PublicURL and SecureURL, where that changes. It is asked with every
	// request. Whether there is a SecureURL must not change.
	Where func() Where
	// SignIn makes everybody sign in to be the lead even without a passphrase,
	// by the links of NewLeadLink.
	SignIn bool
	// AccessFile keeps sessions and links, so that a restart signs nobody out;
	// "" keeps them in memory alone.
	AccessFile string
	// SecureURL is where the same server answers under TLS, such as
	// https://192.168.1.20:8138, and Root the kitchen's certificate, which a
	// device needs for it. The lead's and the preparer's pages are then shown
	// under TLS and on this machine alone.
	SecureURL string
	Root      *KitchenRoot
	// PublicURL is printed in links and QR codes, such as
	// http://192.168.1.20:8137; empty takes the address of the request.
	PublicURL string
	// Log takes one line a request: method, route, status, bytes, time. A
	// link is never written to it. nil discards.
	Log *slog.Logger
}

// Server is the web app.
type Server struct {
	opt    Options
	store  bench.TastingStore
	room   *bench.TastingRoom
	vault  *vault
	guard  *guard
	access *access
	leads  *leads
	assets *assets
	mux    *http.ServeMux
	table  []route
}

// New makes a server on a notebook.
func New(ctx context.Context, store bench.TastingStore, opt Options) (*Server, error) {
	if opt.Now == nil || opt.Random == nil {
		return nil, fault.New("options", "the server needs a clock and a source of randomness")
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	room, err := bench.NewTastingRoom(ctx, store, opt.Now, opt.Random)
	if err != nil {
		return nil, err
	}
	a, err := newAssets()
	if err != nil {
		return nil, err
	}
	in, err := openAccess(opt.AccessFile, opt.Now)
	if err != nil {
		return nil, err
	}
	s := &Server{opt: opt, store: store, room: room, vault: newVault(in, opt.Now), guard: newGuard(opt), access: in, leads: newLeads(opt, in), assets: a, mux: http.NewServeMux()}
	s.routes()
	return s, nil
}

func (s *Server) routes() {
	on := func(pattern string, by who, h http.HandlerFunc) { s.handle(s.mux, pattern, by, h) }
	lead := func(pattern string, h http.HandlerFunc) { on(pattern, leadAlone, h) }
	s.handle(s.mux, "GET /assets/{name}", anyone, s.assets)
	on("GET /favicon.ico", anyone, func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	on("GET /login", anyone, s.loginPage)
	on("POST /login", anyone, s.login)
	on("POST /logout", anyone, s.logout)
	on("GET /enter/{token}", byLeadOne, s.enterPage)
	on("POST /enter/{token}", byLeadOne, s.enter)
	on("GET /alive", anyone, s.alive)
	on("GET /worker.js", anyone, s.workerScript)
	on("GET /certificate", anyone, s.certificatePage)
	on("GET /certificate/trivet-kitchen-root.crt", anyone, s.certificateFile)
	on("GET /certificate/trusted", anyone, s.certificateTrusted)

	lead("GET /{$}", s.desk)
	lead("GET /tastings/new", s.newTastingPage)
	lead("POST /tastings/new", s.newTasting)
	lead("GET /tastings/{id}", s.tastingPage)
	lead("POST /tastings/{id}/unlock", s.unlock)
	lead("POST /tastings/{id}/lock", s.lockAgain)
	lead("POST /tastings/{id}/free", s.freeSeat)
	lead("POST /tastings/{id}/withdraw", s.withdrawFor)
	lead("POST /tastings/{id}/deviation", s.leadDeviation)
	lead("POST /tastings/{id}/close", s.closeTasting)
	lead("GET /tastings/{id}/ballots", s.ballotSheets)
	lead("GET /tastings/{id}/ballots.pdf", s.ballotsPDF)

	on("GET /carve/{token}", byPrep, s.carveSheet)
	on("GET /trays/{token}", byServer, s.traySheet)
	on("POST /trays/{token}", byServer, s.trayDeviation)
	on("GET /watch/{token}", byWatcher, s.watchPage)
	on("GET /b/{token}", bySeat, s.ballotPage)
	on("POST /b/{token}/door", bySeat, s.throughDoor)
	on("POST /b/{token}/answer", bySeat, s.answer)
	on("POST /b/{token}/withdraw", bySeat, s.withdraw)
	on("/", anyone, func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, fault.New("page-unknown", "%s", say("page-unknown")).WithFix("%s", say("page-unknown-fix")))
	})
}

// Handler is the whole app: guards outside, pages inside.
func (s *Server) Handler() http.Handler { return s.guard.around(s, s.leads.load(noteRoute(s.mux))) }

// Room is the tasting room behind the pages.
func (s *Server) Room() *bench.TastingRoom { return s.room }

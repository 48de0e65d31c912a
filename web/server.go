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
	leads  *leads
	assets *assets
	mux    *http.ServeMux
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
	s := &Server{opt: opt, store: store, room: room, vault: newVault(opt.Now), guard: newGuard(opt), leads: newLeads(opt), assets: a, mux: http.NewServeMux()}
	s.routes()
	return s, nil
}

func (s *Server) routes() {
	lead := func(pattern string, h http.HandlerFunc) { s.mux.Handle(pattern, s.leads.only(h)) }
	s.mux.Handle("GET /assets/{name}", s.assets)
	s.mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	s.mux.HandleFunc("GET /login", s.loginPage)
	s.mux.HandleFunc("POST /login", s.login)
	s.mux.HandleFunc("POST /logout", s.logout)

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

	s.mux.HandleFunc("GET /carve/{token}", s.carveSheet)
	s.mux.HandleFunc("GET /trays/{token}", s.traySheet)
	s.mux.HandleFunc("POST /trays/{token}", s.trayDeviation)
	s.mux.HandleFunc("GET /watch/{token}", s.watchPage)
	s.mux.HandleFunc("GET /b/{token}", s.ballotPage)
	s.mux.HandleFunc("POST /b/{token}/door", s.enter)
	s.mux.HandleFunc("POST /b/{token}/answer", s.answer)
	s.mux.HandleFunc("POST /b/{token}/withdraw", s.withdraw)
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, fault.New("page-unknown", "%s", say("page-unknown")).WithFix("%s", say("page-unknown-fix")))
	})
}

// Handler is the whole app: guards outside, pages inside.
func (s *Server) Handler() http.Handler { return s.guard.around(s, s.leads.load(noteRoute(s.mux))) }

// Room is the tasting room behind the pages.
func (s *Server) Room() *bench.TastingRoom { return s.room }

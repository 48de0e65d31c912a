package cli

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/bundle"
	"trivet/fault"
	"trivet/store"
	"trivet/web"
)

type serveOptions struct {
	port, tlsPort  int
	tls, oneTime   bool
	lan            bool
	demo           bool
	log            bool
	passphraseFile string
}

func newServe(env *Env) *cobra.Command {
	var o serveOptions
	c := &cobra.Command{
		Use:   "serve",
		Short: "Serve studies and the tasting room to browsers",
		Long: `Serves the notebook: every study as a page that is written, planned, sealed,
filled with logs and answered in the browser, and the tasting room: set up a
blind tasting, hand out sheets and ballots, collect the answers on phones,
close and score.

Without --lan it answers on this machine only and asks for nothing. With --lan
it answers in the kitchen's network, and the lead signs in with a passphrase,
typed, read from --passphrase-file or from TRIVET_PASSPHRASE, or with
--one-time-link by a link that is printed once, with a code to scan, and is
good for one browser within the hour. Everybody else comes by a link that opens
one role. Sessions and links live through a restart; they are kept hashed in
NOTEBOOK.access.json, which is in no backup.

With --lan it answers twice: under TLS on --tls-port and over plain HTTP on
--port. TLS uses a certificate of the kitchen's own, made at the first start;
the page /certificate on the plain port gives it to a tablet, with the steps
for each system. Over plain HTTP whoever can read the network can read ballots,
tray sheets, cooks' pages and findings, and what is sent from them; the lead's
pages, passphrases and the key of a tasting are shown and taken only under TLS
and on this machine. With --tls=false everything is plain HTTP, passphrases
too: for a network in which you trust everybody.

Stop with Ctrl-C; open requests finish first, and nothing acknowledged is lost
however it stops.`,
		Example: `  trivet serve --demo
  trivet serve --notebook kitchen.trivet
  trivet serve --lan --notebook kitchen.trivet
  trivet serve --lan --passphrase-file words.txt --port 8080 --tls-port 8443
  trivet serve --lan --one-time-link
  trivet serve --lan --tls=false`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runServe(cmd.Context(), env, o) },
	}
	f := c.Flags()
	f.IntVar(&o.port, "port", 8137, "port to listen on; 0 takes a free one")
	f.BoolVar(&o.lan, "lan", false, "answer in the local network, with a passphrase for the lead")
	f.BoolVar(&o.tls, "tls", true, "with --lan, answer under TLS too, with a certificate of the kitchen's own")
	f.IntVar(&o.tlsPort, "tls-port", 0, "port to listen on under TLS; 0 takes the one after --port, or a free one with --port 0")
	f.BoolVar(&o.oneTime, "one-time-link", false, "with --lan, print a link that signs the lead in once, instead of asking for a passphrase")
	f.BoolVar(&o.demo, "demo", false, "serve the invented demo study from a folder that is thrown away")
	f.BoolVar(&o.log, "log", false, "write one line a request to standard error; links are never written")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "file whose first line is the lead's passphrase, with --lan")
	return c
}

// stopTime is how long open requests may take to finish.
const stopTime = 10 * time.Second

func runServe(ctx context.Context, env *Env, o serveOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	if os.Getenv("GOGC") == "" {
		// A study of thousands of cooks is held once and a half at most, not
		// twice, while it is answered.
		debug.SetGCPercent(50)
	}
	opt := web.Options{Now: env.Now, Random: env.Random}
	if o.log {
		opt.Log = slog.New(slog.NewTextHandler(env.Stderr, nil))
	} else {
		opt.Log = slog.New(slog.NewTextHandler(env.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
	}
	host := "127.0.0.1"
	if o.lan {
		host, opt.SignIn = "", true
	}
	if o.lan && !o.oneTime {
		pass, err := env.serverPassphrase(o.passphraseFile)
		if err != nil {
			return err
		}
		if opt.PassphraseHash, err = web.HashPassphrase(pass); err != nil {
			return err
		}
	}
	var nb *store.Notebook
	var err error
	if o.demo {
		dir, err := os.MkdirTemp("", "trivet-demo-")
		if err != nil {
			return fault.New("demo-folder", "there is no place for the demo").Wrap(err)
		}
		defer os.RemoveAll(dir)
		env.Tell("inventing the demo study …")
		d, err := bench.MakeDemo(nil)
		if err != nil {
			return err
		}
		path := filepath.Join(dir, "demo.trivet")
		if _, err := demoNotebook(ctx, path, d); err != nil {
			return err
		}
		if nb, err = store.Open(ctx, path, store.Options{Now: env.Now}); err != nil {
			return err
		}
	} else if nb, err = env.openNotebook(ctx, true); err != nil {
		return err
	}
	defer nb.Close()

	listen, port, err := listenOn(host, o.port, "--port")
	if err != nil {
		return err
	}
	defer listen.Close()
	at, listeners := servingAt{URLs: []string{"http://127.0.0.1:" + strconv.Itoa(port)}}, []net.Listener{listen}
	if o.lan {
		var secure net.Listener
		var place *whereabouts
		if secure, at, place, err = listenLAN(env, o, &opt, port, nb.Path()); err != nil {
			return err
		}
		watching, stop := context.WithCancel(ctx)
		watched := make(chan struct{})
		go func() { defer close(watched); place.watch(watching, 10*time.Second, env.tellMoved) }()
		defer func() { stop(); <-watched }()
		if secure != nil {
			defer secure.Close()
			listeners = append(listeners, secure)
		}
	}
	app, err := web.New(ctx, nb, opt)
	if err != nil {
		return err
	}
	if o.oneTime {
		if err := at.oneTimeLink(app); err != nil {
			return err
		}
	}
	auditPath := nb.Path() + ".audit.jsonl"
	audit, err := os.OpenFile(auditPath, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return fault.New("audit-log", "the log of changes cannot be written").In(auditPath).Wrap(err).
			WithFix("serve a notebook in a folder that can be written to")
	}
	defer audit.Close()
	desk, err := web.NewDesk(app, nb, web.DeskOptions{OpenFolder: env.openForImport, Incoming: nb.Path() + ".incoming", Maps: filepath.Join(filepath.Dir(nb.Path()), "maps"), Version: Version, Audit: audit,
		ReadAudit: func() (io.ReadCloser, error) { return os.Open(auditPath) }, Publishing: env.publishing(nb)})
	if err != nil {
		return err
	}
	if err := env.tellServing(at); err != nil {
		return err
	}
	defer desk.Close() // before the notebook is closed
	warm, stopWarming := context.WithCancel(ctx)
	warmed := make(chan struct{})
	go func() { defer close(warmed); desk.Warm(warm) }()
	defer func() { stopWarming(); <-warmed }() // before the notebook is closed
	return serveUntil(ctx, listeners, desk.Handler(), opt.Log)
}

// openForImport opens an unpacked folder that came through a page.
func (e *Env) openForImport(ctx context.Context, dir string) (bench.Reader, string, bool, error) {
	src, err := e.openFolder(ctx, dir)
	if err != nil {
		return nil, "", false, err
	}
	return src.reader, src.id, bundle.IsPackage(dir), nil
}

// serveUntil serves until the context ends, then lets open requests finish.
func serveUntil(ctx context.Context, listeners []net.Listener, h http.Handler, log *slog.Logger) error {
	server := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       20 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
	failed := make(chan error, len(listeners))
	for _, listen := range listeners {
		go func() { failed <- server.Serve(listen) }()
	}
	select {
	case err := <-failed:
		return fault.New("serve", "the server stopped").Wrap(err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if err := server.Shutdown(stop); err != nil && !errors.Is(err, http.ErrServerClosed) {
		return fault.New("serve", "some requests did not finish in time and were cut off").Wrap(err)
	}
	return nil
}

// serverPassphrase reads the passphrase the lead will sign in with.
func (e *Env) serverPassphrase(file string) (string, error) {
	p, err := e.passphrase(file)
	if f := fault.As(err); f != nil && f.Code == "passphrase-missing" {
		return "", fault.BadUsage("passphrase-missing", "--lan needs a passphrase for the lead, and none was given").
			WithFix("name a file with --passphrase-file, set TRIVET_PASSPHRASE, or use --one-time-link")
	}
	return p, err
}

// lanNames lists the names this machine may be asked for by in its network,
// and its addresses there, the likeliest first.
func lanNames() (names, addresses []string) {
	names = []string{"localhost", "127.0.0.1", "::1"}
	if h, err := os.Hostname(); err == nil {
		h = strings.ToLower(h)
		names = append(names, h, h+".local")
	}
	all, err := net.InterfaceAddrs()
	if err != nil {
		return names, nil
	}
	var six []string
	for _, a := range all {
		ip, ok := a.(*net.IPNet)
		if !ok || ip.IP.IsLoopback() || ip.IP.IsLinkLocalUnicast() {
			continue
		}
		names = append(names, strings.ToLower(ip.IP.String()))
		if ip.IP.To4() != nil {
			addresses = append(addresses, ip.IP.String())
		} else {
			six = append(six, ip.IP.String())
		}
	}
	return names, append(addresses, six...)
}

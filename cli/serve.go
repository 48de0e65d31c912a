package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
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
	port           int
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
typed, read from --passphrase-file or from TRIVET_PASSPHRASE; everybody else
comes by a link that opens one role.

The connection in the kitchen's network is plain HTTP: whoever can read that
network can read what is sent over it. Stop with Ctrl-C; open requests finish
first, and nothing acknowledged is lost however it stops.`,
		Example: `  trivet serve --demo
  trivet serve --notebook kitchen.trivet
  trivet serve --lan --notebook kitchen.trivet`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runServe(cmd.Context(), env, o) },
	}
	f := c.Flags()
	f.IntVar(&o.port, "port", 8137, "port to listen on; 0 takes a free one")
	f.BoolVar(&o.lan, "lan", false, "answer in the local network, with a passphrase for the lead")
	f.BoolVar(&o.demo, "demo", false, "serve the invented demo study from a folder that is thrown away")
	f.BoolVar(&o.log, "log", false, "write one line a request to standard error; links are never written")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "file whose first line is the lead's passphrase, with --lan")
	return c
}

// stopTime is how long open requests may take to finish.
const stopTime = 10 * time.Second

func runServe(ctx context.Context, env *Env, o serveOptions) error {
	if o.port < 0 || o.port > 65535 {
		return fault.BadUsage("port-range", "this is no port").On("--port", strconv.Itoa(o.port)).WithFix("between 1 and 65535, or 0 for a free one")
	}
	opt := web.Options{Now: env.Now, Random: env.Random}
	if o.log {
		opt.Log = slog.New(slog.NewTextHandler(env.Stderr, nil))
	} else {
		opt.Log = slog.New(slog.NewTextHandler(env.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
	}
	host := "127.0.0.1"
	if o.lan {
		pass, err := env.serverPassphrase(o.passphraseFile)
		if err != nil {
			return err
		}
		if opt.PassphraseHash, err = web.HashPassphrase(pass); err != nil {
			return err
		}
		host = ""
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

	listen, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(o.port)))
	if err != nil {
		return fault.New("port-taken", "the port cannot be listened on").On("--port", strconv.Itoa(o.port)).Wrap(err).
			WithFix("stop what uses it, or choose another with --port")
	}
	defer listen.Close()
	port := listen.Addr().(*net.TCPAddr).Port
	local := "http://127.0.0.1:" + strconv.Itoa(port)
	urls := []string{local}
	if o.lan {
		names, addresses := lanNames()
		opt.Hosts = names
		urls = nil
		for _, a := range addresses {
			urls = append(urls, "http://"+net.JoinHostPort(a, strconv.Itoa(port)))
		}
		urls = append(urls, local)
		opt.PublicURL = urls[0]
	}
	app, err := web.New(ctx, nb, opt)
	if err != nil {
		return err
	}
	audit, err := os.OpenFile(nb.Path()+".audit.jsonl", os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return fault.New("audit-log", "the log of changes cannot be written").In(nb.Path() + ".audit.jsonl").Wrap(err).
			WithFix("serve a notebook in a folder that can be written to")
	}
	defer audit.Close()
	desk, err := web.NewDesk(app, nb, web.DeskOptions{OpenFolder: env.openForImport, Incoming: nb.Path() + ".incoming", Version: Version, Audit: audit, Publishing: env.publishing(nb)})
	if err != nil {
		return err
	}
	if err := env.tellServing(urls, o.lan); err != nil {
		return err
	}
	warm, stopWarming := context.WithCancel(ctx)
	warmed := make(chan struct{})
	go func() { defer close(warmed); desk.Warm(warm) }()
	defer func() { stopWarming(); <-warmed }() // before the notebook is closed
	return serveUntil(ctx, listen, desk.Handler(), opt.Log)
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
func serveUntil(ctx context.Context, listen net.Listener, h http.Handler, log *slog.Logger) error {
	server := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       20 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listen) }()
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

// tellServing says where the server answers, at once: the result of a
// command is otherwise printed at its end.
func (e *Env) tellServing(urls []string, lan bool) error {
	if e.JSON {
		b, err := json.Marshal(map[string]any{"format": 1, "urls": urls})
		if err != nil {
			return err
		}
		_, err = e.Stdout.Write(append(b, '\n'))
		return err
	}
	fmt.Fprintf(e.Stdout, "trivet is open at\n")
	for _, u := range urls {
		fmt.Fprintf(e.Stdout, "  %s\n", u)
	}
	if lan && len(urls) > 1 {
		code, err := web.TerminalQR(urls[0])
		if err != nil {
			return err
		}
		fmt.Fprintf(e.Stdout, "\n%s\n", code)
	}
	_, err := fmt.Fprintln(e.Stdout, "Stop with Ctrl-C.")
	return err
}

// serverPassphrase reads the passphrase the lead will sign in with.
func (e *Env) serverPassphrase(file string) (string, error) {
	p, err := e.passphrase(file)
	if f := fault.As(err); f != nil && f.Code == "passphrase-missing" {
		return "", fault.BadUsage("passphrase-missing", "--lan needs a passphrase for the lead, and none was given").
			WithFix("name a file with --passphrase-file, or set TRIVET_PASSPHRASE")
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

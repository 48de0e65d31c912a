package cli

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/web"
)

// check finds what cannot be meant.
func (o serveOptions) check() error {
	for _, p := range []struct {
		name string
		port int
	}{{"--port", o.port}, {"--tls-port", o.tlsPort}} {
		if p.port < 0 || p.port > 65535 {
			return fault.BadUsage("port-range", "this is no port").On(p.name, strconv.Itoa(p.port)).WithFix("between 1 and 65535, or 0 for a free one")
		}
	}
	switch {
	case !o.lan && (o.oneTime || o.tlsPort != 0 || o.passphraseFile != ""):
		return fault.BadUsage("lan-only", "--one-time-link, --tls-port and --passphrase-file are for serving in the network").WithFix("add --lan, or leave them out")
	case o.oneTime && o.passphraseFile != "":
		return fault.BadUsage("one-or-other", "--one-time-link and --passphrase-file are two ways to sign in").WithFix("choose one of them")
	case !o.tls && o.tlsPort != 0:
		return fault.BadUsage("one-or-other", "--tls=false leaves no use for --tls-port").WithFix("leave one of them out")
	}
	return nil
}

func listenOn(host string, port int, flag string) (net.Listener, int, error) {
	listen, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(port)))
	if err != nil {
		return nil, 0, fault.New("port-taken", "the port cannot be listened on").On(flag, strconv.Itoa(port)).Wrap(err).
			WithFix("stop what uses it, or choose another with %s", flag)
	}
	return listen, listen.Addr().(*net.TCPAddr).Port, nil
}

// listenLAN sets up what serving in the network takes beside the plain port:
// names, addresses, the file of sessions and, unless it is not wanted, the
// port under TLS with a certificate of the kitchen's own root.
func listenLAN(env *Env, o serveOptions, opt *web.Options, plainPort int, notebook string) (net.Listener, servingAt, *whereabouts, error) {
	_, addresses := lanNames()
	at := servingAt{}
	for _, a := range append(addresses, "127.0.0.1") {
		at.URLs = append(at.URLs, "http://"+net.JoinHostPort(a, strconv.Itoa(plainPort)))
	}
	opt.AccessFile = notebook + ".access.json"
	place := &whereabouts{plainPort: plainPort, names: lanNames, now: env.Now}
	opt.Where = place.where
	if !o.tls {
		return nil, at, place, nil
	}
	dir, err := certificateDir()
	if err != nil {
		return nil, at, nil, err
	}
	if opt.Root, err = web.OpenKitchenRoot(dir, env.Now); err != nil {
		return nil, at, nil, err
	}
	if opt.Root.Made {
		env.Tell("made a certificate for this kitchen: %s", filepath.Join(dir, web.RootFile))
	}
	port := o.tlsPort
	if port == 0 && o.port != 0 && plainPort < 65535 {
		port = plainPort + 1
	}
	listen, port, err := listenOn("", port, "--tls-port")
	if err != nil {
		return nil, at, nil, err
	}
	for _, a := range append(addresses, "127.0.0.1") {
		if web.VouchesFor(a) {
			at.SecureURLs = append(at.SecureURLs, "https://"+net.JoinHostPort(a, strconv.Itoa(port)))
		} else {
			env.Tell("not under TLS at %s: the kitchen's certificate vouches for private addresses alone", a)
		}
	}
	if len(addresses) > 0 && len(at.SecureURLs) == 1 { // loopback alone
		listen.Close()
		return nil, at, nil, fault.New("tls-no-address", "no address of this machine in its network is a private one, and the kitchen's certificate vouches for no other").
			On("addresses", strings.Join(addresses, ", ")).WithFix("serve in a private network, or with --tls=false if you trust everybody in this one")
	}
	place.tlsPort = port
	at.Certificate, at.Fingerprint = at.URLs[0]+"/certificate", opt.Root.Fingerprint()
	config := opt.Root.TLSConfig(func() []string { return opt.Where().Hosts })
	return tls.NewListener(listen, config), at, place, nil
}

// certificateDir is where the kitchen's certificate and its key are kept:
// with the user's data, not with a notebook, since devices trust it for all.
func certificateDir() (string, error) {
	if dir := os.Getenv("TRIVET_CERTIFICATE_DIR"); dir != "" {
		return dir, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fault.New("home", "there is no folder for this user's data").Wrap(err).WithFix("set TRIVET_CERTIFICATE_DIR to a folder, or serve with --tls=false")
	}
	return filepath.Join(dir, "trivet"), nil
}

// servingAt is where the server answers, printed at its start.
type servingAt struct {
	Format int      `json:"format"`
	URLs   []string `json:"urls"`
	// Under TLS.
	SecureURLs  []string `json:"secure_urls,omitempty"`
	Certificate string   `json:"certificate,omitempty"` // page that gives it
	Fingerprint string   `json:"fingerprint,omitempty"` // SHA-256
	OneTime     string   `json:"one_time_link,omitempty"`
}

// oneTimeLink draws a link that signs the lead in.
func (at *servingAt) oneTimeLink(app *web.Server) error {
	path, err := app.NewLeadLink()
	at.OneTime = at.URLs[0] + path
	if len(at.SecureURLs) > 0 {
		at.OneTime = at.SecureURLs[0] + path
	}
	return err
}

// tellServing says where the server answers, at once: the result of a
// command is otherwise printed at its end.
func (e *Env) tellServing(at servingAt) error {
	if e.JSON {
		at.Format = 1
		b, err := json.Marshal(at)
		if err != nil {
			return err
		}
		_, err = e.Stdout.Write(append(b, '\n'))
		return err
	}
	list := func(title string, urls []string) {
		fmt.Fprintln(e.Stdout, title)
		for _, u := range urls {
			fmt.Fprintf(e.Stdout, "  %s\n", u)
		}
	}
	scan := at.URLs[0]
	if len(at.SecureURLs) == 0 {
		list("trivet is open at", at.URLs)
	} else {
		list("trivet is open under TLS at", at.SecureURLs)
		list("and over plain HTTP, for ballots, trays, cooks and readers, at", at.URLs)
		fmt.Fprintf(e.Stdout, "Devices of the kitchen get its certificate at\n  %s\nand have to show this SHA-256 fingerprint:\n  %s\n  %s\n", at.Certificate, at.Fingerprint[:48], at.Fingerprint[48:])
		scan = at.Certificate
	}
	if at.OneTime != "" {
		fmt.Fprintf(e.Stdout, "The lead signs in, once and within the hour, at\n  %s\n", at.OneTime)
		scan = at.OneTime
	}
	if len(at.URLs) > 1 || at.OneTime != "" {
		code, err := web.TerminalQR(scan)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.Stdout, "\n%s  %s\n", code, scan)
	}
	_, err := fmt.Fprintln(e.Stdout, "Stop with Ctrl-C.")
	return err
}

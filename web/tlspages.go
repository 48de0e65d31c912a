package web

import (
	"bytes"
	"html/template"
	"net"
	"net/http"
	"net/url"
	"strings"

	"trivet/fault"
)

// secureHere is the address under TLS of the host a request asked for, "" if
// the server has none.
func (o Options) secureHere(r *http.Request) string {
	at := o.where().SecureURL
	if at == "" {
		return ""
	}
	u, err := url.Parse(at)
	if err != nil {
		return ""
	}
	if host := hostOf(r.Host); VouchesFor(host) {
		u.Host = net.JoinHostPort(host, u.Port())
	}
	return u.Scheme + "://" + u.Host
}

// encrypted tells that a page's content cannot be read on its way: it came
// under TLS or never left this machine. Only then do browsers allow workers
// and keeping the screen on.
func encrypted(r *http.Request) bool { return r.TLS != nil || loopbackName(hostOf(r.Host)) }

type certificateView struct {
	Fingerprint, Until, Secure, Next string
	TLS                              bool
	Systems                          []systemSteps
	Remove                           []string
}

// systemSteps says how one system takes the certificate in, and lets it go.
type systemSteps struct {
	Name       string
	In         []string
	Out, Check string
}

// stepKeys names the systems in the order of the page; each has the words
// "cert-<key>", "cert-<key>-1" and on, "cert-<key>-out".
var stepKeys = []struct {
	key   string
	steps int
}{{"ipad", 4}, {"android", 3}, {"windows", 3}, {"mac", 3}, {"linux", 2}, {"firefox", 3}}

func (s *Server) certificatePage(w http.ResponseWriter, r *http.Request) {
	if s.opt.Root == nil {
		s.noCertificate(w, r)
		return
	}
	v := certificateView{Fingerprint: s.opt.Root.Fingerprint(), Until: dateWords(s.opt.Root.Until(), false), Secure: s.opt.secureHere(r),
		Next: localPath(r.FormValue("next")), TLS: r.TLS != nil}
	for _, k := range stepKeys {
		x := systemSteps{Name: say("cert-" + k.key), Out: say("cert-" + k.key + "-out")}
		for i := range k.steps {
			x.In = append(x.In, say("cert-"+k.key+"-"+string(rune('1'+i))))
		}
		v.Systems = append(v.Systems, x)
	}
	s.render(w, r, http.StatusOK, "certificate", page{Title: say("cert-title")}, v)
}

func (s *Server) noCertificate(w http.ResponseWriter, r *http.Request) {
	s.fail(w, r, http.StatusNotFound, fault.New("certificate-none", "%s", say("cert-none")).WithFix("%s", say("cert-none-fix")))
}

// certificateFile is the root as systems take it in: DER, under the type that
// iPadOS, Android and desktop systems open (RFC 2585 names another, which
// they save as an unknown file).
func (s *Server) certificateFile(w http.ResponseWriter, r *http.Request) {
	if s.opt.Root == nil {
		s.noCertificate(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	w.Header().Set("Content-Disposition", `attachment; filename="trivet-kitchen-root.crt"`)
	w.Write(s.opt.Root.DER())
}

// certificateTrusted is what a plain page asks for under TLS to learn whether
// this device has the root: the answer says nothing, that it came is enough.
// A device without the root fails in silence, and meets no alarm.
func (s *Server) certificateTrusted(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cross-Origin-Resource-Policy", "cross-origin")
	w.WriteHeader(http.StatusNoContent)
}

// alive answers that the server is there.
func (s *Server) alive(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) }

// workerScript is the offline worker. Over plain HTTP there is none.
func (s *Server) workerScript(w http.ResponseWriter, r *http.Request) {
	if !encrypted(r) {
		http.NotFound(w, r)
		return
	}
	b, err := assetFiles.ReadFile("assets/worker.js")
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	w.Write(b)
}

// kitchenView is what every page says of its connection, and what kitchen.js
// needs to watch over it.
type kitchenView struct {
	Kind   string // "ballot", "stove", "trays" or ""
	Lost   string // what plain HTTP costs there
	Plain  bool   // read by whoever reads the network
	Worker bool
	Probe  string // where TLS is tried
	Offer  string // the same page there
}

// kitchen makes the strip that tells of the connection.
func (s *Server) kitchen(r *http.Request) template.HTML {
	v := kitchenView{Plain: !encrypted(r)}
	path := r.URL.Path
	switch {
	case strings.HasPrefix(path, "/b/"):
		v.Kind = "ballot"
	case strings.HasPrefix(path, "/trays/"):
		v.Kind = "trays"
	case strings.HasPrefix(path, "/c/"), strings.HasPrefix(path, "/studies/") && (strings.Contains(path, "/cooks") || strings.HasSuffix(path, "/load")):
		v.Kind = "stove"
	}
	if v.Kind != "" {
		v.Lost = say("plain-lost-" + v.Kind)
	}
	v.Worker = v.Kind != "" && !v.Plain
	if v.Plain && r.Method == http.MethodGet && path != "/certificate" {
		if v.Probe = s.opt.secureHere(r); v.Probe != "" {
			v.Offer = v.Probe + path
		}
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "kitchen", v); err != nil {
		panic(err)
	}
	return template.HTML(b.String())
}

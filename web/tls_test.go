package web

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/tasting"
)

// twoPorts is a kitchen that answers under TLS and over plain HTTP, on
// loopback, asked for by a name of the kitchen.
type twoPorts struct {
	*kitchen
	root          *KitchenRoot
	secure, plain string // addresses by the kitchen's name
}

func openTwoPorts(t *testing.T) *twoPorts {
	t.Helper()
	root, err := OpenKitchenRoot(t.TempDir(), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	hash := passphraseHash(t)
	k := &twoPorts{kitchen: &kitchen{T: t, path: t.TempDir() + "/kitchen.trivet", log: &syncBuffer{}, now: time.Now}, root: root}
	k.store = newNotebook(t, k.path)
	t.Cleanup(func() { k.store.Close() })
	var h http.Handler
	over := underTLS(t, root, []string{"127.0.0.1", kitchenName}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { h.ServeHTTP(w, r) }))
	_, port, _ := net.SplitHostPort(over.Listener.Addr().String())
	k.secure = "https://" + net.JoinHostPort(kitchenName, port)
	k.start(Options{PassphraseHash: hash, Root: root, SecureURL: k.secure, Hosts: []string{"127.0.0.1", kitchenName}})
	h = k.app.Handler()
	_, plainPort, _ := net.SplitHostPort(k.http.Listener.Addr().String())
	k.plain = "http://" + net.JoinHostPort(kitchenName, plainPort)
	k.app.opt.PublicURL = k.plain
	return k
}

// browser is a client that finds the kitchen's name on loopback.
func (k *twoPorts) browser(trusts bool) *http.Client {
	pool := x509.NewCertPool()
	if trusts {
		pool.AddCert(k.root.cert)
	}
	jar, _ := cookiejar.New(nil)
	return &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true,
		DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
			_, port, _ := net.SplitHostPort(address)
			return (&net.Dialer{}).DialContext(ctx, network, net.JoinHostPort("127.0.0.1", port))
		}}}
}

func (k *twoPorts) ask(c *http.Client, method, address string, form url.Values) shown {
	k.Helper()
	req, err := http.NewRequest(method, address, strings.NewReader(form.Encode()))
	if err != nil {
		k.Fatal(err)
	}
	if method == "POST" {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return (&device{k.kitchen, c}).do(req)
}

func TestTheLeadSignsInUnderTLS(t *testing.T) {
	k := openTwoPorts(t)
	ta, s := k.open(trianglePlan(3, 1))
	if err := k.app.vault.keep(ta.ID, s); err != nil {
		t.Fatal(err)
	}
	lead := k.browser(true)
	k.has(k.ask(lead, "POST", k.secure+"/login", url.Values{"passphrase": {passphrase}}), 200, "Potatoes")
	page := k.ask(lead, "GET", k.secure+"/tastings/"+ta.ID, nil)
	k.has(page, 200, k.secure+"/carve/", k.plain+"/b/", k.plain+"/trays/", k.plain+"/watch/")
	if strings.Contains(page.body, k.secure+"/b/") || strings.Contains(page.body, k.plain+"/carve/") {
		t.Error("an assessor is sent to an alarm page, or the preparer into the open")
	}
	for _, address := range []string{k.secure, k.plain} {
		u, _ := url.Parse(address)
		for _, c := range lead.Jar.Cookies(u) {
			if strings.Contains(c.Name, "lead") && !strings.HasPrefix(address, "https:") {
				t.Errorf("the lead's session %s is sent in the clear", c.Name)
			}
		}
	}
	// Over plain HTTP the same browser is nobody, and is told where to go.
	back := k.ask(lead, "GET", k.plain+"/tastings/"+ta.ID, nil)
	k.has(back, 200, "Put the kitchen", k.root.Fingerprint(), k.secure+"/tastings/"+ta.ID)
	k.has(k.ask(lead, "POST", k.plain+"/login", url.Values{"passphrase": {passphrase}}), 403, "unencrypted")
	k.has(k.ask(lead, "GET", k.plain+"/carve/"+k.app.vault.of(ta.ID).carve, nil), 200, "Put the kitchen")

	// Under TLS every cookie that opens something is for TLS alone.
	res, err := k.browser(true).PostForm(k.secure+"/login", url.Values{"passphrase": {passphrase}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	for _, c := range res.Request.Response.Cookies() {
		if !c.Secure || !c.HttpOnly || !strings.HasPrefix(c.Name, "__Host-") || c.SameSite != http.SameSiteStrictMode {
			t.Errorf("cookie %s", c)
		}
	}
}

// Without the root a ballot works over plain HTTP, with a page that says what
// that costs, no worker, and leave to try the address under TLS and nothing
// else.
func TestPlainPagesSayWhatIsLost(t *testing.T) {
	k := openTwoPorts(t)
	_, s := k.open(trianglePlan(3, 1))
	phone := k.browser(false)
	link := seatLink(s, "P01")
	page := k.ask(phone, "GET", k.plain+link, nil)
	k.has(page, 200, "Not encrypted", "Whoever can read this network", "leave it open", `data-probe="`+k.secure+`/certificate/trusted"`, `href="`+k.secure+link+`"`, "data-offer hidden")
	if strings.Contains(page.body, "data-worker") || strings.Contains(page.body, `href="/certificate"`) {
		t.Error("a phone without the certificate is asked for more than a ballot")
	}
	csp := page.header.Get("Content-Security-Policy")
	if !strings.Contains(csp, "connect-src 'self' "+k.secure+";") {
		t.Errorf("the policy does not let the page try TLS: %s", csp)
	}
	if p := k.ask(phone, "GET", k.plain+"/worker.js", nil); p.status != 404 {
		t.Errorf("a worker over plain HTTP: %d", p.status)
	}
	k.has(k.ask(phone, "POST", k.plain+link+"/door", url.Values{"consents": {"yes"}}), 200, "Set 1 of 1")
	if _, err := phone.Get(k.secure + link); err == nil {
		t.Error("without the root the address under TLS is trusted")
	}

	tablet := k.browser(true)
	page = k.ask(tablet, "GET", k.secure+seatLink(s, "P02"), nil)
	k.has(page, 200, `data-worker="/worker.js"`, "Keep the screen on")
	if strings.Contains(page.body, "Not encrypted") || strings.Contains(page.header.Get("Content-Security-Policy"), k.secure) || page.header.Get("Strict-Transport-Security") != "" {
		t.Error("a page under TLS says that it is plain, may reach elsewhere, or binds the plain port")
	}
	k.has(k.ask(tablet, "GET", k.secure+"/worker.js", nil), 200, "addEventListener")
	trusted := k.ask(tablet, "GET", k.secure+"/certificate/trusted", nil)
	if trusted.status != 204 || trusted.header.Get("Cross-Origin-Resource-Policy") != "cross-origin" {
		t.Errorf("the page that tells of trust: %d %v", trusted.status, trusted.header)
	}
}

func TestTheCertificateIsGivenOverPlainHTTP(t *testing.T) {
	k := openTwoPorts(t)
	c := k.browser(false)
	page := k.ask(c, "GET", k.plain+"/certificate?next=/tastings", nil)
	k.has(page, 200, k.root.Fingerprint(), "iPad", "Android", "Windows", "macOS", "Linux", "Firefox", "To take it off", k.secure+"/tastings")
	file := k.ask(c, "GET", k.plain+"/certificate/trivet-kitchen-root.crt", nil)
	if file.header.Get("Content-Type") != "application/x-x509-ca-cert" {
		t.Errorf("type %q", file.header.Get("Content-Type"))
	}
	cert, err := x509.ParseCertificate([]byte(file.body))
	if err != nil || !cert.Equal(k.root.cert) {
		t.Errorf("the file is not the root: %v", err)
	}
	// What a page elsewhere may put into next stays inside.
	if p := k.ask(c, "GET", k.plain+"/certificate?next=//elsewhere.example", nil); strings.Contains(p.body, "elsewhere") {
		t.Error("the page leads elsewhere")
	}
	none := openKitchen(t, Options{})
	none.has(none.device().get("/certificate"), 404, "no certificate")
}

// Who cooks under TLS may not taste over plain HTTP, nor the other way round,
// and not in a tasting that is opened later either.
func TestACookOnOnePortIsNoAssessorOnTheOther(t *testing.T) {
	k := openTwoPorts(t)
	desk, err := NewDesk(k.app, k.store, DeskOptions{Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	plain := httptest.NewServer(desk.Handler())
	defer plain.Close()
	over := underTLS(t, k.root, []string{kitchenName}, desk.Handler())
	at := func(s *httptest.Server) string { return strings.Replace(s.URL, "127.0.0.1", kitchenName, 1) }

	c := k.browser(true)
	token, _, err := k.app.access.hand(handedLink{Role: roleCook, Study: "salted-early-or-late", Until: time.Now().Add(passTime)})
	if err != nil {
		t.Fatal(err)
	}
	k.has(k.ask(c, "GET", at(over)+"/c/"+token, nil), 200, "You come as a cook")
	res := k.ask(c, "POST", at(over)+"/c/"+token, nil)
	k.has(res, 200, "Choose the cook you are at")
	_, s := k.open(trianglePlan(3, 1)) // after the cook came
	for _, base := range []string{at(over), at(plain)} {
		k.has(k.ask(c, "GET", base+seatLink(s, "P01"), nil), 403, "used by the cook")
		k.has(k.ask(c, "GET", base+"/trays/"+s.Token(bench.Place{Role: tasting.Server}), nil), 403, "used by the cook")
	}
	k.has(k.ask(c, "POST", at(over)+"/logout", nil), 200)
	k.has(k.ask(c, "GET", at(plain)+seatLink(s, "P01"), nil), 403, "used by the cook") // signing out makes nobody blind again
	if p := k.ask(c, "GET", at(over)+"/studies/salted-early-or-late/cooks", nil); !strings.Contains(p.body, `name="passphrase"`) {
		t.Error("after signing out the cook is still in")
	}

	taster := k.browser(true)
	k.has(k.ask(taster, "GET", at(plain)+seatLink(s, "P02"), nil), 200)
	k.has(k.ask(taster, "POST", at(over)+"/c/"+token, nil), 403, "used by the assessor")
	server := k.browser(true)
	k.has(k.ask(server, "GET", at(plain)+"/trays/"+s.Token(bench.Place{Role: tasting.Server}), nil), 200)
	k.has(k.ask(server, "POST", at(plain)+"/c/"+token, nil), 403, "used by the server")
}

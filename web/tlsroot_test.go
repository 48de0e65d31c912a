package web

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"io"
	"log"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trivet/fault"
)

// kitchenClock is a clock that a test moves.
type kitchenClock struct{ at time.Time }

func (c *kitchenClock) now() time.Time { return c.at }

// underTLS serves a handler under a root, on loopback.
func underTLS(t testing.TB, root *KitchenRoot, names []string, h http.Handler) *httptest.Server {
	t.Helper()
	s := httptest.NewUnstartedServer(h)
	s.Config.ErrorLog = log.New(io.Discard, "", 0) // of the handshakes that are to fail
	s.Listener = tls.NewListener(s.Listener, root.TLSConfig(func() []string { return names }))
	s.Start()
	s.URL = strings.Replace(s.URL, "http:", "https:", 1)
	t.Cleanup(s.Close)
	return s
}

// trusting is a client that trusts one root and nothing else.
func trusting(root *KitchenRoot, now func() time.Time) *http.Client {
	pool := x509.NewCertPool()
	pool.AddCert(root.cert)
	return &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, Time: now}, ForceAttemptHTTP2: true, DisableKeepAlives: true}}
}

func TestHandshakesUnderTheKitchensRoot(t *testing.T) {
	clock := &kitchenClock{time.Now()}
	root, err := OpenKitchenRoot(t.TempDir(), clock.now)
	if err != nil {
		t.Fatal(err)
	}
	other, err := OpenKitchenRoot(t.TempDir(), clock.now)
	if err != nil {
		t.Fatal(err)
	}
	s := underTLS(t, root, []string{"127.0.0.1", "kitchen.local", "203.0.113.7", "shop.example"}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		io.WriteString(w, r.Proto)
	}))
	leafOf := func(c *http.Client) (*x509.Certificate, string, error) {
		res, err := c.Get(s.URL)
		if err != nil {
			return nil, "", err
		}
		defer res.Body.Close()
		b, _ := io.ReadAll(res.Body)
		return res.TLS.PeerCertificates[0], string(b), nil
	}
	first, proto, err := leafOf(trusting(root, clock.now))
	if err != nil || proto != "HTTP/2.0" {
		t.Fatalf("with the root: %q, %v", proto, err)
	}
	if got := strings.Join(first.DNSNames, " "); got != "kitchen.local" || len(first.IPAddresses) != 1 {
		t.Errorf("the leaf is for %q and %v: the root vouches for neither a public address nor a public name", got, first.IPAddresses)
	}
	var unknown x509.UnknownAuthorityError
	if _, _, err := leafOf(trusting(other, clock.now)); err == nil || !strings.Contains(err.Error(), unknown.Error()) {
		t.Errorf("with another kitchen's root: %v", err)
	}
	if _, _, err := leafOf(&http.Client{Transport: &http.Transport{}}); err == nil {
		t.Error("with the system's roots alone it is trusted")
	}

	// Renewed while it serves: not after a week, but before it ends.
	clock.at = clock.at.Add(7 * 24 * time.Hour)
	if same, _, err := leafOf(trusting(root, clock.now)); err != nil || !same.Equal(first) {
		t.Errorf("after a week: %v", err)
	}
	clock.at = clock.at.Add(3 * 24 * time.Hour)
	second, _, err := leafOf(trusting(root, clock.now))
	if err != nil || second.Equal(first) || !second.NotAfter.After(first.NotAfter) {
		t.Errorf("after ten days the leaf was not renewed: %v", err)
	}
	clock.at = clock.at.Add(60 * 24 * time.Hour) // a kitchen that slept for two months
	if _, _, err := leafOf(trusting(root, clock.now)); err != nil {
		t.Errorf("after two months: %v", err)
	}
	if life := first.NotAfter.Sub(first.NotBefore); life > 825*24*time.Hour {
		t.Errorf("a leaf of %v is refused by iPads", life)
	}
}

// A stolen key poses as no site of the Internet: verifiers refuse what the
// root does not vouch for (RFC 5280, section 4.2.1.10).
func TestTheRootIsBoundToTheKitchen(t *testing.T) {
	root, err := OpenKitchenRoot(t.TempDir(), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(root.cert)
	for _, c := range []struct {
		name string
		ok   bool
	}{
		{"kitchen.local", true}, {"pass.kitchen.home.arpa", true}, {"192.168.1.20", true}, {"10.1.2.3", true}, {"172.31.0.1", true}, {"fd00::1", true}, {"127.0.0.1", true}, {"localhost", true},
		{"shop.example", false}, {"local.example", false}, {"8.8.8.8", false}, {"172.32.0.1", false}, {"2001:db8::1", false},
	} {
		leaf := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
		if ip := net.ParseIP(c.name); ip != nil {
			leaf.IPAddresses = []net.IP{ip}
		} else {
			leaf.DNSNames = []string{c.name}
		}
		der, err := x509.CreateCertificate(rand.Reader, leaf, root.cert, key.Public(), root.key)
		if err != nil {
			t.Fatal(err)
		}
		cert, err := x509.ParseCertificate(der)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := cert.Verify(x509.VerifyOptions{Roots: pool, DNSName: c.name}); (err == nil) != c.ok {
			t.Errorf("a certificate for %s verifies: %v", c.name, err)
		}
		if VouchesFor(c.name) != c.ok {
			t.Errorf("VouchesFor(%q) is %v", c.name, !c.ok)
		}
	}
}

// OpenSSL reads the root, and verifies a leaf and the fingerprint, as
// independent software.
func TestOpenSSLReadsTheRoot(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("openssl is not installed")
	}
	root, err := OpenKitchenRoot(t.TempDir(), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := root.leafFor([]string{"192.168.1.20", "kitchen.local"})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, block := range map[string][]byte{"root.pem": root.DER(), "leaf.pem": leaf.Certificate[0]} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: block}), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	run := func(args ...string) string {
		cmd := exec.CommandContext(context.Background(), openssl, args...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("openssl %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	run("verify", "-x509_strict", "-purpose", "sslserver", "-verify_ip", "192.168.1.20", "-CAfile", "root.pem", "leaf.pem")
	run("verify", "-x509_strict", "-verify_hostname", "kitchen.local", "-CAfile", "root.pem", "leaf.pem")
	if out := run("x509", "-in", "root.pem", "-noout", "-fingerprint", "-sha256"); !strings.Contains(out, root.Fingerprint()) {
		t.Errorf("openssl's fingerprint is %s, ours %s", out, root.Fingerprint())
	}
	if out := run("x509", "-in", "root.pem", "-noout", "-text"); !strings.Contains(out, "CA:TRUE, pathlen:0") || !strings.Contains(out, "Name Constraints: critical") || !strings.Contains(out, "prime256v1") {
		t.Errorf("openssl reads:\n%s", out)
	}
}

func TestTheRootIsMadeOnceAndKeptApart(t *testing.T) {
	clock := &kitchenClock{time.Now()}
	dir := filepath.Join(t.TempDir(), "new", "folder")
	root, err := OpenKitchenRoot(dir, clock.now)
	if err != nil || !root.Made {
		t.Fatalf("made %v, %v", root != nil && root.Made, err)
	}
	path := filepath.Join(dir, RootFile)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's file: %v, %v", info.Mode(), err)
	}
	again, err := OpenKitchenRoot(dir, clock.now)
	if err != nil || again.Made || !bytes.Equal(again.DER(), root.DER()) {
		t.Errorf("opened again it is another: %v", err)
	}
	clock.at = clock.at.Add(rootLife - rootRest + time.Hour)
	if next, err := OpenKitchenRoot(dir, clock.now); err != nil || !next.Made || bytes.Equal(next.DER(), root.DER()) {
		t.Errorf("a root near its end is not replaced: %v", err)
	}
	code := func(err error) string {
		if f := fault.As(err); f != nil {
			return string(f.Code)
		}
		return ""
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenKitchenRoot(dir, clock.now); code(err) != "root-key-open" {
		t.Errorf("a key that others can read: %v", err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	stranger, err := OpenKitchenRoot(filepath.Join(t.TempDir()), clock.now)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{"empty": nil, "half": good[:len(good)/2], "no PEM": []byte(hex.EncodeToString(good)),
		"a certificate of another key": append(bytes.Clone(good[:bytes.Index(good, []byte("-----BEGIN CERT"))]), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: stranger.DER()})...)} {
		if err := os.Chmod(path, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := OpenKitchenRoot(dir, clock.now); code(err) != "root-corrupt" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// kitchenTime is the clock of tests that need none of their own.
func kitchenTime() time.Time { return time.Now() }

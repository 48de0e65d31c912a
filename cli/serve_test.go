package cli

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"trivet/web"
)

// serving runs "trivet serve" until the test ends and returns where it
// answers and a function that stops it.
func serving(t *testing.T, args ...string) (urls []string, stop func() (status int, stderr string)) {
	t.Helper()
	at, stop := servingOn(t, filepath.Join(t.TempDir(), "kitchen.trivet"), args...)
	return at.URLs, stop
}

func servingOn(t *testing.T, notebook string, args ...string) (at servingAt, stop func() (status int, stderr string)) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	var errs bytes.Buffer
	env := &Env{Stdin: strings.NewReader(""), Stdout: w, Stderr: &errs, Now: time.Now, Random: rand.Reader,
		NotebookPath: notebook}
	done := make(chan int, 1)
	go func() {
		done <- Run(ctx, append([]string{"serve", "--json", "--port", "0"}, args...), env)
		w.Close()
	}()
	line, err := bufio.NewReader(r).ReadBytes('\n')
	if err != nil {
		cancel()
		<-done
		t.Fatalf("it did not start: %s", errs.String())
	}
	if err := json.Unmarshal(line, &at); err != nil || len(at.URLs) == 0 {
		t.Fatalf("it said %q: %v", line, err)
	}
	stopped := false
	stop = func() (int, string) {
		cancel()
		if stopped {
			return 0, ""
		}
		stopped = true
		return <-done, errs.String()
	}
	t.Cleanup(func() { stop() })
	return at, stop
}

func TestServeAnswersOnThisMachineAndStops(t *testing.T) {
	urls, stop := serving(t)
	if len(urls) != 1 || !strings.HasPrefix(urls[0], "http://127.0.0.1:") {
		t.Fatalf("it answers at %q, want loopback alone", urls)
	}
	res, err := http.Get(urls[0])
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(res.Body)
	res.Body.Close()
	if res.StatusCode != 200 || !strings.Contains(string(body), "<main") {
		t.Errorf("status %d: %s", res.StatusCode, body)
	}
	if status, stderr := stop(); status != 0 {
		t.Errorf("stopping ends with %d: %s", status, stderr)
	}
	if _, err := http.Get(urls[0]); err == nil {
		t.Error("it still answers after stopping")
	}
}

func TestServeInTheNetworkAsksForThePassphrase(t *testing.T) {
	file := filepath.Join(t.TempDir(), "pass")
	if err := os.WriteFile(file, []byte("four invented test words\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	urls, _ := serving(t, "--lan", "--tls=false", "--passphrase-file", file)
	local := urls[len(urls)-1]
	res, err := http.Get(local)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.Request.URL.Path != "/login" {
		t.Errorf("a stranger sees %s", res.Request.URL.Path)
	}
	for _, u := range urls[:len(urls)-1] { // this machine's addresses in its network, by name
		at, err := url.Parse(u)
		if err != nil {
			t.Fatal(err)
		}
		req, err := http.NewRequest("GET", local+"/login", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Host = at.Host
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != 200 {
			t.Errorf("asked for as %s: status %d", u, res.StatusCode)
		}
	}
}

// Under TLS a lead signs in by the printed link, once; a restart signs nobody
// out; and no backup holds the certificate's key, a session or a link.
func TestServeUnderTLSAndAfterARestart(t *testing.T) {
	certificates := t.TempDir()
	t.Setenv("TRIVET_CERTIFICATE_DIR", certificates)
	notebook := filepath.Join(t.TempDir(), "kitchen.trivet")
	if _, addresses := lanNames(); len(addresses) > 0 && !slices.ContainsFunc(addresses, web.VouchesFor) {
		t.Skip("this machine has no private address")
	}
	at, stop := servingOn(t, notebook, "--lan", "--one-time-link")
	local := at.SecureURLs[len(at.SecureURLs)-1]
	plain := at.URLs[len(at.URLs)-1]
	if !strings.HasPrefix(local, "https://127.0.0.1:") || !strings.HasPrefix(plain, "http://127.0.0.1:") || !strings.HasSuffix(at.Certificate, "/certificate") || len(at.Fingerprint) != 95 {
		t.Fatalf("it answers at %+v", at)
	}
	get := func(c *http.Client, address string) (int, string) {
		t.Helper()
		res, err := c.Get(address)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, _ := io.ReadAll(res.Body)
		return res.StatusCode, string(b)
	}
	_, root := get(http.DefaultClient, plain+"/certificate/trivet-kitchen-root.crt")
	cert, err := x509.ParseCertificate([]byte(root))
	if err != nil {
		t.Fatal(err)
	}
	if _, page := get(http.DefaultClient, plain+"/certificate"); !strings.Contains(page, at.Fingerprint) {
		t.Error("the page and the terminal name two fingerprints")
	}
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	device := func() *http.Client {
		jar, _ := cookiejar.New(nil)
		return &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true}}
	}
	lead := device()
	link, err := url.Parse(at.OneTime)
	if err != nil {
		t.Fatal(err)
	}
	enter := func(c *http.Client) int {
		t.Helper()
		res, err := c.PostForm(local+link.Path, nil)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	if status, page := get(lead, local+link.Path); status != 200 || !strings.Contains(page, "used up") {
		t.Errorf("looking at the link: %d", status)
	}
	if status := enter(lead); status != 200 {
		t.Fatalf("the link: %d", status)
	}
	if status := enter(device()); status != 410 {
		t.Errorf("the link again: %d, want 410", status)
	}
	if _, page := get(lead, local+"/links"); !strings.Contains(page, "Links and sessions") {
		t.Error("the link does not sign the lead in")
	}
	if _, page := get(device(), local+"/links"); strings.Contains(page, "Links and sessions") {
		t.Error("a stranger is the lead")
	}
	port := local[strings.LastIndex(local, ":")+1:]
	if status, errs := stop(); status != 0 {
		t.Fatalf("stopping: %d %s", status, errs)
	}

	// The same certificate and the same session after a restart.
	again, _ := servingOn(t, notebook, "--lan", "--one-time-link", "--tls-port", port)
	if again.Fingerprint != at.Fingerprint {
		t.Error("a restart makes another certificate")
	}
	if _, page := get(lead, local+"/links"); !strings.Contains(page, "Links and sessions") {
		t.Error("a restart signs the lead out")
	}
	if _, page := get(lead, local+"/audit"); !strings.Contains(page, "Signed in by a link") {
		t.Error("the log of changes does not hold the signing in")
	}

	key, err := os.ReadFile(filepath.Join(certificates, web.RootFile))
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(key)
	secrets := [][]byte{block.Bytes, []byte(base64.StdEncoding.EncodeToString(block.Bytes))[:64], []byte(filepath.Base(link.Path))}
	for _, c := range lead.Jar.Cookies(&url.URL{Scheme: "https", Host: "127.0.0.1"}) {
		secrets = append(secrets, []byte(c.Value))
	}
	if len(secrets) < 4 {
		t.Fatal("the lead has no session")
	}
	copied := filepath.Join(t.TempDir(), "copy.trivet")
	var errs bytes.Buffer
	env := &Env{Stdin: strings.NewReader(""), Stdout: io.Discard, Stderr: &errs, Now: time.Now, Random: rand.Reader, NotebookPath: notebook}
	if status := Run(context.Background(), []string{"backup", copied}, env); status != 0 {
		t.Fatalf("backup: %s", errs.String())
	}
	for _, file := range []string{copied, notebook, notebook + "-wal", notebook + ".access.json", notebook + ".audit.jsonl"} {
		b, err := os.ReadFile(file)
		if err != nil && !strings.HasSuffix(file, "-wal") {
			t.Fatal(err)
		}
		for i, s := range secrets {
			if bytes.Contains(b, s) {
				t.Errorf("%s holds secret %d", filepath.Base(file), i)
			}
		}
	}
	if info, err := os.Stat(notebook + ".access.json"); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file of sessions: %v, %v", info, err)
	}
}

func TestServeMistakes(t *testing.T) {
	t.Setenv("TRIVET_PASSPHRASE", "")
	t.Setenv("TRIVET_CERTIFICATE_DIR", t.TempDir())
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	port := strconv.Itoa(taken.Addr().(*net.TCPAddr).Port)
	short := filepath.Join(t.TempDir(), "short")
	if err := os.WriteFile(short, []byte("short\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		args   []string
		status int
		code   string
	}{
		{"no passphrase", []string{"serve", "--lan", "--port", "0"}, 2, "passphrase-missing"},
		{"a short one", []string{"serve", "--lan", "--port", "0", "--passphrase-file", short}, 1, "passphrase-short"},
		{"a port in use", []string{"serve", "--port", port}, 1, "port-taken"},
		{"no port", []string{"serve", "--port", "70000"}, 2, "port-range"},
		{"no TLS port", []string{"serve", "--lan", "--tls-port", "-1"}, 2, "port-range"},
		{"a TLS port in use", []string{"serve", "--lan", "--one-time-link", "--port", "0", "--tls-port", port}, 1, "port-taken"},
		{"for the network alone", []string{"serve", "--one-time-link"}, 2, "lan-only"},
		{"two ways to sign in", []string{"serve", "--lan", "--one-time-link", "--passphrase-file", short}, 2, "one-or-other"},
		{"TLS off and on", []string{"serve", "--lan", "--tls=false", "--tls-port", "8443"}, 2, "one-or-other"},
		{"a word too many", []string{"serve", "now"}, 2, "arguments"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out, errs bytes.Buffer
			env := &Env{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs, Now: time.Now, Random: rand.Reader, NotebookPath: filepath.Join(t.TempDir(), "k.trivet")}
			status := Run(context.Background(), append(c.args, "--json"), env)
			if status != c.status || out.Len() > 0 || !strings.Contains(errs.String(), `"code":"`+c.code+`"`) {
				t.Errorf("status %d, stdout %q, stderr %s", status, out.String(), errs.String())
			}
		})
	}
}

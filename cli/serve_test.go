package cli

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// serving runs "trivet serve" until the test ends and returns where it
// answers and a function that stops it.
func serving(t *testing.T, args ...string) (urls []string, stop func() (status int, stderr string)) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	var errs bytes.Buffer
	env := &Env{Stdin: strings.NewReader(""), Stdout: w, Stderr: &errs, Now: time.Now, Random: rand.Reader,
		NotebookPath: filepath.Join(t.TempDir(), "kitchen.trivet")}
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
	var said struct {
		URLs []string `json:"urls"`
	}
	if err := json.Unmarshal(line, &said); err != nil || len(said.URLs) == 0 {
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
	return said.URLs, stop
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
	urls, _ := serving(t, "--lan", "--passphrase-file", file)
	local := urls[len(urls)-1]
	res, err := http.Get(local)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.Request.URL.Path != "/login" {
		t.Errorf("a stranger sees %s", res.Request.URL.Path)
	}
	for _, u := range urls[:len(urls)-1] { // this machine's addresses in its network
		res, err := http.Get(u + "/login")
		if err != nil {
			t.Logf("%s cannot be reached from here: %v", u, err)
			continue
		}
		res.Body.Close()
		if res.StatusCode != 200 {
			t.Errorf("%s: status %d", u, res.StatusCode)
		}
	}
}

func TestServeMistakes(t *testing.T) {
	t.Setenv("TRIVET_PASSPHRASE", "")
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

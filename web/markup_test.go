package web

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
)

// pagesSeen keeps pages that the tests of this package were served, a few of
// each kind, so that all can be checked for valid markup at the end.
var pagesSeen = pageKeeper{kinds: map[string][][]byte{}}

type pageKeeper struct {
	sync.Mutex
	kinds map[string][][]byte // by method, path without its names, and status
}

// perKind is how many different pages of one kind are kept.
const perKind = 3

// names in a path: of studies, cooks, files; and secret tokens.
var pathNames = regexp.MustCompile(`(/studies|/cooks|/treatments|/tastings|/[a-z]{1,7})/[^/]{6,}`)

// around keeps what h serves.
func (k *pageKeeper) around(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seen := &tee{ResponseWriter: w}
		h.ServeHTTP(seen, r)
		body := seen.body.Bytes()
		if !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") || len(body) == 0 || w.Header().Get("Location") != "" {
			return
		}
		if w.Header().Get("Content-Encoding") == "gzip" {
			z, err := gzip.NewReader(bytes.NewReader(body))
			if err != nil {
				return
			}
			if body, err = io.ReadAll(z); err != nil {
				return
			}
		}
		if !bytes.HasPrefix(bytes.ToLower(body[:min(len(body), 9)]), []byte("<!doctype")) { // a part of a page, for its script
			body = fmt.Appendf(nil, "<!doctype html>\n<html lang=\"en\"><head><title>A part</title></head><body><main>%s</main></body></html>", body)
		}
		kind := fmt.Sprintf("%s %s %d", r.Method, pathNames.ReplaceAllString(r.URL.Path, "$1/*"), seen.status)
		k.Lock()
		defer k.Unlock()
		if len(k.kinds[kind]) < perKind {
			k.kinds[kind] = append(k.kinds[kind], body)
		}
	})
}

// tee copies a response that is HTML.
type tee struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
}

func (t *tee) WriteHeader(status int) {
	if t.status == 0 {
		t.status = status
	}
	t.ResponseWriter.WriteHeader(status)
}

func (t *tee) Write(b []byte) (int, error) {
	if t.status == 0 {
		t.status = http.StatusOK
	}
	if strings.HasPrefix(t.Header().Get("Content-Type"), "text/html") {
		t.body.Write(b)
	}
	return t.ResponseWriter.Write(b)
}

func (t *tee) Unwrap() http.ResponseWriter { return t.ResponseWriter }

// A checker that finds no fault in a broken page has checked nothing.
func TestTheCheckerFindsFaults(t *testing.T) {
	found, err := invalidHTML(t.TempDir(), map[string][][]byte{
		"GET /good 200": {[]byte(`<!doctype html><html lang="en"><title>Good</title><p>Good.</p></html>`)},
		"GET /bad 200":  {[]byte(`<!doctype html><html lang="en"><title>Bad</title><p id=a><span id=a>Bad.</p></html>`)}})
	if errors.Is(err, errNoChecker) && os.Getenv("TRIVET_BROWSER") != "1" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(found, "\n"); !strings.Contains(text, "GET /bad 200, line 1: Duplicate ID") || strings.Contains(text, "/good") {
		t.Errorf("the checker found: %s", text)
	}
}

var errNoChecker = errors.New(`the checker of HTML cannot run: it needs Java and "make checker"`)

// invalidHTML tells what is wrong with pages by the Nu Html Checker (the
// W3C's, of the WHATWG's HTML Living Standard), SVG in them included.
func invalidHTML(dir string, kinds map[string][][]byte) ([]string, error) {
	jar := filepath.Join("checker", "node_modules", "vnu-jar", "build", "dist", "vnu.jar")
	java, err := exec.LookPath("java")
	if _, noJar := os.Stat(jar); err != nil || noJar != nil {
		return nil, errNoChecker
	}
	kindOf := map[string]string{}
	for kind, pages := range kinds {
		for _, page := range pages {
			name := fmt.Sprintf("%03d.html", len(kindOf))
			kindOf[name] = kind
			if err := os.WriteFile(filepath.Join(dir, name), page, 0o600); err != nil {
				return nil, err
			}
		}
	}
	out, _ := exec.Command(java, "-Xmx512m", "-jar", jar, "--format", "json", "--exit-zero-always", "--skip-non-html", dir).CombinedOutput()
	var answer struct {
		Messages []struct {
			Type, URL, Message, Extract string
			LastLine                    int
		}
	}
	if err := json.Unmarshal(out, &answer); err != nil {
		return nil, fmt.Errorf("the checker said %.500q: %w", out, err)
	}
	var found []string
	for _, m := range answer.Messages {
		if m.Type != "info" {
			found = append(found, fmt.Sprintf("%s, line %d: %s: %s", kindOf[filepath.Base(m.URL)], m.LastLine, m.Message, m.Extract))
		}
	}
	return found, nil
}

// checkPagesSeen is run after the tests: every page they were served is valid
// HTML.
func checkPagesSeen() error {
	pagesSeen.Lock()
	defer pagesSeen.Unlock()
	if len(pagesSeen.kinds) == 0 {
		return nil
	}
	dir, err := os.MkdirTemp("", "pages")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	found, err := invalidHTML(dir, pagesSeen.kinds)
	if errors.Is(err, errNoChecker) && os.Getenv("TRIVET_BROWSER") != "1" {
		return nil
	}
	if err != nil {
		return err
	}
	if testing.Verbose() {
		fmt.Printf("checked the markup of pages of %d kinds\n", len(pagesSeen.kinds))
	}
	if len(found) > 0 {
		return fmt.Errorf("pages that are not valid HTML:\n%s", strings.Join(found, "\n"))
	}
	return nil
}

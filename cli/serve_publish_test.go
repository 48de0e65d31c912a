package cli

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/rand"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// What the desk gives away as files is what the commands write: the package
// can be verified and answers the same, the copy of the notebook can be
// restored.
func TestTheDeskPublishesWhatTheCommandsWrite(t *testing.T) {
	urls, _ := serving(t, "--demo")
	const study = "sear-first-or-sear-last"
	get := func(path, mime string) []byte {
		t.Helper()
		res, err := http.Get(urls[0] + path)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		body, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK || !strings.HasPrefix(res.Header.Get("Content-Type"), mime) {
			t.Fatalf("%s: status %d, %s, %v: %.300s", path, res.StatusCode, res.Header.Get("Content-Type"), err, body)
		}
		return body
	}
	names := func(b []byte) []string {
		t.Helper()
		z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		for _, f := range z.File {
			all = append(all, f.Name)
		}
		return all
	}
	dir := t.TempDir()
	run := func(args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		env := &Env{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs, Now: time.Now, Random: rand.Reader, NotebookPath: filepath.Join(dir, "other.trivet")}
		if status := Run(context.Background(), args, env); status != 0 {
			t.Fatalf("trivet %s: status %d: %s", strings.Join(args, " "), status, errs.String())
		}
		return out.String()
	}

	page := string(get("/studies/"+study+"/report", "text/html"))
	for _, want := range []string{"<svg", "Invented"} {
		if !strings.Contains(page, want) {
			t.Errorf("the report holds no %q", want)
		}
	}
	report := names(get("/studies/"+study+"/report.zip", "application/zip"))
	for _, want := range []string{"index.html", "data/responses.csv", "data/answer.json", "data/" + study + ".zip"} {
		if !slices.Contains(report, want) {
			t.Errorf("the report's zip holds no %s: %q", want, report)
		}
	}

	pack := filepath.Join(dir, study+".zip")
	if err := os.WriteFile(pack, get("/studies/"+study+"/package.zip", "application/zip"), 0o600); err != nil {
		t.Fatal(err)
	}
	run("study", "verify", pack)
	copied := filepath.Join(dir, "copy.trivet")
	if err := os.WriteFile(copied, get("/copy", "application/octet-stream"), 0o600); err != nil {
		t.Fatal(err)
	}
	run("restore", copied)
	if a, b := run("answer", pack), run("answer", study); a != b {
		t.Errorf("the package answers\n%s\nand the restored copy\n%s", a, b)
	}

	if !bytes.HasPrefix(get("/studies/"+study+"/sheets.pdf?paper=letter", "application/pdf"), []byte("%PDF-")) {
		t.Error("the run sheets are no PDF")
	}
	if sheets := string(get("/studies/"+study+"/sheets", "text/html")); !strings.Contains(sheets, "Run sheets") {
		t.Error("the run sheets are not there as a page")
	}
}

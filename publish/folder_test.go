package publish

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trivet/fault"
)

var look = flag.String("look", "", "write the sample report into this folder, to look at")

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

func TestWriteFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "report")
	if *look != "" {
		dir = *look
	}
	r := sample()
	r.Cooks = r.Cooks[:6]
	r.Data = nil
	if *look != "" {
		r = sample()
	}
	extras := []Extra{{Path: "data/cooks-table.csv", What: "One row for each cook", Write: text("cook,loss_pct\r\nL01,21.1\r\n")}}
	if err := WriteFolder(t.Context(), dir, r, extras); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"index.html", "figures/answer-line.svg", "figures/answer-line.png", "figures/answer-line.pdf", "figures/answer-line-1080p.png", "figures/loss-blocks.svg", "figures/cook-l01-last.svg", "data/cooks-table.csv", Manifest} {
		if info, err := os.Stat(filepath.Join(dir, want)); err != nil || info.Size() == 0 {
			t.Errorf("%s is missing or empty: %v", want, err)
		}
	}
	// The manifest holds every file, each with its sum.
	sums, err := os.ReadFile(filepath.Join(dir, Manifest))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]string{}
	for _, line := range strings.Split(strings.TrimSpace(string(sums)), "\n") {
		sum, name, _ := strings.Cut(line, "  ")
		listed[name] = sum
	}
	filepath.WalkDir(dir, func(p string, d os.DirEntry, err error) error {
		rel, _ := filepath.Rel(dir, p)
		if err != nil || d.IsDir() || rel == Manifest {
			return err
		}
		data, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		if got := listed[filepath.ToSlash(rel)]; got != hex.EncodeToString(sum[:]) {
			t.Errorf("%s is listed with %q", rel, got)
		}
		return nil
	})
	page, err := os.ReadFile(filepath.Join(dir, "index.html"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(page, []byte(listed["data/cooks-table.csv"])) {
		t.Error("the page does not give the sum of the extra file")
	}
	// Written again over itself, the folder is the same, and nothing is left
	// beside it.
	if err := WriteFolder(t.Context(), dir, r, extras); err != nil {
		t.Fatal(err)
	}
	again, err := os.ReadFile(filepath.Join(dir, Manifest))
	if err != nil || !bytes.Equal(sums, again) {
		t.Error("the same report gave other files")
	}
	if *look == "" {
		if left, _ := os.ReadDir(filepath.Dir(dir)); len(left) != 1 {
			t.Errorf("%d entries beside the report, want it alone", len(left))
		}
	}
}

func TestWriteFolderKeepsWhatIsNotItsOwn(t *testing.T) {
	dir := t.TempDir()
	mine := filepath.Join(dir, "recipes.txt")
	if err := os.WriteFile(mine, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := WriteFolder(t.Context(), dir, Report{Title: "t"}, nil)
	if e := fault.As(err); e == nil || e.Code != "report-folder" || e.Kind != fault.Usage {
		t.Errorf("got %v, want report-folder", err)
	}
	if data, _ := os.ReadFile(mine); string(data) != "mine" {
		t.Error("a file of someone else was touched")
	}
}

func TestWriteFolderFailureLeavesTheEarlierReport(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "report")
	if err := WriteFolder(t.Context(), dir, Report{Title: "first"}, nil); err != nil {
		t.Fatal(err)
	}
	boom := errors.New("disk full")
	err := WriteFolder(t.Context(), dir, Report{Title: "second"}, []Extra{{Path: "data/a.csv", Write: func(io.Writer) error { return boom }}})
	if !errors.Is(err, boom) {
		t.Fatalf("got %v", err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "index.html"))
	if err != nil || !bytes.Contains(page, []byte("first")) {
		t.Error("the earlier report is gone")
	}
	if left, _ := os.ReadDir(filepath.Dir(dir)); len(left) != 1 {
		t.Errorf("%d entries beside the report, want it alone", len(left))
	}
}

func TestWriteFolderStopsWhenInterrupted(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "report")
	ctx, cancel := context.WithCancel(t.Context())
	err := WriteFolder(ctx, dir, Report{Title: "t"}, []Extra{
		{Path: "data/a.csv", Write: func(io.Writer) error { cancel(); return nil }},
		{Path: "data/b.csv", Write: func(io.Writer) error { t.Error("went on after the interrupt"); return nil }},
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want %v", err, context.Canceled)
	}
	if left, _ := os.ReadDir(filepath.Dir(dir)); len(left) != 0 {
		t.Errorf("%d entries were left", len(left))
	}
}

func TestWriteFolderRefusesPathsOutside(t *testing.T) {
	for _, name := range []string{"../a", "/etc/a", "a/../../b", "", ".", `a\b`, "index.html"} {
		dir := filepath.Join(t.TempDir(), "report")
		extras := []Extra{{Path: name, Write: text("x")}}
		if name == "index.html" { // taken by the page itself
			if err := WriteFolder(t.Context(), dir, Report{Title: "t"}, extras); err == nil {
				t.Error("two files of one name were accepted")
			}
			continue
		}
		err := WriteFolder(t.Context(), dir, Report{Title: "t"}, extras)
		if e := fault.As(err); e == nil || e.Code != "report-path" {
			t.Errorf("%q: got %v, want report-path", name, err)
		}
	}
}

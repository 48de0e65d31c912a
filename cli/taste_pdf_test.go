package cli

import (
	"bytes"
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestBallotsAsPDF(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TRIVET_PASSPHRASE", "four invented test words")
	run := func(args ...string) (int, string) {
		t.Helper()
		var out, errs bytes.Buffer
		env := &Env{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs, Now: time.Now, Random: rand.Reader}
		return Run(context.Background(), args, env), out.String() + errs.String()
	}
	folder := filepath.Join(dir, "tasting")
	if status, text := run("taste", "orders", "--method", "triangle", "--products", "late,early", "--assessors", "3", "--allergens", "celery", "--out", folder); status != 0 {
		t.Fatal(text)
	}
	pages := func(path string) int {
		t.Helper()
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.HasPrefix(b, []byte("%PDF")) {
			t.Fatalf("%s is no PDF", path)
		}
		return bytes.Count(b, []byte("/Type /Page\n"))
	}
	all, one := filepath.Join(dir, "all.pdf"), filepath.Join(dir, "one.pdf")
	if status, text := run("taste", "ballots", folder, "--pdf", all); status != 0 || pages(all) != 3 {
		t.Errorf("status %d, %d pages, want 3: %s", status, pages(all), text)
	}
	if status, text := run("taste", "ballots", folder, "--assessor", "P02", "--pdf", one, "--paper", "letter"); status != 0 || pages(one) != 1 {
		t.Errorf("status %d, %d pages, want 1: %s", status, pages(one), text)
	}
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"a file that is there": {[]string{"--pdf", all}, "--force"},
		"another paper":        {[]string{"--pdf", one, "--paper", "a5"}, "a4 or letter"},
		"another role":         {[]string{"--pdf", one, "--for", "server"}, "only the assessors' ballots"},
		"an unknown assessor":  {[]string{"--pdf", filepath.Join(dir, "x.pdf"), "--assessor", "P99"}, "no such assessor"},
	} {
		t.Run(name, func(t *testing.T) {
			if status, text := run(append([]string{"taste", "ballots", folder}, c.args...)...); status != 2 || !strings.Contains(text, c.says) {
				t.Errorf("status %d: %s", status, text)
			}
		})
	}
}

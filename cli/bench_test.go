package cli_test

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"trivet/cli"
)

// BenchmarkAnswerDemo is "trivet answer" on the demo study, from opening the
// notebook to the printed answer, in one process. "fresh" measures every cook
// from its samples; "stored" takes the measured responses from the notebook.
func BenchmarkAnswerDemo(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "demo")
	run(b, "demo", "--out", dir)
	nb := filepath.Join(dir, "demo.trivet")
	b.Run("stored", func(b *testing.B) {
		for b.Loop() {
			run(b, "answer", "sear-first-or-sear-last", "--notebook", nb)
		}
	})
	pkg := filepath.Join(dir, "package")
	run(b, "study", "export", "sear-first-or-sear-last", "--notebook", nb, "--out", pkg)
	b.Run("fresh", func(b *testing.B) {
		for b.Loop() {
			run(b, "answer", pkg)
		}
	})
}

func run(tb testing.TB, args ...string) string {
	tb.Helper()
	var out, errs bytes.Buffer
	if status := cli.Run(context.Background(), args, cli.NewEnv(strings.NewReader(""), &out, &errs)); status != 0 {
		tb.Fatalf("trivet %s: status %d: %s", strings.Join(args, " "), status, errs.String())
	}
	return out.String()
}

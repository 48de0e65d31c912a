//go:build large && linux

package logfile

import (
	"bufio"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// Logs of 1 GB, or that unpack to it, are loaded by the program itself in less
// than 200 MB of memory, as the system counts its resident pages at their
// peak, without any limit set by the environment. Run it by "make
// bench-large"; it needs 3 GB of room in the folder of temporary files.
func TestLoad1GBInABoundedWindow(t *testing.T) {
	bin := filepath.Join(t.TempDir(), "trivet")
	build := exec.Command("go", "build", "-trimpath", "-o", bin, "trivet/cmd/trivet")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, c := range []struct {
		name  string
		rows  int
		write func(io.Writer, int) (int64, error)
	}{
		{"csv", 14_900_000, writeLargeCSV},
		{"xlsx", 3_400_000, writeBigXLSX},
		{"xlsx of texts", 4_000_000, writeBigTexts},
		{"ods", 1_048_575, writeBigODS},
		{"parquet", 14_000_000, writeBigParquet},
		{"json", 9_000_000, writeBigJSON},
		{"xlsx in gzip", 3_400_000, func(w io.Writer, n int) (int64, error) {
			z := gzip.NewWriter(w)
			size, err := writeBigXLSX(z, n)
			return size, errors.Join(err, z.Close())
		}},
	} {
		t.Run(c.name, func(t *testing.T) { loadLarge(t, bin, c.rows, c.write) })
	}
}

func loadLarge(t *testing.T, bin string, rows int, write func(io.Writer, int) (int64, error)) {
	dir := t.TempDir()
	name := filepath.Join(dir, "A.log")
	unpacked := writeBig(t, name, rows, write)
	packed, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	doc := filepath.Join(dir, "s")
	if err := os.Mkdir(doc, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(doc, "study.yaml"), []byte(largeStudy), 0o600); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) (string, *syscall.Rusage, time.Duration) {
		c := exec.Command(bin, append(args, "--notebook", filepath.Join(dir, "notebook.trivet"))...)
		c.Dir = dir
		c.Env = slices.DeleteFunc(os.Environ(), func(v string) bool { return strings.HasPrefix(v, "GOMEMLIMIT=") })
		start := time.Now()
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("trivet %q: %v: %s", args, err, out)
		}
		return string(out), c.ProcessState.SysUsage().(*syscall.Rusage), time.Since(start)
	}
	run("study", "import", doc)
	out, use, took := run("load", name, "--study", "s", "--cook", "A")
	peak := float64(use.Maxrss) * 1024 / 1e6
	cpu := time.Duration(use.Utime.Nano() + use.Stime.Nano())
	t.Logf("%s%d rows, %d MB that unpack to %d MB, in %.1f s (%.1f s of processor time), peak %.0f MB", out, rows, packed.Size()/1e6, unpacked/1e6, took.Seconds(), cpu.Seconds(), peak)
	if peak >= 200 {
		t.Errorf("the peak is %.0f MB", peak)
	}
	info, err := os.Stat(filepath.Join(dir, "notebook.trivet"))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("the notebook has %d MB, raw log and samples", info.Size()/1e6)
}

const largeStudy = `study: s
claim: {says: "Turning often cooks faster", scope: steak, against: no difference}
treatments:
  - {id: often, control: true}
  - {id: once}
cooks:
  - {label: A, block: 1, treatment: often, role: pilot}
`

// writeLargeCSV writes an RFC 3339 time at 10 Hz and the channels.
func writeLargeCSV(to io.Writer, n int) (int64, error) {
	c := &countWriter{w: to}
	w := bufio.NewWriterSize(c, 1<<20)
	w.WriteString("time," + strings.Join(channelNames, ",") + "\n")
	at := time.Date(2026, 5, 1, 14, 3, 7, 0, time.UTC)
	var line []byte
	bigRows(n, func(i int, v *[8]int) {
		line = at.Add(time.Duration(i)*100*time.Millisecond).AppendFormat(line[:0], "2006-01-02T15:04:05.000Z")
		for _, x := range v {
			line = tenths(append(line, ','), x)
		}
		w.Write(append(line, '\n')) // an error stays with the writer until Flush
	})
	err := w.Flush()
	return c.n, err
}

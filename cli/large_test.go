//go:build large && linux

package cli

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"
)

// A log of 1 GB is loaded by the program itself in less than 200 MB of
// memory, as the system counts its resident pages at their peak, without any
// limit set by the environment. Run it by "make bench-large"; it needs 2.5 GB
// of room in the folder of temporary files.
func TestLoad1GBInABoundedWindow(t *testing.T) {
	dir := t.TempDir()
	bin := filepath.Join(dir, "trivet")
	build := exec.Command("go", "build", "-trimpath", "-o", bin, "trivet/cmd/trivet")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	name := filepath.Join(dir, "A.csv")
	rows := writeLargeLog(t, name, 1_000_000_000)
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
		for _, v := range os.Environ() {
			if len(v) < 9 || v[:9] != "GOMEMLIMI" {
				c.Env = append(c.Env, v)
			}
		}
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
	t.Logf("%s%d rows in %.1f s (%.1f s of processor time), peak %.0f MB", out, rows, took.Seconds(), cpu.Seconds(), peak)
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

// writeLargeLog writes a log of about so many bytes: an RFC 3339 time at
// 10 Hz and eight channels that drift with a tenth or two of noise.
func writeLargeLog(t *testing.T, name string, size int) (rows int) {
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	fmt.Fprintln(w, "time,core,d05,d10,d15,d20,surface A,pan,air")
	at := time.Date(2026, 5, 1, 14, 3, 7, 0, time.UTC)
	noise, line := uint64(1), []byte{}
	for n := 0; n < size; rows++ {
		line = at.AppendFormat(line[:0], "2006-01-02T15:04:05.000Z")
		at = at.Add(100 * time.Millisecond)
		for c := range 8 {
			noise = noise*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
			tenths := 200 + 100*c + rows/100%500 + int(noise>>62)
			line = append(strconv.AppendInt(append(line, ','), int64(tenths/10), 10), '.', byte('0'+tenths%10))
		}
		line = append(line, '\n')
		k, _ := w.Write(line) // an error stays with the writer until Flush
		n += k
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return rows
}

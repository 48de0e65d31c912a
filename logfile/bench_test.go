package logfile

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"
)

// bigCSV is a log of n rows: an RFC 3339 time at 10 Hz and eight channels
// that drift with noise, written to 0.01 K.
func bigCSV(n int) []byte {
	r := rand.New(rand.NewPCG(1, 2))
	b := []byte("time,core,d05,d10,d15,d20,surface,pan,air\n")
	at := time.Date(2026, 5, 1, 14, 3, 7, 0, time.UTC)
	v := [8]float64{5, 5.5, 6, 6.5, 7, 8, 205, 23}
	for range n {
		b = at.AppendFormat(b, "2006-01-02T15:04:05.000Z")
		at = at.Add(100 * time.Millisecond)
		for i := range v {
			v[i] += 0.05 * r.NormFloat64()
			b = append(b, ',')
			b = strconv.AppendFloat(b, v[i], 'f', 2, 64)
		}
		b = append(b, '\n')
	}
	return b
}

var bigFile = sync.OnceValue(func() string {
	name := filepath.Join(os.TempDir(), fmt.Sprintf("trivet-bench-%d.csv", os.Getpid()))
	if err := os.WriteFile(name, bigCSV(1_000_000), 0o600); err != nil {
		panic(err)
	}
	return name
})

func TestMain(m *testing.M) {
	code := m.Run()
	os.Remove(filepath.Join(os.TempDir(), fmt.Sprintf("trivet-bench-%d.csv", os.Getpid())))
	os.Exit(code)
}

// cpuTime is the processor time the process has used.
func cpuTime() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// BenchmarkReadColumns reads 1,000,000 rows × 9 columns, one a time, from a
// file in the page cache; the SHA-256 of the file is part of it. Processor
// time (cpu-ms, all threads) tells more than the wall clock on a busy
// machine. The peer sub-benchmark runs pandas.read_csv on the same file where
// Debian's python3-pandas is installed.
func BenchmarkReadColumns(b *testing.B) {
	name := bigFile()
	info, err := os.Stat(name)
	if err != nil {
		b.Fatal(err)
	}
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(info.Size())
			var peak uint64
			least := time.Duration(math.MaxInt64)
			for b.Loop() {
				from := cpuTime()
				f, err := os.Open(name)
				if err != nil {
					b.Fatal(err)
				}
				t, err := ReadColumns(f, Options{Workers: workers})
				f.Close()
				if err != nil || t.Rows != 1_000_000 || t.Columns[0].Type != Time || len(t.Account.Problems) > 0 {
					b.Fatal(err, t)
				}
				least = min(least, cpuTime()-from)
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				peak = max(peak, m.HeapSys+m.StackSys-m.HeapReleased)
			}
			b.ReportMetric(float64(peak)/1e6, "MB-heap")
			b.ReportMetric(float64(least)/1e6, "least-cpu-ms")
		})
	}
	b.Run("peer=pandas", func(b *testing.B) {
		out, err := exec.Command("/usr/bin/python3", "testdata/peer/pandas_peer.py", "csv", name).CombinedOutput()
		if err != nil {
			b.Skipf("pandas is not here: %v: %s", err, bytes.TrimSpace(out))
		}
		var ms, cpu, mb float64
		var version string
		if _, err := fmt.Sscanf(string(out), "pandas %s median %f ms least cpu %f ms peak %f MB", &version, &ms, &cpu, &mb); err != nil {
			b.Fatalf("%v: %s", err, out)
		}
		for b.Loop() {
		}
		b.ReportMetric(ms, "pandas-ms")
		b.ReportMetric(cpu, "least-cpu-ms")
		b.ReportMetric(mb, "pandas-MB")
		b.ReportMetric(0, "ns/op")
		b.Logf("pandas %s: median %.0f ms, least processor time %.0f ms, peak %.0f MB", version, ms, cpu, mb)
	})
}

// BenchmarkLoad loads an hour of 9 columns at 10 Hz into eight traces, the
// guess of every column included.
func BenchmarkLoad(b *testing.B) {
	text := bigCSV(36_000)
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		log, err := Load(bytes.NewReader(text), LoadOptions{})
		if err != nil || len(log.Traces) != 8 || log.Account.Kept != 36_000 {
			b.Fatal(err)
		}
	}
}

// BenchmarkForms reads 20,000 rows × 9 of each form that is turned into a
// table first, to typed columns.
func BenchmarkForms(b *testing.B) {
	for _, c := range bigFormats {
		b.Run(c.name, func(b *testing.B) {
			var file bytes.Buffer
			size, err := c.write(&file, 20_000)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			b.SetBytes(size)
			for b.Loop() {
				if t, err := ReadColumns(bytes.NewReader(file.Bytes()), Options{}); err != nil || t.Rows != 20_000 {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("JSON Lines", func(b *testing.B) {
		var file bytes.Buffer
		if _, err := writeBigJSON(&file, 20_000); err != nil {
			b.Fatal(err)
		}
		_, lines, _ := bytes.Cut(file.Bytes(), []byte("[\n"))
		lines = bytes.ReplaceAll(bytes.TrimSuffix(lines, []byte("\n]}\n")), []byte("},\n"), []byte("}\n"))
		b.ReportAllocs()
		b.SetBytes(int64(len(lines)))
		for b.Loop() {
			if t, err := ReadColumns(bytes.NewReader(lines), Options{}); err != nil || t.Rows != 20_000 {
				b.Fatal(err, t)
			}
		}
	})
}

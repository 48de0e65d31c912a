//go:build peers && linux

package logfile

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/xuri/excelize/v2"
)

// Reading a table to typed columns beside pandas.read_csv and
// pandas.read_excel: the same files, in turns in one run, each reading in a
// process of its own. The start of Python and the import of pandas are not
// counted. Run it by "make peers"; it needs Debian's python3-pandas and
// python3-openpyxl.
func TestPeers(t *testing.T) {
	if name := os.Getenv("TRIVET_PEER_FILE"); name != "" {
		readOnce(t, name)
		return
	}
	dir := t.TempDir()
	csv, xlsx := filepath.Join(dir, "log.csv"), filepath.Join(dir, "log.xlsx")
	if err := os.WriteFile(csv, bigCSV(1_000_000), 0o600); err != nil {
		t.Fatal(err)
	}
	writeBigWorkbook(t, xlsx, 100_000)
	var out bytes.Buffer
	w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nfile\treader\twall, median\tprocessor, least\tpeak memory")
	for _, c := range []struct {
		name, kind, file string
		turns            int
	}{
		{"CSV, 1,000,000 rows × 9", "csv", csv, 5},
		{"XLSX, 100,000 rows × 9", "xlsx", xlsx, 3},
	} {
		var ours, theirs readings
		version := ""
		for range c.turns {
			self := exec.Command(os.Args[0], "-test.run", "^TestPeers$", "-test.v")
			self.Env = append(os.Environ(), "TRIVET_PEER_FILE="+c.file)
			ours.add(t, self, "trivet", &version)
			theirs.add(t, exec.Command("/usr/bin/python3", "testdata/peer/pandas_peer.py", c.kind, c.file, "1"), "pandas", &version)
		}
		for _, r := range []struct {
			who string
			*readings
		}{{"trivet", &ours}, {"pandas " + version, &theirs}} {
			fmt.Fprintf(w, "%s\t%s\t%.0f ms\t%.0f ms\t%.0f MB\n", c.name, r.who, r.median(), slices.Min(r.cpu), slices.Max(r.peak))
		}
		if slices.Min(ours.cpu) >= slices.Min(theirs.cpu) || ours.median() >= theirs.median() {
			t.Errorf("%s: pandas is faster", c.name)
		}
	}
	w.Flush()
	t.Log(out.String())
}

// readings are the times in ms and peaks in MB of several readings.
type readings struct{ wall, cpu, peak []float64 }

func (r *readings) add(t *testing.T, c *exec.Cmd, who string, version *string) {
	t.Helper()
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	at := strings.Index(string(out), who+" ")
	var v string
	var ms, cpu, mb float64
	if at < 0 {
		t.Fatalf("%s", out)
	}
	if _, err := fmt.Sscanf(string(out)[at:], who+" %s median %f ms least cpu %f ms peak %f MB", &v, &ms, &cpu, &mb); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	*version = v
	r.wall, r.cpu, r.peak = append(r.wall, ms), append(r.cpu, cpu), append(r.peak, mb)
}

func (r *readings) median() float64 {
	s := slices.Sorted(slices.Values(r.wall))
	return s[len(s)/2]
}

// readOnce reads the file as the peer does and prints what it took in the
// peer's form.
func readOnce(t *testing.T, name string) {
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	start, used := time.Now(), cpuTime()
	table, err := ReadColumns(f, Options{})
	spent, cpu := time.Since(start), cpuTime()-used
	if err != nil || table.Rows < 100_000 || len(table.Columns) != 9 || len(table.Account.Problems) > 0 {
		t.Fatal(err, table)
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	var peak float64
	if at := strings.Index(string(status), "VmHWM:"); at >= 0 {
		fmt.Sscanf(string(status)[at:], "VmHWM: %f kB", &peak)
	}
	fmt.Printf("trivet here median %.1f ms least cpu %.1f ms peak %.0f MB\n", spent.Seconds()*1e3, cpu.Seconds()*1e3, peak/1024)
}

// writeBigWorkbook writes a sheet of n rows: a date with a date's format and
// eight channels to 0.1 K.
func writeBigWorkbook(t *testing.T, name string, n int) {
	f := excelize.NewFile()
	defer f.Close()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	w, err := f.NewStreamWriter("Sheet1")
	must(err)
	date, err := f.NewStyle(&excelize.Style{NumFmt: 22})
	must(err)
	must(w.SetRow("A1", []any{"time", "core", "d05", "d10", "d15", "d20", "surface", "pan", "air"}))
	for i := range n {
		row := []any{excelize.Cell{StyleID: date, Value: 46143.5 + float64(i)/864000}}
		for c := range 8 {
			row = append(row, float64(200+100*c+i%997)/10)
		}
		cell, err := excelize.CoordinatesToCellName(1, i+2)
		must(err)
		must(w.SetRow(cell, row))
	}
	must(w.Flush())
	must(f.SaveAs(name))
}

package logfile

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// One log as other writers pack it; testdata/peers/README.md names them and
// their versions. Every reading, every time and
// what is missing come out the same.
func TestOtherWriters(t *testing.T) {
	nan := math.NaN()
	want := [][]float64{
		{5.25, 5.5, nan, 6, nan, -0.125, 7.3, 7.55},
		{200.1, 201, 202.5, 203, 204.25, 205, 206, 1234.5},
		{nan, 250.4, 250.3, nan, 249.9, 249.75, 249.6, 249.5},
	}
	columns := []string{"core °C", "pan °C", "weighing g"}
	seconds := []int64{0, 1, 2, 3, 4, 5, 7, 8}
	const from = 1_777_644_187_000_000 // 2026-05-01T14:03:07Z
	names, err := filepath.Glob("testdata/peers/*.*")
	if err != nil {
		t.Fatal(err)
	}
	read := 0
	for _, name := range names {
		kind := map[string]string{".xlsx": "workbook", ".ods": "workbook", ".parquet": "Parquet", ".csv": "table"}[filepath.Ext(name)]
		if kind == "" {
			continue
		}
		read++
		t.Run(filepath.Base(name), func(t *testing.T) {
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			log, err := Load(bytes.NewReader(b), LoadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if got := log.Guess.Layout.Kind; got != kind {
				t.Errorf("read as %s", got)
			}
			var got []string
			for i, tr := range log.Traces {
				got = append(got, tr.Channel.SourceName)
				if i < len(want) {
					if d := cmp.Diff(want[i], values(tr), sameFloats); d != "" {
						t.Errorf("%s: %s", tr.Channel.SourceName, d)
					}
				}
			}
			if d := cmp.Diff(columns, got); d != "" {
				t.Fatal(d)
			}
			for i, us := range log.Traces[0].TimesUS {
				if off := us - from - seconds[i]*1e6; log.Traces[0].Elapsed || off != 0 {
					t.Errorf("time %d is off by %d µs", i, off)
				}
			}
			bad := log.Account.Counts[NotANumber]
			if len(log.Account.Problems) != bad || bad > 1 || kind != "Parquet" && bad != 1 {
				t.Errorf("%v", log.Account.Problems)
			}
		})
	}
	if read < 14 {
		t.Errorf("%d files", read)
	}
}

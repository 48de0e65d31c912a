package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/bench"
	"trivet/logfile"
	"trivet/study"
	"trivet/trace"
)

// longLog is a log of n rows at 10 Hz; late rows are written more finely.
func longLog(n int) string {
	random := rand.New(rand.NewPCG(7, 7))
	var b strings.Builder
	b.WriteString("time_s,core °C,pan °C\n")
	v := 20.0
	for i := range n {
		v += 0.1 * random.NormFloat64()
		if i < n*3/4 {
			fmt.Fprintf(&b, "%d.%d,%.1f,200\n", i/10, i%10, v)
		} else {
			fmt.Fprintf(&b, "%d.%d,%.3f,--\n", i/10, i%10, v)
		}
	}
	return b.String()
}

// keep reads a log into a cook piece by piece.
func keep(t testing.TB, n *Notebook, text string) *logfile.Log {
	t.Helper()
	w, err := n.KeepLog(context.Background(), "s")
	must(t, err)
	defer w.Close()
	log, err := logfile.Load(strings.NewReader(text), logfile.LoadOptions{Raw: w, Sink: w})
	must(t, err)
	_, err = w.Commit(study.Cook{ID: "k", Label: "k"}, "log.csv", func(c *study.Cook) { c.Day = "2026-05-01" }, study.Event{Kind: study.EventLoaded})
	must(t, err)
	return log
}

// A log that is kept piece by piece gives, byte for byte, the rows in the
// notebook that it gives when its traces are put whole.
func TestKeepLogIsPutTraces(t *testing.T) {
	ctx := context.Background()
	for _, rows := range []int{3, 40_000, 150_000} {
		t.Run(fmt.Sprint(rows), func(t *testing.T) {
			text := longLog(rows)
			one, two := newNotebook(t), newNotebook(t)
			for _, n := range []*Notebook{one, two} {
				must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("doc"), nil))
			}
			keep(t, one, text)
			log, err := logfile.Load(strings.NewReader(text), logfile.LoadOptions{})
			must(t, err)
			must(t, two.PutCook(ctx, "s", study.Cook{ID: "k", Label: "k", Day: "2026-05-01"}))
			var traces []trace.Trace
			for _, x := range log.Traces {
				traces = append(traces, *x)
			}
			must(t, two.PutTraces(ctx, "s", "k", traces, []bench.RawFile{rawOf("log.csv", []byte(text))}))
			for _, table := range []string{"trace", "trace_chunk", "trace_overview", "raw_file", "raw_block", "study_raw"} {
				if a, b := rowsOf(t, one, table), rowsOf(t, two, table); a != b {
					t.Errorf("table %s differs: %d and %d bytes", table, len(a), len(b))
				}
			}
			got, err := one.Traces(ctx, "s", "k")
			must(t, err)
			if d := cmp.Diff(traces, got, cmp.Comparer(trace.Bitmap.Equal)); d != "" {
				t.Error(d)
			}
			raw, err := one.Raw(ctx, log.SHA256)
			must(t, err)
			var copied bytes.Buffer
			name, err := one.CopyRaw(ctx, log.SHA256, &copied)
			must(t, err)
			if string(raw.Bytes) != text || raw.Name != "log.csv" || name != "log.csv" || copied.String() != text {
				t.Error("the raw log came out changed")
			}
			rec, err := one.Record(ctx, "s")
			must(t, err)
			if len(rec.Cooks) != 1 || rec.Cooks[0].Day != "2026-05-01" {
				t.Errorf("cooks: %+v", rec.Cooks)
			}
			keep(t, one, text) // again: nothing changes
			again, err := one.Record(ctx, "s")
			must(t, err)
			if len(again.Events) != len(rec.Events) {
				t.Error("loading it again added an event")
			}
		})
	}
}

// rowsOf prints every row of a table.
func rowsOf(t *testing.T, n *Notebook, table string) string {
	t.Helper()
	rows, err := n.read.Query("SELECT * FROM " + table + " ORDER BY 1, 2, 3")
	must(t, err)
	defer rows.Close()
	names, err := rows.Columns()
	must(t, err)
	var b strings.Builder
	for rows.Next() {
		into := make([]any, len(names))
		for i := range into {
			into[i] = new(any)
		}
		must(t, rows.Scan(into...))
		for _, v := range into {
			fmt.Fprintf(&b, "%v|", *v.(*any))
		}
	}
	must(t, rows.Err())
	return b.String()
}

// A load that breaks off, or whose cook another study has, leaves the
// notebook as it was, and no file beside it.
func TestKeepLogWholeOrNotAtAll(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("doc"), nil))
	must(t, n.PutStudy(ctx, &study.Study{ID: "other"}, []byte("doc"), nil))
	must(t, n.PutCook(ctx, "other", study.Cook{ID: "taken", Label: "x"}))
	text := longLog(100_000)
	t.Run("broken off", func(t *testing.T) {
		w, err := n.KeepLog(ctx, "s")
		must(t, err)
		broken := errors.New("unplugged")
		_, err = logfile.Load(&breaking{strings.NewReader(text), len(text) / 2, broken}, logfile.LoadOptions{Raw: w, Sink: w})
		if !errors.Is(err, broken) {
			t.Error(err)
		}
		must(t, w.Close())
	})
	t.Run("refused", func(t *testing.T) {
		w, err := n.KeepLog(ctx, "s")
		must(t, err)
		_, err = logfile.Load(strings.NewReader(text), logfile.LoadOptions{Raw: w, Sink: w})
		must(t, err)
		_, err = w.Commit(study.Cook{ID: "taken"}, "log.csv", func(*study.Cook) {})
		wantCode(t, err, "id-conflict")
		must(t, w.Close())
	})
	for _, table := range []string{"trace", "raw_file", "raw_block", "trace_chunk"} {
		if rowsOf(t, n, table) != "" {
			t.Errorf("table %s holds something", table)
		}
	}
	files, err := os.ReadDir(filepath.Dir(n.Path()))
	must(t, err)
	for _, f := range files {
		if strings.Contains(f.Name(), ".log-") {
			t.Errorf("%s is left behind", f.Name())
		}
	}
}

type breaking struct {
	r    *strings.Reader
	left int
	err  error
}

func (b *breaking) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, b.err
	}
	n, err := b.r.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

package bundle

import (
	"bytes"
	"context"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
	"trivet/trace"
)

const plainDocument = document + `cooks:
  - {label: L01-last, block: L01, treatment: sear-last, logs: [logs/L01-last.csv], weighings: {raw: 250.1 g, rested: 190.2 g}}
  - {label: L01-first, block: L01, treatment: sear-first, logs: [{file: logs/L01-first.csv, map: maps/logger}]}
`

// loadTwoColumns stands for the log reader that a program wires in: times in
// seconds and tenths of a degree.
func loadTwoColumns(name string, r io.Reader, mapYAML []byte) ([]trace.Trace, []fault.Note, error) {
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, nil, err
	}
	t := trace.Trace{Channel: trace.Channel{ID: "core", SourceName: string(mapYAML)}, Elapsed: true, Quantum: 0.1}
	for _, row := range rows {
		s, _ := strconv.ParseInt(row[0], 10, 64)
		c, _ := strconv.ParseFloat(row[1], 64)
		t.TimesUS, t.Counts = append(t.TimesUS, s*1_000_000), append(t.Counts, int64(10*c+0.5))
	}
	return []trace.Trace{t}, []fault.Note{fault.Notef("guessed", "the columns of %s were guessed", name)}, nil
}

func plainFolder(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for path, text := range map[string]string{
		"study.yaml": plainDocument, "cooks/sear-last.yaml": "pan: 205 °C\n", "cooks/sear-first.yaml": "pan: 205 °C\n",
		"logs/L01-last.csv": "0,5.0\n1,5.1\n", "logs/L01-first.csv": "0,6.0\n", "maps/logger.yaml": "time: t\n",
	} {
		path = filepath.Join(dir, path)
		must(t, os.MkdirAll(filepath.Dir(path), 0o755))
		must(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return dir
}

func TestPlainFolderIsRead(t *testing.T) {
	ctx := context.Background()
	dir := plainFolder(t)
	if IsPackage(dir) {
		t.Error("a plain folder is taken for a package")
	}
	f, err := Open(dir, Options{LoadLog: loadTwoColumns})
	must(t, err)
	defer f.Close()
	list, err := f.Studies(ctx)
	must(t, err)
	if len(list) != 1 || list[0].Cooks != 2 || list[0].Title != "Sear first or sear last" {
		t.Errorf("studies %+v", list)
	}
	rec, err := f.Record(ctx, list[0].ID)
	must(t, err)
	if string(rec.Document) != plainDocument || len(rec.CookFiles) != 2 || rec.Seal != nil {
		t.Errorf("record %+v", rec)
	}
	first := rec.Cooks[1]
	got, err := f.Traces(ctx, list[0].ID, first.ID)
	must(t, err)
	want := []trace.Trace{{Channel: trace.Channel{ID: "core", SourceName: "time: t\n"}, Elapsed: true, Quantum: 0.1,
		TimesUS: []int64{0}, Counts: []int64{60}, Source: hashOf([]byte("0,6.0\n"))}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if first.Logs[0].SHA256 != want[0].Source {
		t.Error("the record does not know its log by its hash")
	}
	raw, err := f.Raw(ctx, want[0].Source)
	must(t, err)
	if raw.Name != "logs/L01-first.csv" || !bytes.Equal(raw.Bytes, []byte("0,6.0\n")) {
		t.Errorf("log %+v", raw)
	}
	if n := f.Notes(); len(n) != 1 || n[0].Code != "guessed" {
		t.Errorf("notes %v", n)
	}

	// A plain folder becomes a package, and the package says the same.
	to := filepath.Join(t.TempDir(), "package")
	must(t, Export(ctx, to, f, rec.Study.ID, Extras{}, nil))
	p, err := Open(to, Options{})
	must(t, err)
	defer p.Close()
	packed, err := p.Record(ctx, rec.Study.ID)
	must(t, err)
	if d := cmp.Diff(rec, packed, unchanged); d != "" {
		t.Error(d)
	}
	samples, err := p.Traces(ctx, rec.Study.ID, first.ID)
	must(t, err)
	if d := cmp.Diff(want, samples, unchanged); d != "" {
		t.Error(d)
	}
}

func TestPlainFolderSaysWhatIsWrong(t *testing.T) {
	ctx := context.Background()
	write := func(name, text string) func(string) error {
		return func(dir string) error { return os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600) }
	}
	for _, c := range []struct {
		name  string
		spoil func(dir string) error
		code  fault.Code
		says  string
	}{
		{"no study", func(dir string) error { return os.Remove(filepath.Join(dir, "study.yaml")) }, "study-missing", "neither"},
		{"a log missing", func(dir string) error { return os.Remove(filepath.Join(dir, "logs/L01-last.csv")) }, "log-missing", "L01-last"},
		{"a map missing", func(dir string) error { return os.Remove(filepath.Join(dir, "maps/logger.yaml")) }, "log-map-missing", "L01-first"},
		{"another log than the document means", write("study.yaml", strings.Replace(plainDocument, "map: maps/logger", "sha256: "+strings.Repeat("0", 64), 1)), "log-changed", "L01-first"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := plainFolder(t)
			must(t, c.spoil(dir))
			e := wantCode(t, readFolder(ctx, dir), c.code)
			if !strings.Contains(e.Message, c.says) || e.Fix == "" || !strings.HasPrefix(e.File, dir) {
				t.Errorf("%v", e)
			}
		})
	}
	t.Run("a document that does not parse", func(t *testing.T) {
		dir := plainFolder(t)
		must(t, write("study.yaml", "study: [\n")(dir))
		e := fault.As(readFolder(ctx, dir))
		if e == nil || e.File != dir+"/study.yaml" || e.Line == 0 {
			t.Errorf("%v", e)
		}
	})
	t.Run("a package without its descriptor", func(t *testing.T) {
		dir := writeExample(t)
		must(t, os.Remove(filepath.Join(dir, "datapackage.json")))
		wantCode(t, readFolder(ctx, dir), "package-file-missing")
	})
}

func readFolder(ctx context.Context, dir string) error {
	f, err := Open(dir, Options{LoadLog: loadTwoColumns})
	if err != nil {
		return err
	}
	defer f.Close()
	list, err := f.Studies(ctx)
	if err != nil {
		return err
	}
	rec, err := f.Record(ctx, list[0].ID)
	if err != nil {
		return err
	}
	for _, k := range rec.Cooks {
		if _, err := f.Traces(ctx, rec.Study.ID, k.ID); err != nil {
			return err
		}
	}
	return nil
}

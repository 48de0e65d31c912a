package store

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/bench"
	"trivet/bundle"
	"trivet/study"
)

const plannedStudy = `study: Sear first or sear last
claim: {says: Searing a chop first keeps it juicier, scope: pork loin chops}
treatments:
  - {id: sear-last, control: true, cook: cooks/sear-last.yaml}
  - {id: sear-first}
invented: true
`

// A study that goes from a notebook into a package, into another notebook
// and into a package again is the same study, and the packages are the same
// to the byte.
func TestNotebookToPackageToNotebook(t *testing.T) {
	ctx := context.Background()
	one, two := newNotebook(t), newNotebook(t)
	s, err := study.Parse("study.yaml", []byte(plannedStudy))
	must(t, err)
	files := map[string][]byte{"cooks/sear-last.yaml": []byte("pan: 205 °C\n")}
	must(t, one.PutStudy(ctx, s, []byte(plannedStudy), files, study.Event{Kind: study.EventCreated, What: "made"}))
	seal, err := study.SealNow(s, files, noon)
	if err == nil { // the plan above may be too thin to seal
		must(t, one.PutSeal(ctx, s.ID, seal, study.Event{Kind: study.EventSealed, What: "sealed"}))
	}
	for i := range 3 {
		k := benchCook(i)
		must(t, one.PutCook(ctx, s.ID, k, study.Event{Kind: study.EventChanged, What: "cooked " + k.Label}))
		raw := rawOf(fmt.Sprintf("L%d.csv", i), fmt.Append(nil, "t,core\r\n0,", i, "\r\n"))
		traces := benchTraces(uint64(i))
		for j := range traces {
			traces[j].Source = raw.SHA256
		}
		must(t, one.PutTraces(ctx, s.ID, k.ID, traces, []bench.RawFile{raw}))
	}

	dir := t.TempDir()
	first, second := filepath.Join(dir, "first"), filepath.Join(dir, "second")
	must(t, bundle.Export(ctx, first, one, s.ID, bundle.Extras{}, nil))
	p, err := bundle.Open(first, bundle.Options{})
	must(t, err)
	defer p.Close()
	if _, err := bench.ImportPackage(ctx, p, s.ID, two, nil); err != nil {
		t.Fatal(err)
	}
	must(t, bundle.Export(ctx, second, two, s.ID, bundle.Extras{}, nil))

	a, err := one.Record(ctx, s.ID)
	must(t, err)
	b, err := two.Record(ctx, s.ID)
	must(t, err)
	if d := cmp.Diff(a, b, unchanged); d != "" {
		t.Errorf("the record changed:\n%s", d)
	}
	for _, k := range a.Cooks {
		x, err := one.Traces(ctx, s.ID, k.ID)
		must(t, err)
		y, err := two.Traces(ctx, s.ID, k.ID)
		must(t, err)
		if d := cmp.Diff(x, y, unchanged); d != "" {
			t.Errorf("samples changed:\n%s", d)
		}
	}
	if d := cmp.Diff(folder(t, first), folder(t, second)); d != "" {
		t.Errorf("the packages differ:\n%s", d)
	}
}

func folder(t testing.TB, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	must(t, fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(filepath.Join(dir, path))
		out[path] = string(b)
		return err
	}))
	return out
}

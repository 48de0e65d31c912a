package bundle

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
)

// inMemory is the example as a package in memory.
func inMemory(t testing.TB) memory {
	t.Helper()
	rec, traces, raw := example(t)
	m := memory{}
	must(t, writeFiles(sourceOf(rec, traces, raw), Extras{Findings: findings}, m.create))
	return m
}

// resign makes the checksums fit again, as somebody would who changes a
// package on purpose.
func (m memory) resign(t testing.TB) {
	t.Helper()
	sums := map[string]string{}
	delete(m, manifestPath)
	var d Descriptor
	must(t, json.Unmarshal(m["datapackage.json"], &d))
	for i, r := range d.Resources {
		d.Resources[i].Hash = "sha256:" + hashOf(m[r.Path])
	}
	b, err := marshalJSON(d)
	must(t, err)
	m["datapackage.json"] = b
	for path, b := range m {
		sums[path] = hashOf(b)
	}
	m[manifestPath] = manifest(sums)
}

// use opens a package and reads everything in it.
func (m memory) use(t testing.TB) error {
	t.Helper()
	ctx := context.Background()
	p, err := m.open()
	if err != nil {
		return err
	}
	rec, err := p.Record(ctx, "sear-first-or-sear-last")
	if err != nil {
		return err
	}
	for _, k := range rec.Cooks {
		if _, err := p.Traces(ctx, rec.Study.ID, k.ID); err != nil {
			return err
		}
	}
	for _, h := range p.order {
		if _, err := p.Raw(ctx, h); err != nil {
			return err
		}
	}
	return nil
}

// Every file of a package: a changed byte, or the file gone, is named.
func TestChangedAndMissingFilesAreNamed(t *testing.T) {
	for path := range inMemory(t) {
		if path == manifestPath {
			continue
		}
		m := inMemory(t)
		m[path] = append(bytes.Clone(m[path]), ' ')
		e := wantCode(t, m.use(t), "package-changed")
		if e.File != "memory/"+path {
			t.Errorf("%s was changed, and the error names %q", path, e.File)
		}
		m = inMemory(t)
		delete(m, path)
		e = wantCode(t, m.use(t), "package-file-missing")
		if e.File != "memory/"+path {
			t.Errorf("%s is missing, and the error names %q", path, e.File)
		}
	}
	m := inMemory(t)
	delete(m, manifestPath)
	wantCode(t, m.use(t), "package-file-missing")
}

// Content that does not fit, with checksums that do.
func TestBadContentIsPlaced(t *testing.T) {
	swap := func(path, old, now string) func(memory) {
		return func(m memory) {
			b := strings.Replace(string(m[path]), old, now, 1)
			if b == string(m[path]) {
				panic("nothing to replace: " + old)
			}
			m[path] = []byte(b)
		}
	}
	for _, c := range []struct {
		name   string
		change func(memory)
		code   fault.Code
		file   string
		row    int
		field  string
		value  string
	}{
		{"a word for a number", swap("weighings.csv", "196.6", "lots"), "csv-value", "weighings.csv", 2, "mass_g", "lots"},
		{"a decimal comma", swap("weighings.csv", "250.1", `"250,1"`), "csv-value", "weighings.csv", 1, "mass_g", "250,1"},
		{"not finite", swap("weighings.csv", "250.1", "NaN"), "csv-value", "weighings.csv", 1, "mass_g", "NaN"},
		{"a fraction for a whole number", swap("marks.csv", "240000000", "240000000.5"), "csv-value", "marks.csv", 1, "at_us", "240000000.5"},
		{"a number too large", swap("marks.csv", "240000000", "99999999999999999999"), "csv-value", "marks.csv", 1, "at_us", "99999999999999999999"},
		{"an unknown role", swap("cooks.csv", ",planned,", ",perhaps,"), "csv-value", "cooks.csv", 1, "role", "perhaps"},
		{"maybe for yes or no", swap("cooks.csv", ",true,", ",maybe,"), "csv-value", "cooks.csv", 1, "zero_set", "maybe"},
		{"a time without offset", swap("cooks.csv", "2026-05-01T12:00:00.250001+02:00", "2026-05-01 12:00"), "csv-value", "cooks.csv", 2, "voided_at", "2026-05-01 12:00"},
		{"an id twice", swap("cooks.csv", "000000000002", "000000000001"), "csv-value", "cooks.csv", 2, "id", "0196f5a0-0000-7000-8000-000000000001"},
		{"no id", swap("cooks.csv", "0196f5a0-0000-7000-8000-000000000001", ""), "csv-value", "cooks.csv", 1, "id", ""},
		{"a mark of no cook", swap("marks.csv", "000000000001", "000000000009"), "csv-value", "marks.csv", 1, "cook_id", "0196f5a0-0000-7000-8000-000000000009"},
		{"a cell too few", swap("marks.csv", ",turn,", ","), "csv-cells", "marks.csv", 1, "", ""},
		{"a quote that does not end", swap("marks.csv", `)",typed`, `),typed`), "csv-form", "marks.csv", 1, "", ""},
		{"a column gone", swap("marks.csv", "at_us", "at"), "csv-column", "marks.csv", 0, "at_us", ""},
		{"a scale that is no list", swap("readings.csv", `"[""pale"",""brown, deep""]"`, "pale"), "csv-value", "readings.csv", 4, "grades", "pale"},
		{"a sample between two counts", swap("samples/L01-first.csv", "41.0", "41.05"), "csv-value", "samples/L01-first.csv", 1, "core", "41.05"},
		{"a sample that is a word", swap("samples/L01-first.csv", "41.0", "hot"), "csv-value", "samples/L01-first.csv", 1, "core", "hot"},
		{"a time out of order", swap("samples/L01-first.csv", "1777629600500001,0.500001", "1777629599500000,"), "csv-value", "samples/L01-first.csv", 2, "time_us", "1777629599500000"},
		{"seconds that disagree", swap("samples/L01-first.csv", "-0.500000", "-0.6"), "csv-value", "samples/L01-first.csv", 1, "t_s", "-0.6"},
		{"samples gone", swap("samples/L01-first.csv", "1777629600500001,0.500001,-0.5,1.0000\r\n", ""), "package-samples", "samples/L01-first.csv", 0, "channel", "core"},
		{"a channel's column gone", swap("samples/L01-first.csv", "core (2)", "other"), "csv-column", "samples/L01-first.csv", 0, "core (2)", ""},
		{"samples outside the package", swap("channels.csv", "samples/L01-first.csv", "../../secrets.csv"), "csv-value", "channels.csv", 1, "file", "../../secrets.csv"},
		{"a log outside the package", swap("raw.csv", "raw/", "/etc/"), "csv-value", "raw.csv", 1, "file", ""},
		{"a resource outside the package", swap("datapackage.json", `"path": "lots.csv"`, `"path": "../lots.csv"`), "package-descriptor", "datapackage.json", 0, "path", "../lots.csv"},
		{"a resolution of nothing", swap("channels.csv", "0.0625", "0"), "csv-value", "channels.csv", 2, "quantum", "0"},
		{"another plan under the seal", swap("sealed.json", "invented", "improved"), "package-seal", "seal.json", 0, "hash", ""},
		{"a newer format", swap("datapackage.json", `"format": 1`, `"format": 99`), "package-newer", "datapackage.json", 0, "", ""},
		{"another kind of package", swap("datapackage.json", `"trivet"`, `"other"`), "package-descriptor", "datapackage.json", 0, "trivet.format", "0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := inMemory(t)
			c.change(m)
			if c.file != "datapackage.json" {
				m.resign(t)
			} else { // only the manifest: the descriptor is as it is
				sums := map[string]string{}
				for path, b := range m {
					if path != manifestPath {
						sums[path] = hashOf(b)
					}
				}
				m[manifestPath] = manifest(sums)
			}
			e := wantCode(t, m.use(t), c.code)
			if e.File != "memory/"+c.file || e.Row != c.row || c.field != "" && e.Field != c.field || c.value != "" && e.Value != c.value {
				t.Errorf("placed at %q row %d field %q value %q", e.File, e.Row, e.Field, e.Value)
			}
			if e.Fix == "" {
				t.Error("it does not say what to do")
			}
		})
	}
}

func TestManifestRefusesPathsThatLeadOut(t *testing.T) {
	for _, path := range []string{"../secrets", "/etc/passwd", "a/../../b", `a\b`, "c:/x", ""} {
		_, err := parseManifest([]byte(hashOf(nil) + "  " + path + "\n"))
		e := wantCode(t, err, "package-manifest")
		if e.Line != 1 {
			t.Errorf("%q: line %d", path, e.Line)
		}
	}
}

// A link in the folder that points outside is not followed.
func TestLinksOutOfThePackageAreNotFollowed(t *testing.T) {
	dir := writeExample(t)
	secret := filepath.Join(t.TempDir(), "cooks.csv")
	b, err := os.ReadFile(filepath.Join(dir, "cooks.csv"))
	must(t, err)
	must(t, os.WriteFile(secret, b, 0o600))
	must(t, os.Remove(filepath.Join(dir, "cooks.csv")))
	if err := os.Symlink(secret, filepath.Join(dir, "cooks.csv")); err != nil {
		t.Skipf("no links here: %v", err)
	}
	_, err = Open(dir, Options{})
	wantCode(t, err, "package-file-missing")
}

func TestFilesNobodyVouchesForAreNoted(t *testing.T) {
	dir := writeExample(t)
	must(t, os.WriteFile(filepath.Join(dir, "cooks (copy).csv"), nil, 0o600))
	p, err := Open(dir, Options{})
	must(t, err)
	defer p.Close()
	if n := p.Notes(); len(n) != 1 || n[0].Code != "package-unlisted" || !strings.Contains(n[0].Text, "cooks (copy).csv") {
		t.Errorf("notes %v", n)
	}
}

// zipped packs files into a zip file.
func zipped(t testing.TB, files map[string][]byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "package.zip")
	f, err := os.Create(path)
	must(t, err)
	z := zip.NewWriter(f)
	for name, b := range files {
		w, err := z.Create(name)
		must(t, err)
		_, err = w.Write(b)
		must(t, err)
	}
	must(t, z.Close())
	must(t, f.Close())
	return path
}

func TestZippedPackageIsRead(t *testing.T) {
	ctx := context.Background()
	for _, folder := range []string{"", "sear-first/"} {
		files := map[string][]byte{}
		for path, b := range inMemory(t) {
			files[folder+path] = b
		}
		path := zipped(t, files)
		if !IsPackage(path) {
			t.Error("the zip file is not seen to be a package")
		}
		p, err := Open(path, Options{})
		must(t, err)
		rec, traces, _ := example(t)
		got, err := p.Record(ctx, rec.Study.ID)
		must(t, err)
		if d := cmp.Diff(rec, got, unchanged); d != "" {
			t.Error(d)
		}
		samples, err := p.Traces(ctx, rec.Study.ID, rec.Cooks[0].ID)
		must(t, err)
		if d := cmp.Diff(traces[rec.Cooks[0].ID], samples, unchanged); d != "" {
			t.Error(d)
		}
		must(t, p.Close())
	}
}

func TestBadZipFilesAreRefused(t *testing.T) {
	m := inMemory(t)
	with := func(name string, b []byte) string {
		files := map[string][]byte{name: b}
		for path, b := range m {
			files[path] = b
		}
		return zipped(t, files)
	}
	t.Run("a path that leads out", func(t *testing.T) {
		_, err := Open(with("../evil", nil), Options{})
		wantCode(t, err, "package-zip")
	})
	t.Run("a file that unpacks to far more", func(t *testing.T) {
		_, err := Open(with("bomb", make([]byte, 20<<20)), Options{})
		wantCode(t, err, "package-zip")
	})
	t.Run("more than the limit", func(t *testing.T) {
		_, err := Open(with("x", []byte("x")), Options{ZipLimit: 1000})
		wantCode(t, err, "package-zip")
	})
	t.Run("no zip file", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "x.zip")
		must(t, os.WriteFile(path, []byte("PK no"), 0o600))
		_, err := Open(path, Options{})
		wantCode(t, err, "package-zip")
	})
	t.Run("nothing there", func(t *testing.T) {
		_, err := Open(filepath.Join(t.TempDir(), "x"), Options{})
		wantCode(t, err, "package-missing")
	})
}

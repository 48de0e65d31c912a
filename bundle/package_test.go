package bundle

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// unchanged compares records: nil and empty lists are alike; instants and
// bitmaps compare by their Equal.
var unchanged = cmpopts.EquateEmpty()

// document is a study as a cook writes one. All of it is invented.
const document = `# Sear first or sear last (invented)
study: Sear first or sear last
claim: {says: "Searing a chop first keeps it juicier", scope: pork loin chops, against: equal or higher loss}
questions:
  - id: loss
    ask: Does searing first lower the cooking loss?
    response: cooking_loss
    compare: {treatment: sear-first, against: sear-last}
    claim: lower
    margin: 2 points
treatments:
  - {id: sear-last, control: true, cook: cooks/sear-last.yaml}
  - {id: sear-first, cook: cooks/sear-first.yaml}
blocks: {what: pork loin, count: 20, pieces: 2}
lots:
  - {id: L01, what: "pork loin, =1+1"}
pieces:
  - {label: L01-a, lot: L01, block: L01, thickness: [30 mm, 31 mm], mass: 250.1 g, start: 5 °C}
licence: CC-BY-4.0
authors: ["Somebody \"Invented\""]
invented: true
`

// tester is what *testing.T and *rapid.T have in common.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
	Fatal(args ...any)
}

func must(t tester, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantCode(t tester, err error, code fault.Code) *fault.Error {
	t.Helper()
	e := fault.As(err)
	if e == nil || e.Code != code {
		t.Fatalf("error %v, want code %s", err, code)
	}
	return e
}

func parsed(t testing.TB) *study.Study {
	t.Helper()
	s, err := study.Parse("study.yaml", []byte(document))
	must(t, err)
	return s
}

// example is a record with something in every table.
func example(t testing.TB) (*bench.Record, map[string][]trace.Trace, []bench.RawFile) {
	t.Helper()
	noon := time.Date(2026, 5, 1, 12, 0, 0, 250_001_000, time.FixedZone("", 2*3600))
	log := []byte("t,core\r\n0,5.0\r\n1,5.1\r\n")
	picture := bench.RawFile{Name: "photo", Bytes: []byte("the bytes of a picture"), SHA256: hashOf([]byte("the bytes of a picture"))}
	raw := bench.RawFile{SHA256: hashOf(log), Name: "L01.csv", Bytes: log}
	canonical := []byte(`{"claim":"invented"}`)
	rec := &bench.Record{
		Document: []byte(document), Study: parsed(t), Created: noon, Updated: noon.Add(time.Hour),
		CookFiles: map[string][]byte{"cooks/sear-last.yaml": []byte("pan: 205 °C\r\n"), "cooks/sear-first.yaml": {}},
		Seal:      &study.Seal{Hash: hashOf(canonical), Canonical: canonical, At: noon},
		Cooks: []study.Cook{{
			ID: "0196f5a0-0000-7000-8000-000000000001", Label: "L01-first", Block: "L01", Piece: "L01-a", Treatment: "sear-first",
			Role: study.Planned, Order: 2, Day: "2026-05-01", ZeroUS: 1_777_629_600_000_000, ZeroSet: true,
			Marks:      []study.Mark{{ID: "m1", Kind: study.Turn, AtUS: 240_000_000, Note: "=HYPERLINK(\"http://x\")", Source: "typed"}},
			Weighings:  []study.Weighing{{ID: "w1", Stage: study.Raw, MassG: 250.1, ResG: 0.1}, {ID: "w2", Stage: study.AfterRest, MassG: 196.6, AtUS: -5, HasAt: true}},
			Readings:   []study.Reading{{ID: "r1", Response: "shear_force", Kind: study.Number, Unit: "N", Values: []float64{31.2, 28.4, 33}, StdU: 0.5, Blind: true}, {ID: "r2", Response: "crust", Kind: study.Grade, Values: []float64{2}, Grades: []string{"pale", "brown, deep"}}},
			Deviations: []study.Deviation{{AtUS: 1, What: "dropped\r\nit", Why: "hot, \"very\""}},
			Logs:       []study.LogRef{{File: "logs/L01.csv", SHA256: raw.SHA256}},
			Photos:     []study.Photo{{ID: "p1", SHA256: picture.SHA256, Type: "image/jpeg", WidthPx: 640, HeightPx: 480, Caption: "off the heat", Alt: "a browned chop", TakenAt: noon, AddedAt: noon}},
		}, {
			ID: "0196f5a0-0000-7000-8000-000000000002", Label: "../L01 last", Role: study.Void, VoidRule: "pan", VoidWhy: "pan cold", VoidedAt: noon,
		}},
	}
	rec.Events = append(rec.Events, study.Chain("", study.Event{Seq: 1, At: noon, Study: rec.Study.ID, Kind: study.EventCreated, What: "made", Detail: `{"by":"A"}`}))
	traces := map[string][]trace.Trace{rec.Cooks[0].ID: {
		{Channel: trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegF, OffsetK: 0.15, CheckedUK: 0.1}, OffsetMin: 120, Quantum: 0.1, Source: raw.SHA256,
			TimesUS: []int64{1_777_629_599_500_000, 1_777_629_600_500_001}, Counts: []int64{410, -5}},
		{Channel: trace.Channel{ID: "core", Place: trace.Depth, DepthM: 0.01}, Quantum: 0.0625, Source: raw.SHA256,
			TimesUS: []int64{1_777_629_599_500_000, 1_777_629_600_500_001}, Counts: []int64{0, 16}},
		{Channel: trace.Channel{ID: "-scale", Place: trace.Scale, Unit: trace.Gram}, Quantum: 0.1, Elapsed: true, TimesUS: []int64{7}, Counts: []int64{2501}},
	}}
	traces[rec.Cooks[0].ID][1].Missing.Set(0)
	return rec, traces, []bench.RawFile{raw, picture}
}

// What somebody put into the trash is not published.
func TestPhotosInTheTrashStayBehind(t *testing.T) {
	rec, traces, raw := example(t)
	rec.Cooks[0].Photos[0].TrashedAt = rec.Created
	files := memory{}
	must(t, writeFiles(sourceOf(rec, traces, raw), Extras{}, files.create))
	for path, b := range files {
		if strings.Contains(path, "photo") || strings.Contains(string(b), "a browned chop") || strings.Contains(string(b), raw[1].SHA256) {
			t.Errorf("%s tells of the photo", path)
		}
	}
}

// findings stands for what the answer command prints.
var findings = []byte("{\"format\": 1}\n")

func writeExample(t testing.TB) string {
	t.Helper()
	rec, traces, raw := example(t)
	dir := filepath.Join(t.TempDir(), "package")
	must(t, Write(context.Background(), dir, rec, traces, raw, Extras{Findings: findings, Files: map[string][]byte{"report/report.html": []byte("<p>")}}))
	return dir
}

func TestPackageComesBackUnchanged(t *testing.T) {
	ctx := context.Background()
	rec, traces, raw := example(t)
	p, err := Open(writeExample(t), Options{})
	must(t, err)
	defer p.Close()
	got, err := p.Record(ctx, rec.Study.ID)
	must(t, err)
	if d := cmp.Diff(rec, got, unchanged); d != "" {
		t.Errorf("record (-written +read):\n%s", d)
	}
	for _, k := range rec.Cooks {
		samples, err := p.Traces(ctx, rec.Study.ID, k.ID)
		must(t, err)
		if d := cmp.Diff(traces[k.ID], samples, unchanged); d != "" {
			t.Errorf("samples of %s:\n%s", k.Label, d)
		}
	}
	log, err := p.Raw(ctx, raw[0].SHA256)
	must(t, err)
	if d := cmp.Diff(&raw[0], log); d != "" {
		t.Error(d)
	}
	picture, err := p.Raw(ctx, rec.Cooks[0].Photos[0].SHA256)
	must(t, err)
	if d := cmp.Diff(&raw[1], picture); d != "" {
		t.Error(d)
	}
	if logs, err := p.(*Package).RawOf(ctx, rec.Study.ID); err != nil || len(logs) != 1 {
		t.Errorf("the logs of the package are %v, %v", logs, err)
	}
	f, err := p.(*Package).Findings()
	must(t, err)
	if string(f) != string(findings) {
		t.Errorf("findings are %q", f)
	}
	if len(p.Notes()) > 0 {
		t.Errorf("notes %v", p.Notes())
	}
}

// records draws what a record may hold, by reflection, so that a field added
// later is tested without a change here.
var records = rapid.MakeConfig{Types: map[reflect.Type]*rapid.Generator[any]{
	reflect.TypeFor[time.Time](): rapid.Custom(func(t *rapid.T) time.Time {
		zone := time.FixedZone("", 60*rapid.IntRange(-12*60, 14*60).Draw(t, "offset"))
		return rapid.SampledFrom([]time.Time{{}, time.Unix(0, rapid.Int64Range(0, 4e18).Draw(t, "ns")).In(zone)}).Draw(t, "time")
	}).AsAny(),
	reflect.TypeFor[float64]():           rapid.Float64Range(-1e300, 1e300).AsAny(),
	reflect.TypeFor[study.Role]():        rapid.SampledFrom([]study.Role{study.Pilot, study.Planned, study.Spare, study.Void}).AsAny(),
	reflect.TypeFor[study.ReadingKind](): rapid.SampledFrom([]study.ReadingKind{study.Number, study.YesNo, study.Count, study.Grade}).AsAny(),
	reflect.TypeFor[study.MarkKind]():    rapid.SampledFrom([]study.MarkKind{study.Turn, study.HeatOn}).AsAny(),
	reflect.TypeFor[study.Stage]():       rapid.SampledFrom([]study.Stage{study.Raw, study.Drip}).AsAny(),
}}

// anyRecord draws a record whose document is the example's and whose cooks
// are anything.
func anyRecord(t *rapid.T, s *study.Study) (*bench.Record, map[string][]trace.Trace, []bench.RawFile) {
	newID := func() string {
		id, _ := uuid.FromBytes(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))
		return id.String()
	}
	rec := &bench.Record{Document: []byte(document), Study: s, CookFiles: rapid.MapOfN(rapid.StringMatching(`cooks/[a-z]{1,9}\.yaml`), rapid.SliceOf(rapid.Byte()), 0, 2).Draw(t, "cook files")}
	traces := map[string][]trace.Trace{}
	var raw []bench.RawFile
	for i := range rapid.IntRange(0, 3).Draw(t, "cooks") {
		k := rapid.MakeCustom[study.Cook](records).Draw(t, "cook")
		k.ID = newID()
		k.Label = rapid.OneOf(rapid.Just(fmt.Sprint("L", i)), rapid.Map(rapid.String(), func(s string) string { return fmt.Sprint(i, s) })).Draw(t, "label")
		for j := range k.Marks {
			k.Marks[j].ID = newID()
		}
		for j := range k.Weighings {
			k.Weighings[j].ID = newID()
		}
		for j := range k.Readings {
			k.Readings[j].ID = newID()
		}
		for j := range k.Logs {
			k.Logs[j].SHA256 = ""
		}
		for j := range k.Photos {
			b := append([]byte("photo"), rapid.SliceOf(rapid.Byte()).Draw(t, "photo")...)
			k.Photos[j].ID, k.Photos[j].SHA256, k.Photos[j].TrashedAt = newID(), hashOf(b), time.Time{}
			raw = append(raw, bench.RawFile{SHA256: hashOf(b), Name: "photo", Bytes: b})
		}
		b := rapid.SliceOf(rapid.Byte()).Draw(t, "log")
		raw = append(raw, bench.RawFile{SHA256: hashOf(b), Name: rapid.String().Draw(t, "name"), Bytes: b})
		for range rapid.IntRange(0, 3).Draw(t, "channels") {
			traces[k.ID] = append(traces[k.ID], anyTrace(t, hashOf(b)))
		}
		rec.Cooks = append(rec.Cooks, k)
	}
	prev := ""
	for i := range rapid.IntRange(0, 2).Draw(t, "events") {
		e := rapid.MakeCustom[study.Event](records).Draw(t, "event")
		e.Seq, e.Study = int64(i+1), s.ID
		e = study.Chain(prev, e)
		prev = e.Hash
		rec.Events = append(rec.Events, e)
	}
	return rec, traces, raw
}

func anyTrace(t *rapid.T, source string) trace.Trace {
	x := trace.Trace{
		Channel:   rapid.MakeCustom[trace.Channel](records).Draw(t, "channel"),
		Elapsed:   rapid.Bool().Draw(t, "elapsed"),
		OffsetMin: rapid.IntRange(-840, 840).Draw(t, "offset"),
		Quantum:   rapid.OneOf(rapid.SampledFrom([]float64{0.1, 0.0625, 0.01, 1, 10, 0.1 / 3, 1e22}), rapid.Float64Range(5e-324, 1e300)).Draw(t, "quantum"),
		Source:    source,
	}
	at := rapid.Int64Range(-10, 1<<52).Draw(t, "start")
	for i := range rapid.IntRange(0, 12).Draw(t, "samples") {
		at += rapid.Int64Range(1, 2).Draw(t, "step") // small, so that channels often share times
		x.TimesUS = append(x.TimesUS, at)
		if rapid.IntRange(0, 4).Draw(t, "missing") == 0 {
			x.Missing.Set(i)
			x.Counts = append(x.Counts, 0)
			continue
		}
		x.Counts = append(x.Counts, rapid.Int64().Draw(t, "count"))
	}
	return x
}

// memory is a package in memory.
type memory map[string][]byte

// create makes a file that is there once it is closed.
func (m memory) create(path string) (io.WriteCloser, error) {
	return &memoryFile{in: m, path: path}, nil
}

type memoryFile struct {
	bytes.Buffer
	in   memory
	path string
}

func (f *memoryFile) Close() error { f.in[f.path] = f.Bytes(); return nil }

func (m memory) open() (*Package, error) {
	files := fstest.MapFS{}
	for path, b := range m {
		files[path] = &fstest.MapFile{Data: b}
	}
	return openPackage("memory", files, io.NopCloser(nil))
}

// Written, read and written again, a package is the same to the byte.
func TestAnyRecordIsLosslessBothWays(t *testing.T) {
	ctx := context.Background()
	s := parsed(t)
	rapid.Check(t, func(rt *rapid.T) {
		check := func(err error) {
			if err != nil {
				rt.Fatal(err)
			}
		}
		rec, traces, raw := anyRecord(rt, s)
		first, second := memory{}, memory{}
		check(writeFiles(sourceOf(rec, traces, raw), Extras{}, first.create))
		p, err := first.open()
		check(err)
		got, err := p.Record(ctx, s.ID)
		check(err)
		if d := cmp.Diff(rec, got, unchanged); d != "" {
			rt.Fatalf("record (-written +read):\n%s", d)
		}
		for _, k := range rec.Cooks {
			samples, err := p.Traces(ctx, s.ID, k.ID)
			check(err)
			if d := cmp.Diff(traces[k.ID], samples, unchanged); d != "" {
				rt.Fatalf("samples:\n%s", d)
			}
		}
		from, err := sourceIn(ctx, p, s.ID, nil)
		check(err)
		check(writeFiles(from, Extras{}, second.create))
		if d := cmp.Diff(first, second); d != "" {
			rt.Fatalf("written again (-first +second):\n%s", d)
		}
	})
}

// folder reads every file below a folder.
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

func TestWriteRefusesToOverwrite(t *testing.T) {
	ctx := context.Background()
	rec, traces, raw := example(t)
	dir := writeExample(t)
	before := folder(t, dir)
	wantCode(t, Write(ctx, dir, rec, traces, raw, Extras{}), "package-exists")

	rec.Cooks[0].Order = 7
	must(t, Write(ctx, dir, rec, traces, raw, Extras{Replace: true}))
	if after := folder(t, dir); after["cooks.csv"] == before["cooks.csv"] {
		t.Error("the package was not replaced")
	}
	other := t.TempDir()
	must(t, os.WriteFile(filepath.Join(other, "letter.txt"), nil, 0o600))
	wantCode(t, Write(ctx, other, rec, traces, raw, Extras{Replace: true}), "package-exists")
	wantCode(t, Write(ctx, filepath.Join(other, "no", "package"), rec, traces, raw, Extras{}), "package-missing")

	// A write that fails leaves the package that was there, and nothing else.
	before = folder(t, dir)
	rec.Cooks[0].Role = "unheard-of"
	wantCode(t, Write(ctx, dir, rec, traces, raw, Extras{Replace: true}), "csv-value")
	if d := cmp.Diff(before, folder(t, dir)); d != "" {
		t.Error(d)
	}
	left, err := os.ReadDir(filepath.Dir(dir))
	must(t, err)
	if len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}

func TestWriteRefusesPathsThatLeadOut(t *testing.T) {
	ctx := context.Background()
	for _, path := range []string{"../x", "/x", "a/../../x", "a\\b", "c:x", ".", "", "cooks.csv", "COOKS.csv", "Manifest-sha256.txt"} {
		rec, traces, raw := example(t)
		dir := filepath.Join(t.TempDir(), "package")
		err := Write(ctx, dir, rec, traces, raw, Extras{Files: map[string][]byte{path: nil}})
		wantCode(t, err, "package-path")
		rec.CookFiles = map[string][]byte{path: nil}
		err = Write(ctx, dir, rec, traces, raw, Extras{})
		wantCode(t, err, "package-path")
	}
}

func TestReadmeAndCitationSayWhatMatters(t *testing.T) {
	files := folder(t, writeExample(t))
	for _, want := range []string{"INVENTED DATA", "Searing a chop first", "weighings.csv", "apostrophe", "CC-BY-4.0", "safe to eat", "sha256sum -c"} {
		if !strings.Contains(files["README.txt"], want) {
			t.Errorf("README.txt does not say %q:\n%s", want, files["README.txt"])
		}
	}
	for _, want := range []string{"cff-version: 1.2.0", "type: dataset", `title: "Sear first or sear last (invented data)"`, `name: "Somebody \"Invented\""`} {
		if !strings.Contains(files["CITATION.cff"], want) {
			t.Errorf("CITATION.cff does not say %q:\n%s", want, files["CITATION.cff"])
		}
	}
}

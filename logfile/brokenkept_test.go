package logfile

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/encoding/unicode"

	"trivet/fault"
)

var update = flag.Bool("update", false, "make the files of testdata/broken anew")

// The broken files are kept, so that a newer library that packs them otherwise
// changes nothing: testdata/broken holds them, and accounts.json what must
// become of each. With -update they are made anew.
const brokenDir = "testdata/broken"

func writeBroken(t *testing.T) {
	t.Helper()
	if err := os.RemoveAll(brokenDir); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(brokenDir, 0o777); err != nil {
		t.Fatal(err)
	}
	files := makeBroken()
	seen := map[string]bool{}
	for _, b := range files {
		if seen[b.Name] {
			t.Fatalf("two files are named %s", b.Name)
		}
		seen[b.Name] = true
		if err := os.WriteFile(filepath.Join(brokenDir, b.Name), b.bytes, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(files); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(brokenDir, "accounts.json"), text.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
}

// keptBroken reads the kept files with their expected accounts.
func keptBroken(t testing.TB) []brokenFile {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(brokenDir, "accounts.json"))
	if err != nil {
		t.Fatal(err)
	}
	var files []brokenFile
	if err := json.Unmarshal(text, &files); err != nil {
		t.Fatal(err)
	}
	for i := range files {
		if files[i].bytes, err = os.ReadFile(filepath.Join(brokenDir, files[i].Name)); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// within fails where f takes longer than any of these small files may, which
// is for ever.
func within(t *testing.T, f func()) {
	t.Helper()
	done := make(chan any, 1)
	go func() {
		defer func() { done <- recover() }()
		f()
	}()
	select {
	case p := <-done:
		if p != nil {
			t.Fatalf("panic: %v", p)
		}
	case <-time.After(2 * time.Minute):
		t.Fatal("it hangs")
	}
}

// mostAllocated bounds what loading one of the files may ask of the memory
// over its whole life, garbage counted; the bombs unpack to 32 MiB and more.
const mostAllocated = 64 << 20

// Every broken file is refused, or loaded with the account that its fault
// must give: the rows, those kept, the missing values of each channel, and
// each problem with its row, column, kind and value.
func TestBrokenFilesGiveTheirAccount(t *testing.T) {
	if *update {
		writeBroken(t)
	}
	files := keptBroken(t)
	if len(files) < 150 {
		t.Fatalf("%d files", len(files))
	}
	size, classes := 0, map[string]bool{}
	for _, b := range files {
		size += len(b.bytes)
		classes[b.Class] = true
		t.Run(b.Name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			var log *Log
			var err error
			within(t, func() { log, err = Load(bytes.NewReader(b.bytes), LoadOptions{Limits: small}) })
			runtime.ReadMemStats(&after)
			if n := after.TotalAlloc - before.TotalAlloc; n > mostAllocated {
				t.Errorf("%s took %d MiB", b.Class, n>>20)
			}
			b.check(t, log, err)
			checkLog(t, b.bytes, LoadOptions{Limits: small})
		})
	}
	t.Logf("%d files of %d classes, %d kB", len(files), len(classes), size/1000)
	if size > 2<<20 {
		t.Errorf("the files take %d bytes", size)
	}
}

func (b brokenFile) check(t *testing.T, log *Log, err error) {
	t.Helper()
	if err != nil {
		f := fault.As(err)
		switch {
		case f == nil:
			t.Fatalf("%s: no error of ours: %v", b.Class, err)
		case b.Either:
		case len(b.Errors) == 0:
			t.Fatalf("%s: refused: %v", b.Class, err)
		case !slices.Contains(b.Errors, string(f.Code)):
			t.Errorf("%s: refused as %s, want %v: %v", b.Class, f.Code, b.Errors, err)
		}
		return
	}
	if b.Either {
		return
	}
	a := log.Account
	if len(b.Errors) > 0 {
		t.Fatalf("%s: loaded, want %v: %d of %d rows, %v", b.Class, b.Errors, a.Kept, a.Rows, a.Problems)
	}
	if a.Rows != b.Rows || a.Kept != b.Kept || len(a.Gaps) != b.Gaps {
		t.Errorf("%s: %d of %d rows, %d gaps; want %d of %d, %d", b.Class, a.Kept, a.Rows, len(a.Gaps), b.Kept, b.Rows, b.Gaps)
	}
	var missing []int
	for _, tr := range log.Traces {
		missing = append(missing, tr.Missing.Count())
	}
	if d := cmp.Diff(b.Missing, missing); d != "" {
		t.Errorf("%s: missing values (want −, got +)\n%s", b.Class, d)
	}
	var got []string
	counts, columns := map[ProblemKind]int{}, map[string]map[ProblemKind]int{}
	for _, p := range a.Problems {
		got = append(got, problemOf(p.Row, p.LastRow, p.Column, p.Kind, p.Value))
		counts[p.Kind] += p.Rows()
		if p.Column != "" {
			if columns[p.Column] == nil {
				columns[p.Column] = map[ProblemKind]int{}
			}
			columns[p.Column][p.Kind] += p.Rows()
		}
	}
	slices.Sort(got)
	want := slices.Sorted(slices.Values(b.Problems))
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("%s: problems (want −, got +)\n%s", b.Class, d)
	}
	if d := cmp.Diff(counts, a.Counts); d != "" && a.Unlisted == 0 && len(counts)+len(a.Counts) > 0 {
		t.Errorf("%s: counts (listed −, counted +)\n%s", b.Class, d)
	}
	for column, kinds := range columns {
		for kind, n := range kinds {
			if a.Columns[column][kind] != n {
				t.Errorf("%s: column %q has %d %s listed and %d counted", b.Class, column, n, kind, a.Columns[column][kind])
			}
		}
	}
	for _, code := range b.Notes {
		if !slices.ContainsFunc(a.Notes, func(n fault.Note) bool { return string(n.Code) == code }) {
			t.Errorf("%s: no note %s: %v", b.Class, code, a.Notes)
		}
	}
}

// A million columns are refused, whatever the format, and before they are
// read.
func TestMillionColumns(t *testing.T) {
	const n = 1_000_000
	row := func(cell, comma string) []byte { return append(bytes.Repeat([]byte(cell+comma), n-1), cell+"\n"...) }
	csv := append(row("a", ","), row("5", ",")...)
	limits := Limits{MaxLine: 64 << 20}
	for name, in := range map[string][]byte{
		"commas": csv, "tabs": append(row("a", "\t"), row("5", "\t")...), "gzip": gz(csv), "zstd": zst(csv),
		"UTF-16": utf16(csv, unicode.LittleEndian), "JSON Lines": manyNames(n), "JSON": append(append([]byte("["), manyNames(n)...), ']'),
		"JSON row": append(append([]byte("[["), bytes.Repeat([]byte("1,"), n)...), "1]]"...),
		"ODS":      ods(odsTable("a", `<table:table-row><table:table-cell table:number-columns-repeated="1000000" office:value-type="float" office:value="1"/></table:table-row>`)),
	} {
		t.Run(name, func(t *testing.T) {
			for _, l := range []Limits{{}, limits} {
				var err error
				within(t, func() { _, err = Load(bytes.NewReader(in), LoadOptions{Limits: l}) })
				if f := fault.As(err); f == nil || f.Code != "log-columns" && (f.Code != "log-line" || l.MaxLine > 0) {
					t.Errorf("within %+v: %v", l, err)
				}
			}
		})
	}
}

// Column maps that are broken are refused and say which field is wrong.
func TestBrokenMaps(t *testing.T) {
	const sound = "format: 1\nfingerprint: ab\ndelimiter: \",\"\ndecimal: \".\"\nshape: wide\ntime: {column: t, form: seconds}\nchannels:\n- {column: a, id: core, place: core, unit: degC}\n"
	if _, err := ReadMap(bytes.NewReader([]byte(sound))); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, field string }{
		{"format: 1", "format: 99", "format"},
		{"delimiter: \",\"", "delimiter: \"\"", "delimiter"},
		{"delimiter: \",\"", "delimiter: \"\\n\"", "delimiter"},
		{"decimal: \".\"", "decimal: \",\"", "decimal"},
		{"shape: wide", "shape: round", "shape"},
		{"shape: wide", "shape: long", "long"},
		{"column: t", "column: \"\"", "time.column"},
		{"form: seconds", "form: fortnights", "time.form"},
		{"form: seconds", "form: local-dmy, offset: noon", "time.offset"},
		{"form: seconds", "form: seconds, clock: b", "time.clock"},
		{"id: core", "id: \"\"", "channels.id"},
		{"unit: degC", "unit: degX", "channels.unit"},
		{"place: core", "place: moon", "channels.place"},
		{"unit: degC", "unit: degC, written: kg", "channels.written"},
		{"- {column: a", "- {column: \"\"", "channels.column"},
		{"- {column: a, id: core, place: core, unit: degC}", "", "channels"},
		{"shape: wide", "shape: wide\nsecret: 1", ""},
		{"shape: wide", "shape: wide\nshape: wide", ""},
		{sound, "", "format"},
		{sound, "&a [*a", ""},
		{sound, "a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a,*a]\nc: &c [*b,*b,*b,*b,*b,*b,*b,*b,*b]\nformat: [*c,*c,*c,*c,*c]\n", ""},
		{sound, "format: 1" + string(bytes.Repeat([]byte("x"), mostMapBytes)), ""},
	} {
		in := bytes.Replace([]byte(sound), []byte(c.old), []byte(c.new), 1)
		within(t, func() {
			_, err := ReadMap(bytes.NewReader(in))
			if f := fault.As(err); f == nil || c.field != "" && f.Field != c.field {
				t.Errorf("%s: %v, want the field %q", fmt.Sprintf("%.60q", c.new), err, c.field)
			}
		})
	}
}

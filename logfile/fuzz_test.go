package logfile

import (
	"bytes"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"trivet/fault"
)

// small keeps a fuzzed file from asking for much.
var small = Limits{MaxBytes: 1 << 20, MaxLine: 1 << 16, MaxColumns: 64, MaxCells: 1 << 18}

// seedBroken adds the kept broken files with one of the endings, all without
// endings.
func seedBroken(f *testing.F, endings ...string) {
	f.Helper()
	for _, b := range keptBroken(f) {
		if len(b.bytes) <= 64<<10 && (len(endings) == 0 || slices.Contains(endings, filepath.Ext(b.Name))) {
			f.Add(b.bytes)
		}
	}
}

func FuzzLoad(f *testing.F) {
	for _, b := range brokenFiles() {
		f.Add(b)
	}
	seedBroken(f)
	for _, s := range sound {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkLog(t, b, LoadOptions{Limits: small}) })
}

// FuzzReadColumns: a table reads the same in one worker or more, and every
// column has a value for every row.
func FuzzReadColumns(f *testing.F) {
	for _, b := range brokenFiles() {
		f.Add(b)
	}
	seedBroken(f, ".csv", ".tsv", ".utf16")
	f.Fuzz(func(t *testing.T, b []byte) {
		tb, err := ReadColumns(bytes.NewReader(b), Options{Limits: small, Workers: 1})
		if err != nil {
			if fault.As(err) == nil {
				t.Fatal(err)
			}
			return
		}
		for _, c := range tb.Columns {
			n := map[Type]int{Number: len(c.Numbers), Time: len(c.Times), Text: len(c.Codes), Skip: tb.Rows}[c.Type]
			if n != tb.Rows {
				t.Fatalf("column %q has %d values of %d rows", c.Name, n, tb.Rows)
			}
			for _, v := range c.Codes {
				_ = c.Levels[v]
			}
		}
		for i := range tb.Rows {
			if r := tb.Record(i); r < 1 || r > tb.Account.Rows {
				t.Fatalf("row %d is record %d of %d", i, r, tb.Account.Rows)
			}
		}
	})
}

func FuzzReadMap(f *testing.F) {
	f.Add("format: 1\nfingerprint: ab\ndelimiter: \",\"\ndecimal: \".\"\nshape: wide\ntime: {column: t, form: seconds}\nchannels:\n- {column: a, id: core, place: core, unit: degC}\n")
	f.Add("format: 1\nshape: long\nlong: {name: a, value: b}\n")
	f.Add("{")
	f.Fuzz(func(t *testing.T, s string) {
		m, err := ReadMap(strings.NewReader(s))
		if err != nil {
			if fault.As(err) == nil {
				t.Fatal(err)
			}
			return
		}
		checkLog(t, []byte(sound[0]), LoadOptions{Map: m, Limits: small})
	})
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1", "-1.5", "1e5", "1,5", ".5", "5.", "00012", "9007199254740993", "1e-400", "123456789012345678901234567890", "+1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		want, werr := strconv.ParseFloat(s, 64)
		if v, _, ok := parseNumber([]byte(s), '.'); ok && strings.TrimSpace(s) == s && (werr != nil || v != want || math.IsInf(v, 0)) {
			t.Fatalf("%q read as %v, want %v %v", s, v, want, werr)
		}
		if v, n, _, ok := scanNumber([]byte(s+","), 0, '.'); ok && n == len(s) && (werr != nil || v != want) {
			t.Fatalf("%q scanned as %v, want %v %v", s, v, want, werr)
		}
	})
}

func FuzzTime(f *testing.F) {
	for _, s := range []string{"2026-05-01T14:03:07.25-04:00", "01.05.2026 10:00", "5/1/2026 2:03 PM", "14:03:07", "0:00:01.5", "12:30", "1.5", "24:00", "1985-04-12T23:20:50.52Z"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for form := range numberForms {
			p := timeParser{form: form, decimal: '.'}
			p.parse([]byte(s))
		}
		for _, form := range textForms {
			p := timeParser{form: form, decimal: '.'}
			a, ok := p.parse([]byte(s))
			if b, again := p.parse([]byte(s)); ok && a == NoTime || a != b || ok != again {
				t.Fatalf("%q as %s: %d %v, then %d %v", s, form, a, ok, b, again)
			}
		}
	})
}

// FuzzJSON reads documents and lines.
func FuzzJSON(f *testing.F) {
	seedBroken(f, ".json", ".jsonl")
	for _, s := range []string{"{\"t\":1,\"a\":{\"b\":2}}\n{\"t\":2}\n", "{\"t\":1e400,\"a\":\"\\ud800\"}\n{\"t\n", "{\"\":\"\\u0000\",\"a\":[{}]}\n", "[[\"t\",\"a\"],[0,1],[1,2,3]]", "{\"x\":{\"y\":[{\"t\":0,\"a\":1}]}}"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if !jsonDocument(b) && !looksLikeJSONLines(b) {
			return
		}
		checkLog(t, b, LoadOptions{Limits: small})
	})
}

// FuzzPacked reads what is packed by gzip or zstd.
func FuzzPacked(f *testing.F) {
	seedBroken(f, ".gz", ".zst")
	f.Fuzz(func(t *testing.T, b []byte) {
		if !bytes.HasPrefix(b, []byte{0x1f, 0x8b}) && !bytes.HasPrefix(b, []byte{0x28, 0xb5, 0x2f, 0xfd}) {
			return
		}
		checkLog(t, b, LoadOptions{Limits: small})
	})
}

// FuzzParquet reads files between their marks.
func FuzzParquet(f *testing.F) {
	seedBroken(f, ".parquet")
	f.Fuzz(func(t *testing.T, b []byte) {
		if bytes.HasPrefix(b, []byte("PAR1")) {
			checkLog(t, b, LoadOptions{Limits: small})
		}
	})
}

// FuzzWorkbook reads the parts of an XLSX workbook: its sheet, its shared
// texts and its list of sheets, packed anew so that the checksums hold.
func FuzzWorkbook(f *testing.F) {
	const sheet, shared, list = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml"
	book := xlsx(soundRows(), "Sheet1", 1, 1, false)
	for _, b := range append(keptBroken(f), brokenFile{Name: "sound.xlsx", bytes: book}) {
		if filepath.Ext(b.Name) != ".xlsx" {
			continue
		}
		if p := partsOf(b.bytes, sheet, shared, list); p != nil && len(p[0]) < 64<<10 {
			f.Add(p[0], p[1], p[2])
		}
	}
	f.Fuzz(func(t *testing.T, a, b, c string) {
		in := book
		for name, text := range map[string]string{sheet: a, shared: b, list: c} {
			in = spoiltZip(in, name, func(string) string { return text + " " })
		}
		checkLog(t, in, LoadOptions{Limits: small})
	})
}

// FuzzOpenDocument reads the content of a spreadsheet.
func FuzzOpenDocument(f *testing.F) {
	for _, b := range append(keptBroken(f), brokenFile{Name: "sound.ods", bytes: odsOf(soundRows(), "probe", 1, 1, false)}) {
		if filepath.Ext(b.Name) != ".ods" {
			continue
		}
		if p := partsOf(b.bytes, "content.xml"); p != nil && len(p[0]) < 64<<10 {
			f.Add(p[0], "")
			f.Add(p[0], "B2:C9")
		}
	}
	f.Fuzz(func(t *testing.T, content, cells string) {
		checkLog(t, zipped("content.xml", content), LoadOptions{Limits: small, Range: cells})
	})
}

// FuzzUnit: a unit cut from a number leaves the number, and what a header
// tells is a unit that is kept.
func FuzzUnit(f *testing.F) {
	for _, s := range []string{"62.8 °C", "62.8℃", "5kg", "5 lb", "core °C", "core [degF]", "t (ms)", "d12", "12 mm", "Kern_C", "100 %", "5 \xb0C", "°", "5.", "9 ºF", "temp, C", "a(b)(c)", "[]"} {
		f.Add(s, "")
		f.Add("core", s)
	}
	f.Fuzz(func(t *testing.T, s, row string) {
		bare, unit := splitUnit([]byte(s))
		if !strings.HasPrefix(s, string(bare)) || unit == "" && len(bare) != len(s) && len(s)-len(bare) > 16 {
			t.Fatalf("%q became %q and %q", s, bare, unit)
		}
		if _, kept := unitsKept[unit]; unit != "" && !kept {
			t.Fatalf("%q has the unit %q, which is not kept", s, unit)
		}
		unit, form, _, _ := nameUnit(s, row)
		if _, kept := unitsKept[unit]; unit != "" && !kept || form != "" && numberForms[form] == 0 {
			t.Fatalf("%q %q tells %q and %q", s, row, unit, form)
		}
		ch, factor, _, why := guessChannel(s, row, "", span{0, 100})
		if why == "" || !(factor > 0) || ch.Place == "" || math.IsNaN(ch.DepthM) {
			t.Fatalf("%q is %+v", s, ch)
		}
	})
}

// FuzzFollower: a log that is followed gives the same rows in pieces of any
// length as in one.
func FuzzFollower(f *testing.F) {
	for _, b := range append(keptBroken(f), brokenFile{Name: "sound.csv", bytes: delimited(soundRows(), ",")}) {
		if filepath.Ext(b.Name) == ".csv" && len(b.bytes) < 16<<10 {
			f.Add(b.bytes, uint8(7))
		}
	}
	log, err := Load(bytes.NewReader(delimited(soundRows(), ",")), LoadOptions{})
	if err != nil {
		f.Fatal(err)
	}
	m := log.Map
	f.Fuzz(func(t *testing.T, b []byte, size uint8) {
		follow := func(size int) (rows []Row, err error) {
			f, err := NewFollower(m, small, func(r Row) error { rows = append(rows, r); return nil })
			if err != nil {
				t.Fatal(err)
			}
			for rest := b; len(rest) > 0; {
				n := min(size, len(rest))
				if _, err := f.Write(rest[:n]); err != nil {
					if fault.As(err) == nil {
						t.Fatal(err)
					}
					return rows, err
				}
				rest = rest[n:]
			}
			return rows, nil
		}
		whole, err1 := follow(max(len(b), 1))
		pieces, err2 := follow(1 + int(size))
		if err1 != nil || err2 != nil {
			return
		}
		for k := range whole {
			if k >= len(pieces) || !sameRow(whole[k], pieces[k]) {
				t.Fatalf("row %d: %+v in one, %+v in pieces of %d", k, whole[k], pieces, 1+int(size))
			}
		}
		if len(whole) != len(pieces) {
			t.Fatalf("%d rows in one, %d in pieces", len(whole), len(pieces))
		}
	})
}

func sameRow(a, b Row) bool {
	for i := range a.Values {
		if i >= len(b.Values) || a.Values[i] != b.Values[i] && !(math.IsNaN(a.Values[i]) && math.IsNaN(b.Values[i])) {
			return false
		}
	}
	a.Values, b.Values = nil, nil
	return reflect.DeepEqual(a, b)
}

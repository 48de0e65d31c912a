package logfile

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"

	"trivet/fault"
)

// small keeps a fuzzed file from asking for much.
var small = Limits{MaxBytes: 1 << 20, MaxLine: 1 << 16, MaxColumns: 64, MaxCells: 1 << 18}

func FuzzLoad(f *testing.F) {
	for _, b := range brokenFiles() {
		f.Add(b)
	}
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

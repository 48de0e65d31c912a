package bundle

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The examples of RFC 4180 §2, rule by rule.
func TestRulesOfRFC4180(t *testing.T) {
	for _, c := range []struct {
		rule string
		file string
		want [][]string
	}{
		{"1: records end with CRLF", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"2: the last may not", "aaa,bbb,ccc\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"4: spaces are part of a field", "a a, b\r\n", [][]string{{"a a", " b"}}},
		{"5: fields may be quoted", "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"6: line breaks and commas are quoted", "\"aaa\",\"b \r\nbb\",\"c,c\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "b \r\nbb", "c,c"}, {"zzz", "yyy", "xxx"}}},
		{"7: quotes are doubled", "\"aaa\",\"b\"\"bb\",\"ccc\"", [][]string{{"aaa", "b\"bb", "ccc"}}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got, err := readAll([]byte(c.file))
			must(t, err)
			if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", c.want) {
				t.Errorf("read %q, want %q", got, c.want)
			}
		})
	}
}

func readAll(b []byte) (out [][]string, err error) {
	r := newCSVReader("x.csv", b)
	for {
		cells, err := r.next(nil)
		if err != nil || cells == nil {
			return out, err
		}
		out = append(out, cells)
	}
}

// Whatever the reader accepts, it reads as encoding/csv does (Go's standard
// library), which cannot tell CR LF from LF inside a cell and skips empty
// lines; and writing it again and reading it changes nothing.
func FuzzCSV(f *testing.F) {
	for _, s := range []string{"a,b\r\n1,\"2\r\n3\"\r\n", "\"a\"\"b\"", "a\nb", "\"\"", "\r\n", "a,\r", "\"x", "x\"y", "\"x\"y", ",,\r\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := readAll(b)
		if err != nil {
			return
		}
		var again []byte
		for _, row := range got {
			again = appendRecord(again, row)
		}
		second, err := readAll(again)
		if err != nil || fmt.Sprintf("%q", got) != fmt.Sprintf("%q", second) {
			t.Fatalf("%q was read as %q, written as %q and read as %q, %v", b, got, again, second, err)
		}
		if bytes.ContainsRune(b, '\r') {
			return
		}
		std := csv.NewReader(bytes.NewReader(b))
		std.FieldsPerRecord = -1
		want, err := std.ReadAll()
		if err != nil {
			t.Fatalf("%q was accepted, and encoding/csv says %v", b, err)
		}
		full := slices.DeleteFunc(slices.Clone(got), func(row []string) bool { return len(row) == 1 && row[0] == "" })
		want = slices.DeleteFunc(want, func(row []string) bool { return len(row) == 1 && row[0] == "" })
		if fmt.Sprintf("%q", full) != fmt.Sprintf("%q", want) {
			t.Fatalf("%q: read %q, encoding/csv %q", b, full, want)
		}
	})
}

func TestGuardIsReversibleAndLeavesNoFormula(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[=+@'\t\r-]{1,3}[A-Z(]{0,3}`)).Draw(rt, "text")
		cell := guard(text)
		if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") {
			rt.Fatalf("%q begins as a formula", cell)
		}
		if unguard(cell) != text {
			rt.Fatalf("%q became %q and then %q", text, cell, unguard(cell))
		}
	})
}

func TestDecimalsShowTheResolution(t *testing.T) {
	for _, c := range []struct {
		count   int64
		quantum float64
		want    string
	}{
		{540, 0.1, "54.0"},
		{-5, 0.1, "-0.5"},
		{0, 0.1, "0.0"},
		{1, 0.0625, "0.0625"},
		{16, 0.0625, "1.0000"},
		{-3, 1, "-3"},
		{3, 10, "30"},
		{0, 10, "0"},
		{7, 0.25, "1.75"},
		{1<<63 - 1, 0.01, "92233720368547758.07"},
		{-1 << 63, 3, "-27670116110564327424"},
		{2, 5e-324, "10e-324"},
		{2, 1e22, "2e22"}, // more zeros than are worth writing
	} {
		d := decimalOf(c.quantum)
		got := string(d.appendTimes(nil, c.count))
		if got != c.want {
			t.Errorf("%d × %v = %s, want %s", c.count, c.quantum, got, c.want)
		}
		if n, ok := d.count(got); !ok || n != c.count {
			t.Errorf("%s read as %d counts of %v, %v, want %d", got, n, c.quantum, ok, c.count)
		}
	}
}

func TestOtherWritingsOfANumberAreRead(t *testing.T) {
	for _, c := range []struct {
		text    string
		quantum float64
		count   int64
		ok      bool
	}{
		{"54", 0.1, 540, true}, // a spreadsheet drops the zero
		{"54.00", 0.1, 540, true},
		{"5.4e1", 0.1, 540, true},
		{"+54.0", 0.1, 540, true},
		{"54.05", 0.1, 0, false},
		{"54,0", 0.1, 0, false},
		{"0x10", 1, 0, false},
		{"", 0.1, 0, false},
		{".", 0.1, 0, false},
		{"-", 0.1, 0, false},
		{"1e999999999", 0.1, 0, false},
		{"99999999999999999999", 1, 0, false},
		{"1_0", 1, 0, false},
		{"NaN", 1, 0, false},
	} {
		n, ok := decimalOf(c.quantum).count(c.text)
		if n != c.count || ok != c.ok {
			t.Errorf("%q of %v: %d, %v, want %d, %v", c.text, c.quantum, n, ok, c.count, c.ok)
		}
	}
}

// The written number is exactly count × quantum in the quantum's shortest
// decimal, by math/big's rationals.
func TestDecimalsAreExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		q := rapid.OneOf(rapid.SampledFrom([]float64{0.1, 0.0625, 0.02, 1, 0.1 / 3, 1e-6}), rapid.Float64Range(1e-300, 1e300)).Draw(rt, "quantum")
		n := rapid.Int64().Draw(rt, "count")
		text := string(decimalOf(q).appendTimes(nil, n))
		got, ok := new(big.Rat).SetString(text)
		want, _ := new(big.Rat).SetString(strconv.FormatFloat(q, 'g', -1, 64))
		if !ok || got.Cmp(want.Mul(want, new(big.Rat).SetInt64(n))) != 0 {
			rt.Fatalf("%d × %v was written %s", n, q, text)
		}
		if back, ok := decimalOf(q).count(text); !ok || back != n {
			rt.Fatalf("%s was read as %d, %v, want %d", text, back, ok, n)
		}
	})
}

package logfile

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"
	"pgregory.net/rapid"

	"trivet/cells"
	"trivet/fault"
)

func readColumns(t *testing.T, text string, opt Options) *Table {
	t.Helper()
	table, err := ReadColumns(strings.NewReader(text), opt)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// The rules of RFC 4180 (Shafranovich 2005), section 2, by number, with its
// own example rows where it gives them.
func TestRFC4180(t *testing.T) {
	all := func(tb *Table) [][]string {
		var out [][]string
		for i := range tb.Rows {
			var row []string
			for k := range tb.Columns {
				row = append(row, tb.Columns[k].Text(i))
			}
			out = append(out, row)
		}
		return out
	}
	for _, c := range []struct {
		name, in string
		want     [][]string
	}{
		{"1 records end in CRLF", "x,y,z\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"2 the last line end may be absent", "x,y,z\r\naaa,bbb,ccc\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"4 spaces belong to the field", "x,y,z\r\naaa,b bb,ccc\r\n", [][]string{{"aaa", "b bb", "ccc"}}},
		{"5 fields may be quoted", "x,y,z\r\n\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"6 line ends, quotes and commas in quotes", "x,y,z\r\n\"aaa\",\"b\r\nbb\",\"c,cc\"\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "b\r\nbb", "c,cc"}, {"zzz", "yyy", "xxx"}}},
		{"7 a quote in quotes is doubled", "x,y,z\r\n\"aaa\",\"b\"\"bb\",\"ccc\"\r\n", [][]string{{"aaa", "b\"bb", "ccc"}}},
		{"7 only doubled quotes", "x,y,z\r\n\"\"\"\",\"\",\"\"\"a\"\"\"\r\n", [][]string{{"\"", "", "\"a\""}}},
		{"LF alone", "x,y,z\naaa,bbb,ccc\n", [][]string{{"aaa", "bbb", "ccc"}}},
		{"CR alone", "x,y,z\raaa,bbb,ccc\r", [][]string{{"aaa", "bbb", "ccc"}}},
		{"a quote inside an unquoted field is text", "x,y,z\n5\" pan,b\"b,c\n", [][]string{{"5\" pan", "b\"b", "c"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tb := readColumns(t, c.in, Options{Types: map[string]Type{"x": Text, "y": Text, "z": Text}})
			if d := cmp.Diff(c.want, all(tb)); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestTypedColumns(t *testing.T) {
	tb := readColumns(t, `block,treatment,loss,when
1,first,21.5,2026-05-01T10:00:00Z
1,last,20.25,2026-05-01T11:00:00Z
2,first,,2026-05-02T10:00:00Z
2,"last, covered",1.9e1,2026-05-02T11:00:00Z
`, Options{})
	if tb.Rows != 4 || len(tb.Account.Problems) != 0 || tb.Account.Empty != 1 {
		t.Fatalf("%+v", tb.Account)
	}
	loss := tb.Column("loss")
	if loss.Type != Number || loss.Numbers[1] != 20.25 || !math.IsNaN(loss.Numbers[2]) || loss.Numbers[3] != 19 || loss.Decimals != 2 {
		t.Errorf("%+v", loss)
	}
	if c := tb.Column("treatment"); c.Type != Text || c.Text(0) != "first" || c.Text(3) != "last, covered" || len(c.Levels) != 3 {
		t.Errorf("%+v", c)
	}
	if c := tb.Column("when"); c.Type != Time || c.Times[1]-c.Times[0] != 3600e6 {
		t.Errorf("%+v", c)
	}
	if c := tb.Column("block"); c.Type != Number {
		t.Errorf("%+v", c)
	}
}

func TestDialects(t *testing.T) {
	for _, c := range []struct {
		name, in           string
		delimiter, decimal string
		header             int
		columns            string
	}{
		{"semicolon and decimal comma", "t;core\n0;5,1\n1;5,2\n", ";", ",", 1, "t core"},
		{"semicolon and point", "t;core\n0;5.1\n1;5.2\n", ";", ".", 1, "t core"},
		{"tab", "t\tcore\n0\t5.1\n1\t5.2\n", "\t", ".", 1, "t core"},
		{"tab and decimal comma", "t\tcore\n0\t5,1\n1\t5,2\n", "\t", ",", 1, "t core"},
		{"bar", "t|core\n0|5.1\n1|5.2\n", "|", ".", 1, "t core"},
		{"no header", "0,5.1\n1,5.2\n2,5.3\n", ",", ".", 0, "column 1,column 2"},
		{"lines above", "Serial no: 17\nModel,X1\n\nt,core,pan\n0,5.1,200\n1,5.2,201\n2,5.2,201\n3,5.2,201\n", ",", ".", 4, "t core pan"},
		{"units below the header", "t,core\ns,°C\n0,5.1\n1,5.2\n", ",", ".", 1, "t core"},
		{"one column", "core\n5.1\n5.2\n5.3\n", ",", ".", 1, "core"},
		{"same name twice", "t,core,core\n0,5.1,5\n1,5.2,5\n", ",", ".", 1, "t,core,core (2)"},
		{"comma at the end of each row", "t,core,\n0,5.1,\n1,5.2,\n", ",", ".", 1, "t core"},
		{"text only", "who,what\nann,pan\nbob,pot\n", ",", ".", 1, "who what"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tb := readColumns(t, c.in, Options{})
			l := tb.Layout
			var names []string
			for _, col := range l.Columns {
				names = append(names, col.Name)
			}
			sep := " "
			if strings.Contains(c.columns, ",") {
				sep = ","
			}
			if got := strings.Join(names, sep); l.Delimiter != c.delimiter || l.Decimal != c.decimal || l.HeaderLine != c.header || got != c.columns {
				t.Errorf("delimiter %q decimal %q header %d columns %q", l.Delimiter, l.Decimal, l.HeaderLine, got)
			}
			if len(tb.Account.Problems) > 0 {
				t.Errorf("%v", tb.Account.Problems)
			}
		})
	}
}

func TestCodesAndPacking(t *testing.T) {
	const text = "Zeit s;Kern °C\n0;5,1\n1;5,2\n"
	var gz bytes.Buffer
	z := gzip.NewWriter(&gz)
	fmt.Fprint(z, text)
	z.Close()
	zw, _ := zstd.NewWriter(nil)
	utf16 := func(e unicode.Endianness, bom unicode.BOMPolicy) []byte {
		b, err := unicode.UTF16(e, bom).NewEncoder().Bytes([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for _, c := range []struct {
		name string
		in   []byte
	}{
		{"UTF-8", []byte(text)},
		{"UTF-8 with mark", []byte("\ufeff" + text)},
		{"UTF-16LE with mark", utf16(unicode.LittleEndian, unicode.UseBOM)},
		{"UTF-16BE with mark", utf16(unicode.BigEndian, unicode.UseBOM)},
		{"UTF-16LE without", utf16(unicode.LittleEndian, unicode.IgnoreBOM)},
		{"UTF-16BE without", utf16(unicode.BigEndian, unicode.IgnoreBOM)},
		{"Latin-1", []byte(strings.Replace(text, "°", "\xb0", 1))},
		{"gzip", gz.Bytes()},
		{"zstd", zw.EncodeAll([]byte(text), nil)},
	} {
		t.Run(c.name, func(t *testing.T) {
			tb, err := ReadColumns(bytes.NewReader(c.in), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if c := tb.Column("Kern °C"); c == nil || c.Numbers[1] != 5.2 {
				t.Errorf("%+v", tb)
			}
			if want := map[string]string{"Latin-1": "windows-1252"}[c.name]; want != "" && tb.Layout.Encoding != want {
				t.Errorf("encoding %s", tb.Layout.Encoding)
			}
		})
	}
}

// Rows are the same whatever the number of workers and wherever blocks are
// cut, quotes or not.
func TestBlocksJoin(t *testing.T) {
	for _, quotes := range []bool{false, true} {
		var b strings.Builder
		b.WriteString("n,name,v\n")
		const rows = 60_000
		for i := range rows {
			name := "pan " + strconv.Itoa(i%7)
			if quotes && i%3 == 0 {
				name = "\"line\n" + strconv.Itoa(i%5) + ", \"\"x\"\"\""
			}
			v := strconv.Itoa(i) + ".25"
			if i%1000 == 999 {
				v = "OPEN"
			}
			fmt.Fprintf(&b, "%d,%s,%s\n", i, name, v)
			if i == 30_000 {
				b.WriteString("n,name,v\n\n")
			}
		}
		var first *Table
		for _, workers := range []int{1, 3} {
			tb := readColumns(t, b.String(), Options{Workers: workers})
			if tb.Rows != rows || tb.Account.Rows != rows+1 || tb.Account.Kept != rows {
				t.Fatalf("%d rows, account %d, %d", tb.Rows, tb.Account.Rows, tb.Account.Kept)
			}
			if n := tb.Account.Counts; n[NotANumber] != rows/1000 || n[RepeatedHeader] != 1 || len(n) != 2 {
				t.Fatal(n)
			}
			for i, v := range tb.Columns[0].Numbers {
				if v != float64(i) {
					t.Fatalf("row %d holds %v", i, v)
				}
				want := i + 1
				if i > 30_000 {
					want++
				}
				if tb.Record(i) != want {
					t.Fatalf("row %d is record %d, want %d", i, tb.Record(i), want)
				}
			}
			p := tb.Account.Problems[0]
			line := 1001
			if quotes {
				line += 333 // line ends inside cells of 999 records before, each third
			}
			if p.Row != 1000 || p.Value != "OPEN" || p.Column != "v" || p.Line != line {
				t.Errorf("%+v, want line %d", p, line)
			}
			if first == nil {
				first = tb
			} else if d := cmp.Diff(first.Columns[1], tb.Columns[1], cmp.AllowUnexported(ColumnLayout{})); d != "" {
				t.Error(d)
			}
		}
	}
}

// Any float that is written comes back the same, by the short way and the
// long.
func TestNumbersAreReadExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e15, 1e15).Draw(t, "v")
		format := rapid.SampledFrom([]byte{'f', 'e', 'g'}).Draw(t, "format")
		text := strconv.FormatFloat(v, format, -1, 64)
		got, _, ok := parseNumber([]byte(text), '.')
		if !ok || got != v {
			t.Fatalf("%s read as %v %v", text, got, ok)
		}
		short := strconv.FormatFloat(v, 'f', rapid.IntRange(0, 4).Draw(t, "decimals"), 64)
		want, _ := strconv.ParseFloat(short, 64)
		if got, n, _, ok := scanNumber([]byte(short+","), 0, '.'); ok && (got != want || n != len(short)) {
			t.Fatalf("%s read as %v", short, got)
		}
		comma := strings.Replace(short, ".", ",", 1)
		if got, _, ok := parseNumber([]byte(comma), ','); !ok || got != want {
			t.Fatalf("%s read as %v", comma, got)
		}
	})
}

func TestNotNumbers(t *testing.T) {
	for _, s := range []string{"", " ", "-", "+", ".", "e5", "1e", "1.2.3", "1,2", "0x10", "1_000", "NaN", "Inf", "1e999", "--5", "5-", "1 2", "٣"} {
		if v, _, ok := parseNumber([]byte(s), '.'); ok {
			t.Errorf("%q read as %v", s, v)
		}
	}
}

func TestProblemsAreAccountedFor(t *testing.T) {
	tb := readColumns(t, "t,a,b\n0,1.0,2\n1,OPEN,2\n2,OPEN,2\n3,n/a,2\n4,5\n5,6,7,8\nt,a,b\n6,1.5 °C,2\n7,1,2\x00\n8,1", Options{})
	var got []string
	for _, p := range tb.Account.Problems {
		got = append(got, p.String())
	}
	want := []string{
		`rows 2–3 (line 3), column "a": not-a-number "OPEN"`,
		`row 4 (line 5), column "a": not-a-number "n/a"`,
		`row 5 (line 6), column "b": short-row`,
		`row 6 (line 7): long-row "8"`,
		`row 7 (line 8): repeated-header`,
		`row 8 (line 9), column "a": mixed-unit "1.5 °C"`,
		`row 9 (line 10), column "b": nul-bytes "2\x00"`,
		`row 10 (line 11), column "b": cut-off, the file ends inside this row`,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if tb.Account.Rows != 10 || tb.Rows != 8 || tb.Account.Kept != 8 {
		t.Errorf("%+v", tb.Account)
	}
}

func TestNothingIsDroppedBehindALoneCarriageReturn(t *testing.T) {
	tb := readColumns(t, "t,a\n0,1\n1,2\r9,9\n2,3\n", Options{Types: map[string]Type{"a": Number}})
	if p := tb.Account.Problems; tb.Rows != 3 || len(p) != 1 || p[0].Kind != LongRow || p[0].Row != 2 || p[0].Value != "9,9" {
		t.Errorf("%+v", tb.Account)
	}
}

func TestRefusedFiles(t *testing.T) {
	bomb := func() []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		fmt.Fprintln(z, "t,a")
		row := bytes.Repeat([]byte("1,2\n"), 1<<14)
		for range 64 {
			z.Write(row)
		}
		z.Close()
		return b.Bytes()
	}
	small := Limits{MaxBytes: 1 << 20, MaxLine: 1000, MaxColumns: 100, MaxCells: 50_000}
	for _, c := range []struct {
		name, code string
		in         []byte
		row        int
	}{
		{"empty", "log-empty", nil, 0},
		{"blank", "log-empty", []byte(" \n\n\r\n"), 0},
		{"binary", "log-binary", append([]byte("\x7fELF\x02\x01\x01"), make([]byte, 100)...), 0},
		{"zip", "log-packed", []byte("PK\x03\x04\x14\x00\x06\x00"), 0},
		{"prose", "log-no-table", []byte("Dear reader\nthis is a letter\nabout pans\n"), 0},
		{"a row without end", "log-line", bytes.Repeat([]byte("9"), 3<<20>>1)[:900_000], 1},
		{"a long row further down", "log-line", []byte("t,a\n0,1\n1,2\n2," + strings.Repeat("3", 1500) + "\n"), 3},
		{"a quote that does not close", "log-quote", []byte("t,a\n0,1\n1,\"2\n2,3\n"), 2},
		{"a million columns", "log-columns", []byte(strings.Repeat("1,", 1000) + "1\n" + strings.Repeat("1,", 1000) + "1\n"), 0},
		{"a packed file that grows", "log-size", bomb(), 0},
		{"too many cells", "log-size", []byte("t,a\n" + strings.Repeat("1,2\n", 30_000)), 0},
		{"no gzip behind its mark", "log-compression", []byte{0x1f, 0x8b, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9}, 0},
		{"no zstd behind its mark", "log-read", []byte{0x28, 0xb5, 0x2f, 0xfd, 9, 9, 9}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			limits := small
			if c.name == "a row without end" {
				limits.MaxLine = 100_000
			}
			tb, err := ReadColumns(bytes.NewReader(c.in), Options{Limits: limits})
			e := fault.As(err)
			if e == nil {
				t.Fatalf("it was read: %+v", tb)
			}
			if string(e.Code) != c.code || e.Row != c.row && c.row > 0 {
				t.Errorf("code %s, row %d: %v", e.Code, e.Row, err)
			}
		})
	}
}

func TestColumnsThatAreNotThere(t *testing.T) {
	_, err := ReadColumns(strings.NewReader("t,a\n0,1\n"), Options{Types: map[string]Type{"b": Number}})
	if e := fault.As(err); e == nil || e.Kind != fault.Usage || e.Field != "column" || e.Value != "b" {
		t.Error(err)
	}
}

func TestHashAndRawBytes(t *testing.T) {
	var raw bytes.Buffer
	tb := readColumns(t, "t,a\n0,1\n", Options{Raw: &raw})
	if raw.String() != "t,a\n0,1\n" {
		t.Errorf("raw %q", raw.String())
	}
	// sha256sum (GNU coreutils 9.1) of the same eight bytes.
	if tb.SHA256 != "ffa750559379e675cc1d37fbdc61b29a1a05ff8859440bee3199a2845fd9c513" {
		t.Error(tb.SHA256)
	}
}

// endless gives one byte for ever and counts what was taken.
type endless struct {
	c    byte
	took int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.c
	}
	e.took += len(p)
	return len(p), nil
}

// A line that never ends, of digits, delimiters or one open quote, is refused
// under the default limits after a few megabytes.
func TestEndlessLinesAreRefusedEarly(t *testing.T) {
	for _, start := range []string{"", "t,a\n0,1\n1,2\n", "t,a\n0,1\n1,\"", "{\"t\":1}\n{\"t\":\""} {
		for _, c := range []byte{'9', ',', ' ', '"'} {
			e := &endless{c: c}
			_, err := ReadColumns(io.MultiReader(strings.NewReader(start), e), Options{})
			f := fault.As(err)
			if f == nil || f.Code != "log-line" && f.Code != "log-columns" && f.Code != "log-no-table" {
				t.Errorf("%q then %q: %v", start, c, err)
			}
			if e.took > 8<<20 {
				t.Errorf("%q then %q: %d bytes taken", start, c, e.took)
			}
		}
	}
}

// What was guarded against spreadsheets reads back as it was: names of cooks
// and treatments in an exported table are those of the study.
func TestGuardedTextsReadBack(t *testing.T) {
	names := []string{"=b", "-a+1", "'tis", "plain", "@home"}
	var b strings.Builder
	var rows [][]string
	for _, n := range names {
		rows = append(rows, []string{n, "-2.5"})
	}
	if err := cells.NewWriter(&b).WriteAll([]string{"treatment", "loss"}, rows); err != nil {
		t.Fatal(err)
	}
	tb, err := ReadColumns(strings.NewReader(b.String()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, n := range names {
		if got := tb.Columns[0].Text(i); got != n || tb.Columns[1].Numbers[i] != -2.5 {
			t.Errorf("%q read back as %q beside %v", n, got, tb.Columns[1].Numbers[i])
		}
	}
}

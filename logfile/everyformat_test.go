package logfile

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// tiredLog is a log as tired people hand it in: seconds, a core that was read
// as nothing in several ways, a mass of four digits. Cells are as written with
// a decimal point; comma writes them with a comma and points between
// thousands.
var tiredLog = [][]string{
	{"time_s", "core °C", "scale g"},
	{"0", "5.25", "999.5"},
	{"1", "--", "1234.5"},
	{"2", "OPEN", "1233.5"},
	{"3", "n/a", "1232.5"},
	{"4", "5.5", "n/a"},
	{"5", "5.75", "12345.25"},
}

var (
	tiredCore     = []float64{5.25, math.NaN(), math.NaN(), math.NaN(), 5.5, 5.75}
	tiredMass     = []float64{999.5, 1234.5, 1233.5, 1232.5, math.NaN(), 12345.25}
	tiredProblems = []string{
		`row 2, column "core °C": not-a-number "--"`,
		`row 3, column "core °C": not-a-number "OPEN"`,
		`row 4, column "core °C": not-a-number "n/a"`,
		`row 5, column "scale g": not-a-number "n/a"`,
	}
)

// written changes every number of a log by f.
func written(rows [][]string, f func(string) string) [][]string {
	out := make([][]string, len(rows))
	for i, r := range rows {
		for _, c := range r {
			if _, err := strconv.ParseFloat(c, 64); err == nil {
				c = f(c)
			}
			out[i] = append(out[i], c)
		}
	}
	return out
}

// grouped sets the thousands of a number apart.
func grouped(point, group string) func(string) string {
	return func(s string) string {
		whole, part, has := strings.Cut(s, ".")
		if n := len(whole); n > 3 {
			whole = whole[:n-3] + group + whole[n-3:]
		}
		if has {
			return whole + point + part
		}
		return whole
	}
}

func delimited(rows [][]string, comma string) []byte {
	var b strings.Builder
	for _, r := range rows {
		for i, c := range r {
			if i > 0 {
				b.WriteString(comma)
			}
			if strings.Contains(c, comma) {
				c = `"` + c + `"`
			}
			b.WriteString(c)
		}
		b.WriteString("\n")
	}
	return []byte(b.String())
}

// cellOf is a cell as a program would store it: a number where it is one.
func cellOf(s string) any {
	if v, err := strconv.ParseFloat(s, 64); err == nil && !math.IsInf(v, 0) {
		return v
	}
	return s
}

// xlsx puts rows on a sheet at a cell; text keeps every cell as text.
func xlsx(rows [][]string, sheet string, col, row int, text bool) []byte {
	f := excelize.NewFile()
	defer f.Close()
	if sheet != "Sheet1" {
		f.SetCellValue("Sheet1", "A1", "nothing here")
		f.NewSheet(sheet)
	}
	for i, r := range rows {
		for k, c := range r {
			at, _ := excelize.CoordinatesToCellName(col+k, row+i)
			if text {
				f.SetCellStr(sheet, at, c)
			} else {
				f.SetCellValue(sheet, at, cellOf(c))
			}
		}
	}
	if row > 1 {
		f.SetCellStr(sheet, "A1", "Logger 7")
		at, _ := excelize.CoordinatesToCellName(1, row+len(rows)+1)
		f.SetSheetRow(sheet, at, &[]any{"mean", 5.5, 99, 99, 99})
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		panic(err)
	}
	return b.Bytes()
}

// odsOf puts rows on a sheet, as far right and down as asked.
func odsOf(rows [][]string, sheet string, col, row int, text bool) []byte {
	var out []string
	if row > 1 {
		out = append(out, fmt.Sprintf(`<table:table-row table:number-rows-repeated="%d"><table:table-cell/></table:table-row>`, row-1))
	}
	for _, r := range rows {
		var b strings.Builder
		b.WriteString("<table:table-row>")
		if col > 1 {
			fmt.Fprintf(&b, `<table:table-cell table:number-columns-repeated="%d"/>`, col-1)
		}
		for _, c := range r {
			if _, err := strconv.ParseFloat(c, 64); err == nil && !text {
				fmt.Fprintf(&b, `<table:table-cell office:value-type="float" office:value="%s"><text:p>%s</text:p></table:table-cell>`, c, c)
				continue
			}
			b.WriteString(`<table:table-cell office:value-type="string"><text:p>`)
			xml.EscapeText(&b, []byte(c))
			b.WriteString(`</text:p></table:table-cell>`)
		}
		b.WriteString("</table:table-row>")
		out = append(out, b.String())
	}
	if row > 1 {
		out = append(out, `<table:table-row table:number-rows-repeated="3"><table:table-cell/></table:table-row><table:table-row><table:table-cell office:value-type="float" office:value="99" table:number-columns-repeated="5"/></table:table-row>`)
	}
	return ods(odsTable(sheet, out...))
}

func jsonObjects(rows [][]string, open, between, end string) []byte {
	var b bytes.Buffer
	b.WriteString(open)
	for i, r := range rows[1:] {
		if i > 0 {
			b.WriteString(between)
		}
		b.WriteString("{")
		for k, c := range r {
			name, _ := json.Marshal(rows[0][k])
			value, _ := json.Marshal(cellOf(c))
			if k > 0 {
				b.WriteString(",")
			}
			b.Write(name)
			b.WriteString(":")
			b.Write(value)
		}
		b.WriteString("}")
	}
	b.WriteString(end)
	return b.Bytes()
}

func jsonRows(rows [][]string) []byte {
	var all [][]any
	for _, r := range rows {
		var out []any
		for _, c := range r {
			out = append(out, cellOf(c))
		}
		all = append(all, out)
	}
	b, _ := json.MarshalIndent(map[string]any{"device": "x", "rows": all}, "", " ")
	return b
}

func parquetTexts(rows [][]string) []byte {
	type row struct {
		Time int64  `parquet:"time_s"`
		Core string `parquet:"core °C"`
		Mass string `parquet:"scale g"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b)
	for _, r := range rows[1:] {
		at, _ := strconv.ParseInt(r[0], 10, 64)
		if _, err := w.Write([]row{{at, r[1], r[2]}}); err != nil {
			panic(err)
		}
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func gz(in []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write(in)
	w.Close()
	return b.Bytes()
}

func zst(in []byte) []byte {
	w, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic(err)
	}
	defer w.Close()
	return w.EncodeAll(in, nil)
}

func utf16(in []byte, order unicode.Endianness) []byte {
	out, err := unicode.UTF16(order, unicode.UseBOM).NewEncoder().Bytes(in)
	if err != nil {
		panic(err)
	}
	return out
}

// One log in every format, with a decimal point or comma, thousands set apart
// or not: the same readings, and the same cells that are none.
func TestOneLogInEveryFormat(t *testing.T) {
	comma := written(tiredLog, grouped(",", "."))
	point := written(tiredLog, grouped(".", ","))
	plain := tiredLog
	latin, err := charmap.ISO8859_1.NewEncoder().Bytes(delimited(comma, ";"))
	if err != nil {
		t.Fatal(err)
	}
	part := LoadOptions{Sheet: "run 2", Range: "C4:E10"}
	for _, c := range []struct {
		name string
		in   []byte
		opt  LoadOptions
	}{
		{"CSV", delimited(plain, ","), LoadOptions{}},
		{"CSV, thousands in quotes", delimited(point, ","), LoadOptions{}},
		{"semicolons and decimal commas", delimited(comma, ";"), LoadOptions{}},
		{"spaces between thousands", delimited(written(plain, grouped(",", " ")), ";"), LoadOptions{}},
		{"apostrophes between thousands", delimited(written(plain, grouped(".", "’")), "\t"), LoadOptions{}},
		{"TSV, decimal commas", delimited(comma, "\t"), LoadOptions{}},
		{"bars", delimited(point, "|"), LoadOptions{}},
		{"CSV, returns alone", bytes.ReplaceAll(delimited(plain, ","), []byte("\n"), []byte("\r")), LoadOptions{}},
		{"Latin-1", latin, LoadOptions{}},
		{"UTF-16, little end first", utf16(delimited(comma, ";"), unicode.LittleEndian), LoadOptions{}},
		{"UTF-16, big end first", utf16(delimited(comma, "\t"), unicode.BigEndian), LoadOptions{}},
		{"gzip", gz(delimited(comma, ";")), LoadOptions{}},
		{"zstd", zst(delimited(point, ",")), LoadOptions{}},
		{"XLSX, numbers", xlsx(plain, "Sheet1", 1, 1, false), LoadOptions{}},
		{"XLSX, texts", xlsx(comma, "Sheet1", 1, 1, true), LoadOptions{}},
		{"XLSX, texts with points", xlsx(point, "Sheet1", 1, 1, true), LoadOptions{}},
		{"XLSX, sheet and range", xlsx(plain, "run 2", 3, 4, false), part},
		{"XLSX, sheet and range, texts", xlsx(comma, "run 2", 3, 4, true), part},
		{"ODS, numbers", odsOf(plain, "probe", 1, 1, false), LoadOptions{}},
		{"ODS, texts", odsOf(comma, "probe", 1, 1, true), LoadOptions{}},
		{"ODS, sheet and range", odsOf(plain, "run 2", 3, 4, false), part},
		{"ODS, sheet and range, texts", odsOf(comma, "run 2", 3, 4, true), part},
		{"JSON Lines", jsonObjects(plain, "", "\n", "\n"), LoadOptions{}},
		{"JSON Lines, texts", jsonObjects(comma, "", "\n", "\n"), LoadOptions{}},
		{"JSON, objects", jsonObjects(plain, "[\n", ",\n", "\n]\n"), LoadOptions{}},
		{"JSON, objects with texts", jsonObjects(comma, "[", ",", "]"), LoadOptions{}},
		{"JSON, rows", jsonRows(plain), LoadOptions{}},
		{"JSON, rows with texts", jsonRows(point), LoadOptions{}},
		{"JSON Lines, gzip", gz(jsonObjects(plain, "", "\n", "\n")), LoadOptions{}},
		{"Parquet, texts", parquetTexts(comma), LoadOptions{}},
		{"Parquet, texts with points", parquetTexts(point), LoadOptions{}},
		{"Parquet, zstd around it", zst(parquetTexts(plain)), LoadOptions{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			log, err := Load(bytes.NewReader(c.in), c.opt)
			if err != nil {
				t.Fatal(err)
			}
			if len(log.Traces) != 2 {
				t.Fatalf("%d traces: %+v", len(log.Traces), log.Guess.Columns)
			}
			if d := cmp.Diff(tiredCore, values(log.Traces[0]), sameFloats); d != "" {
				t.Error("core", d)
			}
			if d := cmp.Diff(tiredMass, values(log.Traces[1]), sameFloats); d != "" {
				t.Error("mass", d)
			}
			for i := range log.Account.Problems {
				log.Account.Problems[i].Line = 0
			}
			if d := cmp.Diff(tiredProblems, problems(log)); d != "" {
				t.Error(d)
			}
			checkLog(t, c.in, c.opt)
		})
	}
}

// Two runs behind each other, each under its header, in every format that can
// hold them: the longer is read and the other accounted for, row by row.
func TestGluedRunsInEveryFormat(t *testing.T) {
	var rows [][]string
	run := func(n int, from float64) {
		rows = append(rows, []string{"time_s", "core °C"})
		for i := range n {
			rows = append(rows, []string{strconv.Itoa(i), strconv.FormatFloat(from+float64(i)/4, 'f', 2, 64)})
		}
	}
	run(6, 5)
	run(9, 20)
	part := LoadOptions{Sheet: "run 2", Range: "C4:D20"}
	comma := written(rows, grouped(",", "."))
	for _, c := range []struct {
		name string
		in   []byte
		opt  LoadOptions
	}{
		{"CSV", delimited(rows, ","), LoadOptions{}},
		{"semicolons", delimited(comma, ";"), LoadOptions{}},
		{"UTF-16", utf16(delimited(comma, "\t"), unicode.LittleEndian), LoadOptions{}},
		{"zstd", zst(delimited(rows, ",")), LoadOptions{}},
		{"XLSX", xlsx(rows, "Sheet1", 1, 1, false), LoadOptions{}},
		{"XLSX, sheet and range", xlsx(comma, "run 2", 3, 4, true), part},
		{"ODS", odsOf(rows, "probe", 1, 1, false), LoadOptions{}},
		{"ODS, sheet and range", odsOf(rows, "run 2", 3, 4, false), part},
		{"JSON, rows", jsonRows(rows), LoadOptions{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for session, want := range map[int]struct {
				rows  int
				first float64
			}{0: {9, 20}, 1: {6, 5}, 2: {9, 20}} {
				c.opt.Session = session
				log, err := Load(bytes.NewReader(c.in), c.opt)
				if err != nil {
					t.Fatal(err)
				}
				v, a := values(log.Traces[0]), log.Account
				if len(v) != want.rows || v[0] != want.first || a.Rows != 16 || a.Counts[OtherSession] != 15-want.rows || a.Kept != want.rows {
					t.Errorf("session %d: %d rows from %v; %v", session, len(v), v[0], a)
				}
			}
		})
	}
}

package logfile

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"trivet/fault"
)

// ods packs a content.xml as a spreadsheet (OASIS OpenDocument 1.3, part 2:
// mimetype first, stored).
func ods(tables string) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	put := func(name, text string, method uint16) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method})
		if err != nil {
			panic(err)
		}
		io.WriteString(w, text)
	}
	put("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zip.Store)
	put("content.xml", `<?xml version="1.0" encoding="UTF-8"?><office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>`+
		tables+`</office:spreadsheet></office:body></office:document-content>`, zip.Deflate)
	z.Close()
	return b.Bytes()
}

func odsTable(name string, rows ...string) string {
	return `<table:table table:name="` + name + `"><table:table-column/>` + strings.Join(rows, "") + `</table:table>`
}

const (
	odsHead = `<table:table-row><table:table-cell office:value-type="string"><text:p>time</text:p></table:table-cell><table:table-cell office:value-type="string"><text:p>core °C</text:p><office:annotation><text:p>a remark</text:p></office:annotation></table:table-cell><table:table-cell table:number-columns-repeated="16382"/></table:table-row>`
	odsRow  = `<table:table-row%s><table:table-cell office:value-type="date" office:date-value="2026-05-01T14:03:%02d"><text:p>01.05.26</text:p></table:table-cell><table:table-cell office:value-type="float" office:value="%s"><text:p>rounded</text:p></table:table-cell></table:table-row>`
	odsRest = `<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="16384"/></table:table-row>`
)

func TestOpenDocument(t *testing.T) {
	book := ods(odsTable("notes", odsRest) +
		odsTable("probe", odsHead, fmt.Sprintf(odsRow, "", 7, "5.1"), fmt.Sprintf(odsRow, "", 8, "5.2000000000000002"), fmt.Sprintf(odsRow, "", 9, "5.3"), odsRest) +
		odsTable("other", odsHead, fmt.Sprintf(odsRow, "", 1, "90"), fmt.Sprintf(odsRow, "", 2, "91"), fmt.Sprintf(odsRow, "", 3, "92")))
	log := load(t, string(book), LoadOptions{})
	if d := cmp.Diff([]float64{5.1, 5.2, 5.3}, values(log.Traces[0])); d != "" || log.Traces[0].Channel.Place != "core" || log.Guess.Layout.Kind != "workbook" {
		t.Error(d, log.Guess.Layout.Kind)
	}
	log = load(t, string(book), LoadOptions{Sheet: "other"})
	if d := cmp.Diff([]float64{90, 91, 92}, values(log.Traces[0])); d != "" || log.Map.Sheet != "other" {
		t.Error(d, log.Map.Sheet)
	}
	// The map remembers the sheet.
	again := load(t, string(book), LoadOptions{Map: log.Map})
	if d := cmp.Diff(values(log.Traces[0]), values(again.Traces[0])); d != "" {
		t.Error(d)
	}
	if _, err := Load(bytes.NewReader(book), LoadOptions{Sheet: "nowhere"}); fault.As(err) == nil || fault.As(err).Code != "log-sheet" {
		t.Errorf("%v", err)
	}
}

// Archives that unpack to far more than they hold, or that repeat a row or a
// cell without end, are refused within the limits.
func TestSpreadsheetBombs(t *testing.T) {
	full := `<table:table-row table:number-rows-repeated="2000000000"><table:table-cell office:value-type="float" office:value="1"/></table:table-row>`
	wide := `<table:table-row><table:table-cell table:number-columns-repeated="2000000000" office:value-type="float" office:value="1"/></table:table-row>`
	for name, in := range map[string][]byte{
		"a row without end":    ods(odsTable("a", odsHead, full)),
		"a cell without end":   ods(odsTable("a", odsHead, wide)),
		"a gigabyte of blanks": ods(strings.Repeat(" ", 80<<20)),
		"deep":                 ods(strings.Repeat("<table:table><table:table-row>", 1e5)),
		"no content":           ods(""),
		"cut":                  ods(odsTable("a", odsHead))[:300],
	} {
		_, err := Load(bytes.NewReader(in), LoadOptions{Limits: Limits{MaxBytes: 64 << 20}})
		if fault.As(err) == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSheetAndRange(t *testing.T) {
	f := excelize.NewFile()
	f.NewSheet("run 2")
	f.SetSheetRow("run 2", "B3", &[]any{"time_s", "core °C", "a note"})
	for i := range 6 {
		f.SetSheetRow("run 2", fmt.Sprintf("B%d", 4+i), &[]any{i, 5 + float64(i)/10, "x"})
	}
	f.SetSheetRow("run 2", "A12", &[]any{"mean", 5.25, 99, 99})
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	log := load(t, b.String(), LoadOptions{Sheet: "run 2", Range: "B3:C8"})
	if d := cmp.Diff([]float64{5, 5.1, 5.2, 5.3, 5.4}, values(log.Traces[0])); d != "" || len(log.Account.Problems) > 0 {
		t.Error(d, log.Account.Problems)
	}
	for _, bad := range []string{"B3:A1", "3B", "B3:", "XFD9999999"} {
		_, err := Load(bytes.NewReader(b.Bytes()), LoadOptions{Sheet: "run 2", Range: bad})
		if ok := err == nil; ok != (bad == "B3:") {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

type parquetRow struct {
	Time  time.Time `parquet:"time,timestamp(millisecond)"`
	Core  *float64  `parquet:"core_c,optional"`
	Pan   float32   `parquet:"pan_c"`
	Count int64     `parquet:"n"`
	Tags  []string  `parquet:"tags,list"`
	Note  string    `parquet:"note"`
}

func parquetLog(n int) []byte {
	var b bytes.Buffer
	w := parquet.NewGenericWriter[parquetRow](&b)
	at := time.Date(2026, 5, 1, 14, 3, 7, 250e6, time.UTC)
	for i := range n {
		r := parquetRow{Time: at.Add(time.Duration(i) * time.Second), Pan: 204.5, Count: int64(i), Note: "a, b"}
		if i%3 != 1 {
			v := 5 + float64(i)/10
			r.Core = &v
		}
		if _, err := w.Write([]parquetRow{r}); err != nil {
			panic(err)
		}
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func TestParquet(t *testing.T) {
	log := load(t, string(parquetLog(1000)), LoadOptions{})
	core := log.Traces[0]
	if core.Len() != 1000 || core.Channel.Place != "core" || core.Elapsed || core.TimesUS[0] != 1777644187250000 {
		t.Fatalf("%d samples, %+v, first %d", core.Len(), core.Channel, core.TimesUS[0])
	}
	if v, ok := core.Value(3); !ok || v != 5.3 {
		t.Errorf("%v %v", v, ok)
	}
	if _, ok := core.Value(1); ok {
		t.Error("a missing value has one")
	}
	if v, ok := log.Traces[1].Value(999); !ok || v != 204.5 {
		t.Errorf("%v %v", v, ok)
	}
}

// Corrupt files are refused or read in part; the library's panics stay
// inside.
func TestParquetSpoilt(t *testing.T) {
	whole := parquetLog(200)
	r := rand.New(rand.NewPCG(3, 3))
	for i := range 300 {
		b := bytes.Clone(whole)
		for range 1 + i%5 {
			b[4+r.IntN(len(b)-4)] ^= 1 << r.IntN(8)
		}
		if i%7 == 0 {
			b = b[:4+r.IntN(len(b)-4)]
		}
		checkLog(t, b, LoadOptions{Limits: small})
	}
}

func TestJSONDocuments(t *testing.T) {
	for name, in := range map[string]string{
		"an array of objects": "[\n  {\"t_s\": 0, \"core_c\": 5.0},\n  {\"t_s\": 1,\n   \"core_c\": 5.1},\n  {\"t_s\": 2, \"core_c\": 5.2}\n]\n",
		"on one line":         `[{"t_s":0,"core_c":5.0},{"t_s":1,"core_c":5.1},{"t_s":2,"core_c":5.2}]`,
		"inside an object":    "{\n  \"device\": \"x\",\n  \"axes\": [1, 2],\n  \"samples\": [\n    {\"t_s\": 0, \"core_c\": 5.0}, {\"t_s\": 1, \"core_c\": 5.1},\n    {\"t_s\": 2, \"core_c\": 5.2}]}",
		"inside, on one line": `{"device":"x","samples":[{"t_s":0,"core_c":5.0},{"t_s":1,"core_c":5.1},{"t_s":2,"core_c":5.2}]}`,
		"rows":                `[["t_s","core_c"],[0,5.0],[1,5.1],[2,5.2]]`,
		"rows in an object":   "{\n\"rows\": [[\"t_s\",\"core_c\"],\n[0,5.0],[1,5.1],[2,5.2]]\n}",
		"torn":                `[{"t_s":0,"core_c":5.0},{"t_s":1,"core_c":5.1},{"t_s":2,"core_c":5.2},{"t_s":3,"co`,
	} {
		log, err := Load(strings.NewReader(in), LoadOptions{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := cmp.Diff([]float64{5, 5.1, 5.2}, values(log.Traces[0])); d != "" || log.Guess.Layout.Kind != "JSON" {
			t.Errorf("%s, %s: %s", name, log.Guess.Layout.Kind, d)
		}
		if problems := len(log.Account.Problems) > 0; problems != (name == "torn") {
			t.Errorf("%s: %v", name, log.Account.Problems)
		}
	}
	for name, in := range map[string]string{
		"nothing": "[]", "numbers": "[[1,2],[3", "broken": "[{\"a\":1},}", "one great element": `[{"a":"` + strings.Repeat("x", 10<<20) + `"}]`,
	} {
		checkLog(t, []byte(in), LoadOptions{Limits: small})
		_ = name
	}
}

func TestThousandsSetApart(t *testing.T) {
	for _, c := range []struct {
		name, in string
		want     []float64
	}{
		{"points, decimal commas", "t_s;mass g\n0;999,5\n1;1.234,5\n2;1.000.234,25\n", []float64{999.5, 1234.5, 1000234.25}},
		{"commas in quotes", "t_s,mass g\n0,999.5\n1,\"1,234.5\"\n2,\"12,345\"\n", []float64{999.5, 1234.5, 12345}},
		{"spaces", "t_s;mass g\n0;999,5\n1;1 234,5\n2;12\u00a0345,5\n", []float64{999.5, 1234.5, 12345.5}},
		{"apostrophes", "t_s;mass g\n0;999.5\n1;1'234.5\n2;12’345.5\n", []float64{999.5, 1234.5, 12345.5}},
		{"no thousands: three decimals", "t_s;mass g\n0;5,123\n1;5,234\n2;5,345\n", []float64{5.123, 5.234, 5.345}},
	} {
		log := load(t, c.in, LoadOptions{})
		if len(log.Traces) == 0 {
			t.Errorf("%s: %+v", c.name, log.Guess.Columns)
			continue
		}
		if d := cmp.Diff(c.want, values(log.Traces[0])); d != "" || len(log.Account.Problems) > 0 {
			t.Errorf("%s: %s %v", c.name, d, log.Account.Problems)
		}
	}
	for _, s := range []string{"1,23", "12,34,567", "1,234,56", ",123", "1234,567,89", "1,234.567,8", "1 23", "", "1'2345"} {
		if v, _, ok := parseGrouped([]byte(s), '.'); ok {
			t.Errorf("%q read as %v", s, v)
		}
	}
}

// Two runs of one logger, saved behind each other with their header lines.
func TestSessionsInOneFile(t *testing.T) {
	run := func(from float64, n int) string {
		var b strings.Builder
		b.WriteString("Logger 7\nstarted by hand\n\ntime_s,core °C\n")
		for i := range n {
			fmt.Fprintf(&b, "%d,%.1f\n", i, from+float64(i)/10)
		}
		return b.String()
	}
	in := run(5, 30) + run(20, 50) + run(9, 10)
	for _, c := range []struct {
		session, rows int
		first         float64
	}{{0, 50, 20}, {1, 30, 5}, {2, 50, 20}, {3, 10, 9}} {
		log := load(t, in, LoadOptions{Session: c.session})
		v := values(log.Traces[0])
		if len(v) != c.rows || v[0] != c.first {
			t.Errorf("session %d: %d rows from %v; %v", c.session, len(v), v[0], log.Account.Problems)
		}
		if !strings.Contains(fmt.Sprint(log.Account.Notes), "holds 3 logs") || log.Account.Counts[OtherSession] != 90-c.rows {
			t.Errorf("%v %v", log.Account.Notes, log.Account.Counts)
		}
		checkLog(t, []byte(in), LoadOptions{Session: c.session})
	}
	if _, err := Load(strings.NewReader(in), LoadOptions{Session: 4}); fault.As(err) == nil {
		t.Errorf("%v", err)
	}
}

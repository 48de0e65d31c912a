package logfile

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"trivet/fault"
)

func TestJSONLines(t *testing.T) {
	log := load(t, `{"t":"2026-05-01T14:03:07Z","probe":{"core_c":5.1,"pan_c":205},"raw":[1,2]}
{"t":"2026-05-01T14:03:08Z","probe":{"core_c":null,"pan_c":"OPEN"}}

{"t":"2026-05-01T14:03:09Z","probe":{"core_c":5.25e0,"pan_c":204.5},"note":"a \"b\", c"}
not an object
{"t":"2026-05-01T14:03:10Z","probe":{"pan_c":204.0}}
{"t":"2026-05-01T14:03:1`, LoadOptions{})
	var got []string
	for _, p := range log.Account.Problems {
		got = append(got, p.String())
	}
	want := []string{
		`row 2, column "probe.pan_c": not-a-number "OPEN"`,
		`row 4, column "t": not-a-time`,
		`row 4: bad-json, the line is no JSON object`,
		`row 6, column "t": not-a-time`,
		`row 6: bad-json, the file ends inside this line`,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if log.Guess.Layout.Kind != "JSON Lines" || log.Account.Kept != 4 || len(log.Traces) != 2 {
		t.Fatalf("%+v", log)
	}
	if d := cmp.Diff([]float64{5.1, math.NaN(), 5.25, math.NaN()}, values(log.Traces[0]), sameFloats); d != "" {
		t.Error(d)
	}
}

func TestJSONLinesThatAreNone(t *testing.T) {
	for name, in := range map[string]string{
		"arrays alone": "{\"a\":[1]}\n{\"a\":[2]}\n",
		"broken":       "{\"a\n{\"b\n",
		"too deep":     strings.Repeat(`{"a":`, 100) + "1" + strings.Repeat("}", 100) + "\n",
	} {
		if _, err := Load(strings.NewReader(in), LoadOptions{}); fault.As(err) == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	var b strings.Builder
	for i := range jsonHeadLines + 5 {
		fmt.Fprintf(&b, "{\"t_s\":%d,\"core_c\":5}\n", i)
	}
	b.WriteString("{\"t_s\":5000,\"core_c\":5,\"pan_c\":7}\n")
	log := load(t, b.String(), LoadOptions{})
	if len(log.Traces) != 1 || !strings.Contains(fmt.Sprint(log.Account.Notes), `the name "pan_c" comes first after line 1000 and was left out of 1 rows`) {
		t.Error(log.Account.Notes)
	}
}

// workbookOf makes a workbook of rows on its first sheet.
func workbookOf(t *testing.T, rows [][]any, more ...string) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for i, r := range rows {
		if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &r); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range more {
		if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWorkbook(t *testing.T) {
	b := workbookOf(t, [][]any{{"Model X1"}, {"time_s", "core °C", "pan °C"}, {0, 5.1, 205}, {1, "OPEN", 204.5}, {2, 0.1 + 5.2, 203.25}}, "Notes")
	log, err := Load(bytes.NewReader(b), LoadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]float64{5.1, math.NaN(), 5.3}, values(log.Traces[0]), sameFloats); d != "" {
		t.Error(d)
	}
	if log.Traces[0].Quantum != 0.1 || log.Guess.Layout.Kind != "workbook" || log.Account.Counts[NotANumber] != 1 {
		t.Errorf("%+v %+v", log.Traces[0], log.Account)
	}
	if !strings.Contains(fmt.Sprint(log.Account.Notes), `sheet "Sheet1" was read, the others (Notes) were not`) {
		t.Error(log.Account.Notes)
	}
}

func TestWorkbooksThatAreRefused(t *testing.T) {
	var plainZip bytes.Buffer
	z := zip.NewWriter(&plainZip)
	w, _ := z.Create("log.csv")
	fmt.Fprint(w, "t,a\n0,1\n")
	z.Close()

	var bomb bytes.Buffer
	z = zip.NewWriter(&bomb)
	for _, name := range []string{"[Content_Types].xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"} {
		w, _ := z.Create(name)
		for range 64 {
			w.Write(make([]byte, 64<<10))
		}
	}
	z.Close()

	sound := workbookOf(t, [][]any{{"t", "a"}, {0, 1}})
	for _, c := range []struct {
		name, code string
		in         []byte
	}{
		{"a zip of something else", "log-packed", plainZip.Bytes()},
		{"one that unpacks to much", "log-workbook", bomb.Bytes()},
		{"cut off", "log-workbook", sound[:len(sound)-200]},
		{"without cells", "log-empty", workbookOf(t, nil)},
		{"too large", "log-size", append(bytes.Clone(sound), make([]byte, 2<<20)...)},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Load(bytes.NewReader(c.in), LoadOptions{Limits: Limits{MaxBytes: 1 << 20}})
			if e := fault.As(err); e == nil || string(e.Code) != c.code {
				t.Errorf("%v, want %s", err, c.code)
			}
		})
	}
}

// A line is read as the names and values that encoding/json finds in it.
func TestFlatObjectIsWhatJSONSays(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "a", "a.b", "\"", "\\", "é", "\u2028", "]", "}", ",", "null", "\x00"}))
	var value func(depth int) *rapid.Generator[any]
	value = func(depth int) *rapid.Generator[any] {
		return rapid.Custom(func(t *rapid.T) any {
			kind := rapid.IntRange(0, 7).Draw(t, "kind")
			if depth > 3 && kind > 4 {
				kind = 0
			}
			switch kind {
			case 0:
				return text.Draw(t, "text")
			case 1:
				return rapid.Float64Range(-1e20, 1e20).Draw(t, "number")
			case 2:
				return rapid.Bool().Draw(t, "truth")
			case 3:
				return nil
			case 4:
				return rapid.IntRange(-1000, 1000).Draw(t, "whole")
			case 5:
				return rapid.SliceOfN(value(depth+1), 0, 3).Draw(t, "list")
			}
			return rapid.MapOfN(text, value(depth+1), 0, 4).Draw(t, "object")
		})
	}
	rapid.Check(t, func(t *rapid.T) {
		object := rapid.MapOfN(text, value(0), 0, 6).Draw(t, "line")
		var b bytes.Buffer
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(rapid.Bool().Draw(t, "escaped"))
		if rapid.Bool().Draw(t, "spaced") {
			enc.SetIndent(" ", "\t")
		}
		if err := enc.Encode(object); err != nil {
			t.Fatal(err)
		}
		want, lists := map[string]string{}, map[string]bool{}
		names := 0
		var put func(prefix string, o map[string]any)
		put = func(prefix string, o map[string]any) {
			for _, k := range slices.Sorted(maps.Keys(o)) { // in the order that it is written
				name := prefix + strings.ToValidUTF8(k, "\ufffd")
				switch v := o[k].(type) {
				case map[string]any:
					put(name+".", v)
					continue
				case []any:
					lists[name] = true
					continue
				case nil:
					want[name] = ""
				case string:
					want[name] = strings.ToValidUTF8(v, "\ufffd")
				default:
					raw, _ := json.Marshal(v)
					want[name] = string(raw)
				}
				names++
			}
		}
		put("", object)
		got := flatObject(b.Bytes(), 1000)
		if d := cmp.Diff(want, got.values); !got.ok || d != "" || len(got.names)+len(got.twice) > names || len(got.lists) != len(lists) {
			t.Fatalf("%s: %s", b.Bytes(), d)
		}
		for _, broken := range []string{b.String()[:b.Len()-2], b.String() + "x", "[" + b.String() + "]", b.String() + "{}"} {
			if flatObject([]byte(broken), 1000).ok {
				t.Fatalf("%s was read", broken)
			}
		}
	})
}

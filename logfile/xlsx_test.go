package logfile

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
)

// A workbook as another program may pack it (ECMA-376 part 1, sections 18.2 to
// 18.4): other part names and an absolute target, rows and cells without
// references, texts in runs with how they are pronounced, a date as ISO 8601,
// prefixed elements, and blanks with a format to the right.
const otherRels = `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`

func otherBook(sheet, bookPr string) []byte {
	const office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	return zipped(
		"_rels/.rels", otherRels+`<Relationship Id="r1" Type="`+office+`/officeDocument" Target="Book/Main.xml"/></Relationships>`,
		"Book/Main.xml", `<x:workbook xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="`+office+`">`+bookPr+
			`<x:sheets><x:sheet name="chart" sheetId="2" r:id="c"/><x:sheet name="run" sheetId="1" r:id="s"/></x:sheets></x:workbook>`,
		"Book/_rels/Main.xml.rels", otherRels+
			`<Relationship Id="s" Type="`+office+`/worksheet" Target="/Book/pages/One.xml"/>`+
			`<Relationship Id="c" Type="`+office+`/chartsheet" Target="pages/Chart.xml"/>`+
			`<Relationship Id="t" Type="`+office+`/sharedStrings" Target="Texts.xml"/></Relationships>`,
		"book/texts.xml", `<sst><si><t>time</t></si><si><r><t>core</t></r><r><t xml:space="preserve"> °C</t></r><rPh sb="0" eb="1"><t>said</t></rPh></si></sst>`,
		"Book/pages/One.xml", `<worksheet><sheetData>`+sheet+`</sheetData></worksheet>`,
		"xl/note", "")
}

func TestWorkbookOfAnotherProgram(t *testing.T) {
	in := otherBook(`<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c><c s="4"/></row>`+
		`<row r="3"><c r="A3" t="d"><v>2026-03-01T10:00:00</v></c><c r="B3"><v>5.2000000000000002</v></c></row>`+
		`<row><c t="d"><v>2026-03-01T10:00:01</v></c><c t="str"><f>A1</f><v>5.5</v></c></row>`+
		`<row r="9"><c r="A9" t="d"><v>2026-03-01T10:00:02</v></c><c r="B9"><v>5.75</v></c></row>`, "")
	log := load(t, string(in), LoadOptions{})
	if d := cmp.Diff([]float64{5.2, 5.5, 5.75}, values(log.Traces[0]), sameFloats); d != "" || log.Map.Channels[0].Column != "core °C" {
		t.Errorf("%s %+v", d, log.Map)
	}
	if us := log.Traces[0].TimesUS; us[2]-us[0] != 2e6 || len(log.Account.Problems) > 0 {
		t.Error(us, log.Account.Problems)
	}
	if _, err := Load(bytes.NewReader(in), LoadOptions{Sheet: "chart"}); fault.As(err) == nil || fault.As(err).Code != "log-sheet" {
		t.Error(err)
	}
}

func TestWorkbookDaysFrom1904(t *testing.T) {
	in := otherBook(`<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row><row><c><v>0</v></c><c><v>5</v></c></row><row><c><v>1</v></c><c><v>6</v></c></row>`,
		`<x:workbookPr date1904="1"/>`)
	if log := load(t, string(in), LoadOptions{}); !strings.Contains(notes(log), "counts its days from 1904") {
		t.Error(notes(log))
	}
}

// What would make a shorter or another log than the sheet shows is refused.
func TestWorkbooksAreReadStrictly(t *testing.T) {
	head := `<row r="1"><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>`
	for name, sheet := range map[string]string{
		"a row again":           head + `<row r="2"><c><v>0</v></c><c><v>5</v></c></row><row r="2"><c><v>1</v></c><c><v>6</v></c></row>`,
		"rows backwards":        head + `<row r="3"><c><v>0</v></c></row><row r="2"><c><v>1</v></c></row>`,
		"a row without number":  head + `<row r="x"><c><v>0</v></c></row>`,
		"a cell again":          head + `<row r="2"><c r="A2"><v>0</v></c><c r="A2"><v>5</v></c></row>`,
		"a cell without row":    head + `<row r="2"><c r="A"><v>0</v></c></row>`,
		"a cell without column": head + `<row r="2"><c r="2"><v>0</v></c></row>`,
		"a text below none":     head + `<row r="2"><c t="s"><v>-1</v></c></row>`,
		"a text that is none":   head + `<row r="2"><c t="s"><v>one</v></c></row>`,
		"an end too early":      head + `</sheetData></worksheet><row r="2"><c><v>0</v></c></row>`,
		"an unknown entity":     head + `<row r="2"><c><v>&x;</v></c></row>`,
	} {
		_, err := Load(bytes.NewReader(otherBook(sheet, "")), LoadOptions{})
		if e := fault.As(err); e == nil || e.Code != "log-workbook" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCellColumn(t *testing.T) {
	for ref, want := range map[string]int{"A1": 1, "z9": 26, "AA10": 27, "XFD1048576": 16384, "A": 0, "1": 0, "": 0, "ZZZZZZZZZZZZZZZZ1": 0, "é1": 0} {
		if got, ok := cellColumn(ref); ok != (want > 0) || ok && got != want {
			t.Errorf("%q is column %d, %v", ref, got, ok)
		}
	}
}

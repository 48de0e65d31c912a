package publish

import (
	"bytes"
	"strings"
	"testing"

	"trivet/design"
	"trivet/heat"
	"trivet/quantity"
	"trivet/safety"
	"trivet/study"
)

func sheetsForTest(t *testing.T, blocks int) *Sheets {
	t.Helper()
	s := &study.Study{Title: "Salting <now>", Blocks: study.Blocks{What: "pork loin", Count: blocks, Pieces: 2, Spares: 1},
		Treatments: []study.Treatment{{ID: "late", Control: true, Name: "salted late", Set: map[string]string{"salt": "none"}}, {ID: "early", Cook: "early.yaml"}},
		Questions:  []study.Question{{ID: "q", Response: "cooking_loss"}, {ID: "c", Response: "crust"}},
		Readings:   []study.ReadingDef{{ID: "crust", Kind: study.Grade, Scale: []string{"pale", "golden"}}},
		Controlled: []study.Control{{Name: "pan", Kind: quantity.KindTemperature, Text: "205 °C ± 5 °C"}, {Name: "mass", Kind: quantity.KindMass, Value: 0.25, Text: "250 g ± 15 g"}}}
	p, err := design.Make(design.Request{Kind: design.Pairs, Treatments: []string{"late", "early"}, Blocks: blocks, Seed: "s", Burners: []string{"left", "right"}, Probes: []string{"A", "B"}})
	if err != nil {
		t.Fatal(err)
	}
	cook, err := heat.ParseCook("early.yaml", []byte("piece: {shape: slab, thickness: 30 mm, start: 5 °C, food: \"pork top loin chop, lean\"}\nmoisture: on\nlegs:\n  - name: sear\n    bottom: {pan: 205 °C, contact: 350}\n    top: {air: 25 °C, h: 8, humidity: 40 %}\n    turn: {at: [90 s]}\n    ends_when: {time: 3 min}\n  - name: rest\n    rest: true\n    bottom: {board: 23 °C, h: 8}\n    top: {air: 23 °C, h: 6, humidity: 40 %}\n    ends_when: {time: 8 min}\n"))
	if err != nil {
		t.Fatal(err)
	}
	return NewSheets(s, p, map[string]*heat.Cook{"early": cook}, []safety.Caution{{Title: "Hot fat", Text: "It burns."}}, false)
}

func TestSheetsHoldWhatACookNeeds(t *testing.T) {
	sh := sheetsForTest(t, 6)
	var b bytes.Buffer
	if err := sh.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	for _, want := range []string{"Salting &lt;now&gt;", "pan in its band: 205 °C ± 5 °C", "scale on zero", "raw and cooked kept apart", "clean tools",
		"Hot fat", "burner <b>left</b>", "probe <b>A</b>", "Raw mass, blotted", "mark “off heat”", "1:30", "pale / golden", "Mass in all, with spares", "4.5 kg", "Deviations"} {
		if !strings.Contains(html, want) {
			t.Errorf("the sheets lack %q", want)
		}
	}
	if n := strings.Count(html, `class="sheet cook"`); n != 12 {
		t.Errorf("%d pages of cooks, want 12", n)
	}
	if strings.Contains(html, "<script") || strings.Contains(html, "http") {
		t.Error("the sheets ask for something from outside")
	}
}

// Whoever weighs sees codes alone: in their list no treatment, block or order.
func TestWeighersListIsBlind(t *testing.T) {
	var b bytes.Buffer
	if err := sheetsForTest(t, 4).WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	_, list, ok := strings.Cut(b.String(), "Weigher's list")
	if !ok {
		t.Fatal("no list")
	}
	list, _, _ = strings.Cut(list, "</section>")
	for _, never := range []string{"salted late", "early", "B01", "burner"} {
		if strings.Contains(list, never) {
			t.Errorf("the weigher's list shows %q", never)
		}
	}
}

func TestSheetsAsPDFOnBothPapers(t *testing.T) {
	sh := sheetsForTest(t, 6)
	for _, p := range []Paper{A4, Letter} {
		var a, b bytes.Buffer
		if err := sh.WritePDF(&a, p); err != nil {
			t.Fatal(err)
		}
		if err := sh.WritePDF(&b, p); err != nil {
			t.Fatal(err)
		}
		if !bytes.HasPrefix(a.Bytes(), []byte("%PDF-")) || !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: not the same bytes twice", p)
		}
		// day sheet, run order, 12 cooks, weigher, shopping
		if n := bytes.Count(a.Bytes(), []byte("/Type /Page\n")); n != 16 {
			t.Errorf("%s: %d pages, want 16", p, n)
		}
	}
}

func TestSheetsKeepOneScaleOfDegrees(t *testing.T) {
	w := sheetWords{fahrenheit: true}
	if got := w.face(heat.Board{TempC: 23}); got != "board 73 °F" {
		t.Errorf("%q", got)
	}
	if got := (sheetWords{}).face(heat.Board{TempC: 23}); got != "board 23 °C" {
		t.Errorf("%q", got)
	}
}

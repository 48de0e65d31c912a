package heat

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
)

const chopFile = `piece:
  shape: slab
  thickness: 40 mm
  start: 5 °C
  food: pork top loin chop, lean
moisture: on
altitude: 0 m
legs:
  - name: sear
    bottom: {pan: 200 °C, contact: 400}
    top: {air: 25 °C, h: 8, humidity: 40 %, emissivity: 0.95}
    turn: {core_rise: +10 °F}
    ends_when: {core: 45 °C}
    also:
      - {from_turns_before_end: 2, top: {fat: 150 °C, film: 120, cover: 0.9}}
  - name: rest
    rest: true
    bottom: {board: 23 °C, h: 5}
    top: {air: 23 °C, h: 6, humidity: 40 %}
    ends_when: {time: 12 min}
output: {every: 5 s, depths: [0 mm, 10 mm, 20 mm]}
`

func ptr(v float64) *float64 { return &v }

func TestParseCook(t *testing.T) {
	c, err := ParseCook("chop.yaml", []byte(chopFile))
	if err != nil {
		t.Fatal(err)
	}
	want := Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.04, StartC: 5, Food: "pork top loin chop, lean"},
		Moisture: Moisture{On: true},
		Legs: []Leg{
			{Name: "sear", Bottom: Pan{TempC: 200, Contact: 400},
				Top:  Air{TempC: 25, H: ptr(8), Humidity: ptr(0.4), Emissivity: ptr(0.95)},
				Turn: &TurnRule{CoreRiseK: 10 / 1.8}, Ends: EndRule{CoreC: ptr(45)},
				Also: []Action{{FromTurnsBeforeEnd: 2, Top: FatFilm{FatC: 150, Film: 120, Cover: 0.9}}}},
			{Name: "rest", Rest: true, Bottom: Board{TempC: 23, H: 5}, Top: Air{TempC: 23, H: ptr(6), Humidity: ptr(0.4)},
				Ends: EndRule{TimeS: ptr(720)}},
		},
		Output: Output{EveryS: 5, DepthsM: []float64{0, 0.01, 0.02}},
	}
	if d := cmp.Diff(want, c.Spec); d != "" {
		t.Error(d)
	}
	if len(c.Uncertain) != 0 {
		t.Errorf("uncertain: %+v", c.Uncertain)
	}
}

func TestEveryKeyIsRead(t *testing.T) {
	src, err := os.ReadFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c, err := ParseCook("every-key.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(c.Uncertain); n != 4 {
		t.Fatalf("%d uncertain values: %+v", n, c.Uncertain)
	}
	draw := []float64{0.04, 0.06, 500, 9}
	s := c.At(draw)
	if s.Piece.ThicknessM != 0.04 || s.Piece.Composition.Fat != 0.06 || s.Legs[0].Bottom.(Pan).Contact != 500 || *s.Legs[0].Rim.(Air).H != 9 {
		t.Errorf("a draw did not reach the specification: %+v", s)
	}
	if got := c.Spec.Legs[0].Rim.(Air); *got.H != 12 {
		t.Errorf("central value of a range is %v", *got.H)
	}
	if _, ok := c.Spec.Legs[0].Also[0].Top.(FatFilm).Under.(Air); !ok {
		t.Error("the face under the fat was not read")
	}
	if p := c.Spec.Legs[0].Also[1].Bottom.(Pan).Plate; p == nil || *p.SetC != 200 || p.HeatCapacity != 16600 {
		t.Errorf("plate: %+v", p)
	}
}

// An error names line, column, field, the value as written and what would be
// right. Each case changes one thing in the chop's file.
func TestErrorsSayWhereAndWhat(t *testing.T) {
	for _, c := range []struct {
		name, from, to string
		code           string
		line           int
		field, fix     string // fix: a part of it
	}{
		{"negative size", "40 mm", "-40 mm", "negative", 3, "piece.thickness", "minus"},
		{"absurd size", "40 mm", "40 m", "out-of-range", 3, "piece.thickness", "500 mm"},
		{"no unit", "40 mm", "40", "no-unit", 3, "piece.thickness", "38 mm"},
		{"mass for a length", "40 mm", "40 g", "wrong-kind", 3, "piece.thickness", "38 mm"},
		{"pan colder than the food", "pan: 200 °C", "pan: 4 °C", "pan-colder", 10, "legs[0].bottom.pan", "unit"},
		{"humidity of 140 %", "humidity: 40 %, emissivity", "humidity: 140 %, emissivity", "out-of-range", 11, "legs[0].top.humidity", "100 %"},
		{"bare humidity", "humidity: 40 %, emissivity", "humidity: 40, emissivity", "no-unit", 11, "legs[0].top.humidity", "40 %"},
		{"unknown food", "pork top loin chop, lean", "pork top lion chop, lean", "heat-food", 5, "piece.food", "pork top loin chop, lean"},
		{"missing face", "    bottom: {pan: 200 °C, contact: 400}\n", "", "missing-face", 9, "legs[0].bottom", "bottom: {pan"},
		{"unknown key", "thickness:", "thickess:", "unknown-key", 3, "piece", "thickness"},
		{"unknown face key", "contact: 400", "contct: 400", "unknown-key", 10, "legs[0].bottom", "contact"},
		{"unknown face", "{pan: 200 °C, contact: 400}", "{pann: 200 °C}", "face-form", 10, "legs[0].bottom", "pan"},
		{"two faces in one", "{pan: 200 °C, contact: 400}", "{pan: 200 °C, air: 25 °C}", "face-form", 10, "legs[0].bottom", "keep one"},
		{"percent of a temperature", "pan: 200 °C", "pan: 200 °C ± 5 %", "percent-of-temperature", 10, "legs[0].bottom.pan", "± 2 °C"},
		{"percent for a thickness", "40 mm", "40 %", "wrong-kind", 3, "piece.thickness", "38 mm"},
		{"difference for a temperature", "core: 45 °C", "core: +45 °C", "difference-not-temperature", 13, "legs[0].ends_when.core", "plus"},
		{"temperature for a difference", "+10 °F", "10 °F", "temperature-not-difference", 12, "legs[0].turn.core_rise", "+10 °F"},
		{"unit on a coefficient", "contact: 400", "contact: 400 W", "bare-number", 10, "legs[0].bottom.contact", "W/(m²·K)"},
		{"coefficient of zero", "contact: 400", "contact: 0", "out-of-range", 10, "legs[0].bottom.contact", "above 0"},
		{"not a number", "contact: 400", "contact: .nan", "not-a-number", 10, "legs[0].bottom.contact", ""},
		{"falling range", "contact: 400", "contact: [500, 300]", "range-form", 10, "legs[0].bottom.contact", "smaller end first"},
		{"range of three", "contact: 400", "contact: [1, 2, 3]", "range-form", 10, "legs[0].bottom.contact", "[300, 500]"},
		{"diameter of a slab", "start: 5 °C", "start: 5 °C\n  diameter: 70 mm", "cook-form", 5, "piece.diameter", "disc"},
		{"disc without diameter", "shape: slab", "shape: disc", "missing-key", 2, "piece.diameter", "70 mm"},
		{"unknown shape", "shape: slab", "shape: sphere", "unknown-shape", 2, "piece.shape", "slab"},
		{"two turning rules", "{core_rise: +10 °F}", "{core_rise: +10 °F, every: 1 min}", "cook-form", 12, "legs[0].turn", "every"},
		{"no end", "    ends_when: {core: 45 °C}\n", "", "missing-key", 9, "legs[0].ends_when", "core"},
		{"core below the start", "core: 45 °C", "core: 4 °C", "core-reached", 13, "legs[0].ends_when.core", "above"},
		{"half a turn", "before_end: 2", "before_end: 2.5", "cook-value", 15, "legs[0].also[0].from_turns_before_end", "whole"},
		{"depth outside", "20 mm]", "50 mm]", "depth-outside", 21, "output.depths[2]", "face"},
		{"frozen start", "start: 5 °C", "start: -18 °C", "out-of-range", 4, "piece.start", "not modelled"},
		{"moisture neither on nor off", "moisture: on", "moisture: maybe", "on-or-off", 6, "moisture", "on or off"},
		{"no value", "moisture: on", "moisture:", "cook-value", 6, "moisture", "leave the key out"},
		{"key twice", "moisture: on", "moisture: on\nmoisture: off", "yaml", 7, "", "brackets"},
		{"broken YAML", "{core: 45 °C}", "{core: 45 °C", "yaml", 0, "", ""},
		{"list for a mapping", "ends_when: {core: 45 °C}", "ends_when: [45 °C]", "cook-form", 13, "legs[0].ends_when", "time"},
		{"unmatched alias", "contact: 400", "contact: *c", "yaml", 10, "", ""},
		{"face inside itself", "{fat: 150 °C, film: 120, cover: 0.9}", "&f {fat: 150 °C, under: *f}", "face-form", 15, "legs[0].also[0].top.under.under", "below it"},
		{"high altitude", "altitude: 0 m", "altitude: 12 km", "unknown-unit", 7, "altitude", "38 mm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			src := strings.Replace(chopFile, c.from, c.to, 1)
			if src == chopFile {
				t.Fatal("the case changes nothing")
			}
			cook, err := ParseCook("chop.yaml", []byte(src))
			if err == nil {
				t.Fatalf("accepted: %+v", cook.Spec)
			}
			e := fault.As(err)
			if e == nil {
				t.Fatalf("not a fault: %v", err)
			}
			if string(e.Code) != c.code || c.line > 0 && e.Line != c.line || e.Field != c.field || e.File != "chop.yaml" || !strings.Contains(e.Fix, c.fix) {
				t.Errorf("got %s line %d field %q fix %q\n%v", e.Code, e.Line, e.Field, e.Fix, err)
			}
			if e.Line > 0 && e.Column == 0 {
				t.Errorf("no column: %v", err)
			}
		})
	}
}

// What only a run finds out is told with its place in the file too.
func TestErrorsOfARunAreLocated(t *testing.T) {
	src := strings.NewReplacer("pan: 200 °C", "pan: 42 °C", "    turn: {core_rise: +10 °F}\n", "",
		"    also:\n      - {from_turns_before_end: 2, top: {fat: 150 °C, film: 120, cover: 0.9}}\n", "").Replace(chopFile)
	cook, err := ParseCook("chop.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	_, err = Simulate(&cook.Spec, Options{})
	e := fault.As(cook.Locate(err))
	if e == nil || e.Code != "heat-never-ends" {
		t.Fatalf("got %v", err)
	}
	if e.File != "chop.yaml" || e.Line != 12 || e.Column == 0 || e.Value != "45.0 °C" || !strings.Contains(e.Message, "the core settles at ") {
		t.Errorf("got %v", e)
	}
	if err := errors.New("another"); cook.Locate(err) != err {
		t.Error("an error of another kind was changed")
	}
}

func TestAllErrorsInOnePass(t *testing.T) {
	src := strings.NewReplacer("40 mm", "40", "pan: 200", "pann: 200", "h: 5", "h: -5").Replace(chopFile)
	_, err := ParseCook("chop.yaml", []byte(src))
	var l fault.List
	if !errors.As(err, &l) || len(l) < 3 {
		t.Errorf("want three errors, got %v", err)
	}
	const want = `chop.yaml:3:14, piece.thickness: a length needs a unit (got "40"); write it with its unit, such as "38 mm" or "1 1/2 in"`
	if l[0].Error() != want {
		t.Errorf("got  %s\nwant %s", l[0], want)
	}
}

func TestEmptyAndHostile(t *testing.T) {
	for name, src := range map[string]string{
		"empty": "", "comment": "# nothing\n", "scalar": "chop", "list": "- a\n- b\n", "two documents": chopFile + "---\n" + chopFile,
		"deep": strings.Repeat("{a: ", 200) + strings.Repeat("}", 200), "self alias": "a: &a [*a]\n", "null": "~",
		"long": "a: " + strings.Repeat("x", longestCook), "nul": "a\x00b: 1",
	} {
		if _, err := ParseCook(name, []byte(src)); fault.As(err) == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func canonJSON(t *testing.T, src string) string {
	t.Helper()
	m, err := CanonicalCook("chop.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Comments, the order of keys, anchors and the spelling of units do not
// change the canonical form; values do.
func TestCanonicalForm(t *testing.T) {
	want := canonJSON(t, chopFile)
	for name, change := range map[string][]string{
		"comment":      {"moisture: on", "# a remark\nmoisture: on # another"},
		"true":         {"moisture: on", "moisture: true"},
		"default":      {"  shape: slab\n", ""},
		"units":        {"40 mm", "4 cm"},
		"fahrenheit":   {"start: 5 °C", "start: 41 °F"},
		"order":        {"{pan: 200 °C, contact: 400}", "{contact: 400.0, pan: 392 °F}"},
		"seconds":      {"time: 12 min", "time: 12:00"},
		"kelvins":      {"+10 °F", "5.55555555555556 K"},
		"food's case":  {"pork top loin chop, lean", "Pork top loin chop lean, raw"},
		"block styles": {"moisture: on\naltitude: 0 m\n", "altitude: 0 ft\nmoisture: on\n"},
		"anchor":       {"{pan: 200 °C, contact: 400}", "&pan {pan: 200 °C, contact: 400}"},
	} {
		src := strings.Replace(chopFile, change[0], change[1], 1)
		if src == chopFile {
			t.Fatalf("%s changes nothing", name)
		}
		if got := canonJSON(t, src); got != want {
			t.Errorf("%s changes the canonical form:\n%s", name, cmp.Diff(want, got))
		}
	}
	for name, change := range map[string][]string{
		"value": {"40 mm", "41 mm"}, "moisture": {"moisture: on", "moisture: off"}, "spread": {"contact: 400", "contact: 400 ± 80"},
		"leg's name": {"name: sear", "name: brown"}, "range": {"contact: 400", "contact: [300, 500]"},
	} {
		if canonJSON(t, strings.Replace(chopFile, change[0], change[1], 1)) == want {
			t.Errorf("%s does not change the canonical form", name)
		}
	}
	if !strings.Contains(want, `"thickness_m":0.04`) {
		t.Errorf("units are not named: %s", want)
	}
}

func TestUncertainValues(t *testing.T) {
	src := strings.NewReplacer("contact: 400", "contact: &c 400 ± 20 %", "h: 8", "h: [6, 12]", "h: 5}", "h: 5}").Replace(chopFile)
	src = strings.Replace(src, "start: 5 °C", "start: 5 °C ± 1 °C", 1)
	c, err := ParseCook("chop.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	want := []Uncertain{
		{Field: "piece.start", Text: "5 °C ± 1 °C", Line: 4, Column: 10, Normal: true, A: 5, B: 1, Lo: -1, Hi: 99},
		{Field: "legs[0].bottom.contact", Text: "400 ± 20 %", Line: 10, Normal: true, A: 400, B: 80, Lo: 0, Hi: 50000},
		{Field: "legs[0].top.h", Text: "[6, 12]", Line: 11, A: 6, B: 12, Lo: 0, Hi: 50000},
	}
	for i := range c.Uncertain {
		if i > 0 {
			c.Uncertain[i].Column = 0
		}
	}
	if d := cmp.Diff(want, c.Uncertain); d != "" {
		t.Error(d)
	}
}

// An alias is the very same value: it is drawn once.
func TestAliasIsOneValue(t *testing.T) {
	src := strings.Replace(chopFile, "h: 8,", "h: &h 8 ± 1,", 1)
	src = strings.Replace(src, "h: 6,", "h: *h,", 1)
	c, err := ParseCook("chop.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Uncertain) != 1 {
		t.Fatalf("%d uncertain values", len(c.Uncertain))
	}
	s := c.At([]float64{7.5})
	if *s.Legs[0].Top.(Air).H != 7.5 || *s.Legs[1].Top.(Air).H != 7.5 {
		t.Error("the draw did not reach both uses")
	}
}

func FuzzParseCook(f *testing.F) {
	f.Add([]byte(chopFile))
	if src, err := os.ReadFile("testdata/every-key.yaml"); err == nil {
		f.Add(src)
	}
	for _, s := range []string{"", "a: {", "piece: 1", "legs: [{}]", "piece: {start: [[1 mm, 2 °C]]}", "x: &x {a: *x}", "legs: [{bottom: insulated, top: {fat: 1 °C, under: {fat: 1 °C}}}]", "legs: [{top: &f {fat: 1 °C, under: *f}}]"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		c, err := ParseCook("f.yaml", src)
		if err != nil {
			if fault.As(err) == nil {
				t.Fatalf("not a fault: %v", err)
			}
			return
		}
		for _, u := range c.Uncertain {
			if v := u.Central(); math.IsNaN(v) || v < u.Lo || v > u.Hi {
				t.Fatalf("%s has central value %v", u.Field, v)
			}
		}
		if _, err := json.Marshal(c.Canonical()); err != nil {
			t.Fatal(err)
		}
	})
}

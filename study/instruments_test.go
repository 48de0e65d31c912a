package study

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The register of instruments is read, accepted by the schema, and written
// back as it was.
func TestInstruments(t *testing.T) {
	const doc = `study: T
instruments:
  - {id: probe-1, what: eight sensors, class: T special, checked: 2026-02-27, ice: [0.3 °C, 0.4 °C], boil: 98.9 °C, altitude: 500 m}
  - {id: scale-1, mass: 500 g, read: 500.4 g, note: tared before each piece}
  - {id: pan-1, class: K class 1, pan: pressed to the middle of its floor, lag: 6 s, stem: {length: 40 mm, diameter: 3 mm, conductivity: 16, film: 200, handle: 30 °C}}
`
	handle := 30.0
	want := []Instrument{
		{ID: "probe-1", What: "eight sensors", Class: "T special", Checked: "2026-02-27", IceC: []float64{0.3, 0.4}, BoilC: []float64{98.9}, AltitudeM: 500},
		{ID: "scale-1", MassKg: 0.5, ReadKg: 0.5004, Note: "tared before each piece"},
		{ID: "pan-1", Class: "K class 1", Pan: "pressed to the middle of its floor", LagS: 6, Stem: &Stem{LengthM: 0.04, DiameterM: 0.003, ConductivityWMK: 16, FilmWM2K: 200, HandleC: &handle}},
	}
	s, err := Parse("study.yaml", []byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, s.Instruments); d != "" {
		t.Error(d)
	}
	if v, err := asJSON(t, []byte(doc)); err != nil || compiled(t).Validate(v) != nil {
		t.Errorf("the schema refuses it: %v %v", err, compiled(t).Validate(v))
	}
	b, err := Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	back, err := Parse("study.yaml", b)
	if err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	if d := cmp.Diff(want, back.Instruments); d != "" {
		t.Errorf("%s\n%s", d, b)
	}
	for _, wrong := range []string{"{id: x, ice: 5 g}", "{id: x, lag: 5 mm}", "{id: x, stem: {length: 40 mm}}", "{id: x, stem: {length: 40 mm, diameter: 0 mm, conductivity: 16, film: 200}}"} {
		if _, err := Parse("study.yaml", []byte("study: T\ninstruments:\n  - "+wrong+"\n")); err == nil {
			t.Errorf("%s is accepted", wrong)
		}
	}
}

// What a person forgets about instruments is told by the check.
func TestInstrumentsAreChecked(t *testing.T) {
	for _, tc := range []struct{ line, code string }{
		{"{id: p, class: T specl, ice: 0.1 °C}", "class-unknown"},
		{"{id: p, class: T special, ice: 12 °C}", "ice-far"},
		{"{id: p, class: T special, boil: 95 °C}", "boil-low"},
		{"{id: p, class: T special, boil: 98.4 °C}", "boil-low"},
		{"{id: p, class: T special, boil: 60 °C, altitude: 500 m}", "boil-far"},
		{"{id: p, class: T special, ice: [0.1 °C, 2.3 °C]}", "check-scatters"},
		{"{id: s, mass: 500 g, read: 700 g}", "mass-far"},
		{"{id: p, class: T special}", "not-checked"},
		{"{id: s, mass: 500 g}", "mass-half"},
		{"{id: p, class: T special, ice: 0.1 °C}", "pan-how"},
		{"{id: p, class: T special, ice: 0.1 °C, boil: 95 °C, altitude: 1500 m, pan: pressed to its floor}", ""},
	} {
		s, err := Parse("study.yaml", []byte("study: T\ncontrolled: {pan: 200 °C ± 5 °C}\ninstruments:\n  - "+tc.line+"\n"))
		if err != nil {
			t.Fatal(err)
		}
		found := ""
		for _, f := range Check(s, nil) {
			if strings.HasPrefix(f.Where, "instruments") && (found == "" || string(f.Code) == tc.code) {
				found = string(f.Code)
			}
		}
		if found != tc.code {
			t.Errorf("%s: %q, want %q", tc.line, found, tc.code)
		}
	}
}

package study

import (
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
`
	want := []Instrument{
		{ID: "probe-1", What: "eight sensors", Class: "T special", Checked: "2026-02-27", IceC: []float64{0.3, 0.4}, BoilC: []float64{98.9}, AltitudeM: 500},
		{ID: "scale-1", MassKg: 0.5, ReadKg: 0.5004, Note: "tared before each piece"},
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
	if _, err := Parse("study.yaml", []byte("study: T\ninstruments:\n  - {id: x, ice: 5 g}\n")); err == nil {
		t.Error("a mass is no reading in ice")
	}
}

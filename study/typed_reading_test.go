package study_test

import (
	"math"
	"testing"

	"trivet/fault"
	"trivet/study"
)

func TestTypedReading(t *testing.T) {
	celsius := study.ReadingDef{ID: "core_by_hand", Kind: study.Number, Unit: "°C"}
	newtons := study.ReadingDef{ID: "shear_force", Kind: study.Number, Unit: "N"}
	wide := study.ReadingDef{ID: "width", Kind: study.Number, Unit: "mm"}
	least, most := 0.0, 60.0
	between := study.ReadingDef{ID: "force", Kind: study.Number, Unit: "N", Least: &least, Most: &most}
	warm := study.ReadingDef{ID: "core_by_hand", Kind: study.Number, Unit: "°C", Least: &least, Most: &most}
	crust := study.ReadingDef{ID: "crust", Kind: study.Grade, Scale: []string{"pale", "golden", "brown"}}
	for _, c := range []struct {
		name       string
		def        study.ReadingDef
		text, bare string
		want       []float64
		u          float64
	}{
		{"one value", celsius, "61.5 °C", "", []float64{61.5}, 0},
		{"a value of the other scale", celsius, "142 °F", "", []float64{61.111111}, 0},
		{"a bare number on the person's scale", celsius, "142", "°F", []float64{61.111111}, 0},
		{"a bare number in the reading's unit", celsius, "61.5", "", []float64{61.5}, 0},
		{"an uncertainty of the other scale", celsius, "142 °F ± 1.8 °F", "", []float64{61.111111}, 1},
		{"repeats", newtons, "31.2; 28.4 ;\n33 N", "", []float64{31.2, 28.4, 33}, 0},
		{"inches", wide, "1.5 in; 1 1/2 in; 38 mm", "", []float64{38.1, 38.1, 38}, 0},
		{"a grade", crust, "golden", "", []float64{2}, 0},
		{"yes", study.ReadingDef{ID: "x", Kind: study.YesNo}, "yes", "", []float64{1}, 0},
		{"within its limits", between, "0; 60 N", "", []float64{0, 60}, 0},
		{"within them on the other scale", warm, "100 °F", "", []float64{37.777778}, 0},
		{"a count", study.ReadingDef{ID: "x", Kind: study.Count}, "3", "", []float64{3}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := study.TypedReading(c.def, c.text, c.bare)
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Values) != len(c.want) || math.Abs(got.StdU-c.u) > 1e-6 || got.Unit != c.def.Unit || got.Response != c.def.ID {
				t.Fatalf("%+v", got)
			}
			for i, v := range got.Values {
				if math.Abs(v-c.want[i]) > 1e-6 {
					t.Errorf("value %d is %v, want %v", i, v, c.want[i])
				}
			}
		})
	}
	for _, c := range []struct {
		name string
		def  study.ReadingDef
		text string
		code fault.Code
	}{
		{"nothing", celsius, " ; ", "missing-value"},
		{"a word", celsius, "hot", "not-a-number"},
		{"another kind of thing", celsius, "61 mm", "unit-differs"},
		{"off the scale", crust, "burnt", "unknown-grade"},
		{"a slip of the pen", between, "38; 380", "outside-limits"},
		{"a slip on the other scale", warm, "200 °F", "outside-limits"},
		{"half a count", study.ReadingDef{ID: "x", Kind: study.Count}, "2.5", "not-a-count"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := study.TypedReading(c.def, c.text, "")
			if f := fault.As(err); f == nil || f.Code != c.code || f.Fix == "" {
				t.Errorf("got %v", err)
			}
		})
	}
}

package heat

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/doneness"
)

// A face held at 62 °C gathers the dose of 62 °C, to the moment; every cell
// lags behind it; and a moment asked for equals the end of a cook that stops
// there.
func TestDoneField(t *testing.T) {
	held := func(seconds float64) (*Result, *DoneField) {
		spec := &Spec{
			Piece: Piece{Shape: Slab, ThicknessM: 0.02, StartC: 5, Material: Material{Conductivity: 0.5, Density: 1050, SpecificHeat: 3500}},
			Legs: []Leg{
				{Name: "heat", Bottom: FixedTemperature{TempC: 62}, Top: FixedTemperature{TempC: 62}, Ends: EndRule{TimeS: ptr(seconds)}},
				{Name: "rest", Rest: true, Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: ptr(300)}},
			},
		}
		f := NewDoneField(doneness.For(doneness.Beef), spec, 400, 5000)
		res, err := Simulate(spec, Options{Observer: f})
		if err != nil {
			t.Fatal(err)
		}
		return res, f
	}
	res, f := held(900)
	mb := doneness.Myoglobin()
	if f.Pull == nil || math.Abs(f.Pull.TimeS-900) > 1e-6 || math.Abs(f.End.TimeS-1200) > 1e-6 {
		t.Fatalf("pull %+v, end %v", f.Pull, f.End.TimeS)
	}
	// The very first step starts the face below 62 °C.
	want := mb.Dose(62, 62, 900)
	if got := f.Pull.FaceA.Myoglobin; got > want || got < want*0.99 {
		t.Errorf("dose of the face %v, want just below %v", got, want)
	}
	n := len(res.Grid.DepthsM)
	for i := 1; i <= n/2; i++ {
		if f.Pull.State[i].Myoglobin > f.Pull.State[i-1].Myoglobin*1.001 {
			t.Fatalf("cell %d is ahead of its outer neighbour", i)
		}
	}
	if d := math.Abs(f.Pull.State[0].Myosin - f.Pull.State[n-1].Myosin); d > 1e-6*f.Pull.State[0].Myosin {
		t.Errorf("both sides should match, they differ by %v", d)
	}
	if len(f.Asked) != 1 || f.Asked[0].TimeS != 400 {
		t.Fatalf("asked moments %+v", f.Asked)
	}
	_, short := held(400)
	for i := range n {
		a, b := f.Asked[0].State[i].Actin, short.Pull.State[i].Actin
		// Steps do not stop at 400 s here, and a step counts as linear: 0.1 K.
		if math.Abs(a-b) > 0.03*b+1e-12 {
			t.Errorf("cell %d at 400 s: %v in passing, %v when the cook stops there", i, a, b)
		}
	}
}

func TestFamilyOfEveryFood(t *testing.T) {
	for _, f := range Foods {
		got := FamilyOf(Piece{Food: f.Name})
		muscle := f.Class == Meat || f.Class == Fish
		if (got != doneness.Plain) != muscle {
			t.Errorf("%s is of family %s", f.Name, got)
		}
		if slices.Contains(foodWords(f.Name), "pork") && got != doneness.Pork {
			t.Errorf("%s is of family %s", f.Name, got)
		}
	}
	if FamilyOf(Piece{}) != doneness.Plain {
		t.Error("a nameless material has a family")
	}
}

var updateGolden = flag.Bool("update-cook", false, "rewrite the golden canonical form")

// Seals hash the canonical form: it must never change by accident.
func TestCanonicalFormIsFixed(t *testing.T) {
	src, err := os.ReadFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := CanonicalCook("every-key.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	got, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	const golden = "testdata/every-key.canonical.json"
	if *updateGolden {
		if err := os.WriteFile(golden, append(got, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), string(got)+"\n"); d != "" {
		t.Errorf("raise CookFormat when this is meant:\n%s", d)
	}
}

package heat

import (
	"errors"
	"math"
	"strings"
	"testing"

	"trivet/fault"
)

// within fails unless got is inside want ± tol.
func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}

// Values computed independently of this package from the fits of Choi & Okos
// 1986 as printed in ASHRAE Handbook—Refrigeration 2006, ch. 9, tables 1–2,
// and the mixing rules of the same chapter.
func TestChoiOkos(t *testing.T) {
	lean := Composition{Water: .740, Protein: .215, Fat: .030, Ash: .011}
	food := func(name string) Composition {
		f, err := FindFood(name)
		if err != nil {
			t.Fatal(err)
		}
		return f.Composition
	}
	for _, c := range []struct {
		name                    string
		comp                    Composition
		t                       float64
		rho, cp, kPar, kPerp, k float64 // 0: not in the table
	}{
		{"protein", Composition{Protein: 1}, 60, 1298.80, 2076.0, 0.2408, 0, 0},
		{"fat", Composition{Fat: 1}, 60, 900.54, 2055.3, 0.1635, 0, 0},
		{"carbohydrate", Composition{Carbohydrate: 1}, 60, 1580.47, 1645.2, 0.2691, 0, 0},
		{"fibre", Composition{Fibre: 1}, 60, 1289.55, 1939.0, 0.2469, 0, 0},
		{"ash", Composition{Ash: 1}, 60, 2406.96, 1192.7, 0.4032, 0, 0},
		{"water", Composition{Water: 1}, 20, 995.74, 4129.3, 0.6037, 0.6037, 0.6037},
		{"lean beef 20", lean, 20, 1055.80, 3579.6, 0.5182, 0.4214, 0.4999},
		{"lean beef 60", lean, 60, 1042.30, 3601.5, 0.5631, 0.4650, 0.5446},
		{"lean beef 100", lean, 100, 1018.76, 3634.8, 0.5904, 0.4917, 0.5722},
		{"ribeye 20", food("beef ribeye lip-on, lean"), 20, 1051.6, 3482.5, 0.4958, 0.3869, 0.4742},
		{"ribeye 60", food("beef ribeye lip-on, lean"), 60, 1037.8, 3505.7, 0.5375, 0.4185, 0.5146},
		{"ground beef 20", food("ground beef 80/20"), 20, 1026.5, 3320.0, 0.4531, 0.3322, 0.4270},
		{"pork chop 20", food("pork top loin chop, lean"), 20, 1057.2, 3555.2, 0.5133, 0.4139, 0.4943},
		{"pork chop 60", food("pork top loin chop, lean"), 60, 1043.6, 3577.4, 0.5578, 0.4563, 0.5385},
		{"chicken 60", food("chicken breast"), 60, 1041.6, 3620.3, 0.5673, 0.4726, 0.5495},
		{"salmon 20", food("salmon, farmed"), 20, 1043.0, 3381.9, 0.4720, 0.3552, 0.4477},
		{"egg 60", food("egg, whole"), 60, 1014.9, 3635.7, 0.5570, 0.4357, 0.5356},
		{"potato 20", food("potato, flesh and skin"), 20, 1074.9, 3614.7, 0.5494, 0.4853, 0.5375},
		{"potato 60", food("potato, flesh and skin"), 60, 1062.5, 3637.7, 0.5974, 0.5392, 0.5861},
	} {
		for _, v := range []struct {
			what      string
			got, want float64
		}{
			{"density", c.comp.Density(c.t), c.rho},
			{"specific heat", c.comp.SpecificHeat(c.t), c.cp},
			{"parallel k", c.comp.Conductivity(c.t, Parallel), c.kPar},
			{"perpendicular k", c.comp.Conductivity(c.t, Perpendicular), c.kPerp},
			{"Maxwell–Eucken k", c.comp.Conductivity(c.t, ""), c.k},
		} {
			if v.want != 0 {
				// 0.05 %, or half of the last printed digit.
				within(t, c.name+" "+v.what, v.got, v.want, math.Max(0.0005*v.want, 0.00006))
			}
		}
	}
	within(t, "EMT k of lean beef at 20", lean.Conductivity(20, EffectiveMedium), 0.4968, 0.0001)
	within(t, "EMT k of lean beef at 100", lean.Conductivity(100, EffectiveMedium), 0.5695, 0.0001)
}

// ASHRAE Handbook—Refrigeration, ch. 9, table 3, specific heat above freezing
// (printed in Btu/(lb·°F)). The table rests on an older formula than the
// fits; they differ by up to 3 %.
func TestSpecificHeatAgainstHandbook(t *testing.T) {
	for _, c := range []struct {
		name string
		comp Composition
		want float64
	}{
		{"beef sirloin, lean", Composition{Water: 71.70, Protein: 21.24, Fat: 4.40, Ash: 1.08}, 3520},
		{"carrot", Composition{Water: 87.79, Protein: 1.03, Fat: .19, Carbohydrate: 10.14 - 3.0, Fibre: 3.0, Ash: .87}, 3920},
		{"garlic", Composition{Water: 58.58, Protein: 6.36, Fat: .50, Carbohydrate: 33.07 - 2.1, Fibre: 2.1, Ash: 1.50}, 3170},
	} {
		within(t, c.name, c.comp.SpecificHeat(10), c.want, 0.03*c.want)
	}
}

// Pan & Singh 2001 (LWT 34:437–444): ground beef with 23.8 % fat, k
// 0.35–0.41 W/(m·K) and density 1006–1033 kg/m³. The perpendicular and
// Maxwell–Eucken rules must enclose the measured range's middle.
func TestGroundBeefConductivity(t *testing.T) {
	c := Composition{Water: 59, Protein: 16.3, Fat: 23.8, Ash: 0.8}
	const middle = 0.38
	if lo, hi := c.Conductivity(30, Perpendicular), c.Conductivity(30, MaxwellEucken); lo > middle || hi < middle {
		t.Errorf("k between %.3f and %.3f does not enclose %.2f", lo, hi, middle)
	}
	if r := c.Density(30); r < 1006 || r > 1033 {
		t.Errorf("density %.0f outside 1006–1033", r)
	}
}

func TestFindFood(t *testing.T) {
	for _, name := range []string{"pork top loin chop, lean", "Pork Top Loin Chop lean, raw", "POTATO flesh and skin"} {
		if _, err := FindFood(name); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
	for _, c := range []struct{ ask, offers string }{
		{"pork chop", "pork top loin chop, lean"},
		{"chiken breast", "chicken breast"},
		{"ribeye", "beef ribeye lip-on, lean"},
		{"salmom", "salmon"},
	} {
		_, err := FindFood(c.ask)
		var e *fault.Error
		if !errors.As(err, &e) || !strings.Contains(e.Fix, c.offers) {
			t.Errorf("%q: %v, want an offer of %q", c.ask, err, c.offers)
		}
	}
	if len(Foods) < 25 {
		t.Errorf("%d foods", len(Foods))
	}
	for _, f := range Foods {
		if err := f.Composition.Check(); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
		sum := 0.0
		for _, x := range f.Composition.array() {
			sum += x
		}
		if sum < 96 || sum > 103 {
			t.Errorf("%s sums to %.1f", f.Name, sum)
		}
	}
}

package stats

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"trivet/fault"
)

// The F tests of power_reference.csv: R 4.2.2 (pf with ncp) for complete
// blocks and factorials, pwr 1.3-0 for one-way layouts. d is Cohen's f,
// Στ² = t f², and for a factorial the difference of its two means, σ = 1.
func TestPowerOfLayoutsAgainstReference(t *testing.T) {
	rows, col := readCSV(t, "power_reference.csv")
	seen := map[string]int{}
	for _, r := range rows {
		num := func(name string) float64 { x, _ := strconv.ParseFloat(r[col[name]], 64); return x }
		kind, alpha, d, n := r[col["kind"]], num("alpha"), num("d"), int(num("n"))
		after := func(mark string) int {
			_, s, _ := strings.Cut(kind, mark)
			k, _ := strconv.Atoi(s[:1])
			return k
		}
		// effects of two opposite treatments with Στ² = t f²
		effects := func(k int) []float64 {
			tau := make([]float64, k)
			tau[0] = d * math.Sqrt(float64(k)/2)
			tau[1] = -tau[0]
			return tau
		}
		var got float64
		name, _, _ := strings.Cut(kind, " ")
		switch {
		case strings.HasPrefix(kind, "RCBD_F"):
			k := after("t=")
			got = RandomisedBlocks(k, n).Power(effects(k), 1, alpha)
		case strings.HasPrefix(kind, "one_way_F"):
			k := after("k=")
			got = OneWay(k, n).Power(effects(k), 1, alpha)
		case strings.HasPrefix(kind, "factorial_2^"):
			k := after("2^")
			got = TwoLevelFactorial(n, float64(n-1-k)).Power([]float64{d / 2, -d / 2}, 1, alpha)
		case strings.HasPrefix(kind, "paired half-width"):
			name = "precision"
			got = float64(Precision(1, d, alpha))
		default:
			continue
		}
		seen[name]++
		if want := num("value"); math.Abs(got-want) > 1e-8 {
			t.Errorf("%s %s d %v n %d: %.12g, want %.12g", r[0], kind, d, n, got, want)
		}
	}
	for name, want := range map[string]int{"RCBD_F": 57, "one_way_F": 15, "factorial_2^2": 13, "factorial_2^3": 12, "factorial_2^4": 13, "precision": 3} {
		if seen[name] != want {
			t.Errorf("%d rows of %s, want %d", seen[name], name, want)
		}
	}
}

// Sizes of power_reference.csv through the question a cook asks.
func TestSizingAgainstReference(t *testing.T) {
	rows, col := readCSV(t, "power_reference.csv")
	seen := 0
	for _, r := range rows {
		num := func(name string) float64 { x, _ := strconv.ParseFloat(r[col[name]], 64); return x }
		if q := r[col["quantity"]]; q != "n_pairs" && q != "n_per_group" || r[col["target"]] == "" {
			continue
		}
		q := Sizing{Alpha: num("alpha"), Power: num("target"), SD: 1, Design: Paired}
		theta := num("theta")
		switch kind := r[col["kind"]]; {
		case strings.HasPrefix(kind, "two_sample_t"):
			q.Design, q.Test, q.Margin = TwoSample, TestDifference, num("d")
		case strings.HasPrefix(kind, "paired_t"):
			q.Test, q.Margin = TestDifference, num("d")
		case strings.HasPrefix(kind, "paired_min_effect"): // α one-sided there, two-sided here
			theta = 1 + num("d")
			q.Test, q.Margin, q.TrueEffect, q.Alpha = TestMinimumEffect, 1, &theta, 2*q.Alpha
		default:
			q.Test, q.Margin, q.TrueEffect = TestEquivalence, num("margin"), &theta
			if strings.HasPrefix(kind, "two_sample") {
				q.Design = TwoSample
			}
		}
		seen++
		got, err := q.Smallest()
		if err != nil || float64(got.Blocks) != num("value") {
			t.Errorf("%v: %d blocks (%v)", r, got.Blocks, err)
		}
		if got.Power < q.Power {
			t.Errorf("%v: power %v at %d blocks", r, got.Power, got.Blocks)
		}
	}
	if seen != 97 {
		t.Errorf("%d rows, want 97", seen)
	}
}

// Two treatments in complete blocks are pairs: the SD of a difference is √2
// of the SD within blocks.
func TestTwoTreatmentsInBlocksArePairs(t *testing.T) {
	a, err := Sizing{Test: TestDifference, Design: RCB, SD: 1.3, Margin: 1}.Smallest()
	b, err2 := Sizing{Test: TestDifference, Design: Paired, SD: 1.3 * math.Sqrt2, Margin: 1}.Smallest()
	if err != nil || err2 != nil || a.Blocks != b.Blocks || math.Abs(a.Power-b.Power) > 1e-12 {
		t.Errorf("blocks %+v (%v), pairs %+v (%v)", a, err, b, err2)
	}
}

func TestSizingRefusesWhatNoNumberOfBlocksCanShow(t *testing.T) {
	x := func(v float64) *float64 { return &v }
	for _, tc := range []struct {
		name string
		q    Sizing
		code fault.Code
	}{
		{"no scatter", Sizing{Test: TestDifference, Design: Paired, Margin: 1}, "sd-range"},
		{"a scatter that is no number", Sizing{Test: TestDifference, Design: Paired, Margin: 1, SD: math.NaN()}, "sd-range"},
		{"no margin", Sizing{Test: TestDifference, Design: Paired, SD: 1}, "margin-range"},
		{"minimum effect without a true effect", Sizing{Test: TestMinimumEffect, Design: Paired, SD: 1, Margin: 1}, "true-effect-missing"},
		{"minimum effect at the margin", Sizing{Test: TestMinimumEffect, Design: Paired, SD: 1, Margin: 1, TrueEffect: x(1)}, "true-effect-range"},
		{"equivalence at the margin", Sizing{Test: TestEquivalence, Design: Paired, SD: 1, Margin: 1, TrueEffect: x(-1)}, "true-effect-range"},
		{"a power of one", Sizing{Test: TestDifference, Design: Paired, SD: 1, Margin: 1, Power: 1}, "power-range"},
		{"an unknown design", Sizing{Test: TestDifference, Design: "circle", SD: 1, Margin: 1}, "design-unknown"},
		{"an unknown test", Sizing{Test: "luck", Design: Paired, SD: 1, Margin: 1}, "test-unknown"},
		{"a margin far too fine", Sizing{Test: TestDifference, Design: Paired, SD: 1, Margin: 1e-4}, "size-beyond"},
	} {
		_, err := tc.q.Smallest()
		var f *fault.Error
		if !errors.As(err, &f) || f.Code != tc.code {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.code)
		}
	}
}

// With many pilot degrees of freedom the assurance is the power; with few it
// is lower where the power is high.
func TestAssuranceFallsWithASmallPilot(t *testing.T) {
	power := func(sd float64) float64 { return PowerDifference(1, sd/math.Sqrt(10), 9, 0.05) }
	if a, p := Assurance(0.9, 1e6, power), power(0.9); math.Abs(a-p) > 1e-5 {
		t.Errorf("a large pilot: %v, power %v", a, p)
	}
	if a := Assurance(0.9, 4, power); !(a < power(0.9)-0.05) {
		t.Errorf("a pilot of five pairs: %v, power %v", a, power(0.9))
	}
	// Power that is certain stays certain: the weights sum to one.
	if a := Assurance(1, 3, func(float64) float64 { return 1 }); math.Abs(a-1) > 1e-9 {
		t.Errorf("the weights sum to %v", a)
	}
}

// Latin squares, incomplete blocks: the variance of a difference and the error
// degrees of freedom against the design's own model, fitted. Treatment
// contrasts of a model with known design have SE = σ √(2/replication).
func TestLayoutsMatchFittedModels(t *testing.T) {
	for _, tc := range []struct {
		name   string
		layout Layout
		rows   [][]int // of each block, the treatment at each place; -1 none
		places bool    // places are a factor of the model
	}{
		{"4 × 4 square", LatinSquares(4, 1), [][]int{{0, 1, 2, 3}, {1, 2, 3, 0}, {2, 3, 0, 1}, {3, 0, 1, 2}}, true},
		{"four treatments in blocks of three", IncompleteBlocks(4, 3, 4), [][]int{{0, 1, 2}, {0, 1, 3}, {0, 2, 3}, {1, 2, 3}}, false},
		{"seven treatments in blocks of three", IncompleteBlocks(7, 3, 7), [][]int{{0, 1, 3}, {1, 2, 4}, {2, 3, 5}, {3, 4, 6}, {4, 5, 0}, {5, 6, 1}, {6, 0, 2}}, false},
		{"three treatments in five blocks", RandomisedBlocks(3, 5), [][]int{{0, 1, 2}, {0, 1, 2}, {0, 1, 2}, {0, 1, 2}, {0, 1, 2}}, false},
	} {
		s := NewStream("layout", tc.name, 0)
		var y []float64
		var block, place, treatment []string
		for b, row := range tc.rows {
			for p, tr := range row {
				y = append(y, s.Normal())
				block, place, treatment = append(block, strconv.Itoa(b)), append(place, strconv.Itoa(p)), append(treatment, strconv.Itoa(tr))
			}
		}
		spec := ModelSpec{Response: y, Blocks: "block", Fixed: []string{"treatment"}, Factors: []Column{{"block", block}, {"place", place}, {"treatment", treatment}}}
		if tc.places {
			spec.Fixed = []string{"place", "treatment"}
		}
		m, err := FitModel(spec)
		if err != nil {
			t.Fatal(err)
		}
		c, _, err := m.Against("treatment", "0", AdjustNone)
		if err != nil {
			t.Fatal(err)
		}
		if float64(m.DFResidual) != tc.layout.DF2 {
			t.Errorf("%s: %d error degrees of freedom, want %v", tc.name, m.DFResidual, tc.layout.DF2)
		}
		for _, x := range c {
			if want := tc.layout.SE(math.Sqrt(m.Sigma2)); math.Abs(x.SE-want) > 1e-10*want {
				t.Errorf("%s: SE %v, want %v", tc.name, x.SE, want)
			}
		}
	}
}

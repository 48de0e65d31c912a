package stats

import (
	"fmt"
	"math"
	"strconv"
	"testing"
)

// Studentized range by an independent 400 × 600-node double integral, equal
// to SciPy 1.10.1's mpmath table to 1e-14.
func TestStudentizedRange(t *testing.T) {
	rows, col := readCSV(t, "distribution_reference.csv")
	worst, worstQ, checked := 0.0, 0.0, 0
	for i, row := range rows {
		if row[col["dist"]] != "studentized_range" {
			continue
		}
		num := func(c string) float64 { v, _ := strconv.ParseFloat(row[col[c]], 64); return v }
		x, k, df, want := num("x"), int(num("par1")), num("par2"), num("value")
		if row[col["quantity"]] == "cdf" {
			checked++
			worst = math.Max(worst, math.Abs(1-studentizedRangeUpper(x, k, df)-want))
		} else if i%10 == 0 {
			checked++
			worstQ = math.Max(worstQ, math.Abs(studentizedRangeQuantile(x, k, df)/want-1))
		}
	}
	if checked < 250 || worst > 1e-10 || worstQ > 1e-9 {
		t.Errorf("%d values, largest error %.2g, largest relative error of a quantile %.2g", checked, worst, worstQ)
	}
}

// Two means, or one treatment against a control, are a t-test. Values for more
// treatments are checked in TestCompareSeveralTreatments.
func TestAdjustmentsReduceToT(t *testing.T) {
	for _, df := range []float64{2, 5, 9.5, 30, 400} {
		for _, x := range []float64{0.3, 1.7, 2.9} {
			near(t, "Tukey k=2", Tukey(x, 2, df), 2*tUpper(x, df), 1e-10)
			near(t, "Dunnett k=1", Dunnett(x, []float64{math.Sqrt(0.5)}, df), 2*tUpper(x, df), 1e-10)
			// Uncorrelated comparisons with known scatter are independent.
			independent := 1 - math.Pow(1-2*tUpper(x, math.Inf(1)), 3)
			near(t, "Dunnett λ=0", Dunnett(x, []float64{0, 0, 0}, math.Inf(1)), independent, 1e-10)
		}
	}
}

// Groups of 12 (control), 4, 6 and 9: R 4.2.2, mvtnorm 1.1-3, pmvt with an
// absolute error of 1e-7.
func TestDunnettUnequalGroups(t *testing.T) {
	lambda := make([]float64, 3)
	for i, n := range []float64{4, 6, 9} {
		lambda[i] = math.Sqrt(n / (12 + n))
	}
	for _, c := range []struct{ t, p float64 }{{1.5, 0.3479263}, {2.2, 0.0982253}, {2.9, 0.0207703}} {
		if got := Dunnett(c.t, lambda, 27); math.Abs(got-c.p) > 1e-6 {
			t.Errorf("t = %g: p = %.7f, want %.7f", c.t, got, c.p)
		}
	}
	// The loadings come back from the correlations of a fitted model.
	corr := make([][]float64, 3)
	for i := range corr {
		corr[i] = make([]float64, 3)
		for j := range corr[i] {
			corr[i][j] = lambda[i] * lambda[j]
		}
		corr[i][i] = 1
	}
	back, ok := loadings(corr)
	if !ok {
		t.Fatal("no loadings found")
	}
	for i := range back {
		near(t, "loading", back[i], lambda[i], 1e-12)
	}
	corr[0][1], corr[1][0] = -0.2, -0.2
	if _, ok := loadings(corr); ok {
		t.Error("loadings of correlations that have none")
	}
}

func TestHolmAgreesWithR(t *testing.T) {
	r := references(t, "padjust")
	got := Holm([]float64{.001, .012, .013, .04, .04, .2, .6})
	for i, v := range got {
		near(t, fmt.Sprint("p", i+1), v, r.value("holm", fmt.Sprint(i+1), "p_adj"), 1e-12)
	}
	if got := Holm([]float64{0.01, math.NaN(), 0.02}); got[0] != 0.02 || !math.IsNaN(got[1]) || got[2] != 0.02 {
		t.Errorf("with a missing p: %v", got)
	}
}

// R 4.2.2 aov/lm sequential tables.
func TestANOVAAgreesWithR(t *testing.T) {
	npk, cakeA := load(t, "data/npk.csv"), load(t, "data/cake.csv").where("recipe", "A")
	plants, sprays := load(t, "data/PlantGrowth.csv"), load(t, "data/OrchardSprays.csv")
	bibd := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	for _, c := range []struct {
		id, method string
		spec       ModelSpec
		names      []string // R's, in our order
	}{
		{"npk_main", "block+N+P+K", ModelSpec{Response: npk.numbers(t, "yield"), Factors: npk.factors("block", "N", "P", "K"),
			Fixed: []string{"N", "P", "K"}, Blocks: "block"}, []string{"block", "N", "P", "K", "Residuals"}},
		{"npk_rcbd", "block+N*P*K", ModelSpec{Response: npk.numbers(t, "yield"), Factors: npk.factors("block", "N", "P", "K"),
			Fixed: []string{"N", "P", "K", "N:P", "N:K", "P:K", "N:P:K"}, Blocks: "block"},
			[]string{"block", "N", "P", "K", "N:P", "N:K", "P:K", "Residuals"}}, // N:P:K is confounded with blocks
		{"cakeA_rcbd", "replicate+tempf", ModelSpec{Response: cakeA.numbers(t, "angle"), Factors: cakeA.factors("replicate", "temp"),
			Fixed: []string{"temp"}, Blocks: "replicate"}, []string{"replicate", "tempf", "Residuals"}},
		{"plantgrowth", "group", ModelSpec{Response: plants.numbers(t, "weight"), Factors: plants.factors("group"), Fixed: []string{"group"}},
			[]string{"group", "Residuals"}},
		{"latin8", "row+col+treatment", ModelSpec{Response: sprays.numbers(t, "decrease"), Factors: sprays.factors("rowpos", "colpos", "treatment"),
			Fixed: []string{"rowpos", "colpos", "treatment"}}, []string{"r", "c", "treatment", "Residuals"}},
		{"bibd_cakeA", "(intrablock)", ModelSpec{Response: bibd.numbers(t, "angle"), Factors: bibd.factors("replicate", "temp"),
			Fixed: []string{"temp"}, Blocks: "replicate"}, []string{"replicate", "tempf", "Residuals"}},
	} {
		t.Run(c.id, func(t *testing.T) {
			m, err := FitModel(c.spec)
			if err != nil {
				t.Fatal(err)
			}
			a := m.ANOVA()
			if len(a.Rows) != len(c.names) {
				t.Fatalf("%d lines, want %d: %v", len(a.Rows), len(c.names), a)
			}
			r := references(t, c.id)
			for i, row := range a.Rows {
				n := c.names[i]
				near(t, n+" df", row.DF, r.value(c.method, n, "Df"), 0)
				near(t, n+" SS", row.SumSq, r.value(c.method, n, "Sum Sq"), 1e-9)
				if n != "Residuals" {
					near(t, n+" F", row.F, r.value(c.method, n, "F value"), 1e-9)
					near(t, n+" p", row.P, r.value(c.method, n, "Pr(>F)"), 1e-8)
				}
			}
		})
	}
}

func TestWelchAgreesWithR(t *testing.T) {
	sleep := load(t, "data/sleep.csv")
	a, b := sleep.where("group", "1").numbers(t, "extra"), sleep.where("group", "2").numbers(t, "extra")
	w, err := Welch(a, b)
	if err != nil {
		t.Fatal(err)
	}
	r := references(t, "sleep_two")
	near(t, "t", w.Estimate/w.SE, r.value("welch_t", "g1-g2", "t"), 1e-9)
	near(t, "df", w.DF, r.value("welch_t", "g1-g2", "df"), 1e-9)
	near(t, "low", w.Interval(0.95).Low, r.value("welch_t", "g1-g2", "ci95_lo"), 1e-8)
	// The pooled comparison is what Compare does without blocks.
	c := compare(t, NewTable(sleep.numbers(t, "extra"), sleep["group"], nil), Options{Control: "2"})
	k := c.Contrasts[0]
	near(t, "pooled t", k.T, r.value("pooled_t", "g1-g2", "t"), 1e-9)
	near(t, "pooled p", k.P, r.value("pooled_t", "g1-g2", "p"), 1e-9)
	near(t, "pooled low", k.CILow, r.value("pooled_t", "g1-g2", "ci95_lo"), 1e-9)
	if !hasNote(c.Notes, "no-blocks") {
		t.Error("no note about blocking")
	}

	plants := load(t, "data/PlantGrowth.csv")
	var groups [][]float64
	for _, g := range []string{"ctrl", "trt1", "trt2"} {
		groups = append(groups, plants.where("group", g).numbers(t, "weight"))
	}
	f, err := WelchANOVA(groups)
	if err != nil {
		t.Fatal(err)
	}
	r = references(t, "plantgrowth_welch")
	near(t, "F", f.F, r.value("welch_anova", "", "F"), 1e-9)
	near(t, "df2", f.DenDF, r.value("welch_anova", "", "df2"), 1e-9)
	near(t, "p", f.P, r.value("welch_anova", "", "p"), 1e-9)
}

// R 4.2.2: the squared fitted values added to lm(angle ~ replicate + temp).
func TestNonAdditivity(t *testing.T) {
	d := load(t, "data/cake.csv").where("recipe", "A")
	c := compare(t, NewTable(d.numbers(t, "angle"), d["temp"], d["replicate"]), Options{Control: "175"})
	f, err := c.NonAdditivity()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "F", f.F, 1.14432243083, 1e-9)
	near(t, "p", f.P, 0.288468730938, 1e-9)
}

func TestPermutation(t *testing.T) {
	// All 6⁴ orders of the first four blocks, listed by R 4.2.2.
	d := load(t, "data/synth_singular.csv")
	keep := 12
	c := compare(t, NewTable(d.numbers(t, "y")[:keep], d["treat"][:keep], d["block"][:keep]), Options{Control: "A"})
	p, err := c.Permutation("")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "arrangements", p.Arrangements, 1296, 0)
	near(t, "p", p.P, 408.0/1296, 1e-12)
	near(t, "B against A", p.ContrastP[0], 156.0/1296, 1e-12)
	near(t, "C against A", p.ContrastP[1], 496.0/1296, 1e-12)

	// For pairs the orders are the sign patterns.
	pairs := compare(t, sleepTable(t), Options{Control: "1"})
	p, err = pairs.Permutation("")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pairs", p.P, 0.00390625, 1e-12)

	// Too many orders: drawn, and the same whoever draws them.
	cakeA := load(t, "data/cake.csv").where("recipe", "A")
	big := compare(t, NewTable(cakeA.numbers(t, "angle"), cakeA["temp"], cakeA["replicate"]), Options{Control: "175"})
	a, err := big.Permutation("s")
	if err != nil {
		t.Fatal(err)
	}
	b, _ := big.Permutation("s")
	if a.Exact || a.P != b.P || a.P > 0.001 {
		t.Errorf("exact %v, p = %g and %g", a.Exact, a.P, b.P)
	}
	// F-test of the same table: p = 0.0000067; each contrast near its t-test.
	for i, k := range big.Contrasts {
		if k.P > 0.02 && math.Abs(a.ContrastP[i]-k.P) > 0.15 {
			t.Errorf("%s: permutation p = %g, t-test %g", k.Treatment, a.ContrastP[i], k.P)
		}
	}
}

func TestLeaveOneOut(t *testing.T) {
	table := sleepTable(t)
	c := compare(t, table, Options{Control: "1", Margin: 2})
	all := c.LeaveOneOut()
	if len(all) != 10 {
		t.Fatalf("%d blocks", len(all))
	}
	for _, without := range all {
		var rest []float64
		for _, d := range c.Differences(0) {
			if d.Block != without.Block {
				rest = append(rest, d.Difference)
			}
		}
		k := without.Contrasts[0]
		near(t, "estimate without "+without.Block, k.Estimate, Mean(rest), 1e-12)
		near(t, "se without "+without.Block, k.SE, SD(rest)/3, 1e-12)
		near(t, "df without "+without.Block, k.DF, 8, 0)
	}
}

// Dropping a block by algebra gives what fitting the remaining table gives.
func TestLeaveOneOutEqualsRefit(t *testing.T) {
	cakeA := load(t, "data/cake.csv").where("recipe", "A")
	bibd := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	singular := load(t, "data/synth_singular.csv").without(4, 11)
	lost := load(t, "data/cake.csv").without(3, 17, 18, 40, 77, 101, 140, 199, 233, 260)
	full := NewTable(lost.numbers(t, "angle"), lost["recipe"], lost["replicate"])
	full.Factors = lost.factors("temp")
	for _, c := range []struct {
		name  string
		table Table
		o     Options
	}{
		{"complete blocks", NewTable(cakeA.numbers(t, "angle"), cakeA["temp"], cakeA["replicate"]), Options{Control: "175"}},
		{"incomplete blocks", NewTable(bibd.numbers(t, "angle"), bibd["temp"], bibd["replicate"]), Options{Control: "175"}},
		{"incomplete, fixed", NewTable(bibd.numbers(t, "angle"), bibd["temp"], bibd["replicate"]), Options{Control: "175", Blocks: BlocksFixed}},
		{"zero block variance", NewTable(singular.numbers(t, "y"), singular["treat"], singular["block"]), Options{Control: "A"}},
		{"with a further factor", full, Options{Control: "A", Also: []string{"temp"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			whole := compare(t, c.table, c.o)
			fast := whole.downdate()
			used := 0
			for b, without := range whole.LeaveOneOut() {
				if fast(b) != nil {
					used++
				}
				want, err := whole.refitWithout(b)
				if err != nil {
					t.Fatal(err)
				}
				for i, k := range without.Contrasts {
					what := "without " + without.Block + ": " + k.Treatment
					near(t, what, k.Estimate, want[i].Estimate, 1e-6)
					near(t, what+" se", k.SE, want[i].SE, 1e-6)
					near(t, what+" df", k.DF, want[i].DF, 1e-5)
				}
			}
			if used == 0 {
				t.Error("the algebra was never used")
			}
		})
	}
}

package tasting

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"trivet/fault"
)

// Every method answers for itself: a name that finds it, a standard, a
// question, and limits to what it claims.
func TestEveryMethodIsDescribed(t *testing.T) {
	seen := map[string]bool{}
	for _, m := range Methods() {
		d := m.Describe()
		for _, name := range append([]string{d.Name, strings.ToUpper(d.Name)}, d.Aliases...) {
			if found, err := Lookup(name); err != nil || found.Describe().Name != d.Name {
				t.Errorf("%q does not find %s: %v", name, d.Name, err)
			}
		}
		if seen[d.Name] || d.Standard == "" || d.Ask == "" || len(d.MayClaim) == 0 || len(d.Not) == 0 {
			t.Errorf("%+v", d)
		}
		seen[d.Name] = true
	}
}

func rowsOf(products []string, values [][]float64) []Row {
	var out []Row
	for i, r := range values {
		for j, v := range r {
			out = append(out, Row{Assessor: fmt.Sprintf("P%02d", i+1), Product: products[j], Value: v})
		}
	}
	return out
}

// Critical values of Friedman's statistic without ties, exact. The cells
// P=3, J=4, 5, 6 are also those of Siegel 1956, Table N (from memory).
func TestFriedmanCriticalValues(t *testing.T) {
	for _, r := range readTable(t, "crit_friedman_exact.csv") {
		p, j := r.int(t, "P"), r.int(t, "J")
		rows := make([][]int, j)
		for i := range rows {
			for k := range p {
				rows[i] = append(rows[i], 2*(k+1))
			}
		}
		dist := friedmanDistribution(rows)
		var qs []int
		total := 0.0
		for q, w := range dist {
			qs = append(qs, q)
			total += w
		}
		if !within(total, 1, 1e-10) {
			t.Fatalf("P=%d J=%d: total probability %v", p, j, total)
		}
		slices.Sort(qs)
		for _, level := range []string{"0.05", "0.01"} {
			if r["F_"+level] == "" {
				continue
			}
			tail, critical, size := 0.0, math.Inf(1), 0.0
			for i := len(qs) - 1; i >= 0; i-- {
				tail += dist[qs[i]]
				if tail > map[string]float64{"0.05": .05, "0.01": .01}[level]+1e-12 {
					break
				}
				// ΣR² is a quarter of the doubled sum.
				critical = 12/float64(j*p*(p+1))*float64(qs[i])/4 - 3*float64(j*(p+1))
				size = tail
			}
			if !within(critical, r.float(t, "F_"+level), 6e-5) || !within(size, r.float(t, "p_"+level), 6e-7) {
				t.Errorf("P=%d J=%d %s: F %.4f p %.6f, table %s %s", p, j, level, critical, size, r["F_"+level], r["p_"+level])
			}
		}
	}
}

// Siegel 1956, Table N: the p-values of single statistics (from memory).
func TestFriedmanExactPValues(t *testing.T) {
	for _, tc := range []struct {
		j    int
		f, p float64
	}{{4, 6.5, .041667}, {5, 6.4, .039352}, {6, 7, .028935}} {
		rows := make([][]int, tc.j)
		for i := range rows {
			rows[i] = []int{2, 4, 6}
		}
		p := 0.0
		for q, w := range friedmanDistribution(rows) {
			if f := 12/float64(tc.j*12)*float64(q)/4 - 12*float64(tc.j); f >= tc.f-1e-9 {
				p += w
			}
		}
		if !within(p, tc.p, 6e-7) {
			t.Errorf("J=%d F=%v: p %.6f, want %.6f", tc.j, tc.f, p, tc.p)
		}
	}
}

// Hollander & Wolfe 1973, p. 140, times for rounding first base, as printed
// in the manual of R's friedman.test; R 4.2.2 gives 11.1429, p .003805 with
// its correction for ties.
var roundingFirstBase = [][]float64{
	{5.40, 5.50, 5.55}, {5.85, 5.70, 5.75}, {5.20, 5.60, 5.50}, {5.55, 5.50, 5.40}, {5.90, 5.85, 5.70}, {5.45, 5.55, 5.60},
	{5.40, 5.40, 5.35}, {5.45, 5.50, 5.35}, {5.25, 5.15, 5.00}, {5.85, 5.80, 5.70}, {5.25, 5.20, 5.10}, {5.65, 5.55, 5.45},
	{5.60, 5.35, 5.45}, {5.05, 5.00, 4.95}, {5.50, 5.50, 5.40}, {5.45, 5.55, 5.50}, {5.55, 5.55, 5.35}, {5.45, 5.50, 5.55},
	{5.50, 5.45, 5.25}, {5.65, 5.60, 5.40}, {5.70, 5.65, 5.55}, {6.30, 6.30, 6.25},
}

func TestRankingWithTies(t *testing.T) {
	products := []string{"round out", "narrow angle", "wide angle"}
	rep, err := Ranking{}.ScoreRows(rowsOf(products, roundingFirstBase), .05)
	if err != nil {
		t.Fatal(err)
	}
	r := rep.(*RankResult)
	if !within(*r.Statistic, 11.142857142857, 1e-9) {
		t.Errorf("statistic %.9f", *r.Statistic)
	}
	if !r.Exact || !within(*r.PValue, .003805, .0012) {
		t.Errorf("exact p %.6f beside the chi-squared .003805", *r.PValue)
	}
	// On two degrees of freedom the chi-squared tail is exp(−F/2).
	if p := math.Exp(-*r.Statistic / 2); !within(p, .003805, 5e-7) {
		t.Errorf("chi-squared p %.6f", p)
	}
	if r.Products[0].Sum != 53 || r.Products[1].Sum != 47 || r.Products[2].Sum != 32 {
		t.Errorf("rank sums %+v", r.Products)
	}
	for _, p := range r.Pairs {
		if p.PHolm < p.P-1e-15 || p.PBonferroni < p.PHolm-1e-15 {
			t.Errorf("%+v: adjusted p-values out of order", p)
		}
	}
}

// ISO 8587's least significant difference without ties, z √(JP(P+1)/6).
func TestRankSumLSD(t *testing.T) {
	values := make([][]float64, 12)
	for i := range values {
		values[i] = [][]float64{{1, 2, 3, 4}, {2, 1, 3, 4}, {1, 3, 2, 4}}[i%3]
	}
	rep, err := Ranking{}.ScoreRows(rowsOf([]string{"a", "b", "c", "d"}, values), .05)
	if err != nil {
		t.Fatal(err)
	}
	if lsd := *rep.(*RankResult).LSD; !within(lsd, 1.959964*math.Sqrt(12*20.0/6), 1e-5) {
		t.Errorf("LSD %.6f", lsd)
	}
	if len(rep.Remarks()) == 0 || rep.Remarks()[len(rep.Remarks())-1].Code != "lsd-unprotected" {
		t.Errorf("no word on the LSD's family: %v", rep.Remarks())
	}
}

func TestRankingAllTied(t *testing.T) {
	rep, err := Ranking{}.ScoreRows(rowsOf([]string{"a", "b", "c"}, [][]float64{{1, 1, 1}, {2, 2, 2}}), .05)
	if err != nil || rep.(*RankResult).Statistic != nil {
		t.Errorf("%+v %v", rep, err)
	}
}

// By hand: three assessors in perfect agreement on three products, L = 42,
// mean 36, variance 6.
func TestPage(t *testing.T) {
	l, z, p, err := Page([]float64{3, 6, 9}, 3)
	if err != nil || l != 42 || !within(z, 6/math.Sqrt(6), 1e-12) || !within(p, normalCDF(-6/math.Sqrt(6)), 1e-12) {
		t.Errorf("%v %v %v %v", l, z, p, err)
	}
}

// Made-up scores; R 4.2.2: t.test(paired = TRUE) and full enumeration of the
// signs for the two randomisation tests.
func TestHedonicOfTwoProducts(t *testing.T) {
	x := []float64{7, 8, 6, 9, 5, 7, 8, 6, 7, 8, 7, 5}
	y := []float64{6, 6, 6, 7, 5, 8, 5, 5, 6, 7, 7, 4}
	var values [][]float64
	for i := range x {
		values = append(values, []float64{x[i], y[i]})
	}
	rep, err := Hedonic{}.ScoreRows(rowsOf([]string{"x", "y"}, values), .05)
	if err != nil {
		t.Fatal(err)
	}
	p := rep.(*HedonicResult).Pairs[0]
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"difference", p.Difference, 11.0 / 12}, {"t", *p.T, 2.930374852}, {"df", *p.DF, 11}, {"p", *p.P, .0136812423},
		{"low", *p.Low, .228164399254}, {"high", *p.High, 1.605168934079},
		{"signed rank", p.PSignedRank, .02734375}, {"sign flip", p.PSignFlip, .02734375},
	} {
		if !within(c.got, c.want, 1e-9) {
			t.Errorf("%s %.12f, want %.12f", c.name, c.got, c.want)
		}
	}
	if p.PreferA != 8 || p.PreferB != 1 {
		t.Errorf("preferred %d to %d", p.PreferA, p.PreferB)
	}
}

// Student 1908, the sleep data of base R (extra hours of sleep): R 4.2.2
// paired t −4.0621 on 9, p .002833, interval −2.459886 to −0.700114. Scores
// are not on the 9-point scale, so the pair is compared directly.
func TestPairOfSleepData(t *testing.T) {
	a := []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}
	b := []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
	g := &grid{products: []string{"1", "2"}}
	for i := range a {
		g.values = append(g.values, []float64{a[i], b[i]})
	}
	p, err := hedonicPair(g, 0, 1, nil, .05)
	if err != nil {
		t.Fatal(err)
	}
	if !within(*p.T, -4.062128, 5e-7) || !within(*p.P, .002832890, 5e-9) || !within(*p.Low, -2.459886, 5e-7) || !within(*p.High, -.700114, 5e-7) {
		t.Errorf("t %.6f p %.9f from %.6f to %.6f", *p.T, *p.P, *p.Low, *p.High)
	}
	if !within(p.PSignedRank, .00390625, 1e-12) {
		t.Errorf("signed rank %v", p.PSignedRank)
	}
}

// Hollander & Wolfe 1973, p. 29, depression scale of nine patients, as
// printed in the manual of R's wilcox.test: V = 40, one-sided exact p
// .01953125, so two-sided .0390625.
func TestSignedRankOfDepressionData(t *testing.T) {
	x := []float64{1.83, .50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	y := []float64{.878, .647, .598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	g := &grid{products: []string{"first", "second"}}
	for i := range x {
		g.values = append(g.values, []float64{x[i], y[i]})
	}
	p, err := hedonicPair(g, 0, 1, nil, .05)
	if err != nil || !within(p.PSignedRank, .0390625, 1e-12) {
		t.Errorf("%v %v", p.PSignedRank, err)
	}
}

func TestHedonicSaysWhenDifferencesDoNotVary(t *testing.T) {
	rep, err := Hedonic{}.ScoreRows(rowsOf([]string{"a", "b"}, [][]float64{{7, 6}, {8, 7}, {5, 4}}), .05)
	if err != nil {
		t.Fatal(err)
	}
	r := rep.(*HedonicResult)
	if r.PValue != nil || r.Notes[0].Code != "no-variation" {
		t.Errorf("%+v", r)
	}
	if _, err := (Hedonic{}).ScoreRows(rowsOf([]string{"a", "b"}, [][]float64{{7, 60}, {8, 7}}), .05); fault.As(err).Code != "score-range" {
		t.Errorf("60 on a 9-point scale: %v", err)
	}
}

// The wine tasting of Randall 1989: four wines (temperature × contact), nine
// judges, two bottles each. In a complete table restricted maximum likelihood
// is the analysis of variance: R 4.2.2, anova(lm(response ~ judge * wine)),
// wines tested on the interaction.
func TestWineRatings(t *testing.T) {
	var rows []Row
	type pair struct{ a, p string }
	round := map[pair]int{}
	for _, r := range readTable(t, "wine_bitterness.csv") {
		p := pair{r["judge"], r["temp"] + " " + r["contact"]}
		round[p]++
		rows = append(rows, Row{Assessor: p.a, Product: p.p, Attribute: "bitterness", Value: r.float(t, "response"), Round: round[p]})
	}
	rep, err := Rated{}.ScoreRows(rows, .05)
	if err != nil {
		t.Fatal(err)
	}
	a := rep.(*RatedResult).Attributes[0]
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"F", a.F, 25.13808755979, 1e-7}, {"df1", a.DF1, 3, 0}, {"df2", a.DF2, 24, 1e-4}, {"p", a.PValue, 1.391971848689e-07, 1e-13},
		{"judge variance", a.VarAssessor, 70.98842592593, 1e-6}, {"interaction variance", *a.VarInteraction, 15.62615740741, 1e-6},
		{"residual variance", a.VarResidual, 139.5833333333, 1e-6},
	} {
		if !within(c.got, c.want, c.tol) {
			t.Errorf("%s %.10g, want %.10g", c.name, c.got, c.want)
		}
	}
	// R 4.2.2: anova(lm(response ~ wine)) judge by judge, and cor() with the
	// mean of the others.
	for i, want := range []struct{ f, p, sd, r float64 }{
		{6.40060468632, .0524145881603, 10.5, .993357016579}, {5.05334566759, .0757896903653, 16.4392822228, .97197006816},
		{11.4182621502, .0197706744689, 9.21276288634, .546168719761},
	} {
		s := a.ByTaster[i]
		if !within(*s.Discrimination, want.f, 1e-9) || !within(*s.PValue, want.p, 1e-9) || !within(*s.Repeatability, want.sd, 1e-9) || !within(*s.Agreement, want.r, 1e-9) {
			t.Errorf("judge %s: %v %v %v %v", s.Assessor, *s.Discrimination, *s.PValue, *s.Repeatability, *s.Agreement)
		}
	}
	var cold, warm float64
	for _, p := range a.Pairs {
		if p.A == "cold no" && p.B == "warm yes" || p.B == "cold no" && p.A == "warm yes" {
			cold, warm = p.Difference, p.P
		}
	}
	if !within(math.Abs(cold), 36.2222222222, 1e-8) || !within(warm, 1.586077029182e-08, 1e-13) {
		t.Errorf("pair %v p %v", cold, warm)
	}
}

// The same wines on their 1 to 5 scale. R 4.2.2: optim on the likelihood of
// the cumulative logit model with judge random, each judge's integral by
// integrate().
func TestWineGradesByCumulativeLogit(t *testing.T) {
	var rows []Row
	for _, r := range readTable(t, "wine_bitterness.csv") {
		rows = append(rows, Row{Assessor: r["judge"], Product: r["temp"] + " " + r["contact"], Attribute: "bitterness", Value: r.float(t, "rating")})
	}
	rep, err := Rated{}.ScoreRows(rows, .05)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][2]float64{"cold yes": {1.71586834906, .701650453379}, "warm no": {2.94529319047, .761285249353}, "warm yes": {4.89304256194, .884528931865}}
	got := rep.(*RatedResult).Attributes[0].Ordinal
	if len(got) != 3 {
		t.Fatalf("%+v", got)
	}
	for _, c := range got {
		if w := want[c.Product]; c.Against != "cold no" || !within(c.LogOdds, w[0], 2e-5) || !within(c.SE, w[1], 2e-4) {
			t.Errorf("%+v, want %v", c, w)
		}
	}
}

// Made-up liking of three products by ten tasters. R 4.2.2:
// anova(lm(y ~ assessor + product)) and confint; lmerTest gives the same F.
func TestHedonicOfThreeProducts(t *testing.T) {
	values := [][]float64{{7, 6, 5}, {8, 6, 7}, {6, 6, 4}, {9, 7, 6}, {5, 5, 3}, {7, 8, 6}, {8, 5, 5}, {6, 5, 5}, {7, 6, 4}, {8, 7, 7}}
	rep, err := Hedonic{}.ScoreRows(rowsOf([]string{"a", "b", "c"}, values), .05)
	if err != nil {
		t.Fatal(err)
	}
	r := rep.(*HedonicResult)
	if !within(*r.F, 16.36912752, 1e-6) || !within(*r.DF1, 2, 0) || !within(*r.DF2, 18, 1e-4) || !within(*r.PValue, 8.9009e-05, 1e-8) {
		t.Errorf("F %.8f on %v, %v, p %v", *r.F, *r.DF1, *r.DF2, *r.PValue)
	}
	p := r.Pairs[0]
	if p.A != "a" || p.B != "b" || !within(p.Difference, 1, 1e-9) || !within(*p.Low, .302030914695, 1e-6) || !within(*p.High, 1.69796908531, 1e-6) || !within(*p.P, 7.51921573119e-03, 1e-8) {
		t.Errorf("%+v %v %v", p, *p.Low, *p.High)
	}
}

// R 4.2.2: power.t.test(n = 139, delta = .5, sd = 1.8, type = "paired",
// strict = TRUE) is .9018410242, and .8997674563 for 138.
func TestSizeHedonic(t *testing.T) {
	p, err := SizeHedonic(.5, 1.8, .05, .10)
	if err != nil || p.N != 139 || !within(p.Power, .9018410242, 1e-7) {
		t.Errorf("%+v %v", p, err)
	}
	if _, err := SizeHedonic(0, 1.8, .05, .1); err == nil {
		t.Error("a difference of nothing was sized")
	}
}

// The same wines by temperature alone, judges as blocks:
// wine_bitterness_results.csv, "paired" (R 4.2.2), and its signed-rank test.
func TestWineTemperatureWithinJudges(t *testing.T) {
	want := map[string]float64{}
	for _, r := range readTable(t, "wine_bitterness_results.csv") {
		if r["model"] == "paired" {
			want[r["quantity"]] = r.float(t, "value")
		}
	}
	var rows []Row
	for _, r := range readTable(t, "wine_bitterness.csv") {
		rows = append(rows, Row{Assessor: r["judge"], Product: r["temp"], Value: r.float(t, "response")})
	}
	g, err := makeGrid(rows)
	if err != nil {
		t.Fatal(err)
	}
	p, err := hedonicPair(g, slices.Index(g.products, "warm"), slices.Index(g.products, "cold"), nil, .05)
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]float64{"t": *p.T, "df": *p.DF, "p": *p.P, "ci95_low": *p.Low, "ci95_high": *p.High} {
		if !within(got, want[name], 1e-8) {
			t.Errorf("%s %.10f, want %.10f", name, got, want[name])
		}
	}
	if !within(p.PSignedRank, .00390625, 1e-12) {
		t.Errorf("signed rank %v", p.PSignedRank)
	}
}

// R 4.2.2: t.test(right, low), Welch.
func TestPenaltyIsWelchsComparison(t *testing.T) {
	right, low := []float64{7, 8, 6, 7, 9, 8, 7, 6, 8}, []float64{5, 6, 4, 7, 5}
	var rows []Row
	add := func(likings []float64, jar float64) {
		for _, l := range likings {
			who := fmt.Sprint("P", len(rows))
			rows = append(rows, Row{Assessor: who, Product: "chop", Attribute: LikingAttribute, Value: l}, Row{Assessor: who, Product: "chop", Attribute: "salt", Value: jar})
		}
	}
	add(right, 3)
	add(low, 2)
	rep, err := JustRight{}.ScoreRows(rows, .05)
	if err != nil {
		t.Fatal(err)
	}
	p := rep.(*PenaltyResult).Penalties[0]
	if p.Side != "too little" || p.N != 5 || !p.Shown || !within(*p.Drop, 7.33333333333-5.4, 1e-10) ||
		!within(*p.P, .0143519471, 1e-9) || !within(*p.Low, .51090964298, 1e-9) || !within(*p.High, 3.35575702369, 1e-9) || !within(*p.Weighted, *p.Drop*5/14, 1e-12) {
		t.Errorf("%+v", p)
	}
	if q := rep.(*PenaltyResult).Penalties[1]; q.N != 0 || q.Drop != nil || q.Shown {
		t.Errorf("nobody found it too salty: %+v", q)
	}
}

// Made-up ticks; R 4.2.2: Cochran's Q is friedman.test on zeros and ones.
func TestCochransQ(t *testing.T) {
	ticks := [][]int{{1, 1, 0, 0}, {1, 1, 0, 1}, {1, 0, 0, 0}, {1, 1, 1, 0}, {0, 1, 0, 0}, {1, 1, 0, 0}, {1, 1, 0, 0}, {1, 0, 0, 1}, {1, 1, 1, 1}, {0, 0, 0, 0}}
	var rows []Row
	for i, r := range ticks {
		for j, v := range r {
			rows = append(rows, Row{Assessor: fmt.Sprint("P", i), Product: string(rune('a' + j)), Attribute: "smoky", Value: float64(v)})
		}
	}
	rep, err := CheckAll{}.ScoreRows(rows, .05)
	if err != nil {
		t.Fatal(err)
	}
	w := rep.(*CheckResult).Words[0]
	if !within(*w.Q, 11.14285714, 1e-8) || !slices.Equal(w.Ticks, []int{8, 7, 2, 3}) || !w.Exact {
		t.Errorf("%+v Q %v", w, *w.Q)
	}
	if exact := cochranByEnumeration(ticks, *w.Q); !within(*w.PValue, exact, 1e-10) {
		t.Errorf("exact p %.10f, enumeration %.10f", *w.PValue, exact)
	}
	// Agresti 1990, p. 350 (from memory): McNemar's test of 150 against 86.
	p := checkPairs([]string{"a", "b"}, discordant(150, 86))[0]
	if want := 2 * upperTail(236, 150, .5); !within(p.P/want, 1, 1e-12) {
		t.Errorf("McNemar p %v", p.P)
	}
}

func discordant(a, b int) [][]int {
	var out [][]int
	for range a {
		out = append(out, []int{1, 0})
	}
	for range b {
		out = append(out, []int{0, 1})
	}
	return out
}

// cochranByEnumeration walks every arrangement of every taster's ticks.
func cochranByEnumeration(rows [][]int, observed float64) float64 {
	var hit, all float64
	sums := make([]int, len(rows[0]))
	var within float64
	for _, r := range rows {
		k := 0
		for _, v := range r {
			k += v
		}
		within += float64(k) * float64(len(r)-k) / float64(len(r))
	}
	var walk func(i int)
	walk = func(i int) {
		if i == len(rows) {
			mean, q := 0.0, 0.0
			for _, s := range sums {
				mean += float64(s) / float64(len(sums))
			}
			for _, s := range sums {
				q += (float64(s) - mean) * (float64(s) - mean)
			}
			all++
			if q*float64(len(sums)-1)/within >= observed-1e-9 {
				hit++
			}
			return
		}
		for _, a := range arrangements(rows[i]) {
			for j, v := range a {
				sums[j] += v
			}
			walk(i + 1)
			for j, v := range a {
				sums[j] -= v
			}
		}
	}
	walk(0)
	return hit / all
}

// Reports must survive JSON, which has no NaN: tables with gaps, single
// replicates, ties and perfect agreement.
func TestReportsOfOddTablesAreJSON(t *testing.T) {
	tables := map[string][][]float64{
		"ties": {{5, 5, 5}, {5, 6, 5}, {4, 5, 5}}, "additive": {{1, 2, 3}, {2, 3, 4}, {3, 4, 5}}, "same": {{1, 1, 1}, {1, 1, 1}},
		"two": {{1, 2}, {2, 1}}, "constant difference": {{5, 7}, {5, 7}, {5, 7}},
	}
	for name, values := range tables {
		rows := rowsOf([]string{"a", "b", "c"}[:len(values[0])], values)
		partly := append(slices.Clone(rows), Row{Assessor: "P01", Product: "a", Value: 6}, Row{Assessor: "P09", Product: "a", Value: 2})
		for _, m := range []TableMethod{Rated{}, Hedonic{}, Ranking{}, CheckAll{}} {
			for _, r := range [][]Row{rows, partly} {
				rep, err := m.ScoreRows(r, .05)
				if err != nil {
					if fault.As(err) == nil {
						t.Errorf("%s %s: %v", name, m.Describe().Name, err)
					}
					continue
				}
				if _, err := json.Marshal(rep); err != nil {
					t.Errorf("%s %s: %v", name, m.Describe().Name, err)
				}
			}
		}
	}
}

func TestCommentsKeepNoAuthor(t *testing.T) {
	rep, err := Comments{}.ScoreRows([]Row{
		{Assessor: "P1", Product: "a", Text: "Juicy, very juicy"}, {Assessor: "P2", Product: "a", Text: "juicy and salty"}, {Assessor: "P2", Product: "b", Text: "dry"},
	}, .05)
	if err != nil {
		t.Fatal(err)
	}
	r := rep.(*CommentResult)
	if r.Words[0].Word != "juicy" || !slices.Equal(r.Words[0].Tasters, []int{2, 0}) {
		t.Errorf("%+v", r.Words)
	}
	if strings.Contains(fmt.Sprint(r.Comments), "P1") {
		t.Error("a comment names its author")
	}
}

func TestScaleRefusesMarksOutsideIt(t *testing.T) {
	s := Scale{Attribute: "juiciness", Min: 0, Max: 100}
	if s.Check(55.5) != nil || s.Check(101) == nil || s.Check(math.NaN()) == nil {
		t.Error("line scale")
	}
	s = Scale{Attribute: "juiciness", Min: 1, Max: 7, Categories: 7}
	if s.Check(3) != nil || s.Check(3.5) == nil {
		t.Error("category scale")
	}
}

// The interval of a product's mean: 4.75 ± 2.262·1.78901/√10, with the two-sided
// 5 % point of t on 9 degrees of freedom of any printed table. The scores are
// the first soporific of Student, 1908, "The probable error of a mean",
// Biometrika 6:1-25, with 4 added to stand on the scale.
func TestIntervalOfAMeanLiking(t *testing.T) {
	var rows []Row
	for i, v := range []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2} {
		who := fmt.Sprint(i)
		rows = append(rows, Row{Assessor: who, Product: "a", Value: 4 + v}, Row{Assessor: who, Product: "b", Value: 5})
	}
	r, err := Hedonic{}.ScoreRows(rows, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	m := r.(*HedonicResult).Products[0]
	if half := 2.262 * 1.78901 / math.Sqrt(10); math.Abs(*m.Low-(4.75-half)) > 1e-3 || math.Abs(*m.High-(4.75+half)) > 1e-3 {
		t.Errorf("%v to %v, want 4.75 ± %v", *m.Low, *m.High, half)
	}
}

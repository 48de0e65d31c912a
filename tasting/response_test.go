package tasting

import (
	"math"
	"testing"
)

// R 4.2.2: glm(cbind(yes,no) ~ kind, binomial("probit")) for the estimate and
// confint(level = 0.90) (MASS 7.3) for the profile limits; fisher.test.
func TestANotAEqualsProbitRegression(t *testing.T) {
	r, err := ScoreTwoByTwo(ANotA{}, TwoByTwo{Hits: 30, Signals: 40, FalseAlarms: 12, Noises: 40}, .05)
	if err != nil {
		t.Fatal(err)
	}
	if !within(r.DPrime, rANotA.d, 1e-8) || !within(*r.DPrimeLow, rANotA.low, 2e-4) || !within(*r.DPrimeHigh, rANotA.high, 2e-4) {
		t.Errorf("d' %.8f from %.6f to %.6f", r.DPrime, *r.DPrimeLow, *r.DPrimeHigh)
	}
	if !within(r.PValue, rANotA.fisher, 1e-12) {
		t.Errorf("p %.10g", r.PValue)
	}
	if r.Verdict != Different {
		t.Error(r.Verdict)
	}
}

// R 4.2.2: optimize and uniroot on the two-binomial likelihood.
func TestSameDifferentLimitsEqualDirectOptimisation(t *testing.T) {
	r, err := ScoreTwoByTwo(SameDifferent{}, TwoByTwo{Hits: 30, Signals: 40, FalseAlarms: 12, Noises: 40}, .05)
	if err != nil {
		t.Fatal(err)
	}
	if !within(r.DPrime, rSameDifferent.d, 1e-5) || !within(*r.DPrimeLow, rSameDifferent.low, 1e-5) || !within(*r.DPrimeHigh, rSameDifferent.high, 1e-5) {
		t.Errorf("d' %.8f from %.8f to %.8f", r.DPrime, *r.DPrimeLow, *r.DPrimeHigh)
	}
	// Below chance: more "different" to like pairs than to unlike ones.
	r, _ = ScoreTwoByTwo(SameDifferent{}, TwoByTwo{Hits: 5, Signals: 20, FalseAlarms: 9, Noises: 20}, .05)
	if r.DPrime != 0 || *r.DPrimeLow != 0 || r.Verdict != NotShownDifferent {
		t.Errorf("%+v", r)
	}
}

// Agresti A., 1990, Categorical Data Analysis, p. 350 (from memory): approval
// asked twice of 1600 people, discordant 150 and 86. Exact conditional test
// is Binomial(236, 1/2).
func TestPairedJudgementsAreMcNemarsTest(t *testing.T) {
	var answers []ResponseAnswer
	add := func(n int, signalYes, noiseYes bool) {
		for range n {
			name := string(rune('a'+len(answers)%26)) + string(rune('0'+len(answers)))
			answers = append(answers, ResponseAnswer{name, true, signalYes, 0}, ResponseAnswer{name, false, noiseYes, 0})
		}
	}
	add(794, true, true)
	add(150, true, false)
	add(86, false, true)
	add(570, false, false)
	r, err := ScoreResponses(ANotA{}, answers, .05)
	if err != nil {
		t.Fatal(err)
	}
	want := upperTail(236, 150, .5)
	if r.Test != "McNemar's exact test, one-sided" || !within(r.PValue/want, 1, 1e-9) {
		t.Errorf("%s p %.10g, binomial %.10g", r.Test, r.PValue, want)
	}
	if z2 := math.Pow(150-86, 2) / 236; !within(z2, 17.3559, 5e-5) {
		t.Errorf("uncorrected statistic %.4f", z2)
	}
}

// R 4.2.2: mantelhaen.test(exact = TRUE, alternative = "greater") on three
// tables (3,1,1,3) (2,2,1,3) (4,0,2,2).
func TestStratifiedTestEqualsTheExactConditionalOne(t *testing.T) {
	p := stratifiedP([]TwoByTwo{{3, 4, 1, 4}, {2, 3, 2, 5}, {4, 6, 0, 2}})
	if !within(p, .04883381924, 1e-10) {
		t.Errorf("p %.10f", p)
	}
	// Fisher R.A., 1935, The Design of Experiments, ch. II (from memory):
	// eight cups, four of each kind known to the taster.
	if p := stratifiedP([]TwoByTwo{{4, 4, 0, 4}}); !within(p, 1.0/70, 1e-13) {
		t.Errorf("all right: %v", p)
	}
	if p := stratifiedP([]TwoByTwo{{3, 4, 1, 4}}); !within(p, 17.0/70, 1e-13) {
		t.Errorf("three of four: %v", p)
	}
}

// The soup tasting of Christensen, Cleaver & Brockhoff 2011 (counts pooled).
// R 4.2.2 with MASS 7.3: polr(method = "probit") for equal spreads, optim of
// the same likelihood with a scale for unequal ones, wilcox.test for the area.
func TestSoupSurenessCurve(t *testing.T) {
	counts := map[string][]float64{}
	for _, r := range readTable(t, "soup_a_not_a_counts.csv") {
		for _, g := range []string{"1", "2", "3", "4", "5", "6"} {
			counts[r["product"]] = append(counts[r["product"]], r.float(t, g))
		}
	}
	c, err := CurveOf(counts["reference"], counts["test"])
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct {
		name           string
		got, want, tol float64
	}{
		{"d'", *c.DPrime, .6685474434, 1e-6}, {"its error", *c.DPrimeSE, .05308416869, 1e-6},
		{"log likelihood", c.LogLik[0], -2695.02576399, 1e-6},
		{"area", c.Area, .6669174365, 1e-9},
		{"d_a", *c.DA, .73309068, 2e-6}, {"sd ratio", *c.Ratio, 1.24197630, 5e-6}, {"unequal log likelihood", c.LogLik[1], -2688.77672748, 1e-6},
	} {
		if !within(v.got, v.want, v.tol) {
			t.Errorf("%s %.9f, want %.9f", v.name, v.got, v.want)
		}
	}
	if last := c.Points[len(c.Points)-1]; last.Hit != 1 || last.FalseAlarm != 1 {
		t.Errorf("curve ends at %+v", last)
	}
}

// R 4.2.2: the double sum over phyper and dbinom.
func TestFisherPowerEqualsTheDoubleSum(t *testing.T) {
	for n, want := range rFisherPower {
		h, f := ANotA{}.Rates(1.5, .75)
		if _, p := fisherPower(n, h, f, .05); !within(p, want, 1e-6) {
			t.Errorf("n=%d: power %.8f, want %.8f", n, p, want)
		}
	}
	p, err := SizeResponses(ANotA{}, 1.5, .05, .2)
	if err != nil || p.Power < .8 || p.Size > .05 {
		t.Fatalf("%+v %v", p, err)
	}
}

func TestOneKindAloneShowsNothing(t *testing.T) {
	_, err := ScoreResponses(SameDifferent{}, []ResponseAnswer{{"a", true, true, 0}, {"b", true, true, 0}}, .05)
	if err == nil {
		t.Error("unlike pairs alone were scored")
	}
}

type limits struct{ d, low, high, fisher float64 }

var (
	rANotA         = limits{1.1988902629, .7114116454, 1.6982188747, 5.584046205e-05}
	rSameDifferent = limits{2.405886264, 1.751487476, 3.049106363, 0}
	rFisherPower   = map[int]float64{11: .7857351872, 12: .8432348004, 13: .8013484487, 14: .8367447502, 16: .9109950569}
)

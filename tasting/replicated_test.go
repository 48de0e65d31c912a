package tasting

import (
	"fmt"
	"testing"
)

// fromCounts makes replicates from counts of assessors with 0, 1, … right.
func fromCounts(m int, counts ...int) []Replicate {
	var out []Replicate
	for x, n := range counts {
		for range n {
			out = append(out, Replicate{fmt.Sprint(len(out)), m, x})
		}
	}
	return out
}

// Skellam 1948, secondary association of chromosomes in Brassica (data from
// memory); estimates by R 4.2.2 optim on the beta-binomial likelihood.
func TestBetaBinomialOnSkellam(t *testing.T) {
	o, err := Overdispersed(fromCounts(3, 32, 103, 122, 80), Ratio{0, 1}, false)
	if err != nil {
		t.Fatal(err)
	}
	if !within(o.Mu, .580712, 1e-6) || !within(*o.Gamma, .0866675, 1e-6) || !within(o.LogLik, -436.812952, 1e-6) || !within(o.LogLikNone, -440.386547, 1e-6) || !within(o.LR, 7.147190, 2e-6) {
		t.Errorf("%+v gamma %v", o, *o.Gamma)
	}
	a := o.Mu * (1 - *o.Gamma) / *o.Gamma
	if !within(a, 6.119750, 1e-4) {
		t.Errorf("a %.6f", a)
	}
}

// Twenty assessors, four triangles each, 0–4 right: 1 4 5 6 4 (own data);
// estimates by R 4.2.2 optim.
func TestChanceCorrectedOverdispersion(t *testing.T) {
	reps := fromCounts(4, 1, 4, 5, 6, 4)
	plain, err := Overdispersed(reps, Ratio{1, 3}, false)
	if err != nil {
		t.Fatal(err)
	}
	if !within(plain.Mu, .600315, 1e-6) || !within(*plain.Gamma, .132162, 1e-6) || !within(plain.LR, 1.805994, 2e-6) {
		t.Errorf("plain %+v gamma %v", plain, *plain.Gamma)
	}
	cc, err := Overdispersed(reps, Ratio{1, 3}, true)
	if err != nil {
		t.Fatal(err)
	}
	if !within(cc.Mu, .400195, 2e-6) || !within(*cc.Gamma, .292235, 2e-6) {
		t.Errorf("corrected mu %.7f gamma %.7f", cc.Mu, *cc.Gamma)
	}
	// Both models put one correlation on the answers, nearly: 80 answers are
	// worth 80/(1 + 3×.132) by the plain one.
	if !within(plain.Effective, 80/(1+3*.132162), 1e-3) || !within(cc.Effective, plain.Effective, .5) {
		t.Errorf("worth %v and %v independent answers", plain.Effective, cc.Effective)
	}
	// R 4.2.2: uniroot on the likelihood profiled by optimize.
	if *cc.GammaLow != 0 || !within(*cc.GammaHigh, .7435857514, 1e-5) || !within(*cc.MuLow, .2077475134, 1e-5) || !within(*cc.MuHigh, .5834689677, 1e-5) {
		t.Errorf("gamma %v to %v, mu %v to %v", *cc.GammaLow, *cc.GammaHigh, *cc.MuLow, *cc.MuHigh)
	}
}

// A public statistics question: 54 tasters, two triangles each, 29 of 108
// right, below guessing. pd sits on its boundary and gamma has no meaning.
func TestBelowChanceLeavesGammaOpen(t *testing.T) {
	o, err := Overdispersed(fromCounts(2, 29, 21, 4), Ratio{1, 3}, true)
	if err != nil {
		t.Fatal(err)
	}
	if o.N != 108 || o.Correct != 29 {
		t.Fatalf("%d of %d", o.Correct, o.N)
	}
	if o.Mu != 0 || o.Gamma != nil || len(o.Notes) == 0 || o.Notes[0].Code != "gamma-not-estimable" {
		t.Errorf("%+v", o)
	}
}

func TestOneAnswerEachLeavesGammaOpen(t *testing.T) {
	o, err := Overdispersed(fromCounts(1, 8, 16), Ratio{1, 3}, true)
	if err != nil {
		t.Fatal(err)
	}
	if o.Gamma != nil || !within(o.Mu, (16.0/24-1.0/3)/(2.0/3), 1e-7) {
		t.Errorf("%+v", o)
	}
}

func TestEffectiveNumber(t *testing.T) {
	for _, tc := range []struct{ gamma, want float64 }{{0, 80}, {.1, 61.5}, {.3, 42.1}, {.5, 32}} {
		if got := EffectiveN(20, 4, tc.gamma); !within(got, tc.want, .05) {
			t.Errorf("gamma %v: %v", tc.gamma, got)
		}
	}
	for _, gamma := range []float64{0, .1, .3} {
		n := AssessorsFor(60, 4, gamma)
		if EffectiveN(n, 4, gamma) < 60-1e-9 || EffectiveN(n-1, 4, gamma) >= 60 {
			t.Errorf("gamma %v: %d assessors", gamma, n)
		}
	}
}

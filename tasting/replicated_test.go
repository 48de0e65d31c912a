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
	if cc.GammaLow == nil || *cc.GammaLow != 0 || *cc.GammaHigh <= *cc.Gamma {
		t.Errorf("interval %v %v", cc.GammaLow, cc.GammaHigh)
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

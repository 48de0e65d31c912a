package stats

import (
	"encoding/json"
	"math"
	"testing"

	"trivet/fault"
)

// R 4.2.2: survival 3.5-3, clogit(done ~ treatment + strata(block), method =
// "exact"); binom.test for McNemar.
func TestYesNoConditionalLogit(t *testing.T) {
	d := load(t, "data/synth_yesno.csv")
	c, err := CompareYesNo(NewTable(d.numbers(t, "done"), d["treatment"], d["block"]), Options{Control: "A"}, "")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ b, se, p float64 }{{0.446736276832, 0.957160672908, 0.6406925579053}, {2.020487570023, 0.980145255254, 0.0392633251165}} {
		k := c.Contrasts[i]
		near(t, k.Treatment+" log odds", k.LogOdds, want.b, 1e-8)
		near(t, k.Treatment+" se", k.LogOddsSE, want.se, 1e-8)
		near(t, k.Treatment+" p", k.LogOddsP, want.p, 1e-8)
		if !k.Paired || k.Pairs != 14 {
			t.Errorf("%s: paired %v, %d pairs", k.Treatment, k.Paired, k.Pairs)
		}
		near(t, k.Treatment+" difference", k.Difference, float64(k.TreatmentOnly-k.ControlOnly)/14, 1e-12)
	}
	d = load(t, "data/synth_yesno_pieces.csv")
	table := NewTable(d.numbers(t, "done"), d["treatment"], d["block"])
	c, err = CompareYesNo(table, Options{Control: "A"}, "")
	if err != nil {
		t.Fatal(err)
	}
	k := c.Contrasts[0]
	near(t, "log odds, three pieces", k.LogOdds, 1.4733477438, 1e-8)
	near(t, "se", k.LogOddsSE, 0.758685213024, 1e-8)
	// Sums of yes by block: A 1,1,0,2,1,1; B 2,3,1,3,2,1 of three.
	near(t, "difference of shares", k.Difference, 6.0/18, 1e-12)
	if k.Paired || !math.IsNaN(k.McNemarP) {
		t.Error("three pieces a block are no pairs")
	}
}

// Score intervals of a paired difference: constrained likelihoods maximised
// numerically in R 4.2.2 (optimize, uniroot); McNemar by binom.test.
func TestPairedShares(t *testing.T) {
	for _, c := range []struct {
		both, treatment, control, neither int
		level, low, high                  float64
	}{
		{36, 12, 2, 0, 0.95, 0.06111240676, 0.3447087478},
		{20, 7, 3, 10, 0.95, -0.06183753529, 0.2641605127},
		{5, 9, 4, 6, 0.90, -0.04027567092, 0.4306348186},
	} {
		k := YesNoContrast{Paired: true, Both: c.both, TreatmentOnly: c.treatment, ControlOnly: c.control, Neither: c.neither,
			Pairs: c.both + c.treatment + c.control + c.neither}
		ci := k.Interval(c.level)
		// R's optimize stops at the root of machine precision.
		near(t, "low", ci.Low, c.low, 1e-7)
		near(t, "high", ci.High, c.high, 1e-7)
		// The interval and the tests agree at its ends.
		near(t, "p at low", k.P(Higher, ci.Low), (1-c.level)/2, 1e-8)
		near(t, "p at high", k.P(Lower, ci.High), (1-c.level)/2, 1e-8)
	}
	near(t, "z", tangoZ(7, 3, 40, 0.3), -2.35312007488, 1e-7)
	near(t, "McNemar 12 against 2", fairTwoSided(12, 14), 0.012939453125, 1e-12)
	near(t, "McNemar 3 against 3", fairTwoSided(3, 6), 1, 1e-12)

	all := YesNoContrast{Paired: true, Pairs: 6, TreatmentOnly: 6}
	if ci := all.Interval(0.95); ci.High != 1 || !(ci.Low > 0.1 && ci.Low < 1) {
		t.Errorf("all one way: %v", ci)
	}
	none := YesNoContrast{Paired: true, Pairs: 12, Both: 12}
	if ci := none.Interval(0.95); !(ci.Low < 0 && ci.Low > -0.5) || math.Abs(ci.Low+ci.High) > 1e-9 {
		t.Errorf("no change: %v", ci)
	}
}

// R 4.2.2: glm(count ~ factor(block) + treatment, quasipoisson).
func TestCounts(t *testing.T) {
	d := load(t, "data/synth_counts.csv")
	c, err := CompareCounts(NewTable(d.numbers(t, "count"), d["treatment"], d["block"]), Options{Control: "A"}, "")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dispersion", c.Dispersion, 1.43900343271, 1e-7)
	near(t, "df", c.DF, 14, 0)
	for i, want := range []struct{ b, se, p float64 }{{0.0896121586897, 0.207464745239, 0.672363854264}, {-0.2270574506353, 0.225167009576, 0.330376239440}} {
		k := c.Contrasts[i]
		near(t, k.Treatment, k.LogRatio, want.b, 1e-8)
		near(t, k.Treatment+" se", k.SE, want.se, 1e-7)
		near(t, k.Treatment+" p", k.P(Either, 0), want.p, 1e-7)
	}
	if !hasNote(c.Notes, "overdispersed") {
		t.Error("overdispersion is not shown")
	}
}

// Bitterness of wine (Randall 1989, Biom J 31:781): R 4.2.2, ordinal
// 2022.11-16, clmm with 40 adaptive nodes. clmm stops, with a warning, at
// about five digits of a threshold; the log-likelihoods agree to nine.
func TestGrades(t *testing.T) {
	d := load(t, "data/wine.csv")
	table := NewTable(d.numbers(t, "rating"), d["temp"], d["judge"])
	table.Factors = d.factors("contact")
	for _, c := range []struct {
		name             string
		also             []string
		thresholds       []float64
		b, se, v, logLik float64
	}{
		{"temperature", nil, []float64{-2.202553649459, 0.544865192326, 2.842522227867, 4.478022890414}, 2.669175006953, 0.554157264133, 0.904457220592, -88.7045038958},
		{"temperature and contact", []string{"contact"}, []float64{-1.62348745419, 1.51279603778, 4.22705345314, 6.08615227616}, 3.06189099186, 0.595077183774, 1.28773313114, -81.532460711},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, err := CompareGrades(table, Options{Control: "cold", Also: c.also}, "")
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range c.thresholds {
				near(t, "threshold", g.Thresholds[i], want, 1e-4)
			}
			k := g.Contrasts[0]
			near(t, "log odds", k.LogOdds, c.b, 1e-5)
			near(t, "se", k.LogOddsSE, c.se, 1e-4)
			near(t, "block variance", g.BlockVariance, c.v, 1e-4)
			near(t, "log-likelihood", g.LogLikelihood, c.logLik, 1e-8)
			// Nine judges all found the warm wine more bitter on average.
			near(t, "rank p", k.Ranks.P(Either, 0), 2.0/512, 1e-12)
			if ci := k.Interval(0.95); !(ci.Low > 0 && ci.High < 3) {
				t.Errorf("difference in grades %g, %v", k.Estimate, ci)
			}
		})
	}
}

func TestOtherResponsesBadInput(t *testing.T) {
	table := func(y ...float64) Table {
		return NewTable(y, []string{"a", "b", "a", "b"}, []string{"1", "1", "2", "2"})
	}
	for _, c := range []struct {
		name string
		run  func() error
		code fault.Code
	}{
		{"yes/no of 2", func() error { _, err := CompareYesNo(table(0, 1, 2, 1), Options{}, ""); return err }, "not-yes-no"},
		{"count of a half", func() error { _, err := CompareCounts(table(1, 2, 0.5, 1), Options{}, ""); return err }, "not-a-count"},
		{"grades all equal", func() error { _, err := CompareGrades(table(3, 3, 3, 3), Options{}, ""); return err }, "all-equal"},
		{"no blocks", func() error {
			t := table(0, 1, 1, 0)
			t.Block = nil
			_, err := CompareYesNo(t, Options{}, "")
			return err
		}, "block-missing"},
		{"log scale", func() error { _, err := CompareCounts(table(1, 2, 1, 1), Options{LogScale: true}, ""); return err }, "scale-kind"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if e := fault.As(c.run()); e == nil || e.Code != c.code {
				t.Errorf("got %v, want code %s", e, c.code)
			}
		})
	}
	// Every block one way: odds have no finite estimate, the rest stands.
	y, err := CompareYesNo(table(0, 1, 0, 1), Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(y.Contrasts[0].LogOdds) || !hasNote(y.Notes, "odds-infinite") || y.Contrasts[0].Difference != 1 {
		t.Errorf("separated data: %+v %v", y.Contrasts[0], y.Notes)
	}
	n, err := CompareCounts(table(0, 3, 0, 4), Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(n.Contrasts[0].LogRatio) || !hasNote(n.Notes, "rates-infinite") || n.Contrasts[0].Blocks.Estimate != 3.5 {
		t.Errorf("nothing counted: %+v %v", n.Contrasts[0], n.Notes)
	}
	g, err := CompareGrades(table(1, 3, 1, 3), Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(g.Contrasts[0].LogOdds) || g.Contrasts[0].Estimate != 2 {
		t.Errorf("separated grades: %+v %v", g.Contrasts[0], g.Notes)
	}
}

// JSON holds no NaN and no infinity, whatever could not be estimated.
func TestOtherResponsesJSON(t *testing.T) {
	table := NewTable([]float64{0, 1, 0, 1}, []string{"a", "b", "a", "b"}, []string{"1", "1", "2", "2"})
	y, err := CompareYesNo(table, Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	g, err := CompareGrades(table, Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	n, err := CompareCounts(table, Options{}, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []any{y, g, n} {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			Contrasts []map[string]any `json:"contrasts"`
		}
		if err := json.Unmarshal(b, &got); err != nil || len(got.Contrasts) != 1 {
			t.Fatalf("%v: %s", err, b)
		}
		if c := got.Contrasts[0]; c["treatment"] != "b" || c["control"] != "a" {
			t.Errorf("%s", b)
		}
	}
}

package stats

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// pairedCase is one set of paired differences with R 4.2.2 reference values.
type pairedCase struct {
	id, term      string
	d             []float64
	margin, delta float64
}

func pairedCases(t testing.TB) []pairedCase {
	difference := func(a, b []float64) []float64 {
		out := make([]float64, len(a))
		for i := range a {
			// To the recorded step, as a reader would write them down.
			out[i] = math.Round((a[i]-b[i])*1e6) / 1e6
		}
		return out
	}
	sleep := load(t, "data/sleep.csv")
	cake := load(t, "data/cake.csv").where("recipe", "A")
	synth := load(t, "data/synth_pairs8.csv")
	return []pairedCase{
		{"sleep_paired", "g2-g1", difference(sleep.where("group", "2").numbers(t, "extra"), sleep.where("group", "1").numbers(t, "extra")), 2, 0.5},
		{"cakeA_225_175", "225-175", difference(cake.where("temp", "225").numbers(t, "angle"), cake.where("temp", "175").numbers(t, "angle")), 5, 2},
		{"synth_pairs8", "B-A", difference(synth.numbers(t, "B"), synth.numbers(t, "A")), 0, 0},
	}
}

func TestPairedAgreesWithR(t *testing.T) {
	for _, c := range pairedCases(t) {
		t.Run(c.id, func(t *testing.T) {
			r := references(t, c.id)
			want := func(method, quantity string) float64 { return r.value(method, c.term, quantity) }
			e := Describe(c.d)
			near(t, "d_z", e.DZ, want("effect_size", "dz"), 1e-9)
			near(t, "J", e.J, want("effect_size", "hedges_J"), 1e-9)
			near(t, "g", e.HedgesG, want("effect_size", "gz"), 1e-9)
			// R's pt with a noncentrality stops at about 1e-7 of the root.
			near(t, "d_z low", e.DZInterval(0.95).Low, want("effect_size", "dz_ci95_lo"), 1e-6)
			near(t, "d_z high", e.DZInterval(0.95).High, want("effect_size", "dz_ci95_hi"), 1e-6)
			near(t, "next low", e.Next(0.95).Low, want("prediction_interval_next_diff", "pi95_lo"), 1e-9)
			near(t, "next high", e.Next(0.95).High, want("prediction_interval_next_diff", "pi95_hi"), 1e-9)
			near(t, "sd low", e.SDInterval(0.95).Low, want("sd_ci_chisq", "sd_ci95_lo"), 1e-9)
			near(t, "sd high", e.SDInterval(0.95).High, want("sd_ci_chisq", "sd_ci95_hi"), 1e-9)

			f := SignFlip(c.d, "")
			near(t, "sign-flip p", f.P(Either, 0), want("signflip_exact_mean", "p_two_sided"), 1e-12)
			near(t, "sign-flip p, greater", f.P(Higher, 0), want("signflip_exact_mean", "p_greater"), 1e-12)
			near(t, "sign-flip p, less", f.P(Lower, 0), want("signflip_exact_mean", "p_less"), 1e-12)

			w := SignedRank(c.d)
			near(t, "non-zero", float64(w.M), want("signed_rank_exact_drop0_midrank", "n_nonzero"), 0)
			near(t, "V", w.V, want("signed_rank_exact_drop0_midrank", "V"), 1e-12)
			near(t, "signed-rank p", w.P(Either), want("signed_rank_exact_drop0_midrank", "p_two_sided"), 1e-12)
			near(t, "Hodges–Lehmann", w.Estimate, want("hodges_lehmann", "estimate"), 1e-9)

			s := Signs(c.d, 0.95)
			near(t, "positive", float64(s.Positive), want("sign_test", "k_pos"), 0)
			near(t, "sign-test n", float64(s.N), want("sign_test", "n"), 0)
			near(t, "sign-test p", s.P, want("sign_test", "p_two_sided"), 1e-9)
			near(t, "share low", s.Share.Low, want("sign_test", "cp95_lo"), 1e-8)
			near(t, "share high", s.Share.High, want("sign_test", "cp95_hi"), 1e-8)
		})
	}
}

// The interval is the set of θ₀ the test does not reject: walk along a fine
// grid with the p-value defined straight from sign patterns.
func TestSignFlipIntervalInvertsTheTest(t *testing.T) {
	brute := func(d []float64, bound float64) float64 { // two-sided p by listing
		n := len(d)
		obs := 0.0
		for _, v := range d {
			obs += v - bound
		}
		var up, down float64
		for m := range 1 << n {
			s := 0.0
			for i, v := range d {
				if m>>i&1 == 1 {
					s -= v - bound
				} else {
					s += v - bound
				}
			}
			if s >= obs-1e-9 {
				up++
			}
			if s <= obs+1e-9 {
				down++
			}
		}
		return math.Min(1, 2*math.Min(up, down)/math.Exp2(float64(n)))
	}
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(rt, "n")
		d := make([]float64, n)
		for i := range d {
			d[i] = float64(rapid.IntRange(-40, 60).Draw(rt, "d")) / 10
		}
		level := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95}).Draw(rt, "level")
		f := SignFlip(d, "")
		ci := f.Interval(level)
		if ci.Level < level {
			rt.Fatalf("level %g below %g", ci.Level, level)
		}
		if math.IsInf(ci.Low, -1) {
			if 2/math.Exp2(float64(n)) <= 1-level {
				rt.Fatalf("infinite at n = %d", n)
			}
			return
		}
		for _, bound := range []float64{ci.Low - 0.01, ci.High + 0.01} {
			if p := brute(d, bound); p > 1-level+1e-12 {
				rt.Fatalf("%g outside [%g, %g] is not rejected: p = %g", bound, ci.Low, ci.High, p)
			}
		}
		for _, bound := range []float64{ci.Low, ci.High, (ci.Low + ci.High) / 2} {
			if p := brute(d, bound); p <= 1-level-1e-12 {
				rt.Fatalf("%g inside [%g, %g] is rejected: p = %g", bound, ci.Low, ci.High, p)
			}
			near(t, "p", f.P(Either, bound), brute(d, bound), 1e-12)
		}
	})
}

// Beyond 20 differences patterns are drawn; the answer comes close to the
// t-test's for normal data and repeats for the same seed.
func TestSignFlipDrawn(t *testing.T) {
	s := NewStream("flip", "data", 0)
	d := make([]float64, 60)
	for i := range d {
		d[i] = 0.4 + s.Normal()
	}
	a, b := SignFlip(d, "x"), SignFlip(d, "x")
	if a.Exact || a.P(Either, 0) != b.P(Either, 0) || a.Interval(0.95) != b.Interval(0.95) {
		t.Fatal("not repeatable")
	}
	k := Contrast{Estimate: Mean(d), SE: SD(d) / math.Sqrt(60), DF: 59}
	ci, want := a.Interval(0.95), k.Interval(0.95)
	if math.Abs(ci.Low-want.Low) > 0.03 || math.Abs(ci.High-want.High) > 0.03 {
		t.Errorf("interval %v, t interval %v", ci, want)
	}
	if p, want := a.P(Either, 0.2), k.OneSidedP(Either, 0.2); math.Abs(p-want) > 0.02 {
		t.Errorf("p = %g, t-test %g", p, want)
	}
}

// Readings in tenths: ends that are whole tenths or their simple fractions
// must not carry round-off.
func TestSignFlipIntervalIsTidy(t *testing.T) {
	f := SignFlip([]float64{66.4 - 66.1, 0.1 + 0.2, 63.7 - 63.4, 64.8 - 64.5, 62.3 - 62, 65.3 - 65}, "")
	if ci := f.Interval(0.95); ci.Low != 0.3 || ci.High != 0.3 {
		t.Errorf("interval %v of six differences of 0.3", ci)
	}
}

func TestLeastPairs(t *testing.T) {
	for _, c := range []struct {
		alpha float64
		want  int
	}{{0.05, 6}, {0.0625, 5}, {0.1, 5}, {0.01, 8}} {
		if got := LeastPairs(c.alpha); got != c.want {
			t.Errorf("LeastPairs(%g) = %d, want %d", c.alpha, got, c.want)
		}
	}
}

// R 4.2.2: x <- c(…); wilcox.test(x, conf.int = TRUE).
func TestSignedRankIntervalWithoutTies(t *testing.T) {
	w := SignedRank([]float64{1.1, 2.35, -0.4, 3.3, 0.72, 1.9, -1.25, 2.8, 0.15})
	near(t, "p", w.P(Either), 0.07421875, 1e-12)
	near(t, "estimate", w.Estimate, 1.2, 1e-9)
	ci := w.Interval(0.95)
	near(t, "low", ci.Low, -0.125, 1e-9)
	near(t, "high", ci.High, 2.575, 1e-9)
}

// Quantiles of the signed-rank distribution by R 4.2.2, qsignrank.
func TestSignedRankDistribution(t *testing.T) {
	rows, col := readCSV(t, "distribution_reference.csv")
	checked := 0
	for _, row := range rows {
		if row[col["dist"]] != "signrank" {
			continue
		}
		p, _ := strconv.ParseFloat(row[col["x"]], 64)
		n, _ := strconv.Atoi(row[col["par1"]])
		want, _ := strconv.Atoi(row[col["value"]])
		share := SignedRank(floats(seq(n + 1)[1:])).share
		sum, v := 0.0, 0
		for ; v < len(share); v++ {
			if sum += share[v]; sum >= p {
				break
			}
		}
		if v/2 != want {
			t.Errorf("%g quantile for n = %d is %d, want %d", p, n, v/2, want)
		}
		checked++
	}
	if checked < 40 {
		t.Errorf("only %d values checked", checked)
	}
}

// Exact enumeration of all resamples, by an independent program.
func TestBootstrapExact(t *testing.T) {
	rows, _ := readCSV(t, "analysis_reference.csv")
	for _, id := range []string{"boot_sleep", "boot_skew7", "boot_synth_pairs8"} {
		t.Run(id, func(t *testing.T) {
			var x []float64
			for _, row := range rows {
				if row[0] == id {
					for _, f := range strings.Fields(row[1]) {
						v, _ := strconv.ParseFloat(f, 64)
						x = append(x, v)
					}
					break
				}
			}
			r := references(t, id)
			b, err := Bootstrap(x, "")
			if err != nil {
				t.Fatal(err)
			}
			want := func(q string) float64 { return r.value("BCa", "", q) }
			near(t, "se", b.SE, want("boot_se_exact"), 1e-9)
			near(t, "z0", b.Bias, want("z0_midp"), 1e-9)
			near(t, "a", b.Acceleration, want("accel_a"), 1e-9)
			for _, level := range []float64{0.95, 0.90} {
				name := fmt.Sprint(100 * level)
				bca, perc := b.BCa(level), b.Percentile(level)
				lo, hi := b.bcaShares(level)
				near(t, "lo share", lo, want("bca"+name+"_lo_prob"), 1e-9)
				near(t, "hi share", hi, want("bca"+name+"_hi_prob"), 1e-9)
				near(t, "BCa low", bca.Low, want("bca"+name+"_lo"), 1e-9)
				near(t, "BCa high", bca.High, want("bca"+name+"_hi"), 1e-9)
				near(t, "percentile low", perc.Low, want("perc"+name+"_lo"), 1e-9)
				near(t, "percentile high", perc.High, want("perc"+name+"_hi"), 1e-9)
			}
			if (len(x) < 8) != hasNote(b.Notes, "bootstrap-few-blocks") {
				t.Error("note about few blocks")
			}
		})
	}
}

// Drawn resamples agree with the limit: for a mean, se → √(Σc²)/n.
func TestBootstrapDrawn(t *testing.T) {
	s := NewStream("boot", "data", 0)
	x := make([]float64, 20)
	for i := range x {
		x[i] = math.Exp(s.Normal())
	}
	b, err := Bootstrap(x, "s")
	if err != nil || b.Exact {
		t.Fatal(err, b.Exact)
	}
	c := centred(x)
	near(t, "se", b.SE, math.Sqrt(dot(c, c))/20, 0.03)
	ci := b.BCa(0.95)
	if !(ci.Low < b.Mean && b.Mean < ci.High) || b.Acceleration <= 0 {
		t.Errorf("interval %v around %g, acceleration %g", ci, b.Mean, b.Acceleration)
	}
	again, _ := Bootstrap(x, "s")
	if again.BCa(0.95) != ci {
		t.Error("not repeatable")
	}
}

func TestOutliersAreFlaggedNotDropped(t *testing.T) {
	x := []float64{1.0, 1.2, 0.9, 1.1, 1.0, 9.0}
	if got := Outliers(x); !slices.Equal(got, []int{5}) {
		t.Errorf("flagged %v, want [5]", got)
	}
	if got := Outliers(x[:5]); got != nil {
		t.Errorf("flagged %v among five", got)
	}
	if got := Outliers([]float64{1, 1, 1, 1, 1, 9}); got != nil {
		t.Errorf("flagged %v with a zero spread", got)
	}
}

func TestShareBeyond(t *testing.T) {
	d := Describe([]float64{1, 2, 3, 4, 5}) // mean 3, SD √2.5
	near(t, "above 3", d.ShareBeyond(Higher, 3), 0.5, 1e-12)
	near(t, "both sides of 0", d.ShareBeyond(Either, 0), 1, 1e-12)
	near(t, "below −3", d.ShareBeyond(Lower, 3), bigPhi(-6/math.Sqrt(2.5)), 1e-12)
}

//go:build coverage

package stats

import (
	"fmt"
	"math"
	"testing"
)

// The checks of this file simulate whole experiments from fixed seeds; they
// run with "make check-coverage". Each states its tolerance: a share p of n
// runs has standard error √(p(1−p)/n).

// Looking after every pair, for ever, the always-valid interval misses the
// true difference in at most α of the experiments.
func TestCoverageOfTheAlwaysValidInterval(t *testing.T) {
	const runs, pairs = 20_000, 200
	for _, g := range []float64{0.25, 1, 4} {
		k := make([]float64, pairs+1)
		for n := range k {
			k[n] = ConfidenceSequenceRadius(n, g, 0.05)
		}
		missed := 0
		for run := range runs {
			s := NewStream("always valid", fmt.Sprint(g), uint64(run))
			mean, ss := 0.0, 0.0
			for n := 1; n <= pairs; n++ {
				step := s.Normal() - mean
				mean += step / float64(n)
				ss += step * step * float64(n-1) / float64(n)
				if n >= 2 && math.Abs(mean) > k[n]*math.Sqrt(ss/float64(n-1)/float64(n)) {
					missed++
					break
				}
			}
		}
		share := float64(missed) / runs
		t.Logf("g = %v: ever missed in %.2f %% of %d experiments of %d pairs", g, 100*share, runs, pairs)
		if share > 0.05 {
			t.Errorf("g = %v: %v", g, share)
		}
	}
}

// Two one-sided tests at a true difference of exactly the margin say "inside"
// in at most α of the experiments, and in nearly α of them when n is large.
func TestCoverageOfEquivalence(t *testing.T) {
	const runs = 40_000
	for _, n := range []int{4, 6, 10, 40} {
		q := tQuantile(0.95, float64(n-1))
		said := 0
		for run := range runs {
			s := NewStream("equivalence", fmt.Sprint(n), uint64(run))
			d := make([]float64, n)
			for i := range d {
				d[i] = 1 + s.Normal()
			}
			h := q * SD(d) / math.Sqrt(float64(n))
			if m := Mean(d); m-h > -1 && m+h < 1 {
				said++
			}
		}
		share := float64(said) / runs
		exact := PowerEquivalence(1, 1, 1/math.Sqrt(float64(n)), float64(n-1), 0.05)
		t.Logf("n = %d: wrongly inside in %.2f %% (exact: %.2f %%)", n, 100*share, 100*exact)
		if tol := 4 * math.Sqrt(0.05*0.95/runs); share > 0.05+tol || math.Abs(share-exact) > tol {
			t.Errorf("n = %d: %v, exact %v", n, share, exact)
		}
	}
}

// REML intervals with Satterthwaite degrees of freedom on 6 blocks of three
// treatments of which two pieces are missing: 93 to 97 % cover at nominal
// 95 %, with large and with no block variance.
func TestCoverageOfREMLIntervals(t *testing.T) {
	const runs = 6_000
	for _, block := range []float64{0, 1, 3} {
		covered, count := 0, 0
		for run := range runs {
			s := NewStream("reml", fmt.Sprint(block), uint64(run))
			var tab Table
			for b := range 6 {
				effect := block * s.Normal()
				for tr := range 3 {
					y := effect + s.Normal() + float64(tr)
					if b == 0 && tr == 1 || b == 3 && tr == 2 {
						continue
					}
					tab.Response = append(tab.Response, y)
					tab.Treatment = append(tab.Treatment, fmt.Sprint("t", tr))
					tab.Block = append(tab.Block, fmt.Sprint(b))
				}
			}
			c, err := Compare(tab, Options{Control: "t0"})
			if err != nil {
				t.Fatal(err)
			}
			for i, x := range c.Contrasts {
				count++
				if w := x.Interval(0.95); w.Low <= float64(i+1) && float64(i+1) <= w.High {
					covered++
				}
			}
		}
		share := float64(covered) / float64(count)
		t.Logf("block SD %v: %.2f %% of %d intervals cover", block, 100*share, count)
		if share < 0.93 || share > 0.97 {
			t.Errorf("block SD %v: %v", block, share)
		}
	}
}

// Group-sequential t intervals at three looks: the chance that any misses. The
// boundaries are those of normal increments, so with few pairs it is a little
// above α; the plan's own floor of blocks keeps it small.
func TestCoverageOfGroupSequentialIntervals(t *testing.T) {
	const runs = 20_000
	for _, sp := range []Spending{SpendLate, SpendEvenly} {
		l, err := GroupSequential(sp, 0.05, []float64{8.0 / 20, 14.0 / 20, 1})
		if err != nil {
			t.Fatal(err)
		}
		missed := 0
		for run := range runs {
			s := NewStream("looks", string(sp), uint64(run))
			var d []float64
			for i, n := range []int{8, 14, 20} {
				for len(d) < n {
					d = append(d, s.Normal())
				}
				if math.Abs(Mean(d)) > tQuantile(1-l.Nominal[i]/2, float64(n-1))*SD(d)/math.Sqrt(float64(n)) {
					missed++
					break
				}
			}
		}
		share := float64(missed) / runs
		t.Logf("%s: ever missed in %.2f %%", sp, 100*share)
		if share > 0.055 {
			t.Errorf("%s: %v", sp, share)
		}
	}
}

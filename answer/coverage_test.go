//go:build coverage

package answer

import (
	"math"
	"testing"

	"trivet/stats"
	"trivet/study"
)

// Five questions in one study, differences of unit scatter, correlated within
// a block or not: a wrong settled code on any of them in at most α of the
// studies. "Wrong" is a code that the true difference denies.
func TestCoverageOfTheStepDown(t *testing.T) {
	const runs, m = 8_000, 5
	for _, tc := range []struct {
		name  string
		truth [m]float64
		n     int
		delta float64
		rho   float64
	}{
		{"all at the margin", [m]float64{1, 1, 1, 1, 1}, 12, 1, 0},
		{"all at the margin, correlated", [m]float64{1, 1, 1, 1, 1}, 12, 1, 0.7},
		{"just inside", [m]float64{.999, .999, .999, .999, .999}, 12, 1, 0},
		{"three null, one large, one at the margin", [m]float64{0, 0, 0, 3, 1}, 12, 1, 0},
		{"wide margin", [m]float64{2, 2, 2, 2, 2}, 8, 2, 0},
		{"wide margin, some settled", [m]float64{0, 0, 4, 4, 2}, 8, 2, 0.7},
	} {
		wrong := 0
		for run := range runs {
			s := stats.NewStream("step-down "+tc.name, "fwer", uint64(run))
			d := [m][]float64{}
			for range tc.n {
				common := s.Normal()
				for q := range m {
					d[q] = append(d[q], tc.truth[q]+math.Sqrt(tc.rho)*common+math.Sqrt(1-tc.rho)*s.Normal())
				}
			}
			var verdicts [m]Verdict
			judge := func(q int, a float64) bool {
				c := stats.Contrast{Estimate: stats.Mean(d[q]), SE: stats.SD(d[q]) / math.Sqrt(float64(tc.n)), DF: float64(tc.n - 1)}
				w, r := c.Interval(1-a), c.Interval(1-2*a)
				verdicts[q] = Judge(Interval{w.Low, w.High}, Interval{r.Low, r.High}, tc.delta, study.Higher)
				return verdicts[q].Settled()
			}
			stepDown(m, m, 0.05, judge)
			for q, v := range verdicts {
				th := tc.truth[q]
				if (v == Matters && th < tc.delta) || (v == Opposite && th > -tc.delta) || (inside(v) && math.Abs(th) >= tc.delta) {
					wrong++
					break
				}
			}
		}
		share := float64(wrong) / runs
		t.Logf("%s: a wrong verdict in %.2f %% of studies", tc.name, 100*share)
		if share > 0.05+3*math.Sqrt(0.05*0.95/runs) {
			t.Errorf("%s: %v", tc.name, share)
		}
	}
}

// The chances a plan states are those of the rule itself: simulated studies
// end with each code as often as [Chances] says.
func TestCoverageOfPlannedChances(t *testing.T) {
	const runs, n = 20_000, 10
	for _, theta := range []float64{0, 0.5, 1, 1.5, 2} {
		count := map[Verdict]float64{}
		for run := range runs {
			s := stats.NewStream("chances", "codes", uint64(run))
			d := make([]float64, n)
			for i := range d {
				d[i] = theta + 0.8*s.Normal()
			}
			c := stats.Contrast{Estimate: stats.Mean(d), SE: stats.SD(d) / math.Sqrt(n), DF: n - 1}
			w, r := c.Interval(0.95), c.Interval(0.9)
			count[Judge(Interval{w.Low, w.High}, Interval{r.Low, r.High}, 1, study.Higher)]++
		}
		want := Chances(theta, 1, 0.8/math.Sqrt(n), n-1, 0.05, n, study.Higher)
		for v, p := range map[Verdict]float64{Matters: want.Matters, Opposite: want.Opposite, TooSmall: want.TooSmall, NoDifference: want.NoDifference, Unsettled: want.Unsettled} {
			if got := count[v] / runs; math.Abs(got-p) > 4*math.Sqrt(p*(1-p)/runs)+1e-4 {
				t.Errorf("θ = %v, %s: simulated %v, planned %v", theta, v, got, p)
			}
		}
	}
}

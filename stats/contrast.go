package stats

import (
	"encoding/json"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
)

// Claim is the direction in which a claim says the treatment moves the
// response.
type Claim string

// Directions of a claim. The empty Claim means Either.
const (
	Higher Claim = "higher"
	Lower  Claim = "lower"
	Either Claim = "either"
)

// Contrast is treatment minus control, on the analysis scale (logarithms when
// the comparison was made on them), with the t distribution that goes with
// it. Numbers that do not exist are NaN and become null in JSON.
type Contrast struct {
	Treatment string
	Control   string
	Estimate  float64
	SE        float64 // standard error of Estimate
	DF        float64 // its degrees of freedom
	CILow     float64 // interval at the comparison's 1−α, not adjusted for several treatments
	CIHigh    float64
	T         float64 // Estimate/SE
	P         float64 // two-sided
	PAdjusted float64 // two-sided, for all contrasts of the comparison together
	// EquivP is the larger one-sided p of the two tests against ±margin; NaN
	// without a margin.
	EquivP float64

	// What follows is filled by the caller who judges the comparison.

	VerdictLevel float64 // level a at which the verdict was read; 0 when none was
	RawVerdict   string  // verdict of the intervals alone
	Verdict      string  // verdict after every check; empty when there is none
	WhyNot       []fault.Code
}

// Interval is a range of differences at a confidence level.
type Interval struct {
	Low, High float64
	Level     float64 // the level actually reached, at least the one asked for
}

// Interval returns the t interval at a confidence level such as 0.95.
func (c Contrast) Interval(level float64) Interval {
	h := tQuantile(1-(1-level)/2, c.DF) * c.SE
	return Interval{Low: c.Estimate - h, High: c.Estimate + h, Level: level}
}

// EquivalenceP is the p-value of the two one-sided tests that the difference
// lies inside ±margin (Schuirmann 1987, J Pharmacokinet Biopharm 15:657): the
// larger of P(T > (d+δ)/se) and P(T < (d−δ)/se). It is at most a exactly when
// the 1−2a interval lies inside ±margin. NaN for a margin that is not
// positive.
func (c Contrast) EquivalenceP(margin float64) float64 {
	if !(margin > 0) {
		return math.NaN()
	}
	return math.Max(c.OneSidedP(Higher, -margin), c.OneSidedP(Lower, margin))
}

// OneSidedP is the p-value of the hypothesis that the difference is on the
// far side of bound: for Higher it tests against "difference ≤ bound", for
// Lower against "difference ≥ bound". With bound = ±margin it is the
// minimum-effect test (Murphy & Myors 1999, J Appl Psychol 84:234). Either
// doubles the smaller one.
func (c Contrast) OneSidedP(claim Claim, bound float64) float64 {
	t := (c.Estimate - bound) / c.SE
	switch claim {
	case Higher:
		return tUpper(t, c.DF)
	case Lower:
		return tUpper(-t, c.DF)
	}
	return math.Min(1, 2*tUpper(math.Abs(t), c.DF))
}

// fill computes everything that follows from estimate, standard error and
// degrees of freedom.
func (c *Contrast) fill(alpha, margin float64) {
	c.fillWith(tQuantile(1-alpha/2, c.DF), margin)
}

// fillWith is fill with the t quantile of the interval already known.
func (c *Contrast) fillWith(quantile, margin float64) {
	c.T = c.Estimate / c.SE
	c.P = c.OneSidedP(Either, 0)
	c.PAdjusted = c.P
	c.CILow, c.CIHigh = c.Estimate-quantile*c.SE, c.Estimate+quantile*c.SE
	c.EquivP = c.EquivalenceP(margin)
}

// tUpper is P(T > t) for Student's t with df degrees of freedom. The upper
// tail is computed as the lower tail of −t, which keeps its digits.
func tUpper(t, df float64) float64 {
	switch {
	case math.IsNaN(t) || !(df > 0):
		return math.NaN()
	case math.IsInf(df, 1):
		return distuv.UnitNormal.CDF(-t)
	case t < 0:
		return 1 - tUpper(-t, df)
	}
	// P(T > t) = ½ I_x(ν/2, ½), x = ν/(ν+t²).
	return 0.5 * regIncBeta(df/2, 0.5, df/(df+t*t))
}

// tQuantile is the p quantile of Student's t with df degrees of freedom.
func tQuantile(p, df float64) float64 {
	if !(df > 0) || math.IsNaN(p) || p <= 0 || p >= 1 {
		return math.NaN()
	}
	if math.IsInf(df, 1) {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// MarshalJSON writes the contract of a contrast: non-finite numbers and
// verdicts that were not given are null.
func (c Contrast) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Treatment    string       `json:"treatment"`
		Control      string       `json:"control"`
		Estimate     *float64     `json:"estimate"`
		SE           *float64     `json:"se"`
		DF           *float64     `json:"df"`
		CILow        *float64     `json:"ci_low"`
		CIHigh       *float64     `json:"ci_high"`
		T            *float64     `json:"t"`
		P            *float64     `json:"p_value"`
		PAdjusted    *float64     `json:"p_adjusted"`
		EquivP       *float64     `json:"equivalence_p"`
		VerdictLevel *float64     `json:"verdict_level"`
		RawVerdict   *string      `json:"raw_verdict"`
		Verdict      *string      `json:"verdict"`
		WhyNot       []fault.Code `json:"why_not"`
	}{
		c.Treatment, c.Control, finite(c.Estimate), finite(c.SE), finite(c.DF),
		finite(c.CILow), finite(c.CIHigh), finite(c.T), finite(c.P), finite(c.PAdjusted), finite(c.EquivP),
		positive(c.VerdictLevel), given(c.RawVerdict), given(c.Verdict), nonNil(c.WhyNot),
	})
}

// finite returns nil for NaN and the infinities, which JSON cannot hold.
func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func positive(x float64) *float64 {
	if !(x > 0) {
		return nil
	}
	return finite(x)
}

func given(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func nonNil[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

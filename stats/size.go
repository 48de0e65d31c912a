package stats

import (
	"math"

	"trivet/fault"
)

// Test is what an experiment is to show.
type Test string

// Tests of a difference.
const (
	// TestDifference: some difference from zero, two-sided at alpha.
	TestDifference Test = "difference"
	// TestEquivalence: a difference inside ±margin, two one-sided tests each
	// at alpha.
	TestEquivalence Test = "equivalence"
	// TestMinimumEffect: a difference beyond the margin, one-sided at alpha/2,
	// which is I(1−alpha) wholly beyond it.
	TestMinimumEffect Test = "minimum-effect"
)

// Arrangement is how pieces stand to each other in a sizing question.
type Arrangement string

// Arrangements.
const (
	Paired    Arrangement = "paired"     // n pairs; SD of the differences
	RCB       Arrangement = "rcb"        // n complete blocks; residual SD within blocks
	TwoSample Arrangement = "two-sample" // n pieces a treatment; SD of a piece
)

// Sizing asks how many blocks an experiment needs.
type Sizing struct {
	Test       Test
	Design     Arrangement
	Treatments int     // of a complete block design; 0 means 2
	SD         float64 // see [Arrangement]
	Margin     float64 // smallest difference that matters, > 0
	Alpha      float64 // 0 means 0.05
	Power      float64 // wanted; 0 means 0.8
	// TrueEffect is what the power is computed for. Nil takes the margin for
	// a difference and a quarter of it for equivalence, since planning on no
	// difference at all is optimistic.
	TrueEffect *float64
}

// Size is the answer to a [Sizing].
type Size struct {
	Blocks     int     // the smallest number with the wanted power
	Power      float64 // at that number
	TrueEffect float64
	DF         float64 // error degrees of freedom at that number
	SE         float64 // of the difference at that number
}

// mostSize is where the search for a number of blocks stops.
const mostSize = 100_000

// normalise fills defaults and refuses what cannot be sized.
func (q *Sizing) normalise() error {
	if q.Alpha == 0 {
		q.Alpha = 0.05
	}
	if q.Power == 0 {
		q.Power = 0.8
	}
	if q.Treatments == 0 {
		q.Treatments = 2
	}
	bad := func(code fault.Code, field, message, fix string) error {
		return fault.BadUsage(code, "%s", message).On(field, "").WithFix("%s", fix)
	}
	positive := func(x float64) bool { return x > 0 && !math.IsInf(x, 0) }
	switch {
	case !positive(q.SD):
		return bad("sd-range", "sd", "the standard deviation must be a positive number", "take it from a pilot: 0 would say that pieces never differ")
	case !positive(q.Margin):
		return bad("margin-range", "margin", "the margin must be a positive number", "give the smallest difference that matters")
	case !(q.Alpha > 0 && q.Alpha < 0.5):
		return bad("alpha-range", "alpha", "alpha must lie between 0 and 0.5", "0.05 is usual")
	case !(q.Power > q.Alpha && q.Power < 1):
		return bad("power-range", "power", "the power must lie between alpha and 1", "0.8 is usual")
	case q.Treatments < 2:
		return bad("treatments-range", "treatments", "there must be at least two treatments", "write --treatments 2 or more")
	case q.Treatments > 2 && q.Design != RCB:
		return bad("treatments-design", "treatments", "only complete blocks take a number of treatments", "add --design rcb")
	}
	theta := q.Margin
	if q.Test == TestEquivalence {
		theta = q.Margin / 4
	}
	if q.TrueEffect != nil {
		theta = *q.TrueEffect
	}
	if math.IsNaN(theta) || math.IsInf(theta, 0) {
		return bad("true-effect-range", "true-effect", "the true effect must be a number", "write it in the unit of the margin")
	}
	switch q.Test {
	case TestDifference:
		if theta == 0 {
			return bad("true-effect-range", "true-effect", "no test can show a difference that is zero", "give a true effect other than 0, or --test equivalence")
		}
	case TestEquivalence:
		if math.Abs(theta) >= q.Margin {
			return bad("true-effect-range", "true-effect", "equivalence cannot be shown when the true effect reaches the margin", "give a true effect inside the margin")
		}
	case TestMinimumEffect:
		if q.TrueEffect == nil {
			return bad("true-effect-missing", "true-effect", "a minimum effect needs the true effect the power is for", "add --true-effect above the margin: at the margin itself no number of blocks will do")
		}
		if math.Abs(theta) <= q.Margin {
			return bad("true-effect-range", "true-effect", "the true effect must lie above the margin, or no number of blocks can show that it does", "raise the true effect or lower the margin")
		}
	default:
		return fault.BadUsage("test-unknown", "there is no test %q", q.Test).On("test", string(q.Test)).WithFix("difference, equivalence or minimum-effect")
	}
	q.TrueEffect = &theta
	switch q.Design {
	case Paired, RCB, TwoSample:
		return nil
	}
	return fault.BadUsage("design-unknown", "there is no design %q", q.Design).On("design", string(q.Design)).WithFix("paired, rcb or two-sample")
}

// spread is the standard error and error degrees of freedom of one
// comparison on n blocks.
func (q *Sizing) spread(n int) (se, df float64) {
	switch q.Design {
	case RCB:
		l := RandomisedBlocks(q.Treatments, n)
		return l.SE(q.SD), l.DF2
	case TwoSample:
		return OneWay(2, n).SE(q.SD), float64(2*n - 2)
	}
	return q.SD / math.Sqrt(float64(n)), float64(n - 1)
}

// at is the power on n blocks.
func (q *Sizing) at(n int) float64 {
	se, df := q.spread(n)
	if df < 1 {
		return 0
	}
	theta := math.Abs(*q.TrueEffect)
	switch q.Test {
	case TestEquivalence:
		return PowerEquivalence(theta, q.Margin, se, df, q.Alpha)
	case TestMinimumEffect:
		return PowerBeyond(theta, q.Margin, se, df, q.Alpha)
	}
	return PowerDifference(theta, se, df, q.Alpha)
}

// Smallest is the smallest number of blocks with the wanted power. An
// equivalence test's power is not rising everywhere near zero, so numbers are
// tried one by one up to 200 and by halving beyond.
func (q Sizing) Smallest() (Size, error) {
	if err := q.normalise(); err != nil {
		return Size{}, err
	}
	n := 0
	for i := 2; i <= 200 && n == 0; i++ {
		if q.at(i) >= q.Power {
			n = i
		}
	}
	if n == 0 {
		n = SmallestN(201, mostSize, q.Power, q.at)
	}
	if n == 0 {
		return Size{}, fault.New("size-beyond", "more than %d blocks would be needed", mostSize).
			WithFix("a larger margin or less scatter: the margin is too fine for a standard deviation of %g", q.SD)
	}
	return q.size(n), nil
}

func (q *Sizing) size(n int) Size {
	se, df := q.spread(n)
	return Size{Blocks: n, Power: q.at(n), TrueEffect: *q.TrueEffect, DF: df, SE: se}
}

// At is the power of a given number of blocks.
func (q Sizing) At(n int) (Size, error) {
	if err := q.normalise(); err != nil {
		return Size{}, err
	}
	if n < 2 {
		return Size{}, fault.BadUsage("blocks-range", "one block shows what happened once; it has no error to test against").WithFix("2 blocks or more")
	}
	return q.size(n), nil
}

// Curve is the power of every number of blocks from 2 to most.
func (q Sizing) Curve(most int) ([]Size, error) {
	if err := q.normalise(); err != nil {
		return nil, err
	}
	var out []Size
	for n := 2; n <= most; n++ {
		out = append(out, q.size(n))
	}
	return out, nil
}

// Precision is the smallest n for which a 1−alpha interval of a mean of n
// differences is no wider than ± halfWidth, with the standard deviation taken
// as sd: t(1−α/2, n−1) sd/√n ≤ halfWidth. In half of all experiments the
// interval will come out wider; use [UpperSD] for more assurance.
func Precision(sd, halfWidth, alpha float64) int {
	return SmallestN(2, mostSize, 1, func(n int) float64 {
		if tQuantile(1-alpha/2, float64(n-1))*sd/math.Sqrt(float64(n)) <= halfWidth {
			return 1
		}
		return 0
	})
}

// Assurance is the expected power when the standard deviation is known from
// a pilot only: power averaged over σ² = s² ν/χ²(ν), the distribution that
// an SD of s on df degrees of freedom leaves for it under a flat prior on
// ln σ. power gets the SD.
//
// References: A. O'Hagan, J. W. Stevens & M. J. Campbell, Pharmaceutical
// Statistics 4:187 (2005).
func Assurance(s, df float64, power func(sd float64) float64) float64 {
	if !(df > 0) || !(s > 0) {
		return math.NaN()
	}
	return overSpread(df, math.Inf(1), func(ratio float64) float64 { return power(s / ratio) })
}

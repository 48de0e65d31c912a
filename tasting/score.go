package tasting

import (
	"fmt"
	"math"

	"trivet/fault"
)

// Verdict is the outcome of a choice test.
type Verdict string

// Verdicts. NotShown… never means the opposite.
const (
	Different         Verdict = "different"
	NotShownDifferent Verdict = "not-shown-different"
	Similar           Verdict = "similar"
	NotShownSimilar   Verdict = "not-shown-similar"
)

// Count is what a choice test is scored from.
type Count struct {
	N, Correct int
	// Assessors is how many different people gave the N answers; 0 when each
	// gave one or it is not known.
	Assessors int
	// PiecePairs is how many pairs of pieces the samples came from, 0 when
	// not known.
	PiecePairs int
}

// Rule is what was fixed before tasting. Discriminators or DPrime is the
// size of difference that matters: needed for similarity, and for the power
// of a difference test. Beta defaults to Alpha.
type Rule struct {
	For            Aim     `json:"for"`
	Alpha          float64 `json:"alpha"`
	Beta           float64 `json:"beta,omitempty"`
	Discriminators float64 `json:"pd,omitempty"`
	DPrime         float64 `json:"d_prime,omitempty"`
}

// Result is a scored choice test. Every limit is one-sided at 1−Alpha, so
// that PDLow > 0 exactly when PValue < Alpha; two-sided tests take Alpha/2 on
// each side for the product chosen more often.
type Result struct {
	Method           string   `json:"method"`
	For              Aim      `json:"for"`
	N                int      `json:"n"`
	Correct          int      `json:"correct"`
	GuessProbability float64  `json:"guess_probability"`
	PValue           float64  `json:"p_value"`  // exact, one-sided unless the method is two-sided
	Critical         *int     `json:"critical"` // null when no count would do
	PC               float64  `json:"pc"`
	PDRaw            float64  `json:"pd_raw"` // may be negative
	PD               float64  `json:"pd"`     // cut at 0
	PDLow            float64  `json:"pd_low"`
	PDHigh           float64  `json:"pd_high"`
	DPrime           *float64 `json:"d_prime"` // null when infinite
	DPrimeLow        *float64 `json:"d_prime_low"`
	DPrimeHigh       *float64 `json:"d_prime_high"`
	DPrimeSE         *float64 `json:"d_prime_se"` // delta method; null where it fails
	Likelihood       Limits   `json:"likelihood"` // the same limits by likelihood ratio
	// PSimilarity is P(X ≤ x) at the size of difference that matters.
	PSimilarity *float64 `json:"p_similarity,omitempty"`
	// Power is the chance this n had of the claim aimed at: at the size that
	// matters for a difference, at none for similarity.
	Power *float64 `json:"power,omitempty"`
	Alpha float64  `json:"alpha"`
	// LimitLevel is the level of each one-sided limit.
	LimitLevel float64      `json:"limit_level"`
	Beta       *float64     `json:"beta,omitempty"`
	Verdict    Verdict      `json:"verdict"`
	Says       []string     `json:"says"`
	Notes      []fault.Note `json:"notes,omitempty"`

	// Where answers were replicated or sureness was asked: see ScoreChoices.
	Overdispersion *Overdispersion `json:"overdispersion,omitempty"`
	Sureness       []SureRow       `json:"sureness,omitempty"`
	Positions      *PositionUse    `json:"positions,omitempty"`
}

// Limits are one-sided confidence limits of pd and d′.
type Limits struct {
	PDLow      float64  `json:"pd_low"`
	PDHigh     float64  `json:"pd_high"`
	DPrimeLow  *float64 `json:"d_prime_low"`
	DPrimeHigh *float64 `json:"d_prime_high"`
}

// Score scores a count of right answers. For a two-sided paired comparison
// Correct counts the choices of one product, whichever.
func Score(m ForcedChoice, c Count, r Rule) (*Result, error) {
	if r.For == "" {
		r.For = ForDifference
	}
	if r.Beta == 0 {
		r.Beta = r.Alpha
	}
	if err := checkScore(c, r); err != nil {
		return nil, err
	}
	two := sides(m)
	guess := m.Guess()
	x := c.Correct
	if two == 2 {
		x = max(x, c.N-x)
	}
	p := two * upperTail(c.N, x, guess.Float())
	res := &Result{
		Method: m.Describe().Name, For: r.For, N: c.N, Correct: c.Correct,
		GuessProbability: guess.Float(), PValue: math.Min(1, p), PC: float64(x) / float64(c.N), Alpha: r.Alpha,
		LimitLevel: 1 - r.Alpha/two,
	}
	// (x/n − a/b)/(1 − a/b) in whole numbers, so that a round share prints as one.
	res.PDRaw = float64(guess.Den*int64(x)-guess.Num*int64(c.N)) / float64((guess.Den-guess.Num)*int64(c.N))
	res.PD = math.Max(0, res.PDRaw)
	res.DPrime = finite(DPrime(m, res.PC))
	res.DPrimeSE = finite(DPrimeSE(m, c.N, x))

	low, high := clopperPearson(c.N, x, r.Alpha/two)
	least := leastFor(m, c.N, r.Alpha)
	if x < least || p >= r.Alpha {
		low = math.Min(low, guess.Float()) // p = alpha exactly: the limit is the guess rate
	}
	exact := limitsOf(m, low, high)
	res.PDLow, res.PDHigh, res.DPrimeLow, res.DPrimeHigh = exact.PDLow, exact.PDHigh, exact.DPrimeLow, exact.DPrimeHigh
	llow, lhigh := likelihoodLimits(c.N, x, r.Alpha/two)
	res.Likelihood = limitsOf(m, llow, lhigh)

	res.judge(m, c, r, x, least)
	res.remark(m, c)
	res.speak(m, c, r, x)
	return res, nil
}

func checkScore(c Count, r Rule) error {
	switch {
	case c.N < 1:
		return fault.New("count-range", "there must be at least one answer").On("n", fmt.Sprint(c.N)).WithFix("give the number of assessments")
	case c.Correct < 0:
		return fault.New("count-range", "the number of right answers is negative").On("correct", fmt.Sprint(c.Correct)).WithFix("count right answers from 0 to %d", c.N)
	case c.Correct > c.N:
		return fault.New("count-range", "more right answers (%d) than assessments (%d)", c.Correct, c.N).On("correct", fmt.Sprint(c.Correct)).WithFix("count right answers from 0 to %d", c.N)
	case c.N > 1_000_000:
		return fault.New("count-range", "more than a million assessments").On("n", fmt.Sprint(c.N)).WithFix("check the number")
	case c.Assessors < 0 || c.Assessors > c.N:
		return fault.New("count-range", "%d assessors cannot have given %d answers", c.Assessors, c.N).On("assessors", fmt.Sprint(c.Assessors)).WithFix("at most one assessor an answer")
	}
	if r.For != ForDifference && r.For != ForSimilarity {
		return fault.BadUsage("aim-unknown", "a test is for difference or for similarity").On("for", string(r.For)).WithFix("difference or similarity")
	}
	if err := riskInRange("alpha", r.Alpha); err != nil {
		return err
	}
	if err := riskInRange("beta", r.Beta); err != nil {
		return err
	}
	if r.Discriminators == 0 && r.DPrime == 0 {
		if r.For == ForSimilarity {
			return fault.BadUsage("effect-missing", "similarity needs the size of difference that would matter, fixed before tasting").On("pd", "").WithFix("give pd, a share such as 0.30, or d′ such as 1.0")
		}
		return nil
	}
	return Goal{Discriminators: r.Discriminators, DPrime: r.DPrime}.checkEffect()
}

// limitsOf maps limits of pc to pd, cut at 0, and d′.
func limitsOf(m ForcedChoice, low, high float64) Limits {
	g := m.Guess()
	return Limits{
		PDLow: math.Max(0, Discriminators(g, low)), PDHigh: math.Max(0, Discriminators(g, high)),
		DPrimeLow: finite(DPrime(m, low)), DPrimeHigh: finite(DPrime(m, high)),
	}
}

// likelihoodLimits are the proportions at which twice the fall of the
// binomial log likelihood reaches the square of the normal quantile: each
// one-sided at 1−alpha, approximately.
func likelihoodLimits(n, x int, alpha float64) (low, high float64) {
	z := normalQuantile(1 - alpha)
	phat := float64(x) / float64(n)
	fall := func(p float64) float64 {
		var l float64
		if x > 0 {
			l += float64(x) * math.Log(phat/p)
		}
		if x < n {
			l += float64(n-x) * math.Log((1-phat)/(1-p))
		}
		return 2*l - z*z
	}
	low, high = 0, 1
	if x > 0 {
		low = bisect(fall, 0, phat)
	}
	if x < n {
		high = bisect(func(p float64) float64 { return -fall(p) }, phat, 1)
	}
	return low, high
}

// bisect finds the sign change of a function that falls from + to −.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for i := 0; i < 200; i++ {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			break
		}
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}

func (res *Result) judge(m ForcedChoice, c Count, r Rule, x, least int) {
	goal := Goal(r)
	sized := r.Discriminators > 0 || r.DPrime > 0
	if r.For == ForSimilarity {
		pc := goal.chance(m)
		greatest := GreatestCorrect(c.N, pc, r.Beta)
		if greatest >= 0 {
			res.Critical = &greatest
		}
		ps := lowerTail(c.N, x, pc.Float())
		res.PSimilarity = &ps
		res.Beta = &r.Beta
		if approx := approximatelySimilar(c.N, m.Guess(), Discriminators(m.Guess(), pc.Float()), r.Beta); sides(m) == 1 && approx > greatest {
			res.Notes = append(res.Notes, fault.Notef("similarity-rule", "the rule is exact; the normal approximation of older tables would allow %d right", approx))
		}
		res.Verdict = NotShownSimilar
		if x <= greatest {
			res.Verdict = Similar
		}
	} else {
		if least <= c.N {
			res.Critical = &least
		}
		res.Verdict = NotShownDifferent
		if x >= least {
			res.Verdict = Different
		}
	}
	if sized {
		power := PointAt(m, goal, c.N).Power
		res.Power = &power
	}
}

// remark adds what a reader must know of how the count came about.
func (res *Result) remark(m ForcedChoice, c Count) {
	note := func(code fault.Code, format string, args ...any) {
		res.Notes = append(res.Notes, fault.Notef(code, format, args...))
	}
	if sides(m) == 1 && lowerTail(c.N, c.Correct, m.Guess().Float()) < 0.05 {
		note("below-chance", "%d right of %d is far below what guessing gives (%.3g): look for swapped codes or a key entered the wrong way round", c.Correct, c.N, float64(c.N)*m.Guess().Float())
	}
	if block, err := m.Block(2); err == nil && c.N%len(block) != 0 && c.Assessors == 0 && c.N > 1 {
		lower := c.N / len(block) * len(block)
		note("orders-unbalanced", "%d assessments do not fill blocks of %d orders: %s would", c.N, len(block), orJoin(lower, lower+len(block)))
	}
	if c.Assessors > 0 && c.Assessors < c.N {
		note("replicated", "%d answers from %d assessors: the p-value holds for the question whether these assessors can tell; pd and d′ limits count every answer as independent and are too narrow if assessors differ", c.N, c.Assessors)
	}
}

func orJoin(lower, upper int) string {
	if lower == 0 {
		return fmt.Sprint(upper)
	}
	return fmt.Sprintf("%d or %d", lower, upper)
}

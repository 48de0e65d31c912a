package answer

import (
	"trivet/stats"
	"trivet/study"
)

// CodeChances is the chance of each verdict code.
type CodeChances struct {
	Matters      float64 `json:"matters"`
	Opposite     float64 `json:"opposite"`
	TooSmall     float64 `json:"too-small"`
	NoDifference float64 `json:"no-difference"`
	Unsettled    float64 `json:"unsettled"`
	// None is the chance of numbers only: 1 under the floors of the rules.
	None float64 `json:"none"`
}

// Settled is the chance of any code that answers the question.
func (c CodeChances) Settled() float64 {
	return c.Matters + c.Opposite + c.TooSmall + c.NoDifference
}

// Chances is the chance of each code when the true difference is theta, read
// with the given claim, for an estimate on blocks blocks whose standard error
// is se on df degrees of freedom, judged at level a. It is exact for normal
// scatter, and applies the floors of the rules: numbers only under 4 blocks
// or 3 degrees of freedom, no inside-the-margin code under 6 blocks. The
// checks that rest on the data (leaving blocks out, the sign-flip interval)
// can only lower the chance of a settled code, and are not counted in.
func Chances(theta, margin, se, df, a float64, blocks int, claim study.Direction) CodeChances {
	if blocks < minBlocksForVerdict || df < minErrorDF {
		return CodeChances{None: 1}
	}
	if claim == study.Lower {
		theta = -theta
	}
	return codes(stats.ThreeSided(theta, margin, se, df, a), blocks, claim)
}

// codes turns the outcomes of a three-sided test, oriented so that the claim
// is upwards, into verdict codes.
func codes(o stats.Chances, blocks int, claim study.Direction) CodeChances {
	c := CodeChances{Matters: o.Beyond, Opposite: o.BeyondOther, TooSmall: o.InsideNonzero, NoDifference: o.InsideZero, Unsettled: o.Open}
	if claim == study.Either {
		c.Matters, c.Opposite = c.Matters+c.Opposite, 0
	}
	if blocks < minBlocksForInside {
		c.Unsettled += c.TooSmall + c.NoDifference
		c.TooSmall, c.NoDifference = 0, 0
	}
	return c
}

// Floors says in words how many blocks the codes need at least.
const Floors = "a verdict needs at least 4 blocks and 3 degrees of freedom for the error, " +
	"and “no difference that matters” or “differs, by less than matters” at least 6 blocks; under 4 there are numbers only"

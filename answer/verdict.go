// Package answer turns measured responses into evidence and evidence into a
// verdict.
//
// A question names a treatment, a control, a response, a claimed direction
// and a margin: the smallest difference that matters, set before the data.
// The verdict follows the three-sided test of Goeman, Solari & Stijnen
// (Statistics in Medicine 29, 2010): the difference is shown to be at or
// beyond the margin, or shown to lie inside it, or neither. Start with
// [Study] for a study and [Bare] for a table without one.
package answer

import (
	"math"

	"trivet/study"
)

// Verdict is one of the codes a question can end with.
type Verdict string

// The codes. "Beyond" is ≥ the margin, "inside" is strict.
const (
	Matters      Verdict = "matters"       // I(1−a) wholly at or beyond δ, as claimed
	Opposite     Verdict = "opposite"      // I(1−a) wholly at or beyond δ, the other way
	TooSmall     Verdict = "too-small"     // I(1−2a) inside ±δ, I(1−a) excludes 0
	NoDifference Verdict = "no-difference" // I(1−2a) inside ±δ, I(1−a) includes 0
	Unsettled    Verdict = "unsettled"     // anything else
)

// Settled reports whether the code answers the question.
func (v Verdict) Settled() bool { return v != Unsettled && v != "" }

// Printed returns the short printed form.
func (v Verdict) Printed() string {
	switch v {
	case Matters:
		return "makes a difference that matters"
	case Opposite:
		return "the reverse matters"
	case TooSmall:
		return "differs, by less than matters"
	case NoDifference:
		return "no difference that matters"
	case Unsettled:
		return "not settled yet"
	}
	return "numbers only"
}

// Interval is a closed interval of a treatment difference; infinite ends are
// allowed.
type Interval struct{ Low, High float64 }

// Contains reports whether x lies in the interval.
func (i Interval) Contains(x float64) bool { return i.Low <= x && x <= i.High }

// Judge applies the interval rules: wide is I(1−a), narrow I(1−2a), both of
// treatment − control; margin > 0 on the same scale.
func Judge(wide, narrow Interval, margin float64, claim study.Direction) Verdict {
	if !(margin > 0) || math.IsNaN(wide.Low+wide.High) || math.IsNaN(narrow.Low+narrow.High) {
		return Unsettled
	}
	above, below := wide.Low >= margin, wide.High <= -margin
	switch claim {
	case study.Lower:
		above, below = below, above
	case study.Either:
		above, below = above || below, false
	}
	switch {
	case above:
		return Matters
	case below:
		return Opposite
	case narrow.Low > -margin && narrow.High < margin:
		if wide.Contains(0) {
			return NoDifference
		}
		return TooSmall
	}
	return Unsettled
}

// stepDown runs the step-down over a family of m questions: each is judged
// at alpha/(m − settled); those settled leave, and the rest is judged again
// at the larger level until nothing changes. judge(i, a) returns whether
// question i is settled at level a. It returns the level each was last
// judged at.
//
// Holm's argument applies: for each question exactly one of the three nulls
// (at or below −δ, strictly inside, at or above δ) is true, so a family of m
// questions has m true nulls.
func stepDown(m, n int, alpha float64, judge func(i int, a float64) bool) []float64 {
	levels := make([]float64, n)
	done := make([]bool, n)
	settled := 0
	for {
		a := alpha / float64(m-settled)
		was := settled
		for i := range n {
			if done[i] {
				continue
			}
			levels[i] = a
			if judge(i, a) {
				done[i] = true
				settled++
			}
		}
		if settled == was || settled == n {
			return levels
		}
	}
}

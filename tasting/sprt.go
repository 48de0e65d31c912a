package tasting

import (
	"fmt"
	"math"

	"trivet/fault"
)

// Sequential is Wald's sequential probability ratio test on the count of
// right answers: after n answers, x right, claim a difference when
// x ≥ h1 + s·n, give up on a difference of the stated size when
// x ≤ −h0 + s·n, and taste on otherwise, with
//
//	k  = ln[p1(1−p0) / (p0(1−p1))]
//	s  = ln[(1−p0)/(1−p1)] / k
//	h1 = ln[(1−β)/α] / k,  h0 = ln[(1−α)/β] / k
//
// The stated α and β are approximate; [Sequential.Risks] gives the true ones.
//
// References: Wald A., 1947, Sequential Analysis, Wiley, ch. 5; ISO 16820.
type Sequential struct {
	P0    float64 `json:"p0"` // guess probability
	P1    float64 `json:"p1"` // at the difference that matters
	Alpha float64 `json:"alpha"`
	Beta  float64 `json:"beta"`
	S     float64 `json:"s"`
	H0    float64 `json:"h0"`
	H1    float64 `json:"h1"`
}

// NewSequential sets up the lines for a method and a goal. Errors are those
// of Size; a two-sided method is a usage error, code "sequential-two-sided".
func NewSequential(m ForcedChoice, g Goal) (*Sequential, error) {
	if err := g.check(); err != nil {
		return nil, err
	}
	if sides(m) == 2 {
		return nil, fault.BadUsage("sequential-two-sided", "the sequential test here is one-sided").
			On("method", m.Describe().Name).WithFix("fix beforehand which product is stronger and use 2-afc, or fix the number of assessors")
	}
	p0, p1 := m.Guess().Float(), g.chance(m).Float()
	if p1 >= 1 {
		return nil, fault.BadUsage("pd-range", "a sequential test needs a share of discriminators below 1").On("pd", number(g.Discriminators)).WithFix("for example 0.30")
	}
	if powerGuaranteedFrom(p1-p0, g.Alpha, g.Beta) > mostAssessors {
		return nil, fault.New("too-many-assessors", "a difference this small needs more answers than this tool follows").WithFix("use a method with more power for it, or a larger difference")
	}
	k := math.Log(p1 * (1 - p0) / (p0 * (1 - p1)))
	return &Sequential{
		P0: p0, P1: p1, Alpha: g.Alpha, Beta: g.Beta,
		S:  math.Log((1-p0)/(1-p1)) / k,
		H0: math.Log((1-g.Alpha)/g.Beta) / k,
		H1: math.Log((1-g.Beta)/g.Alpha) / k,
	}, nil
}

// onLine is the distance within which a count is taken to lie on a line;
// lines can hit whole numbers and their logarithms do not come out exact.
const onLine = 1e-9

// Bounds returns the counts that end the test after n answers: difference at
// upper or more, no difference of that size at lower or fewer. Upper may
// exceed n and lower be negative: no decision that way yet.
func (q *Sequential) Bounds(n int) (lower, upper int) {
	return int(math.Floor(-q.H0 + q.S*float64(n) + onLine)), int(math.Ceil(q.H1 + q.S*float64(n) - onLine))
}

// Step is the state of a sequential test after some answers.
type Step string

// States of a sequential test.
const (
	Continue     Step = "continue"
	StopDiffer   Step = "difference"
	StopNoDiffer Step = "no-difference-of-that-size"
)

// After returns the state after n answers with x right.
func (q *Sequential) After(n, x int) Step {
	lower, upper := q.Bounds(n)
	switch {
	case x >= upper:
		return StopDiffer
	case x <= lower:
		return StopNoDiffer
	}
	return Continue
}

// Follow runs through answers in the order given and returns the state and
// the number of answers used. Answers after a decision are ignored.
func (q *Sequential) Follow(right []bool) (Step, int) {
	x := 0
	for i, ok := range right {
		if ok {
			x++
		}
		if s := q.After(i+1, x); s != Continue {
			return s, i + 1
		}
	}
	return Continue, len(right)
}

// Risks are the true properties of a sequential test.
type Risks struct {
	Alpha     float64 `json:"alpha"`     // P(difference | p0)
	Beta      float64 `json:"beta"`      // P(no difference of that size | p1)
	Undecided float64 `json:"undecided"` // at the cap, under p0 or p1, the larger
	MeanN0    float64 `json:"mean_n_p0"`
	MeanN1    float64 `json:"mean_n_p1"`
	Cap       int     `json:"cap"` // 0: none
}

// Risks computes them by forward recursion over the count, stopped at most
// after cap answers (0: until less than 1e-12 of the paths go on). A test
// stopped by its cap claims nothing.
func (q *Sequential) Risks(cap int) Risks {
	up0, _, left0, mean0 := q.run(q.P0, cap)
	_, low1, left1, mean1 := q.run(q.P1, cap)
	return Risks{Alpha: up0, Beta: low1, Undecided: math.Max(left0, left1), MeanN0: mean0, MeanN1: mean1, Cap: cap}
}

// run returns the chances of both decisions and of none, and the mean number
// of answers, when each answer is right with probability p. Only counts
// between the lines are kept, a window of constant width.
func (q *Sequential) run(p float64, most int) (up, low, left, mean float64) {
	window, from := []float64{1}, 0 // window[i]: still going on with from+i right
	var spare []float64
	left = 1
	for n := 1; left > 1e-12 && (most == 0 || n <= most) && n < longest; n++ {
		mean += left
		lower, upper := q.Bounds(n)
		first := max(0, lower+1)
		size := max(0, min(n, upper-1)-first+1)
		if cap(spare) < size {
			spare = make([]float64, 2*size)
		}
		next := spare[:size]
		clear(next)
		left = 0
		for i := range len(window) + 1 {
			w := 0.0
			if i < len(window) {
				w += window[i] * (1 - p)
			}
			if i > 0 {
				w += window[i-1] * p
			}
			switch x := from + i; {
			case w == 0:
			case x >= upper:
				up += w
			case x <= lower:
				low += w
			default:
				next[x-first] = w
				left += w
			}
		}
		window, spare, from = next, window, first
	}
	return up, low, left, mean
}

// longest ends a recursion that no table of assessors could follow.
const longest = 1_000_000

// Says words a sequential outcome.
func (q *Sequential) Says(s Step, n, x int) []string {
	switch s {
	case StopDiffer:
		return []string{
			fmt.Sprintf("Detected: %d right of %d crossed the upper line, set beforehand for a risk of %s.", x, n, percent(q.Alpha)),
			"The decision is the line crossed; the share right and a fixed-number p-value are biased by the stopping and are not given.",
		}
	case StopNoDiffer:
		return []string{
			fmt.Sprintf("No difference of the size set beforehand (%s right): %d right of %d crossed the lower line, with a risk of %s of missing it.", percent(q.P1), x, n, percent(q.Beta)),
			"A smaller difference may be there.",
		}
	}
	lower, upper := q.Bounds(n)
	return []string{fmt.Sprintf("Not decided: %d right of %d lies between the lines (%d and %d). Taste on, or stop and claim nothing.", x, n, lower, upper)}
}

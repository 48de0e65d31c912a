package tasting

import (
	"fmt"
	"strconv"
	"strings"
)

// speak writes what the result may and may not claim.
func (res *Result) speak(m ForcedChoice, c Count, r Rule, x int) {
	say := func(format string, args ...any) { res.Says = append(res.Says, fmt.Sprintf(format, args...)) }
	d := m.Describe()
	g := m.Guess()
	level := percent(res.LimitLevel)
	what := fmt.Sprintf("%d right of %d", x, c.N)
	if sides(m) == 2 {
		what = fmt.Sprintf("one product chosen by %d of %d", x, c.N)
	}
	switch res.Verdict {
	case Different:
		say("Detected: %s is more than guessing explains (exact p %s, guess rate %d/%d).", what, pText(res.PValue), g.Num, g.Den)
		say("It may claim %s.", strings.Join(d.MayClaim, "; "))
	case NotShownDifferent:
		say("Not detected: %s can come about by guessing (exact p %s, guess rate %d/%d).", what, pText(res.PValue), g.Num, g.Den)
		say("It could have missed a share of discriminators up to %s (%s limit). Not detected is not the same as alike.", percent(res.PDHigh), level)
	case Similar:
		say("Similar: with %s, a difference as large as the bound set beforehand would show this few right answers with probability %s, at most the %s allowed.", what, probability(*res.PSimilarity), percent(r.Beta))
		say("It may claim similarity within that bound for these assessors, no more: a smaller difference may be there.")
	case NotShownSimilar:
		say("Similarity not shown: with %s the share of discriminators may be as large as %s (%s limit).", what, percent(res.PDHigh), level)
	}
	if res.Critical == nil {
		switch r.For {
		case ForSimilarity:
			say("With %d assessments no count would show similarity within the bound: plan for more assessors.", c.N)
		default:
			say("Even %d right of %d would not reach a risk of %s: at least %d assessments are needed.", c.N, c.N, percent(r.Alpha), fewestAssessments(m, r.Alpha))
		}
	}
	if c.N == 1 {
		say("One taster's one right answer happens by luck one time in %d: it shows nothing.", g.Den)
	}
	if c.Assessors == 1 && c.N > 1 {
		say("One taster answering %d times speaks for that taster, these samples and that day, not for a panel.", c.N)
	} else if c.Assessors > 1 && c.Assessors < c.N {
		say("%d answers from %d assessors speak for those assessors; to speak of people, more assessors count, not more answers.", c.N, c.Assessors)
	}
	if c.PiecePairs == 1 {
		say("All samples came from one pair of pieces: what was told apart are these two pieces, not two ways of cooking.")
	}
	for _, not := range d.Not {
		say("It may not claim %s.", not)
	}
}

// fewestAssessments is the smallest n at which all right is critical.
func fewestAssessments(m ForcedChoice, alpha float64) int {
	for n := 1; ; n++ {
		if leastFor(m, n, alpha) <= n {
			return n
		}
	}
}

// pText prints a p-value to two significant digits with its relation, as in
// "p = 0.012" and "p < 0.0001"; the p is written by the caller.
func pText(p float64) string {
	switch {
	case p < 0.0001:
		return "< 0.0001"
	case p > 0.9999 && p < 1:
		return "> 0.9999"
	}
	return "= " + probability(p)
}

// probability prints a probability to two significant digits.
func probability(p float64) string {
	if p < 0.0001 {
		return "under 0.0001"
	}
	return strconv.FormatFloat(p, 'g', 2, 64)
}

// percent prints a share as a percentage.
func percent(p float64) string {
	return strconv.FormatFloat(p*100, 'g', 3, 64) + " %"
}

package answer

import (
	"fmt"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// Bare fills the verdict fields of a comparison of a table that belongs to no
// study. A bare table has no seal, so no verdict is given; RawVerdict says
// what the intervals alone would say, each contrast read at the step-down
// level over all contrasts of the table.
func Bare(c *stats.Comparison) {
	claim := study.Direction(c.Claim)
	n := len(c.Contrasts)
	judge := func(i int, a float64) bool {
		x := &c.Contrasts[i]
		x.VerdictLevel = a
		w, r := x.Interval(1-a), x.Interval(1-2*a)
		v := Judge(Interval{w.Low, w.High}, Interval{r.Low, r.High}, c.Margin, claim)
		x.RawVerdict = string(v)
		return v.Settled()
	}
	if c.Margin > 0 {
		stepDown(max(n, 1), n, c.Alpha, judge)
	}
	for i := range c.Contrasts {
		x := &c.Contrasts[i]
		x.WhyNot = []fault.Code{"not-sealed"}
		if c.Margin <= 0 {
			x.WhyNot = append(x.WhyNot, "no-margin")
		}
		if c.NBlocks > 0 && c.NBlocks < minBlocksForVerdict {
			x.WhyNot = append(x.WhyNot, "under-4-blocks")
		}
		if x.DF < minErrorDF {
			x.WhyNot = append(x.WhyNot, "few-error-df")
		}
	}
}

// WouldBe is the printed form of a bare contrast's verdict.
func WouldBe(x stats.Contrast) string {
	if x.RawVerdict == "" {
		return "no verdict: no margin was given"
	}
	for _, code := range x.WhyNot {
		switch code {
		case "under-4-blocks":
			return fmt.Sprintf("numbers only: fewer than %d blocks", minBlocksForVerdict)
		case "few-error-df":
			return fmt.Sprintf("numbers only: fewer than %d degrees of freedom for the error", minErrorDF)
		}
	}
	return "would be “" + Verdict(x.RawVerdict).Printed() + "”, had it been sealed"
}

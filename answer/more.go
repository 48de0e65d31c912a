package answer

import (
	"fmt"
	"math"

	"trivet/stats"
)

const (
	// mostBlocks is where the search for a settling number stops.
	mostBlocks = 200
	wantPower  = 0.8
)

// howManyMore estimates how many further blocks would likely settle the
// question if the true difference is what was seen: toward a difference that
// matters when the estimate is beyond the margin, toward none when it is
// inside. The scatter is itself uncertain, so the number is a range: with
// the SD as estimated, and with its upper 80 % limit. A fixed plan that is
// topped up switches to the interval for continued looking, and the number
// is computed for that one.
func howManyMore(e *evaluation) *More {
	ev := e.evidence
	n := ev.Blocks
	if n < 3 || !(ev.SE > 0) || !(e.delta > 0) || ev.DF < 1 {
		return nil
	}
	sd := ev.SE * math.Sqrt(float64(n)) // of one block's difference
	est := math.Abs(ev.Estimate)
	out := &More{Toward: NoDifference}
	if est > e.delta {
		out.Toward = Matters
		if (ev.Estimate < 0) != (e.finding.Claim == "lower") && e.finding.Claim != "either" {
			out.Toward = Opposite
		}
	}
	if math.Abs(est-e.delta) < 0.25*ev.SE {
		out.Text = "The true difference may sit near the margin; no number of blocks may settle it."
		return out
	}
	total := func(sd float64) int {
		return stats.SmallestN(max(n, minBlocksForInside), mostBlocks+n, wantPower, func(n int) float64 {
			return chanceToSettle(est, e.delta, sd, n, ev.Level)
		})
	}
	from, to := total(sd), total(stats.UpperSD(sd, ev.DF, 0.8))
	if from == 0 {
		out.Text = fmt.Sprintf("More than %d further blocks would be needed: the margin is fine for this scatter.", mostBlocks)
		return out
	}
	out.From = max(1, from-n)
	if to > 0 {
		out.To = max(out.From, to-n)
	}
	switch {
	case out.To == 0:
		out.Text = fmt.Sprintf("About %d further blocks would likely settle it, more if the scatter is larger than it looked.", out.From)
	case out.To == out.From:
		out.Text = fmt.Sprintf("About %s would likely settle it.", blocks(out.From))
	default:
		out.Text = fmt.Sprintf("About %d to %d further blocks would likely settle it.", out.From, out.To)
	}
	return out
}

func blocks(n int) string {
	if n == 1 {
		return "one further block"
	}
	return fmt.Sprintf("%d further blocks", n)
}

// chanceToSettle is the chance that n blocks settle the question by the
// confidence sequence at level a, for a true difference theta ≥ 0 and block
// differences of standard deviation sd. The sequence's radius is that of a
// t interval at some smaller level; it is turned into that level so that the
// exact power functions apply.
func chanceToSettle(theta, delta, sd float64, n int, a float64) float64 {
	k := stats.ConfidenceSequenceRadius(n, sequentialPrior, a)
	if math.IsInf(k, 1) {
		return 0
	}
	df := float64(n - 1)
	se := sd / math.Sqrt(float64(n))
	level := stats.Contrast{SE: 1, DF: df, Estimate: k}.OneSidedP(stats.Higher, 0) // P(T > k)
	if theta > delta {
		return stats.PowerBeyond(theta, delta, se, df, 2*level)
	}
	return stats.PowerEquivalence(theta, delta, se, df, level)
}

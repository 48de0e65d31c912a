package logfile

import (
	"math/bits"
	"slices"
)

// gapFinder lists steps in time longer than five times the median and two
// seconds, in memory that does not grow with the log. The median is exact for
// the first 65,536 steps and known to 0.1 % beyond.
type gapFinder struct {
	last  int64
	rows  int
	steps []int64
	bins  []uint32 // of steps by size, once there are many
	long  []longStep
}

type longStep struct {
	record int
	us     int64
}

const (
	leastGapUS = 2_000_000
	exactSteps = 1 << 16
	mostGaps   = 1000
)

// add takes the next time that is kept.
func (g *gapFinder) add(us int64, record int) {
	g.rows++
	if g.rows == 1 {
		g.last = us
		return
	}
	d := us - g.last
	g.last = us
	if g.bins != nil {
		g.bins[bin(d)]++
	} else if g.steps = append(g.steps, d); len(g.steps) == exactSteps {
		g.bins = make([]uint32, bin(1<<62)+1<<binBits)
		for _, d := range g.steps {
			g.bins[bin(d)]++
		}
		g.steps = nil
	}
	if d <= leastGapUS {
		return
	}
	if len(g.long) == exactSteps {
		limit := g.limit()
		g.long = slices.DeleteFunc(g.long, func(s longStep) bool { return s.us <= limit })
	}
	if len(g.long) < exactSteps {
		g.long = append(g.long, longStep{record, d})
	}
}

// limit is the longest step that is no gap.
func (g *gapFinder) limit() int64 { return max(5*g.median(), leastGapUS) }

// median is the middle step, the upper one of two.
func (g *gapFinder) median() int64 {
	if g.bins == nil {
		s := slices.Clone(g.steps)
		slices.Sort(s)
		return s[len(s)/2]
	}
	left := (g.rows - 1) / 2
	for i, n := range g.bins {
		if left -= int(n); left < 0 {
			return unbin(i)
		}
	}
	return 0
}

// tell adds the gaps to the account.
func (g *gapFinder) tell(a *Account, channel string) {
	if g.rows < 3 {
		return
	}
	limit := g.limit()
	for _, s := range g.long {
		if s.us > limit && len(a.Gaps) < mostGaps {
			a.Gaps = append(a.Gaps, RowGap{Row: s.record, Seconds: float64(s.us) / 1e6, Channel: channel})
		}
	}
}

// binBits is how many leading bits of a step its bin tells.
const binBits = 10

// bin is the place of a step among the bins: exact up to 2¹⁰, by its leading
// bits beyond.
func bin(d int64) int {
	e := max(bits.Len64(uint64(max(d, 0)))-binBits-1, 0)
	return e<<binBits + int(d>>e)
}

// unbin is the least step of a bin.
func unbin(i int) int64 {
	if i < 2<<binBits {
		return int64(i)
	}
	e := i>>binBits - 1
	return int64(i-e<<binBits) << e
}

package answer

import (
	"math"

	"trivet/stats"
	"trivet/study"
)

// stopping is the rule by which a plan may be looked at: how wide the
// intervals are after n blocks.
type stopping struct {
	mode string
	// looks and levels of a group-sequential plan: the two-sided level of the
	// wide interval at each planned look, and of the narrow one.
	looks        []int
	wide, narrow []float64
	planned      int
	level        float64
}

// newStopping prepares a study's rule at level a.
func newStopping(r study.Risk, planned int, a float64) (*stopping, error) {
	s := &stopping{mode: r.Mode, planned: planned, level: a}
	if r.Mode != "group-sequential" {
		return s, nil
	}
	s.looks = r.Looks
	var share []float64
	for _, n := range r.Looks {
		share = append(share, float64(n)/float64(r.Looks[len(r.Looks)-1]))
	}
	wide, err := stats.GroupSequential(stats.Spending(r.Spending), a, share)
	if err != nil {
		return nil, err
	}
	narrow, err := stats.GroupSequential(stats.Spending(r.Spending), 2*a, share)
	if err != nil {
		return nil, err
	}
	s.wide, s.narrow = wide.Nominal, narrow.Nominal
	return s, nil
}

// radii are the half widths of the two intervals after n blocks, in standard
// errors on df degrees of freedom; infinite where the rule allows no look.
func (s *stopping) radii(n int, df float64) (wide, narrow float64) {
	t := func(level float64) float64 {
		if !(level > 1e-15) {
			return math.Inf(1)
		}
		return stats.Contrast{SE: 1, DF: df}.Interval(1 - level).High
	}
	switch s.mode {
	case "sequential":
		k := stats.ConfidenceSequenceRadius(n, sequentialPrior, s.level)
		return k, k
	case "group-sequential":
		for i, look := range s.looks {
			if n == look {
				return t(s.wide[i]), t(s.narrow[i])
			}
		}
		return math.Inf(1), math.Inf(1) // nothing is spent between looks or after the last
	}
	return t(s.level), t(2 * s.level)
}

// planSimulations is the number of simulated studies of a plan that may stop
// early: a chance of 0.5 is then good to 0.01 (one standard error).
const planSimulations = 2500

// simulate plays a plan that may stop early: block differences N(θ, sd²) come
// one by one, and the first look with a settled code ends it.
func (p planner) simulate(planned int, theta float64) (CodeChances, float64, error) {
	rule, err := newStopping(p.study.Risk, planned, p.level)
	if err != nil {
		return CodeChances{}, 0, err
	}
	type radius struct{ wide, narrow float64 }
	radii := make([]radius, planned+1)
	for n := 2; n <= planned; n++ {
		w, r := rule.radii(n, float64(n-1))
		radii[n] = radius{w, r}
	}
	var c CodeChances
	total := 0.0
	for run := range planSimulations {
		s := stats.NewStream(p.seed, "plan simulation", uint64(run))
		sd := p.spread.SD
		if p.spread.DF > 0 { // draw the scatter that the pilot leaves open
			sum := 0.0
			for range int(p.spread.DF) {
				z := s.Normal()
				sum += z * z
			}
			sd *= math.Sqrt(math.Floor(p.spread.DF) / sum)
		}
		verdict, n := Unsettled, planned
		mean, ss := 0.0, 0.0
		for i := 1; i <= planned; i++ {
			d := theta + sd*s.Normal()
			step := d - mean
			mean += step / float64(i)
			ss += step * (d - mean)
			if i < minBlocksForVerdict || math.IsInf(radii[i].wide, 1) {
				continue
			}
			se := math.Sqrt(ss / float64(i-1) / float64(i))
			v := Judge(Interval{mean - radii[i].wide*se, mean + radii[i].wide*se},
				Interval{mean - radii[i].narrow*se, mean + radii[i].narrow*se}, p.delta, p.direction())
			if inside(v) && i < minBlocksForInside {
				v = Unsettled
			}
			if v.Settled() {
				verdict, n = v, i
				break
			}
		}
		total += float64(n)
		switch verdict {
		case Matters:
			c.Matters++
		case Opposite:
			c.Opposite++
		case TooSmall:
			c.TooSmall++
		case NoDifference:
			c.NoDifference++
		default:
			c.Unsettled++
		}
	}
	for _, x := range []*float64{&c.Matters, &c.Opposite, &c.TooSmall, &c.NoDifference, &c.Unsettled} {
		*x /= planSimulations
	}
	if planned < minBlocksForVerdict {
		c = CodeChances{None: 1}
	}
	return c, total / planSimulations, nil
}

// direction is the claim with effects counted as claimed.
func (p planner) direction() study.Direction {
	if p.claim == study.Either {
		return study.Either
	}
	return study.Higher
}

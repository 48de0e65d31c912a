package answer

import (
	"fmt"
	"math"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// PlanShares says what the planned blocks can do for a yes-no question, one
// piece of each treatment a block, when a share baseline of the control's
// pieces says yes and the pieces of a block do not depend on each other (if
// they do, it does better). It is exact: every table of pairs is judged as
// the answer will judge it, with its probability. Only a fixed plan is
// looked at: a yes-no response is read once, at the end.
func PlanShares(s *study.Study, q *study.Question, baseline float64) (*QuestionPlan, error) {
	delta, _ := Delta(q)
	if !(delta > 0) {
		return nil, fault.New("no-margin", "question %s has no margin, so nothing can be sized", q.ID).
			On("questions["+q.ID+"].margin", "").WithFix("write the smallest difference of shares that matters, such as 20 points")
	}
	if !(baseline > 0 && baseline < 1) {
		return nil, fault.BadUsage("baseline-range", "the share of yes under the control must lie between 0 and 100 %%").WithFix("50 %% is the most cautious")
	}
	alpha, power := s.Risk.Alpha, s.Risk.Power
	if alpha == 0 {
		alpha = 0.05
	}
	if power == 0 {
		power = 0.8
	}
	level := alpha / float64(max(1, Family(s)))
	out := &QuestionPlan{Question: q.ID, Ask: q.Ask, Response: q.Response, Margin: q.Margin.Text, Delta: delta, Level: level,
		Spread: Spread{Source: fmt.Sprintf("%.0f %% of yes under %s, pieces of a block independent", 100*baseline, q.Compare.Against)},
		Blocks: s.Blocks.Count, DF: float64(s.Blocks.Count - 1), Says: []string{}, Notes: []fault.Note{}}
	chance := func(n int, theta float64) (CodeChances, bool) {
		p := baseline + theta/100
		if q.Claim == study.Lower {
			p = baseline - theta/100
		}
		if p < 0 || p > 1 {
			return CodeChances{}, false
		}
		return shareChances(n, p, baseline, delta, level, q.Claim), true
	}
	if n := out.Blocks; n > 0 {
		for _, e := range planEffects {
			c, possible := chance(n, e.times*delta)
			if !possible {
				out.Notes = append(out.Notes, fault.Notef("beyond-share", "a true difference of %s cannot be: %.0f %% of yes under the control leaves no room for it", e.label, 100*baseline))
				continue
			}
			out.Settles = math.Max(out.Settles, c.Settled())
			out.Effects = append(out.Effects, EffectChances{Label: e.label, True: e.times * delta, Codes: c})
		}
		if out.Settles < DoubtfulChance {
			out.Notes = append(out.Notes, fault.Notef("cannot-settle",
				"with %d blocks no listed true difference gives even a %.0f %% chance of an answer: at best %.0f %%; %s", n, 100*DoubtfulChance, 100*out.Settles, Floors))
		}
	} else {
		out.Says = append(out.Says, "No number of blocks is planned yet.")
	}
	for _, aim := range []struct {
		words string
		times float64
		part  func(CodeChances) float64
	}{
		{"no difference that matters, if it is δ/4", 0.25, func(c CodeChances) float64 { return c.NoDifference + c.TooSmall }},
		{"a difference that matters, if it is 2 δ", 2, func(c CodeChances) float64 { return c.Matters }},
	} {
		if _, possible := chance(minBlocksForInside, aim.times*delta); !possible {
			continue
		}
		at := func(n int) float64 { c, _ := chance(n, aim.times*delta); return aim.part(c) }
		need := Need{Aim: aim.words, Blocks: stats.SmallestN(minBlocksForInside, mostBlocks, power, at)}
		if need.Blocks > 0 {
			need.Power = at(need.Blocks)
		} else {
			out.Says = append(out.Says, fmt.Sprintf("Showing %s takes more than %d blocks: yes and no say little a piece.", aim.words, mostBlocks))
		}
		out.Needs = append(out.Needs, need)
	}
	return out, nil
}

// shareChances sums the probability of every table of n pairs by the code it
// is judged with: yes for the treatment in a share p of pieces, for the
// control in a share c.
func shareChances(n int, p, c, delta, level float64, claim study.Direction) CodeChances {
	if n < minBlocksForVerdict {
		return CodeChances{None: 1}
	}
	only, other := p*(1-c), c*(1-p) // yes under one treatment alone
	same := 1 - only - other
	var out CodeChances
	for b := 0; b <= n; b++ {
		for k := 0; b+k <= n; k++ {
			prob := multinomial(n, b, k, only, other, same)
			if prob < 1e-12 {
				continue
			}
			x := stats.YesNoContrast{Paired: true, Pairs: n, TreatmentOnly: b, ControlOnly: k}
			w, r := x.Interval(1-level), x.Interval(1-2*level)
			v := Judge(Interval{100 * w.Low, 100 * w.High}, Interval{100 * r.Low, 100 * r.High}, delta, claim)
			if inside(v) && n < minBlocksForInside {
				v = Unsettled
			}
			switch v {
			case Matters:
				out.Matters += prob
			case Opposite:
				out.Opposite += prob
			case TooSmall:
				out.TooSmall += prob
			case NoDifference:
				out.NoDifference += prob
			default:
				out.Unsettled += prob
			}
		}
	}
	return out
}

// multinomial is the probability of b, k and n−b−k among n.
func multinomial(n, b, k int, pb, pk, rest float64) float64 {
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x) + 1); return v }
	l := lg(n) - lg(b) - lg(k) - lg(n-b-k)
	for _, t := range []struct {
		n int
		p float64
	}{{b, pb}, {k, pk}, {n - b - k, rest}} {
		if t.n == 0 {
			continue
		}
		if t.p <= 0 {
			return 0
		}
		l += float64(t.n) * math.Log(t.p)
	}
	return math.Exp(l)
}

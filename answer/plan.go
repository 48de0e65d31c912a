package answer

import (
	"fmt"
	"math"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// Spread is what is known beforehand of the scatter of a block's difference,
// treatment − control, on the scale of the analysis (logarithms for a ratio
// margin).
type Spread struct {
	SD float64 `json:"sd"`
	// DF is the degrees of freedom of an SD from a pilot; 0 for one that is
	// stated.
	DF     float64 `json:"df,omitempty"`
	Source string  `json:"source"`
	// Rough marks a planning figure that a pilot should replace.
	Rough bool `json:"rough,omitempty"`
}

// QuestionPlan is what a plan can do for one question.
type QuestionPlan struct {
	Question string  `json:"question"`
	Ask      string  `json:"ask"`
	Response string  `json:"response"`
	Margin   string  `json:"margin"`
	Delta    float64 `json:"margin_value"` // on the analysis scale
	Ratio    bool    `json:"ratio"`
	Level    float64 `json:"level"` // α/m, which the plan is sized at
	Spread   Spread  `json:"spread"`
	Blocks   int     `json:"blocks"` // planned
	SE       float64 `json:"se"`     // of the difference on them
	DF       float64 `json:"df"`

	Effects []EffectChances `json:"effects"`
	Needs   []Need          `json:"needs"`
	// Settles is the best chance of a code that settles the question over
	// the listed effects.
	Settles float64      `json:"settles"`
	Says    []string     `json:"says"`
	Notes   []fault.Note `json:"notes"`
	curve   planner
}

// EffectChances is the chance of each code for one true difference, as
// claimed.
type EffectChances struct {
	Label string      `json:"label"` // in margins: "δ/4"
	True  float64     `json:"true_effect"`
	Codes CodeChances `json:"codes"`
	// Blocks is the expected number of blocks of a plan that may stop early.
	Blocks float64 `json:"expected_blocks,omitempty"`
}

// Need is the number of blocks for one aim at the wanted power.
type Need struct {
	Aim    string  `json:"aim"`
	Blocks int     `json:"blocks"` // 0: beyond what is worth computing
	Power  float64 `json:"power"`  // on them
}

// DoubtfulChance is the chance below which no code is likely: a plan whose
// best chance of settling its question, over all listed effects, is lower
// cannot be said to answer it.
const DoubtfulChance = 0.5

// planEffects are the true differences a plan is looked at for, in margins.
var planEffects = []struct {
	label string
	times float64
}{{"0", 0}, {"δ/4", 0.25}, {"δ/2", 0.5}, {"δ", 1}, {"1.5 δ", 1.5}, {"2 δ", 2}}

// Delta is a question's margin on the scale of its analysis, and whether that
// scale is logarithmic.
func Delta(q *study.Question) (delta float64, ratio bool) { return marginOnScale(q.Margin) }

// Family is m: how many questions on responses share the error rate.
func Family(s *study.Study) int {
	m := 0
	for _, q := range s.Questions {
		if q.Tasting == nil {
			m++
		}
	}
	return m
}

// planner knows the standard error and the rule of a planned study.
type planner struct {
	study  *study.Study
	claim  study.Direction
	delta  float64
	spread Spread
	level  float64
	seed   string
}

// layout is what n blocks of the study's design give.
func (p planner) layout(n int) stats.Layout {
	t, k := len(p.study.Treatments), p.study.Blocks.Pieces
	switch {
	case t < 2:
		t = 2
	case p.study.Design.Kind == "latin-square" && n%t == 0:
		return stats.LatinSquares(t, n/t)
	}
	if k >= 2 && k < t {
		return stats.IncompleteBlocks(t, k, n)
	}
	return stats.RandomisedBlocks(t, n)
}

// spreadOf is the standard error and error degrees of freedom on n blocks,
// for block differences of standard deviation sd.
func (p planner) spreadOf(n int, sd float64) (se, df float64) {
	l := p.layout(n)
	return l.SE(sd / math.Sqrt2), l.DF2
}

func (p planner) fixed(n int, theta float64) CodeChances {
	at := func(sd float64) CodeChances {
		se, df := p.spreadOf(n, sd)
		return Chances(theta, p.delta, se, df, p.level, n, p.direction())
	}
	if p.spread.DF <= 0 {
		return at(p.spread.SD)
	}
	return assured(p.spread, at)
}

// assured averages chances over what a pilot leaves open about the scatter.
func assured(s Spread, at func(sd float64) CodeChances) CodeChances {
	known := map[float64]CodeChances{} // the nodes of every integral are the same
	mean := func(part func(CodeChances) float64) float64 {
		return stats.Assurance(s.SD, s.DF, func(sd float64) float64 {
			c, ok := known[sd]
			if !ok {
				c = at(sd)
				known[sd] = c
			}
			return part(c)
		})
	}
	return CodeChances{
		Matters:      mean(func(c CodeChances) float64 { return c.Matters }),
		Opposite:     mean(func(c CodeChances) float64 { return c.Opposite }),
		TooSmall:     mean(func(c CodeChances) float64 { return c.TooSmall }),
		NoDifference: mean(func(c CodeChances) float64 { return c.NoDifference }),
		Unsettled:    mean(func(c CodeChances) float64 { return c.Unsettled }),
		None:         mean(func(c CodeChances) float64 { return c.None }),
	}
}

// PlanQuestion says what the planned blocks can do for a question on a
// numeric response, and how many it needs. The level is α/m: the step-down
// can only make it easier. A plan that may stop early is simulated from the
// study's seed; a fixed one is exact for normal scatter.
func PlanQuestion(s *study.Study, q *study.Question, spread Spread) (*QuestionPlan, error) {
	delta, ratio := Delta(q)
	if !(delta > 0) {
		return nil, fault.New("no-margin", "question %s has no margin, so nothing can be sized", q.ID).
			On("questions["+q.ID+"].margin", "").WithFix("write the smallest difference that matters")
	}
	if !(spread.SD > 0) || math.IsInf(spread.SD, 0) {
		return nil, fault.New("sd-range", "the standard deviation of question %s must be a positive number", q.ID).
			WithFix("take it from a pilot: 0 would say that pieces never differ")
	}
	alpha := s.Risk.Alpha
	if alpha == 0 {
		alpha = 0.05
	}
	power := s.Risk.Power
	if power == 0 {
		power = 0.8
	}
	p := planner{study: s, claim: q.Claim, delta: delta, spread: spread, level: alpha / float64(max(1, Family(s))), seed: s.Design.Seed}
	out := &QuestionPlan{Question: q.ID, Ask: q.Ask, Response: q.Response, Margin: q.Margin.Text, Delta: delta, Ratio: ratio,
		Level: p.level, Spread: spread, Blocks: s.Blocks.Count, Says: []string{}, Notes: []fault.Note{}, curve: p}
	out.needs(p, power)
	if n := out.Blocks; n > 0 {
		out.SE, out.DF = p.spreadOf(n, spread.SD)
		for _, e := range planEffects {
			theta := e.times * delta
			row := EffectChances{Label: e.label, True: theta}
			if s.Risk.Interim() {
				var err error
				if row.Codes, row.Blocks, err = p.simulate(n, theta); err != nil {
					return nil, err
				}
			} else {
				row.Codes = p.fixed(n, theta)
			}
			out.Settles = math.Max(out.Settles, row.Codes.Settled())
			out.Effects = append(out.Effects, row)
		}
	}
	out.say(p)
	return out, nil
}

// needs finds the blocks for the usual aims at level a.
func (out *QuestionPlan) needs(p planner, power float64) {
	add := func(aim string, least int, at func(se, df float64) float64) {
		chance := func(n int) float64 {
			one := func(sd float64) float64 {
				se, df := p.spreadOf(n, sd)
				if df < 1 {
					return 0
				}
				return at(se, df)
			}
			if p.spread.DF > 0 {
				return stats.Assurance(p.spread.SD, p.spread.DF, one)
			}
			return one(p.spread.SD)
		}
		n := stats.SmallestN(least, mostBlocks, power, chance)
		need := Need{Aim: aim, Blocks: n}
		if n > 0 {
			need.Power = chance(n)
		}
		out.Needs = append(out.Needs, need)
	}
	d, a := p.delta, p.level
	add("some difference from zero, if it is δ", minBlocksForVerdict, func(se, df float64) float64 { return stats.PowerDifference(d, se, df, a) })
	add("no difference that matters, if it is δ/4", minBlocksForInside, func(se, df float64) float64 { return stats.PowerEquivalence(d/4, d, se, df, a) })
	add("a difference that matters, if it is 1.5 δ", minBlocksForVerdict, func(se, df float64) float64 { return stats.PowerBeyond(1.5*d, d, se, df, a) })
	add("a difference that matters, if it is 2 δ", minBlocksForVerdict, func(se, df float64) float64 { return stats.PowerBeyond(2*d, d, se, df, a) })
}

func (out *QuestionPlan) say(p planner) {
	for _, n := range out.Needs {
		if n.Blocks == 0 {
			out.Says = append(out.Says, fmt.Sprintf("Showing %s takes more than %d blocks: the margin is fine for this scatter.", n.Aim, mostBlocks))
		}
	}
	if out.Blocks == 0 {
		out.Says = append(out.Says, "No number of blocks is planned yet.")
		return
	}
	for _, e := range out.Effects {
		if e.Label == "δ" {
			miss := p.missed(out.Blocks)
			out.Says = append(out.Says, fmt.Sprintf("With %d blocks you would miss a difference of %s %s.", out.Blocks, out.Margin, TimesInTen(miss)))
		}
	}
	if out.Settles < DoubtfulChance {
		out.Notes = append(out.Notes, fault.Notef("cannot-settle",
			"with %d blocks no listed true difference gives even a %.0f %% chance of an answer: at best %.0f %%; %s", out.Blocks, 100*DoubtfulChance, 100*out.Settles, Floors))
	}
	if out.Blocks < minBlocksForVerdict {
		out.Notes = append(out.Notes, fault.Notef("floors", "%s; %d are planned", Floors, out.Blocks))
	}
	if p.spread.DF > 0 {
		out.Notes = append(out.Notes, fault.Notef("assurance",
			"the scatter comes from a pilot of %g degrees of freedom; chances are averaged over what that leaves open (upper 80 %% limit of the SD: %.3g times the estimate)", p.spread.DF, stats.UpperSD(1, p.spread.DF, 0.8)))
	}
	if p.spread.Rough {
		out.Notes = append(out.Notes, fault.Notef("rough-spread", "the scatter is a planning figure (%s): replace it by your own pilot of 6 pairs or more", p.spread.Source))
	}
}

// missed is the chance that n blocks do not show a difference from zero when
// it is δ.
func (p planner) missed(n int) float64 {
	one := func(sd float64) float64 {
		se, df := p.spreadOf(n, sd)
		if df < 1 {
			return 0
		}
		return stats.PowerDifference(p.delta, se, df, p.level)
	}
	if p.spread.DF > 0 {
		return 1 - stats.Assurance(p.spread.SD, p.spread.DF, one)
	}
	return 1 - one(p.spread.SD)
}

// CurvePoint is the chance of a few aims on n blocks.
type CurvePoint struct {
	Blocks     int     `json:"blocks"`
	Difference float64 `json:"difference"` // some difference, if it is δ
	Inside     float64 `json:"inside"`     // no difference that matters, if it is δ/4
	Beyond15   float64 `json:"matters_1_5"`
	Beyond2    float64 `json:"matters_2"`
}

// Curve is the chance of the usual aims for 2 to most blocks of a fixed plan
// at the stated SD.
func (out *QuestionPlan) Curve(most int) []CurvePoint {
	p, d, a := out.curve, out.Delta, out.Level
	var pts []CurvePoint
	for n := 2; n <= most; n++ {
		se, df := p.spreadOf(n, p.spread.SD)
		if df < 1 {
			continue
		}
		pt := CurvePoint{Blocks: n, Difference: stats.PowerDifference(d, se, df, a)}
		if n >= minBlocksForInside {
			pt.Inside = stats.PowerEquivalence(d/4, d, se, df, a)
		}
		if n >= minBlocksForVerdict && df >= minErrorDF {
			pt.Beyond15, pt.Beyond2 = stats.PowerBeyond(1.5*d, d, se, df, a), stats.PowerBeyond(2*d, d, se, df, a)
		}
		pts = append(pts, pt)
	}
	return pts
}

// TimesInTen says a chance as a cook would: "6 times in 10".
func TimesInTen(p float64) string {
	tens := int(math.Round(10 * p))
	switch {
	case p < 0.001:
		return "less than once in 1000"
	case p < 0.01:
		return "less than once in 100"
	case tens == 0 || tens == 10:
		h := int(math.Round(100 * p))
		switch {
		case h == 1:
			return "once in 100"
		case h >= 100:
			return "nearly every time"
		}
		return fmt.Sprintf("%d times in 100", h)
	case tens == 1:
		return "once in 10"
	}
	return fmt.Sprintf("%d times in 10", tens)
}

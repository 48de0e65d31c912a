package figure

import (
	"fmt"
	"math"

	"trivet/tasting"
)

// Tasted is one figure of a scored tasting.
type Tasted struct {
	Name   string // tells several apart: the attribute rated; "" for one alone
	Figure Figure
}

// OfTasting returns the figures of a scored tasting, with what head says
// below their titles: one for most methods, one for each attribute rated,
// none for a method that has no figure.
func OfTasting(s *tasting.Scored, head Head) []Tasted {
	switch {
	case s.Choice != nil:
		return []Tasted{{"", chanceOf(s.Choice, head)}}
	case s.Response != nil && s.Response.Curve != nil:
		return []Tasted{{"", curveOf(s.Response, head)}}
	}
	switch r := s.Report.(type) {
	case *tasting.HedonicResult:
		return []Tasted{{"", likingOf(r, head)}}
	case *tasting.RankResult:
		return []Tasted{{"", ranksOf(r, head)}}
	case *tasting.RatedResult:
		var out []Tasted
		for _, a := range r.Attributes {
			out = append(out, Tasted{a.Attribute, ratedOf(a, 1-r.Alpha, head)})
		}
		return out
	}
	return nil
}

func (h Head) titled(title, subtitle string) Head {
	if h.Title == "" {
		h.Title = title
	}
	if h.Subtitle == "" {
		h.Subtitle = subtitle
	}
	return h
}

// panelText names the test and who took it.
func panelText(method string, n int, noun string) string {
	title := method
	if m, err := tasting.Lookup(method); err == nil {
		title = m.Describe().Title
	}
	return capital(title) + ", " + plural(n, noun)
}

func chanceOf(r *tasting.Result, head Head) Chance {
	f := Chance{Head: head.titled("Right answers against guessing", panelText(r.Method, r.N, "answer")),
		Method: r.Method, N: r.N, Guess: r.GuessProbability, Correct: r.Correct, Alpha: r.Alpha, DPrime: math.NaN(),
		Level: 2*r.LimitLevel - 1} // two one-sided limits
	if r.Critical != nil && r.For != tasting.ForSimilarity {
		f.Critical = *r.Critical
	}
	if r.DPrime != nil {
		f.DPrime, f.Interval = *r.DPrime, Interval{0, math.Inf(1)}
		if r.DPrimeLow != nil {
			f.Interval.Lo = *r.DPrimeLow
		}
		if r.DPrimeHigh != nil {
			f.Interval.Hi = *r.DPrimeHigh
		}
	}
	return f
}

func curveOf(r *tasting.ResponseResult, head Head) SurenessCurve {
	c := r.Curve
	f := SurenessCurve{Head: head.titled("How surely the two kinds are told apart", panelText(r.Method, r.Signals+r.Noises, "answer")),
		Yes: r.Yes, Area: c.Area, AreaSE: c.AreaSE, Distance: math.NaN()}
	for _, p := range c.Points {
		f.Points = append(f.Points, RatePoint{p.FalseAlarm, p.Hit})
	}
	switch {
	case c.DA != nil && c.Ratio != nil:
		f.Spread = *c.Ratio
		f.Distance = *c.DA * math.Sqrt((1+f.Spread*f.Spread)/2) // d_a = d √(2/(1+σ²))
	case c.DPrime != nil:
		f.Distance, f.Spread = *c.DPrime, 1
	}
	return f
}

func intervalOf(low, high *float64) Interval {
	out := Interval{math.NaN(), math.NaN()}
	if low != nil && high != nil {
		out = Interval{*low, *high}
	}
	return out
}

func scoresOf(p *tasting.Panel) []AssessorScores {
	out := make([]AssessorScores, len(p.Assessors))
	for i, who := range p.Assessors {
		out[i] = AssessorScores{who, p.Values[i]}
	}
	return out
}

func likingOf(r *tasting.HedonicResult, head Head) Ratings {
	f := Ratings{Head: head.titled("Liking of each product", panelText(r.Method, r.Assessors, "assessor")),
		Measure: Measure{Name: "liking, 1 dislike extremely to 9 like extremely"}, Lo: 1, Hi: 9, Level: 1 - r.Alpha, Assessors: scoresOf(r.Panel)}
	for _, p := range r.Products {
		f.Products = append(f.Products, RatedProduct{p.Product, p.Mean, intervalOf(p.Low, p.High)})
	}
	return f
}

func ratedOf(a tasting.RatedAttribute, level float64, head Head) Ratings {
	name := a.Attribute
	if name == "" {
		name = "rating"
	}
	f := Ratings{Head: head.titled(capital(name)+" of each product", panelText("rated", a.Assessors, "assessor")),
		Measure: Measure{Name: name}, Level: level}
	// Products in the order of the model's means; the panel has its own.
	column := map[string]int{}
	for k, p := range a.Panel.Products {
		column[p] = k
	}
	for _, p := range a.Means {
		f.Products = append(f.Products, RatedProduct{p.Product, p.Mean, intervalOf(p.Low, p.High)})
	}
	for _, s := range scoresOf(a.Panel) {
		row := AssessorScores{Assessor: s.Assessor}
		for _, p := range a.Means {
			row.Scores = append(row.Scores, s.Scores[column[p.Product]])
		}
		f.Assessors = append(f.Assessors, row)
	}
	return f
}

func ranksOf(r *tasting.RankResult, head Head) Ranks {
	f := Ranks{Head: head.titled("Rank sums, and how often each rank was given", panelText(r.Method, r.Assessors, "assessor")), Alpha: r.Alpha}
	if r.LSD != nil {
		f.LSD = *r.LSD
	}
	f.Shown = r.PValue != nil && *r.PValue <= r.Alpha
	for k, p := range r.Products {
		rp := RankedProduct{Name: p.Product, Sum: p.Sum}
		for _, row := range r.Panel.Values {
			rp.Ranks = append(rp.Ranks, row[k])
		}
		f.Products = append(f.Products, rp)
	}
	return f
}

// OfSequential returns the path of a sequential test: the answers in order
// where they are known, the last count otherwise.
func OfSequential(method string, q *tasting.Sequential, c *tasting.Choices, head Head) SequentialPath {
	f := SequentialPath{Head: head.titled("Right answers between the two lines", fmt.Sprintf("%s, sequential", panelText(method, c.N, "answer"))),
		Slope: q.S, Upper: q.H1, Lower: -q.H0, Right: c.Right, N: c.N, Correct: c.Correct}
	step, n := q.After(c.N, c.Correct), c.N
	if c.Right != nil {
		step, n = q.Follow(c.Right)
	}
	switch step {
	case tasting.StopDiffer:
		f.At, f.Decision = n, "a difference"
	case tasting.StopNoDiffer:
		f.At, f.Decision = n, "no difference of that size"
	}
	return f
}

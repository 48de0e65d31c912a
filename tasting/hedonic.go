package tasting

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
	"trivet/stats"
)

// Hedonic is liking on the 9-point scale, 1 dislike extremely to 9 like
// extremely.
type Hedonic struct{}

var _ TableMethod = Hedonic{}

// Describe implements Method.
func (Hedonic) Describe() Description {
	return Description{
		Name: "hedonic", Title: "9-point hedonic test", Standard: "ISO 11136", Kind: KindScale,
		Ask:      "How much do you like this sample? 1 dislike extremely, 5 neither, 9 like extremely.",
		MayClaim: []string{"that these tasters liked one product more, and by how many points on average"},
		Not: []string{
			"what people at large like, from a trained panel or a handful of friends",
			"why one is liked more",
		},
		Aliases: []string{"liking"},
	}
}

// Block is a Williams square.
func (Hedonic) Block(products int) ([]Serving, error) { return squareBlock(products, 8) }

// HedonicResult is scored liking.
type HedonicResult struct {
	outcome
	Assessors int           `json:"n"`
	Products  []HedonicMean `json:"products"`
	Test      string        `json:"test"`
	F         *float64      `json:"f,omitempty"` // more than two products
	DF1       *float64      `json:"df1,omitempty"`
	DF2       *float64      `json:"df2,omitempty"`
	PValue    *float64      `json:"p_value"`
	Pairs     []HedonicPair `json:"pairs"`
	Panel     *Panel        `json:"-"`
}

// HedonicMean is one product's liking.
type HedonicMean struct {
	Product string  `json:"product"`
	Mean    float64 `json:"mean"`
	SD      float64 `json:"sd"`
	// Low and High are the 1−alpha interval of the mean over assessors, by t.
	// It holds the spread between assessors, which a pair does not.
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

func hedonicMean(product string, scores []float64, alpha float64) HedonicMean {
	n := float64(len(scores))
	m := HedonicMean{Product: product, Mean: stats.Mean(scores), SD: stats.SD(scores)}
	iv := stats.Linear{Estimate: m.Mean, SE: m.SD / math.Sqrt(n), DF: n - 1}.Interval(1 - alpha)
	m.Low, m.High = finite(iv.Low), finite(iv.High)
	return m
}

// HedonicPair compares two products, a − b, within assessors.
type HedonicPair struct {
	A           string   `json:"a"`
	B           string   `json:"b"`
	Difference  float64  `json:"difference"`
	Low         *float64 `json:"low"` // 1−alpha interval
	High        *float64 `json:"high"`
	T           *float64 `json:"t"`
	DF          *float64 `json:"df"`
	P           *float64 `json:"p"` // null when the differences do not vary
	PHolm       *float64 `json:"p_holm"`
	PSignedRank float64  `json:"p_signed_rank"` // exact, ties by midranks, zeros dropped
	PSignFlip   float64  `json:"p_sign_flip"`   // randomisation of the mean
	PreferA     int      `json:"prefer_a"`      // tasters who gave a the higher score
	PreferB     int      `json:"prefer_b"`
}

// signFlipSeed fixes the draws of the sign-flip check beyond 20 tasters; it
// plays no part in any order or code.
const signFlipSeed = "tasting scores"

// ScoreRows compares liking within assessors: two products by the paired t
// test, more by a mixed model (product, and position where it was recorded,
// fixed; assessor random) with its pairs; the signed-rank and sign-flip tests
// stand beside as checks on a short, tied scale.
func (m Hedonic) ScoreRows(rows []Row, alpha float64) (Report, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	for i, r := range rows {
		if !(r.Value >= 1 && r.Value <= 9) {
			return nil, fault.New("score-range", "a liking lies outside 1 to 9").AtRow(i+1).On("value", number(r.Value)).WithFix("1 dislike extremely to 9 like extremely")
		}
	}
	g, err := makeGrid(rows)
	if err != nil {
		return nil, err
	}
	res := &HedonicResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}, Assessors: len(g.assessors)}
	g.remark(&res.outcome)
	res.Panel = g.panel("", false)
	for k, p := range g.products {
		res.Products = append(res.Products, hedonicMean(p, g.column(k), alpha))
	}
	var model *stats.Model
	if len(g.products) > 2 {
		var f stats.FTest
		model, f, err = likingModel(g, rows)
		if err != nil {
			return nil, err
		}
		res.Test = "mixed model, product fixed, assessor random"
		res.F, res.DF1, res.DF2, res.PValue = finite(f.F), finite(f.NumDF), finite(f.DenDF), finite(f.P)
		res.Notes = append(res.Notes, model.Notes...)
	} else {
		res.Test = "paired t test"
	}
	var ps []float64
	for a := range g.products {
		for b := a + 1; b < len(g.products); b++ {
			pair, err := hedonicPair(g, a, b, model, alpha)
			if err != nil {
				return nil, err
			}
			res.Pairs = append(res.Pairs, pair)
			if pair.P == nil {
				ps = append(ps, math.NaN())
				res.note("no-variation", "%s and %s: every taster gave the same difference, so t has no p-value; read the sign-flip test", pair.A, pair.B)
			} else {
				ps = append(ps, *pair.P)
			}
		}
	}
	for i, h := range stats.Holm(ps) {
		res.Pairs[i].PHolm = finite(h)
	}
	if model == nil {
		res.PValue = res.Pairs[0].P
	}
	if len(g.assessors) < 60 {
		res.note("few-tasters", "%d tasters: consumer tests are planned with about 60 or more (common practice, no source); this speaks for these tasters", len(g.assessors))
	}
	res.word(alpha)
	res.close(m)
	return res, nil
}

func (res *HedonicResult) word(alpha float64) {
	for _, p := range res.Pairs {
		better, worse, d := p.A, p.B, p.Difference
		if d < 0 {
			better, worse, d = worse, better, -d
		}
		switch {
		case p.PHolm == nil:
			res.say("%s and %s differ by %.2g points for every taster.", p.A, p.B, math.Abs(p.Difference))
		case *p.PHolm <= alpha:
			low, high := *p.Low, *p.High
			if p.Difference < 0 {
				low, high = -high, -low
			}
			res.say("%s is liked more than %s by %.2g points (%s interval %.2g to %.2g, p %s).", better, worse, d, percent(1-alpha), low, high, pText(*p.PHolm))
		default:
			res.say("%s and %s: a difference in liking was not shown (%.2g points, %s interval %.2g to %.2g). That is not the same as liked alike.", p.A, p.B, p.Difference, percent(1-alpha), *p.Low, *p.High)
		}
		if p.PHolm != nil && (*p.PHolm <= alpha) != (p.PSignedRank <= alpha) && len(res.Pairs) == 1 {
			res.note("tests-disagree", "the t test (p %s) and the signed-rank test (p %s) fall on two sides of the level: call it unsettled", pText(*p.PHolm), pText(p.PSignedRank))
		}
	}
}

// likingModel fits product + position + (1 | assessor).
func likingModel(g *grid, rows []Row) (*stats.Model, stats.FTest, error) {
	spec := stats.ModelSpec{Fixed: []string{"product"}, Random: []string{"assessor"}}
	var product, position, assessor []string
	places := map[int]bool{}
	for _, r := range rows {
		if slices.Contains(g.dropped, r.Assessor) {
			continue
		}
		spec.Response = append(spec.Response, r.Value)
		product, assessor = append(product, r.Product), append(assessor, r.Assessor)
		position = append(position, fmt.Sprint(r.Position))
		places[r.Position] = true
	}
	spec.Factors = []stats.Column{{Name: "product", Labels: product}, {Name: "assessor", Labels: assessor}}
	if len(places) > 1 && !places[0] {
		spec.Factors = append(spec.Factors, stats.Column{Name: "position", Labels: position})
		spec.Fixed = append(spec.Fixed, "position")
	}
	model, err := stats.FitModel(spec)
	if err != nil {
		return nil, stats.FTest{}, err
	}
	f, err := model.Test("product")
	return model, f, err
}

func hedonicPair(g *grid, a, b int, model *stats.Model, alpha float64) (HedonicPair, error) {
	pair := HedonicPair{A: g.products[a], B: g.products[b]}
	ca, cb := g.column(a), g.column(b)
	d := make([]float64, len(ca))
	for i := range d {
		d[i] = ca[i] - cb[i]
		switch {
		case d[i] > 0:
			pair.PreferA++
		case d[i] < 0:
			pair.PreferB++
		}
	}
	est := stats.Linear{Estimate: stats.Mean(d), SE: stats.SD(d) / math.Sqrt(float64(len(d))), DF: float64(len(d) - 1)}
	if model != nil {
		levels := model.Levels("product")
		w := make([]float64, len(levels))
		w[slices.Index(levels, pair.A)], w[slices.Index(levels, pair.B)] = 1, -1
		var err error
		if est, err = model.Combination("product", w, nil); err != nil {
			return pair, err
		}
	}
	pair.Difference = est.Estimate
	if est.SE > 0 {
		t := est.Estimate / est.SE
		dist := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: est.DF}
		p := 2 * dist.Survival(math.Abs(t))
		iv := est.Interval(1 - alpha)
		pair.T, pair.DF, pair.P, pair.Low, pair.High = &t, finite(est.DF), &p, finite(iv.Low), finite(iv.High)
	}
	pair.PSignedRank = stats.SignedRank(d).P(stats.Either)
	pair.PSignFlip = stats.SignFlip(d, signFlipSeed).P(stats.Either, 0)
	return pair, nil
}

// Table implements Report.
func (r *HedonicResult) Table() [][]string {
	out := [][]string{{"product", "mean liking", "sd"}}
	for _, p := range r.Products {
		out = append(out, []string{p.Product, fmt.Sprintf("%.2f", p.Mean), fmt.Sprintf("%.2f", p.SD)})
	}
	return out
}

// HedonicPlan is the number of tasters for a difference in liking.
type HedonicPlan struct {
	Method     string  `json:"method"`
	N          int     `json:"n"`
	Power      float64 `json:"power"`
	Alpha      float64 `json:"alpha"`
	Beta       float64 `json:"beta"`
	Difference float64 `json:"difference"` // points
	SD         float64 `json:"sd"`         // of the difference within a taster
}

// SizeHedonic returns the smallest number of tasters, each scoring both
// products, at which the two-sided paired t test finds a mean difference with
// power 1−beta, by the noncentral t distribution.
func SizeHedonic(difference, sd, alpha, beta float64) (*HedonicPlan, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	if err := riskInRange("beta", beta); err != nil {
		return nil, err
	}
	if !(difference > 0 && difference <= 8) || !(sd > 0 && sd <= 8) {
		return nil, fault.BadUsage("effect-missing", "liking is sized by a difference in points and the standard deviation of a taster's difference").On("difference", number(difference)).WithFix("for example 0.5 points with a standard deviation of 1.8")
	}
	power := func(n int) float64 {
		return stats.PowerDifference(difference, sd/math.Sqrt(float64(n)), float64(n-1), alpha)
	}
	const most = 20_000
	n := stats.SmallestN(2, most, 1-beta, power)
	if n < 2 || n > most || power(n) < 1-beta {
		return nil, fault.New("too-many-assessors", "a difference this small needs more than %d tasters", most).WithFix("name a larger difference")
	}
	return &HedonicPlan{Hedonic{}.Describe().Name, n, power(n), alpha, beta, difference, sd}, nil
}

package tasting

import (
	"fmt"
	"math"

	"trivet/fault"
	"trivet/stats"
)

// Ranking is the ranking test: put the samples in order of one attribute or
// of liking, 1 first.
type Ranking struct{}

var _ TableMethod = Ranking{}

// Describe implements Method.
func (Ranking) Describe() Description {
	return Description{
		Name: "ranking", Title: "ranking test", Standard: "ISO 8587:2006", Kind: KindRank,
		Ask:      "Put the samples in order, 1 for the most. Ties only if you cannot part them.",
		MayClaim: []string{"that the order is not one of chance, and which samples differ in rank sum"},
		Not: []string{
			"how far apart the samples are: ranks keep the order only",
			"anything about products that were not on the same trays",
		},
		Aliases: []string{"rank"},
	}
}

// Block is a Williams square.
func (Ranking) Block(products int) ([]Serving, error) { return squareBlock(products, 8) }

// RankResult is a scored ranking.
type RankResult struct {
	outcome
	Assessors int        `json:"n"`
	Products  []RankSum  `json:"products"`
	Statistic *float64   `json:"friedman"` // tie-corrected; null when every row is tied
	DF        int        `json:"df"`
	PValue    *float64   `json:"p_value"`
	Exact     bool       `json:"exact"`
	LSD       *float64   `json:"lsd"` // of rank sums at alpha, no correction
	Pairs     []RankPair `json:"pairs"`
	Panel     *Panel     `json:"-"` // of ranks, ties sharing their mean rank
}

// RankSum is one product's ranks.
type RankSum struct {
	Product  string  `json:"product"`
	Sum      float64 `json:"rank_sum"`
	MeanRank float64 `json:"mean_rank"`
}

// RankPair compares two rank sums, normal approximation.
type RankPair struct {
	A           string  `json:"a"`
	B           string  `json:"b"`
	Difference  float64 `json:"difference"` // of rank sums, a − b
	P           float64 `json:"p"`
	PBonferroni float64 `json:"p_bonferroni"`
	PHolm       float64 `json:"p_holm"`
	Differs     bool    `json:"differs"` // by the LSD, and only after a significant Friedman test
}

// ScoreRows ranks each assessor's values again (so scores may be given for
// ranks) and runs Friedman's test, then the least significant difference of
// rank sums, z √(J·P(P+1)/6) without ties. The LSD protects only through the
// overall test and not the whole family for four products or more, so
// Bonferroni and Holm p-values stand beside.
func (m Ranking) ScoreRows(rows []Row, alpha float64) (Report, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	g, err := makeGrid(rows)
	if err != nil {
		return nil, err
	}
	p, j := len(g.products), len(g.assessors)
	ranks := make([][]int, j)
	sums := make([]float64, p)
	within := 0.0
	for i, row := range g.values {
		ranks[i] = doubledMidranks(row)
		for k, v := range ranks[i] {
			r := float64(v) / 2
			sums[k] += r
			within += math.Pow(r-float64(p+1)/2, 2)
		}
	}
	res := &RankResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}, Assessors: j, DF: p - 1}
	for k, name := range g.products {
		res.Products = append(res.Products, RankSum{name, sums[k], sums[k] / float64(j)})
	}
	g.remark(&res.outcome)
	res.Panel = g.panel("", false)
	for i, row := range ranks {
		res.Panel.Values[i] = make([]float64, p)
		for k, v := range row {
			res.Panel.Values[i][k] = float64(v) / 2
		}
	}
	stat, pv, exact, ok := friedmanP(ranks)
	if !ok {
		res.note("all-tied", "every assessor tied all samples: there is no order to test")
		res.say("No order was given: all samples were tied by everyone.")
		return res, nil
	}
	res.Statistic, res.PValue, res.Exact = &stat, &pv, exact
	// Variance of a difference of two rank sums: twice the pooled row
	// variance; without ties J·P(P+1)/6.
	se := math.Sqrt(2 * within / float64(p-1))
	lsd := normalQuantile(1-alpha/2) * se
	res.LSD = &lsd
	var ps []float64
	for a := range p {
		for b := a + 1; b < p; b++ {
			d := sums[a] - sums[b]
			pair := RankPair{A: g.products[a], B: g.products[b], Difference: d, P: 2 * normalCDF(-math.Abs(d)/se)}
			pair.Differs = pv <= alpha && math.Abs(d) >= lsd-1e-12
			res.Pairs = append(res.Pairs, pair)
			ps = append(ps, pair.P)
		}
	}
	for i, h := range stats.Holm(ps) {
		res.Pairs[i].PHolm = h
		res.Pairs[i].PBonferroni = math.Min(1, ps[i]*float64(len(ps)))
	}
	how := "χ² approximation"
	if exact {
		how = "exact"
	}
	if pv <= alpha {
		res.say("The order is not one of chance: Friedman statistic %.4g on %d, p %s (%s).", stat, p-1, pText(pv), how)
		for _, pair := range res.Pairs {
			if pair.Differs {
				lower, upper := pair.A, pair.B
				if pair.Difference > 0 {
					lower, upper = upper, lower
				}
				res.say("%s is ranked before %s (rank sums differ by %.3g, LSD %.3g; Holm p %s).", lower, upper, math.Abs(pair.Difference), lsd, pText(pair.PHolm))
			}
		}
		if p >= 4 {
			res.note("lsd-unprotected", "with four products or more the LSD does not hold the risk over all pairs: read the Holm p-values for that")
		}
	} else {
		res.say("No order was shown: Friedman statistic %.4g on %d, p %s (%s). That is not the same as alike.", stat, p-1, pText(pv), how)
	}
	res.close(m)
	return res, nil
}

// Table implements Report.
func (r *RankResult) Table() [][]string {
	out := [][]string{{"product", "rank sum", "mean rank"}}
	for _, p := range r.Products {
		out = append(out, []string{p.Product, fmt.Sprintf("%g", p.Sum), short(p.MeanRank)})
	}
	return out
}

// Page tests rank sums against an order fixed before tasting: products are
// given from the one expected to be ranked first. L = Σ j·R_j has mean
// J·P(P+1)²/4 and variance J·P²(P+1)²(P−1)/144 without ties; the one-sided p
// is the normal approximation.
//
// References: Page E.B., 1963, J. American Statistical Association
// 58:216-230.
func Page(rankSums []float64, assessors int) (l, z, p float64, err error) {
	k := float64(len(rankSums))
	j := float64(assessors)
	if k < 3 || j < 2 {
		return 0, 0, 1, fault.New("page-size", "the test of an expected order needs three products and two assessors").WithFix("use a paired comparison for two products")
	}
	for i, r := range rankSums {
		l += float64(i+1) * r
	}
	mean := j * k * (k + 1) * (k + 1) / 4
	sd := math.Sqrt(j * k * k * (k + 1) * (k + 1) * (k - 1) / 144)
	z = (l - mean) / sd
	return l, z, normalCDF(-z), nil
}

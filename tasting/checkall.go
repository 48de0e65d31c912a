package tasting

import (
	"fmt"
	"math"
	"slices"

	"trivet/fault"
	"trivet/stats"
)

// CheckAll is check-all-that-apply: tick every word that fits a sample.
type CheckAll struct{}

var _ TableMethod = CheckAll{}

// Describe implements Method.
func (CheckAll) Describe() Description {
	return Description{
		Name: "check-all", Title: "check-all-that-apply", Standard: "no standard; Cochran's Q (Cochran 1950)", Kind: KindChecks,
		Ask:      "Tick every word that fits this sample. The words stand in another order on each ballot.",
		MayClaim: []string{"that a word fits one product for more tasters than another"},
		Not: []string{
			"how strong an attribute is: a tick has no size",
			"that an unticked word does not apply: it may not have been looked at",
		},
		Aliases: []string{"cata", "check-all-that-apply"},
	}
}

// Block is a Williams square.
func (CheckAll) Block(products int) ([]Serving, error) { return squareBlock(products, 8) }

// CheckResult is scored ticks.
type CheckResult struct {
	outcome
	Assessors int        `json:"n"`
	Products  []string   `json:"products"`
	Words     []WordTest `json:"words"`
}

// WordTest is one word over the products.
type WordTest struct {
	Word   string      `json:"word"`
	Ticks  []int       `json:"ticks"` // by product
	Q      *float64    `json:"q"`     // null when every taster ticked it for all products or for none
	DF     int         `json:"df"`
	PValue *float64    `json:"p_value"`
	Exact  bool        `json:"exact"`
	PHolm  *float64    `json:"p_holm"` // over the words
	Pairs  []CheckPair `json:"pairs,omitempty"`
}

// CheckPair is McNemar's exact two-sided test of two products for a word,
// given only after a significant Q.
type CheckPair struct {
	A     string  `json:"a"`
	B     string  `json:"b"`
	OnlyA int     `json:"only_a"`
	OnlyB int     `json:"only_b"`
	P     float64 `json:"p"`
	PHolm float64 `json:"p_holm"`
}

// ScoreRows takes a row for each tick (attribute the word, value not 0) and
// at least one row for each sample tasted (an empty attribute, or a word with
// value 0). Every word is tested by Cochran's Q, exactly where the table is
// small.
//
// References: Cochran W.G., 1950, The comparison of percentages in matched
// samples, Biometrika 37:256-266; McNemar Q., 1947, Psychometrika 12:153-157.
func (m CheckAll) ScoreRows(rows []Row, alpha float64) (Report, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	var words []string
	ticked := map[[3]string]bool{}
	presence := make([]Row, 0, len(rows))
	for _, r := range rows {
		if r.Attribute != "" && !slices.Contains(words, r.Attribute) {
			words = append(words, r.Attribute)
		}
		if r.Attribute != "" && r.Value != 0 {
			ticked[[3]string{r.Assessor, r.Product, r.Attribute}] = true
		}
		presence = append(presence, Row{Assessor: r.Assessor, Product: r.Product})
	}
	if len(words) == 0 {
		return nil, fault.New("attribute-missing", "no word was ticked by anyone").WithFix("name the word in the column attribute")
	}
	g, err := makeGrid(presence)
	if err != nil {
		return nil, err
	}
	res := &CheckResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}, Assessors: len(g.assessors), Products: g.products}
	if len(g.dropped) > 0 {
		res.note("assessors-incomplete", "%d assessors did not taste every product and are left out", len(g.dropped))
	}
	var ps []float64
	for _, w := range words {
		table := make([][]int, len(g.assessors))
		test := WordTest{Word: w, Ticks: make([]int, len(g.products)), DF: len(g.products) - 1}
		for i, a := range g.assessors {
			table[i] = make([]int, len(g.products))
			for j, p := range g.products {
				if ticked[[3]string{a, p, w}] {
					table[i][j] = 1
					test.Ticks[j]++
				}
			}
		}
		if q, p, exact, ok := friedmanP(table); ok {
			test.Q, test.PValue, test.Exact = &q, &p, exact
			ps = append(ps, p)
		} else {
			ps = append(ps, math.NaN())
		}
		test.Pairs = checkPairs(g.products, table)
		res.Words = append(res.Words, test)
	}
	for i, h := range stats.Holm(ps) {
		t := &res.Words[i]
		t.PHolm = finite(h)
		if t.PHolm == nil || h > alpha {
			t.Pairs = nil
			continue
		}
		res.say("%q fits the products unequally often (Q = %.3g on %d, Holm p %s).", t.Word, *t.Q, t.DF, pText(h))
		for _, p := range t.Pairs {
			if p.PHolm <= alpha {
				more, less, a, b := p.A, p.B, p.OnlyA, p.OnlyB
				if b > a {
					more, less, a, b = less, more, b, a
				}
				res.say("%q: %d tasters ticked it for %s only, %d for %s only (p %s).", t.Word, a, more, b, less, pText(p.PHolm))
			}
		}
	}
	if len(res.Says) == 0 {
		res.say("No word was shown to fit the products unequally often. That is not the same as alike.")
	}
	res.close(m)
	return res, nil
}

func checkPairs(products []string, table [][]int) []CheckPair {
	var out []CheckPair
	var ps []float64
	for a := range products {
		for b := a + 1; b < len(products); b++ {
			pair := CheckPair{A: products[a], B: products[b]}
			for _, r := range table {
				pair.OnlyA += b2i(r[a] > r[b])
				pair.OnlyB += b2i(r[b] > r[a])
			}
			n := pair.OnlyA + pair.OnlyB
			pair.P = math.Min(1, 2*upperTail(n, max(pair.OnlyA, pair.OnlyB), 0.5))
			out = append(out, pair)
			ps = append(ps, pair.P)
		}
	}
	for i, h := range stats.Holm(ps) {
		out[i].PHolm = h
	}
	return out
}

func b2i(ok bool) int {
	if ok {
		return 1
	}
	return 0
}

// Table implements Report.
func (r *CheckResult) Table() [][]string {
	out := [][]string{append([]string{"word"}, append(slices.Clone(r.Products), "Holm p")...)}
	for _, w := range r.Words {
		row := []string{w.Word}
		for _, n := range w.Ticks {
			row = append(row, fmt.Sprint(n))
		}
		if w.PHolm == nil {
			row = append(row, "–")
		} else {
			row = append(row, probability(*w.PHolm))
		}
		out = append(out, row)
	}
	return out
}

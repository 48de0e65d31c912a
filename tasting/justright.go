package tasting

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
	"trivet/stats"
)

// JustRight is just-about-right rating with penalty analysis: each attribute
// on 1 to 5, 1 much too little, 3 just about right, 5 much too much, beside an
// overall "liking".
type JustRight struct{}

var _ TableMethod = JustRight{}

// LikingAttribute is the attribute that penalties are counted in.
const LikingAttribute = "liking"

// Describe implements Method.
func (JustRight) Describe() Description {
	return Description{
		Name: "just-about-right", Title: "just-about-right rating with penalty analysis", Standard: "ASTM MNL63 (Rothman and Parker, 2009)", Kind: KindScale,
		Ask:      "For each attribute: 1 much too little, 2 too little, 3 just about right, 4 too much, 5 much too much. Then: how much do you like the sample, 1 to 9?",
		MayClaim: []string{"that tasters who found an attribute off liked the product less, by how much, and how many they were"},
		Not: []string{
			"that mending the attribute would raise liking by the penalty: a correlation is not a cause",
			"effects of attributes one by one: they are judged by the same people and move together",
		},
		Aliases: []string{"jar", "justright", "penalty"},
	}
}

// Block is a Williams square.
func (JustRight) Block(products int) ([]Serving, error) { return squareBlock(products, 6) }

// shownShare is the share of tasters below which a penalty is kept but not
// read: common practice, no source.
const shownShare = 0.20

// PenaltyResult is a penalty analysis.
type PenaltyResult struct {
	outcome
	Penalties []Penalty `json:"penalties"`
}

// Penalty is one side of one attribute of one product.
type Penalty struct {
	Product   string   `json:"product"`
	Attribute string   `json:"attribute"`
	Side      string   `json:"side"` // too little | too much
	N         int      `json:"n"`
	NRight    int      `json:"n_just_right"`
	Share     float64  `json:"share"`
	Drop      *float64 `json:"drop"` // mean liking just right − this side; null when a group is empty
	Low       *float64 `json:"low"`  // 1−alpha interval of the drop, Welch
	High      *float64 `json:"high"`
	P         *float64 `json:"p"`
	PHolm     *float64 `json:"p_holm"`
	Weighted  *float64 `json:"weighted"` // drop × share
	Shown     bool     `json:"shown"`    // the side has at least 20 % of the tasters
}

// ScoreRows needs, for each assessor and product, one row "liking" and one a
// just-about-right attribute.
func (m JustRight) ScoreRows(rows []Row, alpha float64) (Report, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	type key struct{ assessor, product string }
	liking := map[key]float64{}
	var products, attributes []string
	for i, r := range rows {
		if !slices.Contains(products, r.Product) {
			products = append(products, r.Product)
		}
		if r.Attribute == LikingAttribute {
			if _, twice := liking[key{r.Assessor, r.Product}]; twice {
				return nil, fault.New("row-twice", "assessor %s gave two likings of %s", r.Assessor, r.Product).AtRow(i + 1).WithFix("penalties need one judgement of each product by each taster")
			}
			liking[key{r.Assessor, r.Product}] = r.Value
			continue
		}
		if r.Value != math.Trunc(r.Value) || r.Value < 1 || r.Value > 5 {
			return nil, fault.New("score-range", "a just-about-right answer is not one of 1 to 5").AtRow(i+1).On(r.Attribute, number(r.Value)).WithFix("3 is just about right; write a three-point scale as 2, 3, 4")
		}
		if !slices.Contains(attributes, r.Attribute) {
			attributes = append(attributes, r.Attribute)
		}
	}
	if len(liking) == 0 || len(attributes) == 0 {
		return nil, fault.New("attribute-missing", "penalties need an attribute %q and at least one just-about-right attribute", LikingAttribute).WithFix("name them in the column attribute")
	}
	res := &PenaltyResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}}
	var ps []float64
	for _, p := range products {
		for _, a := range attributes {
			var low, right, high []float64
			for i, r := range rows {
				if r.Product != p || r.Attribute != a {
					continue
				}
				l, ok := liking[key{r.Assessor, p}]
				if !ok {
					return nil, fault.New("row-incomplete", "assessor %s rated %s of %s but gave no liking", r.Assessor, a, p).AtRow(i + 1).WithFix("add the liking, or leave the row out")
				}
				switch {
				case r.Value < 3:
					low = append(low, l)
				case r.Value > 3:
					high = append(high, l)
				default:
					right = append(right, l)
				}
			}
			n := len(low) + len(right) + len(high)
			if n == 0 {
				continue
			}
			for _, side := range []struct {
				name string
				off  []float64
			}{{"too little", low}, {"too much", high}} {
				pen := penalty(right, side.off, n, alpha)
				pen.Product, pen.Attribute, pen.Side = p, a, side.name
				res.Penalties = append(res.Penalties, pen)
				if pen.P == nil {
					ps = append(ps, math.NaN())
				} else {
					ps = append(ps, *pen.P)
				}
			}
		}
	}
	for i, h := range stats.Holm(ps) {
		pen := &res.Penalties[i]
		pen.PHolm = finite(h)
		if !pen.Shown {
			continue
		}
		switch {
		case pen.Drop == nil:
			res.note("group-empty", "%s, %s: nobody found it just about right, so there is nothing to compare with", pen.Product, pen.Attribute)
		case pen.PHolm != nil && *pen.PHolm <= alpha:
			way, d, low, high := "less", *pen.Drop, *pen.Low, *pen.High
			if d < 0 {
				way, d, low, high = "more", -d, -high, -low
			}
			res.say("%s: the %s who found %s %s liked it %.2g points %s (interval %.2g to %.2g, Holm p %s).", pen.Product, percent(pen.Share), pen.Attribute, pen.Side, d, way, low, high, pText(*pen.PHolm))
		default:
			res.say("%s: %s found %s %s; a lower liking was not shown (mean %.2g points lower).", pen.Product, percent(pen.Share), pen.Attribute, pen.Side, *pen.Drop)
		}
	}
	res.note("shown-share", "sides with less than %s of the tasters are in the table but not read (common practice, no source)", percent(shownShare))
	res.close(m)
	return res, nil
}

func penalty(right, off []float64, n int, alpha float64) Penalty {
	pen := Penalty{N: len(off), NRight: len(right), Share: float64(len(off)) / float64(n)}
	pen.Shown = pen.Share >= shownShare
	if len(off) == 0 || len(right) == 0 {
		return pen
	}
	drop := stats.Mean(right) - stats.Mean(off)
	weighted := drop * pen.Share
	pen.Drop, pen.Weighted = &drop, &weighted
	if len(off) < 2 || len(right) < 2 {
		return pen
	}
	w, err := stats.Welch(right, off)
	if err != nil || !(w.SE > 0) {
		return pen
	}
	iv := w.Interval(1 - alpha)
	pen.Low, pen.High = finite(iv.Low), finite(iv.High)
	pen.P = finite(2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: w.DF}.Survival(math.Abs(w.Estimate/w.SE)))
	return pen
}

// Table implements Report.
func (r *PenaltyResult) Table() [][]string {
	out := [][]string{{"product", "attribute", "side", "share", "drop", "weighted", "Holm p"}}
	cell := func(v *float64) string {
		if v == nil {
			return "–"
		}
		return short(*v)
	}
	for _, p := range r.Penalties {
		out = append(out, []string{p.Product, p.Attribute, p.Side, fmt.Sprintf("%.0f %%", 100*p.Share), cell(p.Drop), cell(p.Weighted), cell(p.PHolm)})
	}
	return out
}

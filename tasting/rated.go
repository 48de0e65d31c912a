package tasting

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
	"trivet/stats"
)

// Rated is rating of named attributes on a line or category scale, the ends
// and where possible points between fixed by reference samples.
type Rated struct{}

var _ TableMethod = Rated{}

// Describe implements Method.
func (Rated) Describe() Description {
	return Description{
		Name: "rated", Title: "rated attributes", Standard: "ISO 4121", Kind: KindScale,
		Ask:      "Mark how strong each attribute is in each sample, between the two ends shown.",
		MayClaim: []string{"that the panel rated one product higher on a named attribute, and by how much of the scale"},
		Not: []string{
			"liking",
			"agreement that was not measured: without repeated samples an assessor's repeatability is unknown",
		},
		Aliases: []string{"rating", "line-scale", "category-scale", "profile"},
	}
}

// Block is a Williams square.
func (Rated) Block(products int) ([]Serving, error) { return squareBlock(products, 8) }

// Scale is what an attribute is marked on.
type Scale struct {
	Attribute  string           `json:"attribute"`
	Low, High  string           `json:"-"`
	Min, Max   float64          `json:"-"`
	Categories int              `json:"categories,omitempty"` // 0: a line
	References []ScaleReference `json:"references,omitempty"`
}

// ScaleReference is a sample that shows what a point of the scale means.
type ScaleReference struct {
	At   float64 `json:"at"`
	What string  `json:"what"`
}

// Check refuses a value that is not on the scale, code "score-range".
func (s Scale) Check(v float64) error {
	if !(v >= s.Min && v <= s.Max) {
		return fault.New("score-range", "%s lies outside the scale from %g to %g", s.Attribute, s.Min, s.Max).On(s.Attribute, number(v)).WithFix("mark between the ends")
	}
	if s.Categories > 1 {
		step := (s.Max - s.Min) / float64(s.Categories-1)
		if k := (v - s.Min) / step; math.Abs(k-math.Round(k)) > 1e-9 {
			return fault.New("score-range", "%s is not one of %d categories", s.Attribute, s.Categories).On(s.Attribute, number(v)).WithFix("choose a category")
		}
	}
	return nil
}

// RatedResult is scored ratings, one part an attribute.
type RatedResult struct {
	outcome
	Attributes []RatedAttribute `json:"attributes"`
}

// RatedAttribute is the mixed model of one attribute and how each assessor
// did.
type RatedAttribute struct {
	Attribute string  `json:"attribute"`
	Assessors int     `json:"n"`
	F         float64 `json:"f"` // products, Satterthwaite degrees of freedom
	DF1       float64 `json:"df1"`
	DF2       float64 `json:"df2"`
	PValue    float64 `json:"p_value"`
	PHolm     float64 `json:"p_holm"` // over the attributes
	// Variances between assessors, of assessor × product (null without
	// replicates) and of the rest.
	VarAssessor    float64  `json:"var_assessor"`
	VarInteraction *float64 `json:"var_interaction"`
	VarResidual    float64  `json:"var_residual"`

	Means    []RatedMean     `json:"products"`
	Pairs    []RatedPair     `json:"pairs"`
	ByTaster []AssessorSkill `json:"assessors"`
	// Ordinal is given beside for marks on a scale of few categories, whose
	// steps need not be equal: a cumulative logit model, assessor random.
	Ordinal []OrdinalContrast `json:"ordinal,omitempty"`
	Panel   *Panel            `json:"-"`
}

// OrdinalContrast is the log odds of a higher mark against the first product.
type OrdinalContrast struct {
	Product string  `json:"product"`
	Against string  `json:"against"`
	LogOdds float64 `json:"log_odds"`
	SE      float64 `json:"se"`
	P       float64 `json:"p"`
}

// RatedMean is one product.
type RatedMean struct {
	Product string  `json:"product"`
	Mean    float64 `json:"mean"`
	SE      float64 `json:"se"`
	// Low and High are the 1−alpha interval of the marginal mean.
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

// RatedPair is a − b.
type RatedPair struct {
	A          string  `json:"a"`
	B          string  `json:"b"`
	Difference float64 `json:"difference"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	P          float64 `json:"p"`
	PHolm      float64 `json:"p_holm"` // over the pairs of the attribute
}

// AssessorSkill is how one assessor used an attribute.
type AssessorSkill struct {
	Assessor string `json:"assessor"`
	// Discrimination is the F of products over the assessor's own replicates.
	Discrimination *float64 `json:"discrimination_f"`
	PValue         *float64 `json:"discrimination_p"`
	// Repeatability is the SD of the assessor's replicates of a product.
	Repeatability *float64 `json:"repeatability_sd"`
	// Agreement is the correlation of the assessor's product means with the
	// means of all others.
	Agreement *float64 `json:"agreement_r"`
	// Level is the assessor's mean less that of the panel.
	Level float64 `json:"level"`
}

// ScoreRows fits, for each attribute, product (and position where recorded)
// fixed, assessor and assessor × product random, by restricted maximum
// likelihood; products are tested against the interaction, so a panel whose
// members disagree shows less. Without replicates the interaction stays in
// the residual.
func (m Rated) ScoreRows(rows []Row, alpha float64) (Report, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	res := &RatedResult{outcome: outcome{Method: m.Describe().Name, Alpha: alpha}}
	names, parts := byAttribute(rows)
	var ps []float64
	for _, name := range names {
		a, notes, err := rateAttribute(parts[name], alpha)
		if err != nil {
			return nil, err
		}
		a.Attribute, a.Panel.Attribute = name, name
		res.Attributes = append(res.Attributes, *a)
		res.Notes = append(res.Notes, notes...)
		ps = append(ps, a.PValue)
	}
	for i, h := range stats.Holm(ps) {
		a := &res.Attributes[i]
		a.PHolm = h
		label := a.Attribute
		if label == "" {
			label = "the attribute"
		}
		if h <= alpha {
			res.say("The products differ in %s (F = %.3g on %.3g and %.3g, Holm p %s).", label, a.F, a.DF1, a.DF2, pText(h))
			for _, p := range a.Pairs {
				if p.PHolm <= alpha {
					res.say("%s: %s against %s %+.3g (%s interval %.3g to %.3g).", label, p.A, p.B, p.Difference, percent(1-alpha), p.Low, p.High)
				}
			}
		} else {
			res.say("A difference in %s was not shown (F = %.3g on %.3g and %.3g, Holm p %s). That is not the same as alike.", label, a.F, a.DF1, a.DF2, pText(h))
		}
	}
	res.close(m)
	return res, nil
}

func rateAttribute(rows []Row, alpha float64) (*RatedAttribute, []fault.Note, error) {
	g, err := makeGrid(rows)
	if err != nil {
		return nil, nil, err
	}
	spec := stats.ModelSpec{Fixed: []string{"product"}, Random: []string{"assessor"}}
	var product, position, assessor []string
	places := map[int]bool{}
	for _, r := range rows {
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
	if g.replicated {
		spec.Random = append(spec.Random, "assessor:product")
	}
	model, err := stats.FitModel(spec)
	if err != nil {
		return nil, nil, err
	}
	f, err := model.Test("product")
	if err != nil {
		return nil, nil, err
	}
	out := &RatedAttribute{Assessors: len(g.assessors) + len(g.dropped), F: f.F, DF1: f.NumDF, DF2: f.DenDF, PValue: f.P, VarResidual: model.Sigma2}
	for _, c := range model.Components {
		v := c.Variance
		if c.Grouping == "assessor" {
			out.VarAssessor = v
		} else {
			out.VarInteraction = &v
		}
	}
	means, err := model.MarginalMeans("product")
	if err != nil {
		return nil, nil, err
	}
	for _, mm := range means {
		iv := mm.Interval(1 - alpha)
		out.Means = append(out.Means, RatedMean{mm.Level, mm.Estimate, mm.SE, finite(iv.Low), finite(iv.High)})
	}
	if out.Pairs, err = ratedPairs(model, alpha); err != nil {
		return nil, nil, err
	}
	out.ByTaster = skills(g, rows)
	out.Panel = g.panel("", true)
	notes := model.Notes
	if categories(spec.Response) {
		var err error
		if out.Ordinal, err = ordinal(spec.Response, product, assessor); err != nil {
			// The model beside is a check: the main one stands without it.
			notes = append(notes, fault.Notef("ordinal-not-fitted", "no cumulative logit model beside: %s", err))
		}
	}
	return out, notes, nil
}

// categories tells marks on a scale of few steps from a line.
func categories(marks []float64) bool {
	var seen []float64
	for _, v := range marks {
		if v != math.Trunc(v) {
			return false
		}
		if !slices.Contains(seen, v) {
			seen = append(seen, v)
		}
	}
	return len(seen) > 1 && len(seen) <= 9
}

func ordinal(marks []float64, product, assessor []string) ([]OrdinalContrast, error) {
	c, err := stats.CompareGrades(stats.NewTable(marks, product, assessor), stats.Options{}, signFlipSeed)
	if err != nil {
		return nil, err
	}
	var out []OrdinalContrast
	for _, k := range c.Contrasts {
		if math.IsNaN(k.LogOdds) {
			continue
		}
		out = append(out, OrdinalContrast{k.Treatment, k.Control, k.LogOdds, k.LogOddsSE, k.LogOddsP})
	}
	return out, nil
}

func ratedPairs(model *stats.Model, alpha float64) ([]RatedPair, error) {
	levels := model.Levels("product")
	var out []RatedPair
	var ps []float64
	for a := range levels {
		for b := a + 1; b < len(levels); b++ {
			w := make([]float64, len(levels))
			w[a], w[b] = 1, -1
			l, err := model.Combination("product", w, nil)
			if err != nil {
				return nil, err
			}
			iv := l.Interval(1 - alpha)
			p := 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: l.DF}.Survival(math.Abs(l.Estimate/l.SE))
			out = append(out, RatedPair{levels[a], levels[b], l.Estimate, iv.Low, iv.High, p, 0})
			ps = append(ps, p)
		}
	}
	for i, h := range stats.Holm(ps) {
		out[i].PHolm = h
	}
	return out, nil
}

// skills describes every assessor who rated all products.
func skills(g *grid, rows []Row) []AssessorSkill {
	panel := 0.0
	for _, v := range g.values {
		panel += stats.Mean(v)
	}
	panel /= float64(len(g.values))
	var out []AssessorSkill
	for i, who := range g.assessors {
		s := AssessorSkill{Assessor: who, Level: stats.Mean(g.values[i]) - panel}
		// Own replicates: one-way analysis of variance.
		var within, between float64
		n, dfWithin := 0, 0
		var all []float64
		for _, p := range g.products {
			var cell []float64
			for _, r := range rows {
				if r.Assessor == who && r.Product == p {
					cell = append(cell, r.Value)
				}
			}
			if len(cell) > 1 {
				within += stats.Variance(cell) * float64(len(cell)-1)
				dfWithin += len(cell) - 1
			}
			all = append(all, cell...)
			n += len(cell)
		}
		grand := stats.Mean(all)
		for j, p := range g.products {
			k := 0
			for _, r := range rows {
				if r.Assessor == who && r.Product == p {
					k++
				}
			}
			between += float64(k) * math.Pow(g.values[i][j]-grand, 2)
		}
		if dfWithin > 0 {
			sd := math.Sqrt(within / float64(dfWithin))
			s.Repeatability = &sd
			if within > 0 {
				df := float64(len(g.products) - 1)
				fv := between / df / (within / float64(dfWithin))
				s.Discrimination = &fv
				s.PValue = finite(distuv.F{D1: df, D2: float64(dfWithin)}.Survival(fv))
			}
		}
		others := make([]float64, len(g.products))
		for k := range g.values {
			if k != i {
				for j, v := range g.values[k] {
					others[j] += v / float64(len(g.values)-1)
				}
			}
		}
		if len(g.products) > 2 {
			s.Agreement = finite(stat.Correlation(g.values[i], others, nil))
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b AssessorSkill) int { return cmp.Compare(a.Assessor, b.Assessor) })
	return out
}

// Table implements Report.
func (r *RatedResult) Table() [][]string {
	out := [][]string{{"attribute", "product", "mean", "se"}}
	for _, a := range r.Attributes {
		for _, m := range a.Means {
			out = append(out, []string{a.Attribute, m.Product, short(m.Mean), short(m.SE)})
		}
	}
	return out
}

package cli

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"trivet/fault"
	"trivet/stats"
)

// modelOptions are the flags of what is read from the fitted model beyond
// the contrasts.
type modelOptions struct {
	trend, means, anova bool
	scores              []string
	interactions        []string
}

func (o modelOptions) any() bool {
	return o.trend || o.means || o.anova || len(o.interactions) > 0
}

// products are the pairs of columns of --interaction and of --also a:b.
func (o *compareOptions) products() ([][]string, error) {
	var out [][]string
	add := func(flag, text string, parts ...string) error {
		for i, p := range parts {
			p = strings.TrimSpace(p)
			switch {
			case p == "":
				return fault.BadUsage("interaction-form", "an interaction names two columns").On(flag, text).WithFix("write --also a:b, or --interaction FACTOR for treatment × factor")
			case p == o.fields.Treatment || p == stats.TreatmentTerm:
				p = stats.TreatmentTerm
			case p == o.fields.Block:
				return fault.BadUsage("interaction-block", "how treatments differ from block to block is the error they are judged by").On(flag, text).
					WithFix("name another factor; to let it scatter: --random %s:%s", o.fields.Block, o.fields.Treatment)
			case !slices.Contains(o.fields.Also, p):
				o.fields.Also = append(o.fields.Also, p)
			}
			parts[i] = p
		}
		if len(parts) != 2 || parts[0] == parts[1] {
			return fault.BadUsage("interaction-form", "an interaction is of two different columns").On(flag, text).WithFix("write --also a:b with two columns")
		}
		twice := slices.ContainsFunc(out, func(q []string) bool { return slices.Contains(q, parts[0]) && slices.Contains(q, parts[1]) })
		if !twice {
			out = append(out, parts)
		}
		return nil
	}
	also := o.fields.Also
	o.fields.Also = nil
	for _, a := range also {
		if !strings.Contains(a, ":") && !slices.Contains(o.fields.Also, a) {
			o.fields.Also = append(o.fields.Also, a)
		}
	}
	for _, a := range also {
		if strings.Contains(a, ":") {
			if err := add("--also", a, strings.Split(a, ":")...); err != nil {
				return nil, err
			}
		}
	}
	for _, f := range o.model.interactions {
		if err := add("--interaction", f, stats.TreatmentTerm, f); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// modelJSON is what a comparison adds from its model. Numbers are on the
// analysis scale.
type modelJSON struct {
	Means        []meanJSON        `json:"means,omitempty"`
	Trend        []trendJSON       `json:"trend,omitempty"`
	Interactions []interactionJSON `json:"interactions,omitempty"`
	ANOVA        []anovaJSON       `json:"anova,omitempty"`
	Tests        []testJSON        `json:"tests,omitempty"` // instead of sums of squares, of a mixed model
}

// lineJSON is an estimate with its t interval at the comparison's 1−α.
type lineJSON struct {
	Estimate *float64 `json:"estimate"`
	SE       *float64 `json:"se"`
	DF       *float64 `json:"df"`
	CILow    *float64 `json:"ci_low"`
	CIHigh   *float64 `json:"ci_high"`
}

type meanJSON struct {
	Level string `json:"level"`
	lineJSON
}

type trendJSON struct {
	Degree int    `json:"degree"`
	Name   string `json:"name"`
	lineJSON
	P *float64 `json:"p_value"`
	// Slope is the rise of a level's mean for one unit of the levels; of the
	// linear trend only.
	Slope *lineJSON `json:"slope,omitempty"`
}

type testJSON struct {
	Term  string   `json:"term"`
	F     *float64 `json:"f"`
	NumDF float64  `json:"num_df"`
	DenDF *float64 `json:"den_df"`
	P     *float64 `json:"p_value"`
}

type interactionJSON struct {
	testJSON
	Effects []withinJSON `json:"effects"` // the treatment's, at each level of the factor
	factor  string
}

type withinJSON struct {
	Level     string `json:"level"`
	Treatment string `json:"treatment"`
	Control   string `json:"control"`
	lineJSON
}

type anovaJSON struct {
	Source string   `json:"source"`
	DF     float64  `json:"df"`
	SumSq  float64  `json:"sum_sq"`
	MeanSq *float64 `json:"mean_sq"`
	F      *float64 `json:"f"`
	P      *float64 `json:"p_value"`
}

// number is x, or null in JSON where there is none.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func line(l stats.Linear, alpha float64) lineJSON {
	i := l.Interval(1 - alpha)
	return lineJSON{number(l.Estimate), number(l.SE), number(l.DF), number(i.Low), number(i.High)}
}

// compareModel reads means, trends, interactions and tests from the model:
// the comparison's own, or the one with random groupings, with the products
// asked for.
func compareModel(c *stats.Comparison, t stats.Table, o compareOptions, products [][]string) (*modelJSON, error) {
	if !o.model.any() && len(products) == 0 {
		return nil, nil
	}
	m, terms := c.Model(), []string(nil)
	var err error
	switch {
	case len(o.random) > 0:
		for _, p := range products {
			terms = append(terms, strings.Join(p, ":"))
		}
		m, _, err = randomModelOf(t, o, terms)
	case len(products) > 0:
		m, terms, err = c.WithProducts(products)
	}
	if err != nil {
		return nil, err
	}
	out := &modelJSON{}
	if o.model.means {
		means, err := m.MarginalMeans(stats.TreatmentTerm)
		if err != nil {
			return nil, err
		}
		for _, x := range means {
			out.Means = append(out.Means, meanJSON{x.Level, line(x.Linear, c.Alpha)})
		}
	}
	if o.model.trend {
		if out.Trend, err = trends(m, c, o.model.scores); err != nil {
			return nil, err
		}
	}
	for i, term := range terms {
		f, err := m.Test(term)
		if err != nil {
			return nil, err
		}
		x := interactionJSON{testJSON: test(f), Effects: []withinJSON{}}
		x.Term = strings.Join(o.columns(products[i]), ":")
		if at := slices.Index(products[i], stats.TreatmentTerm); at >= 0 {
			factor := strings.Split(term, ":")[1-at]
			x.Effects, x.factor = within(m, c, factor), products[i][1-at]
		}
		out.Interactions = append(out.Interactions, x)
	}
	if o.model.anova {
		if m.Mixed() {
			for _, term := range m.Terms() {
				f, err := m.Test(term)
				if err != nil {
					return nil, err
				}
				x := test(f)
				x.Term = strings.Join(o.columns(strings.Split(term, ":")), ":")
				out.Tests = append(out.Tests, x)
			}
			return out, nil
		}
		for _, r := range m.ANOVA().Rows {
			out.ANOVA = append(out.ANOVA, anovaJSON{strings.Join(o.columns(strings.Split(r.Source, ":")), ":"), r.DF, r.SumSq, number(r.MeanSq), number(r.F), number(r.P)})
		}
	}
	return out, nil
}

// columns are terms as the table names them.
func (o compareOptions) columns(parts []string) []string {
	out := slices.Clone(parts)
	for i, p := range out {
		if p == stats.TreatmentTerm {
			out[i] = o.fields.Treatment
		}
	}
	return out
}

func test(f stats.FTest) testJSON {
	return testJSON{f.Term, number(f.F), f.NumDF, number(f.DenDF), number(f.P)}
}

// within are the treatment's differences from the control at every level of
// a factor; those the data cannot tell are left out.
func within(m *stats.Model, c *stats.Comparison, factor string) []withinJSON {
	out := []withinJSON{}
	levels := m.Levels(stats.TreatmentTerm)
	for _, at := range m.Levels(factor) {
		for i, tr := range levels {
			if tr == c.Control {
				continue
			}
			w := make([]float64, len(levels))
			w[i], w[slices.Index(levels, c.Control)] = 1, -1
			if l, err := m.Combination(stats.TreatmentTerm, w, map[string]string{factor: at}); err == nil {
				out = append(out, withinJSON{at, tr, c.Control, line(l, c.Alpha)})
			}
		}
	}
	return out
}

// trends are the linear and, from three levels on, the quadratic trend over
// the treatment's levels.
func trends(m *stats.Model, c *stats.Comparison, given []string) ([]trendJSON, error) {
	levels := m.Levels(stats.TreatmentTerm)
	scores, err := trendScores(levels, given)
	if err != nil {
		return nil, err
	}
	trend, err := m.Trend(stats.TreatmentTerm, scores, min(2, len(levels)-1))
	if err != nil {
		return nil, err
	}
	ss, mean := 0.0, stats.Mean(scores)
	for _, x := range scores {
		ss += (x - mean) * (x - mean)
	}
	var out []trendJSON
	for k, l := range trend {
		x := trendJSON{Degree: k + 1, Name: []string{"linear", "quadratic"}[k], lineJSON: line(l, c.Alpha),
			P: number(stats.Contrast{Estimate: l.Estimate, SE: l.SE, DF: l.DF}.OneSidedP(stats.Either, 0))}
		if k == 0 {
			// Least squares over the means: Σ(x−x̄)m/Σ(x−x̄)², with the
			// contrast (x−x̄)/√Σ(x−x̄)².
			slope := line(stats.Linear{Estimate: l.Estimate / math.Sqrt(ss), SE: l.SE / math.Sqrt(ss), DF: l.DF}, c.Alpha)
			x.Slope = &slope
		}
		out = append(out, x)
	}
	return out, nil
}

// trendScores places the levels: as numbers, or where --scores says.
func trendScores(levels, given []string) ([]float64, error) {
	at := map[string]float64{}
	for _, s := range given {
		level, text, ok := strings.Cut(s, "=")
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if !ok || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fault.BadUsage("score-form", "a score places one level").On("--scores", s).WithFix("write --scores low=1,middle=2,high=3")
		}
		at[strings.TrimSpace(level)] = v
	}
	var out []float64
	for _, l := range levels {
		v, ok := at[l]
		if !ok && len(given) > 0 {
			return nil, fault.BadUsage("score-missing", "the level %q has no score", l).WithFix("give every level one: %s", strings.Join(levels, "=…,")+"=…")
		}
		if !ok {
			a, err := parseAmountFlag("scores", l)
			if err != nil {
				return nil, fault.BadUsage("trend-words", "the level %q is no number, so its place in a trend is not known", l).
					WithFix("give every level a place: --scores %s", strings.Join(levels, "=…,")+"=…")
			}
			v = a.value
		}
		out = append(out, v)
	}
	for l := range at {
		if !slices.Contains(levels, l) {
			return nil, fault.BadUsage("score-unknown", "there is no level %q", l).On("--scores", l).WithFix("the levels are %s", strings.Join(levels, ", "))
		}
	}
	return out, nil
}

func short(x *float64) string {
	if x == nil {
		return "–"
	}
	s := strconv.FormatFloat(*x, 'g', 4, 64)
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		return "−" + rest
	}
	return s
}

func (l lineJSON) text(show func(float64) float64) string {
	if l.Estimate == nil || l.SE == nil || l.CILow == nil || l.CIHigh == nil {
		return "cannot be told"
	}
	se := math.Abs(show(*l.Estimate+*l.SE) - show(*l.Estimate))
	return fmt.Sprintf("%s\t%s to %s\t%s\t%s", decimals(show(*l.Estimate), se), decimals(show(*l.CILow), se), decimals(show(*l.CIHigh), se), short(l.SE), short(l.DF))
}

// print puts the parts under the comparison.
func (x *modelJSON) print(env *Env, c *stats.Comparison, treatment string) {
	if x == nil {
		return
	}
	plain := func(v float64) float64 { return v }
	level, change, unit := plain, plain, "difference"
	if c.LogScale {
		level, unit = math.Exp, "change in %"
		change = func(v float64) float64 { return 100 * math.Expm1(v) }
	}
	interval := percentOf(1-c.Alpha) + " interval"
	table := func(rows ...string) {
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		for _, r := range rows {
			fmt.Fprintln(t, "  "+r)
		}
		t.Flush()
	}
	if len(x.Means) > 0 {
		what := "mean"
		if c.LogScale {
			what = "geometric mean"
		}
		env.Printf("\nMarginal means, other factors at equal weights and covariates at their mean:\n")
		rows := []string{treatment + "\t" + what + "\t" + interval + "\tse\tdf"}
		for _, m := range x.Means {
			rows = append(rows, m.Level+"\t"+m.text(level))
		}
		table(rows...)
	}
	if len(x.Trend) > 0 {
		env.Printf("\nTrend over %s (orthonormal contrasts of its means", treatment)
		if c.LogScale {
			env.Printf(", logarithms")
		}
		env.Printf("):\n")
		rows := []string{"trend\testimate\t" + interval + "\tse\tdf\tp"}
		for _, t := range x.Trend {
			rows = append(rows, t.Name+"\t"+t.text(plain)+"\t"+short(t.P))
		}
		if s := x.Trend[0].Slope; s != nil {
			rows = append(rows, "slope a unit\t"+s.text(plain)+"\t"+short(x.Trend[0].P))
		}
		table(rows...)
		if len(x.Trend) == 1 {
			env.Printf("  Two levels show a step; a bend takes a third.\n")
		}
	}
	for _, i := range x.Interactions {
		env.Printf("\nInteraction %s: F(%g, %s) = %s, p %s.\n", strings.ReplaceAll(i.Term, ":", " × "), i.NumDF, short(i.DenDF), short(i.F), short(i.P))
		if len(i.Effects) > 0 {
			rows := []string{i.factor + "\ttreatment\tminus\t" + unit + "\t" + interval + "\tse\tdf"}
			for _, e := range i.Effects {
				rows = append(rows, e.Level+"\t"+e.Treatment+"\t"+e.Control+"\t"+e.text(change))
			}
			table(rows...)
			env.Printf("%s", wrapped("  ", subgroupSentence(i, c.Alpha), 78))
		}
	}
	if len(x.ANOVA) > 0 {
		env.Printf("\nAnalysis of variance, each line what those above it leave:\n")
		rows := []string{"source\tdf\tsum of squares\tmean square\tF\tp"}
		for _, r := range x.ANOVA {
			rows = append(rows, fmt.Sprintf("%s\t%g\t%s\t%s\t%s\t%s", r.Source, r.DF, short(&r.SumSq), short(r.MeanSq), short(r.F), short(r.P)))
		}
		table(rows...)
	}
	if len(x.Tests) > 0 {
		env.Printf("\nTests of the fixed effects (marginal, Satterthwaite; a mixed model has no one table of squares):\n")
		rows := []string{"effect\tF\tdf\terror df\tp"}
		for _, r := range x.Tests {
			rows = append(rows, fmt.Sprintf("%s\t%s\t%g\t%s\t%s", r.Term, short(r.F), r.NumDF, short(r.DenDF), short(r.P)))
		}
		table(rows...)
	}
}

// subgroupSentence says what an interaction test allows.
func subgroupSentence(i interactionJSON, alpha float64) string {
	if i.P != nil && cmp.Less(*i.P, alpha) {
		return "The difference is not the same at every level: state it level by level, not as one. A claim about one level needs this test; “it shows here and not there” is none."
	}
	return "The test does not show that the difference depends on the level; nor does it show that it is the same. A claim that it works at one level only needs this test; “it shows here and not there” is none."
}

package cli

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/stats"
)

// compareExtra is what a comparison adds on request: a mixed model with a
// further random grouping, permutations, resampled intervals, what the model says of means, trends and
// interactions, ranks, and each block left out.
type compareExtra struct {
	Random      *randomModel     `json:"random,omitempty"`
	Permutation *permutationJSON `json:"permutation,omitempty"`
	Bootstrap   []bootstrapJSON  `json:"bootstrap,omitempty"`
	*modelJSON
	*ranksJSON
}

type randomModel struct {
	Groupings  []string         `json:"groupings"`
	Components []componentJSON  `json:"components"`
	Contrasts  []stats.Contrast `json:"contrasts"`
	Notes      []fault.Note     `json:"notes"`
	alpha      float64
}

type componentJSON struct {
	Grouping string  `json:"grouping"`
	Levels   int     `json:"levels,omitempty"`
	Variance float64 `json:"variance"`
}

type permutationJSON struct {
	P            float64   `json:"p"`
	ContrastP    []float64 `json:"contrast_p"`
	Exact        bool      `json:"exact"`
	Arrangements float64   `json:"arrangements"`
}

type bootstrapJSON struct {
	Treatment    string       `json:"treatment"`
	Blocks       int          `json:"blocks"`
	Mean         float64      `json:"mean"`
	SE           float64      `json:"se"`
	Exact        bool         `json:"exact"`
	BCa          [2]float64   `json:"bca"`
	Percentile   [2]float64   `json:"percentile"`
	Bias         float64      `json:"bias"`
	Acceleration float64      `json:"acceleration"`
	Notes        []fault.Note `json:"notes"`
}

// randomColumns are the columns that --random names, beyond the block's.
func randomColumns(o compareOptions) []string {
	var out []string
	for _, r := range o.random {
		for _, name := range strings.Split(r, ":") {
			if name != o.fields.Block && name != "" && !slices.Contains(out, name) && !slices.Contains(o.fields.Also, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

func compareMore(c *stats.Comparison, t stats.Table, o compareOptions, products [][]string) (*compareExtra, error) {
	out := &compareExtra{}
	var err error
	if len(o.random) > 0 {
		if out.Random, err = fitRandom(c, t, o); err != nil {
			return nil, err
		}
	}
	if o.permute != 0 {
		p, err := c.PermutationDraws(o.seed, o.permute)
		if err != nil {
			return nil, err
		}
		out.Permutation = &permutationJSON{p.P, p.ContrastP, p.Exact, p.Arrangements}
	}
	if o.bootstrap != 0 {
		if len(t.Block) == 0 {
			return nil, fault.BadUsage("bootstrap-blocks", "blocks are resampled, and the table has none").On("--bootstrap", strconv.Itoa(o.bootstrap)).WithFix("name them with --block")
		}
		for i, x := range c.Contrasts {
			b, err := stats.BootstrapDraws(c.DifferenceValues(i), o.seed, o.bootstrap)
			if err != nil {
				return nil, err
			}
			bca, per := b.BCa(1-c.Alpha), b.Percentile(1-c.Alpha)
			out.Bootstrap = append(out.Bootstrap, bootstrapJSON{Treatment: x.Treatment, Blocks: b.N, Mean: b.Mean, SE: b.SE, Exact: b.Exact,
				BCa: [2]float64{bca.Low, bca.High}, Percentile: [2]float64{per.Low, per.High}, Bias: b.Bias, Acceleration: b.Acceleration,
				Notes: append([]fault.Note{}, b.Notes...)})
		}
	}
	if out.modelJSON, err = compareModel(c, t, o, products); err != nil {
		return nil, err
	}
	if out.ranksJSON, err = compareRanks(c, o); err != nil {
		return nil, err
	}
	return out, nil
}

// randomModelOf fits the mixed model with the block (if any) and the named
// columns as random groupings, on single rows, with further fixed terms. It
// returns the groupings too.
func randomModelOf(t stats.Table, o compareOptions, terms []string) (*stats.Model, []string, error) {
	spec := stats.ModelSpec{Response: slices.Clone(t.Response), Fixed: []string{stats.TreatmentTerm}, Covariates: t.Covariates,
		Factors: []stats.Column{{Name: stats.TreatmentTerm, Labels: t.Treatment}}}
	if o.LogScale {
		for i := range spec.Response {
			spec.Response[i] = math.Log(spec.Response[i])
		}
	}
	if len(t.Block) > 0 {
		spec.Factors = append(spec.Factors, stats.Column{Name: o.fields.Block, Labels: t.Block})
		if !slices.Contains(o.random, o.fields.Block) {
			spec.Random = append(spec.Random, o.fields.Block)
		}
	}
	for _, f := range t.Factors {
		if f.Name != o.fields.Block {
			spec.Factors = append(spec.Factors, f)
		}
	}
	spec.Fixed = append(spec.Fixed, o.fields.Also...)
	spec.Fixed = append(spec.Fixed, o.fields.Covariates...)
	spec.Fixed = append(spec.Fixed, terms...)
	spec.Random = append(spec.Random, o.random...)
	if len(spec.Random) > 2 {
		return nil, nil, fault.BadUsage("random-many", "two random groupings are the most, the block among them").
			On("--random", strings.Join(o.random, ", ")).WithFix("name one beside the block")
	}
	m, err := stats.FitModel(spec)
	return m, spec.Random, err
}

// fitRandom compares the treatments in the model with random groupings.
func fitRandom(c *stats.Comparison, t stats.Table, o compareOptions) (*randomModel, error) {
	m, groupings, err := randomModelOf(t, o, nil)
	if err != nil {
		return nil, err
	}
	adjust := o.Options.Adjust
	contrasts, notes, err := m.Against(stats.TreatmentTerm, c.Control, adjust)
	if err != nil {
		return nil, err
	}
	out := &randomModel{Groupings: groupings, Contrasts: contrasts, Notes: append(append([]fault.Note{}, m.Notes...), notes...), alpha: c.Alpha}
	for _, g := range m.Components {
		out.Components = append(out.Components, componentJSON{g.Grouping, g.Levels, g.Variance})
	}
	out.Components = append(out.Components, componentJSON{Grouping: "residual", Variance: m.Sigma2})
	return out, nil
}

func (x *compareExtra) printJSON(env *Env, c *stats.Comparison) error {
	if x.Random == nil && x.Permutation == nil && x.Bootstrap == nil && x.modelJSON == nil && x.ranksJSON == nil {
		return env.PrintJSON(c)
	}
	all := map[string]json.RawMessage{}
	for _, part := range []any{c, x} {
		b, err := json.Marshal(part)
		if err != nil {
			return err
		}
		if err := json.Unmarshal(b, &all); err != nil {
			return err
		}
	}
	return env.PrintJSON(all)
}

func (x *compareExtra) print(env *Env, c *stats.Comparison, treatment string) {
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	if r := x.Random; r != nil {
		env.Printf("\nWith %s at random (REML, Satterthwaite):\n", strings.Join(r.Groupings, " and "))
		for _, g := range r.Components {
			env.Printf("  SD of %s: %s", g.Grouping, num(math.Sqrt(g.Variance)))
			if g.Levels > 0 {
				env.Printf(" (%d levels)", g.Levels)
			}
			env.Printf("\n")
		}
		for _, k := range r.Contrasts {
			i := k.Interval(1 - r.alpha)
			env.Printf("  %s − %s: %s, %s to %s, se %s, df %s, p %s, adjusted %s\n", k.Treatment, k.Control, num(k.Estimate), num(i.Low), num(i.High), num(k.SE), num(k.DF), num(k.P), num(k.PAdjusted))
		}
		for _, n := range r.Notes {
			env.Printf("%s", wrapped("  ", "· "+n.Text, 78))
		}
	}
	x.modelJSON.print(env, c, treatment)
	x.ranksJSON.print(env, c)
	if p := x.Permutation; p != nil {
		how := "all arrangements within blocks"
		if !p.Exact {
			how = "drawn arrangements within blocks"
		}
		env.Printf("\nPermutation (%.0f %s): p %s of no difference at all", p.Arrangements, how, num(p.P))
		for i, v := range p.ContrastP {
			env.Printf("; %s − %s p %s", c.Contrasts[i].Treatment, c.Contrasts[i].Control, num(v))
		}
		env.Printf("\n")
	}
	for _, b := range x.Bootstrap {
		env.Printf("\nBootstrap of %s over %d blocks: %s, BCa %s to %s, percentile %s to %s\n", b.Treatment, b.Blocks, num(b.Mean), num(b.BCa[0]), num(b.BCa[1]), num(b.Percentile[0]), num(b.Percentile[1]))
		for _, n := range b.Notes {
			env.Printf("%s", wrapped("  ", "· "+n.Text, 78))
		}
	}
}

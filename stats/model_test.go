package stats

import (
	"fmt"
	"strings"
	"testing"

	"trivet/fault"
)

// mixedCase is one fit of R's lme4 1.1-31 with Satterthwaite degrees of
// freedom by lmerTest 3.1-3 (R 4.2.2), or the dense REML noted per row.
type mixedCase struct {
	id, method string
	data       func(t testing.TB) dataset
	response   string
	factors    []string
	fixed      []string
	random     []string
	// components: our grouping → R's.
	components map[string]string
	tests      []string // terms of the marginal F tests
}

var mixedCases = []mixedCase{
	{id: "sleep_lmm", method: "(1|ID)", data: file("data/sleep.csv"), response: "extra", factors: []string{"group", "ID"},
		fixed: []string{"group"}, random: []string{"ID"}, components: map[string]string{"ID": "ID"}, tests: []string{"group"}},
	{id: "npk_lmm", method: "(1|block)", data: file("data/npk.csv"), response: "yield", factors: []string{"N", "P", "K", "block"},
		fixed: []string{"N", "P", "K"}, random: []string{"block"}, components: map[string]string{"block": "block"}, tests: []string{"N", "P", "K"}},
	{id: "oats_split", method: "(1|block:variety)", data: file("data/oats.csv"), response: "yield", factors: []string{"nitro", "variety", "block"},
		fixed: []string{"nitro", "variety"}, random: []string{"block", "block:variety"},
		components: map[string]string{"block": "block", "block:variety": "variety:block"}, tests: []string{"nitro", "variety"}},
	{id: "oats_unbalanced", method: "removed", data: func(t testing.TB) dataset { return load(t, "data/oats.csv").without(1, 13, 30, 44, 45) },
		response: "yield", factors: []string{"nitro", "variety", "block"},
		fixed: []string{"nitro", "variety"}, random: []string{"block", "block:variety"},
		components: map[string]string{"block": "block", "block:variety": "variety:block"}, tests: []string{"nitro", "variety"}},
	{id: "cake_two_re", method: "(1|recipe:replicate)", data: file("data/cake.csv"), response: "angle", factors: []string{"recipe", "temp", "replicate"},
		fixed: []string{"recipe", "temp"}, random: []string{"replicate", "recipe:replicate"},
		components: map[string]string{"replicate": "replicate", "recipe:replicate": "recipe:replicate"}, tests: []string{"recipe", "temp"}},
	{id: "cake_split", method: "(1|recipe:replicate)", data: file("data/cake.csv"), response: "angle", factors: []string{"recipe", "temp", "replicate"},
		fixed: []string{"recipe", "temp", "recipe:temp"}, random: []string{"recipe:replicate"},
		components: map[string]string{"recipe:replicate": "recipe:replicate"}, tests: []string{"recipe", "temp", "recipe:temp"}},
	{id: "bibd_cakeA_lmm", method: "(interblock recovered)", data: file("data/cakeA_bibd_t6_b15_k2.csv"), response: "angle", factors: []string{"temp", "replicate"},
		fixed: []string{"temp"}, random: []string{"replicate"}, components: map[string]string{"replicate": "replicate"}, tests: []string{"temp"}},
	{id: "synth_singular", method: "(zero block variance)", data: file("data/synth_singular.csv"), response: "y", factors: []string{"treat", "block"},
		fixed: []string{"treat"}, random: []string{"block"}, components: map[string]string{"block": "block"}, tests: []string{"treat"}},
}

func file(path string) func(testing.TB) dataset {
	return func(t testing.TB) dataset { return load(t, path) }
}

func (c mixedCase) fit(t testing.TB) (*Model, dataset) {
	d := c.data(t)
	m, err := FitModel(ModelSpec{Response: d.numbers(t, c.response), Factors: d.factors(c.factors...), Fixed: c.fixed, Random: c.random})
	if err != nil {
		t.Fatal(err)
	}
	return m, d
}

func TestMixedModelAgreesWithLme4(t *testing.T) {
	for _, c := range mixedCases {
		t.Run(c.id, func(t *testing.T) {
			m, _ := c.fit(t)
			r := references(t, c.id)
			for _, v := range m.Components {
				near(t, "variance of "+v.Grouping, v.Variance, r.value(c.method, c.components[v.Grouping], "variance"), 1e-6)
			}
			near(t, "residual variance", m.Sigma2, r.value(c.method, "Residual", "variance"), 1e-6)
			// R's treatment coefficients are differences from the first level.
			for _, f := range c.fixed {
				if strings.Contains(f, ":") || c.id == "cake_split" {
					continue // there the coefficients belong to one cell, below
				}
				levels := m.Levels(f)
				for i := 1; i < len(levels); i++ {
					lin, err := m.difference(f, i, 0)
					if err != nil {
						t.Fatal(err)
					}
					rName := map[string]string{"temp": "tempf"}[f]
					if rName == "" {
						rName = f
					}
					checkLinear(t, r, c.method, rName+levels[i], lin)
				}
			}
			for _, term := range c.tests {
				f, err := m.Test(term)
				if err != nil {
					t.Fatal(err)
				}
				rName := strings.ReplaceAll(term, "temp", "tempf")
				near(t, term+" F", f.F, r.value("anova3_satt", rName, "F value"), 1e-6)
				near(t, term+" NumDF", f.NumDF, r.value("anova3_satt", rName, "NumDF"), 0)
				near(t, term+" DenDF", f.DenDF, r.value("anova3_satt", rName, "DenDF"), 1e-6)
				near(t, term+" P", f.P, r.value("anova3_satt", rName, "Pr(>F)"), 1e-5)
			}
		})
	}
}

func checkLinear(t *testing.T, r refs, method, term string, lin Linear) {
	t.Helper()
	near(t, term+" estimate", lin.Estimate, r.value(method, term, "estimate"), 1e-6)
	near(t, term+" se", lin.SE, r.value(method, term, "se"), 1e-6)
	near(t, term+" df", lin.DF, r.value(method, term, "df_satterthwaite"), 1e-6)
	near(t, term+" p", 2*tUpper(abs(lin.Estimate/lin.SE), lin.DF), r.value(method, term, "p"), 1e-5)
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}

// In a model with an interaction, R's coefficients compare single cells.
func TestInteractionCellsAgreeWithLme4(t *testing.T) {
	c := mixedCases[5]
	m, _ := c.fit(t)
	r := references(t, c.id)
	temps := m.Levels("temp")
	recipes := m.Levels("recipe")
	for i := 1; i < len(temps); i++ {
		w := make([]float64, len(temps))
		w[i], w[0] = 1, -1
		lin, err := m.Combination("temp", w, map[string]string{"recipe": "A"})
		if err != nil {
			t.Fatal(err)
		}
		checkLinear(t, r, c.method, "tempf"+temps[i], lin)
	}
	for i := 1; i < len(recipes); i++ {
		w := make([]float64, len(recipes))
		w[i], w[0] = 1, -1
		lin, err := m.Combination("recipe", w, map[string]string{"temp": "175"})
		if err != nil {
			t.Fatal(err)
		}
		checkLinear(t, r, c.method, "recipe"+recipes[i], lin)
	}
}

// Marginal means by emmeans 1.8.4-1 (R 4.2.2).
func TestMarginalMeansAgreeWithEmmeans(t *testing.T) {
	cake := load(t, "data/cake.csv")
	recipeA := cake.where("recipe", "A")
	bibd := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	plants := load(t, "data/PlantGrowth.csv")
	sprays := load(t, "data/OrchardSprays.csv")
	mixed := func(i int) *Model { m, _ := mixedCases[i].fit(t); return m }
	fixed := func(spec ModelSpec) *Model {
		m, err := FitModel(spec)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	for _, c := range []struct {
		id, method, factor, prefix string
		model                      *Model
	}{
		{"oats_split_emm", "emmeans", "nitro", "", mixed(2)},
		{"oats_split_emm_variety", "emmeans", "variety", "", mixed(2)},
		{"cake_two_re_emm", "emmeans", "temp", "", mixed(4)},
		{"cake_two_re_emm_recipe", "emmeans", "recipe", "", mixed(4)},
		{"cakeA_rcbd_emm", "emmeans", "temp", "", fixed(ModelSpec{Response: recipeA.numbers(t, "angle"),
			Factors: recipeA.factors("temp", "replicate"), Fixed: []string{"temp"}, Blocks: "replicate"})},
		{"bibd_cakeA_emm", "emmeans", "temp", "", fixed(ModelSpec{Response: bibd.numbers(t, "angle"),
			Factors: bibd.factors("temp", "replicate"), Fixed: []string{"temp"}, Blocks: "replicate"})},
		{"plantgrowth_emm", "emmeans", "group", "", fixed(ModelSpec{Response: plants.numbers(t, "weight"),
			Factors: plants.factors("group"), Fixed: []string{"group"}})},
		{"latin8_emm", "emmeans", "treatment", "", fixed(ModelSpec{Response: sprays.numbers(t, "decrease"),
			Factors: sprays.factors("treatment", "rowpos", "colpos"), Fixed: []string{"colpos", "treatment"}, Blocks: "rowpos"})},
	} {
		t.Run(c.id, func(t *testing.T) {
			r := references(t, c.id)
			means, err := c.model.MarginalMeans(c.factor)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range means {
				what := fmt.Sprint("mean of ", m.Level)
				near(t, what, m.Estimate, r.value(c.method, c.prefix+m.Level, "emmean"), 1e-6)
				near(t, what+" se", m.SE, r.value(c.method, c.prefix+m.Level, "se"), 1e-6)
				near(t, what+" df", m.DF, r.value(c.method, c.prefix+m.Level, "df"), 1e-6)
				ci := m.Interval(0.95)
				near(t, what+" low", ci.Low, r.value(c.method, c.prefix+m.Level, "ci95_lo"), 1e-6)
				near(t, what+" high", ci.High, r.value(c.method, c.prefix+m.Level, "ci95_hi"), 1e-6)
			}
		})
	}
}

func TestModelBadInput(t *testing.T) {
	good := func() ModelSpec {
		return ModelSpec{
			Response: []float64{1, 2.5, 2, 4, 3, 5.5, 2, 3},
			Factors: []Column{
				{"treatment", []string{"a", "b", "a", "b", "a", "b", "a", "b"}},
				{"block", []string{"1", "1", "2", "2", "3", "3", "4", "4"}},
				{"lot", []string{"x", "x", "y", "y", "z", "z", "w", "w"}},
				{"same", []string{"p", "q", "p", "q", "p", "q", "p", "q"}},
				{"one", []string{"o", "o", "o", "o", "o", "o", "o", "o"}},
				{"row", []string{"1", "2", "3", "4", "5", "6", "7", "8"}},
			},
			Fixed: []string{"treatment"},
		}
	}
	for _, c := range []struct {
		name string
		edit func(*ModelSpec)
		code fault.Code
	}{
		{"unknown term", func(s *ModelSpec) { s.Fixed = []string{"treatmnt"} }, "column-unknown"},
		{"unknown blocks", func(s *ModelSpec) { s.Blocks = "blok" }, "column-unknown"},
		{"unknown grouping", func(s *ModelSpec) { s.Random = []string{"block:day"} }, "column-unknown"},
		{"one level", func(s *ModelSpec) { s.Fixed = append(s.Fixed, "one") }, "one-level"},
		{"one level grouping", func(s *ModelSpec) { s.Random = []string{"one"} }, "single-block"},
		{"every row a level", func(s *ModelSpec) { s.Random = []string{"row"} }, "singular-fit"},
		{"three groupings", func(s *ModelSpec) { s.Random = []string{"block", "lot", "same"} }, "random-too-many"},
		{"the same grouping twice", func(s *ModelSpec) { s.Random = []string{"block", "lot"} }, "confounded"},
		{"grouping is the treatment", func(s *ModelSpec) { s.Random = []string{"same"} }, "confounded"},
		{"fixed and random", func(s *ModelSpec) { s.Blocks, s.Random = "block", []string{"lot"} }, "blocks-twice"},
		{"nothing left", func(s *ModelSpec) { s.Fixed = append(s.Fixed, "row") }, "no-error-df"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := good()
			c.edit(&s)
			_, err := FitModel(s)
			if e := fault.As(err); e == nil || e.Code != c.code {
				t.Errorf("got %v, want code %s", err, c.code)
			}
		})
	}
	s := good()
	s.Fixed = []string{"treatment", "same"}
	m, err := FitModel(s)
	if err != nil {
		t.Fatal(err)
	}
	if !hasNote(m.Notes, "term-confounded") || len(m.ANOVA().Rows) != 2 {
		t.Errorf("a doubled factor: notes %v, table %v", m.Notes, m.ANOVA())
	}
	if _, err := m.Test("same"); fault.As(err) == nil || fault.As(err).Code != "not-estimable" {
		t.Errorf("test of a doubled factor: %v", err)
	}
	if _, err := m.Combination("treatment", []float64{1, -1}, nil); fault.As(err) == nil || fault.As(err).Code != "not-estimable" {
		t.Errorf("difference of a doubled factor: %v", err)
	}
	if _, err := m.Combination("treatment", []float64{1}, nil); err == nil {
		t.Error("one weight for two levels")
	}
	if _, err := m.Combination("treatment", []float64{-1, 1}, map[string]string{"lot": "v"}); err == nil {
		t.Error("an unknown level was accepted")
	}
	if _, _, err := m.Against("treatment", "c", AdjustHolm); err == nil {
		t.Error("an unknown control was accepted")
	}
	if _, err := m.Test("lot"); err == nil {
		t.Error("a term that is not in the model was tested")
	}
}

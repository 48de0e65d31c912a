package stats

import (
	"fmt"
	"testing"
)

// Harder shapes than the textbook cases, on the cake and oats data with rows
// removed; R 4.2.2, lme4 1.1-31 (bobyqa to 1e-12), lmerTest 3.1-3.
func TestMixedShapesAgreeWithLme4(t *testing.T) {
	cake := load(t, "data/cake.csv").without(3, 17, 18, 40, 77, 101, 140, 199, 233, 260)
	oats := load(t, "data/oats.csv").without(1, 13, 30, 44, 45)
	temp := []Covariate{{Name: "temp", Values: cake.numbers(t, "temp")}}
	cakeSpec := func(fixed, random []string, covariates []Covariate) ModelSpec {
		s := ModelSpec{Response: cake.numbers(t, "angle"), Factors: cake.factors("recipe", "replicate"), Fixed: fixed, Random: random, Covariates: covariates}
		if covariates == nil {
			s.Factors = cake.factors("recipe", "replicate", "temp")
		}
		return s
	}
	type line struct{ estimate, se, df float64 }
	for _, c := range []struct {
		name       string
		spec       ModelSpec
		components []float64 // in the order of Random
		residual   float64
		factor     string
		lines      []line // levels against the first
		term       string
		f          FTest
	}{
		{"crossed groupings", cakeSpec([]string{"recipe"}, []string{"replicate", "temp"}, nil),
			[]float64{36.7960126095, 8.57186559683}, 22.57669449, "recipe",
			[]line{{-1.21524909884, 0.721322868286, 237.963033674}, {-1.5152938584, 0.725629067032, 237.976171152}},
			"recipe", FTest{NumDF: 2, DenDF: 237.9701793, F: 2.45014, P: 0.088455}},
		{"covariate", cakeSpec([]string{"recipe", "temp"}, []string{"replicate"}, temp),
			[]float64{36.8089450268}, 22.9499190478, "recipe",
			[]line{{-1.22897038053, 0.727094199767, 241.996134977}, {-1.53425387618, 0.731377884791, 241.998867799}},
			"temp", FTest{NumDF: 1, DenDF: 242.0054762, F: 76.89714, P: 3.2577e-16}},
		{"covariate by factor", cakeSpec([]string{"recipe", "temp", "recipe:temp"}, []string{"replicate", "recipe:replicate"}, temp),
			[]float64{35.7864591095, 3.48934061742}, 20.7448502315, "", nil,
			"recipe:temp", FTest{NumDF: 2, DenDF: 213.7649545, F: 0.21301, P: 0.80832}},
		{"one variance at zero", ModelSpec{Response: oats.numbers(t, "yield"), Factors: oats.factors("nitro", "variety", "block"),
			Fixed: []string{"nitro", "variety"}, Random: []string{"block", "variety:nitro"}},
			[]float64{245.490328518, 0}, 240.559812281, "nitro",
			[]line{{17.5706296365, 5.54087675013, 56.096414204}, {33.6123504152, 5.44464017151, 56.0448984077}, {41.8433572143, 5.52595174821, 56.0418717979}},
			"", FTest{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := FitModel(c.spec)
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range m.Components {
				if c.components[i] == 0 {
					if v.Variance != 0 {
						t.Errorf("variance of %s = %g, want 0", v.Grouping, v.Variance)
					}
					continue
				}
				near(t, "variance of "+v.Grouping, v.Variance, c.components[i], 1e-6)
			}
			near(t, "residual", m.Sigma2, c.residual, 1e-6)
			for i, l := range c.lines {
				lin, err := m.difference(c.factor, i+1, 0)
				if err != nil {
					t.Fatal(err)
				}
				what := fmt.Sprint(c.factor, " ", m.Levels(c.factor)[i+1])
				near(t, what, lin.Estimate, l.estimate, 1e-6)
				near(t, what+" se", lin.SE, l.se, 1e-6)
				near(t, what+" df", lin.DF, l.df, 1e-6)
			}
			if c.term == "" {
				return
			}
			f, err := m.Test(c.term)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "F", f.F, c.f.F, 1e-4)
			near(t, "DenDF", f.DenDF, c.f.DenDF, 1e-6)
			near(t, "p", f.P, c.f.P, 1e-4)
		})
	}
}

// R 4.2.2, coefficients of an ordered factor (contr.poly): linear, quadratic
// and cubic trend of the breakage angle over oven temperature.
func TestTrendsAgreeWithR(t *testing.T) {
	m, _ := mixedCases[4].fit(t)
	got, err := m.Trend("temp", nil, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{6.61094224141, -0.38551827275, -0.54825074115} {
		near(t, fmt.Sprint("degree ", i+1), got[i].Estimate, want, 1e-9)
		near(t, "se", got[i].SE, 0.674564332667, 1e-6)
		near(t, "df", got[i].DF, 220, 1e-6)
	}
	if _, err := m.Trend("temp", nil, 6); err == nil {
		t.Error("a trend of degree 6 over six levels was accepted")
	}
}

// Fixed blocks with a covariate: R 4.2.2, lm(angle ~ replicate + temp + recipe).
func TestCompareWithCovariate(t *testing.T) {
	cake := load(t, "data/cake.csv").without(3, 17, 18, 40, 77, 101, 140, 199, 233, 260)
	m, err := FitModel(ModelSpec{Response: cake.numbers(t, "angle"), Factors: cake.factors("recipe", "replicate"),
		Covariates: []Covariate{{"temp", cake.numbers(t, "temp")}}, Fixed: []string{"temp", "recipe"}, Blocks: "replicate"})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Linear{{-1.240061296679, 0.7270911569305, 0}, {-1.530961303889, 0.7313768964527, 0}} {
		lin, err := m.difference("recipe", i+1, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "estimate", lin.Estimate, want.Estimate, 1e-9)
		near(t, "se", lin.SE, want.SE, 1e-9)
	}
}

// All pairs and comparisons with a control in a mixed model: emmeans 1.8.4-1;
// Tukey and Dunnett by an independent double integral.
func TestMultipleComparisonsOfMixedModels(t *testing.T) {
	for _, c := range []struct {
		id, title, factor, control string
		model                      int
	}{
		{"oats_split_emm", "oats nitro", "nitro", "0.0cwt", 2},
		{"oats_split_emm_variety", "oats variety", "variety", "", 2},
		{"cake_two_re_emm_recipe", "cake_two_re recipe", "recipe", "A", 4},
		{"cake_two_re_emm", "cake_two_re tempf", "temp", "175", 4},
	} {
		t.Run(c.id, func(t *testing.T) {
			m, _ := mixedCases[c.model].fit(t)
			r := references(t, c.id)
			prefix := func(factor, level string) string {
				if factor == "temp" { // emmeans puts the factor before levels that are numbers
					return "tempf" + level
				}
				return level
			}
			all, _, err := m.Pairwise(c.factor, AdjustTukey)
			if err != nil {
				t.Fatal(err)
			}
			for _, k := range all {
				name := prefix(c.factor, k.Control) + " - " + prefix(c.factor, k.Treatment)
				near(t, name, -k.Estimate, r.value("pairwise", name, "estimate"), 1e-6)
				near(t, name+" se", k.SE, r.value("pairwise", name, "se"), 1e-6)
				near(t, name+" df", k.DF, r.value("pairwise", name, "df"), 1e-6)
				if want := r.value("tukey", name, "p"); want > 1e-9 {
					near(t, name+" Tukey", k.PAdjusted, want, 1e-5)
				}
			}
			if c.control == "" {
				return
			}
			against, notes, err := m.Against(c.factor, c.control, AdjustDunnett)
			if err != nil || len(notes) > 0 {
				t.Fatal(err, notes)
			}
			for _, k := range against {
				name := prefix(c.factor, k.Treatment) + " - " + prefix(c.factor, k.Control)
				if want := r.value("dunnett_exact_rho0.5", name, "p"); want > 1e-9 {
					near(t, name+" Dunnett", k.PAdjusted, want, 1e-5)
				}
			}
		})
	}
}

// Balanced designs by strata: R 4.2.2, aov with Error(), which knows nothing
// of likelihood, gives the same F tests as the mixed model.
func TestMixedModelAgreesWithStrata(t *testing.T) {
	oats, npk := load(t, "data/oats.csv"), load(t, "data/npk.csv")
	for _, c := range []struct {
		id       string
		spec     ModelSpec
		strata   map[string]string
		residual string
	}{
		{"oats_strata", ModelSpec{Response: oats.numbers(t, "yield"), Factors: oats.factors("variety", "nitro", "block"),
			Fixed: []string{"variety", "nitro", "variety:nitro"}, Random: []string{"block", "block:variety"}},
			map[string]string{"variety": "Error: block:variety|", "nitro": "Error: Within|", "variety:nitro": "Error: Within|"}, "Error: Within|Residuals"},
		{"npk_strata", ModelSpec{Response: npk.numbers(t, "yield"), Factors: npk.factors("N", "P", "K", "block"),
			Fixed: []string{"N", "P", "K", "N:P", "N:K", "P:K"}, Random: []string{"block"}},
			map[string]string{"N": "Error: Within|", "P": "Error: Within|", "K": "Error: Within|", "N:P": "Error: Within|", "N:K": "Error: Within|", "P:K": "Error: Within|"}, "Error: Within|Residuals"},
	} {
		t.Run(c.id, func(t *testing.T) {
			m, err := FitModel(c.spec)
			if err != nil {
				t.Fatal(err)
			}
			r := references(t, c.id)
			near(t, "residual", m.Sigma2, r.value("", c.residual, "Mean Sq"), 1e-8)
			for _, term := range c.spec.Fixed {
				f, err := m.Test(term)
				if err != nil {
					t.Fatal(err)
				}
				name := c.strata[term] + term
				near(t, term+" F", f.F, r.value("", name, "F value"), 1e-8)
				near(t, term+" p", f.P, r.value("", name, "Pr(>F)"), 1e-6)
			}
		})
	}
}

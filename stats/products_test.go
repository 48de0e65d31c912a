package stats

import (
	"testing"

	"trivet/fault"
)

// Two-factor interactions of the npk experiment beside fixed blocks: R 4.2.2,
// lm(yield ~ block + N*P*K), analysis_reference.csv, case npk_rcbd (N:P:K is
// aliased with blocks, so R's residual is that of the two-factor model).
func TestProductsAgreeWithR(t *testing.T) {
	npk := load(t, "data/npk.csv")
	c, err := Compare(Table{Response: npk.numbers(t, "yield"), Treatment: npk.factors("N")[0].Labels, Block: npk.factors("block")[0].Labels,
		Factors: npk.factors("P", "K")}, Options{Control: "0", Also: []string{"P", "K"}})
	if err != nil {
		t.Fatal(err)
	}
	m, terms, err := c.WithProducts([][]string{{TreatmentTerm, "P"}, {TreatmentTerm, "K"}, {"P", "K"}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []FTest{{F: 1.37829669341, P: 0.263165282877}, {F: 2.14597200734, P: 0.1686478785}, {F: 0.031194905192, P: 0.862752085685}} {
		f, err := m.Test(terms[i])
		if err != nil {
			t.Fatal(err)
		}
		near(t, terms[i], f.F, want.F, 1e-9)
		near(t, terms[i]+" p", f.P, want.P, 1e-9)
		near(t, terms[i]+" df", f.DenDF, 12, 1e-12)
	}
	if _, _, err := c.WithProducts([][]string{{TreatmentTerm, "salt"}}); fault.As(err) == nil {
		t.Errorf("a product with an unknown column: %v", err)
	}
	if _, _, err := c.WithProducts([][]string{{"P", "P"}}); fault.As(err) == nil {
		t.Errorf("a product of a column with itself: %v", err)
	}
}

package tasting

// ANotA is the A-not-A test: after learning a product A, assessors say of
// single samples whether they are A.
type ANotA struct{}

var _ ResponseMethod = ANotA{}

// Describe implements Method.
func (ANotA) Describe() Description {
	return Description{
		Name: "a-not-a", Title: "A-not-A test", Standard: "ISO 8588", Kind: KindResponse,
		Ask: "You have tasted A. Is this sample A, or not A?",
		MayClaim: []string{
			"that these assessors answered \"not A\" more often to the other product than to A",
		},
		Not: []string{
			"a share of discriminators: there is no guess probability, only the two rates",
			"which product is better or stronger",
		},
		Aliases: []string{"anota", "a-or-not-a"},
	}
}

// Block is A alone and not-A alone.
func (ANotA) Block(products int) ([]Serving, error) {
	if err := twoProducts("an A-not-A test", products); err != nil {
		return nil, err
	}
	return servings("A", "B"), nil
}

// Rates are hit Φ(d−k) and false alarm Φ(−k).
func (ANotA) Rates(d, k float64) (hit, falseAlarm float64) {
	return normalCDF(d - k), normalCDF(-k)
}

// Fair is d/2.
func (ANotA) Fair(d float64) float64 { return d / 2 }

// fit is d′ = z(H) − z(F), k = −z(F).
func (ANotA) fit(h, f float64) (d, k float64) {
	return normalQuantile(h) - normalQuantile(f), -normalQuantile(f)
}

func (ANotA) yesIs() string { return "not A" }

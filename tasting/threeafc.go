package tasting

import "math"

// ThreeAFC is the 3-AFC test: one of three samples, always the same product
// (the second), has more of a named attribute; find it.
type ThreeAFC struct{}

var _ ForcedChoice = ThreeAFC{}

// Describe implements Method.
func (ThreeAFC) Describe() Description {
	return Description{
		Name: "3-afc", Title: "3-AFC test", Standard: "ISO 13301 (as used for thresholds)", Kind: KindChoice,
		Ask: "One of these three samples has more of the named attribute. Which? If you cannot tell, guess.",
		MayClaim: []string{
			"that the product named before tasting has more of the named attribute to these assessors",
		},
		Not: []string{
			"anything about other attributes: with the wrong attribute named the test has no power at all",
			"liking",
		},
	}
}

// Block is BAA ABA AAB: the stronger product is the odd one in every set.
func (ThreeAFC) Block(products int) ([]Serving, error) {
	if err := twoProducts("a 3-AFC test", products); err != nil {
		return nil, err
	}
	return servings("BAA", "ABA", "AAB"), nil
}

// Guess is 1/3.
func (ThreeAFC) Guess() Ratio { return Ratio{1, 3} }

// Correct is the probability that the stronger sample exceeds both others,
//
//	pc = ∫ φ(z−d) Φ(z)² dz = Φ(d/√2) − 2 T(d/√2, 1/√3)
//
// by integrating Slope from pc(0) = 1/3.
//
// References: Green D.M., Swets J.A., 1966, Signal Detection Theory and
// Psychophysics, Wiley (the integral); Owen 1956 (T).
func (ThreeAFC) Correct(d float64) float64 {
	return normalCDF(d/math.Sqrt2) - 2*owenT(d/math.Sqrt2, 1/math.Sqrt(3))
}

// Slope is e^{−d²/4} Φ(d/√6) / √π: differentiate the integral by parts and
// complete the square in φ(z−d)φ(z).
func (ThreeAFC) Slope(d float64) float64 {
	return math.Exp(-d*d/4) * normalCDF(d/math.Sqrt(6)) / math.SqrtPi
}

// Right is the position of the second product.
func (ThreeAFC) Right(s Serving) []int { return positionsOf(s.Cups, 1) }

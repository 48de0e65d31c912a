package tasting

import "math"

// Tetrad is the unspecified tetrad test: sort four samples into two pairs.
type Tetrad struct{}

var _ ForcedChoice = Tetrad{}

// Describe implements Method.
func (Tetrad) Describe() Description {
	return Description{
		Name: "tetrad", Title: "tetrad test", Standard: "ASTM E3009", Kind: KindChoice,
		Ask: "Sort these four samples into two groups of two, the samples of a group being alike. If you cannot tell, guess.",
		MayClaim: []string{
			"that these assessors could tell the two products apart by some property left unmasked",
		},
		Not: []string{
			"which product is better, stronger or liked more",
			"anything, if assessors were asked for the two most alike samples instead of two groups: that is a weaker test",
		},
	}
}

// Block is AABB ABAB ABBA BBAA BABA BAAB.
func (Tetrad) Block(products int) ([]Serving, error) {
	if err := twoProducts("a tetrad test", products); err != nil {
		return nil, err
	}
	return servings("AABB", "ABAB", "ABBA", "BBAA", "BABA", "BAAB"), nil
}

// Guess is 1/3: of the three ways to make two pairs one is right.
func (Tetrad) Guess() Ratio { return Ratio{1, 3} }

// Correct is the probability that the two lowest of four percepts belong to
// one product,
//
//	pc = 1 − 2 ∫ φ(z) [2 Φ(z)Φ(z−d) − Φ(z−d)²] dz = 1 − 8 T(d/√2, 1/√3)
//
// by integrating Slope from pc(0) = 1/3 = 1 − 8·arctan(1/√3)/2π.
//
// References: Ennis J.M., Ennis D.M., Yip D., O'Mahony M., 1998, Thurstonian
// models for variants of the method of tetrads, British J. Mathematical and
// Statistical Psychology 51:205-215 (the integral); Owen 1956 (T).
func (Tetrad) Correct(d float64) float64 { return 1 - 8*owenT(d/math.Sqrt2, 1/math.Sqrt(3)) }

// Slope is (2/√π) e^{−d²/4} (2Φ(d/√6) − 1).
func (Tetrad) Slope(d float64) float64 {
	return 2 / math.SqrtPi * math.Exp(-d*d/4) * math.Erf(d/math.Sqrt(12))
}

// Right is the pair of positions grouped with the first sample, itself
// included.
func (Tetrad) Right(s Serving) []int { return positionsOf(s.Cups, s.Cups[0]) }

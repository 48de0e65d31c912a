package tasting

import "math"

// DuoTrio is the duo-trio test: a named reference, then two coded samples of
// which one is like it. With Constant the reference is always the first
// product, the familiar one; otherwise both serve as reference equally often.
type DuoTrio struct{ Constant bool }

var _ ForcedChoice = DuoTrio{}

// Describe implements Method.
func (m DuoTrio) Describe() Description {
	d := Description{
		Name: "duo-trio", Title: "duo-trio test, balanced reference", Standard: "ISO 10399", Kind: KindChoice,
		Ask: "The first sample is the reference. Which of the two coded samples is like it? If you cannot tell, guess.",
		MayClaim: []string{
			"that these assessors could tell the two products apart by some property left unmasked",
		},
		Not: []string{
			"which product is better, stronger or liked more",
			"a comparison of its share of discriminators with another method's: compare d′",
		},
		Aliases: []string{"duo-trio-balanced"},
	}
	if m.Constant {
		d.Name, d.Title = "duo-trio-constant", "duo-trio test, constant reference"
		d.Aliases = nil
		d.Not = append(d.Not, "anything about assessors who do not know the reference product well")
	}
	return d
}

// Block is A:AB A:BA B:AB B:BA, or its first half with a constant reference.
func (m DuoTrio) Block(products int) ([]Serving, error) {
	if err := twoProducts("a duo-trio test", products); err != nil {
		return nil, err
	}
	if m.Constant {
		return servings("A:AB", "A:BA"), nil
	}
	return servings("A:AB", "A:BA", "B:AB", "B:BA"), nil
}

// Guess is 1/2.
func (DuoTrio) Guess() Ratio { return Ratio{1, 2} }

// Correct is 1 − Φ(d/√2) − Φ(d/√6) + 2 Φ(d/√2) Φ(d/√6), written so that
// nothing cancels: with u = 2Φ(d/√2)−1 and v = 2Φ(d/√6)−1 it is (1+uv)/2.
//
// References: David H.A., Trivedi M.C., 1962, Pair, triangle and duo-trio
// tests, Technical Report 55, Virginia Polytechnic Institute.
func (DuoTrio) Correct(d float64) float64 {
	return (1 + math.Erf(d/2)*math.Erf(d/math.Sqrt(12))) / 2
}

// Slope is φ(d/√2) v/√2 + φ(d/√6) u/√6 with u, v as in Correct.
func (DuoTrio) Slope(d float64) float64 {
	u, v := math.Erf(d/2), math.Erf(d/math.Sqrt(12))
	return normalPDF(d/math.Sqrt2)*v/math.Sqrt2 + normalPDF(d/math.Sqrt(6))*u/math.Sqrt(6)
}

// Right is the position of the sample like the reference.
func (DuoTrio) Right(s Serving) []int {
	for i, c := range s.Cups {
		if c == s.Reference {
			return []int{i}
		}
	}
	return nil
}

package tasting

import "math"

// Paired is the paired comparison, 2-AFC: which of two samples has more of a
// named attribute. One-sided, the stronger product (the second) was fixed
// before tasting; two-sided, or as a preference, it was not.
type Paired struct{ TwoSided bool }

var _ ForcedChoice = Paired{}

// Describe implements Method.
func (m Paired) Describe() Description {
	d := Description{
		Name: "2-afc", Title: "paired comparison (2-AFC), one-sided", Standard: "ISO 5495", Kind: KindChoice,
		Ask: "Which sample has more of the named attribute? If you cannot tell, guess.",
		MayClaim: []string{
			"that the product named before tasting has more of the named attribute to these assessors",
		},
		Not: []string{
			"anything about other attributes",
			"the direction, if it was chosen after the answers were seen",
			"liking",
		},
		Aliases: []string{"paired", "paired-comparison"},
	}
	if m.TwoSided {
		d.Name, d.Title = "2-afc-two-sided", "paired comparison or preference, two-sided"
		d.Ask = "Which sample has more of the named attribute (or: which do you prefer)? If you cannot tell, guess."
		d.MayClaim = []string{"that one product was chosen more often, and which"}
		d.Not = []string{
			"anything about other attributes",
			"how much more: a choice says nothing of the size of a liking",
			"what buyers would choose, from a panel trained or picked for its acuity",
		}
		d.Aliases = []string{"preference", "paired-preference", "paired-two-sided"}
	}
	return d
}

// Block is AB BA.
func (Paired) Block(products int) ([]Serving, error) {
	if err := twoProducts("a paired comparison", products); err != nil {
		return nil, err
	}
	return servings("AB", "BA"), nil
}

// Guess is 1/2.
func (Paired) Guess() Ratio { return Ratio{1, 2} }

// Correct is Φ(d/√2).
func (Paired) Correct(d float64) float64 { return normalCDF(d / math.Sqrt2) }

// Slope is φ(d/√2)/√2.
func (Paired) Slope(d float64) float64 { return normalPDF(d/math.Sqrt2) / math.Sqrt2 }

// Right is the position of the second product, the one claimed to be
// stronger; two-sided, of the product whose choices are counted.
func (Paired) Right(s Serving) []int { return positionsOf(s.Cups, 1) }

func positionsOf(cups []int, product int) []int {
	var out []int
	for i, c := range cups {
		if c == product {
			out = append(out, i)
		}
	}
	return out
}

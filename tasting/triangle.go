package tasting

import "math"

// Triangle is the triangle test: two samples alike, one odd, find the odd one.
type Triangle struct{}

var _ ForcedChoice = Triangle{}

// Describe implements Method.
func (Triangle) Describe() Description {
	return Description{
		Name: "triangle", Title: "triangle test", Standard: "ISO 4120:2021", Kind: KindChoice,
		Ask: "Two of these three samples are alike. Which is the odd one? If you cannot tell, guess.",
		MayClaim: []string{
			"that these assessors could tell the two products apart by some property left unmasked",
		},
		Not: []string{
			"which product is better, stronger or liked more",
			"what differs: asking the right ones afterwards which sample was the treated one is another test with its own guess rate",
		},
	}
}

// Block is AAB ABA BAA BBA BAB ABB (ISO 4120, 7.1).
func (Triangle) Block(products int) ([]Serving, error) {
	if err := twoProducts("a triangle test", products); err != nil {
		return nil, err
	}
	return servings("AAB", "ABA", "BAA", "BBA", "BAB", "ABB"), nil
}

// Guess is 1/3.
func (Triangle) Guess() Ratio { return Ratio{1, 3} }

// Correct is the probability that the odd sample is the one farthest from
// the nearest pair,
//
//	pc = 2 ∫₀^∞ [Φ(−z√3+d√(2/3)) + Φ(−z√3−d√(2/3))] φ(z) dz = 1 − 4 T(d/√6, √3)
//
// with Owen's T. The second form follows by integrating Slope: with
// dT/dh = −φ(h)(Φ(ah)−½) and pc(0) = 1/3 = 1 − 4·arctan(√3)/2π.
//
// References: Ura S., 1960, Pair, triangle and duo-trio test, Reports of
// Statistical Application Research JUSE 7:107-119; Ennis D.M., 1993, The
// power of sensory discrimination methods, J. Sensory Studies 8:353-370.
func (Triangle) Correct(d float64) float64 { return 1 - 4*owenT(d/math.Sqrt(6), math.Sqrt(3)) }

// Slope is √(2/3) φ(d/√6) (2Φ(d/√2) − 1).
func (Triangle) Slope(d float64) float64 {
	return math.Sqrt(2.0/3) * normalPDF(d/math.Sqrt(6)) * (2*normalCDF(d/math.Sqrt2) - 1)
}

// Right is the position of the product served once.
func (Triangle) Right(s Serving) []int { return oddOneOut(s.Cups) }

// oddOneOut returns the position of the product that occurs once.
func oddOneOut(cups []int) []int {
	count := map[int]int{}
	for _, c := range cups {
		count[c]++
	}
	for i, c := range cups {
		if count[c] == 1 {
			return []int{i}
		}
	}
	return nil
}

package tasting

import (
	"trivet/design"
	"trivet/fault"
)

// squareBlock is the serving block of a method that gives every product to
// every assessor, in Williams orders: balanced for position and for what
// comes before.
func squareBlock(products, most int) ([]Serving, error) {
	if products < 2 || products > most {
		return nil, fault.New("product-count", "%d products cannot be served this way", products).
			WithFix("between 2 and %d products in one sitting", most)
	}
	var out []Serving
	for _, row := range design.Williams(products) {
		out = append(out, Serving{Reference: -1, Cups: row})
	}
	return out, nil
}

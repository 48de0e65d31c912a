package tasting

import (
	"slices"
	"strings"

	"trivet/fault"
)

// Assessor is a taster under a pseudonym. What is asked is asked before any
// code is issued, and nothing more is kept.
type Assessor struct {
	ID string `json:"id"` // pseudonym
	// Avoids lists allergen codes (see package safety).
	Avoids []string `json:"avoids,omitempty"`
	// NotUndercooked is set for those who should not be served undercooked
	// food: the young, the old, the pregnant, the immunocompromised, and
	// whoever prefers not to say why.
	NotUndercooked bool `json:"not_undercooked,omitempty"`
	Consents       bool `json:"consents"`
}

// Product is one of the things compared. Products count in the order given:
// the first is A, for a one-sided test the second is the one claimed to be
// stronger.
type Product struct {
	ID          string   `json:"id"`
	Allergens   []string `json:"allergens,omitempty"`
	Undercooked bool     `json:"undercooked,omitempty"` // served below a consumer temperature figure
}

// Exclusion says who is not served and why.
type Exclusion struct {
	Assessor string     `json:"assessor"`
	Code     fault.Code `json:"code"`
	Why      string     `json:"why"`
}

// Eligible splits assessors into those who may be served every product and
// those who may not. same tells whether avoiding one allergen code means
// avoiding food declared with another (safety.SameAllergen); nil compares
// codes as written.
func Eligible(people []Assessor, products []Product, same func(avoids, declared string) bool) (served []Assessor, excluded []Exclusion) {
	if same == nil {
		same = func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
	}
	undercooked := slices.ContainsFunc(products, func(p Product) bool { return p.Undercooked })
	var declared []string
	for _, p := range products {
		declared = append(declared, p.Allergens...)
	}
	for _, a := range people {
		switch hit := firstShared(a.Avoids, declared, same); {
		case !a.Consents:
			excluded = append(excluded, Exclusion{a.ID, "no-consent", "has not consented"})
		case hit != "":
			excluded = append(excluded, Exclusion{a.ID, "allergen", "cannot eat " + hit + ", declared for a product of this tasting"})
		case undercooked && a.NotUndercooked:
			excluded = append(excluded, Exclusion{a.ID, "undercooked", "should not be served undercooked food, and a product of this tasting is"})
		default:
			served = append(served, a)
		}
	}
	return served, excluded
}

func firstShared(avoids, declared []string, same func(a, b string) bool) string {
	for _, a := range avoids {
		for _, d := range declared {
			if same(a, d) {
				return d
			}
		}
	}
	return ""
}

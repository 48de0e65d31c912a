package safety

import "slices"

// AllergenList is a list of allergens that a law makes food sellers declare.
type AllergenList struct {
	Code   string // "us", "eu"
	Name   string
	Source string
	Items  []Allergen
}

// Allergen is one entry: a stable code shared by both lists where they mean
// the same food, and the name in the list's own terms.
type Allergen struct {
	Code string // e.g. "milk"
	Name string
}

// USAllergens are the nine major food allergens of United States law: eight
// of the Food Allergen Labeling and Consumer Protection Act of 2004 (Public
// Law 108-282, title II; 21 U.S.C. 321(qq)) and sesame, added by the Food
// Allergy Safety, Treatment, Education, and Research Act of 2021 (Public Law
// 117-11), in force from 1 January 2023.
func USAllergens() AllergenList {
	return AllergenList{
		Code: "us", Name: "the nine major food allergens (United States)",
		Source: "FALCPA 2004 (Public Law 108-282, title II) and FASTER Act 2021 (Public Law 117-11)",
		Items: []Allergen{
			{"milk", "milk"},
			{"egg", "eggs"},
			{"fish", "fish"},
			{"crustacean", "crustacean shellfish"},
			{"tree-nut", "tree nuts"},
			{"peanut", "peanuts"},
			{"wheat", "wheat"},
			{"soy", "soybeans"},
			{"sesame", "sesame"},
		},
	}
}

// EUAllergens are the fourteen substances or products causing allergies or
// intolerances of Regulation (EU) No 1169/2011, Annex II. The annex's
// exemptions of highly processed derivatives are not listed: here the food
// itself counts.
func EUAllergens() AllergenList {
	return AllergenList{
		Code: "eu", Name: "the fourteen allergens of Annex II (European Union)",
		Source: "Regulation (EU) No 1169/2011, Annex II",
		Items: []Allergen{
			{"gluten", "cereals containing gluten (wheat, rye, barley, oats and their strains)"},
			{"crustacean", "crustaceans"},
			{"egg", "eggs"},
			{"fish", "fish"},
			{"peanut", "peanuts"},
			{"soy", "soybeans"},
			{"milk", "milk (including lactose)"},
			{"tree-nut", "nuts (almonds, hazelnuts, walnuts, cashews, pecans, Brazil nuts, pistachios, macadamias)"},
			{"celery", "celery"},
			{"mustard", "mustard"},
			{"sesame", "sesame seeds"},
			{"sulphite", "sulphur dioxide and sulphites above 10 mg/kg or 10 mg/l"},
			{"lupin", "lupin"},
			{"mollusc", "molluscs"},
		},
	}
}

// Allergens returns both lists.
func Allergens() []AllergenList { return []AllergenList{USAllergens(), EUAllergens()} }

// AllergenCodes returns every code of either list once, sorted: what an
// assessor is asked about.
func AllergenCodes() []string {
	var out []string
	for _, l := range Allergens() {
		for _, a := range l.Items {
			if !slices.Contains(out, a.Code) {
				out = append(out, a.Code)
			}
		}
	}
	slices.Sort(out)
	return out
}

// SameAllergen tells whether someone who avoids one code must avoid food
// declared with the other: equal codes, and wheat, which is one of the
// cereals containing gluten, both ways (an undifferentiated "gluten" may be
// wheat).
func SameAllergen(avoids, declared string) bool {
	if avoids == declared {
		return true
	}
	pair := []string{avoids, declared}
	slices.Sort(pair)
	return slices.Equal(pair, []string{"gluten", "wheat"})
}

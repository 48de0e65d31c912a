package heat

import (
	"strings"

	"trivet/fault"
)

// FoodClass groups foods whose water-holding capacity behaves alike.
type FoodClass string

// Classes of food.
const (
	Meat  FoodClass = "meat"
	Fish  FoodClass = "fish"
	Egg   FoodClass = "egg"
	Plant FoodClass = "plant" // also tofu and dough: no juice is pressed out
)

// Food is a row of the composition table.
type Food struct {
	Name        string
	NDB         string // number in the USDA nutrient data base; "" when computed
	Class       FoodClass
	Composition Composition // g/100 g, carbohydrate without fibre
}

// tableRow keeps a food as the table prints it: carbohydrate with fibre.
func tableRow(name, ndb string, class FoodClass, water, protein, fat, carbWithFibre, fibre, ash float64) Food {
	return Food{name, ndb, class, Composition{water, protein, fat, carbWithFibre - fibre, fibre, ash}}
}

// Foods is the composition table, g/100 g, from the USDA National Nutrient
// Database for Standard Reference (SR, abbreviated file; public domain).
// Lines need not sum to 100. The dough is computed from the flour's row: 60 %
// hydration, 1.8 % salt on flour, without gas.
var Foods = []Food{
	tableRow("beef tenderloin, lean and fat", "13917", Meat, 61.52, 19.61, 18.16, 0, 0, 0.92),
	tableRow("beef rib eye small end, lean", "13284", Meat, 71.33, 21.17, 6.57, 0, 0, 0.93),
	tableRow("beef ribeye lip-on, lean", "23153", Meat, 70.14, 21.99, 7.54, 0, 0, 1.01),
	tableRow("beef top loin petite roast, lean", "23253", Meat, 70.59, 22.61, 5.84, 0, 0, 1.00),
	tableRow("beef top sirloin cap, lean", "23244", Meat, 72.93, 21.38, 5.36, 0, 0, 0.98),
	tableRow("beef brisket, lean", "13023", Meat, 70.29, 20.72, 7.37, 0, 0, 1.02),
	tableRow("ground beef 95/5", "23557", Meat, 73.28, 21.41, 5, 0, 0, 1.05),
	tableRow("ground beef 90/10", "23562", Meat, 69.50, 20.00, 10, 0, 0, 0.98),
	tableRow("ground beef 85/15", "23567", Meat, 65.72, 18.59, 15, 0, 0, 0.91),
	tableRow("ground beef 80/20", "23572", Meat, 61.94, 17.17, 20, 0, 0, 0.84),
	tableRow("pork top loin chop, lean", "10066", Meat, 72.93, 22.41, 3.42, 0, 0, 1.01),
	tableRow("pork loin, lean", "10024", Meat, 72.23, 21.43, 5.66, 0, 0, 1.05),
	tableRow("pork tenderloin", "10218", Meat, 74.97, 20.65, 3.53, 0, 0, 1.01),
	tableRow("pork belly", "10005", Meat, 36.74, 9.34, 53.01, 0, 0, 0.49),
	tableRow("chicken breast", "05062", Meat, 75.79, 21.23, 2.59, 0, 0, 1.15),
	tableRow("lamb loin, lean", "17078", Meat, 73.33, 21.17, 4.40, 0, 0, 1.12),
	tableRow("duck, meat only", "05141", Meat, 73.77, 18.28, 5.95, 0.94, 0, 1.06),
	tableRow("salmon, farmed", "15236", Fish, 64.89, 20.42, 13.42, 0, 0, 1.13),
	tableRow("salmon, wild", "15076", Fish, 68.50, 19.84, 6.34, 0, 0, 2.54),
	tableRow("cod", "15015", Fish, 81.22, 17.81, 0.67, 0, 0, 1.16),
	tableRow("tuna, yellowfin", "15127", Fish, 74.03, 24.40, 0.49, 0, 0, 1.64),
	tableRow("egg, whole", "01123", Egg, 76.15, 12.56, 9.51, 0.72, 0, 1.06),
	tableRow("egg white", "01124", Egg, 87.57, 10.90, 0.17, 0.73, 0, 0.63),
	tableRow("egg yolk", "01125", Egg, 52.31, 15.86, 26.54, 3.59, 0, 1.71),
	tableRow("potato, flesh and skin", "11352", Plant, 79.34, 2.02, 0.09, 17.47, 2.2, 1.08),
	tableRow("carrot", "11124", Plant, 88.29, 0.93, 0.24, 9.58, 2.8, 0.97),
	tableRow("tofu, firm", "16426", Plant, 69.83, 15.78, 8.72, 4.27, 2.3, 1.40),
	tableRow("bread flour", "20083", Plant, 13.36, 11.98, 1.66, 72.53, 2.4, 0.47),
	tableRow("bread dough", "", Plant, 45.3, 7.4, 1.0, 44.8, 1.5, 1.4),
}

// FindFood returns the food of that name. Letter case, spacing and commas do
// not matter, nor does the word "raw" (every row is raw). An unknown name is
// an error that offers the nearest ones.
func FindFood(name string) (Food, error) {
	want := foodKey(name)
	for _, f := range Foods {
		if foodKey(f.Name) == want {
			return f, nil
		}
	}
	e := fault.New("heat-food", "there is no food of that name in the table").On("food", name)
	if near := nearFoods(want); len(near) > 0 {
		return Food{}, e.WithFix("did you mean %s? Or give a composition", strings.Join(near, "; "))
	}
	return Food{}, e.WithFix("give a composition, or one of: %s", strings.Join(FoodNames(), "; "))
}

// FoodNames lists the table.
func FoodNames() []string {
	out := make([]string, len(Foods))
	for i, f := range Foods {
		out[i] = f.Name
	}
	return out
}

func foodKey(s string) string {
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return r == ' ' || r == ',' || r == '-' || r == '_' || r == '\t'
	})
	kept := words[:0]
	for _, w := range words {
		if w != "raw" {
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, " ")
}

// nearFoods returns up to three names that hold every word asked for, or
// else the ones within a few typing errors.
func nearFoods(want string) []string {
	var near []string
	if want == "" {
		return nil
	}
	add := func(ok func(key string) bool) {
		for _, f := range Foods {
			if len(near) < 3 && ok(foodKey(f.Name)) {
				near = append(near, f.Name)
			}
		}
	}
	add(func(key string) bool {
		for _, w := range strings.Fields(want) {
			if !strings.Contains(key, w) {
				return false
			}
		}
		return true
	})
	if len(near) > 0 {
		return near
	}
	best := 1 + len(want)/3
	for _, f := range Foods {
		if d := fault.Edits(want, foodKey(f.Name)); d < best {
			best = d
		}
	}
	add(func(key string) bool { return fault.Edits(want, key) == best && best < 1+len(want)/3 })
	if len(near) > 0 {
		return near
	}
	add(func(key string) bool { // any word nearly right
		for _, w := range strings.Fields(want) {
			for _, k := range strings.Fields(key) {
				if len(w) > 3 && fault.Edits(w, k) <= 1 {
					return true
				}
			}
		}
		return false
	})
	return near
}

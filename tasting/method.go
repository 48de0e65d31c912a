package tasting

import (
	"math/big"
	"strings"

	"trivet/fault"
)

// Kind says what a method's answers are and so how they are scored.
type Kind string

// Kinds of method.
const (
	KindChoice   Kind = "choice"   // right or wrong against a guess probability
	KindResponse Kind = "response" // two answers, no fixed guess probability
	KindRank     Kind = "rank"     // an order of the samples
	KindScale    Kind = "scale"    // a number for each sample
	KindChecks   Kind = "checks"   // words ticked for each sample
	KindWords    Kind = "words"    // free comments
)

// Description is what a person needs to know of a method before choosing it.
type Description struct {
	Name     string   `json:"name"`     // as given to Lookup, e.g. "duo-trio"
	Title    string   `json:"title"`    // as printed
	Standard string   `json:"standard"` // the document that describes it
	Kind     Kind     `json:"kind"`
	Ask      string   `json:"ask"` // the question put to the assessor
	MayClaim []string `json:"may_claim"`
	Not      []string `json:"may_not_claim"`
	Aliases  []string `json:"-"`
}

// Serving is the make-up of one set: the product (an index) in each position
// from left to right. A named reference, served first and known as such, is
// kept apart; it is -1 where the method has none.
type Serving struct {
	Reference int
	Cups      []int
}

// Method is a sensory test. Block returns the serving sets that together
// balance position and composition for the given number of products; each
// set of a block is served equally often.
type Method interface {
	Describe() Description
	Block(products int) ([]Serving, error)
}

// ForcedChoice is a method whose every answer is right or wrong and can be
// right by luck with a fixed probability.
type ForcedChoice interface {
	Method
	// Guess is the probability of a right answer when the products are alike.
	Guess() Ratio
	// Correct is the psychometric function: the probability of a right
	// answer at a distance d′ ≥ 0.
	Correct(dPrime float64) float64
	// Slope is the derivative of Correct.
	Slope(dPrime float64) float64
	// Right returns the positions whose choice is the right answer to a set.
	Right(s Serving) []int
}

// Ratio is a small exact fraction.
type Ratio struct{ Num, Den int64 }

// Float returns the nearest float64.
func (r Ratio) Float() float64 { return float64(r.Num) / float64(r.Den) }

// Rat returns the fraction as a rational number.
func (r Ratio) Rat() *big.Rat { return big.NewRat(r.Num, r.Den) }

// Methods returns every method, in the order in which they are offered.
func Methods() []Method {
	return []Method{
		Triangle{}, DuoTrio{}, DuoTrio{Constant: true}, Paired{}, Paired{TwoSided: true}, ThreeAFC{}, Tetrad{},
		ANotA{}, SameDifferent{},
		Ranking{}, Hedonic{}, JustRight{}, Rated{}, CheckAll{}, Comments{},
	}
}

// Lookup finds a method by name. Case, blanks and hyphens do not matter. An
// unknown name is a usage error, code "method-unknown".
func Lookup(name string) (Method, error) {
	want := plainName(name)
	var known []string
	for _, m := range Methods() {
		d := m.Describe()
		known = append(known, d.Name)
		if plainName(d.Name) == want {
			return m, nil
		}
		for _, a := range d.Aliases {
			if plainName(a) == want {
				return m, nil
			}
		}
	}
	return nil, fault.BadUsage("method-unknown", "no tasting method of that name").
		On("method", name).WithFix("one of %s", strings.Join(known, ", "))
}

// LookupChoice is Lookup for a method with a guess probability. Another
// method is a usage error, code "method-not-choice".
func LookupChoice(name string) (ForcedChoice, error) {
	m, err := Lookup(name)
	if err != nil {
		return nil, err
	}
	fc, ok := m.(ForcedChoice)
	if !ok {
		return nil, fault.BadUsage("method-not-choice", "%s has no guess probability, so a count of right answers says nothing", m.Describe().Title).
			On("method", name).WithFix("score it from a table of answers")
	}
	return fc, nil
}

func plainName(s string) string {
	return strings.NewReplacer("-", "", " ", "", "_", "").Replace(strings.ToLower(s))
}

// twoProducts checks the product count of a method that compares two.
func twoProducts(name string, products int) error {
	if products != 2 {
		return fault.New("product-count", "%s compares two products, not %d", name, products).
			WithFix("name exactly two products, or choose ranking or rating for more")
	}
	return nil
}

// servings builds sets from strings such as "AAB"; a reference is written
// before a colon, "A:AB".
func servings(sets ...string) []Serving {
	out := make([]Serving, len(sets))
	for i, s := range sets {
		out[i].Reference = -1
		if ref, cups, ok := strings.Cut(s, ":"); ok {
			out[i].Reference = int(ref[0] - 'A')
			s = cups
		}
		for _, c := range s {
			out[i].Cups = append(out[i].Cups, int(c-'A'))
		}
	}
	return out
}

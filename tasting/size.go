package tasting

import (
	"fmt"
	"math"
	"math/big"
	"sort"
	"strconv"

	"trivet/fault"
)

// Aim is what a choice test sets out to show.
type Aim string

// Aims of a test. A similarity test shows that the share of discriminators is
// below a bound set beforehand; a difference test that is not significant
// shows nothing of the kind.
const (
	ForDifference Aim = "difference"
	ForSimilarity Aim = "similarity"
)

// Goal is what a test must be able to tell. Exactly one of Discriminators
// (pd, 0–1) and DPrime is set.
//
// For a difference: Alpha is the risk of claiming one when the products are
// alike, Beta the risk of missing one of the given size. For similarity: Beta
// is the risk of claiming it when the difference is as large as given, Alpha
// the risk of failing to when the products are alike. The number of assessors
// is the same.
type Goal struct {
	For            Aim // default ForDifference
	Alpha, Beta    float64
	Discriminators float64
	DPrime         float64
}

// Plan is the answer of Size.
type Plan struct {
	Method string `json:"method"`
	For    Aim    `json:"for"`
	// N is the first number of assessors that meets the goal; NForGood the
	// one from which every larger number does too, power being saw-toothed.
	N         int      `json:"n"`
	NForGood  int      `json:"n_for_good"`
	NBalanced int      `json:"n_balanced"` // smallest whole number of blocks that meets it
	Block     int      `json:"block"`      // sets in a balanced block
	Critical  int      `json:"critical"`   // at N: least right (difference), greatest right (similarity)
	Size      float64  `json:"size"`       // at N: the risk actually run of a wrong claim
	Power     float64  `json:"power"`      // at N: the chance of a right claim
	Alpha     float64  `json:"alpha"`
	Beta      float64  `json:"beta"`
	PD        float64  `json:"pd"`
	DPrime    *float64 `json:"d_prime"` // null when infinite
	Correct   float64  `json:"pc"`

	Notes []fault.Note `json:"notes,omitempty"`
}

// mostAssessors bounds a plan; a goal that needs more is refused.
const mostAssessors = 200_000

// chance returns pc at the goal's size of difference.
func (g Goal) chance(m ForcedChoice) Chance {
	if g.DPrime > 0 {
		return ChanceOf(m.Correct(g.DPrime))
	}
	return ChanceAt(m.Guess(), g.Discriminators)
}

func (g Goal) check() error {
	if g.For != "" && g.For != ForDifference && g.For != ForSimilarity {
		return fault.BadUsage("aim-unknown", "a test is for difference or for similarity").On("for", string(g.For)).WithFix("difference or similarity")
	}
	if err := riskInRange("alpha", g.Alpha); err != nil {
		return err
	}
	if err := riskInRange("beta", g.Beta); err != nil {
		return err
	}
	return g.checkEffect()
}

func (g Goal) checkEffect() error {
	switch {
	case g.Discriminators != 0 && g.DPrime != 0:
		return fault.BadUsage("effect-twice", "the size of the difference is given twice, as pd and as d′").On("dprime", number(g.DPrime)).WithFix("give one of them")
	case g.Discriminators == 0 && g.DPrime == 0:
		return fault.BadUsage("effect-missing", "the size of the difference that matters is not given").On("pd", "").WithFix("give pd, a share such as 0.30, or d′ such as 1.0")
	case g.DPrime != 0 && !(g.DPrime > 0 && g.DPrime <= 20):
		return fault.BadUsage("dprime-range", "d′ must lie above 0 and at most 20").On("dprime", number(g.DPrime)).WithFix("0.5 is faint, 1 means 76 %% right in a paired comparison, 2 is plain")
	case g.DPrime == 0 && !(g.Discriminators > 0 && g.Discriminators <= 1):
		return fault.BadUsage("pd-range", "the share of discriminators must lie above 0 and at most 1").On("pd", number(g.Discriminators)).WithFix("write 30 %% as 0.30")
	}
	return nil
}

func riskInRange(name string, v float64) error {
	if !(v > 0 && v < 0.5+1e-12) {
		return fault.BadUsage("risk-range", "%s must lie above 0 and at most 0.5", name).On(name, number(v)).WithFix("write 5 %% as 0.05")
	}
	return nil
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// sides is 2 for a two-sided paired comparison, else 1.
func sides(m Method) float64 {
	if p, ok := m.(Paired); ok && p.TwoSided {
		return 2
	}
	return 1
}

// Size returns the number of assessors, one answer each, that meets a goal.
// Bad arguments are usage errors; a goal beyond 200,000 assessors is a
// content error, code "too-many-assessors".
//
// The search walks n upwards with the binomial tails updated by recurrence
// and stops where Hoeffding's inequality guarantees the power for every
// larger n, so NForGood is proven, not sampled.
func Size(m ForcedChoice, g Goal) (*Plan, error) {
	if g.For == "" {
		g.For = ForDifference
	}
	if err := g.check(); err != nil {
		return nil, err
	}
	pc := g.chance(m)
	end := powerGuaranteedFrom(pc.Float()-m.Guess().Float(), g.Alpha/sides(m), g.Beta)
	if end > mostAssessors {
		return nil, fault.New("too-many-assessors", "a difference this small needs more assessors than this tool plans for").
			On("pd", fmt.Sprintf("%.4g", Discriminators(m.Guess(), pc.Float()))).WithFix("use a method with more power for it (a paired comparison on the attribute that changes), or a larger difference")
	}
	block, err := m.Block(2)
	if err != nil {
		return nil, err
	}
	plan := &Plan{
		Method: m.Describe().Name, For: g.For, Block: len(block), Alpha: g.Alpha, Beta: g.Beta,
		PD: Discriminators(m.Guess(), pc.Float()), DPrime: finite(dPrimeOf(m, g, pc)), Correct: pc.Float(),
	}
	if g.DPrime == 0 {
		plan.PD = g.Discriminators
	}
	w := newWalk(m, g.Alpha, pc)
	for w.n <= end {
		if w.meets(g.Beta) {
			if plan.N == 0 {
				plan.N = w.n
			}
			if plan.NForGood == 0 {
				plan.NForGood = w.n
			}
			if plan.NBalanced == 0 && w.n%plan.Block == 0 {
				plan.NBalanced = w.n
			}
		} else {
			plan.NForGood = 0
		}
		w.next()
	}
	if plan.NForGood == 0 {
		plan.NForGood = w.n
	}
	if plan.N == 0 {
		plan.N = plan.NForGood
	}
	if plan.NBalanced == 0 {
		plan.NBalanced = (plan.NForGood + plan.Block - 1) / plan.Block * plan.Block
	}
	p := PointAt(m, g, plan.N)
	plan.Critical, plan.Size, plan.Power = p.Critical, p.Size, p.Power
	if plan.NForGood > plan.N {
		plan.Notes = append(plan.Notes, fault.Notef("power-saw-toothed", "power is saw-toothed: from %d assessors every larger number meets the goal, between %d and %d some do not", plan.NForGood, plan.N, plan.NForGood))
	}
	if plan.NBalanced != plan.N {
		plan.Notes = append(plan.Notes, fault.Notef("block", "orders balance in blocks of %d: %d assessors fill whole blocks and meet the goal", plan.Block, plan.NBalanced))
	}
	return plan, nil
}

func dPrimeOf(m ForcedChoice, g Goal, pc Chance) float64 {
	if g.DPrime > 0 {
		return g.DPrime
	}
	return DPrime(m, pc.Float())
}

// finite returns nil for an infinite or undefined value.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

// powerGuaranteedFrom returns an n from which every exact test at alpha has
// power ≥ 1−beta against a rise δ of the chance of a right answer. By
// Hoeffding's inequality P(X ≥ ng + t) ≤ exp(−2t²/n), so the critical count
// is at most ng + √(n ln(1/α)/2) + 1, and under g+δ fewer than that come up
// with probability at most β once δ√n ≥ √(ln(1/α)/2) + √(ln(1/β)/2) + 1/√n.
//
// References: Hoeffding W., 1963, Probability inequalities for sums of
// bounded random variables, J. American Statistical Association 58:13-30.
func powerGuaranteedFrom(delta, alpha, beta float64) int {
	c := math.Sqrt(math.Log(1/alpha)/2) + math.Sqrt(math.Log(1/beta)/2)
	// δn − c√n − 1 = 0, solved for √n.
	root := (c + math.Sqrt(c*c+4*delta)) / (2 * delta)
	if n := root * root; n < 10*mostAssessors {
		return int(math.Ceil(n)) + 1
	}
	return 10 * mostAssessors
}

// PowerPoint is one number of assessors of a power curve.
type PowerPoint struct {
	N        int     `json:"n"`
	Critical int     `json:"critical"`
	Size     float64 `json:"size"`
	Power    float64 `json:"power"`
}

// PointAt gives the critical count, the risk actually run and the chance of a
// right claim at n assessors. Where no count can be critical (n+1 for a
// difference, −1 for similarity) Size and Power are 0.
func PointAt(m ForcedChoice, g Goal, n int) PowerPoint {
	pc, guess, two := g.chance(m), m.Guess(), sides(m)
	if g.For == ForSimilarity {
		c := GreatestCorrect(n, pc, g.Beta)
		p := PowerPoint{N: n, Critical: c, Size: lowerTail(n, c, pc.Float()), Power: lowerTail(n, c, guess.Float())}
		if two == 2 {
			p.Power = math.Max(0, 1-2*upperTail(n, c+1, guess.Float()))
		}
		return p
	}
	x := leastFor(m, n, g.Alpha)
	return PowerPoint{N: n, Critical: x, Size: two * upperTail(n, x, guess.Float()), Power: upperTail(n, x, pc.Float())}
}

func leastFor(m ForcedChoice, n int, alpha float64) int {
	return leastCount(n, m.Guess(), alpha, int(sides(m)))
}

// PowerCurve gives PointAt for every n between from and to.
func PowerCurve(m ForcedChoice, g Goal, from, to int) []PowerPoint {
	var out []PowerPoint
	for n := max(1, from); n <= to; n++ {
		out = append(out, PointAt(m, g, n))
	}
	return out
}

// Detectable returns the smallest d′ that n assessors find with the given
// power at alpha, +Inf when n is too small for any.
func Detectable(m ForcedChoice, n int, alpha, power float64) float64 {
	x := leastFor(m, n, alpha)
	if x > n {
		return math.Inf(1)
	}
	return DPrime(m, betaQuantile(power, float64(x), float64(n-x+1)))
}

// Needs is one method's demand in a comparison.
type Needs struct {
	Method   string `json:"method"`
	N        int    `json:"n"`
	NForGood int    `json:"n_for_good"`
	Cups     int    `json:"cups"`  // coded samples at N, references included
	Names    bool   `json:"names"` // the attribute that differs must be named
}

// Fewest sizes every choice method for the same d′ and sorts by assessors,
// then by cups. Shares of discriminators differ between methods, so the size
// must be a d′.
func Fewest(dPrime, alpha, beta float64) ([]Needs, error) {
	var out []Needs
	for _, m := range Methods() {
		fc, ok := m.(ForcedChoice)
		if !ok {
			continue
		}
		p, err := Size(fc, Goal{Alpha: alpha, Beta: beta, DPrime: dPrime})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.Describe().Name, err)
		}
		sets, err := fc.Block(2)
		if err != nil {
			return nil, err
		}
		cups := len(sets[0].Cups)
		if sets[0].Reference >= 0 {
			cups++
		}
		_, paired := m.(Paired)
		_, afc := m.(ThreeAFC)
		out = append(out, Needs{p.Method, p.N, p.NForGood, p.N * cups, paired || afc})
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].N != out[j].N {
			return out[i].N < out[j].N
		}
		return out[i].Cups < out[j].Cups
	})
	return out, nil
}

// walk follows the critical count x and the two tails P(X ≥ x | n) as n
// grows by one, each step a constant number of operations:
//
//	P(X ≥ x | n+1) = P(X ≥ x | n) + p P(X = x−1 | n)
//	P(X ≥ x+1 | n) = P(X ≥ x | n) − P(X = x | n)
type walk struct {
	n, x       int
	guess, alt tail
	guessRatio Ratio
	alpha      float64
	two        float64
	pc         Chance
}

type tail struct {
	p, atLeast, below float64 // P(X ≥ x), P(X = x−1)
}

func newWalk(m ForcedChoice, alpha float64, pc Chance) *walk {
	w := &walk{n: 1, x: 1, guessRatio: m.Guess(), alpha: alpha, two: sides(m), pc: pc}
	g := m.Guess().Float()
	w.guess = tail{g, g, 1 - g}
	w.alt = tail{pc.Float(), pc.Float(), 1 - pc.Float()}
	w.settle()
	return w
}

// next moves to n+1.
func (w *walk) next() {
	for _, t := range []*tail{&w.guess, &w.alt} {
		t.atLeast += t.p * t.below
		if t.p == 1 {
			t.below = 0
		} else {
			t.below *= float64(w.n+1) / float64(w.n+2-w.x) * (1 - t.p)
		}
	}
	w.n++
	w.settle()
}

// settle raises x until the size is at most alpha.
func (w *walk) settle() {
	for w.x <= w.n && !w.sizeHolds() {
		for _, t := range []*tail{&w.guess, &w.alt} {
			var at float64
			if t.p == 1 {
				if w.x == w.n {
					at = 1
				}
			} else {
				at = t.below * float64(w.n-w.x+1) / float64(w.x) * t.p / (1 - t.p)
			}
			t.atLeast = math.Max(0, t.atLeast-at)
			if w.x == w.n {
				t.atLeast = 0
			}
			t.below = at
		}
		w.x++
	}
}

func (w *walk) sizeHolds() bool {
	var exact func() *big.Rat
	if w.n <= mostExact {
		exact = func() *big.Rat {
			p := exactUpperTail(w.n, w.x, w.guessRatio.Rat())
			return p.Mul(p, big.NewRat(int64(w.two), 1))
		}
	}
	return atMost(w.two*w.guess.atLeast, w.alpha, exact)
}

// meets tells whether the test at n has power ≥ 1−beta.
func (w *walk) meets(beta float64) bool {
	if w.x > w.n {
		return false
	}
	miss := 1 - w.alt.atLeast
	if w.pc.exact == nil || w.n > mostExact || math.Abs(miss-beta) > near*beta {
		return miss <= beta
	}
	exact := new(big.Rat).Sub(big.NewRat(1, 1), exactUpperTail(w.n, w.x, w.pc.exact))
	return exact.Cmp(decimal(beta)) <= 0
}

package tasting

import (
	"math"
	"math/big"
	"strconv"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/combin"
)

// upperTail is P(X ≥ x) for X ~ Binomial(n, p), as the regularised
// incomplete beta function I_p(x, n−x+1).
func upperTail(n, x int, p float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x > n || p <= 0:
		return 0
	case p >= 1:
		return 1
	}
	return mathext.RegIncBeta(float64(x), float64(n-x+1), p)
}

// lowerTail is P(X ≤ x).
func lowerTail(n, x int, p float64) float64 {
	switch {
	case x < 0:
		return 0
	case x >= n || p <= 0:
		return 1
	case p >= 1:
		return 0
	}
	return mathext.RegIncBeta(float64(n-x), float64(x+1), 1-p)
}

// exactUpperTail is P(X ≥ x) as a rational number, for p = a/b:
// Σ_{k≥x} C(n,k) aᵏ (b−a)ⁿ⁻ᵏ / bⁿ, in integers.
func exactUpperTail(n, x int, p *big.Rat) *big.Rat {
	if x <= 0 {
		return big.NewRat(1, 1)
	}
	if x > n {
		return new(big.Rat)
	}
	a, b := p.Num(), p.Denom()
	c := new(big.Int).Sub(b, a)
	// Horner's rule from k = n downwards needs C(n,k) only:
	// Σ C(n,k) aᵏ c^{n−k} = aˣ · Σ_{j=0}^{n−x} C(n,x+j) aʲ c^{n−x−j}.
	sum := new(big.Int)
	coef := big.NewInt(1) // C(n,n)
	cPow := big.NewInt(1)
	aPow := new(big.Int).Exp(a, big.NewInt(int64(n)), nil)
	term := new(big.Int)
	for k := n; ; k-- {
		term.Mul(coef, aPow)
		term.Mul(term, cPow)
		sum.Add(sum, term)
		if k == x {
			break
		}
		coef.Mul(coef, big.NewInt(int64(k)))
		coef.Quo(coef, big.NewInt(int64(n-k+1)))
		if a.Sign() != 0 {
			aPow.Quo(aPow, a)
		}
		cPow.Mul(cPow, c)
	}
	return new(big.Rat).SetFrac(sum, new(big.Int).Exp(b, big.NewInt(int64(n)), nil))
}

// decimal reads a probability given as a float64 as the decimal number a
// person wrote: 0.05 is 1/20, not the binary number next to it.
func decimal(p float64) *big.Rat {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(p, 'g', -1, 64))
	if !ok {
		return new(big.Rat)
	}
	return r
}

// near is the relative distance to a bound under which a float64 comparison
// is not trusted and integers decide. Float tails are good to about 1e-12.
const near = 1e-8

// atMost tells whether a probability is ≤ bound: by the float value where it
// is clearly off the bound, else by exact (nil when no exact form exists).
func atMost(value, bound float64, exact func() *big.Rat) bool {
	if exact == nil || math.Abs(value-bound) > near*bound {
		return value <= bound
	}
	return exact().Cmp(decimal(bound)) <= 0
}

// mostExact bounds the sizes at which integers decide a near tie; beyond it
// the numbers have too many digits to be worth the wait, and steps between
// neighbouring tails are so small that a tie decides nothing.
const mostExact = 5000

// LeastCorrect returns the smallest x with P(X ≥ x | n, g) ≤ alpha, decided
// in rational arithmetic where it matters. It returns n+1 when even n right
// answers would not be enough.
func LeastCorrect(n int, guess Ratio, alpha float64) int { return leastCount(n, guess, alpha, 1) }

// leastCount is LeastCorrect for one or two sides: the smallest x with
// sides · P(X ≥ x | n, g) ≤ alpha.
func leastCount(n int, guess Ratio, alpha float64, sides int) int {
	g := guess.Float()
	lo, hi := 0, n+1 // the bound fails at lo and holds at hi
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		var exact func() *big.Rat
		if n <= mostExact {
			exact = func() *big.Rat {
				p := exactUpperTail(n, mid, guess.Rat())
				return p.Mul(p, big.NewRat(int64(sides), 1))
			}
		}
		if atMost(float64(sides)*upperTail(n, mid, g), alpha, exact) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// GreatestCorrect returns the largest x with P(X ≤ x | n, pc) ≤ beta, the
// most right answers that still show similarity; −1 when there is none. pc
// is exact where a share of discriminators was given.
func GreatestCorrect(n int, pc Chance, beta float64) int {
	lo, hi := -1, n // P(X ≤ lo) ≤ beta < P(X ≤ hi) = 1
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		var exact func() *big.Rat
		if pc.exact != nil && n <= mostExact {
			exact = func() *big.Rat {
				return new(big.Rat).Sub(big.NewRat(1, 1), exactUpperTail(n, mid+1, pc.exact))
			}
		}
		if atMost(lowerTail(n, mid, pc.Float()), beta, exact) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// approximatelySimilar is the rule that older editions of the standards are
// believed to print (from memory): the largest x, not below guessing, whose
// normal-approximation limit pd + z√(pc(1−pc)/n)/(1−g) is at most pd0; −1 when
// there is none. It is only named beside the exact rule, where it differs.
func approximatelySimilar(n int, guess Ratio, pd0, beta float64) int {
	z, g := normalQuantile(1-beta), guess.Float()
	best := -1
	for x := 0; x <= n; x++ {
		if int64(x)*guess.Den < int64(n)*guess.Num {
			continue
		}
		pc := float64(x) / float64(n)
		if (pc-g)/(1-g)+z*math.Sqrt(pc*(1-pc)/float64(n))/(1-g) <= pd0 {
			best = x
		}
	}
	return best
}

// Chance is a probability of a right answer, exact when it came from a share
// of discriminators written as a decimal number.
type Chance struct {
	value float64
	exact *big.Rat
}

// Float returns the probability.
func (c Chance) Float() float64 { return c.value }

// ChanceAt returns pc = g + (1−g)·pd, exactly.
func ChanceAt(guess Ratio, pd float64) Chance {
	g := guess.Rat()
	one := big.NewRat(1, 1)
	pc := new(big.Rat).Sub(one, g)
	pc.Mul(pc, decimal(pd)).Add(pc, g)
	f, _ := pc.Float64()
	return Chance{f, pc}
}

// ChanceOf returns the chance of a right answer as a plain number.
func ChanceOf(pc float64) Chance { return Chance{value: pc} }

// clopperPearson returns the exact one-sided limits of a proportion, each at
// level 1−alpha: lower BetaInv(alpha; x, n−x+1), upper BetaInv(1−alpha;
// x+1, n−x).
//
// References: Clopper C.J., Pearson E.S., 1934, The use of confidence or
// fiducial limits illustrated in the case of the binomial, Biometrika
// 26:404-413.
func clopperPearson(n, x int, alpha float64) (low, high float64) {
	low, high = 0, 1
	if x > 0 {
		low = betaQuantile(alpha, float64(x), float64(n-x+1))
	}
	if x < n {
		high = 1 - betaQuantile(alpha, float64(n-x), float64(x+1))
	}
	return low, high
}

// betaQuantile inverts the regularised incomplete beta function, polished by
// bisection so that the tail at the limit equals p to rounding.
func betaQuantile(p, a, b float64) float64 {
	lo, hi := 0.0, 1.0
	if q := mathext.InvRegIncBeta(a, b, p); q > 0 && q < 1 {
		if l := q * (1 - 1e-6); mathext.RegIncBeta(a, b, l) < p {
			lo = l
		}
		if h := q + (1-q)*1e-6; mathext.RegIncBeta(a, b, h) > p {
			hi = h
		}
	}
	for i := 0; i < 200; i++ {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			break
		}
		if mathext.RegIncBeta(a, b, mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}

// logChoose is ln C(n, k).
func logChoose(n, k int) float64 { return combin.LogGeneralizedBinomial(float64(n), float64(k)) }

// binomialPMF is P(X = x).
func binomialPMF(n, x int, p float64) float64 {
	switch {
	case x < 0 || x > n:
		return 0
	case p <= 0:
		if x == 0 {
			return 1
		}
		return 0
	case p >= 1:
		if x == n {
			return 1
		}
		return 0
	}
	return math.Exp(logChoose(n, x) + float64(x)*math.Log(p) + float64(n-x)*math.Log1p(-p))
}

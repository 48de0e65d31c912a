package stats

import (
	"math"
	"math/bits"
	"runtime"
	"slices"
	"strconv"
	"sync"
)

// exactFlips is the largest number of pairs whose sign patterns are all
// listed; beyond it they are drawn.
const exactFlips = 20

// flipDraws is the number of random sign patterns beyond exactFlips.
const flipDraws = 99_999

// flipTol is the relative tolerance under which two sums count as tied:
// rounded readings tie all the time, and their sums differ by round-off.
const flipTol = 1e-12

// SignFlipTest is the randomisation test of paired differences: under "no
// difference" each could as well have had the other sign. It assumes
// symmetry, not the bell curve.
type SignFlipTest struct {
	N     int
	Mean  float64
	Exact bool
	// Patterns is the number of sign patterns the p-values count: 2ⁿ when
	// exact, the draws plus the observed one otherwise.
	Patterns float64

	d     []float64
	means []float64 // means of the subsets that are flipped, observed pattern left out
}

// SignFlip prepares the test of differences d. Up to 20 of them it lists all
// 2ⁿ patterns; beyond, it draws 99,999 from the stream ("sign flip") of seed.
//
// Flipping the signs of a subset F of D−θ₀ makes the sum at least as large
// exactly when the mean of D over F is at most θ₀. So one list of subset means
// gives the p-value at every θ₀, and the interval by test inversion is a pair
// of its order statistics (Hartigan 1969, JASA 64:1303).
func SignFlip(d []float64, seed string) *SignFlipTest {
	t := &SignFlipTest{N: len(d), Mean: Mean(d), d: slices.Clone(d)}
	if t.N == 0 {
		return t
	}
	if t.N <= exactFlips {
		t.Exact = true
		t.Patterns = math.Exp2(float64(t.N))
		t.means = subsetMeans(d)
		return t
	}
	t.Patterns = flipDraws + 1
	t.means = make([]float64, flipDraws)
	groups := groupSums(d)
	const chunk = 4096 // one substream each, whichever worker draws it
	starts := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for start := range starts {
				s := NewStream(seed, "sign flip", uint64(start/chunk))
				for k := start; k < min(start+chunk, flipDraws); k++ {
					t.means[k] = randomSubsetMean(groups, len(d), s)
				}
			}
		})
	}
	for start := 0; start < flipDraws; start += chunk {
		starts <- start
	}
	close(starts)
	wg.Wait()
	return t
}

// subsetMeans lists the mean of every non-empty subset of d.
func subsetMeans(d []float64) []float64 {
	sums := make([]float64, 1<<len(d))
	for i, v := range d {
		for m := range 1 << i {
			sums[1<<i|m] = sums[m] + v
		}
	}
	counts := make([]uint8, len(sums))
	for m := 1; m < len(sums); m++ {
		counts[m] = counts[m&(m-1)] + 1
		sums[m] /= float64(counts[m])
	}
	return sums[1:]
}

// groupSums lists, for every eight elements of d in turn, the sum over each
// of their 256 subsets: a draw then adds one number for eight signs.
func groupSums(d []float64) [][256]float64 {
	out := make([][256]float64, (len(d)+7)/8)
	for g := range out {
		sums := &out[g]
		for i, v := range d[8*g : min(8*g+8, len(d))] {
			for m := range 1 << i {
				sums[1<<i|m] = sums[m] + v
			}
		}
	}
	return out
}

// randomSubsetMean draws each of n elements with probability ½ and returns
// their mean; the empty subset, which is the observed pattern, has mean −∞ or
// +∞ for nothing: it is drawn again.
func randomSubsetMean(groups [][256]float64, n int, s *Stream) float64 {
	for {
		sum, drawn := 0.0, 0
		for i := 0; i < n; i += 64 {
			word := s.Uint64()
			if left := n - i; left < 64 {
				word &= 1<<left - 1
			}
			drawn += bits.OnesCount64(word)
			for g := i / 8; word != 0; g++ {
				sum += groups[g][byte(word)]
				word >>= 8
			}
		}
		if drawn > 0 {
			return sum / float64(drawn)
		}
	}
}

// P is the p-value of the hypothesis that the difference is bound: one-sided
// against it for Higher ("the difference is above bound") and Lower, two-sided
// for Either. The observed pattern counts among the patterns (Phipson & Smyth
// 2010, SAGMB 9:39).
func (t *SignFlipTest) P(claim Claim, bound float64) float64 {
	if t.N == 0 {
		return math.NaN()
	}
	switch claim {
	case Higher:
		return t.upper(bound, 1)
	case Lower:
		return t.upper(bound, -1)
	}
	return math.Min(1, 2*math.Min(t.upper(bound, 1), t.upper(bound, -1)))
}

// upper is the share of patterns whose sum of sign·(D−θ₀) is at least the
// observed one.
func (t *SignFlipTest) upper(bound, sign float64) float64 {
	size := 0.0
	for _, v := range t.d {
		size = math.Max(size, math.Abs(v)+math.Abs(bound))
	}
	tol := flipTol * size
	count := 1.0
	for _, m := range t.means {
		if sign*(m-bound) <= tol {
			count++
		}
	}
	return count / t.Patterns
}

// Interval is the set of differences that the two-sided test does not reject
// at 1−level, with the level it really has. It is infinite when even the
// rarest pattern is not rare enough: 2/2ⁿ > 1−level.
func (t *SignFlipTest) Interval(level float64) Interval {
	// The k-th smallest subset mean is the first θ₀ whose one-sided count
	// 1 + #{means ≤ θ₀} exceeds k = ⌊patterns·(1−level)/2⌋.
	k := int(math.Floor(t.Patterns*(1-level)/2 + 1e-9))
	if t.N == 0 || k < 1 {
		return Interval{Low: math.Inf(-1), High: math.Inf(1), Level: 1}
	}
	m := slices.Clone(t.means)
	size := 0.0
	for _, v := range t.d {
		size = math.Max(size, math.Abs(v))
	}
	lo := tidy(selectKth(m, k-1), size)
	hi := tidy(selectKth(m, len(m)-k), size)
	return Interval{Low: lo, High: hi, Level: 1 - 2*float64(k)/t.Patterns}
}

// tidy drops the round-off of a mean of readings as large as size: beyond
// thirteen digits of them nothing was measured, and an end that is 2 must not
// read 1.9999999999999996 when it is held against a margin of 2.
func tidy(x, size float64) float64 {
	if !(size > 0) || math.IsInf(size, 0) {
		return x
	}
	decimals := 13 - int(math.Ceil(math.Log10(size)))
	if decimals < 0 || decimals > 300 {
		return x
	}
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'f', decimals, 64), 64)
	if err != nil {
		return x
	}
	return v
}

// LeastPairs is the smallest number of pairs whose exact sign-flip test can
// reach a two-sided p of at most alpha: 2/2ⁿ ≤ alpha.
func LeastPairs(alpha float64) int {
	return int(math.Ceil(1 - math.Log2(alpha) - 1e-12))
}

// selectKth returns the k-th smallest (from 0) of a, reordering a (Hoare 1961,
// CACM 4:321, with the median of three as pivot).
func selectKth(a []float64, k int) float64 {
	lo, hi := 0, len(a)-1
	for lo < hi {
		mid := lo + (hi-lo)/2
		p := max(min(a[lo], a[mid]), min(max(a[lo], a[mid]), a[hi]))
		i, j := lo, hi
		for i <= j {
			for a[i] < p {
				i++
			}
			for a[j] > p {
				j--
			}
			if i <= j {
				a[i], a[j] = a[j], a[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return a[k]
		}
	}
	return a[k]
}

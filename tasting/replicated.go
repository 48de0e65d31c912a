package tasting

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
)

// Replicate is one assessor's count of right answers.
type Replicate struct {
	Assessor string
	N        int // sets answered
	Correct  int
}

// Overdispersion is how far assessors differ in a replicated choice test.
//
// Plain: x_i ~ beta-binomial with mean Mu and correlation Gamma, variance
// m·Mu(1−Mu)(1+(m−1)Gamma). Chance-corrected: assessor i is right with
// probability g + (1−g)π_i, π_i ~ Beta, mean Mu (the share of discriminators)
// and correlation Gamma.
type Overdispersion struct {
	ChanceCorrected bool     `json:"chance_corrected"`
	Assessors       int      `json:"assessors"`
	N               int      `json:"n"`
	Correct         int      `json:"correct"`
	Mu              float64  `json:"mu"`
	Gamma           *float64 `json:"gamma"` // null when not estimable
	GammaLow        *float64 `json:"gamma_low,omitempty"`
	GammaHigh       *float64 `json:"gamma_high,omitempty"` // 95 % profile interval
	// MuLow and MuHigh are the 95 % profile interval of Mu: what to read for
	// the share of discriminators when assessors differ.
	MuLow      *float64 `json:"mu_low,omitempty"`
	MuHigh     *float64 `json:"mu_high,omitempty"`
	LogLik     float64  `json:"log_lik"`
	LogLikNone float64  `json:"log_lik_none"` // at Gamma 0
	LR         float64  `json:"lr"`
	PValue     *float64 `json:"p_value"` // against Gamma 0, half a χ²₁ tail
	// Effective is the number of independent answers the N are worth,
	// N/(1+(m̄−1)ρ), m̄ the mean per assessor weighted by answers and ρ the
	// correlation of one assessor's answers: Gamma in the plain model, and
	// (1−g)²μ(1−μ)Gamma/(p(1−p)), p = g+(1−g)μ, in the chance-corrected one.
	Effective float64      `json:"effective_n"`
	Notes     []fault.Note `json:"notes,omitempty"`
}

// Overdispersed fits a beta-binomial model by maximum likelihood. With
// corrected false the guess probability plays no part.
//
// References: Skellam J.G., 1948, A probability distribution derived from
// the binomial distribution by regarding the probability of success as
// variable between the sets of trials, J. Royal Statistical Society B
// 10:257-261; Brockhoff P.B., 2003, The statistical power of replications in
// difference tests, Food Quality and Preference 14:405-417. The boundary
// distribution of the ratio: Self S.G., Liang K.-Y., 1987, J. American
// Statistical Association 82:605-610.
func Overdispersed(reps []Replicate, guess Ratio, corrected bool) (*Overdispersion, error) {
	type cell struct{ x, m int }
	counts := map[cell]int{}
	o := &Overdispersion{ChanceCorrected: corrected}
	var squares float64
	several := false
	for i, r := range reps {
		if r.N < 1 || r.Correct < 0 || r.Correct > r.N {
			return nil, fault.New("count-range", "assessor %q has %d right of %d", r.Assessor, r.Correct, r.N).AtRow(i + 1).WithFix("count right answers from 0 to the number answered")
		}
		counts[cell{r.Correct, r.N}]++
		o.N += r.N
		o.Correct += r.Correct
		squares += float64(r.N * r.N)
		several = several || r.N > 1
	}
	o.Assessors = len(reps)
	if o.Assessors < 2 {
		return nil, fault.New("too-few-assessors", "one assessor says nothing of how assessors differ").WithFix("score the count of right answers instead")
	}
	cells := make([]cell, 0, len(counts))
	for c := range counts {
		cells = append(cells, c)
	}
	sort.Slice(cells, func(i, j int) bool {
		if cells[i].m != cells[j].m {
			return cells[i].m < cells[j].m
		}
		return cells[i].x < cells[j].x
	})
	g := 0.0
	if corrected {
		g = guess.Float()
	}
	loglik := func(mu, gamma float64) float64 {
		sum := 0.0
		for _, c := range cells {
			sum += float64(counts[c]) * logBetaBinomial(c.x, c.m, mu, gamma, g)
		}
		return sum
	}
	// For every gamma the best mu, then the best gamma: two line searches
	// find boundary optima that a gradient in logits runs away from.
	profile := func(gamma float64) (mu, ll float64) {
		return maximise(func(mu float64) float64 { return loglik(mu, gamma) }, 0, 1, 24)
	}
	mu0, ll0 := profile(0)
	o.LogLikNone = ll0
	const steepest = 0.9999
	gamma, ll := maximise(func(g float64) float64 { _, l := profile(g); return l }, 0, steepest, 24)
	mu, _ := profile(gamma)
	switch {
	case !several:
		o.Notes = append(o.Notes, fault.Notef("gamma-not-estimable", "each assessor answered once: how far they differ cannot be told"))
		gamma, mu, ll = 0, mu0, ll0
	case corrected && mu < 1e-4:
		o.Notes = append(o.Notes, fault.Notef("gamma-not-estimable", "pd = 0: the answers are no better than guessing, so gamma is not estimable"))
		gamma, mu, ll = 0, 0, ll0
	default:
		if ll < ll0+1e-9 {
			gamma, mu, ll = 0, mu0, ll0
		}
		o.Gamma = &gamma
		lr := math.Max(0, 2*(ll-ll0))
		p := 1.0
		if lr > 0 {
			p = 0.5 * distuv.ChiSquared{K: 1}.Survival(lr)
		}
		o.LR, o.PValue = lr, &p
		if o.Assessors >= 10 {
			low, high := profileInterval(func(g float64) float64 { _, l := profile(g); return l }, gamma, ll, steepest)
			o.GammaLow, o.GammaHigh = &low, &high
			overGamma := func(mu float64) float64 {
				_, l := maximise(func(g float64) float64 { return loglik(mu, g) }, 0, steepest, 24)
				return l
			}
			muLow, muHigh := profileInterval(overGamma, mu, ll, 1)
			o.MuLow, o.MuHigh = &muLow, &muHigh
		} else {
			o.Notes = append(o.Notes, fault.Notef("few-assessors", "gamma from %d assessors is a rough figure; no interval is given under ten", o.Assessors))
		}
	}
	o.Mu, o.LogLik = mu, ll
	if mu < 1e-9 {
		o.Mu = 0
	}
	rho := gamma
	if p := g + (1-g)*mu; gamma > 0 && p > 0 && p < 1 {
		rho = (1 - g) * (1 - g) * mu * (1 - mu) * gamma / (p * (1 - p))
	}
	o.Effective = float64(o.N) / (1 + (squares/float64(o.N)-1)*rho)
	return o, nil
}

// EffectiveN is the number of independent answers that assessors × sets
// answers are worth at a correlation gamma.
func EffectiveN(assessors, sets int, gamma float64) float64 {
	return float64(assessors*sets) / (1 + float64(sets-1)*gamma)
}

// AssessorsFor is the number of assessors whose answers to so many sets each
// are worth n independent ones at a correlation gamma: ⌈n(1+(sets−1)γ)/sets⌉.
// A gamma of 0.1 to 0.3 is common practice for planning, no source.
func AssessorsFor(n, sets int, gamma float64) int {
	return int(math.Ceil(float64(n)*(1+float64(sets-1)*gamma)/float64(sets) - 1e-9))
}

// logBetaBinomial is ln P(x of m) with mean mu, correlation gamma and guess
// probability g,
//
//	P(x) = Σ_{i≤x} C(m,x) C(x,i) g^{x−i} (1−g)^{m−x+i} B(a+i, b+m−x)/B(a,b).
//
// The beta ratio is a product of μ(1−γ)+kγ terms, so γ → 0 needs no limit.
func logBetaBinomial(x, m int, mu, gamma, g float64) float64 {
	fails := m - x
	lowFail := logRising(1-mu, gamma, fails)
	if g == 0 {
		return logChoose(m, x) + logRising(mu, gamma, x) + lowFail - logRising(1, gamma, m)
	}
	best := math.Inf(-1)
	terms := make([]float64, x+1)
	for i := 0; i <= x; i++ {
		terms[i] = logChoose(x, i) + float64(x-i)*math.Log(g) + float64(fails+i)*math.Log1p(-g) +
			logRising(mu, gamma, i) + lowFail - logRising(1, gamma, i+fails)
		best = math.Max(best, terms[i])
	}
	if math.IsInf(best, -1) {
		return best
	}
	sum := 0.0
	for _, t := range terms {
		sum += math.Exp(t - best)
	}
	return logChoose(m, x) + best + math.Log(sum)
}

// logRising is ln Π_{k<n} (p(1−γ)+kγ).
func logRising(p, gamma float64, n int) float64 {
	sum := 0.0
	for k := 0; k < n; k++ {
		sum += math.Log(p*(1-gamma) + float64(k)*gamma)
	}
	return sum
}

// maximise finds the largest value on [lo, hi]: a coarse grid picks the hill,
// golden sections climb it; the ends count.
func maximise(f func(float64) float64, lo, hi float64, grid int) (at, value float64) {
	value = math.Inf(-1)
	best := 0
	for i := 0; i <= grid; i++ {
		x := lo + (hi-lo)*float64(i)/float64(grid)
		if v := f(x); v > value {
			at, value, best = x, v, i
		}
	}
	a := lo + (hi-lo)*float64(max(best-1, 0))/float64(grid)
	b := lo + (hi-lo)*float64(min(best+1, grid))/float64(grid)
	ratio := (math.Sqrt(5) - 1) / 2
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for b-a > 1e-10 {
		if fc >= fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	if mid := (a + b) / 2; f(mid) > value {
		at, value = mid, f(mid)
	}
	return at, value
}

// profileInterval is the 95 % likelihood interval of a parameter in [0, top].
func profileInterval(profile func(float64) float64, best, ll, top float64) (low, high float64) {
	cut := distuv.ChiSquared{K: 1}.Quantile(0.95)
	inside := func(g float64) float64 { return cut - 2*(ll-profile(g)) }
	low, high = 0, top
	if inside(0) < 0 {
		low = bisectCoarse(func(g float64) float64 { return -inside(g) }, 0, best)
	}
	if inside(top) < 0 {
		high = bisectCoarse(inside, best, top)
	}
	return low, high
}

// bisectCoarse is bisect to 1e-7, for functions that cost a search each.
func bisectCoarse(f func(float64) float64, lo, hi float64) float64 {
	for hi-lo > 1e-7 {
		mid := (lo + hi) / 2
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

package tasting

import "math"

// DPrime inverts a psychometric function: the d′ at which the method gives
// pc. It is 0 at or below the guess probability and +Inf at 1.
//
// The slope of most methods vanishes at d′ = 0, so Newton's method is not
// used: the root is bracketed by doubling and bisected to the last bit.
func DPrime(m ForcedChoice, pc float64) float64 {
	switch {
	case math.IsNaN(pc):
		return math.NaN()
	case pc <= m.Guess().Float():
		return 0
	case pc >= 1:
		return math.Inf(1)
	}
	lo, hi := 0.0, 1.0
	for m.Correct(hi) < pc {
		lo, hi = hi, 2*hi
		if hi > 64 {
			return math.Inf(1)
		}
	}
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi || hi-lo < 1e-14 {
			return mid
		}
		if m.Correct(mid) < pc {
			lo = mid
		} else {
			hi = mid
		}
	}
}

// Discriminators turns a probability of a right answer into the share of
// discriminators pd = (pc−g)/(1−g), negative below the guess probability.
func Discriminators(g Ratio, pc float64) float64 {
	return (pc - g.Float()) / (1 - g.Float())
}

// DPrimeSE is the standard error of d′ by the delta method,
// √(pc(1−pc)/n) / slope(d′). It is NaN where the method fails: at d′ = 0 for
// methods whose slope vanishes there, and at pc = 1.
//
// References: Bi J., Ennis D.M., O'Mahony M., 1997, How to estimate and use
// the variance of d′ from difference tests, J. Sensory Studies 12:87-104.
func DPrimeSE(m ForcedChoice, n, correct int) float64 {
	pc := float64(correct) / float64(n)
	d := DPrime(m, pc)
	slope := m.Slope(d)
	if math.IsInf(d, 1) || d == 0 || slope < 1e-9 {
		return math.NaN()
	}
	return math.Sqrt(pc*(1-pc)/float64(n)) / slope
}

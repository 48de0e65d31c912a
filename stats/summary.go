package stats

import (
	"math"
	"slices"
)

// Mean is the two-pass mean: the first observation is taken off before
// summing, and the mean of what then remains is added back (Chan, Golub &
// LeVeque 1983, Am Stat 37:242). NaN for no values.
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return x[0] + meanFrom(x, x[0])
}

// meanFrom is the mean of x−origin, corrected by a second pass.
func meanFrom(x []float64, origin float64) float64 {
	n := float64(len(x))
	s := 0.0
	for _, v := range x {
		s += v - origin
	}
	m := s / n
	rest := 0.0
	for _, v := range x {
		rest += (v - origin) - m
	}
	return m + rest/n
}

// centred returns x minus its mean, formed from x minus its first value so
// that a large common offset costs no digits.
func centred(x []float64) []float64 {
	if len(x) == 0 {
		return nil
	}
	m := meanFrom(x, x[0])
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = (v - x[0]) - m
	}
	return out
}

// Variance is the sample variance with n−1, from centred values. NaN for
// fewer than two.
func Variance(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	c := centred(x)
	return dot(c, c) / float64(len(x)-1)
}

// SD is the sample standard deviation with n−1.
func SD(x []float64) float64 { return math.Sqrt(Variance(x)) }

// Autocorrelation is the lag-1 autocorrelation coefficient
// Σ(xᵢ−x̄)(xᵢ₊₁−x̄)/Σ(xᵢ−x̄)², large when the order of the runs matters.
func Autocorrelation(x []float64) float64 {
	c := centred(x)
	if len(c) < 2 {
		return math.NaN()
	}
	return dot(c[:len(c)-1], c[1:]) / dot(c, c)
}

// Median is the middle value, or the mean of the two middle ones. NaN for no
// values.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	h := len(s) / 2
	if len(s)%2 == 1 {
		return s[h]
	}
	return s[h-1] + (s[h]-s[h-1])/2
}

package heat

import (
	"fmt"
	"math"

	"trivet/fault"
)

// checker collects the first fault of a group of values.
type checker struct{ err error }

func (c *checker) fail(field, format string, args ...any) {
	if c.err == nil {
		c.err = fault.New("heat-value", format, args...).On(field, "")
	}
}

func (c *checker) between(field string, v, lo, hi float64) {
	if c.err == nil && !(v >= lo && v <= hi) {
		c.err = fault.New("heat-range", "%s must lie between %.4g and %.4g", field, lo, hi).
			On(field, fmt.Sprintf("%.6g", v))
	}
}

func (c *checker) atLeast(field string, v, lo float64) {
	if c.err == nil && !(v >= lo && v <= 1e9) {
		c.err = fault.New("heat-range", "%s must be at least %.4g", field, lo).
			On(field, fmt.Sprintf("%.6g", v))
	}
}

func (c *checker) above(field string, v, lo float64) {
	if c.err == nil && !(v > lo && v <= 1e9) {
		c.err = fault.New("heat-range", "%s must be more than %.4g", field, lo).
			On(field, fmt.Sprintf("%.6g", v))
	}
}

func (c *checker) optional(field string, v *float64, lo, hi float64) {
	if v != nil {
		c.between(field, *v, lo, hi)
	}
}

// temperature accepts what can touch food.
func (c *checker) temperature(field string, v float64) { c.between(field, v, -50, 1000) }

func (c *checker) series(field string, s *Series) {
	if s == nil || c.err != nil {
		return
	}
	if len(s.TimesS) == 0 || len(s.TimesS) != len(s.Values) {
		c.fail(field, "%s needs as many times as values, and at least one", field)
		return
	}
	for i, t := range s.TimesS {
		if math.IsNaN(t) || i > 0 && !(t > s.TimesS[i-1]) {
			c.fail(field, "%s: times must increase (entry %d)", field, i+1)
			return
		}
		c.temperature(field, s.Values[i])
	}
}

// at returns the value at t, linear between points, constant outside.
func (s *Series) at(t float64) float64 {
	n := len(s.TimesS)
	if t <= s.TimesS[0] {
		return s.Values[0]
	}
	if t >= s.TimesS[n-1] {
		return s.Values[n-1]
	}
	lo, hi := 0, n-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; s.TimesS[mid] <= t {
			lo = mid
		} else {
			hi = mid
		}
	}
	f := (t - s.TimesS[lo]) / (s.TimesS[hi] - s.TimesS[lo])
	return s.Values[lo] + f*(s.Values[hi]-s.Values[lo])
}

func orDefault[T int | float64](v, def T) T {
	if v == 0 {
		return def
	}
	return v
}

func optional(v *float64, def float64) float64 {
	if v == nil {
		return def
	}
	return *v
}

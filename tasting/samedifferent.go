package tasting

import "math"

// SameDifferent is the same-different test: are the two samples of a pair the
// same product or not?
type SameDifferent struct{}

var _ ResponseMethod = SameDifferent{}

// Describe implements Method.
func (SameDifferent) Describe() Description {
	return Description{
		Name: "same-different", Title: "same-different test", Standard: "ASTM E2139", Kind: KindResponse,
		Ask: "Are these two samples the same, or different?",
		MayClaim: []string{
			"that these assessors answered \"different\" more often to unlike pairs than to like ones",
		},
		Not: []string{
			"a share of discriminators: there is no guess probability, only the two rates",
			"anything from unlike pairs alone: people call like pairs different too",
		},
	}
}

// Block is AA BB AB BA.
func (SameDifferent) Block(products int) ([]Serving, error) {
	if err := twoProducts("a same-different test", products); err != nil {
		return nil, err
	}
	return servings("AA", "BB", "AB", "BA"), nil
}

// Rates are P("different" | unlike) = Φ((d−τ)/√2) + Φ((−d−τ)/√2) and
// P("different" | like) = 2Φ(−τ/√2) for a criterion τ ≥ 0.
//
// References: Macmillan N.A., Kaplan H.L., Creelman C.D., 1977, The
// psychophysics of categorical perception, Psychological Review 84:452-471.
func (SameDifferent) Rates(d, tau float64) (hit, falseAlarm float64) {
	tau = math.Max(0, tau)
	return normalCDF((d-tau)/math.Sqrt2) + normalCDF((-d-tau)/math.Sqrt2), 2 * normalCDF(-tau/math.Sqrt2)
}

// Fair is the τ with the largest difference of the two rates.
func (m SameDifferent) Fair(d float64) float64 {
	tau, _ := maximise(func(t float64) float64 { h, f := m.Rates(d, t); return h - f }, 0, d+4, 64)
	return tau
}

// fit solves both rates; d′ is 0 when unlike pairs were called different no
// more often than like ones.
func (m SameDifferent) fit(h, f float64) (d, tau float64) {
	tau = -math.Sqrt2 * normalQuantile(f/2)
	if h <= f {
		return 0, tau
	}
	return bisect(func(d float64) float64 { r, _ := m.Rates(d, tau); return h - r }, 0, 40), tau
}

func (SameDifferent) yesIs() string { return "different" }

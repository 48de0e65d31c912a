package stats

import (
	"math"
	"slices"

	"trivet/fault"
)

// LenthScreen judges the effects of an unreplicated two-level experiment,
// where nothing is left to measure the scatter with. It screens; it settles
// nothing.
type LenthScreen struct {
	PSE     float64 // pseudo standard error of an effect
	DF      float64 // m/3 for m effects
	Effects []float64
}

// Lenth computes s₀ = 1.5·median|c| and PSE = 1.5·median{|c| : |c| < 2.5 s₀}
// over the effects c (Lenth 1989, Technometrics 31:469).
func Lenth(effects []float64) (LenthScreen, error) {
	if len(effects) < 3 {
		return LenthScreen{}, fault.New("too-few-effects", "%d effects are too few to screen", len(effects)).WithFix("give at least three")
	}
	size := make([]float64, len(effects))
	for i, c := range effects {
		size[i] = math.Abs(c)
	}
	s0 := 1.5 * Median(size)
	var small []float64
	for _, c := range size {
		if c < 2.5*s0 {
			small = append(small, c)
		}
	}
	out := LenthScreen{PSE: 1.5 * Median(small), DF: float64(len(effects)) / 3, Effects: slices.Clone(effects)}
	if !(out.PSE > 0) {
		return out, fault.New("zero-variance", "more than half of the effects are exactly zero, so there is no scatter to screen against")
	}
	return out, nil
}

// MarginOfError is the size beyond which a single effect stands out at a
// confidence level.
func (l LenthScreen) MarginOfError(level float64) float64 {
	return tQuantile((1+level)/2, l.DF) * l.PSE
}

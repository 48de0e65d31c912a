// Package doneness turns a temperature history into what heat has done to a
// food: proteins set, colour gone, a crust browned.
//
// Start with [Meat] (or another [Model]) and a [State]: advance the state
// through the samples of a history, then ask for shares, words or a colour.
//
//	m := doneness.For(doneness.Beef)
//	var s doneness.State
//	m.Advance(&s, 20, 60, 600) // ten minutes from 20 to 60 °C
//	fmt.Println(m.Words(s))
//
// All reactions here are first order, dF/dt = k(T)(1 − F) with Arrhenius'
// k = k0 exp(−E/RT). A state therefore keeps the dose ∫k dt, which adds up
// over a history, and F = 1 − exp(−dose). Between two samples the
// temperature is taken as linear in time and the integral is exact.
//
// Nothing here says that a food is safe: see [ColourCaution].
package doneness

import "math"

const (
	gasConstant  = 8.31446261815324 // J/(mol·K), SI 2019
	zeroCelsiusK = 273.15
)

// Reaction is a first-order change with an Arrhenius rate.
type Reaction struct {
	RefC      float64 // reference temperature, °C
	RatePerS  float64 // rate at RefC, 1/s
	EaJPerMol float64 // activation energy, J/mol
	Source    string  // where the numbers come from, or that they were chosen
}

// fromFactor returns a reaction given by its frequency factor k0, 1/s, with
// the reference moved to refC so that rates are computed without overflow.
func fromFactor(k0PerS, eaJPerMol, refC float64, source string) Reaction {
	return Reaction{refC, k0PerS * math.Exp(-eaJPerMol/(gasConstant*(refC+zeroCelsiusK))), eaJPerMol, source}
}

// fromScan returns the reaction whose rate peaks at peakC in a calorimeter
// scanned at 10 K/min, for an assumed activation energy:
//
//	k(Tp) = β E/(R Tp²)
//
// Reference: H. E. Kissinger, Anal. Chem. 29 (1957) 1702.
func fromScan(peakC, eaJPerMol float64, source string) Reaction {
	const scanKPerS = 10.0 / 60
	tp := peakC + zeroCelsiusK
	return Reaction{peakC, scanKPerS * eaJPerMol / (gasConstant * tp * tp), eaJPerMol, source}
}

// Rate returns k at tC, 1/s.
func (r Reaction) Rate(tC float64) float64 {
	return r.RatePerS * math.Exp(-r.EaJPerMol/gasConstant*(1/(tC+zeroCelsiusK)-1/(r.RefC+zeroCelsiusK)))
}

// Dose returns ∫k dt over seconds in which the temperature goes linearly
// from t0C to t1C:
//
//	∫k dt = s/(T1−T0) · [T·E2(E/RT)] · k-scale
//
// since ∫exp(−a/T) dT = T·E2(a/T), E2 the exponential integral of order 2.
// Where the rate changes by less than a factor e^0.5 the three-point Gauss
// rule stands in; its relative error there is below 1e-8.
func (r Reaction) Dose(t0C, t1C, seconds float64) float64 {
	a := r.EaJPerMol / gasConstant
	u0, u1 := t0C+zeroCelsiusK, t1C+zeroCelsiusK
	if math.Abs(a*(1/u0-1/u1)) < 0.5 {
		const node = 0.3872983346207417 // √0.6 / 2
		mid, d := (t0C+t1C)/2, (t1C-t0C)*node
		return seconds / 18 * (5*(r.Rate(mid-d)+r.Rate(mid+d)) + 8*r.Rate(mid))
	}
	ref := a / (r.RefC + zeroCelsiusK)
	g := func(u float64) float64 { x := a / u; return u * math.Exp(ref-x) * scaledE2(x) }
	return r.RatePerS * seconds / (u1 - u0) * (g(u1) - g(u0))
}

// scaledE2 returns e^x E2(x) for x > 1 by the continued fraction
//
//	1/(x+2 − 2/(x+4 − 6/(x+6 − …)))
//
// Reference: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions
// (1964), 5.1.22, in its even form.
func scaledE2(x float64) float64 {
	const tiny = 1e-300
	b := x + 2
	c := 1 / tiny
	d := 1 / b
	h := d
	for i := 1; i <= 200; i++ {
		an := -float64(i) * float64(i+1)
		b += 2
		d = 1 / (an*d + b)
		c = b + an/c
		del := c * d
		h *= del
		if math.Abs(del-1) < 1e-15 {
			break
		}
	}
	return h
}

// TimeTo returns the seconds at a constant tC until the share (0–1) has
// reacted.
func (r Reaction) TimeTo(share, tC float64) float64 { return -math.Log1p(-share) / r.Rate(tC) }

// ZValueK returns the temperature rise in K that makes the reaction ten times
// faster at tC: ln 10 · R T²/E.
func (r Reaction) ZValueK(tC float64) float64 {
	t := tC + zeroCelsiusK
	return math.Ln10 * gasConstant * t * t / r.EaJPerMol
}

// Share returns the reacted share of a dose, 1 − exp(−dose).
func Share(dose float64) float64 { return -math.Expm1(-dose) }

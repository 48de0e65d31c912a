package heat

import (
	"math"

	"trivet/steam"
)

// The surface solve asks for the saturation pressure and latent heat some
// hundred thousand times a cook. Both are read from tables of the steam
// package at half-kelvin steps by parabolas (relative error below 1e-6).
const (
	vapourFromC = -20.0
	vapourStepC = 0.5
	vapourToC   = 160.0
	vapourN     = int((vapourToC-vapourFromC)/vapourStepC) + 1
)

var vapourTable = func() (t struct{ p, l [vapourN]float64 }) {
	for i := range t.p {
		c := vapourFromC + vapourStepC*float64(i)
		t.p[i] = steam.SaturationPressurePa(c)
		t.l[i] = steam.LatentHeatJPerKg(c)
	}
	return t
}()

// saturation returns p_s, Pa, and its slope, Pa/K; t is held within the table.
func saturation(tC float64) (p, slope float64) {
	x := (tC - vapourFromC) / vapourStepC
	if !(x > 1) {
		x = 1
	}
	if x > float64(vapourN-2) {
		x = float64(vapourN - 2)
	}
	i := int(x + 0.5)
	f := x - float64(i)
	a, b, c := vapourTable.p[i-1], vapourTable.p[i], vapourTable.p[i+1]
	d1, d2 := (c-a)/2, (a - 2*b + c)
	return b + f*(d1+f*d2/2), (d1 + f*d2) / vapourStepC
}

func saturationPa(tC float64) float64 { p, _ := saturation(tC); return p }

// latentHeat returns L, J/kg; nearly linear, so linear between table points.
func latentHeat(tC float64) float64 {
	x := (tC - vapourFromC) / vapourStepC
	if !(x > 0) {
		x = 0
	}
	if x > float64(vapourN-2) {
		x = float64(vapourN - 2)
	}
	i := int(x)
	return vapourTable.l[i] + (x-float64(i))*(vapourTable.l[i+1]-vapourTable.l[i])
}

// stefanKnee is the share of the pressure above which the Stefan logarithm
// goes on as its tangent.
const stefanKnee = 0.98

// stefanLog returns ℓ(x) = −ln(1−x) and its slope, continued as a straight
// line above stefanKnee. The mass flux between two vapour shares is
// proportional to ℓ(x_s) − ℓ(x_∞). Diffusion alone would let it grow without
// bound at boiling; the steep straight line hands the limit over to the
// surface energy balance without a corner.
func stefanLog(x float64) (l, slope float64) {
	if x < stefanKnee {
		return -math.Log1p(-x), 1 / (1 - x)
	}
	const s = 1 / (1 - stefanKnee)
	return math.Ln10*1.6989700043360187 + s*(x-stefanKnee), s // −ln 0.02 = ln 50
}

// waterActivity returns a_w for a water content X, kg/kg of dry solids:
// near 1 in moist food, falling as the surface dries,
//
//	a_w = (1 − exp(−12·X))/(1 − exp(−6)) below X = 0.5, else 1.
//
// The form follows common sorption curves of muscle; its constant is a guess
// without source.
func waterActivity(x float64) float64 {
	if x >= 0.5 {
		return 1
	}
	if x <= 0 {
		return 0
	}
	return -math.Expm1(-12*x) / -math.Expm1(-6.0)
}

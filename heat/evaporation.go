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

// latentSlope is dL/dT between 20 and 100 °C, J/(kg·K), for slopes only.
const latentSlope = -2460.0

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
		return -math.Log(1 - x), 1 / (1 - x)
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

// DefaultCrustVapourDiffusivity is the effective diffusivity of water vapour
// through dry crust, m²/s: a fifth of its diffusivity in air at 100 °C. It is
// set so that about a third of the evaporation is left under the 2 mm of crust
// of a sear, the wetness that met common-practice carryover; no published
// value.
const DefaultCrustVapourDiffusivity = 8e-6

// through is the drying front below a face element: where the evaporation
// that crosses the crust starts, and where the juice boils.
//
// Evaporation passes the crust and the outer film in series,
//
//	j = K·p·(ℓ(a_w·p_s(T_f)/p) − ℓ(p_v/p)),  1/K = 1/K_film + δ·R·T/(D_crust·M).
//
// The front lies between an inner node and, further out, a dry one, at
// resistances r_i and r_o. Without evaporation its temperature would be
// T* = (r_o·T_i + r_i·T_o)/(r_i + r_o); drawing the heat q there leaves
//
//	T_f = T* − q·r,  r = r_i·r_o/(r_i + r_o),
//
// and takes the share r_o/(r_i+r_o) of q from the inner node and the rest from
// the outer one, exactly as if the front had a node of its own. Where T_f
// would exceed the boiling point, it stays there and what is left of q boils
// juice. A front in the face's own cell has the face instead of an outer node.
type through struct {
	cell   int     // inner node
	outer  int     // outer node, −1 when the front lies in the face's own cell
	pins   bool    // the front can boil
	on     bool    // there is a front that does anything
	area   float64 // of the front
	inner  float64 // share of the heat the inner node gives
	r      float64 // r_i·r_o/(r_i + r_o), m²·K/W
	ri, rc float64 // own cell: from node to front, from front to surface
	k      float64 // share × K, kg/(m²·s·Pa); 0 when nothing evaporates this way
	aw     float64
	l0     float64 // ℓ(p_v/p)
	tempC  float64 // T_f
	q      float64 // heat drawn at the front, W/m²
	latent float64 // the part of q that evaporates, W/m²
	boil   float64 // the part of q that boils, W/m²
	slope  float64 // dq/dT*
	j      float64 // evaporation, kg/(m²·s)
	stageJ [3]float64
	stageB [3]float64 // boil

	near nearFront
}

// evaporation returns the latent heat flux and its slope at a front of tc.
func (f *through) evaporation(tc, pressurePa float64) (q, dq, j float64) {
	if f.k == 0 {
		return 0, 0, 0
	}
	ps, dps := saturation(tc)
	l, dl := stefanLog(f.aw * ps / pressurePa)
	j = f.k * pressurePa * (l - f.l0)
	if j <= 0 {
		return 0, 0, 0
	}
	heat := latentHeat(tc)
	return heat * j, heat*f.k*dl*f.aw*dps + latentSlope*j, j
}

// flow solves the front for the free temperature T*.
func (f *through) flow(free, boilC, pressurePa float64) {
	f.boil = 0
	if f.pins && free > boilC {
		// Even evaporating it may be above boiling: try there first.
		q, _, j := f.evaporation(boilC, pressurePa)
		if all := (free - boilC) / f.r; all > q {
			f.tempC, f.q, f.slope = boilC, all, 1/f.r
			f.latent, f.j, f.boil = q, j, all-q
			return
		}
	}
	if f.k == 0 {
		f.tempC, f.q, f.latent, f.slope, f.j = free, 0, 0, 0, 0
		return
	}
	// g(T) = T − T* + r·q(T) rises with T.
	tc := math.Min(f.tempC, free)
	lo, hi := math.Inf(-1), free
	var q, dq, j float64
	for range 40 {
		q, dq, j = f.evaporation(tc, pressurePa)
		g := tc - free + f.r*q
		if g > 0 {
			hi = tc
		} else {
			lo = tc
		}
		step := g / (1 + f.r*dq)
		if step < 1e-5 && step > -1e-5 {
			break
		}
		tc -= step
		if !(tc > lo && tc <= hi) {
			tc = (math.Max(lo, hi-50) + hi) / 2
		}
	}
	f.tempC, f.q, f.latent, f.j = tc, q, q, j
	f.slope = dq / (1 + f.r*dq)
}

// nearFront is the higher order near a front: the flux from a boiling front
// into its cell from the parabola through T_b and the means of two cells, and
// the first fluxes between the cells from the cubic through four means. All
// are corrections to the plain differences.
type nearFront struct {
	on    bool
	cell  [4]int // the moist cells from the front inwards
	edges int    // 1, or 2 when setSmooth leaves the second out
	edge  [2][4]float64
	link  [2]int // conductances of these edges
	wall  [3]float64
	ri    float64 // from the front to the first node, m²·K/W
	flux  float64 // correction to the flux into the first cell, W/m²

	forCell int // what the weights were computed for
	forRest float64
}

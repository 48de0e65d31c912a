package steam

import "math"

// Film properties of air. A film is taken at the mean of the surface and air
// temperatures, −40…400 °C.

func filmK(tC float64) float64 { return clamp(tC, lowestC, 400) + ZeroCelsiusK }

// DiffusivityM2PerS returns the diffusivity of water vapour in air, m²/s:
// 2.11e-5 (T/273.15)^1.94 (101325/p).
//
// Reference: H. R. Pruppacher and J. D. Klett, Microphysics of Clouds and
// Precipitation (1997), eq. 13-3; the equation is cited from memory and its
// range there ends at 40 °C.
func DiffusivityM2PerS(tC, pPa float64) float64 {
	return 2.11e-5 * math.Pow(filmK(tC)/ZeroCelsiusK, 1.94) * StandardPressurePa / pPa
}

// AirDensityKgPerM3 returns the density of dry air as an ideal gas.
func AirDensityKgPerM3(tC, pPa float64) float64 {
	return pPa * DryAirMolarMass / (GasConstant * filmK(tC))
}

// AirConductivityWPerMK returns the thermal conductivity of air by
// Sutherland's law, k = 0.0241 (T/273)^1.5 (273+194)/(T+194).
//
// Reference: F. M. White, Viscous Fluid Flow (1991), table 1-3.
func AirConductivityWPerMK(tC float64) float64 {
	t := filmK(tC)
	r := t / 273
	return 0.0241 * r * math.Sqrt(r) * (273 + 194) / (t + 194)
}

// AirHeatCapacityJPerKgK returns the specific heat of dry air at constant
// pressure: a line through 1007 J/(kg·K) at 300 K and 1030 at 500 K, flat
// below 300 K.
//
// Reference: F. P. Incropera and D. P. DeWitt, Fundamentals of Heat and Mass
// Transfer, table A.4.
func AirHeatCapacityJPerKgK(tC float64) float64 {
	t := filmK(tC)
	if t < 300 {
		return 1007
	}
	return 1007 + 0.115*(t-300)
}

// LewisNumber returns the ratio of the thermal diffusivity of air to the
// diffusivity of vapour in it; the pressure cancels.
func LewisNumber(tC float64) float64 {
	const p = StandardPressurePa
	return AirConductivityWPerMK(tC) / (AirDensityKgPerM3(tC, p) * AirHeatCapacityJPerKgK(tC) * DiffusivityM2PerS(tC, p))
}

// MassPerHeatCoefficient returns hm/h, in (m/s)/(W/(m²·K)): the mass-transfer
// coefficient that goes with each unit of convective heat-transfer
// coefficient, by the Chilton–Colburn analogy
//
//	hm/h = 1/(ρ c Le^(2/3))
//
// at the film temperature tC and pressure pPa. Radiation is no part of h.
//
// Reference: T. H. Chilton and A. P. Colburn, Ind. Eng. Chem. 26 (1934) 1183.
func MassPerHeatCoefficient(tC, pPa float64) float64 {
	le := LewisNumber(tC)
	c := math.Cbrt(le)
	return 1 / (AirDensityKgPerM3(tC, pPa) * AirHeatCapacityJPerKgK(tC) * c * c)
}

// StefanFactor returns B ≥ 1, by which the vapour's own outward flow raises
// evaporation above plain diffusion:
//
//	B = (p/Δ) ln((p − p∞)/(p − ps)), Δ = ps − p∞
//
// for vapour pressures ps at the surface and p∞ in the air under p. It grows
// without bound as ps nears p; from 0.999 p on it is held, and the caller
// must let the energy limit the flow (boiling).
func StefanFactor(surfacePa, airPa, pPa float64) float64 {
	ps := math.Min(surfacePa, 0.999*pPa)
	pa := math.Min(airPa, 0.999*pPa)
	d := ps - pa
	if math.Abs(d) < 1e-6*pPa {
		return pPa / (pPa - pa) // the limit as Δ → 0
	}
	return pPa / d * math.Log((pPa-pa)/(pPa-ps))
}

// EvaporationKgPerM2S returns the vapour leaving a surface at surfaceC, per
// m² and second, into air at airC with vapour at airPa under pPa, with the
// convective coefficient h in W/(m²·K) and the water activity aw (0–1):
//
//	j = hm M/(R Tf) (aw ps − p∞) B
//
// It is negative where vapour condenses. Near boiling see [StefanFactor].
func EvaporationKgPerM2S(surfaceC, airC, aw, airPa, h, pPa float64) float64 {
	film := (surfaceC + airC) / 2
	ps := math.Min(aw*SaturationPressurePa(surfaceC), pPa)
	hm := h * MassPerHeatCoefficient(film, pPa)
	return hm * WaterMolarMass / (GasConstant * filmK(film)) * (ps - airPa) * StefanFactor(ps, airPa, pPa)
}

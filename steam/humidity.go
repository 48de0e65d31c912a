package steam

import "math"

// molarRatio is the ratio of the molar masses of water and dry air, as
// psychrometric tables use it (ASHRAE Handbook—Fundamentals).
const molarRatio = 0.621945

// VapourPressurePa returns the partial pressure of water vapour in Pa of air
// at tC with relative humidity rh, a share 0–1.
func VapourPressurePa(tC, rh float64) float64 {
	return clamp(rh, 0, 1) * SaturationPressurePa(tC)
}

// HumidityRatio returns kg of vapour per kg of dry air at a vapour pressure
// under the total pressure: W = 0.621945 pv/(p − pv). It is +Inf where the
// vapour alone makes the pressure.
func HumidityRatio(vapourPa, pPa float64) float64 {
	if vapourPa >= pPa {
		return math.Inf(1)
	}
	return molarRatio * math.Max(vapourPa, 0) / (pPa - math.Max(vapourPa, 0))
}

// WetBulbC returns the thermodynamic wet-bulb temperature in °C of air at
// tC with relative humidity rh (0–1) under pPa.
func WetBulbC(tC, rh, pPa float64) float64 {
	return WetBulbOfVapourC(tC, VapourPressurePa(tC, rh), pPa)
}

// WetBulbOfVapourC returns the wet bulb in °C of air at tC that holds vapour
// at vapourPa under the total pressure pPa, the usual way to state an oven's
// air. It solves the adiabatic saturation balance
//
//	W = ((2501 − 2.326 t*) Ws(t*) − 1.006 (t − t*))/(2501 + 1.86 t − 4.186 t*)
//
// for t*, in °C and kJ/kg.
//
// Reference: ASHRAE Handbook—Fundamentals, ch. "Psychrometrics", eq. for
// thermodynamic wet-bulb temperature above freezing.
func WetBulbOfVapourC(tC, vapourPa, pPa float64) float64 {
	if math.IsNaN(tC + vapourPa + pPa) {
		return math.NaN()
	}
	boiling := SaturationTemperatureC(pPa)
	if vapourPa >= pPa {
		return math.Min(tC, boiling)
	}
	w := HumidityRatio(vapourPa, pPa)
	excess := func(wet float64) float64 { // rises with wet
		ws := HumidityRatio(SaturationPressurePa(wet), pPa)
		return ((2501-2.326*wet)*ws - 1.006*(tC-wet)) - w*(2501+1.86*tC-4.186*wet)
	}
	lo, hi := lowestC, math.Min(tC, boiling-1e-6)
	if hi <= lo || excess(hi) < 0 {
		return hi // saturated air, or colder than this line goes
	}
	for range 80 {
		mid := (lo + hi) / 2
		if excess(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// VapourDensityKgPerM3 returns the density of water vapour at a partial
// pressure and temperature, as an ideal gas: ρ = p M/(R T).
func VapourDensityKgPerM3(vapourPa, tC float64) float64 {
	return vapourPa * WaterMolarMass / (GasConstant * (tC + ZeroCelsiusK))
}

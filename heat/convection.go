package heat

import (
	"math"

	"trivet/steam"
)

const (
	stefanBoltzmann = 5.670374419e-8 // W/(m²·K⁴), CODATA 2018, exact in the SI
	zeroC           = steam.ZeroCelsiusK
	gravity         = 9.80665 // m/s², standard
)

// air holds film properties of dry air for the convection correlations.
type air struct {
	tempC        float64
	conductivity float64 // W/(m·K)
	viscosity    float64 // kinematic, m²/s
	diffusivity  float64 // thermal, m²/s
}

func (a air) prandtl() float64 { return a.viscosity / a.diffusivity }

// airAt returns air at a film temperature. Viscosity by Sutherland's law,
// μ = 1.716e-5·(T/273)^1.5·(273+111)/(T+111).
//
// Reference: F. M. White, Viscous Fluid Flow (1991), table 1-2.
func airAt(tC, pressurePa float64) air {
	t := tC + zeroC
	rho := steam.AirDensityKgPerM3(tC, pressurePa)
	k := steam.AirConductivityWPerMK(tC)
	r := t / 273
	mu := 1.716e-5 * r * math.Sqrt(r) * (273 + 111) / (t + 111)
	return air{tC, k, mu / rho, k / (rho * steam.AirHeatCapacityJPerKgK(tC))}
}

func pow4(x float64) float64 { x *= x; return x * x }

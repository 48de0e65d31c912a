package heat

import (
	"fmt"
	"math"
)

// Defaults of an air face.
const (
	// DefaultEmissivity of moist food (0.9 is used for it throughout the
	// oven-cooking literature).
	DefaultEmissivity = 0.9
	// DefaultHumidity is the relative humidity of kitchen air.
	DefaultHumidity = 0.5
	// DefaultOvenVapourPa is the vapour pressure in a vented electric oven,
	// taken for air above 60 °C when no humidity is given. Gas, a full load or
	// steam raise it above 10 kPa.
	DefaultOvenVapourPa = 1500.0
)

// Air is natural or fan-driven air with radiation and evaporation,
//
//	q = h·(T_air − T_s) + ε·σ·(T_rad⁴ − T_s⁴) − L·j,
//	j = K·h·p·ln((p − p_v)/(p − a_w·p_s(T_s))),
//
// K·h the mass-transfer coefficient by the Chilton–Colburn analogy,
// h/(ρ·c·Le^⅔)·M/(R·T_film); the logarithm is Stefan flow. Near boiling the
// logarithm goes on straight (see evaporation.go), so that the surface energy
// balance and not the diffusion limits the flux.
type Air struct {
	TempC float64
	Trace *Series // measured air temperature instead of TempC
	// H is the convection coefficient, W/(m²·K). nil takes FanMS by the
	// laminar flat-plate correlation or, without a fan, natural convection by
	// the horizontal- and vertical-plate correlations.
	H          *float64
	FanMS      float64  // air speed, m/s
	Humidity   *float64 // relative, 0–1, of the air; above boiling the share of steam in it
	VapourPa   *float64 // vapour pressure instead of Humidity
	Emissivity *float64 // nil is DefaultEmissivity
	WallC      *float64 // temperature of what the face sees; nil is the air's
	ViewFactor float64  // share of the view that is WallC, the rest being at air temperature; 0 is 1
	Wetness    *float64 // share of the face that can evaporate, 0–1; nil is 1
}

// Describe names the face.
func (f Air) Describe() string {
	if f.Trace != nil {
		return "air by its trace"
	}
	return fmt.Sprintf("air %.4g °C", f.TempC)
}

func (f Air) check() error {
	c := checker{}
	c.temperature("air", f.TempC)
	c.series("air trace", f.Trace)
	c.optional("h", f.H, 0, 1e5)
	c.atLeast("fan", f.FanMS, 0)
	c.optional("humidity", f.Humidity, 0, 1)
	c.optional("vapour pressure", f.VapourPa, 0, 2e5)
	c.optional("emissivity", f.Emissivity, 0, 1)
	c.optional("walls", f.WallC, -50, 1500)
	c.optional("wetness", f.Wetness, 0, 1)
	c.between("view factor", f.ViewFactor, 0, 1)
	return c.err
}

func (f Air) compile(env *environment) boundary {
	b := boundary{convC: f.TempC, airTrace: f.Trace}
	airC := f.TempC
	if f.Trace != nil {
		airC = f.Trace.at(0)
	}
	refH := 0.0
	switch {
	case f.H != nil:
		b.convH = *f.H
		refH = b.convH
	case f.FanMS > 0:
		b.convH = fanConvection(f.FanMS, env.lengthM, airC, env.pressurePa)
		refH = b.convH
	default:
		b.naturalC = naturalConvection(env.position, env.lengthM, airC, env.pressurePa)
		// Mass transfer follows the same film; its coefficient is taken at a
		// difference typical of a cook, so that it does not vanish with it.
		refH = b.naturalC * math.Sqrt(math.Sqrt(math.Max(math.Abs(airC-60), 5)))
	}
	eps := optional(f.Emissivity, DefaultEmissivity)
	wall := optional(f.WallC, airC)
	view := orDefault(f.ViewFactor, 1)
	b.radK = eps * stefanBoltzmann
	b.radT4 = view*pow4(wall+zeroC) + (1-view)*pow4(airC+zeroC)
	b.radFollowsAir = f.WallC == nil
	b.vapourPa = f.vapourPressure(airC, env.pressurePa)
	b.vapourL, _ = stefanLog(b.vapourPa / env.pressurePa)
	b.evapH = refH * optional(f.Wetness, 1)
	b.setFilm(airC, env.pressurePa)
	return b
}

// vapourPressure returns the vapour pressure of the air, Pa.
func (f Air) vapourPressure(airC, pressurePa float64) float64 {
	switch {
	case f.VapourPa != nil:
		return math.Min(*f.VapourPa, pressurePa)
	case f.Humidity != nil:
		return *f.Humidity * math.Min(saturationPa(airC), pressurePa)
	case airC > 60:
		return DefaultOvenVapourPa
	}
	return DefaultHumidity * saturationPa(airC)
}

// fanConvection returns the mean coefficient over a plate of length L in a
// laminar stream, Nu = 0.664·Re^½·Pr^⅓ with film properties at the mean of
// the air and a 60 °C surface.
//
// References: F. P. Incropera & D. P. DeWitt, Fundamentals of Heat and Mass
// Transfer, flat plate in parallel flow.
func fanConvection(speed, length, airC, pressurePa float64) float64 {
	a := airAt((airC+60)/2, pressurePa)
	re := speed * length / a.viscosity
	return 0.664 * math.Sqrt(re) * math.Cbrt(a.prandtl()) * a.conductivity / length
}

// naturalConvection returns C in h = C·|T_air − T_s|^¼ for a face of length L:
// Nu = 0.54·Ra^¼ where warm air rises freely off or falls freely onto the
// face, 0.27·Ra^¼ where it is held, and 0.59·Ra^¼ for an upright rim. Which
// of the first two applies is judged for a 60 °C surface.
//
// References: F. P. Incropera & D. P. DeWitt, Fundamentals of Heat and Mass
// Transfer, horizontal and vertical plates (0.59: the laminar vertical-plate
// form).
func naturalConvection(at position, length, airC, pressurePa float64) float64 {
	const surface = 60.0
	a := airAt((airC+surface)/2, pressurePa)
	factor := 0.59
	switch at {
	case top:
		factor = 0.54
		if airC > surface { // cold face looking up
			factor = 0.27
		}
	case bottom:
		factor = 0.27
		if airC > surface { // cold face looking down
			factor = 0.54
		}
	}
	ra := gravity / (a.tempC + zeroC) * length * length * length / (a.viscosity * a.diffusivity)
	return factor * math.Sqrt(math.Sqrt(ra)) * a.conductivity / length
}

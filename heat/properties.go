package heat

import (
	"math"

	"trivet/fault"
)

// Composition holds mass shares (any common scale; they are normalised).
// Carbohydrate is WITHOUT fibre: food tables print "carbohydrate by
// difference", which includes it, so subtract.
type Composition struct {
	Water, Protein, Fat, Carbohydrate, Fibre, Ash float64
}

// Mixing is a rule for the conductivity of a mixture.
type Mixing string

// Mixing rules. Every isotropic rule lies between Perpendicular and Parallel.
const (
	// MaxwellEucken is the generalised Maxwell–Eucken model with water as the
	// continuous phase, k = Σφ·k_i·w_i/Σφ·w_i, w_i = 3k_c/(2k_c+k_i). Default:
	// Levy's form of it did best for foods in Fricke & Becker 2001 (HVAC&R
	// Research 7(4):311–330).
	MaxwellEucken Mixing = "maxwell-eucken"
	Parallel      Mixing = "parallel"      // Σφ·k_i
	Perpendicular Mixing = "perpendicular" // 1/Σ(φ/k_i)
	// EffectiveMedium solves Σφ·(k_i−k)/(k_i+2k) = 0.
	EffectiveMedium Mixing = "effective-medium"
)

const nComponents = 6 // water, protein, fat, carbohydrate, fibre, ash

// componentFit holds one component's property polynomials in °C.
type componentFit struct{ k, rho, cp [3]float64 }

// choiOkos are the fits of Choi & Okos 1986 as printed in ASHRAE
// Handbook—Refrigeration 2006, ch. 9, tables 1–2 (−40…150 °C; water above
// 0 °C). They are not reference-grade water: cp(20 °C) is 1.3 % low.
var choiOkos = [nComponents]componentFit{
	{[3]float64{5.7109e-1, 1.7625e-3, -6.7036e-6}, [3]float64{9.9718e2, 3.1439e-3, -3.7574e-3}, [3]float64{4128.9, -9.0864e-2, 5.4731e-3}},
	{[3]float64{1.7881e-1, 1.1958e-3, -2.7178e-6}, [3]float64{1.3299e3, -5.1840e-1, 0}, [3]float64{2008.2, 1.2089, -1.3129e-3}},
	{[3]float64{1.8071e-1, -2.7604e-4, -1.7749e-7}, [3]float64{9.2559e2, -4.1757e-1, 0}, [3]float64{1984.2, 1.4733, -4.8008e-3}},
	{[3]float64{2.0141e-1, 1.3874e-3, -4.3312e-6}, [3]float64{1.5991e3, -3.1046e-1, 0}, [3]float64{1548.8, 1.9625, -5.9399e-3}},
	{[3]float64{1.8331e-1, 1.2497e-3, -3.1683e-6}, [3]float64{1.3115e3, -3.6589e-1, 0}, [3]float64{1845.9, 1.8306, -4.6509e-3}},
	{[3]float64{3.2962e-1, 1.4011e-3, -2.9069e-6}, [3]float64{2.4238e3, -2.8063e-1, 0}, [3]float64{1092.6, 1.8896, -3.6817e-3}},
}

func parabola(c [3]float64, t float64) float64 { return c[0] + t*(c[1]+t*c[2]) }

// fitC holds a temperature within the range of the fits.
func fitC(t float64) float64 { return math.Max(-40, math.Min(150, t)) }

func (c Composition) array() [nComponents]float64 {
	return [nComponents]float64{c.Water, c.Protein, c.Fat, c.Carbohydrate, c.Fibre, c.Ash}
}

// Check returns what is wrong with the shares, or nil.
func (c Composition) Check() error {
	sum := 0.0
	for i, v := range c.array() {
		if !(v >= 0 && v <= 1e6) {
			return fault.New("heat-composition", "the share of %s must be 0 or more", componentNames[i]).On("composition", "")
		}
		sum += v
	}
	if sum <= 0 {
		return fault.New("heat-composition", "the composition is empty").
			WithFix("give at least water and protein, in g per 100 g")
	}
	return nil
}

var componentNames = [nComponents]string{"water", "protein", "fat", "carbohydrate", "fibre", "ash"}

// shares returns the mass shares scaled to sum 1.
func (c Composition) shares() [nComponents]float64 {
	x := c.array()
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	for i := range x {
		x[i] /= sum
	}
	return x
}

// WaterShare returns the mass share of water.
func (c Composition) WaterShare() float64 { return c.shares()[0] }

// Density returns ρ = 1/Σ(x_i/ρ_i), kg/m³, of the pore-free food at tC.
func (c Composition) Density(tC float64) float64 {
	v := 0.0
	t := fitC(tC)
	for i, x := range c.shares() {
		v += x / parabola(choiOkos[i].rho, t)
	}
	return 1 / v
}

// SpecificHeat returns c = Σx_i·c_i, J/(kg·K), of the unfrozen food at tC.
func (c Composition) SpecificHeat(tC float64) float64 {
	cp := 0.0
	t := fitC(tC)
	for i, x := range c.shares() {
		cp += x * parabola(choiOkos[i].cp, t)
	}
	return cp
}

// Conductivity returns k, W/(m·K), at tC by a mixing rule ("" is
// MaxwellEucken).
func (c Composition) Conductivity(tC float64, rule Mixing) float64 {
	x := c.shares()
	return conductivity(&x, tC, rule)
}

func conductivity(x *[nComponents]float64, tC float64, rule Mixing) float64 {
	t := fitC(tC)
	var phi, k [nComponents]float64
	v := 0.0
	for i := range x {
		phi[i] = x[i] / parabola(choiOkos[i].rho, t)
		k[i] = parabola(choiOkos[i].k, t)
		v += phi[i]
	}
	for i := range phi {
		phi[i] /= v
	}
	switch rule {
	case Parallel:
		sum := 0.0
		for i := range phi {
			sum += phi[i] * k[i]
		}
		return sum
	case Perpendicular:
		sum := 0.0
		for i := range phi {
			sum += phi[i] / k[i]
		}
		return 1 / sum
	case EffectiveMedium:
		return effectiveMedium(&phi, &k)
	}
	num, den := 0.0, 0.0
	for i := range phi {
		w := phi[i] * 3 * k[0] / (2*k[0] + k[i])
		num += w * k[i]
		den += w
	}
	return num / den
}

// effectiveMedium solves Σφ·(k_i−k)/(k_i+2k) = 0 by Newton's method; the sum
// falls with k, so the root is single.
func effectiveMedium(phi, k *[nComponents]float64) float64 {
	x := 0.0
	for i := range phi {
		x += phi[i] * k[i]
	}
	for range 50 {
		f, d := 0.0, 0.0
		for i := range phi {
			s := k[i] + 2*x
			f += phi[i] * (k[i] - x) / s
			d -= phi[i] * 3 * k[i] / (s * s)
		}
		step := f / d
		x -= step
		if math.Abs(step) < 1e-14*x {
			break
		}
	}
	return x
}

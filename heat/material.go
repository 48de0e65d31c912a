package heat

import (
	"fmt"

	"trivet/fault"
)

// material is a piece's food, ready for the solver.
type material struct {
	rho    float64 // raw density at the start temperature, kg/m³
	water  float64 // raw mass share of water
	solids float64 // 1 − water
	x0     float64 // raw water per dry solids

	// Specific enthalpies above 0 °C, J/kg, of water and of dry solids:
	// h(T) = h[0]·T + h[1]·T² + h[2]·T³.
	hWater, hSolids [3]float64

	// kFit[j] is the parabola in T of the conductivity at j/kSteps of the raw
	// water. kConst, when not 0, replaces it.
	kFit   [kSteps + 1][3]float64
	kConst float64

	kCrust  float64
	cpCrust float64 // of dry crust per kg of solids; 0 takes the solids'

	class FoodClass

	key materialKey // what kFit was computed for
}

const kSteps = 16

type materialKey struct {
	shares [nComponents]float64
	mixing Mixing
}

// compile fills m from a piece whose values were checked. withWater says
// whether a water share is needed.
func (m *material) compile(p *Piece, withWater bool) error {
	comp, class, err := p.composition()
	if err != nil {
		return err
	}
	m.class = class
	mat := p.Material
	m.kConst = mat.Conductivity
	m.kCrust = orDefault(mat.CrustConductivity, DefaultCrustConductivity)
	m.cpCrust = mat.CrustSpecificHeat
	if comp != nil {
		m.fromComposition(comp, p)
	} else {
		if mat.Conductivity == 0 || mat.Density == 0 || mat.SpecificHeat == 0 {
			return fault.New("heat-material", "conductivity, density and specific heat are all needed without a food or composition").
				On("piece", "").WithFix("give the three, or a food")
		}
		if withWater && mat.Water == 0 {
			return fault.New("heat-material", "moisture is on but the material has no water").
				On("piece.material", "").WithFix("give its share of water, a food or a composition, or turn moisture off")
		}
		m.rho, m.water = mat.Density, mat.Water
	}
	if mat.Density != 0 {
		m.rho = mat.Density
	}
	if mat.SpecificHeat != 0 {
		m.hWater = [3]float64{mat.SpecificHeat}
		m.hSolids = m.hWater
	}
	m.solids = 1 - m.water
	m.x0 = m.water / m.solids
	return nil
}

func (m *material) fromComposition(comp *Composition, p *Piece) {
	x := comp.shares()
	m.rho = comp.Density(p.StartC)
	m.water = x[0]
	m.hWater = integral(choiOkos[0].cp)
	m.hSolids = [3]float64{}
	for i := 1; i < nComponents; i++ {
		h := integral(choiOkos[i].cp)
		for j := range h {
			m.hSolids[j] += x[i] / (1 - x[0]) * h[j]
		}
	}
	key := materialKey{x, p.Mixing}
	if key == m.key {
		return
	}
	m.key = key
	for j := range m.kFit {
		y := x
		y[0] = x[0] * float64(j) / kSteps
		k0, k1, k2 := conductivity(&y, 5, p.Mixing), conductivity(&y, 60, p.Mixing), conductivity(&y, 115, p.Mixing)
		m.kFit[j] = throughThree(5, 60, 115, k0, k1, k2)
	}
}

// k returns the conductivity of moist food at tC with the share r of its raw
// water, W/(m·K).
func (m *material) k(tC, r float64) float64 {
	if m.kConst != 0 {
		return m.kConst
	}
	if tC > 150 {
		tC = 150
	}
	s := r * kSteps
	j := int(s)
	if j >= kSteps {
		j = kSteps - 1
	}
	if j < 0 {
		j = 0
	}
	f := s - float64(j)
	if f > 1 {
		f = 1
	}
	a, b := &m.kFit[j], &m.kFit[j+1]
	ka := a[0] + tC*(a[1]+tC*a[2])
	kb := b[0] + tC*(b[1]+tC*b[2])
	return ka + f*(kb-ka)
}

// diffusivity returns α of the raw food at 20 °C, m²/s.
func (m *material) diffusivity() float64 {
	c := 0.0
	for j, t := 0, 1.0; j < 3; j, t = j+1, t*20 {
		c += float64(j+1) * t * (m.water*m.hWater[j] + m.solids*m.hSolids[j])
	}
	return m.k(20, 1) / (m.rho * c)
}

// integral turns c(T) into h(T) = ∫c dT.
func integral(c [3]float64) [3]float64 { return [3]float64{c[0], c[1] / 2, c[2] / 3} }

// throughThree returns the parabola a + bT + cT² through three points.
func throughThree(x0, x1, x2, y0, y1, y2 float64) [3]float64 {
	d1 := (y1 - y0) / (x1 - x0)
	d2 := ((y2-y1)/(x2-x1) - d1) / (x2 - x0)
	return [3]float64{y0 - d1*x0 + d2*x0*x1, d1 - d2*(x0+x1), d2}
}

// composition returns the composition of the piece, nil when it is told by
// its material alone.
func (p *Piece) composition() (*Composition, FoodClass, error) {
	switch {
	case p.Food != "" && p.Composition != nil:
		return nil, "", fault.New("heat-piece", "the piece has both a food and a composition").
			On("piece", p.Food).WithFix("keep one")
	case p.Food != "":
		f, err := FindFood(p.Food)
		if err != nil {
			return nil, "", err
		}
		return &f.Composition, f.Class, nil
	case p.Composition != nil:
		if err := p.Composition.Check(); err != nil {
			return nil, "", err
		}
		return p.Composition, Meat, nil
	}
	return nil, Meat, nil
}

func (p *Piece) check() error {
	c := checker{}
	switch p.Shape {
	case Slab:
	case Disc:
		c.between("diameter", p.DiameterM, 0.002, 2)
	default:
		return fault.New("heat-shape", "the shape is neither slab nor disc").On("shape", string(p.Shape))
	}
	c.between("thickness", p.ThicknessM, 0.0005, 1)
	if c.err != nil {
		return c.err
	}
	switch p.Mixing {
	case "", MaxwellEucken, Parallel, Perpendicular, EffectiveMedium:
	default:
		return fault.New("heat-mixing", "unknown mixing rule").On("mixing", string(p.Mixing)).
			WithFix("use %s, %s, %s or %s", MaxwellEucken, Parallel, Perpendicular, EffectiveMedium)
	}
	lowest := p.StartC
	for i, q := range p.StartProfile {
		if i > 0 && !(q.DepthM > p.StartProfile[i-1].DepthM) {
			c.fail("start profile", "depths of the start profile must increase (point %d)", i+1)
		}
		c.between("start profile depth", q.DepthM, 0, p.ThicknessM)
		c.between("start profile", q.TempC, -60, 150)
		if i == 0 || q.TempC < lowest {
			lowest = q.TempC
		}
	}
	c.between("start", p.StartC, -60, 150)
	if c.err != nil {
		return c.err
	}
	if lowest < FreezingC {
		return fault.New("heat-frozen", "a frozen start cannot be simulated: ice and its melting are not part of the model").
			On("start", fmt.Sprintf("%.4g °C", lowest)).WithFix("start at %.3g °C or warmer, thawed through", FreezingC)
	}
	m := p.Material
	c.between("conductivity", m.Conductivity, 0, 500)
	c.between("density", m.Density, 0, 20000)
	c.between("specific heat", m.SpecificHeat, 0, 20000)
	c.between("water", m.Water, 0, 0.999)
	c.between("crust conductivity", m.CrustConductivity, 0, 500)
	c.between("crust specific heat", m.CrustSpecificHeat, 0, 20000)
	return c.err
}

// FreezingC is the temperature below which food counts as frozen, °C: about
// the initial freezing point of meat.
const FreezingC = -1.0

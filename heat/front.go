package heat

import "math"

// Cells and the boiling front inside them.
//
// A cell holds dry solids m_s, water w and enthalpy E. Its temperature
// follows from its enthalpy with three branches:
//
//	E ≤ E_b:        m_s·h_s(T) + w·h_w(T) = E                      moist
//	E_b < E < E_d:  T = T_b                                        boiling
//	E ≥ E_d:        T = T_b + (E − E_d)/C_d                        dry
//
// E_b = E(T_b), E_d = E_b + L·(w − w_b), w_b the bound water. During a step
// water that boils stays in E; at the step's end it leaves with h_w(T_b) + L
// per kg and the dried share of the cell grows (commit).
//
// The dried share f of a cell is a layer on its outer side; the cell's
// temperature belongs to the middle of the moist rest. Juice boils at the
// front itself, held at T_b between the crust and that node (see through), so
// the front moves through a cell instead of jumping from one to the next and
// needs no cell to be at T_b as a whole. The plateau is left for cells that
// boil throughout.

// cells is the state of the piece.
type cells struct {
	e, t  []float64 // enthalpy J, temperature °C
	w     []float64 // water, kg
	dry   []float64 // dried share f
	ts    []float64 // face temperatures, by face element
	boils []bool    // on the plateau at the last step's end
	plate float64   // lumped pan, °C
}

func (c *cells) resize(n, faces int) {
	c.e, c.t, c.w, c.dry = grow(c.e, n), grow(c.t, n), grow(c.w, n), grow(c.dry, n)
	c.ts = grow(c.ts, faces)
	c.boils = grow(c.boils, n)
}

func (c *cells) copyFrom(o *cells) {
	copy(c.e, o.e)
	copy(c.t, o.t)
	copy(c.w, o.w)
	copy(c.dry, o.dry)
	copy(c.ts, o.ts)
	copy(c.boils, o.boils)
	c.plate = o.plate
}

// curve is the enthalpy curve of one cell at its present water.
type curve struct {
	a1, a2, a3 float64 // E(T) = a1·T + a2·T² + a3·T³, J
	eBoil      float64 // at the boiling point; with moisture off, at the end of the fits
	eDry       float64
	cDry       float64 // J/K above that
}

// setCurve refreshes the curve of cell i.
func (s *Solver) setCurve(i int) {
	m, ms, w := &s.mat, s.ms[i], s.now.w[i]
	c := &s.curve[i]
	c.a1 = ms*m.hSolids[0] + w*m.hWater[0]
	c.a2 = ms*m.hSolids[1] + w*m.hWater[1]
	c.a3 = ms*m.hSolids[2] + w*m.hWater[2]
	if !s.moist {
		// Past the range of the fits the last heat capacity holds.
		c.eBoil = c.enthalpyAt(s.bendC)
		c.eDry = c.eBoil
		c.cDry = c.a1 + s.bendC*(2*c.a2+3*s.bendC*c.a3)
		return
	}
	c.eBoil = s.boilC * (c.a1 + s.boilC*(c.a2+s.boilC*c.a3))
	bound := boundWater * ms
	free := w - bound
	if free < 0 {
		free = 0
		bound = w
	}
	c.eDry = c.eBoil + free*s.latent
	c.cDry = ms*s.cpDrySolids + bound*s.cpWaterBoil
}

// temperature inverts the curve from a guess and returns T with dE/dT; the
// latter is 0 on the plateau. bendC is where the curve turns straight.
func (c *curve) temperature(e, guess, bendC float64) (t, dedt float64) {
	if e > c.eBoil {
		if e < c.eDry {
			return bendC, 0
		}
		return bendC + (e-c.eDry)/c.cDry, c.cDry
	}
	if guess > bendC {
		guess = bendC
	}
	t = guess
	for range 8 {
		dedt = c.a1 + t*(2*c.a2+3*t*c.a3)
		step := (t*(c.a1+t*(c.a2+t*c.a3)) - e) / dedt
		t -= step
		// The next step would be about c′/2c ≈ 2e-4/K of the square of this.
		if step < 3e-5 && step > -3e-5 {
			break
		}
	}
	return t, dedt
}

// enthalpyAt is the moist branch.
func (c *curve) enthalpyAt(t float64) float64 { return t * (c.a1 + t*(c.a2+t*c.a3)) }

// waterEnthalpy returns h_w(T), J/kg.
func (m *material) waterEnthalpy(t float64) float64 {
	return t * (m.hWater[0] + t*(m.hWater[1]+t*m.hWater[2]))
}

// moistRatio returns the water of the moist part of cell i as a share of the
// raw water per solids.
func (s *Solver) moistRatio(i int) float64 {
	f := s.now.dry[i]
	if f >= 1 {
		return 0
	}
	if f == 0 {
		return s.now.w[i] / s.w0[i]
	}
	return (s.now.w[i] - f*boundWater*s.ms[i]) / ((1 - f) * s.w0[i])
}

// side of the piece a cell dries from.
type outward uint8

const (
	towardA outward = iota
	towardB
	towardRim
)

// setResistances refreshes the thermal resistance of every cell from its node
// to its edges, m²·K/W, and the conductances between nodes. dt is the step to
// come: the front is placed where it will be in its middle.
func (s *Solver) setResistances(dt float64) {
	g := &s.mesh
	shrink := s.shrinkage
	for i := range g.n {
		dz := s.dzOf[i]
		if shrink != 0 {
			dz *= 1 - shrink*(s.w0[i]-s.now.w[i])/(liquidDensity*g.volume[i])
		}
		s.dzNow[i] = dz
		if !s.moist {
			r := 0.5 * dz / s.mat.k(s.now.t[i]+0.5*dt*s.rate[i], 1)
			s.rA[i], s.rB[i] = r, r
			continue
		}
		f := s.now.dry[i]
		if f > 0 && f < 1 {
			f = min(f+0.5*dt*s.dryRate[i], 1)
		}
		switch {
		case f <= 0:
			r := 0.5 * dz / s.mat.k(s.now.t[i]+0.5*dt*s.rate[i], s.moistRatio(i))
			s.rA[i], s.rB[i] = r, r
		case f >= 1 && s.now.dry[i] >= 1:
			r := 0.5 * dz / s.mat.kCrust
			s.rA[i], s.rB[i] = r, r
		default:
			crust := f * dz / s.mat.kCrust
			rest := math.Max(1-f, thinnestRest) * dz / s.mat.k(s.now.t[i], s.moistRatio(i))
			outer, inner := crust+0.5*rest, 0.5*rest
			switch s.dries[i] {
			case towardA:
				s.rA[i], s.rB[i] = outer, inner
			case towardB:
				s.rA[i], s.rB[i] = inner, outer
			default:
				r := 0.5 * dz / (f*s.mat.kCrust + (1-f)*s.mat.k(s.now.t[i], s.moistRatio(i)))
				s.rA[i], s.rB[i] = r, r
			}
		}
	}
	nr := g.nr
	if nr == 1 {
		for i := range g.nz - 1 {
			s.gz[i] = 1 / (s.rB[i] + s.rA[i+1])
		}
	} else {
		for i := range g.n - nr {
			s.gz[i] = g.faceArea[i%nr] / (s.rB[i] + s.rA[i+nr])
		}
		s.setRadial(dt)
	}
	for f := range s.faces {
		fc := &s.faces[f]
		switch fc.side {
		case sideA:
			fc.r = s.rA[fc.cell]
		case sideB:
			fc.r = s.rB[fc.cell]
		default:
			fc.r = s.rOut[fc.cell]
		}
	}
}

// thinnestRest is the least moist share a drying cell is given when it
// conducts, so that its node never touches the front.
const thinnestRest = 0.02

// setRadial refreshes the radial resistances and conductances of a disc. The
// front matters only for cells that dry toward the rim; others conduct
// radially through crust and moist part side by side.
func (s *Solver) setRadial(dt float64) {
	g := &s.mesh
	nr := g.nr
	for i := range g.n {
		j := i % nr
		dr := g.rEdge[j+1] - g.rEdge[j]
		f := s.now.dry[i]
		k := s.mat.k(s.now.t[i]+0.5*dt*s.rate[i], s.moistOrRaw(i))
		kc := s.mat.kCrust
		switch {
		case f <= 0:
			r := 0.5 * dr / k
			s.rIn[i], s.rOut[i] = r, r
		case f >= 1:
			r := 0.5 * dr / kc
			s.rIn[i], s.rOut[i] = r, r
		case s.dries[i] == towardRim:
			crust, rest := f*dr/kc, math.Max(1-f, thinnestRest)*dr/k
			s.rIn[i], s.rOut[i] = 0.5*rest, crust+0.5*rest
		default:
			r := 0.5 * dr / (f*kc + (1-f)*k)
			s.rIn[i], s.rOut[i] = r, r
		}
	}
	for iz := range g.nz {
		for j := range nr - 1 {
			i := iz*nr + j
			area := twoPi * g.rEdge[j+1] * g.dz[iz]
			s.gr[i] = area / (s.rOut[i] + s.rIn[i+1])
		}
		s.gr[iz*nr+nr-1] = 0
	}
}

func (s *Solver) moistOrRaw(i int) float64 {
	if !s.moist {
		return 1
	}
	return s.moistRatio(i)
}

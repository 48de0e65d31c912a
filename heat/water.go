package heat

import (
	"math"

	"trivet/steam"
)

// liquidDensity of the water whose loss shrinks a piece, kg/m³.
const liquidDensity = 998.0

// release lets the juice go that each cell no longer holds after dt at its
// present temperature: first order toward the holding capacity, exactly
// integrated. The juice drips at once and takes its warmth along.
func (s *Solver) release(dt float64) {
	if !s.law.on || dt == 0 {
		return
	}
	n := s.mesh.n
	s.halfDrip, s.halfDripJ = 0, 0
	for i := range n {
		f := s.now.dry[i]
		t := s.now.t[i]
		if f >= 1 || t < releaseFromC {
			continue
		}
		held, rate := s.law.at(math.Min(t, s.boilC))
		r := s.moistRatio(i)
		if r <= held {
			continue
		}
		x := rate * dt
		var gone float64
		if x < 0.05 {
			gone = x * (1 - x/2*(1-x/3))
		} else {
			gone = -math.Expm1(-x)
		}
		m := (r - held) * gone * s.w0[i] * (1 - f)
		s.now.w[i] -= m
		j := m * s.mat.waterEnthalpy(t)
		s.now.e[i] -= j
		s.halfDrip += m
		s.halfDripJ += j
		s.setCurve(i)
	}
}

// releaseFromC is where release starts to be worth computing, °C: below it
// the fitted classes hold all but a millionth.
const releaseFromC = 15

// setActivities decides, for a step of dt, where the evaporation of every
// face element starts and at which water activity. A dried share f of the
// outer cell sends that share of the vapour through the crust.
func (s *Solver) setActivities(dt float64) {
	for k := range s.faces {
		fc := &s.faces[k]
		fc.aw, fc.evap, fc.front.k = 0, 0, 0
		b := &s.bc[s.at(fc.side)]
		if b.evapH == 0 {
			continue
		}
		film := func(ts float64) float64 {
			return s.oiled[fc.side] * b.evapH * (b.film[0] + ts*(b.film[1]+ts*b.film[2]))
		}
		l0 := b.vapourL
		dry := s.now.dry[fc.cell]
		if dry < 1 {
			fc.evap = (1 - dry) * s.oiled[fc.side]
			ts := fc.surf.tempC
			fc.aw = s.activity(fc, ts, (1-dry)*film(ts), l0, dt)
		}
		if dry > 0 {
			s.setFront(fc, dry, film, l0)
		}
	}
}

// setFront finds the front below a face element and the resistance to it.
func (s *Solver) setFront(fc *element, share float64, film func(float64) float64, l0 float64) {
	i, crust := fc.cell, 0.0
	step := s.inward(fc.side)
	for range s.mesh.n {
		f := s.now.dry[i]
		crust += math.Min(f, 1) * s.depthOf(i, fc.side)
		if f < 1 {
			break
		}
		i += step
		if i < 0 || i >= s.mesh.n || s.dries[i] != s.dries[fc.cell] {
			return // dried through to where another face's side begins
		}
	}
	t := s.now.t[i]
	const perPa = steam.WaterMolarMass / steam.GasConstant
	k := 1 / (1/film(t) + crust*(t+zeroC)/(DefaultCrustVapourDiffusivity*perPa))
	fr := &fc.front
	fr.cell, fr.outer, fr.inner, fr.r, fr.k, fr.l0 = i, -1, 1, 0, share*k, l0
	if i != fc.cell {
		fr.outer = i - step
		ri, ro := s.rA[i], s.rB[fr.outer]
		switch fc.side {
		case sideB:
			ri, ro = s.rB[i], s.rA[fr.outer]
		case sideRim:
			ri, ro = s.rOut[i], s.rIn[fr.outer]
		}
		if f := s.now.dry[i]; f > 0 {
			// The front lies f inside this cell: its layer belongs outside.
			layer := f * s.depthOf(i, fc.side) / s.mat.kCrust
			ri, ro = math.Max(ri-layer, 0), ro+layer
		}
		if ri+ro > 0 {
			fr.inner = ro / (ri + ro)
			fr.r = ri * ro / (ri + ro)
		}
	}
	if math.Abs(fr.tempC-t) > 30 {
		fr.tempC = t
	}
	fr.aw = waterActivity(s.moistRatio(i) * s.mat.x0)
}

// inward is the index step from a face into the piece.
func (s *Solver) inward(side faceSide) int {
	switch side {
	case sideA:
		return s.mesh.nr
	case sideB:
		return -s.mesh.nr
	}
	return -1
}

// depthOf is the extent of a cell across a side.
func (s *Solver) depthOf(i int, side faceSide) float64 {
	if side == sideRim {
		j := i % s.mesh.nr
		return s.mesh.rEdge[j+1] - s.mesh.rEdge[j]
	}
	return s.dzOf[i]
}

// activity returns the water activity of a surface that evaporates with
// coefficient k at temperature t. A thin drying cell empties faster than a
// step, so the activity is the one at the step's end, from
//
//	w₁ = w₀ − dt·area·j(a_w(w₁)) + dt·supply(w₁)
//
// with the diffusive supply from the next cell inwards.
func (s *Solver) activity(fc *element, t, k, l0, dt float64) float64 {
	i := fc.cell
	ps, _ := saturation(t)
	xs := ps / s.pressurePa
	full, _ := stefanLog(xs)
	k *= fc.area * s.pressurePa * dt
	ms, w0 := s.ms[i], s.now.w[i]
	if (w0-k*math.Max(full-l0, 0))/ms > 0.6 {
		return 1
	}
	supply, x1 := s.supply(i, fc.side)
	supply *= dt
	lo, hi := 0.0, math.Max(w0/ms, x1)
	for range 40 {
		x := (lo + hi) / 2
		l, _ := stefanLog(waterActivity(x) * xs)
		if ms*x-w0+k*(l-l0)-supply*(x1-x) > 0 {
			hi = x
		} else {
			lo = x
		}
	}
	return waterActivity((lo + hi) / 2)
}

// supply returns the diffusive conductance, kg/s per unit of water per
// solids, from the neighbour behind a drying cell, and that neighbour's X.
func (s *Solver) supply(i int, side faceSide) (g, x float64) {
	nb := i + s.inward(side)
	if !s.diffuses || nb < 0 || nb >= s.mesh.n || s.now.dry[nb] >= 1 {
		return 0, 0
	}
	if side == sideRim {
		g = s.gwr[nb]
	} else {
		g = s.gwz[min(i, nb)]
	}
	return g, s.moistRatio(nb) * s.mat.x0
}

// setDiffusion prepares the diffusive conductances of water between cells,
// D·ρ_solids·area/distance.
func (s *Solver) setDiffusion(d float64) {
	g := &s.mesh
	nr := g.nr
	rhoS := s.mat.rho * s.mat.solids
	for i := range g.n {
		iz, j := i/nr, i%nr
		if iz < g.nz-1 {
			s.gwz[i] = d * rhoS * g.faceArea[j] / (g.zc[iz+1] - g.zc[iz])
		}
		if j < nr-1 {
			s.gwr[i] = d * rhoS * twoPi * g.rEdge[j+1] * g.dz[iz] / (g.rc[j+1] - g.rc[j])
		}
	}
}

// settle ends an accepted thermal step: water that boiled leaves, water that
// evaporated is taken from the face cells, water diffuses, and the second
// half of the release follows. It reports false, with the state spoilt, when
// a face cell would lose more water than it has.
func (s *Solver) settle(dt float64) bool {
	n := s.mesh.n
	s.stepBoiled, s.stepBoiledJ = 0, 0
	s.completed = false
	for i := range n {
		c := &s.curve[i]
		s.now.boils[i] = false
		s.dryRate[i] = 0
		if s.now.e[i] <= c.eBoil {
			continue
		}
		free := (c.eDry - c.eBoil) / s.latent
		if free <= 0 {
			continue
		}
		before := s.now.dry[i]
		m := (s.now.e[i] - c.eBoil) / s.latent
		if m >= free {
			m = free
			s.now.dry[i] = 1
			s.completed = true
		} else {
			s.now.dry[i] = before + (1-before)*m/free
			s.now.boils[i] = true
		}
		s.dryRate[i] = (s.now.dry[i] - before) / dt
		j := m * s.vapourJ
		s.now.w[i] -= m
		s.now.e[i] -= j
		s.stepBoiled += m
		s.stepBoiledJ += j
		s.setCurve(i)
	}
	s.stepEvap, s.stepEvapJ = 0, 0
	for f := range s.faces {
		fc := &s.faces[f]
		j := trW*(fc.stage[0].j+fc.stage[1].j) + trD*fc.stage[2].j
		if j > 0 { // condensate (j < 0) runs off
			s.evaporate(fc.cell, dt*fc.area*j) // may overdraw: diffusion follows
		}
		if fr := &fc.front; fr.k != 0 {
			j := trW*(fr.stageJ[0]+fr.stageJ[1]) + trD*fr.stageJ[2]
			if !s.recede(fr.cell, s.inward(fc.side), dt*fc.area*j) {
				return false
			}
		}
	}
	if s.diffuses {
		s.diffuse(dt)
	}
	for f := range s.faces {
		fc := &s.faces[f]
		i := fc.cell
		if s.now.w[i] < 0 {
			return false
		}
		if fc.evap > 0 && s.now.dry[i] < 1 && s.moistRatio(i)*s.mat.x0 < skinDryX {
			s.now.dry[i] = 1
		}
	}
	drip, dripJ := s.halfDrip, s.halfDripJ
	s.halfDrip, s.halfDripJ = 0, 0
	s.release(dt / 2)
	s.stepDrip, s.stepDripJ = drip+s.halfDrip, dripJ+s.halfDripJ
	return true
}

// skinDryX is the water content, kg/kg of dry solids, below which a drying
// skin counts as crust and the evaporation goes on from the front below it.
const skinDryX = 0.12

// recede takes m kg of vapour from the front in cell i, which moves inwards:
// the moist rest keeps its water content and gets thinner.
// What is left when it meets a front from another side comes from the bound
// water of the first cell; false when that does not suffice.
func (s *Solver) recede(i, step int, m float64) bool {
	first := i
	for m > 0 {
		if i < 0 || i >= s.mesh.n || s.dries[i] != s.dries[first] {
			if m > s.now.w[first] {
				return false
			}
			s.evaporate(first, m)
			return true
		}
		f := s.now.dry[i]
		free := s.now.w[i] - boundWater*s.ms[i]
		if f >= 1 || free <= 0 {
			s.now.dry[i] = 1
			i += step
			continue
		}
		x := m
		if x >= free {
			x = free
			s.now.dry[i] = 1
		} else {
			s.now.dry[i] = f + (1-f)*x/free
		}
		s.evaporate(i, x)
		m -= x
	}
	return true
}

// evaporate takes m kg of water from cell i at the cell's temperature.
func (s *Solver) evaporate(i int, m float64) {
	h := m * s.mat.waterEnthalpy(s.now.t[i])
	s.now.w[i] -= m
	s.now.e[i] -= h
	s.stepEvap += m
	s.stepEvapJ += h
	s.setCurve(i)
}

// diffuse spreads water through the moist cells for dt, implicitly, along the
// axis and then along the radius. Moving water carries its warmth.
func (s *Solver) diffuse(dt float64) {
	g := &s.mesh
	nr := g.nr
	for j := range nr {
		s.diffuseLine(dt, j, nr, g.nz, s.gwz)
	}
	if nr > 1 {
		for iz := range g.nz {
			s.diffuseLine(dt, iz*nr, 1, nr, s.gwr)
		}
	}
	for i := range g.n {
		if s.moved[i] {
			s.moved[i] = false
			s.setCurve(i)
			s.now.t[i], _ = s.curve[i].temperature(s.now.e[i], s.now.t[i], s.boilC)
		}
	}
}

func (s *Solver) diffuseLine(dt float64, start, stride, n int, gw []float64) {
	// X = moist water per solids; a cell's solids count only where moist.
	d, u, x := s.diag[:n], s.off[:n], s.res[:n]
	spread := false
	for k := range n {
		i := start + k*stride
		m := s.ms[i] * math.Max(1-s.now.dry[i], 1e-9)
		x[k] = s.moistRatio(i) * s.mat.x0
		d[k] = m
		u[k] = 0
		if k > 0 {
			v := x[k] - x[k-1]
			if v > 1e-6 || v < -1e-6 {
				spread = true
			}
		}
	}
	if !spread {
		return
	}
	for k := range n - 1 {
		i := start + k*stride
		if s.now.dry[i] >= 1 || s.now.dry[i+stride] >= 1 {
			continue
		}
		u[k] = -dt * gw[i]
	}
	// Right side and diagonal after the couplings are known.
	for k := range n {
		x[k] *= d[k]
	}
	for k := range n - 1 {
		d[k] -= u[k]
		d[k+1] -= u[k]
	}
	copy(s.off2[:n], u)
	tridiagonal(d, u[:n-1], x)
	for k := range n - 1 {
		if s.off2[k] == 0 {
			continue
		}
		i := start + k*stride
		m := -s.off2[k] * (x[k] - x[k+1])
		from := i
		if m < 0 {
			from = i + stride
		}
		h := m * s.mat.waterEnthalpy(s.now.t[from])
		s.now.w[i] -= m
		s.now.w[i+stride] += m
		s.now.e[i] -= h
		s.now.e[i+stride] += h
		s.moved[i], s.moved[i+stride] = true, true
	}
}

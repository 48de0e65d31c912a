package heat

import "math"

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

// setActivities sets the water activity of every face element for a step of
// dt. A thin drying cell empties faster than the step, so the activity is the
// one at its end, from
//
//	w₁ = w₀ − dt·area·j(a_w(w₁)) + dt·supply(w₁)
//
// with the present surface temperature and the diffusive supply from the
// next cell.
func (s *Solver) setActivities(dt float64) {
	for f := range s.faces {
		fc := &s.faces[f]
		i := fc.cell
		dry := s.now.dry[i]
		if dry >= 1 {
			fc.aw, fc.evap = 0, 0
			continue
		}
		fc.aw = 1
		fc.evap = (1 - dry) * s.oiled[fc.side]
		b := &s.bc[s.at(fc.side)]
		if b.evapH == 0 || fc.evap == 0 {
			continue
		}
		ts := fc.surf.tempC
		k := fc.area * fc.evap * b.evapH * (b.film[0] + ts*(b.film[1]+ts*b.film[2])) * s.pressurePa * dt
		ps, _ := saturation(ts)
		xs := ps / s.pressurePa
		l0, _ := stefanLog(b.vapourPa / s.pressurePa)
		ms := s.ms[i]
		w0 := s.now.w[i]
		full, _ := stefanLog(xs)
		if (w0-k*math.Max(full-l0, 0))/ms > 0.6 {
			continue
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
		fc.aw = waterActivity((lo + hi) / 2)
	}
}

// supply returns the diffusive conductance, kg/s per unit of water per
// solids, from the neighbour behind a face cell, and that neighbour's X.
func (s *Solver) supply(i int, side faceSide) (g, x float64) {
	nb := i + s.mesh.nr
	switch side {
	case sideB:
		nb = i - s.mesh.nr
	case sideRim:
		nb = i - 1
	}
	if s.now.dry[nb] >= 1 {
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
		fc.lost = 0
		j := dt * fc.area * (trW*(fc.stage[0].j+fc.stage[1].j) + trD*fc.stage[2].j)
		if j <= 0 {
			continue // condensate runs off
		}
		i := fc.cell
		if j > s.now.w[i] {
			return false
		}
		fc.lost = j
		h := j * s.mat.waterEnthalpy(s.now.t[i])
		s.now.w[i] -= j
		s.now.e[i] -= h
		s.stepEvap += j
		s.stepEvapJ += h
		s.setCurve(i)
	}
	if s.diffuses {
		s.diffuse(dt)
	}
	drip, dripJ := s.halfDrip, s.halfDripJ
	s.halfDrip, s.halfDripJ = 0, 0
	s.release(dt / 2)
	s.stepDrip, s.stepDripJ = drip+s.halfDrip, dripJ+s.halfDripJ
	return true
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

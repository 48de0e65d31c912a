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
// face element starts and at which water activity, and where its juice can
// boil. A dried share f of the outer cell sends that share of the vapour
// through the crust.
func (s *Solver) setActivities(dt float64) {
	for k := range s.faces {
		fc := &s.faces[k]
		fc.aw, fc.evap = 0, 0
		b := &s.bc[s.at(fc.side)]
		dry := s.now.dry[fc.cell]
		if b.evapH > 0 && dry < 1 {
			fc.evap = (1 - dry) * s.oiled[fc.side]
			ts := fc.surf.tempC
			fc.aw = s.activity(fc, ts, fc.evap*b.massTransfer(ts), b.vapourL, dt)
		}
		s.setFront(fc, b, dry, dt)
	}
}

// massTransfer is the mass-transfer coefficient at a surface of ts, kg/(m²·s·Pa).
func (b *boundary) massTransfer(ts float64) float64 {
	return b.evapH * (b.film[0] + ts*(b.film[1]+ts*b.film[2]))
}

// setFront finds the front below a face element and the resistances to it.
func (s *Solver) setFront(fc *element, b *boundary, share, dt float64) {
	fr := &fc.front
	fr.on, fr.k, fr.boil, fr.latent, fr.j = false, 0, 0, 0, 0
	fr.near.on, fr.near.flux = false, 0
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
	fr.cell, fr.outer, fr.inner, fr.area = i, -1, 1, fc.area
	fr.pins = int(s.dries[i]) == int(fc.side)
	if share > 0 && b.evapH > 0 {
		t := s.now.t[i]
		const perPa = steam.WaterMolarMass / steam.GasConstant
		fr.l0 = b.vapourL
		fr.k = share / (1/(s.oiled[fc.side]*b.massTransfer(t)) + crust*(t+zeroC)/(DefaultCrustVapourDiffusivity*perPa))
		fr.aw = waterActivity(s.moistRatio(i) * s.mat.x0)
	}
	if t := s.now.t[i]; math.Abs(fr.tempC-t) > 50 {
		fr.tempC = math.Min(t, s.boilC)
	}
	fr.on = fr.k > 0 || fr.pins
	f := s.now.dry[i]
	if f > 0 {
		f = math.Min(f+0.5*dt*s.dryRate[i], 1)
	}
	layer := 0.0
	if fr.pins {
		layer = f * s.depthOf(i, fc.side) / s.mat.kCrust
	}
	rNode := s.edgeResistance(i, fc.side)
	if i == fc.cell && fr.pins {
		rNode -= layer
		layer = s.growingLayer(i, fc.side, b, dt)
		rNode += layer
	}
	fr.near.on, fr.near.flux = false, 0
	if fr.pins && fc.side != sideRim {
		s.refineFront(fr, step, math.Max(1-f, thinnestRest), math.Max(rNode-layer, 1e-9))
	}
	if i == fc.cell {
		fr.rc, fr.ri = layer, rNode-layer
		return
	}
	fr.outer = i - step
	if fc.side == sideRim {
		fr.area = twoPi * s.mesh.rEdge[i%s.mesh.nr+1] * s.mesh.dz[i/s.mesh.nr]
	}
	ri, ro := rNode-layer, s.edgeResistance(fr.outer, opposite(fc.side))+layer
	fr.inner = ro / (ri + ro)
	fr.r = ri * ro / (ri + ro)
}

// growingLayer is the resistance of the crust on a face half-way through a
// step. It goes on growing at the last step's rate, but no faster than
// quasi-steady conduction lets it: with all the heat through a layer x under a
// film of 1/h boiling, X² = X₀² + 2·k·ΔT·t/(L·w), X = x + k/h, w the water to
// boil per volume; the mean over the step is (X₀ + X₁)/2 − k/h. That also
// starts the layer on a bare surface, which would meet a strong film with no
// resistance at all.
func (s *Solver) growingLayer(i int, side faceSide, b *boundary, dt float64) float64 {
	depth := s.depthOf(i, side)
	x0 := s.now.dry[i] * depth
	grown := 0.5 * dt * s.dryRate[i] * depth
	h := b.contactH + b.convH + b.fatH + b.steamH + b.fixedH
	if b.linear() && h > 0 {
		drive := b.contactH*b.contactC + b.convH*b.convC + b.fatH*b.fatC + b.steamH*b.steamC + b.fixedH*b.fixedC + b.flux
		over := drive/h - s.boilC
		free := math.Max(s.now.w[i]-boundWater*s.ms[i], 0) / math.Max(1-s.now.dry[i], thinnestRest)
		if over > 0 && free > 0 {
			start := x0 + s.mat.kCrust/h
			end := math.Sqrt(start*start + 2*s.mat.kCrust*over*dt/(s.latent*free/s.mesh.volume[i]))
			most := (end - start) / 2
			if grown > most || grown == 0 && most > start {
				grown = most
			}
		}
	}
	return math.Min(x0+grown, depth) / s.mat.kCrust
}

// refineFront prepares the higher order near a front with the share rest of
// its cell left moist and the resistance ri from the front to its node.
func (s *Solver) refineFront(fr *through, step int, rest, ri float64) {
	g, n := &s.mesh, &fr.near
	n.flux, n.ri = 0, ri
	for k := range n.cell {
		i := fr.cell + k*step
		if i < 0 || i >= g.n || k > 0 && s.now.dry[i] > 0 || s.now.boils[i] {
			return
		}
		n.cell[k] = i
	}
	n.on = true
	n.edges = 1
	if s.now.dry[fr.cell] > 0 {
		n.edges = 2
	}
	d1, d2 := rest*s.dzNow[fr.cell], s.dzNow[n.cell[1]]
	k := d1 / (2 * ri)
	m1, m2 := d1*d1/3, d1*d1+d1*d2+d2*d2/3
	det := d1/2*m2 - (d1+d2/2)*m1
	n.wall[1] = 1/ri - k*m2/det
	n.wall[2] = k * m1 / det
	n.wall[0] = -n.wall[1] - n.wall[2]
	if n.forCell == fr.cell && math.Abs(rest-n.forRest) <= 0.02*rest {
		return // the weights of the cubic hardly move
	}
	n.forCell, n.forRest = fr.cell, rest
	e := [5]float64{0, d1}
	for k := 1; k < 4; k++ {
		e[k+1] = e[k] + s.dzNow[n.cell[k]]
	}
	for k := range 2 {
		n.link[k] = min(n.cell[k], n.cell[k+1])
		w := gradientOfMeans(e, k+1)
		distance := (e[k+2] - e[k]) / 2
		for j := range w {
			w[j] *= -distance
		}
		w[k]--
		w[k+1]++
		n.edge[k] = w
	}
}

// edgeResistance is the resistance from the node of a cell to its edge toward
// a side.
func (s *Solver) edgeResistance(i int, side faceSide) float64 {
	switch side {
	case sideA:
		return s.rA[i]
	case sideB:
		return s.rB[i]
	case sideRim:
		return s.rOut[i]
	}
	return s.rIn[i]
}

// sideAxis names the inner edge of a ring in edgeResistance.
const sideAxis faceSide = 3

func opposite(side faceSide) faceSide {
	switch side {
	case sideA:
		return sideB
	case sideB:
		return sideA
	}
	return sideAxis
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
	return s.dzNow[i]
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
			s.vapour(fc.cell, dt*fc.area*j, &s.stepEvap, &s.stepEvapJ) // may overdraw: diffusion follows
		}
		fr := &fc.front
		if !fr.on {
			continue
		}
		step := s.inward(fc.side)
		if j := trW*(fr.stageJ[0]+fr.stageJ[1]) + trD*fr.stageJ[2]; j > 0 {
			if !s.recede(fr.cell, step, dt*fr.area*j, &s.stepEvap, &s.stepEvapJ) {
				return false
			}
		}
		if q := dt * fr.area * (trW*(fr.stageB[0]+fr.stageB[1]) + trD*fr.stageB[2]); q > 0 {
			m := q / (s.vapourJ - s.mat.waterEnthalpy(math.Min(s.now.t[fr.cell], s.boilC)))
			s.stepBoiledJ += q
			if !s.recede(fr.cell, step, m, &s.stepBoiled, &s.stepBoiledJ) {
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
	for i := range n {
		s.dryRate[i] = (s.now.dry[i] - s.old.dry[i]) / dt
		if s.now.dry[i] >= 1 && s.old.dry[i] < 1 {
			s.completed = true
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
func (s *Solver) recede(i, step int, m float64, kg, joule *float64) bool {
	first := i
	for m > 0 {
		if i < 0 || i >= s.mesh.n || s.dries[i] != s.dries[first] {
			if m > s.now.w[first] {
				return false
			}
			s.vapour(first, m, kg, joule)
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
		s.vapour(i, x, kg, joule)
		m -= x
	}
	return true
}

// vapour takes m kg of water from cell i at the cell's temperature and books
// its mass and warmth.
func (s *Solver) vapour(i int, m float64, kg, joule *float64) {
	h := m * s.mat.waterEnthalpy(s.now.t[i])
	s.now.w[i] -= m
	s.now.e[i] -= h
	*kg += m
	*joule += h
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
			s.now.t[i], _ = s.curve[i].temperature(s.now.e[i], s.now.t[i], s.bendC)
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

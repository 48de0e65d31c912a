package heat

import "math"

// Time stepping: TR-BDF2 as a three-stage method with an explicit first
// stage, second order, L-stable and stiffly accurate, with a third-order
// companion for the error estimate.
//
//	E₂ = Eₙ + h·(d·Q₁ + d·Q₂)            at tₙ + γh
//	E₃ = Eₙ + h·(w·Q₁ + w·Q₂ + d·Q₃)     at tₙ + h
//
// Q is the heat into each cell. The new enthalpies are summed from the very
// fluxes that the ledger books, so that energy closes to round-off however
// loosely the stages were solved.
//
// References: R. E. Bank et al., IEEE Trans. CAD 4 (1985) 436–451;
// M. E. Hosea & L. F. Shampine, Appl. Numer. Math. 20 (1996) 21–37.
const (
	sqrt2      = 1.41421356237309504880
	trGamma    = 2 - sqrt2
	trD        = trGamma / 2
	trW        = sqrt2 / 4
	trErr1     = (4*trW - 1) / 3
	trErr2     = -1.0 / 3
	trErr3     = 2 * trD / 3
	newtonMost = 14
)

var (
	inf   = math.Inf(1)
	twoPi = 2 * math.Pi
)

type faceSide uint8

const (
	sideA faceSide = iota
	sideB
	sideRim
)

// element is one face of one outer cell.
type element struct {
	cell int
	area float64
	side faceSide
	r    float64 // resistance from the node to the surface, m²·K/W
	aw   float64 // water activity for the step
	evap float64 // share of the element's evaporation that leaves its surface

	front through // the rest, which leaves through the crust

	surf  surface
	stage [3]surface // of the last step, at its three times
	cause [3]causes
}

var stageWeights = [3]float64{trW, trW, trD}

// attempt tries one step of length dt from the state saved in s.old. It
// leaves the new state in s.now, without the water that leaves at its end,
// and returns the error estimate in kelvin; ok is false when the stages could
// not be solved.
func (s *Solver) attempt(dt float64) (errK float64, ok bool) {
	n := s.mesh.n
	s.now.copyFrom(&s.old)
	s.assembled = false
	if s.moist {
		s.release(dt / 2)
		copy(s.startE[:n], s.now.e[:n])
	} else {
		copy(s.startE[:n], s.old.e[:n])
	}
	s.setResistances(dt)
	s.setSmooth()
	if s.moist {
		s.setActivities(dt)
	}
	for i := range n {
		if s.now.t[i] > s.bendC {
			s.dedt[i] = s.curve[i].cDry
		} else {
			t := s.now.t[i]
			c := &s.curve[i]
			s.dedt[i] = c.a1 + t*(2*c.a2+3*t*c.a3)
		}
	}
	t0 := s.legTime()

	// First stage: the known state.
	s.stageK = 0
	s.setBoundaries(t0, 0)
	s.flux(s.now.t, s.q[0], true)
	s.keepStage(0, 0)
	copy(s.stageT[0][:n], s.now.t[:n])

	// Second stage.
	a := trD * dt
	for i := range n {
		s.known[i] = s.startE[i] + a*s.q[0][i]
		s.now.e[i] = s.startE[i] + trGamma*dt*s.eRate[i]
	}
	s.stageK = 1
	s.setBoundaries(t0+trGamma*dt, a)
	if !s.stageSolve(a, s.q[1]) {
		return 0, false
	}
	s.keepStage(1, a)
	copy(s.stageT[1][:n], s.now.t[:n])

	// Third stage.
	b := trW * dt
	for i := range n {
		s.known[i] = s.startE[i] + b*(s.q[0][i]+s.q[1][i])
		s.now.e[i] = s.startE[i] + (s.now.e[i]-s.startE[i])/trGamma
	}
	s.stageK = 2
	if s.plated() {
		s.plateKnown = s.old.plate + b*(s.plateRate[0]+s.plateRate[1])
	}
	s.setBoundaries(t0+dt, a)
	if !s.stageSolve(a, s.q[2]) {
		return 0, false
	}
	s.keepStage(2, a)
	for i := range n {
		s.now.e[i] = s.startE[i] + dt*(trW*(s.q[0][i]+s.q[1][i])+trD*s.q[2][i])
	}
	for i := range n {
		s.now.t[i], _ = s.curve[i].temperature(s.now.e[i], s.now.t[i], s.bendC)
	}
	copy(s.stageT[2][:n], s.now.t[:n])
	for f := range s.faces {
		s.now.ts[f] = s.faces[f].surf.tempC
	}
	return s.errorNorm(dt), true
}

// stageSolve finds E with E − a·Q(T(E)) = known, starting from s.now.e, and
// leaves Q in q. Newton's method in the temperatures of moist and dry cells;
// cells on the plateau take up what is left.
func (s *Solver) stageSolve(a float64, q []float64) bool {
	n := s.mesh.n
	e, t := s.now.e[:n], s.now.t[:n]
	for i := range e {
		t[i], s.dedt[i] = s.curve[i].temperature(e[i], t[i], s.bendC)
	}
	for it := range newtonMost {
		s.newton++
		s.flux(t, q, it < 2)
		worst := 0.0
		res := s.res[:n]
		for i := range res {
			r := s.known[i] + a*q[i] - e[i]
			res[i] = r
			if r *= s.invC[i]; r > worst {
				worst = r
			} else if -r > worst {
				worst = -r
			}
		}
		if worst < s.newtonTol {
			for i := range e {
				e[i] += res[i]
			}
			return true
		}
		if math.IsNaN(worst) || it == newtonMost-1 {
			return false
		}
		s.assemble(a)
		s.assembled = true
		s.solveLinear(res, true)
		// Undamped at first; a two-cycle across a corner of the enthalpy
		// curve is broken by shorter steps.
		damp := 1.0
		if it > 6 {
			damp = 0.5
		}
		s.update(a, damp)
	}
	return false
}

// assemble fills the Newton matrix for the slopes dedt.
func (s *Solver) assemble(a float64) {
	g := &s.mesh
	n, nr := g.n, g.nr
	d := s.diag[:n]
	copy(d, s.dedt[:n])
	for f := range s.faces {
		fc := &s.faces[f]
		d[fc.cell] -= a * fc.area * fc.surf.slope
		if fr := &fc.front; fr.on {
			x := a * fr.area * fr.slope
			d[fr.cell] += x * fr.inner * fr.inner
			if fr.outer >= 0 {
				d[fr.outer] += x * (1 - fr.inner) * (1 - fr.inner)
			}
		}
	}
	if nr == 1 {
		u := s.off[:n-1]
		gz := s.gz[:n-1]
		for i := range u {
			x := a * gz[i]
			d[i] += x
			d[i+1] += x
			u[i] = -x
		}
		for f := range s.faces {
			if fr := &s.faces[f].front; fr.on && fr.outer >= 0 {
				u[min(fr.cell, fr.outer)] += a * fr.area * fr.slope * fr.inner * (1 - fr.inner)
			}
		}
		for i := range n {
			if s.dedt[i] == 0 {
				d[i] = 1
				if i > 0 {
					u[i-1] = 0
				}
				if i < n-1 {
					u[i] = 0
				}
			}
		}
		return
	}
	m := &s.band
	m.clear()
	st := m.w + 1
	for i := range n {
		if x := a * s.gr[i]; x != 0 {
			d[i] += x
			d[i+1] += x
			if s.dedt[i] != 0 && s.dedt[i+1] != 0 {
				m.a[(i+1)*st+m.w-1] -= x
			}
		}
	}
	for i := range n - nr {
		x := a * s.gz[i]
		d[i] += x
		d[i+nr] += x
		if s.dedt[i] != 0 && s.dedt[i+nr] != 0 {
			m.a[(i+nr)*st+m.w-nr] -= x
		}
	}
	for f := range s.faces {
		fr := &s.faces[f].front
		if fr.on && fr.outer >= 0 && s.dedt[fr.cell] != 0 && s.dedt[fr.outer] != 0 {
			lo, hi := min(fr.cell, fr.outer), max(fr.cell, fr.outer)
			m.a[hi*st+m.w-(hi-lo)] += a * fr.area * fr.slope * fr.inner * (1 - fr.inner)
		}
	}
	for i := range n {
		v := d[i]
		if s.dedt[i] == 0 {
			v = 1
		}
		m.a[i*st+m.w] = v
	}
	m.factor()
}

// solveLinear solves the assembled system for rhs into s.dt; rows on the
// plateau give 0. fresh says that the matrix was assembled since the last
// solve (the slab's is used up by solving).
func (s *Solver) solveLinear(rhs []float64, fresh bool) {
	n := s.mesh.n
	x := s.dT[:n]
	copy(x, rhs)
	for i := range x {
		if s.dedt[i] == 0 {
			x[i] = 0
		}
	}
	if s.mesh.nr == 1 {
		if !fresh {
			s.assemble(s.lastA)
		}
		tridiagonal(s.diag[:n], s.off[:n-1], x)
		return
	}
	if !s.assembled { // every stage was right at its first guess
		s.assemble(s.lastA)
		s.assembled = true
	}
	s.band.solve(x)
}

// update takes the Newton step.
func (s *Solver) update(a, damp float64) {
	s.lastA = a
	g := &s.mesh
	n, nr := g.n, g.nr
	x := s.dT[:n]
	for i := range n {
		de := s.dedt[i] * x[i]
		if s.dedt[i] == 0 {
			de = s.res[i]
			if i >= nr {
				de += a * s.gz[i-nr] * x[i-nr]
			}
			if i < n-nr {
				de += a * s.gz[i] * x[i+nr]
			}
			if nr > 1 {
				if j := i % nr; j > 0 {
					de += a * s.gr[i-1] * x[i-1]
				}
				if s.gr[i] != 0 {
					de += a * s.gr[i] * x[i+1]
				}
			}
		}
		e := s.now.e[i] + damp*de
		if s.dedt[i] == 0 {
			// A boiling cell that leaves the plateau stops at its edge, where
			// its temperature starts to move again; else it cycles.
			e = max(s.curve[i].eBoil, min(e, s.curve[i].eDry))
		}
		s.now.e[i] = e
		s.now.t[i], s.dedt[i] = s.curve[i].temperature(s.now.e[i], s.now.t[i]+damp*x[i], s.bendC)
	}
}

// flux fills q with the heat into each cell at temperatures t and solves the
// surface temperature of every face element. The fourth-order correction is
// brought up to date when correct is set.
func (s *Solver) flux(t, q []float64, correct bool) {
	g := &s.mesh
	n, nr := g.n, g.nr
	t = t[:n]
	q = q[:n]
	if nr == 1 {
		gz := s.gz[:n-1]
		in := 0.0
		for i := range gz {
			f := gz[i] * (t[i] - t[i+1])
			q[i] = in - f
			in = f
		}
		q[n-1] = in
	} else {
		clear(q)
		for i := range n - nr {
			f := s.gz[i] * (t[i] - t[i+nr])
			q[i] -= f
			q[i+nr] += f
		}
		for i := range n {
			if gr := s.gr[i]; gr != 0 {
				f := gr * (t[i] - t[i+1])
				q[i] -= f
				q[i+1] += f
			}
		}
	}
	if correct {
		clear(s.qCubic[:n])
		for j := range nr {
			s.fluxCorrection(t, s.qCubic, j)
		}
		if nr >= 4 {
			for iz := range g.nz {
				s.radialCorrection(t, s.qCubic, iz)
			}
		}
	}
	if correct {
		for f := range s.faces {
			if fr := &s.faces[f].front; fr.on && fr.near.on {
				s.correctNear(fr, t)
			}
		}
	}
	for i, v := range s.qCubic[:n] {
		q[i] += v
	}
	for f := range s.faces {
		fc := &s.faces[f]
		b := &s.bc[s.at(fc.side)]
		if b.plate != nil {
			s.plateLaw(b, fc.surf.tempC)
		}
		fr := &fc.front
		switch {
		case !fr.on:
			b.solve(&fc.surf, t[fc.cell], fc.r, fc.aw, fc.evap, s.pressurePa)
			q[fc.cell] += fc.area * fc.surf.q
		case fr.outer < 0:
			s.ownFront(fc, b, t[fc.cell])
			q[fc.cell] += fc.area * (fc.surf.q - fr.boil - fr.latent)
		default:
			b.solve(&fc.surf, t[fc.cell], fc.r, fc.aw, fc.evap, s.pressurePa)
			q[fc.cell] += fc.area * fc.surf.q
			fr.flow(fr.inner*t[fr.cell]+(1-fr.inner)*t[fr.outer], s.boilC, s.pressurePa)
			q[fr.cell] -= fr.area * fr.inner * fr.q
			q[fr.outer] -= fr.area * (1 - fr.inner) * fr.q
			if fr.boil > 0 {
				w := math.Min(fr.near.flux, fr.boil)
				fr.boil -= w
				q[fr.cell] += fr.area * w
			}
		}
	}
}

// correctNear brings the corrections near a front up to date.
func (s *Solver) correctNear(fr *through, t []float64) {
	n := &fr.near
	n.flux = n.wall[0]*s.boilC + n.wall[1]*t[n.cell[0]] + n.wall[2]*t[n.cell[1]]
	n.flux = held(n.flux, (s.boilC-t[n.cell[0]])/n.ri)
	t0, t1, t2, t3 := t[n.cell[0]], t[n.cell[1]], t[n.cell[2]], t[n.cell[3]]
	for e := range n.edges {
		c := &n.edge[e]
		f := s.gz[n.link[e]] * held(c[0]*t0+c[1]*t1+c[2]*t2+c[3]*t3, t[n.cell[e]]-t[n.cell[e+1]])
		s.qCubic[n.cell[e]] -= f
		s.qCubic[n.cell[e+1]] += f
	}
}

// ownFront solves a face whose front lies in its own cell or is its bare
// moist surface: first as if nothing boiled there, then, where that would be
// above boiling, with the front held at T_b.
func (s *Solver) ownFront(fc *element, b *boundary, node float64) {
	fr := &fc.front
	fr.boil = 0
	b.solve(&fc.surf, node, fr.rc+fr.ri, fc.aw, fc.evap, s.pressurePa)
	fr.tempC = node + fc.surf.q*fr.ri
	if fr.pins && fr.tempC > s.boilC {
		free := fc.surf
		b.solve(&fc.surf, s.boilC, fr.rc, fc.aw, fc.evap, s.pressurePa)
		if fr.boil = fc.surf.q - (s.boilC-node)/fr.ri - fr.near.flux; fr.boil > 0 {
			fc.surf.slope = -1 / fr.ri
			fr.tempC = s.boilC
		} else { // within the solver's tolerance of the switch
			fr.boil = 0
			fc.surf = free
		}
	}
	fr.latent, fr.slope, fr.j = fr.evaporation(math.Min(node, s.boilC), s.pressurePa)
	fr.q = fr.latent
}

// held limits a correction to the size of the plain difference it corrects,
// so that no flux is turned round: where a coarse grid meets a steep profile
// a cubic may be far from the truth.
func held(x, plain float64) float64 {
	if plain < 0 {
		plain = -plain
	}
	return max(-plain, min(x, plain))
}

// fluxCorrection raises the axial fluxes of column j from second to fourth
// order between moist cells: the gradient at an edge is that of the cubic
// whose means over the four cells around it are their temperatures. The
// Newton matrix leaves it out; it is brought up to date in the first two
// iterations of a stage and then kept, so that convergence stays quadratic.
func (s *Solver) fluxCorrection(t, q []float64, j int) {
	nr := s.mesh.nr
	from, to := s.smooth[j][0], s.smooth[j][1]
	for iz := from; iz < to; iz++ {
		c := &s.mesh.cubic[iz]
		i := iz*nr + j
		x := c[0]*t[i-nr] + c[1]*t[i] + c[2]*t[i+nr] + c[3]*t[i+2*nr]
		f := s.gz[i] * held(x, t[i]-t[i+nr])
		q[i] -= f
		q[i+nr] += f
	}
}

// radialCorrection does the same for row iz of a disc.
func (s *Solver) radialCorrection(t, q []float64, iz int) {
	row := iz * s.mesh.nr
	for j := range s.smoothR[iz] {
		c := &s.mesh.cubicR[j]
		i := row + j
		x := t[row+max(0, j-1):]
		f := s.gr[i] * held(c[0]*x[0]+c[1]*x[1]+c[2]*x[2]+c[3]*x[3], t[i]-t[i+1])
		q[i] -= f
		q[i+1] += f
	}
}

// setSmooth finds, for every column, the edges whose four cells are moist.
func (s *Solver) setSmooth() {
	g := &s.mesh
	nr := g.nr
	for j := range nr {
		rough := func(iz int) bool { i := iz*nr + j; return s.now.dry[i] > 0 || s.now.boils[i] }
		mid := g.nz / 2
		lo, hi := mid, mid
		if rough(mid) {
			s.smooth[j] = [2]int{0, 0}
			continue
		}
		for lo > 0 && !rough(lo-1) {
			lo--
		}
		for hi < g.nz-1 && !rough(hi+1) {
			hi++
		}
		// Edge iz lies between cells iz and iz+1 and needs iz−1 … iz+2.
		s.smooth[j] = [2]int{lo + 1, hi - 1}
	}
	if nr < 4 {
		return
	}
	for iz := range g.nz {
		// Edge j needs rings up to max(j+2, 3); the last edge stays plain.
		moist := 0
		for moist < nr && s.now.dry[iz*nr+moist] == 0 && !s.now.boils[iz*nr+moist] {
			moist++
		}
		s.smoothR[iz] = 0
		if moist >= 4 {
			s.smoothR[iz] = moist - 2
		}
	}
}

// roughWeight scales the squared error of drying and dry cells, on top of
// their share of the volume: a thin crust follows its neighbours at once and
// its own momentary error fades.
const roughWeight = 0.1

// errorNorm returns the rms over the piece of the step's error estimate, K:
// the difference to the third-order companion, damped by the Newton matrix
// in the stiff directions.
func (s *Solver) errorNorm(dt float64) float64 {
	n := s.mesh.n
	for i := range n {
		s.res[i] = dt * (trErr1*s.q[0][i] + trErr2*s.q[1][i] + trErr3*s.q[2][i])
	}
	s.lastA = trD * dt
	s.solveLinear(s.res[:n], false)
	sum := 0.0
	for i, v := range s.mesh.volume[:n] {
		x := s.dT[i]
		v /= s.mesh.total
		if s.moist && (s.now.e[i] >= s.curve[i].eBoil || s.now.dry[i] > 0) {
			v *= v * roughWeight
		}
		sum += v * x * x
	}
	return math.Sqrt(sum)
}

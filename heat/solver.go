package heat

import (
	"fmt"
	"math"

	"trivet/fault"
	"trivet/steam"
)

// Simulate runs one cook. Use a [Solver] for many.
func Simulate(spec *Spec, opt Options) (*Result, error) { return NewSolver().Run(spec, opt) }

// Solver runs cooks and keeps its working memory between them. It is not
// safe for concurrent use; the zero value is not ready, use [NewSolver].
type Solver struct {
	spec *Spec
	opt  Options
	mesh mesh
	mat  material
	law  releaseTable

	moist, diffuses         bool
	pressurePa, boilC       float64
	bendC                   float64 // where enthalpy curves turn straight
	latent, vapourJ         float64 // at boiling: L, and h_w + L, J/kg
	cpDrySolids             float64
	cpWaterBoil             float64
	shrinkage               float64
	faceLength              float64
	rawKg                   float64
	stepTol, newtonTol      float64
	maxStep                 float64
	ms, w0                  []float64
	dzOf, dzNow             []float64 // axial extent of the cells, raw and shrunk
	old, now                cells
	curve                   []curve
	curvesStale             bool
	rA, rB, rIn, rOut       []float64
	gz, gr, gwz, gwr        []float64
	dries                   []outward
	moved                   []bool
	rate, dryRate, eRate    []float64
	invC, dedt, diag        []float64
	off, off2, res, dT      []float64
	known, startE, qCubic   []float64
	q, stageT               [3][]float64
	band                    banded
	smooth                  [][2]int // by column: axial edges with fourth-order flux
	smoothR                 []int    // by row: radial edges with fourth-order flux
	faces                   []element
	bc, fixedPart           [3]boundary
	touchedAt               [3]float64 // by position
	oiled                   [3]float64 // by side: share of evaporation left by old fat
	plateOf                 *Plate
	plateKnown, stageA      float64
	plateRate, stagePlate   [3]float64
	stageK                  int
	aDown                   bool
	completed, handedOver   bool    // a cell boiled dry in this step, in the one before
	kinkStep                float64 // step that worked after the last such hand-over
	t, legStart, legT       float64 // cook time, its value at the leg's start, time since then
	leg                     int
	hNext                   float64
	lastA                   float64
	assembled               bool // the banded matrix belongs to this step
	halfDrip, halfDripJ     float64
	stepDrip, stepDripJ     float64
	stepBoiled, stepBoiledJ float64
	stepEvap, stepEvapJ     float64

	probes probes
	tally  tally
	saved  savedState

	newton, steps, rejected, reruns int
	recording                       *Result // where recording goes; nil in a rehearsal
}

// NewSolver returns a solver ready to run cooks.
func NewSolver() *Solver { return &Solver{} }

// Run simulates a cook. Errors are *fault.Error: a specification that cannot
// be used, a leg that can never end, or a step that could not be solved.
func (s *Solver) Run(spec *Spec, opt Options) (*Result, error) {
	res := new(Result)
	if err := s.RunInto(res, spec, opt); err != nil {
		return nil, err
	}
	return res, nil
}

// RunInto is [Solver.Run] writing into res, whose memory it reuses. After an
// error res holds nothing of use.
func (s *Solver) RunInto(res *Result, spec *Spec, opt Options) error {
	if err := spec.Check(); err != nil {
		return err
	}
	if err := s.prepare(spec, opt); err != nil {
		return err
	}
	s.beginRecord(res)
	for i := range spec.Legs {
		if err := s.cookLeg(i); err != nil {
			return err
		}
	}
	s.endRecord()
	return nil
}

// Check returns what is wrong with the specification, or nil.
func (sp *Spec) Check() error {
	if err := sp.Piece.check(); err != nil {
		return at(err, "piece")
	}
	c := checker{}
	c.between("altitude", sp.AltitudeM, -500, 9000)
	if sp.PressurePa != 0 {
		c.between("pressure", sp.PressurePa, 2e4, 2e5)
	}
	c.between("boiling rise", sp.Moisture.BoilingRiseK, 0, 10)
	c.between("shrinkage", sp.Moisture.Shrinkage, 0, 1)
	c.between("water diffusivity", sp.Moisture.DiffusivityM2S, -1, 1e-6)
	c.between("output every", sp.Output.EveryS, 0, 1e6)
	c.between("even band", sp.Output.EvenBandK, 0, 100)
	for _, d := range sp.Output.DepthsM {
		c.between("output depth", d, 0, sp.Piece.ThicknessM)
	}
	for _, t := range sp.Output.SnapshotsS {
		c.between("snapshot", t, 0, 1e7)
	}
	if c.err != nil {
		return c.err
	}
	if r := sp.Moisture.Release; r != nil {
		if err := r.check(); err != nil {
			return at(err, "moisture.release")
		}
	}
	if len(sp.Legs) == 0 {
		return fault.New("heat-legs", "the cook has no legs").On("legs", "").
			WithFix("give at least one leg with its faces and when it ends")
	}
	for i := range sp.Legs {
		if err := sp.Legs[i].check(); err != nil {
			return at(err, fmt.Sprintf("legs[%d]", i))
		}
	}
	return nil
}

func (l *Leg) check() error {
	faces := []struct {
		name string
		face Face
		must bool
	}{{"bottom", l.Bottom, true}, {"top", l.Top, true}, {"rim", l.Rim, false}}
	for _, f := range faces {
		if f.face == nil {
			if f.must {
				return fault.New("heat-face", "the leg has no %s face", f.name).On(f.name, "").
					WithFix("say what touches it, e.g. air")
			}
			continue
		}
		if err := f.face.check(); err != nil {
			return at(err, f.name)
		}
	}
	c := checker{}
	e := l.Ends
	if e.TimeS == nil && e.CoreC == nil && e.SurfaceC == nil && e.ColdestC == nil {
		return fault.New("heat-end", "the leg never ends").On("ends_when", "").
			WithFix("give a time, core, surface or coldest temperature")
	}
	if e.TimeS != nil {
		c.between("ends_when.time", *e.TimeS, 0, 7*86400)
		if *e.TimeS == 0 {
			c.fail("ends_when.time", "a leg must last longer than no time")
		}
	}
	c.optional("ends_when.core", e.CoreC, -20, 400)
	c.optional("ends_when.surface", e.SurfaceC, -20, 400)
	c.optional("ends_when.coldest", e.ColdestC, -20, 400)
	if t := l.Turn; t != nil {
		n := 0
		if t.EveryS != 0 {
			n++
			c.between("turn.every", t.EveryS, 0.1, 1e6)
		}
		if t.CoreRiseK != 0 {
			n++
			c.between("turn.core_rise", t.CoreRiseK, 0.1, 200)
		}
		if len(t.AtS) > 0 {
			n++
		}
		for i, v := range t.AtS {
			c.between("turn.at", v, 0, 1e6)
			if i > 0 && !(v > t.AtS[i-1]) {
				c.fail("turn.at", "turn times must increase")
			}
		}
		if n != 1 {
			c.fail("turn", "a turn rule needs exactly one of every, at and core_rise")
		}
	}
	if c.err != nil {
		return c.err
	}
	for i := range l.Also {
		if err := l.Also[i].check(); err != nil {
			return at(err, fmt.Sprintf("also[%d]", i))
		}
	}
	return nil
}

func (a *Action) check() error {
	n := 0
	c := checker{}
	if a.FromTurnsBeforeEnd != 0 {
		n++
		c.between("from_turns_before_end", float64(a.FromTurnsBeforeEnd), 1, 1000)
	}
	if a.LastS != 0 {
		n++
		c.between("last", a.LastS, 0, 1e6)
	}
	if a.FromS != nil {
		n++
		c.between("from", *a.FromS, 0, 1e6)
	}
	if n != 1 {
		c.fail("also", "an action needs exactly one start")
	}
	if a.Bottom == nil && a.Top == nil && a.Rim == nil {
		c.fail("also", "the action changes no face")
	}
	for _, f := range []Face{a.Bottom, a.Top, a.Rim} {
		if f != nil && c.err == nil {
			c.err = f.check()
		}
	}
	return c.err
}

// at prefixes the field of an error.
func at(err error, where string) error {
	e := fault.As(err)
	if e == nil {
		return err
	}
	c := *e
	switch {
	case c.Field == "" || c.Field == where:
		c.Field = where
	default:
		c.Field = where + "." + c.Field
	}
	return &c
}

// prepare sets up the piece, grid and memory for a cook.
func (s *Solver) prepare(spec *Spec, opt Options) error {
	s.spec, s.opt = spec, opt
	p := &spec.Piece
	s.moist = spec.Moisture.On
	if err := s.mat.compile(p, s.moist); err != nil {
		return err
	}
	s.pressurePa = spec.PressurePa
	if s.pressurePa == 0 {
		s.pressurePa = steam.PressureAtAltitudePa(spec.AltitudeM)
	}
	s.boilC = steam.BoilingPointC(s.pressurePa) + spec.Moisture.BoilingRiseK
	s.bendC = s.boilC
	if !s.moist {
		s.bendC = fitC(inf)
	}
	s.shrinkage = spec.Moisture.Shrinkage
	d := spec.Moisture.DiffusivityM2S
	if d == 0 {
		d = DefaultWaterDiffusivity
	}
	s.diffuses = s.moist && d > 0
	def := defaultsFor(p.Shape, s.moist, opt.Fast)
	nz, nr, tol := orDefault(opt.Cells, def.cells), orDefault(opt.RadialCells, def.radial), orDefault(opt.TolK, def.tolK)
	if p.Shape == Slab {
		nr = 1
	}
	if nz < 6 || nz > 20000 || nr < 1 || p.Shape == Disc && nr < 4 || nr > 1000 {
		return fault.BadUsage("heat-cells", "a slab needs 6 cells or more, a disc 6 by 4").
			On("cells", fmt.Sprintf("%d × %d", nz, nr))
	}
	s.stepTol = tol
	s.newtonTol = 0.05 * s.stepTol
	s.maxStep = orDefault(opt.MaxStepS, 60)
	s.mesh.set(p, nz, nr)
	s.allocate()

	s.law.on = false
	if s.moist {
		r := spec.Moisture.Release
		if r == nil {
			r = DefaultRelease(s.mat.class)
		}
		s.law.set(r)
		s.latent = latentHeat(s.boilC)
		s.vapourJ = s.latent + s.mat.waterEnthalpy(s.boilC)
		h, b := s.mat.hWater, s.boilC
		s.cpWaterBoil = h[0] + b*(2*h[1]+3*b*h[2])
		h = s.mat.hSolids
		s.cpDrySolids = orDefault(s.mat.cpCrust, h[0]+b*(2*h[1]+3*b*h[2]))
	}
	if s.diffuses {
		s.setDiffusion(d)
	}
	g := &s.mesh
	s.faceLength = p.DiameterM
	if p.Shape == Slab {
		s.faceLength = slabFaceLengthM
	}
	s.rawKg = s.mat.rho * g.total
	for i := range g.n {
		iz, j := i/g.nr, i%g.nr
		s.dzOf[i] = g.dz[iz]
		m := s.mat.rho * g.volume[i]
		s.ms[i] = m * s.mat.solids
		s.w0[i] = m * s.mat.water
		s.old.w[i], s.old.dry[i], s.old.boils[i] = s.w0[i], 0, false
		s.old.t[i] = p.startMean(g.zEdge[iz], g.zEdge[iz+1])
		s.dries[i] = towardA
		depth := g.zc[iz]
		if up := p.ThicknessM - depth; up < depth {
			s.dries[i], depth = towardB, up
		}
		if p.Shape == Disc && p.DiameterM/2-g.rc[j] < depth {
			s.dries[i] = towardRim
		}
		s.rate[i], s.dryRate[i], s.eRate[i] = 0, 0, 0
		s.moved[i] = false
	}
	copy(s.now.w, s.old.w)
	s.old.plate, s.plateOf = 0, nil
	for i := range g.n {
		s.setCurve(i)
		t := s.old.t[i]
		if s.moist && t > s.boilC {
			return fault.New("heat-start", "the piece starts above its boiling point, %.1f °C", s.boilC).
				On("piece.start", fmt.Sprintf("%.4g °C", t))
		}
		s.old.e[i] = s.curve[i].enthalpyAt(t)
	}
	s.setFaces()
	s.now.copyFrom(&s.old)
	s.aDown, s.t, s.legStart = true, 0, 0
	s.oiled = [3]float64{1, 1, 1}
	s.touchedAt = [3]float64{}
	s.hNext = restartStepS
	s.handedOver, s.kinkStep = false, 1
	s.curvesStale = false
	s.halfDrip, s.halfDripJ = 0, 0
	s.newton, s.steps, s.rejected, s.reruns = 0, 0, 0, 0
	s.tally = tally{}
	s.probes.set(s)
	return nil
}

// gridDefaults are numerical options where none are given.
type gridDefaults struct {
	cells, radial int
	tolK          float64
}

// defaultsFor returns the default grid and tolerance, chosen on the cooks of
// docs/heat-cost.md. Without a boiling front to follow steps are few, and
// finer ones cost little.
func defaultsFor(shape Shape, moist, fast bool) gridDefaults {
	switch {
	case shape == Slab && moist && fast:
		return gridDefaults{16, 1, 0.2}
	case shape == Slab && moist:
		return gridDefaults{32, 1, 0.05}
	case shape == Slab && fast:
		return gridDefaults{24, 1, 0.05}
	case shape == Slab:
		return gridDefaults{48, 1, 0.005}
	case moist && fast:
		return gridDefaults{16, 6, 0.2}
	case moist:
		return gridDefaults{28, 12, 0.1}
	case fast:
		return gridDefaults{16, 8, 0.05}
	}
	return gridDefaults{40, 22, 0.005}
}

const (
	restartStepS = 0.25
	// slabFaceLengthM is the length of a slab's face along the air, for the
	// convection correlations.
	slabFaceLengthM = 0.1
)

func (s *Solver) allocate() {
	n, nr, nz := s.mesh.n, s.mesh.nr, s.mesh.nz
	for _, p := range []*[]float64{
		&s.ms, &s.w0, &s.dzOf, &s.dzNow, &s.rA, &s.rB, &s.rIn, &s.rOut, &s.gz, &s.gr, &s.gwz, &s.gwr,
		&s.rate, &s.dryRate, &s.eRate, &s.invC, &s.dedt, &s.diag, &s.off, &s.off2, &s.res, &s.dT,
		&s.known, &s.startE, &s.qCubic, &s.q[0], &s.q[1], &s.q[2], &s.stageT[0], &s.stageT[1], &s.stageT[2],
	} {
		*p = grow(*p, n)
	}
	s.dries, s.moved, s.curve = grow(s.dries, n), grow(s.moved, n), grow(s.curve, n)
	faces := 2 * nr
	if s.spec.Piece.Shape == Disc {
		faces += nz
		s.band.resize(n, nr)
	}
	s.faces = grow(s.faces, faces)
	s.smooth = grow(s.smooth, nr)
	s.smoothR = grow(s.smoothR, nz)
	s.old.resize(n, faces)
	s.now.resize(n, faces)
}

func (s *Solver) setFaces() {
	g := &s.mesh
	k := 0
	add := func(cell int, area float64, side faceSide) {
		s.faces[k] = element{cell: cell, area: area, side: side, aw: 1, evap: 1}
		s.faces[k].surf.tempC = s.old.t[cell]
		s.old.ts[k] = s.old.t[cell]
		k++
	}
	for j := range g.nr {
		add(j, g.faceArea[j], sideA)
	}
	for j := range g.nr {
		add((g.nz-1)*g.nr+j, g.faceArea[j], sideB)
	}
	if s.spec.Piece.Shape == Disc {
		for iz := range g.nz {
			add(iz*g.nr+g.nr-1, g.rimArea[iz], sideRim)
		}
	}
}

// legTime is the time since the leg's start.
func (s *Solver) legTime() float64 { return s.legT }

// where describes the hottest-changing place for error messages.
func (s *Solver) where() string {
	worst, at := 0.0, 0
	for i, r := range s.res[:s.mesh.n] {
		if v := math.Abs(r * s.invC[i]); v > worst {
			worst, at = v, i
		}
	}
	return fmt.Sprintf("%.2f mm from side A", 1e3*s.mesh.zc[at/s.mesh.nr])
}

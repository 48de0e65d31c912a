package heat

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"trivet/fault"
)

// tally is what a run books besides the state of the piece.
type tally struct {
	ledger                   Ledger
	dripKg, evapKg, boiledKg float64
	startJ                   float64
	peak                     []float64
	nextOut                  int
	every                    float64
	snaps                    []float64
	nextSnap                 int
	pullLeg                  int // −1 without a trailing rest
	pulled                   bool
	pullS, pullCore          float64
	peakCore, peakS          float64
	done                     []bool
	targets                  []target
	panSeen                  bool
	evenShare                float64
}

func (s *Solver) beginRecord(res *Result) {
	s.recording = res
	o := &s.spec.Output
	ty := &s.tally
	keep := *res
	*res = Result{
		ModelVersion: ModelVersion,
		TimeS:        keep.TimeS[:0], CoreC: keep.CoreC[:0], ColdestC: keep.ColdestC[:0],
		BottomC: keep.BottomC[:0], TopC: keep.TopC[:0], RimC: keep.RimC[:0], MeanC: keep.MeanC[:0],
		PanC: keep.PanC[:0], DepthM: append(keep.DepthM[:0], o.DepthsM...), DepthC: keep.DepthC[:0],
		Events: keep.Events[:0], Legs: keep.Legs[:0], Notes: keep.Notes[:0],
		PeakC: grow(keep.PeakC, s.mesh.n), Snapshots: keep.Snapshots[:0],
		LedgerM: keep.LedgerM, LedgerJ: keep.LedgerJ,
	}
	if res.DepthM == nil {
		res.DepthM = []float64{}
	}
	ty.every = orDefault(o.EveryS, 5)
	ty.snaps = append(ty.snaps[:0], o.SnapshotsS...)
	sort.Float64s(ty.snaps)
	ty.peak = res.PeakC
	copy(ty.peak, s.now.t[:s.mesh.n])
	ty.pullLeg = -1
	for i := len(s.spec.Legs) - 1; i >= 0 && s.spec.Legs[i].Rest; i-- {
		ty.pullLeg = i
	}
	for _, l := range s.spec.Legs {
		if _, ok := l.Bottom.(Pan); ok {
			ty.panSeen = true
		}
	}
	for _, e := range s.now.e[:s.mesh.n] {
		ty.startJ += e
	}
	res.Grid = s.grid(keep.Grid)
	if obs := s.opt.Observer; obs != nil {
		obs.Begin(res.Grid)
	}
}

func (s *Solver) grid(old Grid) Grid {
	g := &s.mesh
	out := Grid{
		Shape: s.spec.Piece.Shape, ThicknessM: s.spec.Piece.ThicknessM, RadialCells: g.nr,
		DepthsM: append(old.DepthsM[:0], g.zc...), EdgesM: append(old.EdgesM[:0], g.zEdge...),
		RadiiM: append(old.RadiiM[:0], g.rc...), RadialEdges: append(old.RadialEdges[:0], g.rEdge...),
	}
	if out.Shape == Disc {
		out.DiameterM = s.spec.Piece.DiameterM
	}
	return out
}

func (s *Solver) note(kind EventKind, what string) {
	if s.recording == nil {
		return
	}
	s.recording.Events = append(s.recording.Events, Event{TimeS: s.t, What: what, Kind: kind, Leg: s.leg})
}

func (s *Solver) recordLegStart(leg *Leg) {
	s.lookNow()
	ty := &s.tally
	core := s.probes.v[2][probeCore]
	s.note(LegStart, "leg "+leg.Name)
	s.recording.Legs = append(s.recording.Legs, LegResult{Name: leg.Name, Rest: leg.Rest, StartS: s.t, CoreStart: core})
	if s.leg == ty.pullLeg {
		ty.pulled = true
		ty.pullS, ty.pullCore = s.t, core
		ty.peakCore, ty.peakS = core, s.t
		ty.evenShare = s.evenShare(core, orDefault(s.spec.Output.EvenBandK, 5))
		s.snapshot("pull")
	}
}

// recordStart writes the row of time 0: the piece as it was before anything
// touched it. (The first step sees the faces already under their new
// conditions.)
func (s *Solver) recordStart() {
	if s.recording == nil || s.tally.nextOut > 0 {
		return
	}
	v := &s.probes.v
	copy(v[0], v[2])
	copy(v[1], v[2])
	s.output(0, 0)
	s.tally.nextOut = 1
	if s.nextSnapshot() <= s.t {
		s.snapshot("asked")
		s.tally.nextSnap++
	}
}

func (s *Solver) recordLegEnd(leg *Leg, out outcome) {
	s.lookNow()
	s.note(LegEnd, fmt.Sprintf("end of leg %s: %s", leg.Name, out.why))
	l := &s.recording.Legs[len(s.recording.Legs)-1]
	l.EndS, l.Turns, l.CoreEnd = s.t, out.turns, s.probes.v[2][probeCore]
}

// nextSnapshot is the cook time of the next asked snapshot.
func (s *Solver) nextSnapshot() float64 {
	if s.recording == nil || s.tally.nextSnap >= len(s.tally.snaps) {
		return inf
	}
	return s.tally.snaps[s.tally.nextSnap]
}

func (s *Solver) snapshot(what string) {
	g := &s.mesh
	n := g.n
	res := s.recording
	// An earlier cook's snapshot in the same place lends its memory.
	k := len(res.Snapshots)
	if k < cap(res.Snapshots) {
		res.Snapshots = res.Snapshots[:k+1]
	} else {
		res.Snapshots = append(res.Snapshots, Snapshot{})
	}
	sn := &res.Snapshots[k]
	sn.TimeS, sn.What, sn.SideADown = s.t, what, s.aDown
	sn.TempC = append(sn.TempC[:0], s.now.t[:n]...)
	sn.PeakC = append(sn.PeakC[:0], s.tally.peak[:n]...)
	sn.DryShare = append(sn.DryShare[:0], s.now.dry[:n]...)
	sn.WaterPct = grow(sn.WaterPct, n)
	clear(sn.WaterPct)
	for i := range sn.WaterPct {
		if s.w0[i] > 0 {
			sn.WaterPct[i] = 100 * s.now.w[i] / s.w0[i]
		}
	}
	sn.FaceA = append(sn.FaceA[:0], s.now.ts[:g.nr]...)
	sn.FaceB = append(sn.FaceB[:0], s.now.ts[g.nr:2*g.nr]...)
	sn.Rim = nil
	if s.spec.Piece.Shape == Disc {
		sn.Rim = append(sn.Rim, s.now.ts[2*g.nr:]...)
	}
}

// accept books a step that was solved and settled.
func (s *Solver) accept(dt, errK float64) {
	n := s.mesh.n
	from := s.t
	s.legT += dt
	s.t = s.legStart + s.legT
	s.steps++
	for i := range n {
		s.rate[i] = (s.now.t[i] - s.old.t[i]) / dt
		s.eRate[i] = trW*(s.q[0][i]+s.q[1][i]) + trD*s.q[2][i]
	}
	if s.recording == nil {
		return
	}
	s.recording.Stats.WorstStepK = math.Max(s.recording.Stats.WorstStepK, errK)
	ty := &s.tally
	l := &ty.ledger
	for f := range s.faces {
		fc := &s.faces[f]
		into := &l.Bottom
		switch s.at(fc.side) {
		case top:
			into = &l.Top
		case rim:
			into = &l.Rim
		}
		for k, w := range stageWeights {
			x := dt * fc.area * w
			into.add(&fc.cause[k], x)
			l.Evaporation += x * fc.cause[k].evaporation
		}
	}
	if s.moist {
		ty.dripKg += s.stepDrip
		ty.evapKg += s.stepEvap
		ty.boiledKg += s.stepBoiled
		l.Drip += s.stepDripJ
		l.Evaporation += s.stepEvapJ
		l.Boiling += s.stepBoiledJ
	}
	for k := 1; k < 3; k++ {
		for i, t := range s.stageT[k][:n] {
			if t > ty.peak[i] {
				ty.peak[i] = t
			}
		}
	}
	v := &s.probes.v
	if ty.pulled {
		if c, x := summit(v[0][probeCore], v[1][probeCore], v[2][probeCore]); c > ty.peakCore {
			ty.peakCore, ty.peakS = c, from+x*dt
		}
	}
	for {
		t := float64(ty.nextOut) * ty.every
		if t > s.t+1e-9*math.Max(1, s.t) {
			break
		}
		s.output(t, math.Max(0, math.Min(1, (t-from)/dt)))
		ty.nextOut++
	}
	if s.nextSnapshot() <= s.t+1e-9 {
		s.snapshot("asked")
		ty.nextSnap++
	}
	if obs := s.opt.Observer; obs != nil {
		st := Step{
			FromS: from, ToS: s.t, FromC: s.stageT[0][:n], ToC: s.stageT[2][:n],
			FromCoreC: v[0][probeCore], ToCoreC: v[2][probeCore],
			FromColdestC: v[0][probeColdest], ToColdestC: v[2][probeColdest],
			FromA: v[0][probeA], ToA: v[2][probeA], FromB: v[0][probeB], ToB: v[2][probeB],
			SideADown: s.aDown, Leg: s.leg, WaterKg: s.now.w[:n], DrySolidsKg: s.ms[:n],
			SurfaceDryness: [2]float64{s.now.dry[0], s.now.dry[n-1]},
		}
		obs.Step(st)
	}
}

// summit is the highest value of the parabola through (0,a), (γ,b), (1,c)
// on [0, 1] and where it is.
func summit(a, b, c float64) (value, x float64) {
	value, x = a, 0
	if c > value {
		value, x = c, 1
	}
	// T = a + px + qx².
	const g = trGamma
	q := ((c-b)/(1-g) - (b-a)/g) / 1
	p := (b-a)/g - q*g
	if q < 0 {
		if at := -p / (2 * q); at > 0 && at < 1 {
			if v := a + at*(p+at*q); v > value {
				value, x = v, at
			}
		}
	}
	return value, x
}

// output writes one row at a share x of the step.
func (s *Solver) output(t, x float64) {
	r, v := s.recording, &s.probes.v
	smooth := func(k int) float64 { return quadratic(v[0][k], v[1][k], v[2][k], x) }
	// Faces and depths may bend at boiling: hold them between their values.
	held := func(k int) float64 {
		a, b, c := v[0][k], v[1][k], v[2][k]
		return max(min(a, b, c), min(max(a, b, c), quadratic(a, b, c, x)))
	}
	r.TimeS = append(r.TimeS, t)
	r.CoreC = append(r.CoreC, smooth(probeCore))
	r.ColdestC = append(r.ColdestC, held(probeColdest))
	r.BottomC = append(r.BottomC, held(probeA))
	r.TopC = append(r.TopC, held(probeB))
	r.MeanC = append(r.MeanC, smooth(probeMean))
	if s.spec.Piece.Shape == Disc {
		r.RimC = append(r.RimC, held(probeRim))
	}
	if s.tally.panSeen {
		pan := held(probePan)
		if _, ok := s.spec.Legs[s.leg].Bottom.(Pan); !ok && len(r.PanC) > 0 {
			pan = r.PanC[len(r.PanC)-1]
		}
		r.PanC = append(r.PanC, pan)
	}
	k := len(r.DepthC)
	if cap(r.DepthC) > k {
		r.DepthC = r.DepthC[:k+1]
	} else {
		r.DepthC = append(r.DepthC, nil)
	}
	row := grow(r.DepthC[k], len(s.spec.Output.DepthsM))
	if row == nil {
		row = []float64{}
	}
	for d := range row {
		row[d] = held(probeDepths + d)
	}
	r.DepthC[k] = row
}

func (s *Solver) endRecord() {
	r, ty := s.recording, &s.tally
	n := s.mesh.n
	s.lookNow()
	s.snapshot("end")
	band := orDefault(s.spec.Output.EvenBandK, 5)
	sum := Summary{SurfaceAtEndC: s.probes.v[2][probeSurface], EvenBandK: band}
	sum.EvenSharePct = s.evenShare(s.probes.v[2][probeCore], band)
	if ty.pulled {
		sum.EvenSharePct = ty.evenShare
		sum.PullTimeS, sum.CoreAtPullC = new(ty.pullS), new(ty.pullCore)
		sum.CorePeakC, sum.CarryoverK = new(ty.peakCore), new(ty.peakCore-ty.pullCore)
		sum.TimeToPeakS = new(ty.peakS - ty.pullS)
	}
	sum.DripPct = 100 * ty.dripKg / s.rawKg
	sum.EvaporatedPct = 100 * ty.evapKg / s.rawKg
	sum.BoiledPct = 100 * ty.boiledKg / s.rawKg
	sum.LossPct = sum.DripPct + sum.EvaporatedPct + sum.BoiledPct
	r.Summary = sum

	l := &ty.ledger
	for _, e := range s.now.e[:n] {
		l.Stored += e
	}
	l.Stored -= ty.startJ
	l.Bottom.sum()
	l.Top.sum()
	l.Rim.sum()
	l.Residual = l.Bottom.In + l.Top.In + l.Rim.In - l.Stored - l.Evaporation - l.Boiling - l.Drip
	for _, f := range [...]*FaceHeat{&l.Bottom, &l.Top, &l.Rim} {
		for _, x := range [...]float64{f.Contact, f.Convection, f.Radiation, f.Fat, f.Condensation, f.Prescribed} {
			l.Throughput += math.Abs(x)
		}
	}
	l.Throughput += math.Abs(l.Stored) + l.Evaporation + l.Boiling + l.Drip
	if s.spec.Piece.Shape == Slab {
		r.LedgerJ = nil
		r.LedgerM = keepLedger(r.LedgerM, l)
	} else {
		r.LedgerM = nil
		r.LedgerJ = keepLedger(r.LedgerJ, l)
	}
	r.Stats = Stats{Cells: n, Steps: s.steps, Rejected: s.rejected, Newton: s.newton, LegsRerun: s.reruns, WorstStepK: r.Stats.WorstStepK}
	r.Notes = append(r.Notes, estimateNote)
	if hot := slices.Max(ty.peak); hot > charC {
		r.Notes = append(r.Notes, fault.Notef("model-range",
			"The piece is predicted to reach %.0f °C near a face. Food chars and burns below that, which the model leaves out: check the temperatures and coefficients of the faces.", hot))
	}
	s.recording = nil
}

// charC is a temperature at which a crust no longer only browns: the kinetics
// of browning end at 250 °C (Zanoni, Peri & Bruno 1995); the limit is chosen.
const charC = 300

var estimateNote = fault.Note{
	Code: "model-estimate",
	Text: "A prediction of a model with literature values, not a measurement: unfitted, expect ±5 K in the core, ±15 % in times and ±5 points in losses.",
}

func keepLedger(to, l *Ledger) *Ledger {
	if to == nil {
		to = new(Ledger)
	}
	*to = *l
	return to
}

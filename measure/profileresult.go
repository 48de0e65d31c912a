package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"trivet/fault"
)

// Profile is the temperature through the thickness of a piece over time, as
// fitted by [FitProfile]. Uncertainties are standard ones, of the fit alone:
// the calibration that all sensors share is not in them.
type Profile struct {
	TimeS    []float64
	CoreC    []float64 // geometric centre
	CoreU    []float64
	FaceC    [2][]float64 // side A, side B
	FaceU    [2][]float64
	ColdestC []float64
	ColdestM []float64 // depth of the coldest point from side A

	ShiftM, ShiftUM         float64 // how much deeper the probe sat than meant
	ThicknessM, ThicknessUM float64
	CrustM, CrustUM         float64 // mean depth of the dry crusts on the faces; 0 where none boiled
	DiffusivityM2S          float64
	MisfitK                 float64 // root mean square of sensors less the steady-contact model
	NoiseK                  float64 // of one sample
	Sensors                 int
	Notes                   []fault.Note

	// The sensor the model misses most, by how much (root mean square), and
	// when most.
	worst          string
	worstK, worstS float64

	depth []float64 // ξ of the nodes
	field []float64 // nodes at each time

	changesS []float64    // when the heat on the faces changed, as marked
	jumps    []faceCourse // the faces about those moments, closer than the blocks
}

// remainder is the length over which the smooth remainder hangs together, as
// a share of the thickness.
const remainderLength = 0.25

// spacingUM is how well the place of a sensor on its probe is known against
// the others, standard uncertainty (our choice, no source).
const spacingUM = 0.2e-3

// steadyU is what a fit of steady contacts and constant properties may leave
// in the centre over a whole cook, K, standard uncertainty: seen in cooks
// computed with properties that follow temperature and water.
const steadyU = 0.05

// faceWhereM is how well a face of food has a place at all, standard
// uncertainty (our choice: a twentieth of a millimetre).
const faceWhereM = 0.05e-3

// profile adds the smooth remainder and its uncertainty.
func (f *profileFit) profile(p []float64, cov *mat.SymDense, jac, out []float64, rms float64) *Profile {
	nt, ns, n := len(f.timeS), len(f.sensors), f.params
	const nodes = fieldNodes
	pr := &Profile{TimeS: f.timeS, MisfitK: rms, NoiseK: mean(f.noiseK), Sensors: ns,
		ShiftM: p[pShift] / 1e3, ShiftUM: math.Sqrt(cov.At(pShift, pShift)) / 1e3,
		ThicknessM: p[pThick] / 1e3, ThicknessUM: math.Sqrt(cov.At(pThick, pThick)) / 1e3,
		DiffusivityM2S: math.Exp(p[pAlpha])}
	series := func() []float64 { return make([]float64, nt) }
	pr.CoreC, pr.CoreU, pr.ColdestC, pr.ColdestM = series(), series(), series(), series()
	for k := range pr.FaceC {
		pr.FaceC[k], pr.FaceU[k] = series(), series()
	}
	pr.field, pr.depth = f.through(p)

	at := make([]float64, ns)
	for i := range ns {
		at[i] = f.where(p, i)
	}
	like := func(a, b float64) float64 { return math.Exp(-0.5 * squared((a-b)/remainderLength)) }
	// Residuals averaged over a few seconds, and their size round about.
	half := max(1, int(math.Round(4/f.every)))
	res, count := make([]float64, ns*nt), make([]float64, ns*nt)
	for i := range ns {
		for k := range nt {
			sum, c := 0.0, 0.0
			for j := max(0, k-half); j <= min(nt-1, k+half); j++ {
				if y := f.y[i*nt+j]; !math.IsNaN(y) && !f.changes(f.timeS[min(j, k)], f.timeS[max(j, k)]) {
					sum += y - out[i*nt+j]
					c++
				}
			}
			if c > 0 {
				res[i*nt+k] = sum / c
			}
			count[i*nt+k] = c
		}
	}
	size := make([]float64, nt)
	for k := range nt {
		sum, c := 0.0, 0.0
		for j := max(0, k-5); j <= min(nt-1, k+5); j++ {
			for i := range ns {
				if m := count[i*nt+j]; m > 0 {
					s2 := squared(f.noise(i, j))/m + squared(f.relative(i))
					sum += squared(res[i*nt+j]) - s2
					c++
				}
			}
		}
		size[k] = 0.03 * 0.03
		if c > 0 {
			size[k] = max(size[k], sum/c)
		}
	}
	// Offsets of the sensors against each other last for the whole cook, and
	// the fit takes up some of them: as those of a mean of two.
	shared := 0.0
	for i := range ns {
		shared += squared(f.relative(i)) / float64(2*ns)
	}
	marks := []float64{0.5, 0, 1}
	var have []int
	grad := make([]float64, n)
	for k := range nt {
		have = have[:0]
		for i := range ns {
			if count[i*nt+k] > 0 {
				have = append(have, i)
			}
		}
		m := len(have)
		var chol mat.Cholesky
		var alpha mat.VecDense
		ok := false
		field := pr.field[k*nodes : (k+1)*nodes]
		steep := func(i int) float64 { // K/m there
			j := min(max(int(at[i]*(nodes-1)), 0), nodes-2)
			return (field[j+1] - field[j]) * (nodes - 1) / pr.ThicknessM
		}
		if m > 0 {
			gram := mat.NewSymDense(m, nil)
			r := mat.NewVecDense(m, nil)
			for a, i := range have {
				for b := a; b < m; b++ {
					gram.SetSym(a, b, size[k]*like(at[i], at[have[b]]))
				}
				gram.SetSym(a, a, gram.At(a, a)+squared(f.noise(i, k))/count[i*nt+k]+squared(f.relative(i))+squared(steep(i)*spacingUM))
				r.SetVec(a, res[i*nt+k])
			}
			ok = chol.Factorize(gram) && chol.SolveVecTo(&alpha, r) == nil
		}
		correct := func(xi float64) float64 {
			if !ok {
				return 0
			}
			sum := 0.0
			for a, i := range have {
				sum += size[k] * like(xi, at[i]) * alpha.AtVec(a)
			}
			return sum
		}
		row := pr.field[k*nodes : (k+1)*nodes]
		for j := range row {
			row[j] += correct(pr.depth[j])
		}
		for w, xi := range marks {
			v := out[(ns+w)*nt+k] + correct(xi)
			variance := size[k]
			weights := mat.NewVecDense(max(m, 1), nil)
			if ok {
				c := mat.NewVecDense(m, nil)
				for a, i := range have {
					c.SetVec(a, size[k]*like(xi, at[i]))
				}
				if chol.SolveVecTo(weights, c) == nil {
					variance = max(0, variance-mat.Dot(weights, c))
				}
			}
			// The remainder takes back what wrong parameters do at the
			// sensors: d out/dp = g − Σ w_i g_i.
			for q := range n {
				g := jac[q*len(out):]
				grad[q] = g[(ns+w)*nt+k]
				if ok {
					for a, i := range have {
						grad[q] -= weights.AtVec(a) * g[i*nt+k]
					}
				}
			}
			v2 := variance
			for q := range n {
				for s := range n {
					v2 += grad[q] * grad[s] * cov.At(q, s)
				}
			}
			if w > 0 { // and where the face is
				near, next := 0, 1
				if w == 2 {
					near, next = nodes-1, nodes-2
				}
				slope := (row[near] - row[next]) / (pr.depth[1] * pr.ThicknessM)
				v2 += squared(slope * faceWhereM)
			}
			u := math.Sqrt(max(v2, 0))
			switch w {
			case 0:
				pr.CoreC[k], pr.CoreU[k] = v, math.Sqrt(u*u+shared+steadyU*steadyU)
			default:
				pr.FaceC[w-1][k], pr.FaceU[w-1][k] = v, u
			}
		}
		low := 0
		for j := range row {
			if row[j] < row[low] {
				low = j
			}
		}
		pr.ColdestC[k], pr.ColdestM[k] = row[low], pr.depth[low]*pr.ThicknessM
	}
	pr.jumps = f.jumps(pr, p, cov)
	f.restoreCrusts(pr, p, cov)
	f.measuredFaces(pr)
	f.crusts(pr)
	f.remark(pr, p)
	return pr
}

// measuredFaces puts what sensors on the faces read in place of the model's
// faces.
func (f *profileFit) measuredFaces(pr *Profile) {
	nodes := len(pr.depth)
	for side, i := range f.face {
		if !f.told(side) {
			continue
		}
		for k, c := range f.faceC[side] {
			pr.FaceC[side][k], pr.FaceU[side][k] = c, math.Hypot(f.relative(i), f.noise(i, k))
			pr.field[k*nodes+side*(nodes-1)] = c
		}
	}
}

// through is the model's field at even depths, time by time.
func (f *profileFit) through(p []float64) (field, depth []float64) {
	nt := len(f.timeS)
	depth = make([]float64, fieldNodes)
	for j := range depth {
		depth[j] = float64(j) / (fieldNodes - 1)
	}
	byPlace := make([]float64, nt*fieldNodes)
	f.run(p, depth, 0, byPlace)
	field = make([]float64, nt*fieldNodes)
	for j := range depth {
		for k := range nt {
			field[k*fieldNodes+j] = byPlace[j*nt+k]
		}
	}
	return field, depth
}

// noise of sensor i in block k, K.
func (f *profileFit) noise(i, k int) float64 {
	if s := f.sigma[i*len(f.timeS)+k]; s > 0 {
		return s
	}
	return math.Hypot(f.noiseK[i], 0.03)
}

// relative uncertainty of sensor i against the others.
func (f *profileFit) relative(i int) float64 {
	if u := f.sensors[i].RelativeUK; u > 0 {
		return u
	}
	return 0.1
}

// changes tells whether the faces changed between two times.
func (f *profileFit) changes(from, to float64) bool {
	for _, b := range f.breaks[1:] {
		at := b.fromS
		if b.when >= 0 && f.late != nil {
			at -= f.late[b.when]
		}
		if at > from && at <= to {
			return true
		}
	}
	return false
}

// remark says when the probe missed the centre, and when the fit is poor.
func (f *profileFit) remark(pr *Profile, p []float64) {
	shallow, deep := math.Inf(1), math.Inf(-1)
	nearest := math.Inf(1)
	probe := false
	for i, s := range f.sensors {
		x := pr.CrustM + f.where(p, i)*(pr.ThicknessM-2*pr.CrustM)
		shallow, deep = min(shallow, x), max(deep, x)
		nearest = min(nearest, math.Abs(x-pr.ThicknessM/2))
		probe = probe || s.OnProbe
	}
	note := func(code fault.Code, format string, args ...any) {
		pr.Notes = append(pr.Notes, fault.Notef(code, format, args...))
	}
	side := "B"
	if pr.ShiftM < 0 {
		side = "A"
	}
	middle := pr.ThicknessM / 2
	switch {
	case middle < shallow || middle > deep:
		note("probe-missed", "the probe missed the centre: its sensors sit between %.1f and %.1f mm of %.1f mm, and the core is extrapolated", 1e3*shallow, 1e3*deep, 1e3*pr.ThicknessM)
	case probe && math.Abs(pr.ShiftM) > 1e-3 && math.Abs(pr.ShiftM) > 2*pr.ShiftUM:
		note("probe-off-centre", "the probe sits %.1f ± %.1f mm (k = 2) further towards side %s than meant; the core is read at the centre all the same", 1e3*math.Abs(pr.ShiftM), 2e3*pr.ShiftUM, side)
	case nearest > 4e-3:
		note("probe-off-centre", "the sensor nearest to the centre is %.1f mm away from it", 1e3*nearest)
	}
	if pr.MisfitK > max(1.5, 4*pr.NoiseK) {
		note("profile-misfit", "steady contacts at the faces leave the sensors %.1f K off (root mean square); a smooth remainder takes it up, and the faces are less certain", pr.MisfitK)
	}
}

// index is the block at or before t and the share towards the next; false
// outside the fit.
func (p *Profile) index(t float64) (k int, f float64, ok bool) {
	n := len(p.TimeS)
	every := p.TimeS[1] - p.TimeS[0]
	if t < p.TimeS[0]-1e-9 || t > p.TimeS[n-1]+every { // the end falls into the last block
		return 0, 0, false
	}
	x := (t - p.TimeS[0]) / every
	k = min(max(int(x), 0), n-2)
	return k, min(max(x-float64(k), 0), 1), true
}

func blend(v []float64, k int, f float64) float64 { return v[k] + f*(v[k+1]-v[k]) }

// Core is the temperature of the geometric centre at t and its standard
// uncertainty.
func (p *Profile) Core(t float64) (tC, u float64, ok bool) {
	k, f, ok := p.index(t)
	if !ok {
		return 0, 0, false
	}
	return blend(p.CoreC, k, f), blend(p.CoreU, k, f), true
}

// Face is the temperature of side A (0) or B (1) at t and its standard
// uncertainty.
func (p *Profile) Face(side int, t float64) (tC, u float64, ok bool) {
	for _, j := range p.jumps {
		if x := (t - j.fromS) / j.everyS; x >= 0 && x <= float64(len(j.c[side])-1) {
			k := min(int(x), len(j.c[side])-2)
			f := x - float64(k)
			return blend(j.c[side], k, f), blend(j.u[side], k, f), true
		}
	}
	k, f, ok := p.index(t)
	if !ok {
		return 0, 0, false
	}
	return blend(p.FaceC[side], k, f), blend(p.FaceU[side], k, f), true
}

// Through returns the temperatures through the thickness at t, face to face,
// and their depths as shares of it. Up to a change they are those before it.
func (p *Profile) Through(t float64) (depth, tC []float64, ok bool) {
	k, f, ok := p.index(t)
	if !ok {
		return nil, nil, false
	}
	for _, at := range p.changesS {
		if k > 0 && t <= at && at <= p.TimeS[k+1] {
			k, f = k-1, f+1
			break
		}
	}
	n := len(p.depth)
	tC = make([]float64, n)
	for j := range tC {
		tC[j] = p.field[k*n+j] + f*(p.field[(k+1)*n+j]-p.field[k*n+j])
	}
	return p.depth, tC, true
}

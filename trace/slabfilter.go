package trace

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A slab of food between two faces whose temperatures wander: what sensors
// inside it read next follows from what they read before, but for noise and
// for what the faces newly do. A Kalman filter of that slab turns readings
// into innovations, which are white as long as nothing happens; a face that
// suddenly comes to other heat leaves a mark in them whose course is known.
//
// References: H. S. Carslaw, J. C. Jaeger 1959, Conduction of Heat in Solids,
// §2.5–2.7 (a face that jumps, or meets something through a film); R. E.
// Kalman 1960, J. Basic Engineering 82, 35–45; A. S. Willsky, H. L. Jones 1976,
// IEEE Trans. Automatic Control 21, 108–112 (jumps sought in innovations).
const (
	slabDiffusivity = 1.25e-7 // of meat, m²/s
	slabCellM       = 0.4e-3  // width of a cell at a face
	slabGrowth      = 1.35    // of each cell against its outer neighbour

	splashK = 1.5 // of a reading on a face, K
)

// wander is what a slab does beyond what is computed of it.
type wander struct {
	faceK float64 // of a face in a second, K
	cellK float64 // of a cell in a second, K: what conduction does not tell
	restK float64 // of a reading besides its noise, K
}

var (
	usualWander   = wander{0.7, 0.05, 0.15}
	touchedWander = wander{0.7, 0.3, 0.3}   // behind a moment at which the probe was moved
	calmWander    = wander{0.2, 0.02, 0.08} // in still hot air, where nothing boils or splashes
)

// slabFilter is the steady Kalman filter of a slab: cells across the
// thickness, then the temperatures of face A and face B.
type slabFilter struct {
	n, m  int
	dt    float64
	alpha float64   // diffusivity, m²/s
	f     []float64 // n×n: state one step on
	c     []float64 // m×n: readings of a state
	k     []float64 // n×m: gain
	w     []float64 // m×m lower triangle: innovations to unit variance
}

// newSlabFilter lays out the filter for sensors at depths under side A of a
// slab, with the standard deviation of each one's readings.
func newSlabFilter(thickM, alpha, dt float64, depthM, sd []float64, by wander) *slabFilter {
	widths := slabCells(thickM)
	cells := len(widths)
	s := &slabFilter{n: cells + 2, m: len(depthM), dt: dt, alpha: alpha}
	n, a, b := s.n, cells, cells+1

	// dT_i/dt = α/w_i · (flux in from either side); the faces stand still.
	rate := mat.NewDense(n, n, nil)
	link := func(i, j int, distance float64) {
		g := alpha / distance
		if i < cells {
			rate.Set(i, i, rate.At(i, i)-g/widths[i])
			rate.Set(i, j, rate.At(i, j)+g/widths[i])
		}
		if j < cells {
			rate.Set(j, j, rate.At(j, j)-g/widths[j])
			rate.Set(j, i, rate.At(j, i)+g/widths[j])
		}
	}
	at := make([]float64, 0, cells) // middles of the cells
	edge := 0.0
	for i, w := range widths {
		at = append(at, edge+w/2)
		edge += w
		if i > 0 {
			link(i-1, i, at[i]-at[i-1])
		}
	}
	link(0, a, at[0])
	link(cells-1, b, thickM-at[cells-1])
	rate.Scale(dt, rate)
	var step mat.Dense
	step.Exp(rate)
	s.f = make([]float64, 0, n*n)
	for i := range n {
		s.f = append(s.f, step.RawRowView(i)...)
	}

	s.c = make([]float64, s.m*n)
	for r, d := range depthM {
		row := s.c[r*n : (r+1)*n]
		low, lowAt := a, 0.0
		for i := 0; ; i++ {
			high, highAt := b, thickM
			if i < cells {
				high, highAt = i, at[i]
			}
			if d <= highAt || high == b {
				x := min(max((d-lowAt)/(highAt-lowAt), 0), 1)
				row[low], row[high] = row[low]+1-x, row[high]+x
				break
			}
			low, lowAt = high, highAt
		}
	}
	s.settle(sd, by)
	return s
}

// slabCells are widths of cells that crowd towards both faces.
func slabCells(thickM float64) []float64 {
	var half []float64
	sum, w := 0.0, slabCellM
	for sum < thickM/2 {
		half = append(half, w)
		sum += w
		w *= slabGrowth
	}
	out := make([]float64, 2*len(half))
	for i, h := range half {
		h *= thickM / 2 / sum
		out[i], out[len(out)-1-i] = h, h
	}
	return out
}

// settle runs the Riccati equation until the gain stands still.
func (s *slabFilter) settle(sd []float64, by wander) {
	n, m := s.n, s.m
	f, c := mat.NewDense(n, n, s.f), mat.NewDense(m, n, s.c)
	q, r := mat.NewDiagDense(n, nil), mat.NewDiagDense(m, nil)
	for i := range n {
		step := by.cellK
		if i >= n-2 {
			step = by.faceK
		}
		q.SetDiag(i, step*step*s.dt)
	}
	for i, u := range sd {
		r.SetDiag(i, u*u)
	}
	p := mat.NewDense(n, n, nil)
	p.Add(p, q)
	var pc, inno, gain, kc, next, tmp mat.Dense
	var chol mat.Cholesky
	last := 0.0
	for range 400 {
		pc.Mul(p, c.T())
		inno.Mul(c, &pc)
		inno.Add(&inno, r)
		if !chol.Factorize(symmetric(&inno)) {
			break
		}
		// gain = P Cᵀ S⁻¹
		var t mat.Dense
		if chol.SolveTo(&t, pc.T()) != nil {
			break
		}
		gain.CloneFrom(t.T())
		kc.Mul(&gain, c)
		tmp.Mul(&kc, p)
		next.Sub(p, &tmp)
		tmp.Mul(f, &next)
		next.Mul(&tmp, f.T())
		p.Add(&next, q)
		if tr := mat.Trace(&inno); math.Abs(tr-last) < 1e-6*tr {
			break
		} else {
			last = tr
		}
	}
	s.k = make([]float64, n*m)
	s.w = make([]float64, m*m)
	if gain.IsEmpty() {
		return
	}
	for i := range n {
		copy(s.k[i*m:(i+1)*m], gain.RawRowView(i))
	}
	var l, inv mat.TriDense
	chol.LTo(&l)
	if inv.InverseTri(&l) != nil {
		return
	}
	for i := range m {
		for j := range i + 1 {
			s.w[i*m+j] = inv.At(i, j)
		}
	}
}

func symmetric(d *mat.Dense) *mat.SymDense {
	n, _ := d.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (d.At(i, j)+d.At(j, i))/2)
		}
	}
	return s
}

// step carries a state over one step.
func (s *slabFilter) step(x, next []float64) {
	for i := range s.n {
		next[i] = dot(s.f[i*s.n:(i+1)*s.n], x)
	}
}

// innovate gives what readings tell beyond a state, in unit variance, and
// takes it into the state. A reading that is missing tells nothing.
func (s *slabFilter) innovate(x, y, raw, white []float64) {
	for r := range s.m {
		raw[r] = 0
		if !math.IsNaN(y[r]) {
			raw[r] = y[r] - dot(s.c[r*s.n:(r+1)*s.n], x)
		}
	}
	for i := range s.n {
		x[i] += dot(s.k[i*s.m:(i+1)*s.m], raw)
	}
	for r := range s.m {
		white[r] = dot(s.w[r*s.m:r*s.m+r+1], raw[:r+1])
	}
}

// innovations of readings, time by time, from a slab on, and the slab behind
// the last of them.
func (s *slabFilter) innovations(start []float64, read func(i int, y []float64), steps int) (white, end []float64) {
	out := make([]float64, steps*s.m)
	x, next := make([]float64, s.n), make([]float64, s.n)
	y, raw := make([]float64, s.m), make([]float64, s.m)
	copy(x, start)
	for i := range steps {
		read(i, y)
		s.innovate(x, y, raw, out[i*s.m:(i+1)*s.m])
		s.step(x, next)
		x, next = next, x
	}
	return out, x
}

// film is how a face comes to new heat that meets it through a film of
// conductance h: H = h/k, 1/m. It goes from 0 to 1 as
//
//	1 − exp(H²αt) erfc(H√(αt))
//
// (Carslaw & Jaeger 1959, §2.7). A small H is a step of the flux.
func film(hPerM, alpha, tau float64) float64 {
	if tau <= 0 {
		return 0
	}
	z := hPerM * math.Sqrt(alpha*tau)
	if z > 20 {
		return 1 - 1/(z*math.Sqrt(math.Pi))
	}
	return 1 - math.Exp(z*z)*math.Erfc(z)
}

// signature is what the innovations show from the moment on at which a face
// (0 A, 1 B) goes by shape(τ), in unit variance, step by step.
func (s *slabFilter) signature(face int, shape func(tau float64) float64, steps int) []float64 {
	out := make([]float64, steps*s.m)
	e, next := make([]float64, s.n), make([]float64, s.n)
	raw := make([]float64, s.m)
	y := make([]float64, s.m) // the error's own readings are 0 − C e
	held := 0.0
	for i := range steps {
		s.innovate(e, y, raw, out[i*s.m:(i+1)*s.m])
		// The face stands at its mean over the step.
		tau := float64(i) * s.dt
		now := (shape(tau) + 4*shape(tau+s.dt/2) + shape(tau+s.dt)) / 6
		e[s.n-2+face] += now - held
		held = now
		s.step(e, next)
		e, next = next, e
	}
	for i := range out {
		out[i] = -out[i]
	}
	return out
}

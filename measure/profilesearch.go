package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// fit is the least-squares estimate with priors (maximum a posteriori) by
// Levenberg–Marquardt (Marquardt 1963, J. SIAM 11, 431–441). Residuals beyond
// three sigma count by Huber's weights. widen multiplies the variance of the
// data: residuals that hang together over time tell less than their number.
// Parameters that are fixed have no variance.
func (f *profileFit) fit(p []float64, widen float64, most int) (cov *mat.SymDense, jac, out []float64, chi2 float64) {
	out, chi2 = f.improve(p, widen, most)
	jac = make([]float64, f.params*len(out))
	f.jacobian(p, out, jac, true)
	return f.covariance(p, jac, out, widen), jac, out, chi2
}

// improve moves p downhill in so many steps at most.
func (f *profileFit) improve(p []float64, widen float64, most int) (out []float64, chi2 float64) {
	n := f.params
	out = make([]float64, (len(f.sensors)+watched)*len(f.timeS))
	outTrial := make([]float64, len(out))
	trial := make([]float64, n)
	if len(f.scratch) < n*len(out) {
		f.scratch = make([]float64, n*len(out))
	}
	jac := f.scratch[:n*len(out)]
	f.model(p, f.places(p), out)
	now := f.cost(p, out, widen)
	for range most {
		f.jacobian(p, out, jac, false)
		normal := f.normal(p, jac, out, widen)
		right := f.downhill(p, jac, out, widen)
		better := false
		for range 8 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(normal)
			for i := range n {
				damped.SetSym(i, i, normal.At(i, i)*(1+f.damping))
			}
			if !f.stride(p, damped, right, trial) || !f.bounded(trial) {
				f.damping *= 10
				continue
			}
			f.model(trial, f.places(trial), outTrial)
			if c := f.cost(trial, outTrial, widen); c < now {
				better = now-c > 1e-3*(1+now/1e3)
				copy(p, trial)
				copy(out, outTrial)
				now = c
				f.damping = max(f.damping/10, 1e-9)
				break
			}
			f.damping *= 10
		}
		f.damping = min(f.damping, 1e-3)
		if !better {
			break
		}
	}
	return out, now
}

// cost is what fit makes least.
func (f *profileFit) cost(p, out []float64, widen float64) float64 {
	c := 0.0
	for j, y := range f.y {
		if math.IsNaN(y) {
			continue
		}
		z := math.Abs(y-out[j]) / (f.sigma[j] * math.Sqrt(widen))
		if z > 3 {
			c += 6*z - 9
		} else {
			c += z * z
		}
	}
	for i := range p {
		c += squared((p[i] - f.prior[i]) / f.priorU[i])
	}
	for _, o := range f.outside(p) {
		c += squared(o.mm / outsideMM)
	}
	return c
}

// outsideMM is how far beyond a face a sensor of a probe may seem to be,
// standard uncertainty: one that told what lies beyond the film would be taken
// for one on a face without a film.
const outsideMM = 0.05

// outlier is a sensor put beyond a face, and how that changes with the
// thickness.
type outlier struct{ mm, byShift, byThick float64 }

// outside finds sensors of the probe beyond a face. Where a face boils, the
// slab ends at the crust and they may well be there.
func (f *profileFit) outside(p []float64) (out []outlier) {
	if f.boils {
		return nil
	}
	for _, s := range f.sensors {
		at := 1e3*s.DepthM + p[pShift]
		switch {
		case !s.OnProbe:
		case at < 0:
			out = append(out, outlier{-at, -1, 0})
		case at > p[pThick]:
			out = append(out, outlier{at - p[pThick], 1, -1})
		}
	}
	return out
}

// bounded tells whether parameters are within what the model takes.
func (f *profileFit) bounded(p []float64) bool {
	for l := pLegs; l < f.films; l += 2 {
		if p[l] > mostFilm || math.Abs(p[l+1]) > 900 {
			return false
		}
	}
	return math.Abs(p[pShift]) < 20 && p[pThick] > 0.5*f.prior[pThick] && p[pThick] < 1.5*f.prior[pThick] && math.Abs(p[pAlpha]-f.prior[pAlpha]) < 1.5
}

// stepOf is by how much a parameter is moved for its derivative.
func (f *profileFit) stepOf(i int) float64 {
	switch {
	case i == pShift || i == pThick:
		return 0.05
	case f.isFilm(i):
		return 0.01
	case i >= f.films:
		return 0.2
	case i > pLegs:
		return 0.5
	}
	return 0.02
}

// jacobian holds the derivatives of the model by each parameter, row by row;
// of those that are fixed only when all are asked for.
func (f *profileFit) jacobian(p, out, jac []float64, all bool) {
	trial := slices.Clone(p)
	for i := range f.params {
		row := jac[i*len(out) : (i+1)*len(out)]
		if f.fixed[i] && !all {
			clear(row)
			continue
		}
		h := f.stepOf(i)
		trial[i] = p[i] + h
		f.model(trial, f.places(trial), row)
		for j := range row {
			row[j] = (row[j] - out[j]) / h
		}
		trial[i] = p[i]
	}
}

// weights of the data: what is beyond three sigma counts less.
func (f *profileFit) weights(out []float64, widen float64) []float64 {
	weight := make([]float64, len(f.y))
	for j, y := range f.y {
		if math.IsNaN(y) {
			continue
		}
		s2 := squared(f.sigma[j]) * widen
		weight[j] = 1 / s2
		if z := math.Abs(y-out[j]) / math.Sqrt(s2); z > 3 {
			weight[j] *= 3 / z
		}
	}
	return weight
}

// normal is the matrix of the normal equations, the priors' information in it.
func (f *profileFit) normal(p, jac, out []float64, widen float64) *mat.SymDense {
	n := f.params
	weight := f.weights(out, widen)
	normal := mat.NewSymDense(n, nil)
	weighed := make([]float64, len(weight))
	for i := range n {
		ri := jac[i*len(out):]
		for j, w := range weight {
			weighed[j] = w * ri[j]
		}
		for k := i; k < n; k++ {
			rk := jac[k*len(out):]
			sum := 0.0
			for j, w := range weighed {
				sum += w * rk[j]
			}
			normal.SetSym(i, k, sum)
		}
		normal.SetSym(i, i, normal.At(i, i)+1/squared(f.priorU[i]))
	}
	for _, o := range f.outside(p) {
		w := 1 / squared(outsideMM)
		normal.SetSym(pShift, pShift, normal.At(pShift, pShift)+w*o.byShift*o.byShift)
		normal.SetSym(pShift, pThick, normal.At(pShift, pThick)+w*o.byShift*o.byThick)
		normal.SetSym(pThick, pThick, normal.At(pThick, pThick)+w*o.byThick*o.byThick)
	}
	return normal
}

// downhill is their right side.
func (f *profileFit) downhill(p, jac, out []float64, widen float64) []float64 {
	right := make([]float64, f.params)
	weight := f.weights(out, widen)
	for i := range right {
		right[i] = (f.prior[i] - p[i]) / squared(f.priorU[i])
		ri := jac[i*len(out):]
		for j, w := range weight {
			if w > 0 {
				right[i] += w * ri[j] * (f.y[j] - out[j])
			}
		}
	}
	for _, o := range f.outside(p) {
		right[pShift] -= o.mm * o.byShift / squared(outsideMM)
		right[pThick] -= o.mm * o.byThick / squared(outsideMM)
	}
	return right
}

// covariance of the parameters that are free.
func (f *profileFit) covariance(p, jac, out []float64, widen float64) *mat.SymDense {
	normal := f.normal(p, jac, out, widen)
	var free []int
	for i := range f.params {
		if !f.fixed[i] {
			free = append(free, i)
		}
	}
	sub := mat.NewSymDense(len(free), nil)
	for a, i := range free {
		for b := a; b < len(free); b++ {
			sub.SetSym(a, b, normal.At(i, free[b]))
		}
	}
	cov := mat.NewSymDense(f.params, nil)
	var chol mat.Cholesky
	if !chol.Factorize(sub) {
		for _, i := range free {
			cov.SetSym(i, i, squared(f.priorU[i]))
		}
		return cov
	}
	_ = chol.InverseTo(sub)
	for a, i := range free {
		for b := a; b < len(free); b++ {
			cov.SetSym(i, free[b], sub.At(a, b))
		}
	}
	return cov
}

// stride solves for the next trial with every film at nothing or more: those
// that would go below stay there, and the others are solved for again.
func (f *profileFit) stride(p []float64, normal *mat.SymDense, right, trial []float64) bool {
	free := make([]int, 0, f.params)
	for i := range p {
		trial[i] = p[i]
		if !f.fixed[i] {
			free = append(free, i)
		}
	}
	for len(free) > 0 {
		m := len(free)
		sub, r := mat.NewSymDense(m, nil), mat.NewVecDense(m, nil)
		for a, i := range free {
			sum := right[i]
			for k := range p { // what those that stop short still do
				if d := trial[k] - p[k]; d != 0 && !slices.Contains(free, k) {
					sum -= normal.At(i, k) * d
				}
			}
			r.SetVec(a, sum)
			for b := a; b < m; b++ {
				sub.SetSym(a, b, normal.At(i, free[b]))
			}
		}
		var chol mat.Cholesky
		var d mat.VecDense
		if !chol.Factorize(sub) || chol.SolveVecTo(&d, r) != nil {
			return false
		}
		rest := make([]int, 0, m)
		for a, i := range free {
			trial[i] = p[i] + d.AtVec(a)
			if f.isFilm(i) && trial[i] < leastFilm {
				trial[i] = leastFilm
				continue
			}
			rest = append(rest, i)
		}
		if len(rest) == m {
			return true
		}
		for _, i := range rest {
			trial[i] = p[i]
		}
		free = rest
	}
	return true
}

// begin proposes where the search starts: gentle, and fierce contact.
func (f *profileFit) begin() [][]float64 {
	hot := math.Inf(-1)
	for _, v := range f.y {
		if v > hot { // NaN is not
			hot = v
		}
	}
	var out [][]float64
	for _, c := range []struct{ bi, above float64 }{{2, 40}, {30, 4}} {
		p := slices.Clone(f.prior)
		for l := pLegs; l < f.films; l += perLeg {
			p[l], p[l+1] = filmOf(c.bi), hot+c.above
			p[l+2], p[l+3] = filmOf(c.bi), hot/2+c.above
		}
		out = append(out, p)
	}
	return out
}

// spread is how many times less the residuals tell than independent ones:
// reduced chi-squared times one plus twice the summed autocorrelation in
// time, at least 1.
func (f *profileFit) spread(out []float64) (widen, rms float64) {
	nt := len(f.timeS)
	var chi, sum2 float64
	n := 0
	lags := min(nt/4, 120)
	acf := make([]float64, lags+1)
	for i := range f.sensors {
		r := make([]float64, nt)
		for k := range nt {
			if y := f.y[i*nt+k]; !math.IsNaN(y) {
				r[k] = (y - out[i*nt+k]) / f.sigma[i*nt+k]
				chi += r[k] * r[k]
				sum2 += squared(y - out[i*nt+k])
				n++
			}
		}
		for l := range acf {
			for k := l; k < nt; k++ {
				acf[l] += r[k] * r[k-l]
			}
		}
	}
	if n == 0 || acf[0] == 0 {
		return 1, 0
	}
	time := 1.0
	for _, a := range acf[1:] {
		rho := a / acf[0]
		if rho < 0.05 {
			break
		}
		time += 2 * rho
	}
	return max(1, chi/float64(max(n-f.params, 1))*time), math.Sqrt(sum2 / float64(n))
}

// worstSensor is the sensor that the model without its remainder misses most
// (root mean square), and when it misses it most.
func (f *profileFit) worstSensor(out []float64) (id string, rmsK, atS float64) {
	nt := len(f.timeS)
	for i, s := range f.sensors {
		sum, n, most, at := 0.0, 0.0, 0.0, 0.0
		for k, t := range f.timeS {
			if y := f.y[i*nt+k]; !math.IsNaN(y) {
				e := math.Abs(y - out[i*nt+k])
				sum, n = sum+e*e, n+1
				if e > most {
					most, at = e, t
				}
			}
		}
		if n > 0 && math.Sqrt(sum/n) > rmsK {
			id, rmsK, atS = s.ID, math.Sqrt(sum/n), at
		}
	}
	return id, rmsK, atS
}

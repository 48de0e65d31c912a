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
func (f *profileFit) fit(p []float64, widen float64, most int) (cov *mat.SymDense, jac, out []float64, chi2 float64) {
	n, nt, ns := f.params, len(f.timeS), len(f.sensors)
	out = make([]float64, (ns+watched)*nt)
	jac = make([]float64, n*len(out))
	trial := make([]float64, n)
	outTrial := make([]float64, len(out))
	cost := func(p, out []float64) float64 {
		c := 0.0
		for j := range ns * nt {
			if math.IsNaN(f.y[j]) {
				continue
			}
			z := math.Abs(f.y[j]-out[j]) / (f.sigma[j] * math.Sqrt(widen))
			if z > 3 {
				c += 6*z - 9
			} else {
				c += z * z
			}
		}
		for i := range n {
			c += squared((p[i] - f.prior[i]) / f.priorU[i])
		}
		return c
	}
	bounded := func(p []float64) bool {
		for l := pLegs; l < n; l += 2 {
			if l+1 < n && (p[l] < -6 || p[l] > 9 || math.Abs(p[l+1]) > 900) {
				return false
			}
		}
		return math.Abs(p[pShift]) < 20 && p[pThick] > 0.5*f.prior[pThick] && p[pThick] < 1.5*f.prior[pThick] && math.Abs(p[pAlpha]-f.prior[pAlpha]) < 1.5
	}
	f.model(p, f.places(p), out)
	now := cost(p, out)
	lambda := 1e-3
	var normal *mat.SymDense
	for iter := 0; ; iter++ {
		for i := range n {
			h := 0.02
			if i == pShift || i == pThick {
				h = 0.05
			} else if i > pLegs && (i-pLegs)%2 == 1 {
				h = 0.5
			}
			copy(trial, p)
			trial[i] += h
			row := jac[i*len(out) : (i+1)*len(out)]
			f.model(trial, f.places(trial), row)
			for j := range row {
				row[j] = (row[j] - out[j]) / h
			}
		}
		normal = mat.NewSymDense(n, nil)
		right := make([]float64, n)
		for i := range n {
			normal.SetSym(i, i, 1/squared(f.priorU[i]))
			right[i] = (f.prior[i] - p[i]) / squared(f.priorU[i])
		}
		weight := make([]float64, ns*nt)
		for j := range weight {
			if math.IsNaN(f.y[j]) {
				continue
			}
			s2 := squared(f.sigma[j]) * widen
			weight[j] = 1 / s2
			if z := math.Abs(f.y[j]-out[j]) / math.Sqrt(s2); z > 3 {
				weight[j] *= 3 / z
			}
		}
		for i := range n {
			ri := jac[i*len(out) : i*len(out)+ns*nt]
			sum := 0.0
			for j, w := range weight {
				if w > 0 {
					sum += w * ri[j] * (f.y[j] - out[j])
				}
			}
			right[i] += sum
			for k := i; k < n; k++ {
				rk := jac[k*len(out) : k*len(out)+ns*nt]
				sum := 0.0
				for j, w := range weight {
					sum += w * ri[j] * rk[j]
				}
				normal.SetSym(i, k, normal.At(i, k)+sum)
			}
		}
		if iter >= most {
			break
		}
		better := false
		for range 8 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(normal)
			for i := range n {
				damped.SetSym(i, i, normal.At(i, i)*(1+lambda))
			}
			var chol mat.Cholesky
			var d mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&d, mat.NewVecDense(n, right)) != nil {
				lambda *= 10
				continue
			}
			for i := range n {
				trial[i] = p[i] + d.AtVec(i)
			}
			if !bounded(trial) {
				lambda *= 10
				continue
			}
			f.model(trial, f.places(trial), outTrial)
			if c := cost(trial, outTrial); c < now {
				better = now-c > 1e-3*(1+now/1e3)
				copy(p, trial)
				copy(out, outTrial)
				now = c
				lambda = max(lambda/10, 1e-9)
				break
			}
			lambda *= 10
		}
		if !better {
			most = min(most, iter+1) // one more Jacobian at the end
		}
	}
	var chol mat.Cholesky
	cov = mat.NewSymDense(n, nil)
	if chol.Factorize(normal) {
		_ = chol.InverseTo(cov)
	} else {
		for i := range n {
			cov.SetSym(i, i, squared(f.priorU[i]))
		}
	}
	return cov, jac, out, now
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
		for l := pLegs; l < f.params; l += perLeg {
			p[l], p[l+1] = math.Log(c.bi), hot+c.above
			p[l+2], p[l+3] = math.Log(c.bi), hot/2+c.above
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

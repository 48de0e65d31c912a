package stats

import (
	"math"

	"gonum.org/v1/gonum/optimize"
)

// maximise finds the variance ratios of largest restricted likelihood: a
// coarse grid, a search from its best point, every face of the boundary where
// a ratio is zero, then Newton steps on the variances that are not. It returns
// nil when no ratio gives a regular fit.
func (p *remlProblem) maximise() (*profile, *curvature) {
	var best *profile
	better := func(theta ...float64) *profile {
		at := p.at(theta)
		if at != nil && (best == nil || at.deviance < best.deviance) {
			best = at
		}
		return at
	}
	deviance := func(theta ...float64) float64 {
		if at := better(theta...); at != nil {
			return at.deviance
		}
		return math.Inf(1)
	}
	if len(p.order) == 1 {
		lineSearch(func(th float64) float64 { return deviance(th) })
	} else {
		lineSearch(func(th float64) float64 { return deviance(th, 0) })
		lineSearch(func(th float64) float64 { return deviance(0, th) })
		for _, a := range []float64{0.15, 0.6, 1.5, 5} {
			for _, b := range []float64{0.15, 0.6, 1.5, 5} {
				deviance(a, b)
			}
		}
		if best == nil {
			return nil, nil
		}
		start := []float64{math.Log(math.Max(best.theta[0], 0.05)), math.Log(math.Max(best.theta[1], 0.05))}
		problem := optimize.Problem{Func: func(x []float64) float64 { return deviance(math.Exp(x[0]), math.Exp(x[1])) }}
		// The search only has to come near; a failure to converge leaves the
		// best point seen, and Newton's steps check themselves.
		_, _ = optimize.Minimize(problem, start, &optimize.Settings{
			FuncEvaluations: 400, Concurrent: 0,
			Converger: &optimize.FunctionConverge{Absolute: 1e-7, Iterations: 12},
		}, &optimize.NelderMead{SimplexSize: 0.4})
	}
	if best == nil {
		return nil, nil
	}
	return p.polish(p.snap(best))
}

// snap sets variance ratios to zero that the likelihood cannot tell from it: a
// search that runs towards the boundary stops just short of it.
func (p *remlProblem) snap(at *profile) *profile {
	const indistinct = 1e-8 // of the deviance
	for k, th := range at.theta {
		if th == 0 {
			continue
		}
		theta := append([]float64(nil), at.theta...)
		theta[k] = 0
		if zero := p.at(theta); zero != nil && zero.deviance <= at.deviance+indistinct {
			at = zero
		}
	}
	return at
}

// lineSearch minimises f over θ ≥ 0: θ = 0, then half decades from 10⁻³ to 10⁹
// to bracket, then Brent's method on ln θ. The caller keeps the best point
// seen.
func lineSearch(f func(theta float64) float64) {
	const half = math.Ln10 / 2
	least, at := f(0), math.Inf(-1)
	for k := -6; k <= 18; k++ {
		if v := f(math.Exp(half * float64(k))); v < least {
			least, at = v, half*float64(k)
		}
	}
	if math.IsInf(at, -1) {
		return // zero
	}
	brentMinimum(func(x float64) float64 { return f(math.Exp(x)) }, at-half, at+half, 1e-7)
}

// brentMinimum is Brent's minimiser without derivatives (Brent 1973,
// Algorithms for Minimization without Derivatives, ch. 5).
func brentMinimum(f func(float64) float64, a, b, tol float64) float64 {
	golden := (3 - math.Sqrt(5)) / 2
	x := a + golden*(b-a)
	w, v := x, x
	fx := f(x)
	fw, fv := fx, fx
	var d, e float64
	for range 100 {
		mid := (a + b) / 2
		t1 := tol*math.Abs(x) + 1e-12
		if math.Abs(x-mid) <= 2*t1-(b-a)/2 {
			break
		}
		parabola := false
		if math.Abs(e) > t1 {
			r := (x - w) * (fx - fv)
			q := (x - v) * (fx - fw)
			num := (x-v)*q - (x-w)*r
			q = 2 * (q - r)
			if q > 0 {
				num = -num
			}
			q = math.Abs(q)
			if math.Abs(num) < math.Abs(q*e/2) && num > q*(a-x) && num < q*(b-x) {
				e, d = d, num/q
				if u := x + d; u-a < 2*t1 || b-u < 2*t1 {
					d = math.Copysign(t1, mid-x)
				}
				parabola = true
			}
		}
		if !parabola {
			if x < mid {
				e = b - x
			} else {
				e = a - x
			}
			d = golden * e
		}
		u := x + d
		if math.Abs(d) < t1 {
			u = x + math.Copysign(t1, d)
		}
		fu := f(u)
		if fu <= fx {
			if u < x {
				b = x
			} else {
				a = x
			}
			v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
			continue
		}
		if u < x {
			a = u
		} else {
			b = u
		}
		switch {
		case fu <= fw || w == x:
			v, fv, w, fw = w, fw, u, fu
		case fu <= fv || v == x || v == w:
			v, fv = u, fu
		}
	}
	return x
}

// polish takes Newton steps on the variances that are not zero until the
// relative change is at round-off.
func (p *remlProblem) polish(at *profile) (*profile, *curvature) {
	c := p.curvature(at, at.sigma2)
	for range 20 {
		active := []int{0}
		psi := []float64{at.sigma2}
		for k, th := range at.theta {
			if th > 0 {
				active = append(active, k+1)
				psi = append(psi, th*th*at.sigma2)
			}
		}
		step := c.newton(active)
		if step == nil {
			break
		}
		share := 1.0
		for i := range psi { // stay inside
			for psi[i]+share*step[i] <= 0.1*psi[i] && share > 1e-3 {
				share /= 2
			}
		}
		next := make([]float64, len(at.theta))
		s0 := psi[0] + share*step[0]
		for i, a := range active[1:] {
			next[a-1] = math.Sqrt(math.Max(0, psi[i+1]+share*step[i+1]) / s0)
		}
		trial := p.at(next)
		if trial == nil || trial.deviance > at.deviance+1e-9*(1+math.Abs(at.deviance)) {
			break
		}
		moved := 0.0
		for i := range psi {
			moved = math.Max(moved, math.Abs(share*step[i])/psi[i])
		}
		at = trial
		c = p.curvature(at, at.sigma2)
		if moved < 1e-13 {
			break
		}
	}
	return at, c
}

// newton returns −H⁻¹g on the active variances, or nil if H is not positive
// definite there. The matrix is scaled to unit diagonal first.
func (c *curvature) newton(active []int) []float64 {
	inv := c.inverseHessian(active)
	if inv == nil {
		return nil
	}
	step := make([]float64, len(active))
	for i := range active {
		for j, b := range active {
			step[i] -= inv.a[i*len(active)+j] * c.grad[b]
		}
	}
	return step
}

// inverseHessian inverts the Hessian of the deviance over the active
// variances; nil when it is not positive definite.
func (c *curvature) inverseHessian(active []int) *symmetric {
	k := len(active)
	h := newSymmetric(k)
	d := make([]float64, k)
	for i, a := range active {
		d[i] = math.Sqrt(c.hess.a[a*c.hess.n+a])
		if !(d[i] > 0) {
			return nil
		}
	}
	for i, a := range active {
		for j, b := range active {
			h.a[i*k+j] = c.hess.a[a*c.hess.n+b] / (d[i] * d[j])
		}
	}
	if !h.cholesky() {
		return nil
	}
	inv := h.inverse()
	for i := range active {
		for j := range active {
			inv.a[i*k+j] /= d[i] * d[j]
		}
	}
	return inv
}

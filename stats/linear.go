package stats

import "math"

// Linear is an estimated linear combination of effects with its t
// distribution.
type Linear struct{ Estimate, SE, DF float64 }

// linear estimates l₀·level + lᵀβ; false when the data cannot tell it.
func (m *Model) linear(l0 float64, l []float64) (Linear, bool) {
	w, extra, estimable := m.coordinates(l0, l)
	if !estimable {
		return Linear{math.NaN(), math.NaN(), math.NaN()}, false
	}
	est := l0*Mean(m.level) + dot(w, m.gamma)
	v := m.unitVariance(w) + extra
	out := Linear{Estimate: est, SE: math.Sqrt(m.Sigma2 * v), DF: float64(m.DFResidual)}
	if m.reml != nil {
		out.DF = m.satterthwaite(w)
	}
	return out, true
}

// coordinates expresses a combination on the basis; extra is variance (σ²=1)
// that the basis does not carry.
func (m *Model) coordinates(l0 float64, l []float64) (w []float64, extra float64, estimable bool) {
	w, estimable = m.basis.functional(l0, l)
	if m.reml == nil {
		return w, m.basis.levelVariance(l0), estimable
	}
	return append([]float64{l0 / math.Sqrt(float64(m.N))}, w...), 0, estimable
}

// unitVariance is wᵀCw at σ²=1.
func (m *Model) unitVariance(w []float64) float64 {
	if m.reml == nil {
		return dot(w, w)
	}
	return dot(w, multiply(m.profile.c.a, w))
}

// satterthwaite is 2v²/(gᵀAg) with v the variance of wᵀγ, g its gradient by
// the variances and A = 2H⁻¹ their covariance, H the Hessian of the deviance.
// The gradient is exact: ∂C/∂ψₖ = C XᵀV⁻¹VₖV⁻¹X C (Satterthwaite 1946; Fai &
// Cornelius 1996, J Stat Comput Simul 54:363). Variances estimated as zero
// are taken as known.
func (m *Model) satterthwaite(w []float64) float64 {
	if m.dfUnknown() {
		return float64(m.DFResidual)
	}
	cw := multiply(m.profile.c.a, w)
	v := dot(w, cw)
	g := make([]float64, len(m.profile.theta)+1)
	g[0] = v
	for k, d := range m.curve.d {
		g[k+1] = dot(cw, multiply(d, cw))
		th := m.profile.theta[k]
		g[0] -= th * th * g[k+1]
	}
	s := 0.0
	k := len(m.active)
	for i, a := range m.active {
		for j, b := range m.active {
			s += g[a] * m.hessInv.a[i*k+j] * g[b]
		}
	}
	vs := m.Sigma2 * v
	return vs * vs / s
}

// Interval returns the t interval at a confidence level.
func (l Linear) Interval(level float64) Interval {
	h := tQuantile(1-(1-level)/2, l.DF) * l.SE
	return Interval{Low: l.Estimate - h, High: l.Estimate + h, Level: level}
}

// dfUnknown reports a mixed model whose likelihood is too flat for degrees of
// freedom.
func (m *Model) dfUnknown() bool { return m.reml != nil && m.hessInv == nil }

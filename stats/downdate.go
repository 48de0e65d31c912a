package stats

import (
	"math"
	"slices"
)

// downdate returns a function that gives the contrasts without one block from
// what the whole fit already holds, or nil for that block when it must be
// fitted from the table: the effects are then no longer all estimable.
func (c *Comparison) downdate() func(block int) []Contrast {
	m := c.model
	rows := make([][]int, c.NBlocks)
	for i, b := range c.units.block.index {
		rows[b] = append(rows[b], i)
	}
	w := make([][]float64, len(c.Contrasts))
	for i, k := range c.Contrasts {
		f := m.coding.factors[TreatmentTerm]
		l := m.coding.row(map[string]int{TreatmentTerm: slices.Index(f.levels, k.Treatment)})
		axpy(l, m.coding.row(map[string]int{TreatmentTerm: slices.Index(f.levels, k.Control)}), -1)
		w[i], _, _ = m.coordinates(0, l)
	}
	lastDF, quantile := math.NaN(), math.NaN() // quantiles are slow and mostly the same
	contrast := func(i int, lin Linear) Contrast {
		k := Contrast{Treatment: c.Contrasts[i].Treatment, Control: c.Contrasts[i].Control,
			Estimate: lin.Estimate, SE: lin.SE, DF: lin.DF}
		if k.DF != lastDF {
			lastDF, quantile = k.DF, tQuantile(1-c.Alpha/2, k.DF)
		}
		k.fillWith(quantile, c.Margin)
		k.PAdjusted = math.NaN()
		return k
	}
	switch {
	case m.reml == nil && len(m.basis.groups.levels) == c.NBlocks:
		return c.downdateFixed(rows, w, contrast)
	case m.reml != nil && !c.units.nested():
		return c.downdateMixed(rows, w, contrast)
	}
	return func(int) []Contrast { return nil }
}

// leastPivot is the smallest diagonal of a Cholesky factor of I − QᵦᵀQᵦ, the
// information left without a block, that counts as estimable.
const leastPivot = 1e-6

// downdateFixed drops a block from a fit with fixed blocks: with Q the basis
// inside blocks and e the residuals, M = I − QᵦᵀQᵦ,
//
//	γ₋ᵦ = γ − M⁻¹Qᵦᵀeᵦ,  RSS₋ᵦ = RSS − eᵦᵀeᵦ − (Qᵦᵀeᵦ)ᵀM⁻¹(Qᵦᵀeᵦ).
func (c *Comparison) downdateFixed(rows [][]int, w [][]float64, contrast func(int, Linear) Contrast) func(int) []Contrast {
	m := c.model
	q := m.basis.qr.q()
	p := len(q)
	return func(block int) []Contrast {
		left := newSymmetric(p)
		for k := range p {
			left.add(k, k, 1)
		}
		qe := make([]float64, p)
		at := make([]float64, p)
		rss := m.rss
		for _, i := range rows[block] {
			for k := range p {
				at[k] = q[k][i]
			}
			addOuter(left.a, at, at, -1)
			axpy(qe, at, m.resid[i])
			rss -= m.resid[i] * m.resid[i]
		}
		inv := left.inverseAbove(leastPivot)
		df := m.DFResidual - (len(rows[block]) - 1)
		if inv == nil || df < 1 {
			return nil
		}
		shift := multiply(inv.a, qe)
		rss -= dot(qe, shift)
		if !(rss > 1e-9*m.rss) {
			return nil
		}
		out := make([]Contrast, len(w))
		for i := range w {
			v := dot(w[i], multiply(inv.a, w[i]))
			out[i] = contrast(i, Linear{
				Estimate: dot(w[i], m.gamma) - dot(w[i], shift),
				SE:       math.Sqrt(rss / float64(df) * v), DF: float64(df),
			})
		}
		return out
	}
}

// inverseAbove inverts, or returns nil when a Cholesky pivot falls below
// least.
func (s *symmetric) inverseAbove(least float64) *symmetric {
	chol := s.clone()
	if !chol.cholesky() {
		return nil
	}
	for k := range chol.n {
		if chol.a[k*chol.n+k] < least {
			return nil
		}
	}
	return chol.inverse()
}

// downdateMixed drops a level of the single random grouping from the moments
// of the likelihood and maximises again from where the whole fit stands.
func (c *Comparison) downdateMixed(rows [][]int, w [][]float64, contrast func(int, Linear) Contrast) func(int) []Contrast {
	m := c.model
	within := c.designDF()
	return func(block int) []Contrast {
		p := m.reml.without(rows[block])
		if p == nil {
			return nil
		}
		var at *profile
		var curve *curvature
		if start := p.at(m.profile.theta); start != nil && m.profile.theta[0] > 0 {
			at, curve = p.polish(start)
			if p.snap(at) != at || !curve.settled(at) {
				at = nil
			}
		}
		if at == nil {
			if at, curve = p.maximise(); at == nil {
				return nil
			}
		}
		// The residuals in p.f were taken from the least-squares fit of all rows.
		part := &Model{N: p.n, DFResidual: p.n - p.p, reml: p, Components: make([]Component, 1), lsGamma: m.lsGamma}
		part.setProfile(at, curve)
		dfCap := math.Inf(1)
		if at.theta[0] == 0 {
			if dfCap = float64(within - (len(rows[block]) - 1)); dfCap < 1 {
				return nil
			}
		}
		out := make([]Contrast, len(w))
		for i := range w {
			out[i] = contrast(i, Linear{
				Estimate: dot(w[i], part.gamma), SE: math.Sqrt(part.Sigma2 * part.unitVariance(w[i])),
				DF: math.Min(part.satterthwaite(w[i]), dfCap),
			})
		}
		return out
	}
}

// settled reports whether the gradient is zero to about nine digits of the
// variances.
func (c *curvature) settled(at *profile) bool {
	for k, th := range at.theta {
		if psi := th * th * at.sigma2; th > 0 && math.Abs(c.grad[k+1])*psi > 1e-6 {
			return false
		}
	}
	return true
}

// without returns the problem with the level of its only grouping that has the
// given rows removed, or nil when the effects are no longer all estimable.
func (p *remlProblem) without(rows []int) *remlProblem {
	m := p.p + 1
	level := p.level1[rows[0]]
	d, t := p.d1[level], p.t1[level]
	out := &remlProblem{n: p.n - len(rows), p: p.p, order: p.order}
	out.within = slices.Clone(p.within)
	inside := make([]float64, m)
	for _, i := range rows {
		for j := range m {
			inside[j] = p.f[j][i] - t[j]/d
		}
		addOuter(out.within, inside, inside, -1)
	}
	out.sizes = slices.Clone(p.sizes)
	for k, c := range out.sizes {
		if c.d == d {
			outer := slices.Clone(c.outer)
			addOuter(outer, t, t, -1)
			out.sizes[k] = sizeClass{d: d, count: c.count - 1, outer: outer}
		}
	}
	// FᵀF left: its Q part must stay well away from singular.
	f, _ := out.moments([]float64{0})
	info := newSymmetric(p.p)
	for i := range p.p {
		copy(info.a[i*p.p:(i+1)*p.p], f[i*m:i*m+p.p])
	}
	if out.n-p.p < 1 || info.inverseAbove(leastPivot) == nil {
		return nil
	}
	return out
}

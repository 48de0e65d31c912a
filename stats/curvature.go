package stats

// curvature holds the derivatives of the deviance by the variances and what
// they are made of, at σ²=1, for random factors j and k. V is the covariance
// of the responses, Vₖ = ZₖZₖᵀ, r the residuals and
// P = V⁻¹ − V⁻¹Q(QᵀV⁻¹Q)⁻¹QᵀV⁻¹. Factors are in the order of the problem, the
// one with more levels first.
type curvature struct {
	d    [][]float64   // d[k] = BₖᵀBₖ over Q only, Bₖ = ZₖᵀV⁻¹Q
	t    []float64     // tr(PVₖ)
	q    []float64     // uᵀVₖu, u = Pr
	tt   [2][2]float64 // tr(PVⱼPVₖ)
	qq   [2][2]float64 // uᵀVⱼPVₖu
	grad []float64     // derivative of the deviance by (σ², σ₁², σ₂²)
	hess *symmetric    // its second derivatives
}

// curvature computes first and second derivatives of the deviance by the
// variances ψ = (σ², σ₁², …) at a profile point; σ² may differ from the
// profiled one.
func (p *remlProblem) curvature(at *profile, sigma2 float64) *curvature {
	kf := len(p.order) // random factors
	m := p.p + 1
	th1 := at.theta[0]
	th2 := 0.0
	if kf == 2 {
		th2 = at.theta[1]
	}
	sq := m * m
	dd := [2][]float64{make([]float64, sq), make([]float64, sq)} // BᵀB, response included
	var g [2][2][]float64                                        // BⱼᵀGⱼₖBₖ
	for j := range kf {
		for k := range kf {
			g[j][k] = make([]float64, sq)
		}
	}
	var tr [2]float64     // tr G_kk
	var fro [2][2]float64 // ‖G_jk‖²
	if kf == 1 {
		for _, c := range p.sizes {
			e := 1 / (1 + th1*th1*c.d)
			axpy(dd[0], c.outer, e*e)
			axpy(g[0][0], c.outer, e*e*e*c.d)
			tr[0] += c.count * e * c.d
			fro[0][0] += c.count * e * c.d * e * c.d
		}
	}
	for _, pt := range p.parts { // none with one random factor
		k := len(pt.cols)
		h, s, u := p.reduced(pt, th1, th2) // u becomes B₂ = S⁻¹(T₂ − NᵀWT₁)
		s.cholesky()
		s.forward(u)
		s.backward(u)
		sInv := s.inverse()
		a2, ae := newSymmetric(k), newSymmetric(k)
		kb := make([][]float64, k) // NᵀE B₁
		for j := range kb {
			kb[j] = make([]float64, m)
		}
		b1 := make([]float64, m)
		for i, a := range pt.rows {
			d := p.d1[a]
			e := 1 / (1 + th1*th1*d)
			copy(b1, p.t1[a])
			for _, x := range pt.cells[i] {
				for j := range m {
					b1[j] -= th2 * th2 * x.count * u[x.col][j]
				}
			}
			for j := range b1 {
				b1[j] *= e
			}
			addOuter(dd[0], b1, b1, 1)
			addOuter(g[0][0], b1, b1, e*d)
			tr[0] += e * d
			fro[0][0] += e * d * e * d
			for _, x := range pt.cells[i] {
				for _, y := range pt.cells[i] {
					a2.add(x.col, y.col, e*e*x.count*y.count)
					ae.add(x.col, y.col, e*d*e*e*x.count*y.count)
				}
				for j := range m {
					kb[x.col][j] += e * x.count * b1[j]
				}
			}
		}
		sa := sInv.times(a2.a) // S⁻¹A
		t2 := th2 * th2
		tr[0] -= t2 * trace(sa, k)
		fro[0][0] += -2*t2*traceProduct(sInv.a, ae.a, k) + t2*t2*traceProduct(sa, sa, k)
		g22 := sInv.times(h.a)
		tr[1] += trace(g22, k)
		fro[1][1] += traceProduct(g22, g22, k)
		fro[0][1] += traceProduct(sa, sInv.a, k)
		sk := sInv.timesRows(kb)
		su := sInv.timesRows(u)
		hu := (&symmetric{n: k, a: g22}).timesRows(u)
		for j := range k {
			addOuter(dd[1], u[j], u[j], 1)
			addOuter(g[0][0], kb[j], sk[j], -t2)
			addOuter(g[0][1], kb[j], su[j], 1)
			addOuter(g[1][1], u[j], hu[j], 1)
		}
	}
	fro[1][0] = fro[0][1]

	out := &curvature{d: make([][]float64, kf), t: make([]float64, kf), q: make([]float64, kf)}
	ext := append(make([]float64, 0, m), at.beta...)
	for j := range ext {
		ext[j] = -ext[j]
	}
	ext = append(ext, 1) // a = B·ext is ZᵀPr
	qq := func(f []float64) []float64 {
		s := make([]float64, p.p*p.p)
		for i := range p.p {
			copy(s[i*p.p:], f[i*m:i*m+p.p])
		}
		return s
	}
	var cd [2][]float64    // C·D
	var bta [2][][]float64 // Bₖᵀaₖ over Q
	for k := range kf {
		out.d[k] = qq(dd[k])
		cd[k] = at.c.times(out.d[k])
		out.t[k] = tr[k] - trace(cd[k], p.p)
		da := multiply(dd[k], ext)
		out.q[k] = dot(ext, da)
		bta[k] = make([][]float64, p.p)
		for i := range p.p {
			bta[k][i] = []float64{da[i]}
		}
	}
	for j := range kf {
		for k := j; k < kf; k++ {
			out.tt[j][k] = fro[j][k] - 2*traceProduct(at.c.a, qq(g[j][k]), p.p) + traceProduct(cd[j], cd[k], p.p)
			cb := at.c.timesRows(bta[k])
			x := dot(ext, multiply(g[j][k], ext))
			for i := range cb {
				x -= bta[j][i][0] * cb[i][0]
			}
			out.qq[j][k] = x
			out.tt[k][j], out.qq[k][j] = out.tt[j][k], x
		}
	}
	out.derive(p, at, sigma2)
	return out
}

// derive forms gradient and Hessian. Terms with the identity follow from
// I = V − Σθₖ²Vₖ and PVP = P, so they need no n×n matrix.
func (c *curvature) derive(p *remlProblem, at *profile, sigma2 float64) {
	kf := len(c.t)
	df := float64(p.n - p.p)
	t0, q0 := df, at.sigma2*df // tr(PV)=n−p, rᵀPr
	tk, qk := make([]float64, kf), make([]float64, kf)
	for k := range kf {
		tk[k], qk[k] = c.t[k], c.q[k]
		for j := range kf {
			w := at.theta[j] * at.theta[j]
			tk[k] -= w * c.tt[j][k]
			qk[k] -= w * c.qq[j][k]
		}
		t0 -= at.theta[k] * at.theta[k] * c.t[k]
		q0 -= at.theta[k] * at.theta[k] * c.q[k]
	}
	t00, q00 := t0, q0 // tr(P), uᵀu
	for k := range kf {
		w := at.theta[k] * at.theta[k]
		t00 -= w * tk[k]
		q00 -= w * qk[k]
	}
	s := sigma2
	c.grad = []float64{t0/s - q0/(s*s)}
	for k := range kf {
		c.grad = append(c.grad, c.t[k]/s-c.q[k]/(s*s))
	}
	c.hess = newSymmetric(kf + 1)
	set := func(i, j int, t, q float64) {
		v := -t/(s*s) + 2*q/(s*s*s)
		c.hess.a[i*(kf+1)+j], c.hess.a[j*(kf+1)+i] = v, v
	}
	set(0, 0, t00, q00)
	for j := range kf {
		set(0, j+1, tk[j], qk[j])
		for k := j; k < kf; k++ {
			set(j+1, k+1, c.tt[j][k], c.qq[j][k])
		}
	}
}

package stats

import "math"

// refineLeastSquares improves coefficients x and residuals r of A x ≈ y by
// iterative refinement of the augmented system
//
//	r + A x = y,  Aᵀr = 0
//
// with its residuals accumulated in twice the working precision (Björck 1967,
// BIT 7:257; the doubled sums after Ogita, Rump & Oishi 2005, SIAM J Sci
// Comput 26:1955). columns of A may be ill-conditioned; x has one element per
// column. It stops when the correction no longer shrinks.
func refineLeastSquares(columns [][]float64, y, x, r []float64) {
	n, p := len(y), len(columns)
	floor := make([]float64, p)
	qr := decompose(n, columns, floor)
	if qr.rank() < p {
		return // too ill-conditioned to gain anything
	}
	last := math.Inf(1)
	f, g, h := make([]float64, n), make([]float64, p), make([]float64, p)
	for range 8 {
		for i := range f { // f = y − r − A x
			s := doubled{hi: y[i]}
			s.add(-r[i])
			for j, c := range columns {
				s.addProduct(-c[i], x[j])
			}
			f[i] = s.hi + s.lo
		}
		for j, c := range columns { // g = −Aᵀr
			var s doubled
			for i := range c {
				s.addProduct(-c[i], r[i])
			}
			g[j] = (s.hi + s.lo) / qr.scale[j]
		}
		// h = R⁻ᵀg, w = Qᵀf; dr = Q[h; w₂], dx = R⁻¹(w₁ − h).
		for k := range h {
			s := g[k]
			for i := range k {
				s -= qr.r[k][i] * h[i]
			}
			h[k] = s / qr.r[k][k]
		}
		w := append([]float64(nil), f...)
		qr.reflect(w)
		dx := make([]float64, p)
		for k := range dx {
			dx[k] = w[k] - h[k]
			w[k] = h[k]
		}
		qr.unreflect(w)
		qr.backSubstitute(dx)
		size := 0.0
		for j := range dx {
			dx[j] /= qr.scale[j]
			if x[j] != 0 {
				size = math.Max(size, math.Abs(dx[j]/x[j]))
			}
		}
		if !(size < last/2) {
			return
		}
		last = size
		axpy(x, dx, 1)
		axpy(r, w, 1)
	}
}

// doubled is an unevaluated sum hi+lo carrying about 106 bits.
type doubled struct{ hi, lo float64 }

// add is Knuth's two-sum into the pair.
func (s *doubled) add(v float64) {
	t := s.hi + v
	b := t - s.hi
	s.lo += (s.hi - (t - b)) + (v - b)
	s.hi = t
}

// addProduct adds a·b with its rounding error.
func (s *doubled) addProduct(a, b float64) {
	p := a * b
	e := math.FMA(a, b, -p)
	s.add(p)
	s.lo += e
}

package stats

import "math"

// symmetric is a small dense symmetric matrix stored by rows; after cholesky
// its lower triangle holds L with LLᵀ = A. gonum's mat.Cholesky would do the
// same at the price of an allocation and a call per 1×1 block, of which a
// nested model has thousands.
type symmetric struct {
	n int
	a []float64
}

func newSymmetric(n int) *symmetric { return &symmetric{n: n, a: make([]float64, n*n)} }

func (s *symmetric) clone() *symmetric {
	return &symmetric{n: s.n, a: append([]float64(nil), s.a...)}
}

func (s *symmetric) add(i, j int, v float64) { s.a[i*s.n+j] += v }

// cholesky factors in place; false when the matrix is not positive definite.
func (s *symmetric) cholesky() bool {
	n, a := s.n, s.a
	for i := range n {
		ri := a[i*n : i*n+i+1]
		for j := range i {
			rj := a[j*n : j*n+j+1]
			ri[j] = (ri[j] - dot(ri[:j], rj[:j])) / rj[j]
		}
		v := ri[i] - dot(ri[:i], ri[:i])
		if !(v > 0) || math.IsInf(v, 1) {
			return false
		}
		ri[i] = math.Sqrt(v)
	}
	return true
}

// logDet is ln|A| after cholesky.
func (s *symmetric) logDet() float64 {
	sum := 0.0
	for i := range s.n {
		sum += math.Log(s.a[i*s.n+i])
	}
	return 2 * sum
}

// forward replaces the rows of b by L⁻¹b.
func (s *symmetric) forward(b [][]float64) {
	for i := range s.n {
		for j := range i {
			axpy(b[i], b[j], -s.a[i*s.n+j])
		}
		scale(b[i], 1/s.a[i*s.n+i])
	}
}

// backward replaces the rows of b by L⁻ᵀb.
func (s *symmetric) backward(b [][]float64) {
	for i := s.n - 1; i >= 0; i-- {
		for j := i + 1; j < s.n; j++ {
			axpy(b[i], b[j], -s.a[j*s.n+i])
		}
		scale(b[i], 1/s.a[i*s.n+i])
	}
}

// inverse is A⁻¹ after cholesky.
func (s *symmetric) inverse() *symmetric {
	out := newSymmetric(s.n)
	rows := make([][]float64, s.n)
	for i := range rows {
		rows[i] = out.a[i*s.n : (i+1)*s.n]
		rows[i][i] = 1
	}
	s.forward(rows)
	s.backward(rows)
	return out
}

// times is the full product A·b of this (whole, unfactored) matrix with
// another of the same size.
func (s *symmetric) times(b []float64) []float64 {
	n := s.n
	out := make([]float64, n*n)
	for i := range n {
		for k := range n {
			if v := s.a[i*n+k]; v != 0 {
				axpy(out[i*n:(i+1)*n], b[k*n:(k+1)*n], v)
			}
		}
	}
	return out
}

// timesRows is A·b for b given by rows.
func (s *symmetric) timesRows(b [][]float64) [][]float64 {
	out := make([][]float64, s.n)
	for i := range out {
		out[i] = make([]float64, len(b[0]))
		for k := range b {
			axpy(out[i], b[k], s.a[i*s.n+k])
		}
	}
	return out
}

func axpy(y, x []float64, a float64) {
	for i, v := range x {
		y[i] += a * v
	}
}

func scale(x []float64, a float64) {
	for i := range x {
		x[i] *= a
	}
}

func trace(a []float64, n int) float64 {
	s := 0.0
	for i := range n {
		s += a[i*n+i]
	}
	return s
}

// traceProduct is tr(AB) of two n×n matrices.
func traceProduct(a, b []float64, n int) float64 {
	s := 0.0
	for i := range n {
		for j := range n {
			s += a[i*n+j] * b[j*n+i]
		}
	}
	return s
}

// multiply is A·x for a square matrix stored by rows.
func multiply(a, x []float64) []float64 {
	n := len(x)
	out := make([]float64, n)
	for i := range out {
		out[i] = dot(a[i*n:(i+1)*n], x)
	}
	return out
}

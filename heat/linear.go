package heat

// Linear systems of a Newton iteration, (C + a·G)·x = b: symmetric, positive
// definite and diagonally dominant, so factored without pivoting. Rows of
// boiling cells are the identity with x = 0.

// tridiagonal solves in place: d the diagonal, u[i] the (negative) coupling
// of i and i+1, b the right side that becomes x. d is destroyed.
func tridiagonal(d, u, b []float64) {
	n := len(d)
	u = u[:n]
	b = b[:n]
	for i := 1; i < n; i++ {
		m := u[i-1] / d[i-1]
		d[i] -= m * u[i-1]
		b[i] -= m * b[i-1]
	}
	b[n-1] /= d[n-1]
	for i := n - 2; i >= 0; i-- {
		b[i] = (b[i] - u[i]*b[i+1]) / d[i]
	}
}

// banded is the LDLᵀ factorisation of a symmetric matrix of half-bandwidth
// w, kept by rows: row i holds columns i−w … i at i·(w+1).
type banded struct {
	n, w int
	a    []float64
}

func (m *banded) resize(n, w int) {
	m.n, m.w = n, w
	m.a = grow(m.a, n*(w+1))
}

func (m *banded) clear() { clear(m.a) }

// factor replaces the lower band by L (unit diagonal not kept) and D.
func (m *banded) factor() {
	w, st := m.w, m.w+1
	for i := range m.n {
		row := m.a[i*st : i*st+st]
		lo := max(0, i-w)
		// row[j−i+w] becomes L_ij·D_j, then L_ij.
		for j := lo + 1; j < i; j++ {
			rj := m.a[j*st : j*st+st]
			klo := max(lo, j-w)
			x := row[klo-i+w : j-i+w]
			y := rj[klo-j+w : w]
			y = y[:len(x)]
			sum := 0.0
			for k, v := range x {
				sum += v * y[k]
			}
			row[j-i+w] -= sum
		}
		d := row[w]
		for j := lo; j < i; j++ {
			v := row[j-i+w]
			l := v / m.a[j*st+w]
			d -= v * l
			row[j-i+w] = l
		}
		row[w] = d
	}
}

// solve replaces b by the solution.
func (m *banded) solve(b []float64) {
	w, st := m.w, m.w+1
	for i := range m.n {
		lo := max(0, i-w)
		row := m.a[i*st+lo-i+w : i*st+w]
		x := b[lo:i]
		x = x[:len(row)]
		sum := 0.0
		for k, v := range row {
			sum += v * x[k]
		}
		b[i] -= sum
	}
	for i := range m.n {
		b[i] /= m.a[i*st+w]
	}
	for i := m.n - 1; i > 0; i-- {
		lo := max(0, i-w)
		row := m.a[i*st+lo-i+w : i*st+w]
		x := b[lo:i]
		x = x[:len(row)]
		v := b[i]
		for k, l := range row {
			x[k] -= l * v
		}
	}
}

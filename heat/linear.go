package heat

// Linear systems of a Newton iteration, (C + a·G)·x = b: symmetric, positive
// definite and diagonally dominant, so factored without pivoting. Rows of
// boiling cells are the identity with x = 0.

// tridiagonal solves in place: d the diagonal, u[i] the (negative) coupling
// of i and i+1, b the right side that becomes x. d is destroyed. The system is
// eliminated from both ends towards the middle: the two chains of divisions
// are independent and overlap in the processor.
func tridiagonal(d, u, b []float64) {
	n := len(d)
	u = u[:n-1]
	b = b[:n]
	if n == 1 {
		b[0] /= d[0]
		return
	}
	mid := n / 2
	// d becomes the reciprocal of the eliminated diagonal.
	i, j := 0, n-1
	d[i], d[j] = 1/d[i], 1/d[j]
	for i+1 < mid && j-1 > mid {
		mi, mj := u[i]*d[i], u[j-1]*d[j]
		b[i+1] -= mi * b[i]
		b[j-1] -= mj * b[j]
		d[i+1], d[j-1] = 1/(d[i+1]-mi*u[i]), 1/(d[j-1]-mj*u[j-1])
		i++
		j--
	}
	for ; i+1 < mid; i++ {
		m := u[i] * d[i]
		b[i+1] -= m * b[i]
		d[i+1] = 1 / (d[i+1] - m*u[i])
	}
	for ; j-1 > mid; j-- {
		m := u[j-1] * d[j]
		b[j-1] -= m * b[j]
		d[j-1] = 1 / (d[j-1] - m*u[j-1])
	}
	// Row mid meets both chains (mid ≥ 1 as n ≥ 2; nothing above it if it is last).
	den := d[mid]
	m := u[mid-1] * d[mid-1]
	rhs := b[mid] - m*b[mid-1]
	if mid == n-1 {
		// The upper chain is row mid itself, already inverted.
		b[mid] = rhs / (1/den - m*u[mid-1])
	} else {
		m2 := u[mid] * d[mid+1]
		b[mid] = (rhs - m2*b[mid+1]) / (den - m*u[mid-1] - m2*u[mid])
	}
	i, j = mid-1, mid+1
	for i >= 0 && j < n {
		b[i] = (b[i] - u[i]*b[i+1]) * d[i]
		b[j] = (b[j] - u[j-1]*b[j-1]) * d[j]
		i--
		j++
	}
	for ; i >= 0; i-- {
		b[i] = (b[i] - u[i]*b[i+1]) * d[i]
	}
	for ; j < n; j++ {
		b[j] = (b[j] - u[j-1]*b[j-1]) * d[j]
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

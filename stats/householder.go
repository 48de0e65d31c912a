package stats

import "math"

// dependentTol is the relative length left of a unit column, after the
// columns before it are removed, below which it counts as a combination of
// them. Exact dependence of coded factors leaves about 1e-15; the
// ill-conditioned polynomial of NIST StRD Filip leaves about 1e-10.
const dependentTol = 1e-11

// triangular is a thin QR decomposition X = QR by Householder reflections
// (Golub & Van Loan, Matrix Computations, §5.2). Columns are taken in their
// order and scaled to unit length; one that depends on those before it is set
// aside, so the meaning of the columns kept does not change.
type triangular struct {
	kept    []int       // columns used, in order
	dropped []int       // columns that depend on kept ones
	scale   []float64   // length of every column before scaling
	r       [][]float64 // r[k] is column k of R, k+1 long, for the scaled kept columns
	rd      [][]float64 // Qᵀ of each scaled dropped column, as long as the rank was then
	v       [][]float64 // v[k] is reflection k, acting on elements k and on
	n       int
}

// decompose takes columns of equal length n; floor[j] is a length below which
// column j counts as zero (round-off of centring). It does not change columns.
func decompose(n int, columns [][]float64, floor []float64) *triangular {
	f := &triangular{n: n, scale: make([]float64, len(columns))}
	for j, column := range columns {
		length := norm(column)
		f.scale[j] = length
		if length <= floor[j] || length == 0 {
			f.scale[j] = 0
			f.dropped = append(f.dropped, j)
			f.rd = append(f.rd, nil)
			continue
		}
		a := make([]float64, n)
		for i, x := range column {
			a[i] = x / length
		}
		f.reflect(a)
		k := len(f.kept)
		left := 0.0
		if k < n {
			left = norm(a[k:])
		}
		if left < dependentTol {
			f.dropped = append(f.dropped, j)
			f.rd = append(f.rd, a[:min(k, n):min(k, n)])
			continue
		}
		v := make([]float64, n-k)
		copy(v, a[k:])
		alpha := -math.Copysign(left, v[0])
		v[0] -= alpha
		unit := norm(v)
		for i := range v {
			v[i] /= unit
		}
		f.v = append(f.v, v)
		f.r = append(f.r, append(a[:k:k], alpha))
		f.kept = append(f.kept, j)
	}
	return f
}

// rank is the number of independent columns.
func (f *triangular) rank() int { return len(f.kept) }

// reflect replaces a by Qᵀa (all reflections found so far).
func (f *triangular) reflect(a []float64) {
	for k, v := range f.v {
		apply(v, a[k:])
	}
}

// unreflect replaces a by Qa.
func (f *triangular) unreflect(a []float64) {
	for k := len(f.v) - 1; k >= 0; k-- {
		apply(f.v[k], a[k:])
	}
}

// apply computes a −= 2 v (vᵀa) for a unit vector v.
func apply(v, a []float64) {
	d := 2 * dot(v, a)
	for i, x := range v {
		a[i] -= d * x
	}
}

// q returns the thin orthonormal factor, one slice per column.
func (f *triangular) q() [][]float64 {
	q := make([][]float64, f.rank())
	for k := range q {
		q[k] = make([]float64, f.n)
		q[k][k] = 1
		for j := k; j >= 0; j-- { // reflections after k leave eₖ alone
			apply(f.v[j], q[k][j:])
		}
	}
	return q
}

// solve returns the coefficients of all columns (0 for dropped ones) for
// Qᵀy = gamma.
func (f *triangular) solve(gamma []float64) []float64 {
	b := append([]float64(nil), gamma[:f.rank()]...)
	f.backSubstitute(b)
	beta := make([]float64, len(f.scale))
	for k, j := range f.kept {
		beta[j] = b[k] / f.scale[j]
	}
	return beta
}

// backSubstitute replaces b by R⁻¹b for the leading len(b) columns.
func (f *triangular) backSubstitute(b []float64) {
	for k := len(b) - 1; k >= 0; k-- {
		b[k] /= f.r[k][k]
		for i := range k {
			b[i] -= f.r[k][i] * b[k]
		}
	}
}

// functional expresses lᵀβ as wᵀγ with w = R⁻ᵀl. It reports false when the
// data cannot tell lᵀβ: l then lies outside the row space of X.
func (f *triangular) functional(l []float64) (w []float64, estimable bool) {
	w = make([]float64, f.rank())
	for k, j := range f.kept {
		s := l[j] / f.scale[j]
		for i := range k {
			s -= f.r[k][i] * w[i]
		}
		w[k] = s / f.r[k][k]
	}
	size := norm(w)
	for i, j := range f.dropped {
		if l[j] == 0 && f.rd[i] == nil {
			continue
		}
		if f.scale[j] == 0 {
			return w, false
		}
		// A dropped column is x = QR·c with Rc = rd, so lⱼ must equal wᵀrd.
		want := dot(f.rd[i], w[:len(f.rd[i])])
		if math.Abs(l[j]/f.scale[j]-want) > 1e-8*(size+math.Abs(l[j]/f.scale[j])) {
			return w, false
		}
	}
	return w, true
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

// norm is the Euclidean length, scaled against overflow only when needed.
func norm(a []float64) float64 {
	s := dot(a, a)
	if s > 1e-280 && s < 1e280 {
		return math.Sqrt(s)
	}
	big := 0.0
	for _, x := range a {
		big = math.Max(big, math.Abs(x))
	}
	if big == 0 || math.IsInf(big, 0) {
		return big
	}
	s = 0
	for _, x := range a {
		s += (x / big) * (x / big)
	}
	return big * math.Sqrt(s)
}

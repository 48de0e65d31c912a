package stats

// basis is an orthonormal basis of predictor columns after the means of the
// groups have been taken out of them: one group for a plain intercept, the
// blocks for fixed block effects (which then cost no columns: Frisch & Waugh
// 1933, Econometrica 1:387), none for a fit through the origin.
type basis struct {
	n      int
	groups *factor     // nil: nothing taken out
	size   []int       // rows per group
	means  [][]float64 // means[j][g] of column j in group g
	qr     *triangular
}

// newBasis takes out the group means and decomposes what is left.
func newBasis(n int, columns [][]float64, groups *factor) *basis {
	b := &basis{n: n, groups: groups}
	if groups != nil {
		b.size = make([]int, len(groups.levels))
		for _, g := range groups.index {
			b.size[g]++
		}
	}
	inside := make([][]float64, len(columns))
	floor := make([]float64, len(columns))
	b.means = make([][]float64, len(columns))
	for j, c := range columns {
		inside[j], b.means[j] = b.centre(c)
		// Centring a column constant in its groups leaves at most an ulp of it.
		floor[j] = 1e-14 * norm(c)
	}
	b.qr = decompose(n, inside, floor)
	return b
}

// centre returns x minus its group means, and those means. The first value of
// each group is taken off first, so a large offset costs no digits.
func (b *basis) centre(x []float64) (inside, means []float64) {
	inside = append([]float64(nil), x...)
	if b.groups == nil {
		return inside, nil
	}
	k := len(b.groups.levels)
	origin, seen := make([]float64, k), make([]bool, k)
	for i, g := range b.groups.index {
		if !seen[g] {
			origin[g], seen[g] = x[i], true
		}
	}
	shift := make([]float64, k)
	for i, g := range b.groups.index {
		inside[i] = x[i] - origin[g]
		shift[g] += inside[i]
	}
	for g := range shift {
		shift[g] /= float64(b.size[g])
	}
	rest := make([]float64, k)
	for i, g := range b.groups.index {
		inside[i] -= shift[g]
		rest[g] += inside[i]
	}
	means = make([]float64, k)
	for g := range means {
		rest[g] /= float64(b.size[g])
		means[g] = origin[g] + (shift[g] + rest[g])
	}
	for i, g := range b.groups.index {
		inside[i] -= rest[g]
	}
	return inside, means
}

// regress returns the coordinates of a centred response on the basis, the
// residuals and their sum of squares.
func (b *basis) regress(yc []float64) (gamma, residuals []float64, ss float64) {
	a := append([]float64(nil), yc...)
	b.qr.reflect(a)
	r := b.qr.rank()
	gamma = append([]float64(nil), a[:r]...)
	ss = dot(a[r:], a[r:])
	clear(a[:r])
	b.qr.unreflect(a)
	return gamma, a, ss
}

// functional expresses l₀·(level) + lᵀβ on the basis, where the level is the
// intercept at zero predictors, averaged over the groups with equal weight.
// Its variance is σ²(wᵀw + levelVariance(l₀)).
func (b *basis) functional(l0 float64, l []float64) (w []float64, estimable bool) {
	if l0 != 0 && b.groups != nil {
		l = append([]float64(nil), l...)
		for j := range l {
			l[j] -= l0 * Mean(b.means[j])
		}
	}
	return b.qr.functional(l)
}

// levelVariance is the variance, in units of σ², of l₀ times the mean of the
// group means of the response.
func (b *basis) levelVariance(l0 float64) float64 {
	if l0 == 0 || b.groups == nil {
		return 0
	}
	s := 0.0
	for _, n := range b.size {
		s += 1 / float64(n)
	}
	k := float64(len(b.size))
	return l0 * l0 * s / (k * k)
}

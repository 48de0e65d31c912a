package stats

import (
	"cmp"
	"math"
	"slices"
)

// grouping is one random factor: which level each row belongs to.
type grouping struct {
	name   string
	levels int
	index  []int
}

// remlProblem is the restricted likelihood of
//
//	y = Qγ + Z₁b₁ + Z₂b₂ + e,  bₖ ~ N(0, σ²θₖ²I),  e ~ N(0, σ²I)
//
// with an orthonormal Q, reduced to what the variance ratios θ need. Factor 1,
// the one with more levels, is eliminated analytically (its block of
// I + ΛZᵀZΛ is diagonal); what is left is a Cholesky factor per connected set
// of levels of factor 2: 1×1 when factor 1 is nested in factor 2. Nothing of
// the size of the data is formed after set-up. (Patterson & Thompson 1971,
// Biometrika 58:545; profiling as in Bates et al. 2015, JSS 67(1).)
//
// Everywhere F = [Q, r] with r the least-squares residuals of y, so the last
// row and column of a moment matrix belong to the response.
type remlProblem struct {
	n, p   int         // rows; columns of Q
	order  []int       // order[0] is the grouping taken as factor 1, as the caller counts
	f      [][]float64 // F by columns
	within []float64   // FᵀF inside the levels of factor 1, (p+1)²
	level1 []int       // level of factor 1 of each row
	d1, d2 []float64   // rows per level of either factor
	t1, t2 [][]float64 // sums of F over the rows of each level
	sizes  []sizeClass // levels of factor 1 by their number of rows
	parts  []remlPart  // only with two factors
}

// sizeClass gathers the levels of factor 1 with equally many rows: they enter
// the likelihood only through the sum of their outer products.
type sizeClass struct {
	d     float64   // rows per level
	count float64   // levels
	outer []float64 // Σ t tᵀ over them, t the level's sums of F
}

// remlPart is one connected set of levels of both factors.
type remlPart struct {
	rows  []int    // levels of factor 1
	cells [][]cell // for each of rows: its cells
	cols  []int    // levels of factor 2
}

// cell counts the observations of a level of factor 1 in a local level of
// factor 2.
type cell struct {
	col   int
	count float64
}

// newREML prepares one or two groupings. q are orthonormal columns, r the
// residuals.
func newREML(q [][]float64, r []float64, groups []grouping) *remlProblem {
	p := &remlProblem{n: len(r), p: len(q)}
	p.order = make([]int, len(groups))
	for k := range groups {
		p.order[k] = k
	}
	slices.SortStableFunc(p.order, func(a, b int) int { return cmp.Compare(groups[b].levels, groups[a].levels) })
	f := append(slices.Clone(q), r)
	p.f = f
	g1 := groups[p.order[0]]
	p.d1, p.t1 = levelSums(g1, f)
	p.within = withinMoments(g1, p.d1, p.t1, f)
	p.level1 = g1.index
	p.classify()
	if len(groups) == 1 {
		return p
	}
	g2 := groups[p.order[1]]
	p.d2, p.t2 = levelSums(g2, f)
	p.parts = connect(g1, g2)
	return p
}

// classify fills the size classes, smallest first.
func (p *remlProblem) classify() {
	m := p.p + 1
	for a, d := range p.d1 {
		k, found := slices.BinarySearchFunc(p.sizes, d, func(c sizeClass, d float64) int { return cmp.Compare(c.d, d) })
		if !found {
			p.sizes = slices.Insert(p.sizes, k, sizeClass{d: d, outer: make([]float64, m*m)})
		}
		p.sizes[k].count++
		addOuter(p.sizes[k].outer, p.t1[a], p.t1[a], 1)
	}
}

func seq(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

// levelSums counts rows per level and sums every column of f over them.
func levelSums(g grouping, f [][]float64) (d []float64, t [][]float64) {
	d = make([]float64, g.levels)
	t = make([][]float64, g.levels)
	flat := make([]float64, g.levels*len(f))
	for l := range t {
		t[l] = flat[l*len(f) : (l+1)*len(f)]
	}
	for i, l := range g.index {
		d[l]++
		for j := range f {
			t[l][j] += f[j][i]
		}
	}
	return d, t
}

// withinMoments is FᵀF after the level means of g are taken out: the part of
// FᵀV⁻¹F that no between-level variance can change.
func withinMoments(g grouping, d []float64, t, f [][]float64) []float64 {
	m := len(f)
	inside := make([][]float64, m)
	for j := range f {
		inside[j] = make([]float64, len(g.index))
		for i, l := range g.index {
			inside[j][i] = f[j][i] - t[l][j]/d[l]
		}
	}
	w := make([]float64, m*m)
	for a := range m {
		for b := range a + 1 {
			w[a*m+b] = dot(inside[a], inside[b])
			w[b*m+a] = w[a*m+b]
		}
	}
	return w
}

// connect splits the levels of two factors into sets that share no rows.
func connect(g1, g2 grouping) []remlPart {
	parent := seq(g1.levels + g2.levels)
	root := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for i := range g1.index {
		a, b := root(g1.index[i]), root(g1.levels+g2.index[i])
		parent[max(a, b)] = min(a, b)
	}
	place := map[int]int{} // root → part
	local := make([]int, g2.levels)
	var parts []remlPart
	part := func(node int) *remlPart {
		r := root(node)
		k, ok := place[r]
		if !ok {
			k = len(parts)
			place[r] = k
			parts = append(parts, remlPart{})
		}
		return &parts[k]
	}
	for b := range g2.levels {
		pt := part(g1.levels + b)
		local[b] = len(pt.cols)
		pt.cols = append(pt.cols, b)
	}
	rows := make([][]int, g1.levels) // local levels of factor 2, row by row
	for i, a := range g1.index {
		rows[a] = append(rows[a], local[g2.index[i]])
	}
	for a, cols := range rows {
		slices.Sort(cols)
		var cells []cell
		for _, col := range cols {
			if n := len(cells); n > 0 && cells[n-1].col == col {
				cells[n-1].count++
			} else {
				cells = append(cells, cell{col, 1})
			}
		}
		pt := part(a)
		pt.rows = append(pt.rows, a)
		pt.cells = append(pt.cells, cells)
	}
	return parts
}

// reduced is a part's second factor at given θ: S = I + θ₂²(D₂ − NᵀWN) with
// W = diag(θ₁²/(1+θ₁²d₁)), and the right-hand sides T₂ − NᵀWT₁.
func (p *remlProblem) reduced(pt remlPart, th1, th2 float64) (h, s *symmetric, rhs [][]float64) {
	k, m := len(pt.cols), p.p+1
	h = newSymmetric(k)
	rhs = make([][]float64, k)
	for j, b := range pt.cols {
		h.add(j, j, p.d2[b])
		rhs[j] = slices.Clone(p.t2[b])
	}
	for i, a := range pt.rows {
		w := th1 * th1 / (1 + th1*th1*p.d1[a])
		if w == 0 {
			continue
		}
		for _, x := range pt.cells[i] {
			for _, y := range pt.cells[i] {
				h.add(x.col, y.col, -w*x.count*y.count)
			}
			for j := range m {
				rhs[x.col][j] -= w * x.count * p.t1[a][j]
			}
		}
	}
	s = newSymmetric(k)
	for i, v := range h.a {
		s.a[i] = th2 * th2 * v
	}
	for j := range k {
		s.add(j, j, 1)
	}
	return h, s, rhs
}

// moments returns FᵀV⁻¹F (σ²=1) and ln|V| at θ.
func (p *remlProblem) moments(theta []float64) (f []float64, logDet float64) {
	f = slices.Clone(p.within)
	th1 := theta[0]
	for _, c := range p.sizes {
		logDet += c.count * math.Log1p(th1*th1*c.d)
		axpy(f, c.outer, 1/(c.d*(1+th1*th1*c.d)))
	}
	if len(theta) < 2 || theta[1] == 0 {
		return f, logDet
	}
	for _, pt := range p.parts {
		_, s, rhs := p.reduced(pt, th1, theta[1])
		if !s.cholesky() {
			return f, math.Inf(1)
		}
		logDet += s.logDet()
		// rhsᵀ S⁻¹ rhs = (L⁻¹rhs)ᵀ(L⁻¹rhs)
		s.forward(rhs)
		for _, row := range rhs {
			addOuter(f, row, row, -theta[1]*theta[1])
		}
	}
	return f, logDet
}

// addOuter adds w·x yᵀ to a square matrix stored by rows.
func addOuter(f, x, y []float64, w float64) {
	m := len(y)
	for i, v := range x {
		v *= w
		row := f[i*m : (i+1)*m]
		for j, u := range y {
			row[j] += v * u
		}
	}
}

// profile is the fit at given variance ratios.
type profile struct {
	theta    []float64
	deviance float64    // −2 restricted log-likelihood, without the constant ln|XᵀX|
	sigma2   float64    // residual variance
	beta     []float64  // change of γ from its least-squares value
	c        *symmetric // (QᵀV⁻¹Q)⁻¹ at σ²=1
	info     *symmetric // QᵀV⁻¹Q at σ²=1
}

// at profiles σ² and γ out. It returns nil when the fit is singular.
func (p *remlProblem) at(theta []float64) *profile {
	f, logDet := p.moments(theta)
	m := p.p + 1
	info := newSymmetric(p.p)
	rhs := make([][]float64, p.p)
	for i := range p.p {
		copy(info.a[i*p.p:(i+1)*p.p], f[i*m:i*m+p.p])
		rhs[i] = []float64{f[i*m+p.p]}
	}
	chol := info.clone()
	if !chol.cholesky() {
		return nil
	}
	out := &profile{theta: slices.Clone(theta), info: info}
	rss := f[p.p*m+p.p]
	chol.forward(rhs)
	for _, row := range rhs {
		rss -= row[0] * row[0]
	}
	chol.backward(rhs)
	out.beta = make([]float64, p.p)
	for i := range rhs {
		out.beta[i] = rhs[i][0]
	}
	out.c = chol.inverse()
	df := float64(p.n - p.p)
	out.sigma2 = rss / df
	if !(out.sigma2 > 0) {
		return nil
	}
	out.deviance = logDet + chol.logDet() + df*(1+math.Log(2*math.Pi*out.sigma2))
	return out
}

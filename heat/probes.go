package heat

import "math"

// Places watched in every step, before the asked depths.
const (
	probeCore = iota
	probeColdest
	probeA
	probeB
	probeMean
	probeRim
	probePan
	probeSurface // mean of both faces
	probeDepths  // first asked depth
)

type probeValues = []float64

// probes evaluates temperatures at places from cell and face temperatures.
type probes struct {
	n    int
	v    [3]probeValues // at the three times of the step tried last
	axis []float64      // face A, cells on the axis, face B
	// Each place on the axis is a weighted sum of up to four axis values.
	first  []int
	weight [][4]float64
	// Weights of the three innermost rings in the temperature on the axis.
	onAxis [3]float64
}

func (p *probes) set(s *Solver) {
	g := &s.mesh
	depths := s.spec.Output.DepthsM
	p.n = probeDepths + len(depths)
	for k := range p.v {
		p.v[k] = grow(p.v[k], p.n)
		clear(p.v[k])
	}
	p.axis = grow(p.axis, g.nz+2)
	p.first = grow(p.first, p.n)
	p.weight = grow(p.weight, p.n)
	if g.nr > 1 {
		p.onAxis = axisWeights(g)
	}
	p.first[probeCore], p.weight[probeCore] = centreWeights(g)
	for k, d := range depths {
		p.first[probeDepths+k], p.weight[probeDepths+k] = depthWeights(g, d)
	}
}

// centreWeights reconstructs the temperature of the mid-plane: the parabola
// (cubic on an even grid) whose means over the middle cells are the cells'
// temperatures. The mean of the two middle cells would be off by T″·dx²/8.
func centreWeights(g *mesh) (first int, w [4]float64) {
	n := 4
	if g.nz%2 == 1 {
		n = 3
	}
	lo := (g.nz - n) / 2
	mid := (g.zEdge[0] + g.zEdge[g.nz]) / 2
	scale := g.dz[g.nz/2]
	var edges [5]float64
	for j := range n + 1 {
		edges[j] = (g.zEdge[lo+j] - mid) / scale
	}
	return lo + 1, weightsOfMeans(edges[:n+1])
}

// axisWeights reconstructs the temperature at r = 0 from the three innermost
// rings: the parabola in u = r² whose means over the rings are theirs.
func axisWeights(g *mesh) [3]float64 {
	var u [4]float64
	for k := range u {
		u[k] = sq(g.rEdge[k] / g.rEdge[3])
	}
	w := weightsOfMeans(u[:])
	return [3]float64{w[0], w[1], w[2]}
}

// weightsOfMeans returns the weights of up to four cell means in the value at
// 0 of the polynomial with those means: Σ_j w_j·mean_j(x^m) = [m = 0].
func weightsOfMeans(edges []float64) (w [4]float64) {
	n := len(edges) - 1
	var a [4][5]float64
	for m := range n {
		for j := range n {
			x0, x1 := edges[j], edges[j+1]
			a[m][j] = (math.Pow(x1, float64(m+1)) - math.Pow(x0, float64(m+1))) / (float64(m+1) * (x1 - x0))
		}
		if m == 0 {
			a[m][4] = 1
		}
	}
	for c := range n { // Gauss–Jordan with row pivoting
		p := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		a[c], a[p] = a[p], a[c]
		for r := range n {
			if r == c {
				continue
			}
			f := a[r][c] / a[c][c]
			for k := range a[r] {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	for j := range n {
		w[j] = a[j][4] / a[j][j]
	}
	return w
}

// depthWeights interpolates at a depth of the raw piece: through the four
// nearest cell centres inside, linearly beside a face where a crust bends the
// profile.
func depthWeights(g *mesh, d float64) (first int, w [4]float64) {
	x := func(k int) float64 {
		switch {
		case k == 0:
			return 0
		case k == g.nz+1:
			return g.zEdge[g.nz]
		}
		return g.zc[k-1]
	}
	i := 0 // x(i) ≤ d ≤ x(i+1)
	for i < g.nz && x(i+1) < d {
		i++
	}
	if i < 2 || i > g.nz-2 {
		f := (d - x(i)) / (x(i+1) - x(i))
		return i, [4]float64{1 - f, f}
	}
	for j := range 4 {
		l := 1.0
		for k := range 4 {
			if k != j {
				l *= (d - x(i-1+k)) / (x(i-1+j) - x(i-1+k))
			}
		}
		w[j] = l
	}
	return i - 1, w
}

// look evaluates all places at the three times of the tried step.
func (s *Solver) look() {
	for k := range 3 {
		s.probe(s.stageT[k], k, s.probes.v[k])
	}
}

// lookNow evaluates all places in the present state, as the step's end.
func (s *Solver) lookNow() {
	for f := range s.faces {
		s.faces[f].stage[2].tempC = s.now.ts[f]
	}
	s.stagePlate[2] = s.now.plate
	s.probe(s.now.t, 2, s.probes.v[2])
}

func (s *Solver) probe(t []float64, stage int, v probeValues) {
	g, p := &s.mesh, &s.probes
	n, nr := g.n, g.nr
	t = t[:n]
	var face, area [3]float64
	coldest := inf
	for f := range s.faces {
		fc := &s.faces[f]
		ts := fc.stage[stage].tempC
		face[fc.side] += fc.area * ts
		area[fc.side] += fc.area
		coldest = min(coldest, ts)
	}
	v[probeA] = face[sideA] / area[sideA]
	v[probeB] = face[sideB] / area[sideB]
	v[probeSurface] = (v[probeA] + v[probeB]) / 2
	if area[sideRim] > 0 {
		v[probeRim] = face[sideRim] / area[sideRim]
	}
	v[probePan] = s.stagePlate[stage]
	if b := &s.bc[bottom]; b.plate == nil {
		v[probePan] = b.contactC
	}
	mean := 0.0
	for i, vol := range g.volume[:n] {
		mean += vol * t[i]
	}
	v[probeMean] = mean / g.total
	axis := p.axis
	if nr == 1 {
		copy(axis[1:], t)
		axis[0], axis[g.nz+1] = v[probeA], v[probeB]
	} else {
		axis[0], axis[g.nz+1] = s.faces[0].stage[stage].tempC, s.faces[nr].stage[stage].tempC
		for i := range g.nz {
			ring := t[i*nr : i*nr+3]
			x := p.onAxis[0]*ring[0] + p.onAxis[1]*ring[1] + p.onAxis[2]*ring[2]
			axis[i+1] = ring[0] + held(x-ring[0], ring[1]-ring[0])
		}
		for _, x := range t {
			coldest = min(coldest, x)
		}
	}
	low := 1
	for i := 2; i <= g.nz; i++ {
		if axis[i] < axis[low] {
			low = i
		}
	}
	coldest = min(coldest, axis[low])
	if low > 1 && low < g.nz {
		coldest = min(coldest, valley(g.zc[low-2], g.zc[low-1], g.zc[low], axis[low-1], axis[low], axis[low+1]))
	}
	v[probeCore] = p.at(probeCore)
	v[probeColdest] = min(coldest, v[probeCore])
	for k := probeDepths; k < p.n; k++ {
		v[k] = p.at(k)
	}
}

func (p *probes) at(k int) float64 {
	a := p.axis[p.first[k]:]
	sum := 0.0
	for j, w := range p.weight[k] {
		if w != 0 {
			sum += w * a[j]
		}
	}
	return sum
}

// valley is the lowest value of the parabola through three points, between
// the outer two.
func valley(x0, x1, x2, y0, y1, y2 float64) float64 {
	d1 := (y1 - y0) / (x1 - x0)
	d2 := ((y2-y1)/(x2-x1) - d1) / (x2 - x0)
	if d2 <= 0 {
		return min(y0, y1, y2)
	}
	x := (x0+x1)/2 - d1/(2*d2)
	if x < x0 || x > x2 {
		return min(y0, y1, y2)
	}
	return y0 + (x-x0)*(d1+d2*(x-x1))
}

// evenShare returns the percentage of the thickness within band of the core,
// on the axis, taking the profile linear between nodes.
func (s *Solver) evenShare(core, band float64) float64 {
	g, a := &s.mesh, s.probes.axis
	within, total := 0.0, g.zEdge[g.nz]
	x := 0.0
	for k := 1; k < len(a); k++ {
		next := total
		if k <= g.nz {
			next = g.zc[k-1]
		}
		within += (next - x) * shareInside(a[k-1]-core, a[k]-core, band)
		x = next
	}
	return 100 * within / total
}

// shareInside is the share of a straight line from a to b that lies in ±band.
func shareInside(a, b, band float64) float64 {
	if a > b {
		a, b = b, a
	}
	if b <= -band || a >= band {
		if b == a && math.Abs(a) <= band {
			return 1
		}
		return 0
	}
	if b-a < 1e-12 {
		return 1
	}
	return (min(b, band) - max(a, -band)) / (b - a)
}

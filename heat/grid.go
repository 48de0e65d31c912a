package heat

import "math"

// Stretching of the grids: cells at a face are sech²(β) of those in the
// middle (slab and disc axis), and finer towards the rim likewise.
const (
	axialStretch  = 1.6
	radialStretch = 1.6
)

// mesh is the geometry of the cells.
type mesh struct {
	nz, nr, n int
	zEdge, zc []float64 // nz+1, nz
	rEdge, rc []float64 // nr+1, nr
	dz        []float64
	faceArea  []float64 // of a face, by radial cell; 1 for a slab
	rimArea   []float64 // of the rim, by axial cell
	volume    []float64 // by cell; per m² for a slab
	total     float64
	// cubic[iz]·T(iz−1 … iz+2) corrects T(iz) − T(iz+1), so that over the
	// distance of the cells it becomes the fourth-order gradient at their edge.
	cubic [][4]float64
	// cubicR[j] does so for the rings j and j+1 with T(max(0, j−1) …), over
	// the distance of the ring middles.
	cubicR [][4]float64
}

func (g *mesh) set(p *Piece, nz, nr int) {
	slab := p.Shape == Slab
	if slab {
		nr = 1
	}
	g.nz, g.nr, g.n = nz, nr, nz*nr
	g.zEdge, g.zc, g.dz = grow(g.zEdge, nz+1), grow(g.zc, nz), grow(g.dz, nz)
	g.rEdge, g.rc = grow(g.rEdge, nr+1), grow(g.rc, nr)
	g.faceArea, g.rimArea = grow(g.faceArea, nr), grow(g.rimArea, nz)
	g.volume = grow(g.volume, g.n)
	scale := math.Tanh(axialStretch)
	for i := range g.zEdge {
		xi := 2*float64(i)/float64(nz) - 1
		g.zEdge[i] = p.ThicknessM / 2 * (1 + math.Tanh(axialStretch*xi)/scale)
	}
	g.zEdge[0], g.zEdge[nz] = 0, p.ThicknessM
	for i := range g.zc {
		g.zc[i] = (g.zEdge[i] + g.zEdge[i+1]) / 2
		g.dz[i] = g.zEdge[i+1] - g.zEdge[i]
	}
	if slab {
		g.rEdge[0], g.rEdge[1], g.rc[0] = 0, 0, 0
		g.faceArea[0] = 1
	} else {
		radius := p.DiameterM / 2
		scale := math.Tanh(radialStretch)
		for j := range g.rEdge {
			g.rEdge[j] = radius * math.Tanh(radialStretch*float64(j)/float64(nr)) / scale
		}
		g.rEdge[nr] = radius
		for j := range g.rc {
			g.rc[j] = (g.rEdge[j] + g.rEdge[j+1]) / 2
			g.faceArea[j] = math.Pi * (g.rEdge[j+1]*g.rEdge[j+1] - g.rEdge[j]*g.rEdge[j])
		}
		for i := range g.rimArea {
			g.rimArea[i] = 2 * math.Pi * radius * g.dz[i]
		}
	}
	g.setCubic()
	g.total = 0
	for i := range nz {
		for j := range nr {
			v := g.dz[i] * g.faceArea[j]
			g.volume[i*nr+j] = v
			g.total += v
		}
	}
}

// grow returns s with length n, reusing its memory where it can.
func grow[T any](s []T, n int) []T {
	if cap(s) >= n {
		return s[:n]
	}
	return make([]T, n)
}

// startMean is the mean start temperature between two depths; the profile is
// linear between its points and constant outside them.
func (p *Piece) startMean(from, to float64) float64 {
	q := p.StartProfile
	if len(q) == 0 {
		return p.StartC
	}
	at := func(depth float64) float64 {
		if depth <= q[0].DepthM {
			return q[0].TempC
		}
		for i := 1; i < len(q); i++ {
			if depth <= q[i].DepthM {
				f := (depth - q[i-1].DepthM) / (q[i].DepthM - q[i-1].DepthM)
				return q[i-1].TempC + f*(q[i].TempC-q[i-1].TempC)
			}
		}
		return q[len(q)-1].TempC
	}
	sum, x, y := 0.0, from, at(from)
	for _, point := range q {
		if point.DepthM > from && point.DepthM < to {
			sum += (point.DepthM - x) * (point.TempC + y) / 2
			x, y = point.DepthM, point.TempC
		}
	}
	sum += (to - x) * (at(to) + y) / 2
	return sum / (to - from)
}

// setCubic prepares the fourth-order gradients, axially between inner cells
// and radially out to the last edge but one.
func (g *mesh) setCubic() {
	g.cubic = grow(g.cubic, g.nz)
	for iz := 1; iz < g.nz-2; iz++ {
		scale := g.zc[iz+1] - g.zc[iz]
		c := gradientOfMeans([5]float64(g.zEdge[iz-1:iz+4]), 2)
		for j := range c {
			c[j] *= -scale
		}
		c[1]--
		c[2]++
		g.cubic[iz] = c
	}
	g.cubicR = grow(g.cubicR, g.nr)
	if g.nr < 4 {
		return
	}
	// Over u = r² the rings have equal weight per du and the temperature is
	// smooth at the axis; r·dT/dr = 2u·dT/du.
	for j := range g.nr - 2 {
		lo := max(0, j-1)
		var u [5]float64
		for k := range u {
			u[k] = sq(g.rEdge[lo+k])
		}
		c := gradientOfMeans(u, j+1-lo)
		for k := range c {
			c[k] *= -2 * g.rEdge[j+1] * (g.rc[j+1] - g.rc[j])
		}
		c[j-lo]--
		c[j-lo+1]++
		g.cubicR[j] = c
	}
}

// gradientOfMeans returns the weights of four cell means in the gradient, at
// edge number at, of the cubic with those means.
//
// The cubic's integral is the quartic through the summed means S at the five
// edges, and its gradient that quartic's second derivative. With y the
// distances from the edge asked for, (S_m − S_at)/y_m is a cubic in y whose
// slope at 0 is half of that; its Lagrange polynomial of y_m on the other
// three nodes p, q, r has the slope (pq + pr + qr)/((y_m−p)(y_m−q)(y_m−r)).
func gradientOfMeans(e [5]float64, at int) (w [4]float64) {
	var y [4]float64
	n := 0
	for m := range e {
		if m != at {
			y[n] = e[m] - e[at]
			n++
		}
	}
	var sum [5]float64 // weights of S in the second derivative
	for m, x := range y {
		p, q, r := y[(m+1)&3], y[(m+2)&3], y[(m+3)&3]
		v := 2 * (p*q + p*r + q*r) / ((x - p) * (x - q) * (x - r) * x)
		if m < at {
			sum[m] = v
		} else {
			sum[m+1] = v
		}
		sum[at] -= v
	}
	tail := 0.0
	for j := 3; j >= 0; j-- {
		tail += sum[j+1]
		w[j] = tail * (e[j+1] - e[j])
	}
	return w
}

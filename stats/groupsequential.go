package stats

import (
	"fmt"
	"math"

	"trivet/fault"
)

// Spending says how the error rate of a test is spread over planned looks.
type Spending string

// Spending functions of K. K. G. Lan & D. L. DeMets, Biometrika 70:659 (1983),
// for a two-sided test at alpha when a share t of the blocks is in.
const (
	// SpendLate spends little early, after P. C. O'Brien & T. R. Fleming,
	// Biometrics 35:549 (1979): 2 − 2Φ(z(1−α/2)/√t).
	SpendLate Spending = "obrien-fleming"
	// SpendEvenly spends nearly evenly, after S. J. Pocock, Biometrika 64:191
	// (1977): α ln(1 + (e−1)t).
	SpendEvenly Spending = "pocock"
)

// Spent is the error rate spent when a share t of the blocks is in.
func (s Spending) Spent(alpha, t float64) float64 {
	switch {
	case t <= 0:
		return 0
	case t >= 1:
		return alpha
	case s == SpendEvenly:
		return alpha * math.Log1p((math.E-1)*t)
	}
	return 2 - 2*bigPhi(stdQuantile(1-alpha/2)/math.Sqrt(t))
}

// Looks is a plan of looks at the answer with its boundaries.
type Looks struct {
	Spending Spending
	Alpha    float64
	Share    []float64 // of the blocks that are in at each look
	Spent    []float64 // error rate spent up to each look
	Z        []float64 // boundary for |z| at each look; +Inf where nothing is spent
	Nominal  []float64 // two-sided level of an interval at each look: 2 − 2Φ(Z)
}

// GroupSequential finds the boundaries for looks at the given shares of the
// planned blocks, which rise to 1 or stop short of it. At each look the
// two-sided interval is read at the level Nominal instead of alpha (with the
// t distribution of its degrees of freedom, as is usual; the boundaries
// themselves are those of normal increments), and all of them hold together
// with chance 1 − alpha (C. Jennison & B. W. Turnbull, Journal of the Royal
// Statistical Society B 51:305 (1989)).
//
// The chance of crossing at a look is found by integrating the density of the
// sum over the paths that did not cross before (P. Armitage, C. K. McPherson &
// B. C. Rowe, JRSS A 132:235 (1969)), by Gauss–Legendre.
func GroupSequential(s Spending, alpha float64, share []float64) (*Looks, error) {
	if s != SpendLate && s != SpendEvenly {
		return nil, fault.BadUsage("spending-unknown", "there is no spending function %q", s).On("spending", string(s)).WithFix("%s or %s", SpendLate, SpendEvenly)
	}
	if !(alpha > 0 && alpha < 0.5) {
		return nil, fault.BadUsage("alpha-range", "alpha must lie between 0 and 0.5").On("alpha", fmt.Sprint(alpha)).WithFix("0.05 is usual")
	}
	if len(share) == 0 || len(share) > mostLooks {
		return nil, fault.BadUsage("looks-count", "there must be 1 to %d looks", mostLooks).On("looks", fmt.Sprint(len(share))).WithFix("name the numbers of blocks at which you look")
	}
	last := 0.0
	for _, t := range share {
		if !(t > last && t <= 1) {
			return nil, fault.BadUsage("looks-order", "looks must come at rising shares of the blocks, up to all of them").On("looks", fmt.Sprint(share)).WithFix("such as a third, two thirds and all")
		}
		last = t
	}
	l := &Looks{Spending: s, Alpha: alpha, Share: share}
	w := newWalk(0)
	before := 0.0
	for _, t := range share {
		spent := s.Spent(alpha, t)
		z := math.Inf(1)
		if more := spent - before; more > 1e-14 {
			z = bisect(func(z float64) float64 { // rising in z
				up, down := w.crossing(t, z, z)
				return more - up - down
			}, 0, farZ)
		}
		w.step(t, math.Min(z, farZ), math.Min(z, farZ))
		l.Spent = append(l.Spent, spent)
		l.Z = append(l.Z, z)
		l.Nominal = append(l.Nominal, math.Erfc(z/math.Sqrt2))
		before = spent
	}
	return l, nil
}

const (
	mostLooks = 200
	farZ      = 8.3 // 1 − Φ(8.3) is below 1e-16
	walkNodes = 200
)

// Crossing is the chance of first leaving the boundaries upwards and
// downwards at each look, when the whole experiment's z has mean drift
// (θ√n/σ with all n blocks).
func (l *Looks) Crossing(drift float64) (up, down []float64) {
	w := newWalk(drift)
	for k, t := range l.Share {
		z := math.Min(l.Z[k], farZ+math.Abs(drift))
		u, d := w.crossing(t, z, z)
		up, down = append(up, u), append(down, d)
		w.step(t, z, z)
	}
	return up, down
}

// walk is the density of a Brownian motion with drift over the paths that are
// still inside.
type walk struct {
	drift   float64
	at      float64 // share of the information
	node    []float64
	density []float64 // times the node's weight; at the start a point mass at 0
}

func newWalk(drift float64) *walk {
	return &walk{drift: drift, node: []float64{0}, density: []float64{1}}
}

// crossing is the chance of being inside so far and then, at share t, above
// zUp or below −zDown.
func (w *walk) crossing(t, zUp, zDown float64) (up, down float64) {
	root, sd, shift := math.Sqrt(t), math.Sqrt(t-w.at), w.drift*(t-w.at)
	for i, x := range w.node {
		up += w.density[i] * bigPhi((x+shift-zUp*root)/sd)
		down += w.density[i] * bigPhi((-zDown*root-x-shift)/sd)
	}
	return up, down
}

// step goes on to share t, keeping what lies between −zDown and zUp.
func (w *walk) step(t, zUp, zDown float64) {
	root, sd, shift := math.Sqrt(t), math.Sqrt(t-w.at), w.drift*(t-w.at)
	// Where the density is nothing, no nodes are spent.
	mean := w.drift * t
	lo, hi := math.Max(-zDown*root, mean-farZ*root), math.Min(zUp*root, mean+farZ*root)
	if hi <= lo {
		w.at, w.node, w.density = t, nil, nil
		return
	}
	x, weight := legendre(walkNodes)
	node, density := make([]float64, walkNodes), make([]float64, walkNodes)
	for i := range x {
		y := lo + (hi-lo)*(x[i]+1)/2
		sum := 0.0
		for j, from := range w.node {
			sum += w.density[j] * phi((y-from-shift)/sd)
		}
		node[i], density[i] = y, weight[i]*(hi-lo)/2*sum/sd
	}
	w.at, w.node, w.density = t, node, density
}

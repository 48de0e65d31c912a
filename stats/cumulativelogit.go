package stats

import (
	"encoding/binary"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/optimize"
)

func formatFloat(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// hermiteNodes is the number of adaptive Gauss–Hermite nodes per block.
const hermiteNodes = 20

func hermite() (nodes, weight []float64) {
	nodes, weight = make([]float64, hermiteNodes), make([]float64, hermiteNodes)
	quad.Hermite{}.FixedLocations(nodes, weight, math.Inf(-1), math.Inf(1))
	return nodes, weight
}

// cumulativeLogit is a fitted model of ordered grades.
type cumulativeLogit struct {
	thresholds []float64
	beta, se   []float64
	sigma      float64 // SD of the block intercept
	value      float64 // log-likelihood
}

// cumulativeProblem is its likelihood. Parameters: first threshold, logs of
// the steps to the next ones, effects, and ln σ of the block intercept when
// random is true.
type cumulativeProblem struct {
	place  []int
	levels int
	x      [][]float64
	groups [][]int
	times  []float64 // how often each group occurs
	random bool
	nodes  []float64 // Gauss–Hermite
	weight []float64
}

// fitCumulativeLogit maximises the likelihood, the block intercept integrated
// out by adaptive Gauss–Hermite quadrature (Pinheiro & Bates 1995, JCGS 4:12).
// Nil when an effect runs off to infinity.
func fitCumulativeLogit(place []int, levels int, x [][]float64, groups [][]int) *cumulativeLogit {
	p := &cumulativeProblem{place: place, levels: levels, x: x}
	p.groups, p.times = p.distinct(groups)
	p.nodes, p.weight = hermite()

	start := p.start()
	plain := p.maximise(start)
	if plain == nil {
		return nil
	}
	p.random = true
	mixed := p.maximise(append(append([]float64(nil), plain...), math.Log(0.7)))
	if mixed != nil && p.logLikelihood(mixed) > p.plainValue(plain)+1e-6 {
		return p.finish(mixed)
	}
	p.random = false
	return p.finish(plain)
}

// distinct keeps one of each kind of block: blocks whose rows have the same
// grades and the same predictors have the same likelihood, and of thousands of
// blocks of a few rows only tens differ.
func (p *cumulativeProblem) distinct(groups [][]int) (kept [][]int, times []float64) {
	at := map[string]int{}
	for _, rows := range groups {
		parts := make([]string, len(rows))
		for k, i := range rows {
			b := binary.AppendUvarint(nil, uint64(p.place[i]))
			for _, v := range p.x[i] {
				b = binary.BigEndian.AppendUint64(b, math.Float64bits(v))
			}
			parts[k] = string(b)
		}
		slices.Sort(parts)
		key := strings.Join(parts, "")
		i, known := at[key]
		if !known {
			i = len(kept)
			at[key] = i
			kept, times = append(kept, rows), append(times, 0)
		}
		times[i]++
	}
	return kept, times
}

func (p *cumulativeProblem) plainValue(par []float64) float64 {
	q := *p
	q.random = false
	return q.logLikelihood(par)
}

// start puts the thresholds at the logits of the overall shares.
func (p *cumulativeProblem) start() []float64 {
	count := make([]float64, p.levels)
	for _, g := range p.place {
		count[g]++
	}
	par := make([]float64, p.levels-1+len(p.x[0]))
	sum, last := 0.0, 0.0
	for j := range p.levels - 1 {
		sum += count[j]
		share := sum / float64(len(p.place))
		t := math.Log(share / (1 - share))
		if j == 0 {
			par[0] = t
		} else {
			par[j] = math.Log(t - last)
		}
		last = t
	}
	return par
}

func (p *cumulativeProblem) unpack(par []float64) (thresholds, beta []float64, sigma float64) {
	k := p.levels - 1
	thresholds = make([]float64, k)
	for j := range k {
		if j == 0 {
			thresholds[0] = par[0]
		} else {
			thresholds[j] = thresholds[j-1] + math.Exp(par[j])
		}
	}
	beta = par[k : k+len(p.x[0])]
	if p.random {
		sigma = math.Exp(par[len(par)-1])
	}
	return thresholds, beta, sigma
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// cell is ln P(grade = g) at linear predictor eta, with its first and second
// derivative by eta: for the logistic F these are F(a)+F(b)−1 and −f(a)−f(b),
// a and b the thresholds above and below.
func gradeCell(thresholds []float64, g int, eta float64) (logP, d1, d2 float64) {
	fa, fb := 1.0, 0.0
	a, b := math.Inf(1), math.Inf(-1)
	if g < len(thresholds) {
		a = thresholds[g] - eta
		fa = logistic(a)
	}
	if g > 0 {
		b = thresholds[g-1] - eta
		fb = logistic(b)
	}
	switch {
	case math.IsInf(b, -1):
		logP = -math.Log1p(math.Exp(-a))
	case math.IsInf(a, 1):
		logP = -math.Log1p(math.Exp(b))
	default: // F(a)−F(b) = F(a)(1−F(b))(1−e^(b−a))
		logP = -math.Log1p(math.Exp(-a)) - math.Log1p(math.Exp(b)) + math.Log(-math.Expm1(b-a))
	}
	return logP, fa + fb - 1, -(fa*(1-fa) + fb*(1-fb))
}

func (p *cumulativeProblem) logLikelihood(par []float64) float64 {
	thresholds, beta, sigma := p.unpack(par)
	sum := 0.0
	var eta []float64
	for k, rows := range p.groups {
		eta = eta[:0]
		for _, i := range rows {
			eta = append(eta, dot(p.x[i], beta))
		}
		if sigma > 0 {
			sum += p.times[k] * p.block(rows, thresholds, eta, sigma)
			continue
		}
		one := 0.0
		for j, i := range rows {
			l, _, _ := gradeCell(thresholds, p.place[i], eta[j])
			one += l
		}
		sum += p.times[k] * one
	}
	return sum
}

// block integrates, for rows with the linear predictors eta, exp(Σ ln P(u)) φ(u)
// over u, centred at the mode of the integrand and scaled by its curvature
// there.
func (p *cumulativeProblem) block(rows []int, thresholds, eta []float64, sigma float64) float64 {
	at := func(u float64) (l, d1, d2 float64) {
		l, d1, d2 = -u*u/2, -u, -1
		for j, i := range rows {
			v, g, h := gradeCell(thresholds, p.place[i], eta[j]+sigma*u)
			l += v
			d1 += sigma * g
			d2 += sigma * sigma * h
		}
		return l, d1, d2
	}
	mode := 0.0
	value, d1, d2 := at(mode)
	for range 50 { // Newton on a concave function, halved when it overshoots
		step := -d1 / d2
		for {
			v, g, h := at(mode + step)
			if v >= value-1e-12 || math.Abs(step) < 1e-12 {
				mode, value, d1, d2 = mode+step, v, g, h
				break
			}
			step /= 2
		}
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	width := math.Sqrt(2 / -d2)
	sum := 0.0
	for k, z := range p.nodes {
		l, _, _ := at(mode + width*z)
		sum += p.weight[k] * math.Exp(l-value+z*z)
	}
	return value + math.Log(sum*width/math.Sqrt(2*math.Pi))
}

// gradient by central differences.
func (p *cumulativeProblem) gradient(par []float64) []float64 {
	g := make([]float64, len(par))
	x := append([]float64(nil), par...)
	for i := range x {
		h := 1e-5 * math.Max(1, math.Abs(par[i]))
		x[i] = par[i] + h
		up := p.logLikelihood(x)
		x[i] = par[i] - h
		g[i] = (up - p.logLikelihood(x)) / (2 * h)
		x[i] = par[i]
	}
	return g
}

// information is minus the Hessian, by second differences of the value.
func (p *cumulativeProblem) information(par []float64) *symmetric {
	n := len(par)
	out := newSymmetric(n)
	const h = 1e-3
	x := append([]float64(nil), par...)
	at := func(i, j int, a, b float64) float64 {
		x[i] += a
		x[j] += b
		v := p.logLikelihood(x)
		copy(x, par)
		return v
	}
	centre := p.logLikelihood(par)
	for i := range n {
		// Fourth-order second difference.
		d := -(-at(i, i, 2*h, 0) + 16*at(i, i, h, 0) - 30*centre + 16*at(i, i, -h, 0) - at(i, i, -2*h, 0)) / (12 * h * h)
		out.a[i*n+i] = d
		for j := range i {
			cross := func(s float64) float64 {
				return (at(i, j, s, s) - at(i, j, s, -s) - at(i, j, -s, s) + at(i, j, -s, -s)) / (4 * s * s)
			}
			// Richardson extrapolation of the cross difference.
			v := -(4*cross(h) - cross(2*h)) / 3
			out.a[i*n+j], out.a[j*n+i] = v, v
		}
	}
	return out
}

// maximise climbs by BFGS and then by Newton steps; nil when an effect leaves
// every plausible range.
func (p *cumulativeProblem) maximise(start []float64) []float64 {
	problem := optimize.Problem{
		Func: func(x []float64) float64 { return -p.logLikelihood(x) },
		Grad: func(g, x []float64) {
			copy(g, p.gradient(x))
			scale(g, -1)
		},
	}
	// The Newton steps below judge convergence; an error here only says that
	// BFGS could not improve further.
	res, _ := optimize.Minimize(problem, start, &optimize.Settings{MajorIterations: 200, GradientThreshold: 1e-5}, &optimize.BFGS{})
	if res == nil {
		return nil
	}
	par := append([]float64(nil), res.X...)
	for range 4 {
		chol := p.information(par)
		if !chol.cholesky() {
			break
		}
		step := multiply(chol.inverse().a, p.gradient(par))
		next := append([]float64(nil), par...)
		axpy(next, step, 1)
		if v := p.logLikelihood(next); math.IsNaN(v) || v < p.logLikelihood(par)-1e-9 {
			break
		}
		par = next
		if norm(step) < 1e-9 {
			break
		}
	}
	_, beta, _ := p.unpack(par)
	for _, b := range beta {
		if math.Abs(b) > 15 || math.IsNaN(b) {
			return nil
		}
	}
	return par
}

// finish reads the parameters and their standard errors.
func (p *cumulativeProblem) finish(par []float64) *cumulativeLogit {
	thresholds, beta, sigma := p.unpack(par)
	out := &cumulativeLogit{thresholds: thresholds, beta: beta, sigma: sigma, value: p.logLikelihood(par)}
	chol := p.information(par)
	if !chol.cholesky() {
		return nil
	}
	inv := chol.inverse()
	for k := range beta {
		i := p.levels - 1 + k
		out.se = append(out.se, math.Sqrt(inv.a[i*inv.n+i]))
	}
	return out
}

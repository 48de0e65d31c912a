package measure

import (
	"math"
	"slices"
)

// slabModes is how many eigenfunctions of the slab are kept. Those left out
// have died to a thousandth of their beginning 2 s after a change in a slab of
// 30 mm of food; until then see [stage.soon].
const slabModes = 48

// fieldNodes is how many even depths a fitted field is kept at.
const fieldNodes = 61

// contact is what a face touches: a Biot number hL/k on the whole thickness
// and the temperature beyond it, °C.
type contact struct{ bi, tC float64 }

// modes are the eigenfunctions of T_t = (α/L²) T_ξξ on 0 ≤ ξ ≤ 1 with
// −T_ξ = Bi (T∞ − T) out of each face: X_m = a cos(βξ − φ), tan φ = BiA/β, of
// square integral 1, where β − arctan(BiA/β) − arctan(BiB/β) = mπ. They decay
// as exp(−β²αt/L²), so that no step in time has an error, and a face that
// jumps is as exact as the modes that are kept.
//
// Reference: H. S. Carslaw, J. C. Jaeger 1959, Conduction of Heat in Solids,
// 2nd ed., §3.9 and §3.11 (the slab with radiation at both faces).
type modes struct {
	biA, biB        float64
	beta, amp, turn [slabModes]float64 // β, a, φ
	atA, atB        [slabModes]float64 // values on the faces

	places []float64 // where the modes were last read, and what they are there
	values []float64
	have   int
}

func newModes(biA, biB float64) *modes {
	s := &modes{biA: biA, biB: biB}
	for m := range slabModes {
		b := eigenvalue(biA, biB, m)
		phi := math.Atan2(biA, b)
		b2 := b * b
		norm := ((b2+biA*biA)*(1+biB/(b2+biB*biB)) + biA) / 2
		a := math.Sqrt((b2 + biA*biA) / norm)
		s.beta[m], s.amp[m], s.turn[m] = b, a, phi
		s.atA[m], s.atB[m] = a*math.Cos(phi), a*math.Cos(b-phi)
	}
	return s
}

// eigenvalue m, by Newton's method within its bracket: the left side of its
// equation grows with β.
func eigenvalue(biA, biB float64, m int) float64 {
	target := float64(m) * math.Pi
	lo, hi := target, target+math.Pi
	b := hi - 1/(1/hi+1/(biA+biB)) // exact for Bi of 0, and right for m ≫ Bi
	if m == 0 {
		b = math.Sqrt(min(biA+biB, 4))
	} else if biA+biB < hi {
		b = target + (biA+biB)/target
	}
	for range 60 {
		if !(b > lo && b < hi) {
			b = (lo + hi) / 2
		}
		f := b - math.Atan2(biA, b) - math.Atan2(biB, b) - target
		if f > 0 {
			hi = b
		} else {
			lo = b
		}
		step := f / (1 + biA/(b*b+biA*biA) + biB/(b*b+biB*biB))
		b -= step
		if math.Abs(step) < 1e-13*(1+b) {
			break
		}
	}
	return b
}

// onLine is the share of mode m in the straight line c0 + c1 ξ: the integral
// of their product, by parts (X” = −β²X).
func (s *modes) onLine(m int, c0, c1 float64) float64 {
	a, b := s.atA[m], s.atB[m]
	return (s.biB*b*(c0+c1) + c1*b + s.biA*a*c0 - c1*a) / (s.beta[m] * s.beta[m])
}

// on is the share of mode m in mode n of another slab.
func (s *modes) on(m int, other *modes, n int) float64 {
	b, g := s.beta[m], other.beta[n]
	if math.Abs(b-g) > 1e-3 { // Green's second identity
		return (s.atB[m]*other.atB[n]*(other.biB-s.biB) + s.atA[m]*other.atA[n]*(other.biA-s.biA)) / ((g - b) * (g + b))
	}
	waves := func(k, phase float64) float64 { // the integral of cos(kξ − phase)
		if math.Abs(k) < 1e-9 {
			return math.Cos(phase)
		}
		return math.Cos(k/2-phase) * math.Sin(k/2) / (k / 2)
	}
	return s.amp[m] * other.amp[n] / 2 * (waves(b-g, s.turn[m]-other.turn[n]) + waves(b+g, s.turn[m]+other.turn[n]))
}

// at is mode m at ξ. Beyond a face it goes on as through the film there: to
// nothing where what touches the face begins.
func (s *modes) at(m int, xi float64) float64 {
	switch {
	case xi <= 0:
		return s.atA[m] * (1 + s.biA*xi)
	case xi >= 1:
		return s.atB[m] * (1 - s.biB*(xi-1))
	}
	return s.amp[m] * math.Cos(s.beta[m]*xi-s.turn[m])
}

// read is at least the first so many modes at places: value j*slabModes+m. The search asks
// again and again for the same places.
func (s *modes) read(places []float64, count int) []float64 {
	if !slices.Equal(s.places, places) || len(s.values) < len(places)*slabModes {
		s.places = append(s.places[:0], places...)
		s.values = make([]float64, len(places)*slabModes)
		s.have = 0
	}
	for ; s.have < count; s.have++ {
		for j, xi := range places {
			s.values[j*slabModes+s.have] = s.at(s.have, xi)
		}
	}
	return s.values
}

// line is a steady profile: c0 + c1 ξ.
type line struct{ c0, c1 float64 }

// steady is where the temperatures tend: a straight line.
func steady(a, b contact) line {
	q := (b.tC - a.tC) / (1 + 1/a.bi + 1/b.bi)
	return line{a.tC + q/a.bi, q}
}

// at is the line at ξ, not further out than what touches the face.
func (l line) at(xi float64, m *modes) float64 {
	return l.c0 + l.c1*xi
}

// slab runs stretches of fixed contacts one after the other and keeps the
// modes of the pairs of Biot numbers it met last.
type slab struct {
	known []*modes
}

func (s *slab) modes(biA, biB float64) *modes {
	for _, m := range s.known {
		if m.biA == biA && m.biB == biB {
			return m
		}
	}
	m := newModes(biA, biB)
	if len(s.known) >= 24 {
		s.known = append(s.known[:8:8], s.known[16:]...)
	}
	s.known = append(s.known, m)
	return m
}

// field is the temperature through the slab at a moment: a line and what still
// decays, or, at the beginning, straight between a few depths.
type field struct {
	line
	m     *modes
	amp   []float64
	knots []point // depths as shares of the thickness; level beyond the outermost
}

// at is the field at ξ.
func (c *field) at(xi float64) float64 {
	if len(c.knots) == 0 {
		v := c.c0 + c.c1*xi
		for n, x := range c.amp {
			v += x * c.m.at(n, xi)
		}
		return v
	}
	after := slices.IndexFunc(c.knots, func(p point) bool { return p.depthM > xi })
	switch after {
	case 0:
		return c.knots[0].tC
	case -1:
		return c.knots[len(c.knots)-1].tC
	}
	a, b := c.knots[after-1], c.knots[after]
	return a.tC + (xi-a.depthM)/(b.depthM-a.depthM)*(b.tC-a.tC)
}

// share of mode m of a slab in the field.
func (c *field) share(s *modes, m int) float64 {
	sum := 0.0
	if len(c.knots) > 0 {
		first, last := c.knots[0], c.knots[len(c.knots)-1]
		sum = s.biB*s.atB[m]*last.tC + s.biA*s.atA[m]*first.tC
		for i := 1; i < len(c.knots); i++ {
			a, b := c.knots[i-1], c.knots[i]
			if w := b.depthM - a.depthM; w > 0 && a.tC != b.tC {
				sum += (b.tC - a.tC) / w * (s.at(m, b.depthM) - s.at(m, a.depthM))
			}
		}
		return sum / (s.beta[m] * s.beta[m])
	}
	sum = s.onLine(m, c.c0, c.c1)
	for n, x := range c.amp {
		if c.m == s {
			if n == m {
				sum += x
			}
			continue
		}
		sum += x * s.on(m, c.m, n)
	}
	return sum
}

// stage is a stretch under way: what it tends to and what still decays.
type stage struct {
	line
	faces [2]contact
	m     *modes
	amp   [slabModes]float64 // amplitude of each mode at the stage's beginning
	rate  float64            // α/L², 1/s
}

// enter begins a stretch; a is α/L², 1/s.
func (s *slab) enter(c *field, faces [2]contact, a float64) stage {
	g := stage{faces: faces, m: s.modes(faces[0].bi, faces[1].bi), rate: a}
	g.line = steady(faces[0], faces[1])
	for m := range slabModes {
		g.amp[m] = c.share(g.m, m) - g.m.onLine(m, g.c0, g.c1)
	}
	return g
}

// left is how many modes still show dt seconds into the stretch, and what is
// left of each.
func (g *stage) left(dt float64) []float64 {
	out := make([]float64, 0, slabModes)
	for m := range slabModes {
		x := g.m.beta[m] * g.m.beta[m] * g.rate * dt
		if x > 25 {
			break
		}
		out = append(out, g.amp[m]*math.Exp(-x))
	}
	return out
}

// after is the field dt seconds into the stretch.
func (g *stage) after(dt float64) field {
	return field{line: g.line, m: g.m, amp: g.left(dt)}
}

// at reads the stretch at places dt seconds into it.
func (g *stage) at(dt float64, places, out []float64) {
	left := g.left(dt)
	value := g.m.read(places, len(left))
	for j, xi := range places {
		v := g.line.at(xi, g.m)
		for m, x := range left {
			v += x * value[j*slabModes+m]
		}
		out[j] = v
	}
}

// ends are the temperatures of both faces dt seconds into the stretch.
func (g *stage) ends(dt float64, face *[2]float64) {
	face[0], face[1] = g.c0, g.c0+g.c1
	for m, x := range g.left(dt) {
		face[0] += x * g.m.atA[m]
		face[1] += x * g.m.atB[m]
	}
}

// early is how long after a change the modes left out still count.
func (g *stage) early() float64 {
	return 7 / (g.m.beta[slabModes-1] * g.m.beta[slabModes-1] * g.rate)
}

// faceState is a face just before a change: its temperature, and how steeply
// it grows inwards, K per thickness.
type faceState struct{ tC, slope float64 }

// soon adds to what places would have without a change what the change has
// sent inwards dt seconds after it: each face is still that of a half-space.
// In a half-space at 0 °C whose face meets 1 °C through a film stands
// erfc z − exp(−z²) erfcx(z + Bi√τ), z = y/(2√τ), τ = αt/L² (Carslaw & Jaeger
// 1959, §2.7).
func (g *stage) soon(dt float64, was [2]faceState, places, out []float64) {
	root := math.Sqrt(g.rate * max(dt, 0))
	for side, c := range g.faces {
		drive := c.tC - was[side].tC + was[side].slope/c.bi
		for j, xi := range places {
			y := xi
			if side == 1 {
				y = 1 - xi
			}
			if root == 0 {
				continue
			}
			z := max(y, 0) / (2 * root)
			felt := drive * (math.Erfc(z) - math.Exp(-z*z)*erfcx(z+c.bi*root))
			if y < 0 { // in the film
				face := was[side].tC + felt
				felt = c.tC + (face-c.tC)*(1+c.bi*y) - out[j]
			}
			out[j] += felt
		}
	}
}

// erfcx is exp(x²) erfc x; beyond 20 by its asymptotic series (M. Abramowitz,
// I. A. Stegun 1964, Handbook of Mathematical Functions, 7.1.23).
func erfcx(x float64) float64 {
	if x < 20 {
		return math.Exp(x*x) * math.Erfc(x)
	}
	q := 1 / (2 * x * x)
	return (1 - q*(1-3*q*(1-5*q*(1-7*q)))) / (x * math.SqrtPi)
}

// watch prepares reading the stretch at depths from dt seconds into it on, in
// steps of every: the steady part of each place, the share of each mode that
// is left there, and what a step leaves of it. The first so many places, those
// of sensors, are read as the mean of samples even times apart that fill a
// step: close to a face that has just changed the course bends too much
// for its middle to stand for it.
func (g *stage) watch(at []float64, sensors, samples int, dt, every float64) (base []float64, share [][]float64, ratio []float64) {
	middle := g.left(dt)
	live := len(middle)
	means, ratio := make([]float64, live), make([]float64, live)
	n := float64(samples)
	for m := range live {
		step := g.m.beta[m] * g.m.beta[m] * g.rate * every / n // from sample to sample
		ratio[m] = math.Exp(-n * step)
		means[m] = middle[m]
		if samples > 1 && sensors > 0 { // a geometric series
			means[m] *= math.Exp((n-1)/2*step) * (1 - ratio[m]) / (1 - math.Exp(-step)) / n
		}
	}
	value := g.m.read(at, live)
	base, share = make([]float64, len(at)), make([][]float64, len(at))
	all := make([]float64, len(at)*live)
	for j, xi := range at {
		base[j] = g.line.at(xi, g.m)
		share[j] = all[j*live : (j+1)*live]
		left := middle
		if j < sensors {
			left = means
		}
		for m, x := range left {
			share[j][m] = x * value[j*slabModes+m]
		}
	}
	return base, share, ratio
}

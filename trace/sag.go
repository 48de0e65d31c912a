package trace

import (
	"math"
	"slices"
)

// A pan that meets something cold sags within seconds and comes back within
// a minute or so. The shape is sought together with a parabola by least
// squares over some seconds before and after a moment.
const (
	sagBeforeS = 14
	sagAfterS  = 24
	sagLeaveS  = 180
	sagRoughK  = 0.4 // of a pan about its smooth course, K
	sagLeast   = 6   // standard deviations that make one
)

// sagging is the shape of a pan that sags by one kelvin at most.
func sagging(tau float64) float64 {
	if tau <= 0 {
		return 0
	}
	return -(1 - math.Exp(-tau/8)) * math.Exp(-tau/60)
}

// sag is a moment at which the pan begins to sag, or to rise (z below 0).
type sag struct {
	at  int
	z   float64 // standard deviations
	amp float64 // K
}

// sags finds the sags of a pan, the plainest first: each is taken out before
// the next is sought.
func (g *eventGrid) sags(s *sensed) []sag {
	w, from := matched(g.dt)
	if w == nil {
		return nil
	}
	sd := math.Sqrt(dot(w, w)) * max(s.noise, sagRoughK)
	y := slices.Clone(s.y)
	z := make([]float64, g.n)
	look := func(lo, hi int) {
		for i := max(lo, -from); i < min(hi, g.n-len(w)-from); i++ {
			z[i] = dot(w, y[i+from:i+from+len(w)]) / sd
		}
	}
	look(0, g.n)
	reach, gap := int(sagLeaveS/g.dt), max(1, int(6/g.dt))
	var out []sag
	barred := make([]bool, g.n)
	for range 200 {
		top, best := -1, float64(sagLeast)
		for i, v := range z {
			if math.Abs(v) > best && !barred[i] && !s.nan[i] {
				top, best = i, math.Abs(v)
			}
		}
		if top < 0 {
			break
		}
		amp := z[top] * sd
		for i := max(0, top-gap); i <= min(g.n-1, top+gap); i++ {
			barred[i] = true
		}
		// What is left of a plainer one is its echo.
		if !slices.ContainsFunc(out, func(o sag) bool {
			d := float64(top-o.at) * g.dt
			share := 0.2
			if z[top]*o.z < 0 {
				share = 0.7
			}
			return d > -sagAfterS && d < 90 && math.Abs(z[top]) < share*math.Abs(o.z)
		}) {
			out = append(out, sag{top, z[top], amp})
		}
		for j := top; j < g.n; j++ { // beyond reach it stays, to keep what follows in one piece
			y[j] -= amp * sagging(float64(min(j-top, reach))*g.dt)
		}
		look(top+from-len(w), top+reach-from)
	}
	slices.SortFunc(out, func(a, b sag) int { return a.at - b.at })
	return out
}

// matched are weights whose sum with readings is the size of a sag, from so
// many steps before the moment on.
func matched(dt float64) (w []float64, from int) {
	from = -int(math.Round(sagBeforeS / dt))
	n := int(math.Round(sagAfterS/dt)) - from + 1
	var ground [][]float64
	for k := range 3 {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Pow(float64(from+i)*dt/sagAfterS, float64(k))
		}
		for _, h := range ground {
			subtract(v, h)
		}
		scaleTo1(v)
		ground = append(ground, v)
	}
	w = make([]float64, n)
	for i := range w {
		w[i] = sagging(float64(from+i) * dt)
	}
	for _, h := range ground {
		subtract(w, h)
	}
	norm := dot(w, w)
	if norm < 1e-9 {
		return nil, 0
	}
	for i := range w {
		w[i] /= norm
	}
	return w, from
}

// panTells is the log-likelihood that the sags give to a cold side laid on
// at step i; negative where the pan begins to rise.
func (g *eventGrid) panTells(all []sag, i int) (gain float64) {
	const (
		most   = 60  // a sag may have other causes
		within = 1.5 // seconds
	)
	for _, s := range all {
		d := float64(s.at-i) * g.dt / within
		v := math.Copysign(min(s.z*s.z/2, most), s.z) * math.Exp(-d*d/2)
		if math.Abs(v) > math.Abs(gain) {
			gain = v
		}
	}
	return gain
}

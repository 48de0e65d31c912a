package trace

import (
	"math"
	"slices"
)

// contact is how a face meets new heat: through a film of conductance
// h = perM·k. A wet face that meets a pan at twice what boiling lets it reach
// rises towards that and stays at half of it.
type contact struct {
	perM   float64 // H = h/k, 1/m
	beyond float64 // what is met, as a multiple of what the face can reach
}

// contacts that a face may make: still air and evaporation; a board; a poor, a
// middling and a good pan (k = 0.45 W/m K; 36, 135, 180, 450 and 1800 W/m² K).
var contacts = [...]contact{{80, 1}, {300, 1}, {400, 2}, {1000, 2}, {4000, 1}}

// shape goes from 0 to 1 after the moment.
func (c contact) shape(alpha float64) func(tau float64) float64 {
	return func(tau float64) float64 { return min(c.beyond*film(c.perM, alpha, tau), 1) }
}

const (
	lookS      = 30  // seconds of innovations that tell of a change, at least
	leaveS     = 180 // seconds over which a change is taken out
	usualJumpK = 50  // of what a face meets, K: larger ones are shrunk
	leastJumpK = 5   // smaller ones are none
	mostJumpK  = 110 // of a wet face that meets heat quickly: it stays near boiling
	nearestS   = 8   // changes nearer than this are one
	leastGain  = 18  // least gain in log-likelihood that makes a change
	costOfFace = 4   // of each face a change needs, in log-likelihood
	riseMost   = 12  // a pan rises for many reasons, and at any pace
)

// moves are what both faces may do at a change: −1 begins to cool, 0 nothing,
// 1 begins to be heated; slowly as in an oven, or not.
type moves struct {
	a, b int8
	slow bool
}

var allMoves = [...]moves{
	{1, 0, false}, {0, 1, false}, {-1, 0, false}, {0, -1, false}, {1, -1, false}, {-1, 1, false}, {1, 1, false}, {-1, -1, false},
	{1, 0, true}, {0, 1, true}, {1, -1, true}, {-1, 1, true}, {1, 1, true},
}

// may tells whether a face may meet heat through film k: what heats slowly
// comes through the first film, what heats quickly through that of the pan.
func (m moves) may(move int8, k, hot int) bool {
	if move <= 0 {
		return true
	}
	if m.slow {
		return k == 0
	}
	return k == hot
}

// cools tells whether no face begins to be heated.
func (m moves) cools() bool { return m.a <= 0 && m.b <= 0 }

// account is what a moment tells for one of allMoves.
type account struct {
	gain  float64 // in log-likelihood, less the cost of its faces
	jumpK [2]float64
	film  [2]uint8
}

// change is a moment at which a face met other heat.
type change struct {
	at   int
	take account // what was taken out
	told [len(allMoves)]account
	pan  float64 // log-likelihood of the pan's sag there; negative when it rises

	warming float64 // of the whole piece from half a minute later on, K/s; NaN when not told
}

// search looks for changes in the innovations of a slab.
type search struct {
	f    *slabFilter
	n    int
	z    []float64
	look int
	hot  int // film of the pan, the same for both faces
	sig  [2][len(contacts)][]float64
	// Information on a face's jump by film, and of both together.
	self  [2][len(contacts)]float64
	cross [len(contacts)][len(contacts)]float64
	seen  [][len(allMoves)]account
}

func newSearch(f *slabFilter, z []float64, steps, hot int, lookS float64) *search {
	s := &search{f: f, n: steps, z: z, hot: hot, look: max(8, int(math.Round(lookS/f.dt)))}
	for face := range s.sig {
		for k, c := range contacts {
			s.sig[face][k] = f.signature(face, c.shape(f.alpha), int(leaveS/f.dt))
			v := s.sig[face][k][:s.look*f.m]
			s.self[face][k] = dot(v, v)
		}
	}
	for i := range contacts {
		for j := range contacts {
			s.cross[i][j] = dot(s.sig[0][i][:s.look*f.m], s.sig[1][j][:s.look*f.m])
		}
	}
	s.seen = make([][len(allMoves)]account, steps)
	s.fill(0, steps)
	return s
}

// fill looks at the steps from lo to hi anew.
func (s *search) fill(lo, hi int) {
	for i := max(lo, 0); i < min(hi, s.n); i++ {
		s.seen[i] = s.at(i, i+s.look)
	}
}

// at tells what the innovations from step i to end say of each of allMoves.
func (s *search) at(i, end int) (out [len(allMoves)]account) {
	n := min(end, s.n, i+len(s.sig[0][0])/s.f.m) - i
	full := n == s.look
	if n < 6 {
		return out
	}
	z := s.z[i*s.f.m : (i+n)*s.f.m]
	var f, self [2][len(contacts)]float64
	for face := range f {
		for k := range contacts {
			v := s.sig[face][k][:len(z)]
			f[face][k] = dot(v, z)
			self[face][k] = s.self[face][k]
			if !full {
				self[face][k] = dot(v, v)
			}
		}
	}
	const prior = 1.0 / (usualJumpK * usualJumpK)
	for h, mv := range allMoves {
		best := &out[h]
		if mv.a == 0 || mv.b == 0 {
			face, sign := 0, float64(mv.a)
			if mv.a == 0 {
				face, sign = 1, float64(mv.b)
			}
			for k := range contacts {
				if !mv.may(int8(sign), k, s.hot) {
					continue
				}
				j := self[face][k] + prior
				amp := limit(f[face][k]/j, k)
				if gain := f[face][k]*amp - j*amp*amp/2; sign*amp > leastJumpK && gain > best.gain {
					best.gain = gain
					best.jumpK, best.film = [2]float64{}, [2]uint8{}
					best.jumpK[face], best.film[face] = amp, uint8(k)
				}
			}
			best.gain -= costOfFace
			continue
		}
		for ka := range contacts {
			for kb := range contacts {
				if !mv.may(mv.a, ka, s.hot) || !mv.may(mv.b, kb, s.hot) {
					continue
				}
				cross := s.cross[ka][kb]
				if !full {
					cross = dot(s.sig[0][ka][:len(z)], s.sig[1][kb][:len(z)])
				}
				ja, jb := self[0][ka]+prior, self[1][kb]+prior
				det := ja*jb - cross*cross
				if det <= 0 {
					continue
				}
				a := (jb*f[0][ka] - cross*f[1][kb]) / det
				b := (ja*f[1][kb] - cross*f[0][ka]) / det
				if l := limit(a, ka); l != a {
					a = l
					b = limit((f[1][kb]-cross*a)/jb, kb)
				} else if l := limit(b, kb); l != b {
					b = l
					a = limit((f[0][ka]-cross*b)/ja, ka)
				}
				if a*float64(mv.a) < leastJumpK || b*float64(mv.b) < leastJumpK {
					continue
				}
				if gain := a*f[0][ka] + b*f[1][kb] - (ja*a*a+jb*b*b)/2 - cross*a*b; gain > best.gain {
					*best = account{gain, [2]float64{a, b}, [2]uint8{uint8(ka), uint8(kb)}}
				}
			}
		}
		best.gain -= 2 * costOfFace
	}
	return out
}

// limit keeps a jump to what a wet face can do; what is beyond still air may
// be as hot as an oven.
func limit(jumpK float64, film int) float64 {
	if film == 0 {
		return jumpK
	}
	return min(max(jumpK, -mostJumpK), mostJumpK)
}

// plainest is what a moment tells best.
func plainest(t *[len(allMoves)]account) (h int) {
	for i := range t {
		if t[i].gain > t[h].gain {
			h = i
		}
	}
	return h
}

// tail looks after the last change for a face that cools so slowly that only
// a longer look tells it.
func (s *search) tail(from int, pan func(i int) float64) (c change, ok bool) {
	end := 3 * s.look
	best := 0.0
	for i := from; i < s.n-s.look; i++ {
		t := s.at(i, i+end)
		h := plainest(&t)
		if allMoves[h].cools() && t[h].gain > max(best, leastGain) {
			best = t[h].gain
			c = change{at: i, take: t[h], told: t, pan: pan(i)}
		}
	}
	return c, best > 0
}

// takeOut takes a change out of the innovations, or puts it back (sign −1).
func (s *search) takeOut(at int, t account, sign float64) {
	for face, jump := range t.jumpK {
		if jump == 0 {
			continue
		}
		sig := s.sig[face][t.film[face]]
		z := s.z[at*s.f.m:]
		for i := range min(len(sig), len(z)) {
			z[i] -= sign * jump * sig[i]
		}
	}
}

// run finds the changes, the plainest first: each is taken out before the next
// is sought. pan tells how well a moment fits the pan.
func (s *search) run(pan func(i int) float64) []change {
	score := func(i int) float64 {
		t := &s.seen[i]
		h := plainest(t)
		g := t[h].gain
		if g < leastGain/2 {
			return g
		}
		p := pan(i)
		if allMoves[h].cools() {
			// Or one side is turned away, and the other stands too deep to tell.
			if allMoves[h].a == 0 || allMoves[h].b == 0 {
				g = max(g, g+p-costBySag)
			}
			return g + min(max(0, -p), riseMost)
		}
		return g + max(0, p)
	}
	gap := max(1, int(nearestS/s.f.dt))
	leave := int(leaveS / s.f.dt)
	var out []change
	barred := make([]bool, s.n)
	for range 200 {
		top := -1
		best := float64(leastGain)
		for i := range s.n {
			if barred[i] {
				continue
			}
			if g := score(i); g > best {
				top, best = i, g
			}
		}
		if top < 0 {
			break
		}
		t := s.seen[top][plainest(&s.seen[top])]
		out = append(out, change{at: top, take: t})
		s.takeOut(top, t, 1)
		s.fill(top-s.look, top+leave)
		for i := max(0, top-gap); i <= min(s.n-1, top+gap); i++ {
			barred[i] = true
		}
	}
	slices.SortFunc(out, func(a, b change) int { return a.at - b.at })
	// What was taken first was taken with what came near it still there: each
	// is put back and sought anew beside the others.
	for range 4 {
		for k := range out {
			c := &out[k]
			s.takeOut(c.at, c.take, -1)
			lo, hi := max(0, c.at-gap), min(s.n-1, c.at+gap)
			if k > 0 {
				lo = max(lo, out[k-1].at+gap/2)
			}
			if k+1 < len(out) {
				hi = min(hi, out[k+1].at-gap/2)
			}
			// Moments are weighed by the same readings: each up to one end.
			end := hi + s.look
			for i := lo; i <= hi; i++ {
				s.seen[i] = s.at(i, end)
			}
			top := c.at
			for i := lo; i <= hi; i++ {
				if score(i) > score(top) {
					top = i
				}
			}
			c.at, c.told = top, s.seen[top]
			c.take = c.told[plainest(&c.told)]
			if c.take.gain <= 0 {
				c.take = account{}
			}
			c.pan = pan(top)
			s.takeOut(top, c.take, 1)
		}
		// Two that come to stand together were one.
		for k := 1; k < len(out); k++ {
			if out[k].at-out[k-1].at >= gap {
				continue
			}
			drop := k
			if out[k].take.gain > out[k-1].take.gain {
				drop = k - 1
			}
			s.takeOut(out[drop].at, out[drop].take, -1)
			out = slices.Delete(out, drop, drop+1)
			k--
		}
	}
	return out
}

package trace

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Further kinds of event that [Detect] offers. FatIn is spelt as the mark of
// a cook; the others are kept as notes.
const (
	FatIn      = "fat-in"
	ProbeMoved = "probe-moved"
	ProbeOut   = "probe-out"
	WetProbe   = "wet-probe"
	DoorOpen   = "door-open" // of an oven, or the lid of a pot
)

// A sudden change of the temperature at a face is felt at depth x as
//
//	s(τ) = erfc(x / 2√(ατ)), τ > 0
//
// (H. S. Carslaw, J. C. Jaeger 1959, Conduction of Heat in Solids, §2.4). The
// detector looks in every channel for that shape on a curved ground and adds
// what the channels say.
const (
	eventDiffusivity = 1.3e-7 // of meat, m²/s
	eventBeforeS     = 14     // seconds looked at before a change
	eventAfterS      = 24     // and after
	eventShareLeast  = 0.03   // least evidence as a share of that of a change nearby
	eventDeepestM    = 9e-3   // sensors deeper than this tell no turn
	eventJumpK       = 50     // usual jump at a face, K
	eventLeast       = 60     // least summed evidence, in squared standard deviations
	eventGapS        = 6      // changes nearer than this are one
)

// bank is a shape to look for, as a linear filter over samples: amplitude =
// Σ w_i y_{t+i}, with unit noise of standard deviation sd.
type bank struct {
	w    []float64
	from int // index of the first sample from the moment
	sd   float64
	s    func(tau float64) float64
}

// newBank fits the shape together with a parabola by least squares.
func newBank(dt float64, s func(tau float64) float64) bank {
	from, to := -int(math.Round(eventBeforeS/dt)), int(math.Round(eventAfterS/dt))
	n := to - from + 1
	// Orthogonalise the shape against 1, t, t² (Gram–Schmidt): its amplitude
	// is then a projection.
	var ground [][]float64
	v := make([]float64, n)
	for k := range 3 {
		g := make([]float64, n)
		for i := range g {
			g[i] = math.Pow(float64(from+i)*dt/eventAfterS, float64(k))
		}
		for _, h := range ground {
			subtract(g, h)
		}
		scaleTo1(g)
		ground = append(ground, g)
	}
	for i := range v {
		v[i] = s(float64(from+i) * dt)
	}
	for _, h := range ground {
		subtract(v, h)
	}
	norm2 := dot(v, v)
	if norm2 < 1e-12 {
		return bank{}
	}
	for i := range v {
		v[i] /= norm2
	}
	return bank{w: v, from: from, sd: 1 / math.Sqrt(norm2), s: s}
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

func subtract(v, unit []float64) {
	d := dot(v, unit)
	for i := range v {
		v[i] -= d * unit[i]
	}
}

func scaleTo1(v []float64) {
	n := math.Sqrt(dot(v, v))
	for i := range v {
		v[i] /= n
	}
}

// felt is the shape at a depth under a face that comes to its new temperature
// as 1 − exp(−t/approachS): the convolution of the jump's shape with that.
// It is tabulated in steps of half a second and stays from reachS on.
func felt(depthM, approachS float64) func(float64) float64 {
	jump := func(tau float64) float64 {
		if tau <= 0 {
			return 0
		}
		return math.Erfc(depthM / (2 * math.Sqrt(eventDiffusivity*tau)))
	}
	if approachS == 0 {
		return jump
	}
	const h = 0.5
	table := make([]float64, int(reachS/h)+2)
	for i := 1; i < len(table); i++ {
		// y' = (jump − y)/approach, stepped exactly for a jump's shape that is
		// taken as its mean over the step.
		in := (jump(float64(i)*h) + jump(float64(i-1)*h)) / 2
		table[i] = in + (table[i-1]-in)*math.Exp(-h/approachS)
	}
	return func(tau float64) float64 {
		if tau <= 0 {
			return 0
		}
		x := min(tau/h, float64(len(table)-2))
		k := int(x)
		return table[k] + (x-float64(k))*(table[k+1]-table[k])
	}
}

// reachS is how long a change is followed when it is taken out, s.
const reachS = 180

// sagging is the shape of a pan that meets something cold and comes back.
func sagging(tau float64) float64 {
	if tau <= 0 {
		return 0
	}
	return -(1 - math.Exp(-tau/8)) * math.Exp(-tau/60)
}

// sensed is a channel on the even grid of the detector.
type sensed struct {
	t     *Trace
	y     []float64 // what is left of y0 as changes are taken out
	y0    []float64 // as recorded
	noise float64
	rough float64 // how far real courses stray from the shapes, K
	depth float64 // from the nearer face, m
	side  int     // +1 near face A, −1 near face B, 0 the pan
	banks []bank
	// Evidence of a rise (0) and of a fall (1) at each time in standard
	// deviations, negative where no shape tells one; its amplitude and shape.
	z     [2][]float64
	gain  [2][]float64
	which [2][]uint8
	nan   []bool
}

// eventGrid brings the channels onto one even grid.
type eventGrid struct {
	fromUS int64
	dt     float64
	n      int
	piece  []*sensed // sensors in the piece that feel a face
	deep   []*sensed // sensors in the piece that do not
	pan    []*sensed
	air    []*sensed
	fat    []*sensed
}

func (g *eventGrid) us(i int) int64 { return g.fromUS + int64(math.Round(float64(i)*g.dt*1e6)) }

func newEventGrid(traces []*Trace) *eventGrid {
	g := &eventGrid{fromUS: math.MaxInt64}
	last := int64(math.MinInt64)
	period := int64(math.MaxInt64)
	thick := 0.0
	for _, t := range traces {
		if t.Len() < 8 {
			continue
		}
		g.fromUS, last = min(g.fromUS, t.TimesUS[0]), max(last, t.TimesUS[t.Len()-1])
		if p := t.PeriodUS(); p > 0 {
			period = min(period, p)
		}
		if t.Channel.Place == Depth {
			thick = max(thick, t.Channel.DepthM)
		}
	}
	if g.fromUS == math.MaxInt64 {
		return nil
	}
	g.dt = min(max(float64(period)/1e6, 0.5), 5)
	g.n = int(float64(last-g.fromUS)/1e6/g.dt) + 1
	if g.n < 16 || g.n > 1<<20 {
		return nil
	}
	// The outermost depths stand as far from their faces as each other where
	// the thickness is not told.
	shallow := math.Inf(1)
	for _, t := range traces {
		if t.Channel.Place == Depth && t.Len() >= 8 {
			shallow = min(shallow, t.Channel.DepthM)
		}
	}
	thick += min(shallow, 4e-3)
	for _, t := range traces {
		if t.Len() < 8 {
			continue
		}
		s := &sensed{t: t, rough: 0.4}
		switch t.Channel.Place {
		case Surface:
			s.side = 1
			if t.Channel.Side == "B" {
				s.side = -1
			}
			s.banks = g.depthBanks(0.3e-3)
			s.rough = 1.5
			s.depth = 0
			g.piece = append(g.piece, s)
		case Depth:
			s.side = 1
			x := t.Channel.DepthM
			if thick-x < x {
				s.side, x = -1, thick-x
			}
			if x > eventDeepestM {
				g.deep = append(g.deep, s)
				break
			}
			s.depth = x
			s.banks = g.depthBanks(x)
			s.rough = 0.3 + 0.5*math.Exp(-x/2e-3)
			g.piece = append(g.piece, s)
		case Core:
			g.deep = append(g.deep, s)
		case Pan:
			s.banks = []bank{newBank(g.dt, sagging)}
			g.pan = append(g.pan, s)
		case Air:
			g.air = append(g.air, s)
		case Fat:
			g.fat = append(g.fat, s)
		default:
			continue
		}
		g.resample(s)
	}
	return g
}

// depthBanks are the shapes for a depth that is known to ±1.5 mm, under a face
// that jumps, or takes some seconds or half a minute to come to its heat.
func (g *eventGrid) depthBanks(x float64) []bank {
	var out []bank
	for _, d := range []float64{-1.5e-3, 0, 1.5e-3} {
		for _, approach := range []float64{0, 7, 25} {
			if b := newBank(g.dt, felt(max(x+d, 0.3e-3), approach)); b.w != nil {
				out = append(out, b)
			}
		}
	}
	return out
}

// resample averages what falls into a step, and draws lines across gaps; what
// a gap of more than 5 s touches is no evidence.
func (g *eventGrid) resample(s *sensed) {
	ts, vs := s.t.Points(g.fromUS)
	s.y, s.nan = make([]float64, g.n), make([]bool, g.n)
	j := 0
	for i := range g.n {
		lo, hi := (float64(i)-0.5)*g.dt, (float64(i)+0.5)*g.dt
		sum, c := 0.0, 0.0
		for j < len(ts) && ts[j] < hi {
			if ts[j] >= lo {
				sum += vs[j]
				c++
			}
			j++
		}
		switch {
		case c > 0:
			s.y[i] = sum / c
		case j > 0 && j < len(ts):
			s.y[i] = vs[j-1] + (float64(i)*g.dt-ts[j-1])/(ts[j]-ts[j-1])*(vs[j]-vs[j-1])
			s.nan[i] = ts[j]-ts[j-1] > max(5, 3*g.dt)
		case j == 0:
			s.y[i], s.nan[i] = vs[0], true
		default:
			s.y[i], s.nan[i] = vs[len(vs)-1], true
		}
	}
	s.y0 = s.y
	s.noise = max(scatter(s.y), s.t.Resolution()/math.Sqrt(12), 0.02)
}

// scatter is the standard deviation of a sample about its smooth course, from
// the median size of second differences.
func scatter(v []float64) float64 {
	if len(v) < 5 {
		return 0
	}
	d := make([]float64, 0, len(v)-2)
	for i := 2; i < len(v); i++ {
		d = append(d, math.Abs(v[i]-2*v[i-1]+v[i-2]))
	}
	slices.Sort(d)
	return 1.4826 * d[len(d)/2] / math.Sqrt(6)
}

// look fills the evidence of a channel from step lo to hi.
func (g *eventGrid) look(s *sensed, lo, hi int) {
	if s.z[0] == nil {
		for k := range s.z {
			s.z[k], s.gain[k], s.which[k] = make([]float64, g.n), make([]float64, g.n), make([]uint8, g.n)
		}
	}
	for i := max(lo, 0); i < min(hi, g.n); i++ {
		best := [2]float64{math.Inf(-1), math.Inf(-1)}
		for k, b := range s.banks {
			a, e := i+b.from, i+b.from+len(b.w)
			if a < 0 || e > g.n {
				continue
			}
			amp := dot(b.w, s.y[a:e])
			// A face jumps by some tens of kelvins, so that a shape that needs
			// hundreds to be felt is shrunk, and so is its evidence.
			u := b.sd * max(s.noise, s.rough)
			shrink := eventJumpK * eventJumpK / (eventJumpK*eventJumpK + u*u + amp*amp/9)
			amp *= shrink
			z := amp / u * math.Sqrt(shrink)
			for sign, v := range [2]float64{z, -z} {
				if v > best[sign] {
					best[sign] = v
					s.gain[sign][i], s.which[sign][i] = amp, uint8(k)
				}
			}
		}
		for sign := range best {
			if math.IsInf(best[sign], -1) || s.nan[i] {
				best[sign], s.gain[sign][i] = 0, 0
			}
			s.z[sign][i] = best[sign]
		}
	}
}

// seen is a change found in the channels.
type seen struct {
	at       int
	kind     string // "turn", "up", "down", "pan"
	sign     int    // of a turn: +1 where face A begins to be heated
	evidence float64
	a, b, p  float64 // strongest evidence at face A, face B, the pan
	dir      [2]int  // direction at face A and B: 0 rise, 1 fall
	tell     []int   // channels that told it, of piece then pan
	which    []int   // the shape of each channel
}

// judge adds up the evidence at a step. A turn heats one face as it leaves
// the other; laying on heats, taking off cools; a pan alone sags.
func (g *eventGrid) judge(i int) seen {
	best := seen{at: i}
	// For each face (0 A, 1 B) and direction (0 rise, 1 fall): the summed
	// evidence and the strongest.
	var sum, top [2][2]float64
	for _, s := range g.piece {
		face := 0
		if s.side < 0 {
			face = 1
		}
		for dir := range 2 {
			z := s.z[dir][i]
			sum[face][dir] += z * math.Abs(z)
			if math.Abs(z) > math.Abs(top[face][dir]) {
				top[face][dir] = z
			}
		}
	}
	var p, rise float64
	for _, s := range g.pan {
		p, rise = max(p, s.z[0][i]), max(rise, s.z[1][i])
	}
	// A sag says that something cold met the pan. It is sharp but may have
	// other causes, so that it counts as one strong sensor at most.
	sag, back := min(p*p, 400), min(rise*rise, 400)
	offer := func(kind string, sign int, e float64, dirA, dirB int) {
		if e <= best.evidence {
			return
		}
		best.kind, best.sign, best.evidence, best.p = kind, sign, e, p
		best.dir = [2]int{dirA, dirB}
		best.a, best.b = top[0][dirA], top[1][dirB]
		if dirA == 1 {
			best.a = -best.a
		}
		if dirB == 1 {
			best.b = -best.b
		}
	}
	for sign := 1; sign >= -1; sign -= 2 {
		dirA, dirB := 0, 1
		if sign < 0 {
			dirA, dirB = 1, 0
		}
		a, b := top[0][dirA], top[1][dirB]
		// Both faces speak, or one and the pan.
		if min(a, b) > 3 && max(a, b) > 5 || p > 6 && max(a, b) > 4 && min(a, b) > -3 {
			offer("turn", sign, sum[0][dirA]+sum[1][dirB]+sag, dirA, dirB)
		}
	}
	offer("up", 0, sum[0][0]+sum[1][0]+sag, 0, 0)
	offer("down", 0, sum[0][1]+sum[1][1]+back-sag, 1, 1)
	if sag > 0 && max(math.Abs(top[0][0]), math.Abs(top[0][1]), math.Abs(top[1][0]), math.Abs(top[1][1])) < 4 {
		offer("pan", 0, sag+1, 0, 0)
	}
	return best
}

// said is a channel's evidence for a change in the direction the change gives
// its face.
func (s *sensed) said(c *seen) int {
	switch {
	case s.side > 0:
		return c.dir[0]
	case s.side < 0:
		return c.dir[1]
	case c.kind == "down":
		return 1
	}
	return 0
}

// changes finds the moments at which something changed, the plainest first:
// each is taken out of the channels before the next is sought.
func (g *eventGrid) changes() []seen {
	all := append(slices.Clone(g.piece), g.pan...)
	for _, s := range all {
		s.y = slices.Clone(s.y0)
		g.look(s, 0, g.n)
	}
	judged := make([]seen, g.n)
	for i := range judged {
		judged[i] = g.judge(i)
	}
	before, after := int(math.Ceil(eventBeforeS/g.dt)), int(math.Ceil(eventAfterS/g.dt))
	share := eventShareLeast
	if !slices.ContainsFunc(g.piece, func(s *sensed) bool { return s.depth > 0 }) {
		share *= 5 // faces alone follow every splash
	}
	var out []seen
	gap := max(1, int(eventGapS/g.dt))
	for range 400 {
		top := -1
		for i := range judged {
			if judged[i].evidence > eventLeast && (top < 0 || judged[i].evidence > judged[top].evidence) {
				top = i
			}
		}
		if top < 0 {
			break
		}
		c := judged[top]
		near, echo := false, 0.0
		for _, o := range out {
			// What is left of a change that was taken out: before it within
			// the window, after it for longer.
			d := float64(o.at-c.at) * g.dt
			near = near || math.Abs(d) < eventGapS
			if d > -60 && d < eventBeforeS+eventAfterS {
				echo = max(echo, o.evidence)
			}
		}
		if near || c.evidence < share*echo {
			judged[top].evidence = 0
			continue
		}
		for k, s := range all {
			dir := s.said(&c)
			if s.z[dir][top] > 3 {
				c.tell = append(c.tell, k)
			}
			c.which = append(c.which, int(s.which[dir][top]))
		}
		out = append(out, c)
		reach := int(reachS / g.dt)
		for k, s := range all {
			dir := s.said(&c)
			if s.z[dir][top] < 2 {
				continue
			}
			shape, amp := s.banks[c.which[k]].s, s.gain[dir][top]
			for j := top; j < g.n; j++ { // beyond reach it stays, to keep what follows in one piece
				s.y[j] -= amp * shape(float64(min(j-top, reach))*g.dt)
			}
			g.look(s, top-after, top+reach+before)
		}
		for i := max(0, top-after); i < min(g.n, top+reach+before); i++ {
			judged[i] = g.judge(i)
		}
		for _, o := range out { // what was taken stays taken
			for i := max(0, o.at-gap); i < min(g.n, o.at+gap+1); i++ {
				judged[i].evidence = 0
			}
		}
	}
	slices.SortFunc(out, func(a, b seen) int { return a.at - b.at })
	return g.settle(out)
}

// settle refines every change between its neighbours. Two that come to stand
// together were one: a change that cools and a turn that one face alone tells
// are the former with its echo.
func (g *eventGrid) settle(out []seen) []seen {
	all := slices.Concat(g.piece, g.pan)
	coarse := slices.Clone(out)
	for i, c := range coarse {
		lo, hi := 0, g.n
		if i > 0 {
			lo = coarse[i-1].at + 1
		}
		if i+1 < len(coarse) {
			hi = coarse[i+1].at
		}
		out[i] = g.refine(c, all, lo, hi)
	}
	slices.SortStableFunc(out, func(a, b seen) int { return a.at - b.at })
	for i := 1; i < len(out); i++ {
		a, b := out[i-1], out[i]
		if float64(b.at-a.at)*g.dt >= eventGapS {
			continue
		}
		drop := i
		if a.evidence < b.evidence {
			drop = i - 1
		}
		if a.kind == "turn" && b.kind == "down" && min(math.Abs(a.a), math.Abs(a.b)) < 3 {
			drop = i - 1
		}
		out = slices.Delete(out, drop, drop+1)
		i--
	}
	return out
}

// refine moves a change to where the channels that tell it are fitted best:
// by a face that jumps or slowly comes to its heat, together with a parabola, over one fixed stretch of samples.
func (g *eventGrid) refine(c seen, all []*sensed, first, last int) seen {
	lo, hi := c.at-int(math.Ceil(20/g.dt)), c.at+int(math.Ceil(12/g.dt))
	lo, hi = max(lo, first, 0), min(hi, last, g.n-1)
	if hi-lo < 10 {
		return c
	}
	best, least := c.at, math.Inf(1)
	for at := max(c.at-int(10/g.dt), lo+2); at <= min(c.at+int(6/g.dt), hi-4); at++ {
		sum := 0.0
		for _, k := range c.tell {
			sum += g.fitShape(all[k], c.which[k], at, lo, hi) / squareOf(max(all[k].noise, all[k].rough))
		}
		if sum < least {
			best, least = at, sum
		}
	}
	c.at = best
	return c
}

// fitShape fits a parabola and a channel's shapes at its depth (a face that
// jumps, or comes to its heat) from a moment on to samples lo to hi as they
// were recorded, and returns the residual sum of squares.
func (g *eventGrid) fitShape(s *sensed, which, at, lo, hi int) float64 {
	n := hi - lo + 1
	shapes := s.banks[which : which+1]
	if len(s.banks) >= 3 {
		shapes = s.banks[which-which%3 : which-which%3+3]
	}
	basis := make([][]float64, 3+len(shapes))
	flat := make([]float64, (len(basis)+1)*n)
	for k := range basis {
		basis[k] = flat[k*n : (k+1)*n]
	}
	v := flat[len(basis)*n:]
	copy(v, s.y0[lo:hi+1])
	for i := range n {
		x := float64(i)/float64(n)*2 - 1
		basis[0][i], basis[1][i], basis[2][i] = 1, x, x*x
		for k, b := range shapes {
			basis[3+k][i] = b.s(float64(lo+i-at) * g.dt)
		}
	}
	for k, b := range basis {
		for _, done := range basis[:k] {
			subtract(b, done)
		}
		if dot(b, b) < 1e-6 {
			clear(b)
			continue
		}
		scaleTo1(b)
		subtract(v, b)
	}
	return dot(v, v)
}

func squareOf(v float64) float64 { return v * v }

// alternate leaves of two neighbouring turns to one side the plainer: a face
// that is heated must be turned away before it is heated again.
func alternate(turns []seen) []seen {
	for {
		drop := -1
		for i := 1; i < len(turns); i++ {
			a, b := turns[i-1], turns[i]
			if a.sign != b.sign {
				continue
			}
			k, weak, strong := i, b.evidence, a.evidence
			if a.evidence < b.evidence {
				k, weak, strong = i-1, a.evidence, b.evidence
			}
			if weak < 0.5*strong && (drop < 0 || weak < turns[drop].evidence) {
				drop = k
			}
		}
		if drop < 0 {
			return turns
		}
		turns = slices.Delete(turns, drop, drop+1)
	}
}

func (g *eventGrid) event(kind string, c seen, why string) Event {
	e := Event{Kind: kind, AtUS: g.us(c.at), Why: why}
	e.Confidence = math.Round(100*c.evidence/(c.evidence+200)) / 100
	all := append(slices.Clone(g.piece), g.pan...)
	for _, k := range c.tell {
		e.Channels = append(e.Channels, all[k].t.Channel.ID)
	}
	return e
}

// steps finds jumps that no conduction makes: the probe was moved or pulled,
// a wet sensor, a door.
func (g *eventGrid) steps(fromUS, toUS int64, known []Event) []Event {
	w := max(2, int(math.Round(3/g.dt)))
	jump := func(s *sensed, i int) float64 {
		if i-3*w < 0 || i+w >= g.n {
			return 0
		}
		m := func(a, b int) float64 {
			sum := 0.0
			for _, v := range s.y0[a:b] {
				sum += v
			}
			return sum / float64(b-a)
		}
		before, now, after := m(i-3*w, i-2*w), m(i-w, i), m(i, i+w)
		return (after - now) - (now-before)/2
	}
	inside := append(slices.Clone(g.deep), g.piece...)
	inside = slices.DeleteFunc(inside, func(s *sensed) bool { return s.t.Channel.Place == Surface })
	var out []Event
	quiet := 0
	for i := 3 * w; i < g.n-w; i++ {
		if i < quiet || g.us(i) <= fromUS+20e6 {
			continue
		}
		var moved []string
		worst := 0.0
		for _, s := range inside {
			if j := jump(s, i); math.Abs(j) > 5+6*s.noise/math.Sqrt(float64(w)) {
				moved = append(moved, s.t.Channel.ID)
				if math.Abs(j) > math.Abs(worst) {
					worst = j
				}
			}
		}
		if len(moved) == 0 || len(moved)*2 < len(inside) || len(moved) == 1 && math.Abs(worst) < 12 {
			continue
		}
		if slices.ContainsFunc(known, func(e Event) bool { return abs(e.AtUS-g.us(i)) < 12e6 }) {
			continue
		}
		// The sharpest moment within the next few steps.
		top := i
		for k := i; k < min(i+2*w, g.n-w); k++ {
			if math.Abs(jump(inside[0], k)) > math.Abs(jump(inside[0], top)) {
				top = k
			}
		}
		kind, why := ProbeMoved, fmt.Sprintf("%d sensors jump by up to %.0f K at once", len(moved), worst)
		later := min(top+int(60/g.dt), g.n-1)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range inside {
			lo, hi = min(lo, s.y0[later]), max(hi, s.y0[later])
		}
		if len(inside) > 1 && len(moved) == len(inside) && hi-lo < 4 {
			kind, why = ProbeOut, why+" and read alike from then on"
		}
		if len(inside) == 1 && toUS > 0 && g.us(top) > toUS && worst < 0 {
			kind = ProbeOut
		}
		out = append(out, Event{Kind: kind, AtUS: g.us(top), Confidence: 0.7, Why: why, Channels: moved})
		quiet = top + int(30/g.dt)
	}
	return append(out, g.dips()...)
}

// dips finds air that falls and comes back (a door, a lid), and a sensor on a
// face that alone does so (wet).
func (g *eventGrid) dips() []Event {
	var out []Event
	look := func(s *sensed, kind, why string, leastK float64) {
		w := max(2, int(math.Round(20/g.dt)))
		back := int(math.Round(300 / g.dt))
		for i := w; i < g.n-w; i++ {
			fall := s.y0[i-w] - s.y0[i]
			if fall < leastK+6*s.noise || s.y0[i-w] < s.y0[max(i-2*w, 0)]-leastK/2 {
				continue
			}
			low, lowAt := s.y0[i], i
			for k := i; k < min(i+back, g.n); k++ {
				if s.y0[k] < low {
					low, lowAt = s.y0[k], k
				}
				if k > lowAt && s.y0[k] > low+0.6*(s.y0[i-w]-low) { // it came back
					at := i - w
					for at < i && s.y0[at] > s.y0[i-w]-leastK/4-2*s.noise {
						at++
					}
					out = append(out, Event{Kind: kind, AtUS: g.us(at), Confidence: 0.6, Channels: []string{s.t.Channel.ID},
						Why: fmt.Sprintf("%s %s by %.0f K and comes back", s.t.Channel.ID, why, s.y0[i-w]-low)})
					i = k
					break
				}
				if k == min(i+back, g.n)-1 {
					i = k
				}
			}
		}
	}
	for _, s := range g.air {
		look(s, DoorOpen, "falls", 8)
	}
	return out
}

// wet finds falls of a sensor on a face that no other sensor shares.
func (g *eventGrid) wet(taken []Event) []Event {
	var out []Event
	w := max(1, int(math.Round(3/g.dt)))
	for _, s := range g.piece {
		if s.t.Channel.Place != Surface {
			continue
		}
		raw := &sensed{t: s.t}
		g.resample(raw)
		for i := w; i < g.n-int(40/g.dt); i++ {
			fall := raw.y[i-w] - raw.y[i]
			if fall < 8+6*raw.noise {
				continue
			}
			came := false
			for k := i; k < i+int(40/g.dt); k++ {
				came = came || raw.y[k] > raw.y[i-w]-0.3*fall
			}
			at := g.us(i - w)
			shared := slices.ContainsFunc(taken, func(e Event) bool { return abs(e.AtUS-at) < 12e6 })
			if came && !shared {
				out = append(out, Event{Kind: WetProbe, AtUS: at, Confidence: 0.5, Channels: []string{s.t.Channel.ID},
					Why: fmt.Sprintf("%s alone falls by %.0f K within seconds and comes back", s.t.Channel.ID, fall)})
			}
			i += int(40 / g.dt)
		}
	}
	return out
}

// fatIn finds where a fat channel rises from the room, or the pan sags with
// nothing felt in the piece.
func (g *eventGrid) fatIn(all []seen, fromUS, toUS int64) []Event {
	var out []Event
	for _, s := range g.fat {
		us, ok := bends(s.t, +1, 0.5, DetectOptions{}.filled())
		if ok {
			out = append(out, Event{Kind: FatIn, AtUS: us, Confidence: 0.6, Channels: []string{s.t.Channel.ID}, Why: s.t.Channel.ID + " begins to rise"})
			return out
		}
	}
	for _, c := range all {
		if us := g.us(c.at); c.kind == "pan" && us > fromUS+10e6 && us < toUS-10e6 {
			e := g.event(FatIn, c, "the pan sags and no face of the piece feels a turn")
			e.Confidence = min(e.Confidence, 0.4)
			out = append(out, e)
		}
	}
	return out
}

// Detect reads the events of one cook from its traces, on one clock, in order
// of time: heat on, turns, fat in, off heat, a probe that was moved or pulled
// out, a wet sensor, a door or lid.
//
// Several channels speak together. A turn heats one face as it leaves the
// other, and the pan sags under the cold side: what sensors within 9 mm of a
// face feel is compared with the shape that conduction gives it at their
// depth, and the evidence of all of them is added (see docs/logs.md for how
// many turns that finds). Neighbouring turns go to opposite sides. With one
// sensor near a face and no pan only heat on and off heat are offered.
//
// Every event is an offer: what the cook entered stands above it. The
// thresholds are our choice, tried on computed cooks only; no source.
func Detect(traces []*Trace, opt DetectOptions) []Event {
	opt = opt.filled()
	on, ok := heatOn(traces, opt)
	g := newEventGrid(traces)
	if g == nil {
		return nil
	}
	var all []seen
	if len(g.piece) > 0 {
		all = g.changes()
		// Laying on is where the first rise of the piece is plainest.
		for _, c := range all {
			if c.kind == "up" || c.kind == "turn" && c.p > 4 {
				e := g.event(HeatOn, c, "a face begins to rise"+map[bool]string{true: " as the pan sags"}[c.p > 4])
				if !ok || abs(e.AtUS-on.AtUS) < 30e6 || e.AtUS < on.AtUS {
					on, ok = e, true
				}
				break
			}
		}
	}
	if !ok {
		return nil
	}
	out := []Event{on}
	off := g.off(all, on.AtUS)
	end := int64(0)
	if off >= 0 {
		end = g.us(all[off].at)
	}
	turns := g.turns(all, on.AtUS, off)
	if quick := quickEvents(traces, on.AtUS, opt); missing(turns) && len(quick) > len(turns)+1 {
		out = append(out, quick...)
		turns, off = nil, -1
	}
	for _, c := range turns {
		var why []string
		if c.a != 0 {
			why = append(why, fmt.Sprintf("face A %s (%.0f σ)", upDown(c.a), math.Abs(c.a)))
		}
		if c.b != 0 {
			why = append(why, fmt.Sprintf("face B %s (%.0f σ)", upDown(c.b), math.Abs(c.b)))
		}
		if c.p > 3 {
			why = append(why, fmt.Sprintf("the pan sags (%.0f σ)", c.p))
		}
		out = append(out, g.event(Turn, c, strings.Join(why, ", ")))
	}
	if off >= 0 {
		out = append(out, g.event(OffHeat, all[off], "the hot face begins to fall for good"))
	}
	stop := end
	if stop == 0 {
		stop = math.MaxInt64
	}
	out = append(out, g.fatIn(all, on.AtUS, stop)...)
	out = append(out, g.steps(on.AtUS, end, out)...)
	out = append(out, g.wet(out)...)
	slices.SortStableFunc(out, func(a, b Event) int { return cmp.Compare(a.AtUS, b.AtUS) })
	return out
}

// turns are the changes that are turns, between heat on and off heat. The
// first turns away the side that was laid on. A face that is heated anew as
// the pan sags was turned down, also where the other is too deep to tell.
func (g *eventGrid) turns(all []seen, onUS int64, off int) []seen {
	var turns []seen
	laid := false
	for i, c := range all {
		us := g.us(c.at)
		if abs(us-onUS) < 8e6 && !laid {
			c.sign, laid = g.heated(c.at), true
			turns = append(turns, c)
			continue
		}
		if us < onUS+8e6 || off >= 0 && i >= off {
			continue
		}
		if c.kind == "up" && c.p > 6 && max(c.a, c.b) > 4 && min(c.a, c.b) < 3 {
			c.kind, c.sign = "turn", 1
			if c.b > c.a {
				c.sign = -1
			}
		}
		if c.kind == "turn" {
			turns = append(turns, c)
		}
	}
	turns = alternate(turns)
	if laid && len(turns) > 0 {
		turns = turns[1:]
	}
	return turns
}

// heated is the face that rises most within 40 s of a moment: 1 is A, −1 B.
func (g *eventGrid) heated(at int) int {
	var rise [2]float64
	later := min(at+int(40/g.dt), g.n-1)
	for _, s := range g.piece {
		k := 0
		if s.side < 0 {
			k = 1
		}
		rise[k] = max(rise[k], s.y0[later]-s.y0[at])
	}
	if rise[1] > rise[0] {
		return -1
	}
	return 1
}

// missing tells whether two neighbouring turns go to one side: there must
// have been another between them.
func missing(turns []seen) bool {
	for i := 1; i < len(turns); i++ {
		if turns[i].sign == turns[i-1].sign {
			return true
		}
	}
	return false
}

func upDown(z float64) string {
	if z > 0 {
		return "begins to be heated"
	}
	return "begins to cool"
}

// off is the first change after the last turn where a face begins to cool, no
// face to be heated, and no face comes back above what it was then; −1 if
// there is none.
func (g *eventGrid) off(all []seen, onUS int64) int {
	first := 0
	for i, c := range all {
		if c.kind == "turn" && (min(math.Abs(c.a), math.Abs(c.b)) > 3 || c.p > 8) || c.kind == "up" && c.p > 8 {
			first = i + 1
		}
	}
	for i := first; i < len(all); i++ {
		c := all[i]
		if c.kind == "down" && g.us(c.at) > onUS+15e6 && g.cools(c.at) {
			return i
		}
	}
	return -1
}

// cools tells whether the hotter of the sensors nearest to the faces falls
// for good from a moment on.
func (g *eventGrid) cools(at int) bool {
	var hot *sensed
	for _, s := range g.piece {
		nearest := !slices.ContainsFunc(g.piece, func(o *sensed) bool { return o.side == s.side && o.depth < s.depth })
		if nearest && (hot == nil || s.y0[at] > hot.y0[at]) {
			hot = s
		}
	}
	if hot == nil {
		return false
	}
	// It may still rise for as long as heat takes to its depth.
	lag := int((10 + hot.depth*hot.depth/(2*eventDiffusivity)) / g.dt)
	from := min(at+lag, g.n-1)
	now, n, below := hot.y0[from], 0, 0
	for j := from + int(10/g.dt); j < g.n; j++ {
		n++
		if hot.y0[j] < now+2*hot.noise {
			below++
		}
	}
	end := hot.y0[g.n-1]
	return n > 5 && float64(below) > 0.97*float64(n) && end < now-2*hot.noise
}

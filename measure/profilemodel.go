package measure

import "math"

// places of a parameter in the fit.
const (
	pShift  = iota // of the probe, mm towards side B
	pAlpha         // ln of the diffusivity in m²/s
	pThick         // thickness, mm
	pLegs          // then film (see filmOf) and temperature of the two faces of each leg, and how late the marks are, s
	perLeg  = 4
	mostLeg = 4
)

// where is the depth of sensor i as a share of the thickness.
func (f *profileFit) where(p []float64, i int) float64 {
	d := 1e3 * f.sensors[i].DepthM
	if f.sensors[i].OnProbe {
		return (d + p[pShift]) / p[pThick]
	}
	// A sensor placed by hand stands where it was meant to: scaled with the
	// thickness, so that a face stays a face and the middle the middle.
	return d / (1e3 * f.opt.ThicknessM)
}

// watched places besides the sensors: the centre and both faces.
const watched = 3

// places are the depths that the model is read at, as shares of the thickness.
func (f *profileFit) places(p []float64) []float64 {
	out := make([]float64, 0, len(f.sensors)+watched)
	for i := range f.sensors {
		out = append(out, f.where(p, i))
	}
	return append(out, 0.5, 0, 1)
}

// model runs the slab and reads it at places: out[j*nt+k] is place j at block
// time k.
func (f *profileFit) model(p []float64, at []float64, out []float64) {
	f.run(p, at, len(f.sensors), out)
}

// run reads the first so many places as sensors are: as means of blocks.
func (f *profileFit) run(p []float64, at []float64, sensors int, out []float64) {
	if f.driven {
		f.between(p, at, out)
		return
	}
	a := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	c := f.start
	from := f.begins(p, 0)
	f.before(from, at, sensors, out)
	k, nt := 0, len(f.timeS)
	var last past
	for b, s := range f.breaks {
		g := f.slab.enter(&c, f.contacts(p, s), a)
		to := math.Inf(1)
		if b+1 < len(f.breaks) {
			to = max(from, f.begins(p, b+1))
		}
		for k > 0 && f.timeS[k-1]+f.reach() >= from {
			k--
		}
		for k < nt && f.timeS[k]+f.reach() < from {
			k++
		}
		whole := from // from then on by its modes
		if b > 0 || !f.under {
			whole += g.early()
		}
		for k < nt && f.timeS[k]-f.reach() < to {
			if f.timeS[k]-f.reach() < whole || f.timeS[k]+f.reach() >= to {
				f.part(&g, last, from, whole, to, at, sensors, k, out)
				k++
				continue
			}
			k = f.follow(&g, from, to, at, sensors, k, out)
		}
		if !math.IsInf(to, 1) {
			c = g.after(to - from)
		}
		last = past{g: &g, fromS: from}
		from = to
	}
}

// past is the stretch before the one under way.
type past struct {
	g     *stage // nil where nothing came before
	fromS float64
}

// read is what places would have at t if it went on, and what its faces have.
func (l past) read(start *field, t float64, places, out []float64) (was [2]faceState) {
	if l.g == nil {
		for j, xi := range places {
			out[j] = start.at(xi)
		}
		return [2]faceState{{tC: start.at(0)}, {tC: start.at(1)}}
	}
	l.g.at(t-l.fromS, places, out)
	var face [2]float64
	l.g.ends(t-l.fromS, &face)
	for side, c := range l.g.faces {
		was[side] = faceState{face[side], c.bi * (face[side] - c.tC)}
	}
	return was
}

// reach is the time from a block's middle to its last sample.
func (f *profileFit) reach() float64 {
	return f.every * (1 - 1/float64(f.samples)) / 2
}

// eachSample calls do with the times of a block's samples.
func (f *profileFit) eachSample(k int, do func(t float64)) {
	for i := range f.samples {
		do(f.timeS[k] - f.reach() + float64(i)*f.every/float64(f.samples))
	}
}

// before fills in what stands before anything happens.
func (f *profileFit) before(from float64, at []float64, sensors int, out []float64) {
	nt := len(f.timeS)
	for k := 0; k < nt && f.timeS[k]-f.reach() < from; k++ {
		part := 0.0
		f.eachSample(k, func(t float64) {
			if t < from {
				part += 1 / float64(f.samples)
			}
		})
		for j, xi := range at {
			out[j*nt+k] = f.start.at(xi)
			if j < sensors {
				out[j*nt+k] *= part
			}
		}
	}
}

// part adds what a stretch has in a block that it shares with others, or that
// falls before its modes tell all.
func (f *profileFit) part(g *stage, last past, from, whole, to float64, at []float64, sensors, k int, out []float64) {
	nt := len(f.timeS)
	if f.timeS[k]-f.reach() >= from { // the first to share it
		for j := range sensors {
			out[j*nt+k] = 0
		}
	}
	now := make([]float64, len(at))
	read := func(t float64) {
		if t < whole {
			was := last.read(&f.start, t, at, now)
			g.soon(t-from, was, at, now)
			return
		}
		g.at(t-from, at, now)
	}
	if sensors > 0 {
		f.eachSample(k, func(t float64) {
			if t >= from && t < to {
				read(t)
				for j := range sensors {
					out[j*nt+k] += now[j] / float64(f.samples)
				}
			}
		})
	}
	if t := f.timeS[k]; t >= from && t < to {
		read(t)
		for j := sensors; j < len(at); j++ {
			out[j*nt+k] = now[j]
		}
	}
}

// follow runs through the blocks from k on that lie within a stretch, and
// returns the one after them.
func (f *profileFit) follow(g *stage, from, to float64, at []float64, sensors, k int, out []float64) int {
	nt := len(f.timeS)
	base, share, ratio := g.watch(at, sensors, f.samples, f.timeS[k]-from, f.every)
	live := len(ratio)
	for ; k < nt && f.timeS[k]+f.reach() < to; k++ {
		most := 0.0
		for j := range at {
			v := base[j]
			w := share[j][:live]
			for m, x := range w {
				v += x
				w[m] = x * ratio[m]
			}
			out[j*nt+k] = v
			if live > 0 {
				most = max(most, math.Abs(w[live-1]))
			}
		}
		for live > 1 && most < 1e-7 { // the fast modes die out
			live--
			most = 0
			for j := range at {
				most = max(most, math.Abs(share[j][live-1]))
			}
		}
	}
	return k
}

// heldBi is a Biot number that holds a face at the temperature beyond it: the
// face lags by L/Bi, a thousandth of the thickness.
const heldBi = 1000

// held is the contact of a measured face over the block before k. Wet food
// gets no hotter than boiling.
func (f *profileFit) held(side, k int) contact {
	c := f.faceC[side]
	return contact{heldBi, min((c[k-1]+c[k])/2, f.opt.boilC())}
}

// between runs the slab between faces that were measured. Over a block they
// stand at the mean of its two ends.
func (f *profileFit) between(p []float64, at []float64, out []float64) {
	nt := len(f.timeS)
	rate := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	faces := func(k int) [2]contact { return [2]contact{f.held(0, max(k, 1)), f.held(1, max(k, 1))} }
	g := f.slab.enter(&f.start, faces(0), rate)
	_, share, ratio := g.watch(at, 0, 1, 0, f.every)
	for m, r := range ratio { // those that die within a block tell nothing
		if r < 1e-6 {
			ratio = ratio[:m]
			break
		}
	}
	shape := make([][]float64, len(at))
	for j, xi := range at {
		shape[j] = share[j][:len(ratio)]
		for m := range shape[j] {
			shape[j][m] = g.m.at(m, xi)
		}
	}
	z := g.amp[:len(ratio)] // less what the faces tend to
	now := g.line
	for k := range nt {
		if k > 0 {
			c := faces(k)
			to := steady(c[0], c[1])
			for m := range z {
				z[m] = (z[m] + g.m.onLine(m, now.c0-to.c0, now.c1-to.c1)) * ratio[m]
			}
			now = to
		}
		for j, xi := range at {
			v := now.at(xi, g.m)
			for m, x := range z {
				v += shape[j][m] * x
			}
			out[j*nt+k] = v
		}
	}
}

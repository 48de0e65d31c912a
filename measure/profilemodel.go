package measure

import "math"

// places of a parameter in the fit.
const (
	pShift  = iota // of the probe, mm towards side B
	pAlpha         // ln of the diffusivity in m²/s
	pThick         // thickness, mm
	pLegs          // then ln Bi and temperature of the two faces of each leg
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

// places are the depths that the model is read at.
func (f *profileFit) places(p []float64) []basis {
	out := make([]basis, 0, len(f.sensors)+watched)
	for i := range f.sensors {
		out = append(out, basisAt(f.where(p, i)))
	}
	return append(out, basisAt(0.5), basisAt(0), basisAt(1))
}

// model runs the slab and reads it at places: out[j*nt+k] is place j at block
// time k.
func (f *profileFit) model(p []float64, at []basis, out []float64) {
	if f.driven {
		f.between(p, at, out)
		return
	}
	nt := len(f.timeS)
	a := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	c := f.start
	k := 0
	for b, s := range f.breaks {
		g := f.slab.enter(&c, f.contacts(p, s), a)
		to := math.Inf(1)
		if b+1 < len(f.breaks) {
			to = f.breaks[b+1].fromS
		}
		if k < nt && f.timeS[k] < to {
			base, share := g.watch(at)
			var ratio basis
			live := 0
			for m := range slabModes {
				first := math.Exp(-g.m.lambda[m] * a * (f.timeS[k] - s.fromS))
				ratio[m] = math.Exp(-g.m.lambda[m] * a * f.every)
				for j := range share {
					share[j][m] *= first
				}
				live = m + 1
			}
			for ; k < nt && f.timeS[k] < to; k++ {
				most := 0.0
				for j := range at {
					v := base[j]
					w := share[j][:live]
					for m, x := range w {
						v += x
						w[m] = x * ratio[m]
					}
					out[j*nt+k] = v
					most = max(most, math.Abs(w[live-1]))
				}
				for live > 1 && most < 1e-7 { // the fast modes die out
					live--
					most = 0
					for j := range at {
						most = max(most, math.Abs(share[j][live-1]))
					}
				}
			}
		}
		if !math.IsInf(to, 1) {
			c = g.after(to - s.fromS)
		}
	}
}

// heldBi is a Biot number that holds a face at the temperature beyond it: the
// face lags by L/Bi, a thousandth of the thickness.
const heldBi = 1000

// held is the contact of a measured face over the block before k. Wet food
// gets no hotter than boiling.
func (f *profileFit) held(side, k int) contact {
	c := f.faceC[side]
	return contact{heldBi, min((c[k-1]+c[k])/2, boilingC)}
}

// between runs the slab between faces that were measured. Over a block they
// stand at the mean of its two ends.
func (f *profileFit) between(p []float64, at []basis, out []float64) {
	nt := len(f.timeS)
	a := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	m := f.slab.modes(heldBi, heldBi)
	share := make([]basis, len(at))
	for j, b := range at {
		for i := range slabModes {
			for q := range slabModes {
				share[j][q] += b[i] * m.v[i][q]
			}
		}
	}
	var z, ratio basis
	for q := range slabModes {
		ratio[q] = math.Exp(-m.lambda[q] * a * f.every)
		for i := range slabModes {
			z[q] += m.v[i][q] * f.start[i]
		}
	}
	for k := range nt {
		if k > 0 {
			c0, c1 := steady(f.held(0, k), f.held(1, k))
			for q := range slabModes {
				to := c0*m.v[0][q] + c1*m.v[1][q]
				z[q] = to + (z[q]-to)*ratio[q]
			}
		}
		for j := range at {
			v := 0.0
			for q, x := range z {
				v += share[j][q] * x
			}
			out[j*nt+k] = v
		}
	}
}

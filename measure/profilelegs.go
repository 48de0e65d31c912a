package measure

import (
	"math"
	"slices"
)

// stretch is a time with fixed conditions on both faces.
type stretch struct {
	fromS  float64
	leg    int  // set of conditions
	turned bool // face B is where face A was
}

// stretches lays out the legs: the faces keep their conditions from turn to
// turn and change places; other changes and the rest begin a new set.
func (f *profileFit) stretches(begin float64) {
	end := f.timeS[len(f.timeS)-1]
	type event struct {
		at   float64
		turn bool
	}
	var events []event
	for _, t := range f.opt.TurnsS {
		events = append(events, event{t, true})
	}
	for _, t := range append(slices.Clone(f.opt.ChangesS), f.opt.OffS) {
		events = append(events, event{t, false})
	}
	slices.SortFunc(events, func(a, b event) int {
		if a.at < b.at {
			return -1
		}
		return 1
	})
	cur := stretch{fromS: begin}
	f.breaks = []stretch{cur}
	legs := 1
	for _, e := range events {
		if !(e.at < end-20) {
			continue
		}
		cur.fromS = max(e.at, begin)
		if e.turn {
			cur.turned = !cur.turned
		} else if e.at > begin+5 && legs < mostLeg {
			cur.leg = legs
			legs++
		}
		f.breaks = append(f.breaks, cur)
	}
	f.setPriors(legs)
}

// dropChanges leaves out the first block and those that a change of the faces
// falls into: their mean is not the value at their middle.
func (f *profileFit) dropChanges() {
	nt := len(f.timeS)
	for k, t := range f.timeS {
		if k > 0 && !f.changes(t-f.every/2-1e-9, t+f.every/2) {
			continue
		}
		for i := range f.sensors {
			f.y[i*nt+k] = math.NaN()
		}
	}
}

// setPriors lays out the parameters of so many legs.
func (f *profileFit) setPriors(legs int) {
	f.params = pLegs + perLeg*legs
	f.prior = make([]float64, f.params)
	f.priorU = make([]float64, f.params)
	set := func(i int, v, u float64) { f.prior[i], f.priorU[i] = v, u }
	set(pShift, 0, 1e3*f.opt.InsertionUM)
	// Meat and its like: 1.3e-7 m²/s give or take a tenth (see diffusivityM2S).
	set(pAlpha, math.Log(diffusivityM2S), 0.1)
	set(pThick, 1e3*f.opt.ThicknessM, 1e3*f.opt.ThicknessUM)
	if f.boils {
		f.expectCrust()
	}
	for l := range legs {
		at := pLegs + perLeg*l
		set(at, math.Log(20), 5)
		set(at+1, 80, 150)
		set(at+2, math.Log(20), 5)
		set(at+3, 60, 100)
	}
}

// contacts of a stretch.
func (f *profileFit) contacts(p []float64, s stretch) [2]contact {
	at := pLegs + perLeg*s.leg
	c := [2]contact{{math.Exp(p[at]), p[at+1]}, {math.Exp(p[at+2]), p[at+3]}}
	if s.turned {
		c[0], c[1] = c[1], c[0]
	}
	return c
}

package measure

import (
	"cmp"
	"math"
	"slices"
)

// stretch is a time with fixed conditions on both faces.
type stretch struct {
	fromS  float64
	leg    int  // set of conditions
	turned bool // face B is where face A was
	when   int  // which of the times it begins at; −1 where that is exact
}

// markUS is how well a person marks the moment of a change, standard
// uncertainty, s (our choice, no source).
const markUS = 1

// oneMoment is within which changes count as one, s.
const oneMoment = 5

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
	slices.SortFunc(events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	cur := stretch{fromS: begin, when: -1}
	if !f.under {
		cur.when = 0
		f.times = 1
	}
	f.breaks = []stretch{cur}
	legs := 1
	for _, e := range events {
		if !(e.at < end-20) {
			continue
		}
		if e.at > cur.fromS+oneMoment {
			cur.when = f.times
			f.times++
		}
		cur.fromS = max(e.at, begin)
		if e.turn {
			cur.turned = !cur.turned
		} else if e.at > begin+oneMoment && legs < mostLeg {
			cur.leg = legs
			legs++
		}
		f.breaks = append(f.breaks, cur)
	}
	f.setPriors(legs)
}

// begins is when a stretch begins.
func (f *profileFit) begins(p []float64, stretch int) float64 {
	s := f.breaks[stretch]
	if s.when < 0 {
		return s.fromS
	}
	return s.fromS - p[f.films+s.when]
}

// trustMarks holds the changes at the moments that were marked, or lets them be
// fitted.
func (f *profileFit) trustMarks(yes bool) {
	for i := f.films; i < f.params; i++ {
		f.fixed[i] = yes
	}
}

// dropUneven leaves out the first block and those that a change of the faces
// falls into and that lack samples: it is not known what their mean is of.
func (f *profileFit) dropUneven() {
	nt := len(f.timeS)
	for k, t := range f.timeS {
		for i := range f.sensors {
			short := f.count[i*nt+k] != f.samples && f.changes(t-f.every/2-1e-9, t+f.every/2)
			if k == 0 || short {
				f.y[i*nt+k] = math.NaN()
			}
		}
	}
}

// setPriors lays out the parameters of so many legs.
func (f *profileFit) setPriors(legs int) {
	f.params = pLegs + perLeg*legs + f.times
	f.films = pLegs + perLeg*legs
	f.prior = make([]float64, f.params)
	f.priorU = make([]float64, f.params)
	f.fixed = make([]bool, f.params)
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
		set(at, filmOf(20), 5)
		set(at+1, 80, 150)
		set(at+2, filmOf(20), 5)
		set(at+3, 60, 100)
	}
	for t := range f.times {
		set(f.films+t, 0, f.opt.MarkUS)
	}
}

// contacts of a stretch.
func (f *profileFit) contacts(p []float64, s stretch) [2]contact {
	at := pLegs + perLeg*s.leg
	c := [2]contact{{biOf(p[at]), p[at+1]}, {biOf(p[at+2]), p[at+3]}}
	if s.turned {
		c[0], c[1] = c[1], c[0]
	}
	return c
}

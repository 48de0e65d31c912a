package measure

import (
	"math"
	"slices"
)

// faces finds the sensors that stand on the faces, and fills the gaps in what
// they read.
func (f *profileFit) faces() {
	f.face = [2]int{-1, -1}
	for i, s := range f.sensors {
		if s.OnProbe {
			continue
		}
		if s.DepthM < 0.1e-3 {
			f.face[0] = i
		}
		if f.opt.ThicknessM-s.DepthM < 0.1e-3 {
			f.face[1] = i
		}
	}
	nt := len(f.timeS)
	for k, i := range f.face {
		if i < 0 {
			continue
		}
		c := slices.Clone(f.y[i*nt : (i+1)*nt])
		last := math.NaN()
		for j := range c {
			if math.IsNaN(c[j]) {
				c[j] = last
			}
			last = c[j]
		}
		for j := nt - 1; j >= 0; j-- {
			if math.IsNaN(c[j]) {
				c[j] = last
			}
			last = c[j]
		}
		f.faceC[k] = c
	}
}

// drive lets the readings of both faces bound the slab: nothing is assumed of
// what touches it.
func (f *profileFit) drive() {
	f.driven = true
	for _, i := range f.face {
		f.silence(i)
	}
	f.breaks = []stretch{{fromS: f.timeS[0]}}
	f.setPriors(0)
}

// silence leaves out what a sensor reads.
func (f *profileFit) silence(sensor int) {
	nt := len(f.timeS)
	for k := range nt {
		f.y[sensor*nt+k] = math.NaN()
	}
}

// told is whether a face is told by its own sensor's readings.
func (f *profileFit) told(side int) bool { return f.face[side] >= 0 && (f.driven || f.boils) }

// enough tells whether sensors that read wet food make a profile.
func (f *profileFit) enough() error {
	if !f.boils {
		return nil
	}
	inside, nt := 0, len(f.timeS)
	for i := range f.sensors {
		if slices.ContainsFunc(f.y[i*nt:(i+1)*nt], func(c float64) bool { return !math.IsNaN(c) }) {
			inside++
		}
	}
	if inside < MinProfileSensors {
		return absent("a face boils, and the wet food below it needs %d sensors inside, there are %d", MinProfileSensors, inside)
	}
	return nil
}

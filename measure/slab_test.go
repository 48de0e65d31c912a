package measure

import (
	"math"
	"testing"
)

// The eigenfunctions of the slab are orthonormal, and Green's identity finds
// the same shares as an integral does.
func TestSlabModes(t *testing.T) {
	for _, c := range []struct{ biA, biB float64 }{{0.0025, 0.0025}, {0.01, 5}, {20, 20}, {20, 0.1}, {1000, 30}, {8000, 0.003}, {1e6, 1e6}} {
		s, other := newModes(c.biA, c.biB), newModes(2*c.biB, c.biA)
		for m := range slabModes {
			if b := s.beta[m]; math.Abs(b-math.Atan2(c.biA, b)-math.Atan2(c.biB, b)-float64(m)*math.Pi) > 1e-11 {
				t.Errorf("Bi %v: no eigenvalue: %v", c, b)
			}
			for n := range m + 1 {
				want := 0.0
				if n == m {
					want = 1
				}
				if got := s.on(m, s, n); math.Abs(got-want) > 1e-12 {
					t.Errorf("Bi %v: modes %d and %d: %g", c, m, n, got)
				}
			}
		}
		// The midpoint rule, 4000 steps.
		for _, mn := range [][2]int{{0, 0}, {0, 5}, {7, 7}, {12, 9}} {
			sum, line := 0.0, 0.0
			const steps = 4000
			for k := range steps {
				xi := (float64(k) + 0.5) / steps
				sum += s.at(mn[0], xi) * other.at(mn[1], xi) / steps
				line += s.at(mn[0], xi) * (20 - 3*xi) / steps
			}
			if got := s.on(mn[0], other, mn[1]); math.Abs(got-sum) > 1e-5 {
				t.Errorf("Bi %v: mode %d on %d of another slab: %g, want %g", c, mn[0], mn[1], got, sum)
			}
			if got := s.onLine(mn[0], 20, -3); math.Abs(got-line) > 2e-5 {
				t.Errorf("Bi %v: mode %d on a line: %g, want %g", c, mn[0], got, line)
			}
		}
	}
}

// The slab between faces held at 95 and 30 °C and turned, against the series
// of Carslaw & Jaeger 1959 (see [turned]), from half a second after each change
// on: first as half-spaces, then by its modes.
func TestSlabAgainstExactConduction(t *testing.T) {
	const l, alpha, held = 0.030, 1.3e-7, 1e7
	f := &profileFit{samples: 1, every: 0.5, slab: &slab{}, start: field{line: line{c0: 5}},
		breaks: []stretch{{leg: 0, when: -1}, {fromS: 180, turned: true, when: -1}, {fromS: 183, when: -1}}, films: pLegs + perLeg}
	for s := 0.0; s <= 260; s += f.every {
		f.timeS = append(f.timeS, s)
	}
	p := []float64{0, math.Log(alpha), 1e3 * l, filmOf(held), 95, filmOf(held), 30}
	places := []float64{0.02, 0.1, 0.5, 0.85}
	out := make([]float64, len(places)*len(f.timeS))
	f.run(p, places, 0, out)
	for k, s := range f.timeS {
		for j, xi := range places {
			want := turned(l, alpha, 5, 95, 30, []float64{180, 183}, xi*l, s)
			if got := out[j*len(f.timeS)+k]; math.Abs(got-want) > 0.02 {
				t.Errorf("%g s, ξ %g: %.4f, want %.4f °C", s, xi, got, want)
			}
		}
	}
}

// Abramowitz & Stegun 1964, table 7.1 (erf 1 = 0.8427007929) and 7.1.23 (for
// large x, 1/(x√π)); both branches agree where they meet.
func TestErfcx(t *testing.T) {
	for _, c := range []struct{ x, want, within float64 }{
		{0, 1, 1e-15}, {1, math.E * (1 - 0.8427007929), 1e-9}, {20.001, erfcx(19.999) * 19.999 / 20.001, 1e-8}, {1e6, 1e-6 / math.SqrtPi, 1e-15},
	} {
		if got := erfcx(c.x); math.Abs(got-c.want) > c.within {
			t.Errorf("erfcx %g: %.10g, want %.10g", c.x, got, c.want)
		}
	}
}

package measure

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// convective is the exact temperature of a slab 0 ≤ x ≤ l that starts even
// and lies in a fluid on both faces: θ = Σ C_n exp(−ζ_n² Fo) cos(ζ_n x*),
// ζ tan ζ = Bi on the half thickness (Carslaw & Jaeger 1959, Conduction of
// Heat in Solids, §3.11).
type convective struct {
	l, alpha, bi, from, to float64
	zeta, c                []float64
}

func newConvective(l, alpha, bi, from, to float64) *convective {
	s := &convective{l: l, alpha: alpha, bi: bi, from: from, to: to}
	for n := range 120 {
		lo, hi := float64(n)*math.Pi, float64(n)*math.Pi+math.Pi/2
		for range 80 {
			mid := (lo + hi) / 2
			if mid*math.Tan(mid) < bi {
				lo = mid
			} else {
				hi = mid
			}
		}
		s.zeta = append(s.zeta, lo)
		s.c = append(s.c, 4*math.Sin(lo)/(2*lo+math.Sin(2*lo)))
	}
	return s
}

func (s *convective) at(x, t float64) float64 {
	if t <= 0 {
		return s.from
	}
	half := s.l / 2
	fo := s.alpha * t / (half * half)
	sum := 0.0
	for n, z := range s.zeta {
		e := math.Exp(-z * z * fo)
		if e < 1e-12 {
			break
		}
		sum += s.c[n] * e * math.Cos(z*(x-half)/half)
	}
	return s.to + (s.from-s.to)*sum
}

// turned is the exact temperature of a slab whose faces are held at hot and
// cold and change places at each turn: by superposition of the response of a
// slab with one face stepped, θ(x,t) = 1 − x/l − Σ (2/nπ) sin(nπx/l)
// exp(−n²π²αt/l²) (Carslaw & Jaeger 1959, §3.3).
func turned(l, alpha, start, hot, cold float64, turns []float64, x, t float64) float64 {
	step := func(x, t float64) float64 {
		if t <= 0 {
			return 0
		}
		sum := 1 - x/l
		for n := 1; n < 200; n++ {
			k := float64(n) * math.Pi
			e := math.Exp(-k * k * alpha * t / (l * l))
			if e < 1e-12 {
				break
			}
			sum -= 2 / k * math.Sin(k*x/l) * e
		}
		return sum
	}
	v := start + (hot-start)*step(x, t) + (cold-start)*step(l-x, t)
	sign := -1.0
	for _, at := range turns {
		v += sign * (hot - cold) * (step(x, t-at) - step(l-x, t-at))
		sign = -sign
	}
	return v
}

// probe samples a truth at eight depths shifted by shift, at 1 Hz with noise.
func probe(truth func(x, t float64) float64, l, shift, noise float64, seconds int, seed uint64, depths ...float64) []ProfileSensor {
	r := rand.New(rand.NewPCG(seed, 2))
	var out []ProfileSensor
	for i, d := range depths {
		s := ProfileSensor{ID: string(rune('a' + i)), DepthM: d, OnProbe: true}
		for t := -20; t <= seconds; t++ {
			x := min(max(d+shift, 0), l)
			s.TimeS = append(s.TimeS, float64(t))
			s.C = append(s.C, math.Round((truth(x, float64(t))+noise*r.NormFloat64())*10)/10)
		}
		out = append(out, s)
	}
	return out
}

var eight = []float64{.003, .0065, .010, .0135, .0165, .020, .0235, .027}

func TestProfileAgainstExactConduction(t *testing.T) {
	const l = 0.030
	for _, tc := range []struct {
		name  string
		alpha float64
		truth func(alpha float64) func(x, t float64) float64
		turns []float64
		faceK float64 // largest error allowed at a face
	}{
		{"oven, both faces alike, Bi 1", 1.35e-7, func(a float64) func(x, t float64) float64 {
			return newConvective(l, a, 1, 5, 150).at
		}, nil, 1},
		{"bath, Bi 10", 1.25e-7, func(a float64) func(x, t float64) float64 {
			return newConvective(l, a, 10, 5, 60).at
		}, nil, 1},
		{"faces held at 95 and 30 °C, turned four times", 1.3e-7, func(a float64) func(x, t float64) float64 {
			return func(x, t float64) float64 {
				return turned(l, a, 5, 95, 30, fourTurns, x, t)
			}
			// A face held at a temperature looks nearly like a probe a little
			// deeper: see TestFacesAfterAJump.
		}, fourTurns, 1.5},
	} {
		for _, shift := range []float64{-3e-3, 0, 1e-3, 3e-3} {
			truth := tc.truth(tc.alpha)
			sensors := probe(truth, l, shift, 0.3, 900, 7, eight...)
			pr, err := FitProfile(sensors, ProfileOptions{ThicknessM: l, MarkUS: 0.05, TurnsS: tc.turns, OffS: math.NaN()})
			if err != nil {
				t.Fatal(err)
			}
			var core, face, coreZ, faceZ, worst float64
			for k, s := range pr.TimeS {
				if s < 20 {
					continue
				}
				// A face jumps by tens of kelvins there and no sensor touches it.
				near := tc.turns != nil && s < 60
				for _, at := range tc.turns {
					near = near || s > at-3 && s < at+60
				}
				e := math.Abs(pr.CoreC[k] - truth(l/2, s))
				core, coreZ = max(core, e), max(coreZ, e/pr.CoreU[k])
				for side, x := range []float64{0, l} {
					if slices.Contains(tc.turns, s) {
						continue // it has two temperatures at that moment
					}
					e := math.Abs(pr.FaceC[side][k] - truth(x, s))
					faceZ = max(faceZ, e/pr.FaceU[side][k])
					if e > face && !near {
						face, worst = e, s
					}
				}
			}
			t.Logf("%s, %+.0f mm: centre off by %.3f K at most (%.1f u), faces by %.2f K (%.1f u); shift %.2f ± %.2f mm, α %.3g, misfit %.2f; worst face at %g s", tc.name, 1e3*shift,
				core, coreZ, face, faceZ, 1e3*pr.ShiftM, 1e3*pr.ShiftUM, pr.DiffusivityM2S, pr.MisfitK, worst)
			if core > 0.2 || face > tc.faceK {
				t.Errorf("%s, %+.0f mm: centre off by %.3f K, faces by %.2f K", tc.name, 1e3*shift, core, face)
			}
			if coreZ > 4 || faceZ > 4 {
				t.Errorf("%s, %+.0f mm: centre off by %.1f, faces by %.1f standard uncertainties", tc.name, 1e3*shift, coreZ, faceZ)
			}
		}
	}
}

func BenchmarkFitProfile(b *testing.B) {
	const l = 0.030
	sensors := probe(newConvective(l, 1.35e-7, 1, 5, 95).at, l, 2e-3, 0.3, 3600, 7, eight...)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitProfile(sensors, ProfileOptions{ThicknessM: l, OffS: math.NaN()}); err != nil {
			b.Fatal(err)
		}
	}
}

// Fewer sensors give wider uncertainties that still hold.
func TestProfileFromFewSensors(t *testing.T) {
	const l = 0.030
	truth := newConvective(l, 1.3e-7, 3, 5, 120).at
	last := 0.0
	for _, depths := range [][]float64{eight, {.004, .010, .015, .020, .026}, {.008, .015, .022}} {
		pr, err := FitProfile(probe(truth, l, 1.5e-3, 0.3, 900, 3, depths...), ProfileOptions{ThicknessM: l, OffS: math.NaN()})
		if err != nil {
			t.Fatal(err)
		}
		var core, coreZ, faceZ, u float64
		for k, s := range pr.TimeS {
			if s < 20 {
				continue
			}
			e := math.Abs(pr.CoreC[k] - truth(l/2, s))
			core, coreZ = max(core, e), max(coreZ, e/pr.CoreU[k])
			for side, x := range []float64{0, l} {
				faceZ = max(faceZ, math.Abs(pr.FaceC[side][k]-truth(x, s))/pr.FaceU[side][k])
			}
			u = max(u, pr.CoreU[k])
		}
		t.Logf("%d sensors: centre off by %.2f K at most, u %.2f K at most; %.1f and %.1f u", len(depths), core, u, coreZ, faceZ)
		if core > 0.3 || coreZ > 3.5 || faceZ > 3.5 || u < last {
			t.Errorf("%d sensors: centre off by %.2f K (%.1f u), faces %.1f u", len(depths), core, coreZ, faceZ)
		}
		last = u
	}
	if _, err := FitProfile(probe(truth, l, 0, 0.3, 900, 3, .010, .020), ProfileOptions{ThicknessM: l}); err == nil {
		t.Error("two sensors make no profile")
	}
}

func TestProfileSaysThatTheProbeMissed(t *testing.T) {
	const l = 0.030
	truth := newConvective(l, 1.3e-7, 3, 5, 120).at
	for _, c := range []struct {
		shift  float64
		depths []float64
		want   string
	}{
		{2.5e-3, eight, "probe-off-centre"},
		{0.2e-3, eight, ""},
		{3e-3, []float64{.014, .018, .022, .025}, "probe-missed"},
	} {
		pr, err := FitProfile(probe(truth, l, c.shift, 0.3, 900, 3, c.depths...), ProfileOptions{ThicknessM: l, OffS: math.NaN()})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, n := range pr.Notes {
			got = string(n.Code)
		}
		if got != c.want {
			t.Errorf("shift %g: %+v, want %q", c.shift, pr.Notes, c.want)
		}
	}
}

// A face that the model puts above boiling says what that is worth.
func TestProfileSaysThatAFaceIsACrust(t *testing.T) {
	const l = 0.030
	pr, err := FitProfile(probe(newConvective(l, 1.3e-7, 10, 5, 180).at, l, 0, 0.3, 300, 3, eight...), ProfileOptions{ThicknessM: l, OffS: math.NaN()})
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, n := range pr.Notes {
		said = said || n.Code == "face-above-boiling"
	}
	k := len(pr.TimeS) - 1
	if !said || pr.FaceU[0][k] < pr.FaceC[0][k]-boilingC {
		t.Errorf("face %.0f ± %.1f °C, notes %v", pr.FaceC[0][k], pr.FaceU[0][k], pr.Notes)
	}
}

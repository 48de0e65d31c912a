package measure

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// behindFilms is the exact temperature of a slab both of whose faces lie behind
// films of one Biot number bi (on the whole thickness), with hot and cold
// beyond them that change places at each turn, by superposition: the even part
// is [convective]; the odd part answers a step to −1 and +1 beyond the faces by
// x* B/(1+B) − Σ C_n exp(−ζ_n² Fo) sin(ζ_n x*), ζ cot ζ = −B, B = bi/2 on the
// half thickness (Carslaw & Jaeger 1959, Conduction of Heat in Solids, §3.9
// and §3.11; C_n from the integrals of x sin ζx and sin² ζx).
type behindFilms struct {
	l, alpha, start, hot, cold float64
	turns                      []float64
	even                       *convective
	b                          float64
	zeta, c                    []float64
}

func newBehindFilms(l, alpha, bi, start, hot, cold float64, turns []float64) *behindFilms {
	s := &behindFilms{l: l, alpha: alpha, start: start, hot: hot, cold: cold, turns: turns,
		even: newConvective(l, alpha, bi/2, 0, 1), b: bi / 2}
	for n := range 120 {
		lo, hi := (float64(n)+0.5)*math.Pi, (float64(n)+1)*math.Pi
		for range 80 {
			z := (lo + hi) / 2
			if z*math.Cos(z)/math.Sin(z) > -s.b {
				lo = z
			} else {
				hi = z
			}
		}
		z := lo
		s.zeta = append(s.zeta, z)
		s.c = append(s.c, s.b/(1+s.b)*(math.Sin(z)/z/z-math.Cos(z)/z)/(0.5-math.Sin(2*z)/(4*z)))
	}
	return s
}

func (s *behindFilms) odd(x, t float64) float64 {
	if t <= 0 {
		return 0
	}
	half := s.l / 2
	at := (x - half) / half
	v := at * s.b / (1 + s.b)
	for n, z := range s.zeta {
		e := math.Exp(-z * z * s.alpha * t / (half * half))
		if e < 1e-12 {
			break
		}
		v -= s.c[n] * e * math.Sin(z*at)
	}
	return v
}

func (s *behindFilms) at(x, t float64) float64 {
	mean, apart := (s.hot+s.cold)/2, (s.cold-s.hot)/2
	v := s.start + (mean-s.start)*s.even.at(x, t) + apart*s.odd(x, t)
	sign := -2.0
	for _, at := range s.turns {
		v += sign * apart * s.odd(x, t-at)
		sign = -sign
	}
	return v
}

// With a film of nothing it is the slab with held faces, another series.
func TestFilmsOfNothingHoldTheFaces(t *testing.T) {
	const l, alpha = 0.030, 1.3e-7
	s := newBehindFilms(l, alpha, 1e6, 5, 95, 30, fourTurns)
	for _, at := range []float64{15, 100, 200, 350, 600, 800} {
		for _, x := range []float64{0.002, 0.010, 0.015, 0.028} {
			if got, want := s.at(x, at), turned(l, alpha, 5, 95, 30, fourTurns, x, at); math.Abs(got-want) > 0.002 {
				t.Errorf("%g mm at %g s: %.4f, want %.4f °C", 1e3*x, at, got, want)
			}
		}
	}
}

var fourTurns = []float64{180, 360, 540, 720}

// faceBound is the least root mean square error of both faces so many seconds
// after each of the five jumps, whatever the estimator: that of Cramér and Rao
// with the priors' information added (H. L. Van Trees 1968, Detection,
// Estimation, and Modulation Theory I, §2.4.3): u² ≥ gᵀ (JᵀJ/σ² + P)⁻¹ g, J and
// g taken at the true parameters. A film of contact L/Bi and a piece thicker by
// as much feel nearly alike to sensors inside, and a face stands off what
// touches it by that film times a gradient that is steepest after a jump.
func faceBound(t *testing.T, bi, noise, markUS float64, after []float64) []float64 {
	t.Helper()
	const l = 0.030
	truth := newBehindFilms(l, 1.3e-7, bi, 5, 95, 30, fourTurns)
	f, err := newProfileFit(probe(truth.at, l, 0, noise, 900, 7, eight...), ProfileOptions{ThicknessM: l, MarkUS: markUS, TurnsS: fourTurns, OffS: math.NaN()})
	if err != nil {
		t.Fatal(err)
	}
	p := append([]float64{0, math.Log(1.3e-7), 1e3 * l, filmOf(bi), 95, filmOf(bi), 30}, make([]float64, f.times)...)
	nt, ns, n := len(f.timeS), len(f.sensors), f.params
	jac := make([][]float64, n)
	down := make([]float64, (ns+watched)*nt)
	for i := range n {
		const h = 1e-2
		jac[i] = make([]float64, len(down))
		q := slices.Clone(p)
		q[i] += h
		f.model(q, f.places(q), jac[i])
		q[i] -= 2 * h
		f.model(q, f.places(q), down)
		for j := range down {
			jac[i][j] = (jac[i][j] - down[j]) / (2 * h)
		}
	}
	info := mat.NewSymDense(n, nil)
	perBlock := noise * noise / float64(f.samples)
	for i := range n {
		for k := i; k < n; k++ {
			sum := 0.0
			for j := range ns * nt {
				if !math.IsNaN(f.y[j]) {
					sum += jac[i][j] * jac[k][j] / perBlock
				}
			}
			if i == k {
				sum += 1 / squared(f.priorU[i])
			}
			info.SetSym(i, k, sum)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		t.Fatal("the information is singular")
	}
	out := make([]float64, len(after))
	for a, s := range after {
		for _, at := range append([]float64{0}, fourTurns...) {
			k := int(math.Round((at + s) / f.every))
			for face := range 2 {
				g := mat.NewVecDense(n, nil)
				for i := range n {
					g.SetVec(i, jac[i][(ns+1+face)*nt+k])
				}
				var x mat.VecDense
				if err := chol.SolveVecTo(&x, g); err != nil {
					t.Fatal(err)
				}
				out[a] += mat.Dot(g, &x) / 10
			}
		}
		out[a] = math.Sqrt(out[a])
	}
	return out
}

// What the fit tells of the faces after each jump, beside the bound: a slab of
// 30 mm from 5 °C between 95 and 30 °C that change places every three minutes;
// eight sensors, 0.3 K of noise, a probe up to 3 mm off, a thickness measured
// 0.3 mm off and a diffusivity a tenth off (standard deviations). Cooks differ
// in what is unknown, and the errors within one hang together: what lies within
// 2 u is counted over all of them.
func TestFacesAfterAJump(t *testing.T) {
	const l, noise, cooks = 0.030, 0.3, 24
	after := []float64{6, 9, 15, 21, 30, 60, 120, 174}
	for _, c := range []struct {
		name    string
		bi      float64
		markUS  float64 // how well the moments are known, and how far they are off
		within1 float64 // from when on the root mean square is within 1 K, s
	}{
		{"faces held", 1e6, 0.05, 30},
		{"a film of 0.15 mm, Bi 200", 200, 0.05, 30},
		{"a film of 1.5 mm as a pan has, Bi 20", 20, 0.05, 0},
		{"faces held, marks 1 s off", 1e6, 1, 120},
		{"Bi 200, marks 1 s off", 200, 1, 120},
		{"Bi 20, marks 1 s off", 20, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			errs := make([][]float64, len(after))
			covered, stated := make([]float64, len(after)), make([]float64, len(after))
			core := 0.0
			for seed := range uint64(cooks) {
				r := rand.New(rand.NewPCG(seed, 55))
				shift := 3e-3 * (2*r.Float64() - 1)
				given := l + 0.3e-3*r.NormFloat64()
				alpha := 1.3e-7 * math.Exp(0.1*r.NormFloat64())
				truth := newBehindFilms(l, alpha, c.bi, 5, 95, 30, fourTurns)
				opt := ProfileOptions{ThicknessM: given, MarkUS: c.markUS, HeatOnS: c.markUS * r.NormFloat64(), OffS: math.NaN()}
				for _, at := range fourTurns {
					opt.TurnsS = append(opt.TurnsS, at+c.markUS*r.NormFloat64())
				}
				pr, err := FitProfile(probe(truth.at, l, shift, noise, 900, seed, eight...), opt)
				if err != nil {
					t.Fatal(err)
				}
				for k, s := range pr.TimeS {
					if s >= 20 {
						core = max(core, math.Abs(pr.CoreC[k]-truth.at(l/2, s)))
					}
				}
				for a, s := range after {
					for _, at := range append([]float64{0}, fourTurns...) {
						for face, x := range []float64{0, l} {
							got, u, ok := pr.Face(face, at+s)
							if !ok {
								t.Fatalf("no face at %g s", at+s)
							}
							e := math.Abs(got - truth.at(x, at+s))
							errs[a] = append(errs[a], e)
							stated[a] += u * u
							if e <= 2*u {
								covered[a]++
							}
						}
					}
				}
			}
			t.Logf("centre off by %.2f K at most", core)
			if core > 0.2 {
				t.Errorf("centre off by %.2f K", core)
			}
			bound := faceBound(t, min(c.bi, 200), noise, c.markUS, after)
			for a, s := range after {
				n := float64(len(errs[a]))
				sum := 0.0
				for _, e := range errs[a] {
					sum += e * e
				}
				rms := math.Sqrt(sum / n)
				slices.Sort(errs[a])
				t.Logf("%3.0f s after a jump: off by %.2f K (root mean square), %.2f in 95 of 100, %.2f at most; bound %.2f; stated %.2f; %.0f %% within 2 u",
					s, rms, errs[a][int(0.95*n)], errs[a][len(errs[a])-1], bound[a], math.Sqrt(stated[a]/n), 100*covered[a]/n)
				if rms > 1 && s >= c.within1 {
					t.Errorf("%g s after a jump: off by %.2f K", s, rms)
				}
				if rms > 1.7*bound[a] {
					t.Errorf("%g s after a jump: off by %.2f K, %.1f times the bound", s, rms, rms/bound[a])
				}
				if covered[a] < 0.95*n {
					t.Errorf("%g s after a jump: %.1f %% within 2 u", s, 100*covered[a]/n)
				}
			}
		})
	}
}

// Within the block in which the heat changes, the faces are followed closer
// than by a straight line between two blocks: here 9 s apart, a turn in their
// midst.
func TestFacesWithinTheBlockOfAJump(t *testing.T) {
	const l, bi, turn = 0.030, 20, 1803.2
	truth := newBehindFilms(l, 1.3e-7, bi, 5, 95, 30, []float64{turn})
	pr, err := FitProfile(probe(truth.at, l, 1e-3, 0.3, 3600, 3, eight...), ProfileOptions{ThicknessM: l, TurnsS: []float64{turn}, OffS: math.NaN()})
	if err != nil {
		t.Fatal(err)
	}
	if every := pr.TimeS[1] - pr.TimeS[0]; every < 5 {
		t.Fatalf("blocks of %g s", every)
	}
	for s := turn - 12; s < turn+12; s++ {
		for face, x := range []float64{0, l} {
			got, u, ok := pr.Face(face, s)
			if e := math.Abs(got - truth.at(x, s)); !ok || e > 2.5 || e > 2*u {
				t.Errorf("face %d %+.1f s from the turn: %.2f ± %.2f °C, truly %.2f", face, s-turn, got, u, truth.at(x, s))
			}
		}
	}
}

func BenchmarkFitProfileTurned(b *testing.B) {
	const l = 0.030
	truth := newBehindFilms(l, 1.3e-7, 200, 5, 95, 30, fourTurns)
	sensors := probe(truth.at, l, 1e-3, 0.3, 900, 7, eight...)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitProfile(sensors, ProfileOptions{ThicknessM: l, TurnsS: fourTurns, OffS: math.NaN()}); err != nil {
			b.Fatal(err)
		}
	}
}

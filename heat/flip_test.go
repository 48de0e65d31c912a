package heat

import (
	"math"
	"testing"
)

// The mathematics of flipping: a linear slab on a hot plate whose point counts
// as cooked once it has been at 70 °C (J.-L. Thiffeault, "The mathematics of
// burger flipping", Physica D 439 (2022)). κ and k are assumed, 1.2e-7 m²/s
// and 0.416 W/(m·K); the numbers were computed apart from this package with
// 100 finite volumes and Crank–Nicolson, the limit of endless flipping from
// the exact series: both faces at h̄ = (h₀+h₁)/2 and T∞ = (h₀T_H+h₁T_C)/(h₀+h₁).
func flipSpec(h0, h1 float64, intervals []float64) *Spec {
	const k, kappa, rho = 0.416, 1.2e-7, 1000
	total := 0.0
	at := make([]float64, 0, len(intervals))
	for _, x := range intervals {
		total += x
		at = append(at, total)
	}
	end := 300.0
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 0.01, StartC: 25, Material: stuff(k, rho, k/rho/kappa)},
		Legs: []Leg{{Name: "plate", Bottom: Fluid{TempC: 200, H: h0}, Top: Fluid{TempC: 25, H: h1},
			Ends: EndRule{TimeS: &end}}},
	}
	if len(at) > 0 {
		spec.Legs[0].Turn = &TurnRule{AtS: at}
	}
	return spec
}

// cookedWatch finds when the last cell first reached a temperature, linear in
// time within a step.
type cookedWatch struct {
	tempC float64
	at    []float64
}

func (w *cookedWatch) Begin(g Grid) { w.at = make([]float64, len(g.DepthsM)) }

func (w *cookedWatch) Step(s Step) {
	for i := range w.at {
		if w.at[i] == 0 && s.ToC[i] >= w.tempC {
			f := 0.0
			if d := s.ToC[i] - s.FromC[i]; d > 0 {
				f = (w.tempC - s.FromC[i]) / d
			}
			w.at[i] = s.FromS + math.Max(0, f)*(s.ToS-s.FromS)
		}
	}
}

func (w *cookedWatch) last() float64 {
	last := 0.0
	for _, t := range w.at {
		if t == 0 {
			return inf
		}
		last = math.Max(last, t)
	}
	return last
}

func cookedTime(t *testing.T, spec *Spec, cells int) float64 {
	t.Helper()
	w := &cookedWatch{tempC: 70}
	run(t, spec, Options{Cells: cells, TolK: 2e-3, MaxStepS: 0.5, Observer: w})
	return w.last()
}

// The first term of the series alone gives 62.54 s; the second, still
// −0.0024 at the centre then, makes it 62.16 s.
func TestFlipLimit(t *testing.T) {
	const h0, h1 = 900.0, 60.0
	both := Fluid{TempC: (h0*200 + h1*25) / (h0 + h1), H: (h0 + h1) / 2}
	const half, kappa = 0.005, 1.2e-7
	theta := (both.TempC - 70) / (both.TempC - 25)
	bi := both.H * half / 0.416
	lo, hi := 0.2, 0.4
	for range 60 {
		mid := (lo + hi) / 2
		if centre, _ := slabSeries(bi, mid); centre > theta {
			lo = mid
		} else {
			hi = mid
		}
	}
	exact := lo * half * half / kappa
	within(t, "exact limit, s", exact, 62.16, 0.005)
	one := math.Log(1.24637/theta) / sq(1.34221) * half * half / kappa
	within(t, "limit by the first term, s", one, 62.54, 0.005)

	spec := flipSpec(h0, h1, nil)
	spec.Legs[0].Bottom, spec.Legs[0].Top = both, both
	spec.Legs[0].Ends = EndRule{CoreC: new(70.0)}
	r := run(t, spec, Options{Cells: 60, TolK: 5e-4})
	within(t, "simulated limit, s", r.Legs[0].EndS, exact, 0.01)

	// Turning very often comes close to it from above.
	often := make([]float64, 250)
	for i := range often {
		often[i] = 0.25
	}
	within(t, "turning every 0.25 s", cookedTime(t, flipSpec(h0, h1, often), 100), 63.5, 0.6)
}

func TestOneFlip(t *testing.T) {
	within(t, "one flip at 37.1 s", cookedTime(t, flipSpec(900, 60, []float64{37.1}), 200), 80.8, 0.3)
	within(t, "no flip", cookedTime(t, flipSpec(900, 60, nil), 200), 283.8, 0.6)
}

// More flips at equal intervals: 74.9 s for three, 72.8 for four, 68.9 for
// ten, 81.1 for one; never slower, and above the limit.
func TestMoreFlipsAreFaster(t *testing.T) {
	before := inf
	for _, c := range []struct {
		flips int
		want  float64
	}{{1, 81.1}, {3, 74.9}, {4, 72.8}, {10, 68.9}} {
		// Equal intervals whose sum is the cooking time: each interval is that
		// time over one more than the flips, found by a few repeats.
		total := c.want
		for range 8 {
			each := total / float64(c.flips+1)
			intervals := make([]float64, c.flips)
			for i := range intervals {
				intervals[i] = each
			}
			total = (total + cookedTime(t, flipSpec(900, 60, intervals), 100)) / 2
		}
		within(t, "flips at equal intervals, s", total, c.want, 0.35)
		if total >= before || total < 62.16 {
			t.Errorf("%d flips take %.2f s after %.2f s with fewer", c.flips, total, before)
		}
		before = total
	}
}

// With both sides alike the schedule of flips cannot matter.
func TestSymmetricFlips(t *testing.T) {
	sym := func(intervals []float64) float64 {
		spec := flipSpec(900, 900, intervals)
		spec.Legs[0].Top = spec.Legs[0].Bottom
		return cookedTime(t, spec, 100)
	}
	still := sym(nil)
	for _, flips := range [][]float64{{20}, {5, 5, 5, 5}, {1, 30}} {
		within(t, "flipped against still", sym(flips), still, 0.001*still)
	}
}

package heat

import (
	"fmt"
	"math"
	"testing"
)

// Errors of the centre of a convective slab (Bi 5, Fo 0.5; θ by the series)
// against the number of cells, at steps so small that they do not matter, and
// against the tolerance, on cells so fine that they do not.
func TestOrderOfConvergence(t *testing.T) {
	const k, rho, c, half, bi, fo = 0.5, 1000.0, 3500.0, 0.01, 5.0, 0.5
	seconds := fo * half * half * rho * c / k
	exact, _ := slabSeries(bi, fo)
	f := Fluid{TempC: 0, H: bi * k / half}
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 2 * half, StartC: 100, Material: stuff(k, rho, c)},
		Legs:  []Leg{{Name: "cool", Bottom: f, Top: f, Ends: EndRule{TimeS: &seconds}}},
	}
	miss := func(opt Options) float64 {
		return math.Abs(run(t, spec, opt).Legs[0].CoreEnd - 100*exact)
	}
	last := 0.0
	for i, cells := range []int{8, 16, 32} {
		e := miss(Options{Cells: cells, TolK: 2e-7, MaxStepS: 0.25})
		// Second order at the faces, fourth inside.
		if i > 0 && last/e < 3.4 {
			t.Errorf("%d cells: error %.2g after %.2g, less than second order", cells, e, last)
		}
		last = e
	}
	// Fixed small steps: halving the step must quarter the error. Steps are
	// held by MaxStepS with a loose tolerance; the start is graded anyway, so
	// a smooth case is used: a cosine profile between insulated faces.
	profile := make([]ProfilePoint, 801)
	for i := range profile {
		x := float64(i) / 800
		profile[i] = ProfilePoint{x * 2 * half, 50 + 40*math.Cos(2*math.Pi*x)}
	}
	smooth := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 2 * half, StartC: 50, StartProfile: profile, Material: stuff(k, rho, c)},
		Legs:  []Leg{{Name: "level", Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: new(128.0)}}},
	}
	core := func(step float64) float64 {
		return run(t, smooth, Options{Cells: 60, TolK: 10, MaxStepS: step}).Legs[0].CoreEnd
	}
	truth := core(0.25)
	last = 0
	for i, step := range []float64{32, 16, 8} {
		e := math.Abs(core(step) - truth)
		if i > 0 && last/e < 3.2 {
			t.Errorf("steps of %g s: error %.2g after %.2g, less than second order", step, e, last)
		}
		last = e
	}
	rate := k / rho / c * sq(math.Pi/half)
	within(t, "cosine profile", truth, 50-40*math.Exp(-rate*128), 0.01)
}

// The whole cook converges too: twice the cells and a smaller tolerance move
// core, losses and crust less and less.
func TestCookConverges(t *testing.T) {
	spec := panCook()
	ref := run(t, spec, Options{Cells: 240, TolK: 3e-3})
	last := inf
	for _, cells := range []int{16, 32, 64} {
		r := run(t, spec, Options{Cells: cells, TolK: 0.02})
		e := worst(r.CoreC, ref.CoreC)
		if e > 1.1*last {
			t.Errorf("%d cells: worst core error %.3f K after %.3f K", cells, e, last)
		}
		last = e
		if cells == 64 {
			within(t, "worst core error", e, 0, 0.04)
			within(t, "loss", r.Summary.LossPct, ref.Summary.LossPct, 0.05)
			within(t, "boiled", r.Summary.BoiledPct, ref.Summary.BoiledPct, 0.1)
			within(t, "evaporated", r.Summary.EvaporatedPct, ref.Summary.EvaporatedPct, 0.05)
		}
	}
}

func worst(a, b []float64) float64 {
	w := 0.0
	for i := range a {
		w = math.Max(w, math.Abs(a[i]-b[i]))
	}
	return w
}

// The promised accuracy of the default and fast grids on the benchmark cook.
func TestPromisedAccuracy(t *testing.T) {
	slab := run(t, panCook(), Options{Cells: 240, TolK: 3e-3})
	for _, c := range []struct {
		name string
		opt  Options
		most float64
	}{{"default", Options{}, 0.07}, {"fast", Options{Fast: true}, 0.2}} {
		r := run(t, panCook(), c.opt)
		if e := worst(r.CoreC, slab.CoreC); e > c.most {
			t.Errorf("slab, %s grid: worst core error %.3f K", c.name, e)
		}
	}
	disc := panCook()
	disc.Piece.Shape, disc.Piece.DiameterM = Disc, 0.07
	ref := run(t, disc, Options{Cells: 48, RadialCells: 20, TolK: 0.01})
	for _, c := range []struct {
		name string
		opt  Options
		most float64
	}{{"default", Options{}, 0.1}, {"fast", Options{Fast: true}, 0.5}} {
		r := run(t, disc, c.opt)
		if e := worst(r.CoreC, ref.CoreC); e > c.most {
			t.Errorf("disc, %s grid: worst core error %.3f K", c.name, e)
		}
	}
	if testing.Verbose() {
		fmt.Println("reference disc:", ref.Stats)
	}
}

package heat

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
)

// panCook is the benchmark: 20 minutes in a pan, six turns at fixed times,
// boiling, a 40 mm chop.
func panCook() *Spec {
	return &Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.04, StartC: 5, Food: "pork top loin chop, lean"},
		Moisture: Moisture{On: true},
		Legs: []Leg{{
			Name:   "pan",
			Bottom: Pan{TempC: 200, Contact: 400},
			Top:    Air{TempC: 25, H: new(8.0), Humidity: new(0.4), Emissivity: new(0.95)},
			Turn:   &TurnRule{AtS: []float64{120, 240, 360, 480, 720, 960}},
			Ends:   EndRule{TimeS: new(1200.0)},
		}},
	}
}

func benchmarkCook(b *testing.B, spec *Spec, opt Options) {
	s, res := NewSolver(), new(Result)
	b.ReportAllocs()
	for b.Loop() {
		if err := s.RunInto(res, spec, opt); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(res.Stats.Steps), "steps")
}

func BenchmarkSlab(b *testing.B)     { benchmarkCook(b, panCook(), Options{}) }
func BenchmarkSlabFast(b *testing.B) { benchmarkCook(b, panCook(), Options{Fast: true}) }

func discCook() *Spec {
	s := panCook()
	s.Piece.Shape, s.Piece.DiameterM = Disc, 0.07
	return s
}

func BenchmarkDisc(b *testing.B)     { benchmarkCook(b, discCook(), Options{}) }
func BenchmarkDiscFast(b *testing.B) { benchmarkCook(b, discCook(), Options{Fast: true}) }

// peerCook is the cook of testdata/peer/peer.py: constant properties, a pan
// below and convection above, with or without boiling and nothing else.
func peerCook(boil bool) *Spec {
	s := panCook()
	s.Piece.Food = ""
	s.Piece.Material = Material{Conductivity: 0.5, Density: 1050, SpecificHeat: 3550, Water: 0.73}
	s.Moisture = Moisture{On: boil, Release: &Release{W1K: 1, W2K: 1}, DiffusivityM2S: -1}
	s.Legs[0].Top = Air{TempC: 25, H: new(8.0), Emissivity: new(0.0), Wetness: new(0.0)}
	return s
}

// BenchmarkCost gives accuracy against cost for docs/heat-cost.md: the worst
// error of the core over time and of the time to a core of 45 °C, against 480
// cells (a disc: 64 × 24) with converged steps.
func BenchmarkCost(b *testing.B) {
	for _, c := range []struct {
		name string
		spec *Spec
		ref  Options
		opts []Options
	}{
		{"conduct", peerCook(false), Options{Cells: 480, TolK: 1e-4}, []Options{{Cells: 12, TolK: 0.1}, {Cells: 16, TolK: 0.2}, {Fast: true}, {Cells: 32, TolK: 0.05}, {}, {Cells: 100, TolK: 5e-3}}},
		{"boil", peerCook(true), Options{Cells: 480, TolK: 1e-3}, []Options{{Fast: true}, {}, {Cells: 100, TolK: 0.01}}},
		{"slab", panCook(), Options{Cells: 480, TolK: 1e-3}, []Options{
			{Cells: 12, TolK: 0.2}, {Fast: true}, {Cells: 20, TolK: 0.1}, {Cells: 24, TolK: 0.1}, {Cells: 28, TolK: 0.05}, {}, {Cells: 40, TolK: 0.05}, {Cells: 60, TolK: 0.02}, {Cells: 120, TolK: 0.01}}},
		{"disc", discCook(), Options{Cells: 64, RadialCells: 24, TolK: 0.01}, []Options{
			{Cells: 12, RadialCells: 5, TolK: 0.2}, {Fast: true}, {Cells: 20, RadialCells: 8, TolK: 0.1}, {Cells: 24, RadialCells: 10, TolK: 0.1}, {}, {Cells: 40, RadialCells: 16, TolK: 0.05}}},
	} {
		toCore := *c.spec
		toCore.Legs = []Leg{c.spec.Legs[0]}
		toCore.Legs[0].Ends = EndRule{CoreC: new(45.0)}
		var ref *Result
		var pull float64
		for _, opt := range c.opts {
			s := NewSolver()
			probe := run(b, c.spec, opt)
			b.Run(fmt.Sprintf("%s/%dx%g", c.name, probe.Stats.Cells, opt.TolK), func(b *testing.B) {
				if ref == nil {
					ref = run(b, c.spec, c.ref)
					pull = run(b, &toCore, c.ref).Legs[0].EndS
				}
				res := new(Result)
				b.ReportAllocs()
				for b.Loop() {
					if err := s.RunInto(res, c.spec, opt); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(res.Stats.Steps), "steps")
				b.ReportMetric(worst(res.CoreC, ref.CoreC), "core-K")
				b.ReportMetric(run(b, &toCore, opt).Legs[0].EndS-pull, "pull-s")
			})
		}
	}
}

// BenchmarkCells shows how the cost of one step grows with the cells of a
// slab, and of a disc with its rows at a fixed number of columns: the time for
// a cell and step stays the same.
func BenchmarkCells(b *testing.B) {
	for _, c := range []struct {
		name string
		spec *Spec
		cols int
	}{{"slab", panCook(), 0}, {"disc", discCook(), 8}} {
		for _, cells := range []int{16, 32, 64, 128} {
			b.Run(fmt.Sprintf("%s/%d", c.name, cells), func(b *testing.B) {
				s, res := NewSolver(), new(Result)
				opt := Options{Cells: cells, RadialCells: c.cols, TolK: 0.1}
				for b.Loop() {
					if err := s.RunInto(res, c.spec, opt); err != nil {
						b.Fatal(err)
					}
				}
				work := float64(res.Stats.Steps+res.Stats.Rejected) * float64(res.Stats.Cells) * float64(b.N)
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/work, "ns/(cell·step)")
			})
		}
	}
}

// BenchmarkSampledCooks runs 10,000 cooks on the fast grid on two workers,
// thickness, pan and start varying, with a rest.
func BenchmarkSampledCooks(b *testing.B) {
	const cooks, workers = 10_000, 2
	b.ReportAllocs()
	for b.Loop() {
		var wg sync.WaitGroup
		for w := range workers {
			wg.Go(func() {
				rng := rand.New(rand.NewPCG(7, uint64(w)))
				s, res := NewSolver(), new(Result)
				spec := panCook()
				spec.Output.EveryS = 30
				for range cooks / workers {
					spec.Piece.ThicknessM = 0.04 + 0.001*rng.NormFloat64()
					spec.Piece.StartC = 5 + rng.NormFloat64()
					spec.Legs[0].Bottom = Pan{TempC: 200 + 5*rng.NormFloat64(), Contact: 400}
					if err := s.RunInto(res, spec, Options{Fast: true}); err != nil {
						b.Error(err)
						return
					}
				}
			})
		}
		wg.Wait()
	}
}

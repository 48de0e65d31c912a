package heat

import (
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

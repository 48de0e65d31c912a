package heat

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// anyFace draws a face of any kind within physical bounds.
func anyFace(rt *rapid.T, label string) Face {
	u := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(rt, label+" "+name) }
	switch rapid.IntRange(0, 9).Draw(rt, label) {
	case 0:
		return Pan{TempC: u("pan", 60, 260), Contact: u("contact", 50, 1500), TouchContact: u("touch", 50, 500), RiseS: u("rise", 0, 20)}
	case 1:
		return Air{TempC: u("air", 0, 280), H: new(u("h", 2, 80)), Humidity: new(u("humidity", 0, 1)), Emissivity: new(u("ε", 0, 1)), Wetness: new(u("wetness", 0, 1))}
	case 2:
		return Air{TempC: u("air", 0, 280), FanMS: u("fan", 0, 5)}
	case 3:
		return Fluid{TempC: u("fluid", 1, 200), H: u("h", 20, 1500)}
	case 4:
		return Steam{H: u("h", 100, 8000)}
	case 5:
		return FatFilm{FatC: u("fat", 80, 190), Film: u("film", 20, 300), Cover: u("cover", 0.1, 1), Duty: u("duty", 0.1, 1), Under: Air{TempC: 25}}
	case 6:
		return Board{TempC: u("board", 5, 60), H: u("h", 2, 50)}
	case 7:
		return Pan{Plate: &Plate{HeatCapacity: u("C", 3000, 40000), StartC: u("pan", 100, 250), BurnerWM2: u("burner", 0, 6e4), SetC: new(u("set", 120, 230)), LossH: u("loss", 0, 30), AirC: 25}}
	case 8:
		return FixedFlux{WM2: u("flux", -500, 20000)}
	}
	return Air{TempC: u("air", 0, 60), WallC: new(u("wall", 0, 700)), ViewFactor: u("view", 0.05, 1)}
}

// Over random cooks energy and water close to round-off, nothing is ever not
// a number, no cell holds less than no water, and no moist place stays above
// boiling.
func TestAnyCookCloses(t *testing.T) {
	s := NewSolver()
	rapid.Check(t, func(rt *rapid.T) {
		u := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(rt, name) }
		food := Foods[rapid.IntRange(0, len(Foods)-1).Draw(rt, "food")].Name
		spec := &Spec{
			Piece:     Piece{Shape: Slab, ThicknessM: u("thickness", 0.004, 0.08), StartC: u("start", 0, 40), Food: food},
			Moisture:  Moisture{On: rapid.IntRange(0, 4).Draw(rt, "moist") > 0, DiffusivityM2S: u("D", 1e-10, 1e-8), Shrinkage: u("shrink", 0, 1)},
			AltitudeM: u("altitude", 0, 4000),
			Output:    Output{EveryS: 20, DepthsM: []float64{0.001, 0.003}},
		}
		opt := Options{Fast: true}
		if rapid.IntRange(0, 5).Draw(rt, "disc") == 0 {
			spec.Piece.Shape, spec.Piece.DiameterM = Disc, u("diameter", 0.02, 0.2)
			opt = Options{Cells: 12, RadialCells: 5, TolK: 0.2}
		}
		for i := range rapid.IntRange(1, 3).Draw(rt, "legs") {
			leg := Leg{Name: "leg", Rest: i > 0 && rapid.Bool().Draw(rt, "rest"), Bottom: anyFace(rt, "bottom"), Top: anyFace(rt, "top"),
				Ends: EndRule{TimeS: new(u("seconds", 1, 900))}}
			if rapid.Bool().Draw(rt, "turns") {
				leg.Turn = &TurnRule{EveryS: u("every", 5, 300)}
			}
			if rapid.IntRange(0, 3).Draw(rt, "core") == 0 {
				leg.Ends.CoreC = new(u("core end", 30, 80))
			}
			if rapid.IntRange(0, 3).Draw(rt, "also") == 0 {
				leg.Also = []Action{{LastS: u("last", 5, 200), Top: anyFace(rt, "also top")}}
			}
			spec.Legs = append(spec.Legs, leg)
		}
		r, err := s.Run(spec, opt)
		if err != nil {
			rt.Fatal(err)
		}
		l := r.LedgerM
		if l == nil {
			l = r.LedgerJ
		}
		// The difference of two contents cannot be better than their rounding.
		content := 0.0
		for _, e := range s.now.e[:s.mesh.n] {
			content += math.Abs(e)
		}
		if !(math.Abs(l.Residual) <= 1e-9*l.Throughput+1e-14*content) {
			rt.Errorf("energy residual %g of %g", l.Residual, l.Throughput)
		}
		if !spec.Moisture.On && (l.Evaporation != 0 || l.Boiling != 0 || l.Drip != 0 || r.Summary.LossPct != 0) {
			rt.Errorf("moisture is off, yet %+v", *l)
		}
		left, raw := 0.0, s.rawKg
		for i, w := range s.now.w[:s.mesh.n] {
			if w < 0 {
				rt.Errorf("cell %d holds %g kg", i, w)
			}
			left += w + s.ms[i]
			if s.now.t[i] > s.boilC+0.01 && s.moist && s.now.w[i] > 1.1*(boundWater*s.ms[i])+1e-9 && s.now.dry[i] < 1 {
				rt.Errorf("cell %d at %.1f °C still holds %.3g of its water", i, s.now.t[i], s.now.w[i]/s.w0[i])
			}
		}
		if gone := r.Summary.LossPct / 100 * raw; math.Abs(raw-left-gone) > 1e-9*raw {
			rt.Errorf("mass: %g gone, losses say %g", raw-left, gone)
		}
		for _, series := range [][]float64{r.CoreC, r.ColdestC, r.BottomC, r.TopC, r.MeanC, r.RimC, r.PanC} {
			for _, x := range series {
				if !(x > -60 && x < 1500) {
					rt.Fatalf("temperature %g in the output", x)
				}
			}
		}
	})
}

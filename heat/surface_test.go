package heat

import (
	"fmt"
	"math"
	"testing"

	"trivet/steam"
)

// noRelease keeps all water in until it evaporates or boils.
var noRelease = &Release{W1K: 1, W2K: 1}

// ovenSlab is a thin moist slab that water reaches the surface of freely.
func ovenSlab(f Face, seconds float64) *Spec {
	return &Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.012, StartC: 20, Food: "potato, flesh and skin"},
		Moisture: Moisture{On: true, Release: noRelease, DiffusivityM2S: 1e-6},
		Legs:     []Leg{{Name: "oven", Bottom: f, Top: f, Ends: EndRule{TimeS: &seconds}}},
	}
}

// A wet slab in an oven settles where evaporation balances convection.
// Steady wet-surface temperatures at 101325 Pa and 1.5 kPa of vapour,
// computed apart from this package from the Chilton–Colburn analogy with film
// properties and Stefan flow: 44.1 °C at 175 °C (45.0 is the adiabatic
// saturation temperature of the ASHRAE psychrometric equation), 41.3 at
// 150 °C, 46.6 at 200 °C; with walls at air temperature and ε 0.9, 58.1 °C at
// h 8 and 51.0 at h 20.
func TestWetBulbPlateau(t *testing.T) {
	for _, c := range []struct{ air, h, eps, seconds, want float64 }{
		// Long enough to settle, short enough to stay wet.
		{175, 8, 0, 3000, 44.1}, {175, 20, 0, 1400, 44.1}, {150, 8, 0, 3000, 41.3}, {200, 8, 0, 3000, 46.6},
		{175, 8, 0.9, 2000, 58.1}, {175, 20, 0.9, 1300, 51.0}, {200, 8, 0.9, 1700, 62.4}, {200, 20, 0.9, 1200, 54.5},
	} {
		spec := ovenSlab(Air{TempC: c.air, H: &c.h, Emissivity: &c.eps, VapourPa: new(1500.0)}, c.seconds)
		r := run(t, spec, Options{Cells: 20})
		end := len(r.CoreC) - 1
		if d := r.CoreC[end] - r.CoreC[end-12]; math.Abs(d) > 0.03 {
			t.Errorf("air %g h %g: no plateau, slope %.3f K/min", c.air, c.h, d)
		}
		name := fmt.Sprintf("air %g °C, h %g, ε %g: ", c.air, c.h, c.eps)
		within(t, name+"mean", r.MeanC[end], c.want, 0.1)
		within(t, name+"surface", r.TopC[end], c.want, 0.1)
	}
}

// In moist cold air the surface takes up heat of condensation and the water
// runs off.
func TestCondensation(t *testing.T) {
	h := 20.0
	r := run(t, ovenSlab(Air{TempC: 60, H: &h, Emissivity: new(0.0), Humidity: new(1.0)}, 60), Options{})
	if l := r.LedgerM; l.Top.Condensation < l.Top.Convection {
		t.Errorf("condensation %g J/m², convection %g: saturated air at 60 °C must condense strongly on a cold surface", l.Top.Condensation, l.Top.Convection)
	}
	if r.Summary.EvaporatedPct != 0 || r.Summary.LossPct < 0 {
		t.Errorf("losses %+v", r.Summary)
	}
}

// While water boils in it a cell holds the boiling point of the altitude:
// 99.97 °C at sea level, 94.62 at 1609 m, 86.62 at 4000 m (IAPWS saturation
// line at the pressure of the standard atmosphere).
func TestBoilingPin(t *testing.T) {
	seconds := 480.0
	for _, c := range []struct{ altitude, boil float64 }{{0, 99.97}, {1609, 94.62}, {4000, 86.62}} {
		spec := &Spec{
			Piece:     Piece{Shape: Slab, ThicknessM: 0.01, StartC: 20, Food: "potato, flesh and skin"},
			Moisture:  Moisture{On: true},
			AltitudeM: c.altitude,
			Legs:      []Leg{{Name: "fry", Bottom: Fluid{TempC: 170, H: 400}, Top: Fluid{TempC: 170, H: 400}, Ends: EndRule{TimeS: &seconds}}},
			Output:    Output{DepthsM: []float64{0.005}},
		}
		r := run(t, spec, Options{})
		within(t, "core in boiling", r.CoreC[len(r.CoreC)-1], c.boil, 0.02)
		for i, x := range r.CoreC {
			if x > c.boil+0.02 {
				t.Fatalf("core %.2f °C at %g s is above boiling", x, r.TimeS[i])
			}
		}
		if top := r.TopC[len(r.TopC)-1]; top < c.boil+10 {
			t.Errorf("surface %.1f °C: the crust should be well above boiling", top)
		}
		if r.Summary.BoiledPct < 5 {
			t.Errorf("only %.1f %% boiled", r.Summary.BoiledPct)
		}
	}
}

// The flux law of a face and its slope must agree, and the surface solve must
// satisfy the balance it solves.
func TestSurfaceBalance(t *testing.T) {
	env := &environment{position: top, pressurePa: 101325, boilC: 99.97, lengthM: 0.1}
	for _, f := range []Face{
		Pan{TempC: 200}, Air{TempC: 25, H: new(8.0)}, Air{TempC: 180}, Air{TempC: 180, FanMS: 2},
		Air{TempC: 20, WallC: new(500.0), ViewFactor: 0.4}, Fluid{TempC: 60}, Steam{}, FatFilm{FatC: 150, Cover: 0.9},
		Board{TempC: 23}, Foil{AirC: 23}, Insulated{}, FixedTemperature{TempC: 60}, FixedFlux{WM2: 5000},
	} {
		b := f.compile(env)
		for _, t1 := range []float64{5, 40, 80, 99} {
			for _, r := range []float64{0, 1e-4, 1e-3} {
				if r == 0 && b.fixedH != 0 {
					continue
				}
				s := surface{tempC: 20}
				b.solve(&s, t1, r, 1, 1, 101325)
				if d := t1 - s.tempC + r*s.q; math.Abs(d) > 1e-6*(1+r*1e7) {
					t.Errorf("%s: t1 %g r %g: balance misses by %g K", f.Describe(), t1, r, d)
				}
				up, down := s, s
				b.solve(&up, t1+1e-3, r, 1, 1, 101325)
				b.solve(&down, t1-1e-3, r, 1, 1, 101325)
				slope := (up.q - down.q) / 2e-3
				if math.Abs(slope-s.slope) > 2e-3*math.Abs(slope)+0.05 {
					t.Errorf("%s: t1 %g r %g: slope %g, differences give %g", f.Describe(), t1, r, s.slope, slope)
				}
				c := b.causes(&s)
				sum := c.contact + c.convection + c.radiation + c.fat + c.condensation + c.prescribed - c.evaporation
				if math.Abs(sum-s.q) > 1e-9*(1+math.Abs(s.q)+math.Abs(c.evaporation)) {
					t.Errorf("%s: causes sum to %g, flux is %g", f.Describe(), sum, s.q)
				}
			}
		}
	}
}

// Evaporation against the steam package's plain formula, itself checked
// against published film values: below the knee both are the same law.
func TestEvaporationLaw(t *testing.T) {
	b := Air{TempC: 25, H: new(10.0), VapourPa: new(1500.0)}.build()
	for _, ts := range []float64{40, 60, 80, 95} {
		_, _, j := b.flow(ts, 1, 1, 101325)
		want := steam.EvaporationKgPerM2S(ts, 25, 1, 1500, 10, 101325)
		within(t, "evaporation, kg/(m²·s)", j, want, 0.003*want)
	}
}

func (f Air) build() boundary {
	return f.compile(&environment{position: top, pressurePa: 101325, boilC: 99.97, lengthM: 0.1})
}

// Still-oven coefficients for a 0.1 m face at 60 °C in air at 175–200 °C:
// 7.5–7.8 W/(m²·K) where the cooled air runs off freely, 3.8–3.9 where it is
// held (0.54 and 0.27 Ra^¼); fan oven 12.2, 17.3 and 27.3 at 1, 2 and 5 m/s
// (0.664 Re^½ Pr^⅓). Computed apart from this package from the correlations
// of Incropera & DeWitt.
func TestConvectionCoefficients(t *testing.T) {
	for _, c := range []struct{ air, free, held float64 }{{175, 7.5, 3.8}, {200, 7.8, 3.9}} {
		d := math.Sqrt(math.Sqrt(c.air - 60))
		within(t, "free natural convection", naturalConvection(bottom, 0.1, c.air, 101325)*d, c.free, 0.2)
		within(t, "held natural convection", naturalConvection(top, 0.1, c.air, 101325)*d, c.held, 0.1)
	}
	for _, c := range []struct{ speed, h float64 }{{1, 12.2}, {2, 17.3}, {5, 27.3}} {
		within(t, "fan convection", fanConvection(c.speed, 0.1, 175, 101325), c.h, 0.3)
	}
}

// Radiation onto an 80 °C surface with ε 0.9: 0.84, 1.36, 1.76, 3.03 and
// 4.71 kW/m² from walls at 150, 180, 200, 250 and 300 °C (Stefan–Boltzmann).
func TestRadiation(t *testing.T) {
	for _, c := range []struct{ wall, kw float64 }{{150, .84}, {180, 1.36}, {200, 1.76}, {250, 3.03}, {300, 4.71}} {
		b := Air{TempC: 80, H: new(0.0), WallC: &c.wall}.build()
		q, _, _ := b.flow(80, 0, 0, 101325)
		within(t, "radiation, kW/m²", q/1000, c.kw, 0.006)
	}
}

// A pan as a lump: a thin piece of great conductivity on a plate is two lumps
// exchanging heat, T_p − T_m falls as exp(−h(1/C_p + 1/C_m)t).
func TestLumpedPan(t *testing.T) {
	const rho, c, thick, h, cp = 2000.0, 1000.0, 0.002, 400.0, 16600.0
	cm := rho * c * thick
	seconds := 60.0
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: thick, StartC: 10, Material: stuff(400, rho, c)},
		Legs: []Leg{{Name: "pan", Bottom: Pan{Contact: h, Plate: &Plate{HeatCapacity: cp, StartC: 200}}, Top: Insulated{},
			Ends: EndRule{TimeS: &seconds}}},
	}
	r := run(t, spec, Options{Cells: 8, TolK: 1e-4})
	for i, s := range r.TimeS {
		mean := (cp*200 + cm*10) / (cp + cm)
		diff := 190 * math.Exp(-h*(1/cp+1/cm)*s)
		within(t, "pan", r.PanC[i], mean+diff*cm/(cp+cm), 0.15)
		within(t, "piece", r.MeanC[i], mean-diff*cp/(cp+cm), 0.15)
	}
	// With a burner and a set-point the pan comes back and stays in its band.
	spec.Legs[0].Bottom = Pan{Contact: h, Plate: &Plate{HeatCapacity: cp, StartC: 200, BurnerWM2: 40e3, SetC: new(200.0), LossH: 20, AirC: 25}}
	spec.Piece = Piece{Shape: Slab, ThicknessM: 0.03, StartC: 5, Material: stuff(0.5, 1050, 3500)}
	spec.Legs[0].Ends.TimeS = new(600.0)
	r = run(t, spec, Options{})
	low := 200.0
	for _, p := range r.PanC {
		low = math.Min(low, p)
	}
	if low > 197 || low < 150 {
		t.Errorf("the pan sags to %.1f °C", low)
	}
	within(t, "pan at the end", r.PanC[len(r.PanC)-1], 197.5, 2.6)
}

// A touch-down coefficient that rises must bring less heat than the final one
// and more than the first.
func TestTouchDown(t *testing.T) {
	seconds := 20.0
	heatIn := func(p Pan) float64 {
		p.TempC = 180
		return run(t, &Spec{
			Piece: Piece{Shape: Slab, ThicknessM: 0.02, StartC: 5, Material: stuff(0.5, 1050, 3500)},
			Legs:  []Leg{{Name: "pan", Bottom: p, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}},
		}, Options{}).LedgerM.Bottom.Contact
	}
	low, high := heatIn(Pan{Contact: 300}), heatIn(Pan{Contact: 800})
	rising := heatIn(Pan{Contact: 800, TouchContact: 300, RiseS: 10})
	if !(low < rising && rising < high) {
		t.Errorf("heat in: %g < %g < %g expected", low, rising, high)
	}
}

// With moisture off a piece may grow hotter than the fits of its properties
// reach; past 150 °C the last heat capacity holds, where the cubic would turn
// back. A slab heated by a constant flux through both faces then gains
// 2q·t of heat, and its mean rises at 2q/(ρ·c(150 °C)·L).
func TestHotterThanTheFits(t *testing.T) {
	const flux, thickness = 20e3, 0.002
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: thickness, StartC: 20, Food: "bread flour"},
		Legs:  []Leg{{Name: "burn", Bottom: FixedFlux{WM2: flux}, Top: FixedFlux{WM2: flux}, Ends: EndRule{TimeS: new(60.0)}}},
	}
	r := run(t, spec, Options{})
	within(t, "heat stored", r.LedgerM.Stored, 2*flux*60, 1e-3)
	food, err := FindFood("bread flour")
	if err != nil {
		t.Fatal(err)
	}
	last := len(r.MeanC) - 1
	if r.MeanC[last-2] < 300 {
		t.Fatalf("only %.0f °C", r.MeanC[last-2])
	}
	rate := (r.MeanC[last] - r.MeanC[last-2]) / (r.TimeS[last] - r.TimeS[last-2])
	rho, cp := food.Composition.Density(20), food.Composition.SpecificHeat(150)
	within(t, "rise, K/s", rate, 2*flux/(rho*cp*thickness), 0.02*rate)
}

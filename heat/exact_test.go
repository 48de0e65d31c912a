package heat

import (
	"fmt"
	"math"
	"testing"
)

// stuff is a constant material.
func stuff(k, rho, c float64) Material {
	return Material{Conductivity: k, Density: rho, SpecificHeat: c}
}

func run(t testing.TB, spec *Spec, opt Options) *Result {
	t.Helper()
	r, err := Simulate(spec, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// fine are options for comparisons with exact solutions.
var fine = Options{Cells: 60, RadialCells: 36, TolK: 5e-4}

// Convective slab, Biot numbers on the half-thickness. θ at centre and
// surface from the eigenfunction series (F. P. Incropera & D. P. DeWitt,
// Fundamentals of Heat and Mass Transfer, table 5.1; H. S. Carslaw & J. C.
// Jaeger, Conduction of Heat in Solids, 1959), summed here with the roots of
// ζ tan ζ = Bi found by bisection, and against five printed decimals.
func TestConvectiveSlab(t *testing.T) {
	const k, rho, c, thick = 0.5, 1000.0, 3500.0, 0.03
	half := thick / 2
	for _, v := range []struct{ bi, fo, centre, surface, mean float64 }{
		{1, 0.1, .99311, .72358, .91960}, {1, 0.2, .95064, .64339, .85160},
		{1, 0.5, .77253, .50452, .68110}, {1, 1, .53386, .34818, .47040},
		{5, 0.2, .86488, .23153, .64902}, {5, 0.5, .52311, .13303, .38517},
		{10, 0.2, .82925, .12248, .58326}, {10, 0.5, .45464, .06433, .31502},
		{math.Inf(1), 0.1, .94931, 0, .64318}, {math.Inf(1), 0.5, .37078, 0, .23605},
	} {
		var f Face = Fluid{TempC: 0, H: v.bi * k / half}
		if math.IsInf(v.bi, 1) {
			f = FixedTemperature{TempC: 0}
		} else {
			centre, surface := slabSeries(v.bi, v.fo)
			within(t, fmt.Sprintf("series, Bi %g Fo %g centre", v.bi, v.fo), centre, v.centre, 6e-6)
			within(t, fmt.Sprintf("series, Bi %g Fo %g surface", v.bi, v.fo), surface, v.surface, 6e-6)
		}
		seconds := v.fo * half * half * rho * c / k
		r := run(t, &Spec{
			Piece:  Piece{Shape: Slab, ThicknessM: thick, StartC: 100, Material: stuff(k, rho, c)},
			Legs:   []Leg{{Name: "cool", Bottom: f, Top: f, Ends: EndRule{TimeS: &seconds}}},
			Output: Output{EveryS: seconds},
		}, fine)
		name := fmt.Sprintf("Bi %g Fo %g ", v.bi, v.fo)
		within(t, name+"centre", r.CoreC[1], 100*v.centre, 0.02)
		within(t, name+"surface", r.TopC[1], 100*v.surface, 0.02)
		within(t, name+"mean", r.MeanC[1], 100*v.mean, 0.02)
	}
}

// slabSeries sums θ = Σ C_n·exp(−ζ_n²·Fo)·cos(ζ_n·x/a) at x = 0 and a.
func slabSeries(bi, fo float64) (centre, surface float64) {
	for n := range 60 {
		lo, hi := float64(n)*math.Pi, float64(n)*math.Pi+math.Pi/2
		for range 100 {
			mid := (lo + hi) / 2
			if mid*math.Tan(mid) < bi {
				lo = mid
			} else {
				hi = mid
			}
		}
		z := lo
		c := 4 * math.Sin(z) / (2*z + math.Sin(2*z)) * math.Exp(-z*z*fo)
		centre += c
		surface += c * math.Cos(z)
	}
	return centre, surface
}

// Short cylinder as the product of slab and infinite cylinder (A. B. Newman,
// Ind. Eng. Chem. 28 (1936) 545): h 200, k 0.5, α 1.35e-7, from 5 °C to 60 °C.
func TestShortCylinder(t *testing.T) {
	const k, rho, alpha = 0.5, 1000.0, 1.35e-7
	f := Fluid{TempC: 60, H: 200}
	for _, v := range []struct {
		diameter, thick float64
		at              []float64
		want            []float64
	}{
		{0.100, 0.020, []float64{300, 600, 900, 1800}, []float64{24.672, 41.506, 50.389, 58.768}},
		{0.060, 0.040, []float64{600, 1200, 2400, 3600}, []float64{17.618, 39.858, 56.170, 59.282}},
	} {
		r := run(t, &Spec{
			Piece:  Piece{Shape: Disc, ThicknessM: v.thick, DiameterM: v.diameter, StartC: 5, Material: stuff(k, rho, k/rho/alpha)},
			Legs:   []Leg{{Name: "bath", Bottom: f, Top: f, Ends: EndRule{TimeS: &v.at[3]}}},
			Output: Output{EveryS: 300},
		}, Options{Cells: 40, RadialCells: 24, TolK: 2e-3})
		for i, s := range v.at {
			within(t, fmt.Sprintf("⌀%g × %g m at %g s", v.diameter, v.thick, s), r.CoreC[int(s/300)], v.want[i], 0.02)
		}
	}
}

// Convection into a half-space, θ = erfc ξ − exp(2ξH+H²)·erfc(ξ+H) (Carslaw &
// Jaeger 1959, §2.7), on a slab thick enough that its far side stays cold.
func TestSemiInfinite(t *testing.T) {
	const k, rho, c = 0.5, 1000.0, 3500.0
	alpha := k / rho / c
	for _, v := range []struct{ xi, bigH, theta float64 }{
		{0, .1, .103543}, {0, 1, .572416}, {.5, .5, .146498}, {.5, 1, .229049}, {1, 1, .063344}, {1, 2, .091448},
	} {
		seconds := 100.0
		h := v.bigH * k / math.Sqrt(alpha*seconds)
		depth := v.xi * 2 * math.Sqrt(alpha*seconds)
		r := run(t, &Spec{
			Piece:  Piece{Shape: Slab, ThicknessM: 0.05, StartC: 0, Material: stuff(k, rho, c)},
			Legs:   []Leg{{Name: "heat", Bottom: Fluid{TempC: 100, H: h}, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}},
			Output: Output{EveryS: seconds, DepthsM: []float64{depth}},
		}, Options{Cells: 160, TolK: 2e-4})
		within(t, fmt.Sprintf("ξ %g H %g", v.xi, v.bigH), r.DepthC[1][0], 100*v.theta, 0.02)
	}
}

// Two bodies in perfect contact meet at (e₁T₁ + e₂T₂)/(e₁ + e₂), e = √(kρc).
// With one material on both sides that is the mean, and it stays; with the
// printed contact temperature of lean beef at 5 °C on cast iron at 200 °C,
// 181.59 °C (e 1368 and 13123), the heat taken up in time t is
// 2·e·(T_c − T₀)·√(t/π).
func TestContactOfTwoBodies(t *testing.T) {
	seconds := 60.0
	r := run(t, &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 0.04, StartC: 0, Material: stuff(0.5, 1055, 3550),
			StartProfile: []ProfilePoint{{0.02 - 1e-9, 100}, {0.02 + 1e-9, 5}}},
		Legs:   []Leg{{Name: "touch", Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}},
		Output: Output{EveryS: 10},
	}, fine)
	for i := 1; i < len(r.CoreC); i++ {
		within(t, fmt.Sprintf("interface at %g s", r.TimeS[i]), r.CoreC[i], 52.5, 0.01)
	}
	e := math.Sqrt(0.5 * 1055 * 3550)
	within(t, "effusivity of lean beef", e, 1368, 0.5)
	contact := (e*5 + 13123*200) / (e + 13123)
	within(t, "contact temperature", contact, 181.59, 0.02)
	r = run(t, &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 0.04, StartC: 5, Material: stuff(0.5, 1055, 3550)},
		Legs:  []Leg{{Name: "touch", Bottom: FixedTemperature{TempC: contact}, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}},
	}, Options{Cells: 200, TolK: 1e-3})
	want := 2 * e * (contact - 5) * math.Sqrt(seconds/math.Pi)
	within(t, "heat taken up", r.LedgerM.Bottom.In, want, 0.001*want)
}

// An insulated slab with T = T₀ + ΔT·(x/a)² equalises as
// centre = 1/3 + Σ 4(−1)ⁿ/(n²π²)·exp(−n²π²·Fo) (Carslaw & Jaeger 1959).
func TestEqualising(t *testing.T) {
	const k, rho, c, thick = 0.5, 1000.0, 0.5 / 1000 / 1.35e-7, 0.025
	half := thick / 2
	profile := make([]ProfilePoint, 401)
	for i := range profile {
		x := thick * float64(i) / 400
		profile[i] = ProfilePoint{x, 10 + 60*sq((x-half)/half)}
	}
	for _, v := range []struct{ fo, centre, surface float64 }{
		{.02, .04000, .72085}, {.05, .09946, .59537}, {.1, .18423, .48635},
		{.2, .27707, .38967}, {.3, .31235, .35432}, {.5, .33042, .33625},
	} {
		seconds := v.fo * half * half / 1.35e-7
		r := run(t, &Spec{
			Piece:  Piece{Shape: Slab, ThicknessM: thick, StartC: 10, StartProfile: profile, Material: stuff(k, rho, c)},
			Legs:   []Leg{{Name: "rest", Rest: true, Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}},
			Output: Output{EveryS: seconds},
		}, Options{Cells: 120, TolK: 1e-3})
		within(t, fmt.Sprintf("Fo %g centre", v.fo), r.CoreC[1], 10+60*v.centre, 0.02)
		within(t, fmt.Sprintf("Fo %g surface", v.fo), r.TopC[1], 10+60*v.surface, 0.02)
	}
}

// One-phase Stefan problem: a moist slab at its boiling point, one face held
// above it, dries to the depth 2λ√(αt) with √π·λ·exp(λ²)·erf λ = St (Carslaw &
// Jaeger 1959, §11.2). λ as printed to six digits.
func TestStefanFront(t *testing.T) {
	const water, rho, kCrust = 0.74, 1050.0, 0.2
	solids := 1 - water
	boil := 99.9743
	free := rho * (water - boundWater*solids)
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 0.02, StartC: boil - 0.001,
			Material: Material{Conductivity: 0.5, Density: rho, SpecificHeat: 3500, Water: water, CrustConductivity: kCrust, CrustSpecificHeat: 2000}},
		Moisture: Moisture{On: true, Release: &Release{W1K: 1, W2K: 1}},
	}
	seconds := 1200.0
	for _, v := range []struct{ st, lambda float64 }{{.01, .070593}, {.05, .156821}, {.1, .220016}} {
		latent := latentHeat(boil)
		cVol := rho * (solids*2000 + boundWater*solids*3500)
		hot := boil + v.st*latent*free/cVol
		spec.Legs = []Leg{{Name: "dry", Bottom: FixedTemperature{TempC: hot}, Top: Insulated{}, Ends: EndRule{TimeS: &seconds}}}
		depth := 2 * v.lambda * math.Sqrt(kCrust/cVol*seconds)
		for _, cells := range []int{40, 160} {
			r := run(t, spec, Options{Cells: cells, TolK: 2e-3})
			end := r.Snapshots[len(r.Snapshots)-1]
			got := 0.0
			for i, f := range end.DryShare {
				got += f * (r.Grid.EdgesM[i+1] - r.Grid.EdgesM[i])
			}
			tol := 0.01
			if cells == 160 {
				tol = 0.004
			}
			within(t, fmt.Sprintf("St %g, %d cells: dried depth", v.st, cells), got, depth, tol*depth)
		}
	}
}

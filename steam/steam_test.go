package steam_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"trivet/steam"
)

func close(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s = %.8g, want %.8g ± %g", what, got, want, tol)
	}
}

// The saturation line at the points where steam tables agree with it. The
// column p is the Wagner–Pruss equation evaluated apart from this package
// (mpmath 1.3.0, 30 digits); the triple point and 100 °C equal the printed
// steam-table values 611.657 Pa and 101.42 kPa.
func TestSaturationPressure(t *testing.T) {
	for _, c := range []struct{ tC, p, tol float64 }{
		{0.01, 611.657, 0.001},
		{20, 2339.2, 0.05}, {25, 3169.8, 0.05}, {40, 7385.1, 0.05},
		{60, 19947, 0.5}, {70, 31202, 0.5}, {80, 47416, 0.5}, {90, 70183, 0.5},
		{100, 101418, 0.5}, {120, 198671, 0.5},
		{373.946, steam.CriticalPressurePa, 1},
	} {
		close(t, fmt.Sprintf("p(%v °C)", c.tC), steam.SaturationPressurePa(c.tC), c.p, c.tol)
	}
}

// Antoine's equation for water, an independent fit (log10 p/mmHg =
// 8.07131 − 1730.63/(233.426 + t), 1–100 °C), agrees to 0.6 %.
func TestSaturationAgainstAntoine(t *testing.T) {
	for tC := 10.0; tC <= 100; tC += 5 {
		want := math.Pow(10, 8.07131-1730.63/(233.426+tC)) * 101325 / 760
		close(t, fmt.Sprintf("p(%v °C)/Antoine", tC), steam.SaturationPressurePa(tC)/want, 1, 0.006)
	}
}

// IAPWS SR1-86(1992), verification table (quoted from memory): dp/dT at the
// triple point 44.436693 Pa/K, at 373.1243 K p = 101,325 Pa, dp/dT = 3616 Pa/K.
func TestSaturationSlope(t *testing.T) {
	_, s := steam.SaturationLine(0.01)
	close(t, "dp/dT at the triple point", s, 44.436693, 1e-6)
	p, s := steam.SaturationLine(373.1243 - 273.15)
	close(t, "p at the normal boiling point", p, 101325, 0.5)
	close(t, "dp/dT there", s, 3616, 1)
	for tC := -20.0; tC < 200; tC += 7 {
		_, s := steam.SaturationLine(tC)
		diff := (steam.SaturationPressurePa(tC+1e-3) - steam.SaturationPressurePa(tC-1e-3)) / 2e-3
		close(t, fmt.Sprintf("slope at %v °C over its difference quotient", tC), s/diff, 1, 1e-7)
	}
}

func TestSaturationTemperatureInvertsPressure(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		tC := rapid.Float64Range(-39, 373).Draw(r, "tC")
		if got := steam.SaturationTemperatureC(steam.SaturationPressurePa(tC)); math.Abs(got-tC) > 1e-8 {
			r.Fatalf("%.12g °C came back as %.12g", tC, got)
		}
	})
}

func TestOutsideTheRangeStaysFinite(t *testing.T) {
	for _, tC := range []float64{-1e9, -273.15, 400, 1e9, math.Inf(1), math.Inf(-1)} {
		for name, v := range map[string]float64{
			"pressure": steam.SaturationPressurePa(tC), "latent heat": steam.LatentHeatJPerKg(tC),
			"wet bulb":    steam.WetBulbC(math.Max(-300, math.Min(tC, 300)), 0.5, 101325),
			"evaporation": steam.EvaporationKgPerM2S(math.Max(-300, math.Min(tC, 900)), 25, 1, 1000, 10, 101325),
		} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s at %v °C is %v", name, tC, v)
			}
		}
	}
	if !math.IsNaN(steam.SaturationTemperatureC(math.NaN())) {
		t.Error("NaN pressure should give NaN")
	}
}

// Boiling points by altitude from the standard atmosphere and the
// saturation line, computed apart from this package.
func TestBoilingPointByAltitude(t *testing.T) {
	for _, c := range []struct{ m, tb float64 }{
		{0, 99.97}, {300, 98.98}, {500, 98.31}, {1000, 96.65}, {1500, 94.98},
		{1609, 94.62}, {2000, 93.32}, {3000, 89.97}, {4000, 86.62},
	} {
		close(t, fmt.Sprintf("boiling at %v m", c.m), steam.BoilingPointC(steam.PressureAtAltitudePa(c.m)), c.tb, 0.006)
	}
}

// The latent heat against Clapeyron's equation with the densities of IAPWS
// SR1-86(1992), whose equations are written out here.
func TestLatentHeatAgainstClapeyron(t *testing.T) {
	liquid := func(tau float64) float64 {
		c := math.Cbrt(tau)
		return 322 * (1 + 1.99274064*c + 1.09965342*c*c - 0.510839303*math.Pow(c, 5) - 1.75493479*math.Pow(c, 16) -
			45.5170352*math.Pow(c, 43) - 6.74694450e5*math.Pow(c, 110))
	}
	vapour := func(tau float64) float64 {
		s := math.Pow(tau, 1.0/6)
		return 322 * math.Exp(-2.03150240*s*s-2.68302940*math.Pow(s, 4)-5.38626492*math.Pow(s, 8)-
			17.2991605*math.Pow(s, 18)-44.7586581*math.Pow(s, 37)-63.9201063*math.Pow(s, 71))
	}
	for tC := 0.01; tC <= 200; tC += 2.5 {
		tK := tC + steam.ZeroCelsiusK
		tau := 1 - tK/steam.CriticalTemperatureK
		_, slope := steam.SaturationLine(tC)
		want := tK * slope * (1/vapour(tau) - 1/liquid(tau))
		close(t, fmt.Sprintf("L(%.2f °C)", tC), steam.LatentHeatJPerKg(tC), want, 80)
	}
	// Steam tables print 2256.5 kJ/kg at 100 °C and 2500.5–2501 at 0.01 °C.
	close(t, "L(100 °C)", steam.LatentHeatJPerKg(100), 2256.5e3, 200)
}

// ASHRAE's adiabatic-saturation equation solved apart from this package.
func TestWetBulb(t *testing.T) {
	for _, c := range []struct{ tC, rh, w, wb float64 }{
		{25, 0.5, 0.00988, 17.89}, {20, 0.5, 0.00726, 13.78}, {30, 0.5, 0.01331, 22.00},
	} {
		close(t, fmt.Sprintf("W(%v °C, %v)", c.tC, c.rh), steam.HumidityRatio(steam.VapourPressurePa(c.tC, c.rh), 101325), c.w, 1e-5)
		close(t, fmt.Sprintf("wet bulb(%v °C, %v)", c.tC, c.rh), steam.WetBulbC(c.tC, c.rh, 101325), c.wb, 0.006)
	}
	oven := map[float64][4]float64{ // dry bulb → wet bulb at 1.5, 5, 20, 50 kPa
		120: {38.2, 45.1, 63.2, 82.0}, 150: {42.1, 48.1, 64.6, 82.5}, 175: {45.0, 50.3, 65.7, 82.9},
		200: {47.4, 52.3, 66.7, 83.3}, 250: {51.6, 55.8, 68.6, 84.0},
	}
	for dry, want := range oven {
		for i, pv := range []float64{1500, 5000, 20000, 50000} {
			close(t, fmt.Sprintf("oven wet bulb(%v °C, %v Pa)", dry, pv), steam.WetBulbOfVapourC(dry, pv, 101325), want[i], 0.06)
		}
	}
	if got := steam.WetBulbC(25, 1, 101325); math.Abs(got-25) > 1e-6 {
		t.Errorf("saturated air at 25 °C has wet bulb %v", got)
	}
}

// Lewis number, hm/h, and the evaporation from a wet surface into air at
// 25 °C holding 1500 Pa with h = 10, computed apart from this package with
// other air properties; hence the loose tolerances.
func TestEvaporation(t *testing.T) {
	for _, c := range []struct{ tC, le, ratio float64 }{
		{25, 0.876, 9.17e-4}, {60, 0.869, 1.03e-3}, {100, 0.862, 1.16e-3}, {150, 0.853, 1.32e-3},
	} {
		close(t, fmt.Sprintf("Le(%v °C)", c.tC), steam.LewisNumber(c.tC), c.le, 0.02)
		close(t, fmt.Sprintf("hm/h(%v °C)/reference", c.tC), steam.MassPerHeatCoefficient(c.tC, 101325)/c.ratio, 1, 0.015)
	}
	for _, c := range []struct{ tC, j float64 }{{40, 4.1e-4}, {60, 1.38e-3}, {80, 4.2e-3}, {95, 1.2e-2}} {
		got := steam.EvaporationKgPerM2S(c.tC, 25, 1, 1500, 10, 101325)
		close(t, fmt.Sprintf("evaporation at %v °C/reference", c.tC), got/c.j, 1, 0.03)
	}
	if j := steam.EvaporationKgPerM2S(5, 25, 1, 1500, 10, 101325); j >= 0 {
		t.Errorf("a surface at 5 °C under a 13 °C dew point should gather dew, got %v", j)
	}
}

// Air properties: Incropera & DeWitt table A.4 at 300, 350 and 400 K
// (k 26.3, 30.0, 33.8 mW/(m·K); ρ 1.1614, 0.9950, 0.8711 kg/m³), from memory.
func TestAirProperties(t *testing.T) {
	for _, c := range []struct{ tK, k, rho float64 }{{300, 0.0263, 1.1614}, {350, 0.0300, 0.9950}, {400, 0.0338, 0.8711}} {
		close(t, "k/table", steam.AirConductivityWPerMK(c.tK-273.15)/c.k, 1, 0.01)
		close(t, "ρ/table", steam.AirDensityKgPerM3(c.tK-273.15, 101325)/c.rho, 1, 0.015)
	}
}

func TestStefanFactorIsContinuous(t *testing.T) {
	const p = 101325.0
	close(t, "at equal pressures", steam.StefanFactor(5000, 5000, p), p/(p-5000), 1e-9)
	close(t, "just beside", steam.StefanFactor(5000.2, 5000, p), p/(p-5000), 1e-4)
	if b := steam.StefanFactor(p, 1500, p); b < 5 || b > 10 {
		t.Errorf("held value at boiling is %v", b)
	}
}

func ExampleBoilingPointC() {
	fmt.Printf("%.1f °C", steam.BoilingPointC(steam.PressureAtAltitudePa(1609)))
	// Output: 94.6 °C
}

var sink float64

func BenchmarkSaturationLine(b *testing.B) {
	b.ReportAllocs()
	for i := range b.N {
		p, s := steam.SaturationLine(20 + float64(i&63))
		sink += p + s
	}
}

func BenchmarkEvaporation(b *testing.B) {
	b.ReportAllocs()
	for i := range b.N {
		sink += steam.EvaporationKgPerM2S(20+float64(i&63), 25, 1, 1500, 10, 101325)
	}
}

func BenchmarkSaturationTemperature(b *testing.B) {
	b.ReportAllocs()
	for i := range b.N {
		sink += steam.SaturationTemperatureC(90000 + float64(i&1023))
	}
}

package quantity

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What is printed reads back within half of its last digit, and printing
// that again changes nothing.
func TestPrintedReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sys := rapid.SampledFrom([]System{Metric, Customary}).Draw(t, "system")
		near := func(what string, got, want, tol float64, again, text string, err error) {
			if err != nil {
				t.Fatalf("%s %q: %v", what, text, err)
			}
			if math.Abs(got-want) > tol*(1+1e-9)+1e-9*math.Abs(want) {
				t.Fatalf("%s %q reads as %v, was %v", what, text, got, want)
			}
			if again != text {
				t.Fatalf("%s %q prints again as %q", what, text, again)
			}
		}
		c := rapid.Float64Range(-273.1, 2000).Draw(t, "c")
		text := FormatTemperature(Celsius(c), sys)
		temp, err := ParseTemperature(text)
		near("temperature", temp.C(), c, 0.05, FormatTemperature(temp, sys), text, err)

		k := rapid.Float64Range(-500, 500).Draw(t, "k")
		text = FormatDifference(Kelvins(k), sys)
		diff, err := ParseDifference(text)
		near("difference", diff.K(), k, 0.05, FormatDifference(diff, sys), text, err)

		m := rapid.Float64Range(0, 100).Draw(t, "m")
		text = FormatLength(Metres(m), sys)
		tol := 0.00013
		if m >= 3 {
			tol = 0.016
		}
		l, err := ParseLength(text)
		near("length", l.M(), m, tol, FormatLength(l, sys), text, err)

		kg := rapid.Float64Range(0, 50).Draw(t, "kg")
		text = FormatMass(Kilograms(kg), sys)
		mass, err := ParseMass(text)
		near("mass", mass.Kg(), kg, 0.0015, FormatMass(mass, sys), text, err)

		s := rapid.Float64Range(0, 1e5).Draw(t, "s")
		tol = 0.5
		if s < 59 {
			tol = 0.05
		}
		text = FormatDuration(Seconds(s))
		dur, err := ParseDuration(text)
		near("span", dur.S(), s, tol, FormatDuration(dur), text, err)
		text = FormatSpan(Seconds(s))
		dur, err = ParseDuration(text)
		near("span", dur.S(), s, 0.5, FormatSpan(dur), text, err)
	})
}

// The text form for files loses nothing, whatever the number.
func TestTextFormIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0, 1e12).Draw(t, "v")
		for _, p := range []interface {
			MarshalText() ([]byte, error)
			UnmarshalText([]byte) error
		}{&Temperature{v}, &Difference{-v}, &Length{v}, &Mass{v}, &Duration{v}} {
			b, _ := p.MarshalText()
			was := string(b)
			if err := p.UnmarshalText(b); err != nil {
				t.Fatal(err)
			}
			if b, _ = p.MarshalText(); string(b) != was {
				t.Fatalf("%s became %s", was, b)
			}
		}
	})
}

// A difference converts without the 32 °F offset: t + d in °F is the sum of
// the two in °F.
func TestDifferencesAdd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(-400, 1000).Draw(t, "f")
		d := rapid.Float64Range(-50, 50).Draw(t, "d")
		sum := Fahrenheit(f).Add(FahrenheitDegrees(d))
		if math.Abs(sum.F()-(f+d)) > 1e-9 {
			t.Fatalf("%v °F + %v °F = %v °F", f, d, sum.F())
		}
		if back := sum.Sub(Fahrenheit(f)); math.Abs(back.F()-d) > 1e-9 {
			t.Fatalf("difference %v, was %v", back.F(), d)
		}
	})
}

func TestFormatUncertain(t *testing.T) {
	for _, c := range []struct {
		v, u float64
		want string
	}{
		{54.898, 0.3366, "54.90 ± 0.34 °C"},
		{20, 0.18, "20.00 ± 0.18 °C"},
		{1, 0.0996, "1.00 ± 0.10 °C"}, // the printed form decides
		{56789, 1234, "56800 ± 1200 °C"},
		{-0.001, 0.5, "0.00 ± 0.50 °C"},
		{-2.5, 12, "−2 ± 12 °C"}, // halves go to even, as strconv prints
		{3.14159265, 0, "3.14159 °C"},
		{3.5, math.NaN(), "3.5 °C"},
	} {
		if got := FormatUncertain(c.v, c.u, "°C"); got != c.want {
			t.Errorf("%v ± %v: %q, want %q", c.v, c.u, got, c.want)
		}
	}
	// JCGM 100:2008, clause 7.2.2, example 1: m = 100.021 47 g, u = 0.35 mg.
	if got := FormatUncertain(100.02147, 0.00035, "g"); got != "100.02147 ± 0.00035 g" {
		t.Error(got)
	}
}

func TestFormats(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{FormatTemperature(Fahrenheit(145), Metric), "62.8 °C"},
		{FormatTemperature(Fahrenheit(145), Customary), "145.0 °F"},
		{Celsius(-0.04).String(), "0.0 °C"},
		{Celsius(-18).String(), "−18.0 °C"},
		{FahrenheitDegrees(10).String(), "+5.6 °C"},
		{Kelvins(-5).String(), "−5.0 °C"},
		{Metres(0.0381).String(), "38.1 mm"},
		{FormatLength(Metres(0.0381), Customary), "1.50 in"},
		{Kilograms(0.99996).String(), "1.000 kg"},
		{FormatMass(Kilograms(0.45359237*2.1875), Customary), "2 lb 3.0 oz"},
		{FormatMass(Kilograms(0.45359237*0.99999), Customary), "1 lb 0.0 oz"},
		{Seconds(750).String(), "12 min 30 s"},
		{Seconds(59.97).String(), "1 min"},
		{Seconds(4350).String(), "1 h 12 min 30 s"},
		{Seconds(45.5).String(), "45.5 s"},
		{Seconds(-90).String(), "−1 min 30 s"},
		{FormatSpan(Seconds(3599.7)), "1:00:00"},
		{FormatSpan(Seconds(65)), "1:05"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

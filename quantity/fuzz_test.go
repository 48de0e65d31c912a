package quantity

import (
	"math"
	"testing"
)

var seeds = []string{
	"325 °F", "325F", "163C", "+10 °F", "−5 K", "1 1/2 in", `1½"`, "38 mm", "3,8 cm", "2 lb 3 oz", "450 g", "1.2 kg",
	"12:30", "1:12:30", "12 min 30 s", "90 s", "2 points", "10 %", "30 mm ± 1 mm", "30 ± 1 mm", "(30 ± 1) mm",
	"1,200 g", "1e400 g", "NaN", "Inf °C", "1/0 in", "½", "1 ½", "±", "( ± )", "-", "+", ".", ",", "::", "12:", "1:2:3:4",
	"−273.15 °C", "0x10 g", "1_000 g", "٣ g", "1\x00g", "\xff\xfe", "2 cups", "1e", "1e+", "e5", "9e999 ± 9e999 K",
	"2026-05-01T14:03:07Z", "2:05 pm", "1 % ± 1 %", "1 kg ± 1e308 %", "'", `"`, "1'", "3 ft 2 in", "1//2 in", "1 1/2/3 in",
}

// FuzzParse: whatever is written, every parser answers with a finite amount
// or an error, and never both.
func FuzzParse(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	kinds := []Kind{"", KindTemperature, KindDifference, KindLength, KindMass, KindDuration, KindPercent, KindPoints, KindNumber, KindOther}
	f.Fuzz(func(t *testing.T, s string) {
		for _, k := range kinds {
			a, err := parse(k, s)
			if err != nil {
				if a != (Amount{}) {
					t.Fatalf("%q as %q: amount and error %v", s, k, err)
				}
				_ = err.Error()
				continue
			}
			if math.IsNaN(a.Value) || math.IsInf(a.Value, 0) || math.IsNaN(a.Pm) || math.IsInf(a.Pm, 0) || a.Pm < 0 {
				t.Fatalf("%q as %q: %+v", s, k, a)
			}
			if k != "" && a.Kind != k {
				t.Fatalf("%q as %q has kind %q", s, k, a.Kind)
			}
		}
	})
}

func FuzzParseTemperature(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseTemperature(s); err == nil && !(v.C() >= -273.15) {
			t.Fatalf("%q: %v", s, v.C())
		}
	})
}

func FuzzParseDifference(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := ParseDifference(s); err == nil && !finite(d.K()) {
			t.Fatalf("%q: %v", s, d)
		}
	})
}

func FuzzParseLength(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseLength(s); err == nil && !(v.M() >= 0) {
			t.Fatalf("%q: %v", s, v)
		}
	})
}

func FuzzParseMass(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseMass(s); err == nil && !(v.Kg() >= 0) {
			t.Fatalf("%q: %v", s, v)
		}
	})
}

func FuzzParseDuration(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseDuration(s); err == nil && !(v.S() >= 0) {
			t.Fatalf("%q: %v", s, v)
		}
	})
}

func FuzzParsePercent(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParsePercent(s); err == nil && !finite(v) {
			t.Fatalf("%q: %v", s, v)
		}
	})
}

func FuzzParseMargin(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if m, err := ParseMargin(s); err == nil && !(m.Value > 0 && finite(m.Value)) {
			t.Fatalf("%q: %+v", s, m)
		}
	})
}

func FuzzParseClock(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if c, err := ParseClock(s); err == nil && (c.SinceMidnight().S() < 0 || c.SinceMidnight().S() >= 86400) {
			t.Fatalf("%q: %+v", s, c)
		}
	})
}

package figure

import (
	"math"
	"testing"
)

func TestMeasureText(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	tests := []struct {
		name string
		got  string
		want string
	}{
		{"temperature in °C", Measure{Kind: Temperature}.Text(63, 1), "63.0\u00a0°C"},
		{"temperature in °F", Measure{Kind: Temperature, Degrees: Fahrenheit}.Text(63, 1), "145.4\u00a0°F"},
		{"a difference in °F has no offset of 32", Measure{Kind: Difference, Degrees: Fahrenheit}.Signed(10, 0), "+18\u00a0°F"},
		{"the delta of a temperature is a difference", Measure{Kind: Temperature, Degrees: Fahrenheit}.Delta().Text(0, 0), "0\u00a0°F"},
		{"the delta of a percentage is in points", Measure{Kind: Percent}.Delta().Signed(-2.04, 1), "−2.0\u00a0points"},
		{"minutes and seconds", Measure{Kind: Duration}.Text(750, 0), "12:30\u00a0min"},
		{"hours", Measure{Kind: Duration}.Text(4350, 0), "1:12:30\u00a0h"},
		{"seconds round up to the next minute", Measure{Kind: Duration}.Text(59.7, 0), "1:00\u00a0min"},
		{"negative time", Measure{Kind: Duration}.Signed(-95, 0), "−1:35\u00a0min"},
		{"tens of seconds", Measure{Kind: Duration}.Text(754, -1), "12:30\u00a0min"},
		{"a tenth of a second", Measure{Kind: Duration}.Text(5.25, 1), "0:05.3\u00a0min"},
		{"a ratio as a change", Measure{Kind: LogRatio}.Signed(math.Log(1.1), 0), "+10\u00a0%"},
		{"a ratio downwards", Measure{Kind: LogRatio}.Signed(-math.Log(1.1), 1), "−9.1\u00a0%"},
		{"no minus zero", Measure{Unit: "g"}.Signed(-0.001, 1), "0.0\u00a0g"},
		{"hundreds", Measure{Unit: "g"}.Text(1234, -2), "1200\u00a0g"},
		{"missing", Measure{Unit: "g"}.Text(nan, 1), "–"},
		{"a range", Measure{Kind: Points}.SignedRange(-0.4, 1.9, 1), "−0.4 to +1.9\u00a0points"},
		{"an open range", Measure{Kind: Points}.Range(-inf, 1.9, 1), "below 1.9\u00a0points"},
		{"with its uncertainty", Measure{Kind: Percent}.PlusMinus(24.314, 0.161), "24.31 ±\u00a00.16\u00a0%"},
		{"an uncertainty in °F has no offset", Measure{Kind: Temperature, Degrees: Fahrenheit}.PlusMinus(63, 1), "145.4 ±\u00a01.8\u00a0°F"},
		{"a time with its uncertainty", Measure{Kind: Duration}.PlusMinus(750, 14), "12:30 ±\u00a00:14\u00a0min"},
		{"no uncertainty known", Measure{Unit: "g"}.PlusMinus(3.14159, 0), "3.1\u00a0g"},
		{"no range", Measure{Kind: Points}.Range(-inf, inf, 1), "no limits"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			if tc.got != tc.want {
				t.Errorf("got %q, want %q", tc.got, tc.want)
			}
		})
	}
}

func TestDecimalsLeaveTwoDigitsOfTheUncertainty(t *testing.T) {
	for _, tc := range []struct {
		u    float64
		want int
	}{{1.3, 1}, {0.18, 2}, {0.0996, 2}, {9.96, 0}, {13, 0}, {150, -1}, {0, 1}, {math.NaN(), 1}, {math.Inf(1), 1}} {
		if got := DecimalsFor(tc.u); got != tc.want {
			t.Errorf("DecimalsFor(%v) = %d, want %d", tc.u, got, tc.want)
		}
	}
	// A standard uncertainty of 1 K is 1.8 °F: one decimal either way.
	if got := (Measure{Kind: Temperature, Degrees: Fahrenheit}).Decimals(60, 1); got != 1 {
		t.Errorf("decimals of ±1 K in °F = %d, want 1", got)
	}
}

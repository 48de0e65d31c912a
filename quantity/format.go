package quantity

import (
	"math"
	"strconv"
	"strings"
)

// System is the system of units amounts are printed in.
type System int

// Systems of units.
const (
	Metric    System = iota // °C, mm, g, kg
	Customary               // °F, in, oz, lb, as in kitchens of the United States
)

// FormatTemperature prints t to a tenth of a degree: "62.8 °C", "145.0 °F".
func FormatTemperature(t Temperature, s System) string {
	if s == Customary {
		return fixed(t.F(), 1) + " °F"
	}
	return fixed(t.C(), 1) + " °C"
}

// FormatDifference prints d to a tenth of a degree with its sign, which marks
// a difference: "+5.6 °C", "−10.0 °F".
func FormatDifference(d Difference, s System) string {
	v, unit := d.K(), " °C"
	if s == Customary {
		v, unit = d.F(), " °F"
	}
	text := fixed(v, 1)
	if !strings.HasPrefix(text, "−") {
		text = "+" + text
	}
	return text + unit
}

// FormatLength prints l to a tenth of a millimetre or a hundredth of an
// inch; from 10 m on in metres, from 10 ft on in feet.
func FormatLength(l Length, s System) string {
	switch {
	case s == Customary && l.In() < 120:
		return fixed(l.In(), 2) + " in"
	case s == Customary:
		return fixed(l.In()/12, 1) + " ft"
	case l.M() < 10:
		return fixed(l.MM(), 1) + " mm"
	}
	return fixed(l.M(), 2) + " m"
}

// FormatMass prints m to a tenth of a gram, from 1 kg on to a gram
// ("1.234 kg"); or to a hundredth of an ounce, from 1 lb on in pounds and
// tenths of an ounce ("2 lb 3.0 oz").
func FormatMass(m Mass, s System) string {
	if s == Customary {
		oz := m.Lb() * 16
		if math.Round(oz*100) < 1600 {
			return fixed(oz, 2) + " oz"
		}
		tenths := math.Round(oz * 10)
		return fixed(math.Floor(tenths/160), 0) + " lb " + fixed(math.Mod(tenths, 160)/10, 1) + " oz"
	}
	if math.Round(m.G()*10) < 10000 {
		return fixed(m.G(), 1) + " g"
	}
	return fixed(m.Kg(), 3) + " kg"
}

// FormatDuration prints d as "45.5 s", "12 min 30 s", "1 h 12 min 30 s": to a
// tenth of a second under a minute, to a second above.
func FormatDuration(d Duration) string {
	v := math.Abs(d.s)
	sign := ""
	if d.s < 0 {
		sign = "−"
	}
	if math.Round(v*10) < 600 {
		return strings.TrimSuffix(fixed(d.s, 1), ".0") + " s"
	}
	v = math.Round(v)
	h, m, s := math.Floor(v/3600), math.Floor(math.Mod(v, 3600)/60), math.Mod(v, 60)
	var parts []string
	for _, p := range []struct {
		v    float64
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.v > 0 {
			parts = append(parts, fixed(p.v, 0)+" "+p.unit)
		}
	}
	return sign + strings.Join(parts, " ")
}

// FormatSpan prints d as a timer shows it: "12:30", "1:12:30", to the second.
func FormatSpan(d Duration) string {
	sign := ""
	v := math.Round(math.Abs(d.s))
	if d.s < 0 && v > 0 {
		sign = "−"
	}
	two := func(x float64) string {
		if x < 10 {
			return "0" + fixed(x, 0)
		}
		return fixed(x, 0)
	}
	h, m, s := math.Floor(v/3600), math.Floor(math.Mod(v, 3600)/60), math.Mod(v, 60)
	if h > 0 {
		return sign + fixed(h, 0) + ":" + two(m) + ":" + two(s)
	}
	return sign + fixed(m, 0) + ":" + two(s)
}

// FormatUncertain prints v with its standard uncertainty u, both to two
// significant digits of u: "54.90 ± 0.34 °C". Without a positive, finite u it
// prints v to six significant digits.
//
// Two digits are the most that JCGM 100:2008 (GUM), clause 7.2.6, asks for.
func FormatUncertain(v, u float64, unit string) string {
	if unit != "" {
		unit = " " + unit
	}
	if !(u > 0) || math.IsInf(u, 0) {
		return strings.Replace(strconv.FormatFloat(v, 'g', 6, 64), "-", "−", 1) + unit
	}
	d := Decimals(u)
	return fixed(v, d) + " ± " + fixed(u, d) + unit
}

// Decimals is the number of decimals that keeps two significant digits of u;
// negative when digits before the point are to be rounded away. It comes from
// the printed form of u, so that 0.0996 (printed 0.10) has two.
func Decimals(u float64) int {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0
	}
	text := strconv.FormatFloat(u, 'e', 1, 64)
	_, exp, _ := strings.Cut(text, "e")
	n, _ := strconv.Atoi(exp)
	return 1 - n
}

// fixed prints v with d decimals, a true minus sign and no negative zero.
func fixed(v float64, d int) string {
	if d < 0 {
		p := math.Pow10(-d)
		v, d = math.Round(v/p)*p, 0
	}
	text := strconv.FormatFloat(v, 'f', d, 64)
	rest, negative := strings.CutPrefix(text, "-")
	if !negative {
		return text
	}
	if strings.Trim(rest, "0.") == "" {
		return rest
	}
	return "−" + rest
}

// String prints the temperature in °C.
func (t Temperature) String() string { return FormatTemperature(t, Metric) }

// String prints the difference in °C with its sign.
func (d Difference) String() string { return FormatDifference(d, Metric) }

// String prints the length in millimetres.
func (l Length) String() string { return FormatLength(l, Metric) }

// String prints the mass in grams or kilograms.
func (m Mass) String() string { return FormatMass(m, Metric) }

// String prints the span as "12 min 30 s".
func (d Duration) String() string { return FormatDuration(d) }

// String prints the margin as it was written.
func (m Margin) String() string { return m.Text }

// String prints the amount as it was written.
func (a Amount) String() string { return a.Text }

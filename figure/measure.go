package figure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is how a number is converted and printed.
type Kind uint8

// Kinds of number a figure shows, with the unit its inputs are in.
const (
	Number      Kind = iota // in Measure.Unit
	Percent                 // %
	Points                  // percentage points: a difference of Percent
	Temperature             // °C
	Difference              // K: a difference of Temperature, without the 32 of °F
	Duration                // s, printed m:ss
	LogRatio                // natural log of a ratio, printed as a change in %
)

// Degrees is the temperature scale a figure shows.
type Degrees uint8

// Scales. Both shows °C, with °F on a second axis where there is room.
const (
	Celsius Degrees = iota
	Fahrenheit
	Both
)

// Measure says what the numbers on an axis are.
type Measure struct {
	Name    string // e.g. "cooking loss"
	Kind    Kind
	Unit    string // of a Number, e.g. "g", "N"; "" for a bare count
	Degrees Degrees
}

// MeasureOf is the measure of a response's values by the unit they are
// reported in: %, °C, K and s have kinds of their own.
func MeasureOf(name, unit string, d Degrees) Measure {
	m := Measure{Name: name, Unit: unit, Degrees: d}
	switch unit {
	case "%":
		m.Kind = Percent
	case "°C":
		m.Kind = Temperature
	case "K":
		m.Kind = Difference
	case "s":
		m.Kind = Duration
	}
	return m
}

// Delta returns the measure of a difference of two values of m.
func (m Measure) Delta() Measure {
	switch m.Kind {
	case Percent:
		m.Kind = Points
	case Temperature:
		m.Kind = Difference
	}
	return m
}

// Shown converts a value to the number that is printed: 63 °C to 145.4 on a
// Fahrenheit scale, a difference of 10 K to 18.
func (m Measure) Shown(v float64) float64 {
	switch {
	case m.Kind == Temperature && m.Degrees == Fahrenheit:
		return v*9/5 + 32
	case m.Kind == Difference && m.Degrees == Fahrenheit:
		return v * 9 / 5
	case m.Kind == LogRatio:
		return 100 * math.Expm1(v)
	}
	return v
}

// held is the inverse of Shown.
func (m Measure) held(v float64) float64 {
	switch {
	case m.Kind == Temperature && m.Degrees == Fahrenheit:
		return (v - 32) * 5 / 9
	case m.Kind == Difference && m.Degrees == Fahrenheit:
		return v * 5 / 9
	case m.Kind == LogRatio:
		return math.Log1p(v / 100)
	}
	return v
}

// UnitShown returns the unit printed after a number; "" for a bare count.
func (m Measure) UnitShown() string {
	switch m.Kind {
	case Percent, LogRatio:
		return "%"
	case Points:
		return "points"
	case Temperature, Difference:
		if m.Degrees == Fahrenheit {
			return "°F"
		}
		return "°C"
	case Duration:
		return "min"
	}
	return m.Unit
}

// Heading returns the title of an axis: "cooking loss, %".
func (m Measure) Heading() string {
	u := m.UnitShown()
	if m.Kind == Duration {
		u = "min:s"
	}
	switch {
	case u == "":
		return m.Name
	case m.Name == "":
		return u
	}
	return m.Name + ", " + u
}

// Text prints a value with its unit to the given decimals, which may be
// negative; a value that is not finite prints as "–".
func (m Measure) Text(v float64, decimals int) string { return m.text(v, decimals, false) }

// Signed prints like Text with a sign in front, for differences.
func (m Measure) Signed(v float64, decimals int) string { return m.text(v, decimals, true) }

func (m Measure) text(v float64, decimals int, sign bool) string {
	n := m.number(v, decimals, sign)
	if n == "–" {
		return n
	}
	return n + m.suffix(v)
}

// suffix is the unit after a number, by a no-break space; hours for a long
// duration.
func (m Measure) suffix(v float64) string {
	u := m.UnitShown()
	if m.Kind == Duration && math.Abs(v) >= 3600 {
		u = "h"
	}
	if u == "" {
		return ""
	}
	return "\u00a0" + u
}

// number prints without the unit.
func (m Measure) number(v float64, decimals int, sign bool) string {
	if !finite(v) {
		return "–"
	}
	if m.Kind == Duration {
		return clock(v, decimals, sign)
	}
	return decimal(m.Shown(v), decimals, sign)
}

// Range prints an interval with one unit: "4.5 to 6.0 points".
func (m Measure) Range(lo, hi float64, decimals int) string { return m.span(lo, hi, decimals, false) }

// SignedRange prints an interval of differences: "−0.4 to +1.9 points".
func (m Measure) SignedRange(lo, hi float64, decimals int) string {
	return m.span(lo, hi, decimals, true)
}

func (m Measure) span(lo, hi float64, decimals int, sign bool) string {
	switch {
	case !finite(lo) && !finite(hi):
		return "no limits"
	case !finite(lo):
		return "below " + m.text(hi, decimals, sign)
	case !finite(hi):
		return "above " + m.text(lo, decimals, sign)
	}
	far := math.Max(math.Abs(lo), math.Abs(hi))
	return m.number(lo, decimals, sign) + " to " + m.number(hi, decimals, sign) + m.suffix(far)
}

// PlusMinus prints a value with its standard uncertainty, both to two digits
// of it: "24.31 ± 0.16 %". Without an uncertainty it prints one decimal.
func (m Measure) PlusMinus(v, u float64) string {
	if !finite(v) {
		return "–"
	}
	return m.PlusMinusBare(v, u) + m.suffix(v)
}

// PlusMinusBare prints like PlusMinus without the unit, for a column whose
// heading gives it. A line may break before the ±, not after it.
func (m Measure) PlusMinusBare(v, u float64) string {
	if !finite(v) {
		return "–"
	}
	known := u > 0 && finite(u)
	switch {
	case m.Kind == Duration && known:
		d := min(m.Decimals(v, u), 1)
		return clock(v, d, false) + " ±\u00a0" + clock(u, d, false)
	case m.Kind == Duration:
		return clock(v, 0, false)
	case known:
		d := m.Decimals(v, u)
		return m.number(v, d, false) + " ±\u00a0" + decimal(math.Abs(m.Shown(v+u)-m.Shown(v-u))/2, d, false)
	}
	return m.number(v, 1, false)
}

// Decimals returns the decimals that leave two digits of an uncertainty u
// given in the inputs' unit near the value at; negative counts tens. It is 1
// when u is 0 or unknown.
func (m Measure) Decimals(at, u float64) int {
	shown := math.Abs(m.Shown(at+u)-m.Shown(at-u)) / 2
	if m.Kind == Duration {
		shown = u
	}
	return DecimalsFor(shown)
}

// DecimalsFor returns the decimals that leave two digits of an uncertainty.
// The threshold is the printed form, so that 0.0996 counts as 0.10.
func DecimalsFor(u float64) int {
	u = math.Abs(u)
	if u == 0 || !finite(u) {
		return 1
	}
	_, exp, _ := strings.Cut(strconv.FormatFloat(u, 'e', 1, 64), "e")
	e, _ := strconv.Atoi(exp)
	return 1 - e
}

// decimal prints with a true minus sign; never "−0".
func decimal(v float64, decimals int, sign bool) string {
	if !finite(v) {
		return "–"
	}
	if math.Abs(v) >= huge || decimals > finest && v != 0 {
		return power10(v, sign)
	}
	if decimals < 0 {
		p := math.Pow(10, float64(-decimals))
		v, decimals = math.Round(v/p)*p, 0
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', min(decimals, finest), 64)
	zero := strings.Trim(s, "0.") == ""
	switch {
	case zero:
		return s
	case v < 0:
		return "−" + s
	case sign:
		return "+" + s
	}
	return s
}

// Beyond huge, or with more decimals than finest, digits stop helping and
// numbers print as 1.2e12.
const (
	huge   = 1e9
	finest = 6
)

func power10(v float64, sign bool) string {
	s := strings.NewReplacer("e+", "e", "e-", "e−").Replace(strconv.FormatFloat(math.Abs(v), 'e', 1, 64))
	switch {
	case v < 0:
		return "−" + s
	case sign:
		return "+" + s
	}
	return s
}

// clock prints seconds as m:ss, or h:mm:ss from an hour on.
func clock(seconds float64, decimals int, sign bool) string {
	if math.Abs(seconds) >= huge {
		return power10(seconds, sign)
	}
	p := math.Pow(10, float64(max(0, min(decimals, 3))))
	if decimals < 0 {
		p = math.Pow(10, float64(decimals))
	}
	abs := math.Round(math.Abs(seconds)*p) / p
	whole := math.Floor(abs)
	frac := ""
	if decimals > 0 {
		frac = strconv.FormatFloat(abs-whole, 'f', min(decimals, 3), 64)[1:]
	}
	s := int64(whole)
	out := fmt.Sprintf("%d:%02d", s/60, s%60)
	if s >= 3600 {
		out = fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	out += frac
	switch {
	case abs == 0:
	case seconds < 0:
		out = "−" + out
	case sign:
		out = "+" + out
	}
	return out
}

package web

import (
	"math"
	"strconv"

	"trivet/quantity"
)

// What follows writes amounts in one person's units. What is typed may carry
// any unit, whoever reads it: a bare number is taken in that person's.

func (u units) degrees() string {
	if u.Fahrenheit {
		return "°F"
	}
	return "°C"
}

func (u units) lengthUnit() string {
	if u.Inch {
		return "in"
	}
	return "mm"
}

// length writes a length to a tenth of a millimetre or a hundredth of an inch.
func (u units) length(m float64) string {
	if u.Inch {
		return quantity.FormatLength(quantity.Metres(m), quantity.Customary)
	}
	return quantity.FormatLength(quantity.Metres(m), quantity.Metric)
}

// bare is the unit of a bare number typed for a reading in some unit: the
// person's own for temperatures and lengths, the reading's for the rest.
func (u units) bare(unit string) string {
	switch unit {
	case "°C", "°F":
		return u.degrees()
	case "mm", "in":
		return u.lengthUnit()
	}
	return unit
}

// shown is a value of some unit in the unit a person reads.
func (u units) shown(v float64, unit string) (float64, string) {
	switch to := u.bare(unit); {
	case to == unit:
		return v, unit
	case to == "°F":
		return v*1.8 + 32, to
	case to == "°C":
		return (v - 32) / 1.8, to
	case to == "in":
		return v / 25.4, to
	default:
		return v * 25.4, to
	}
}

// shownWidth is a difference of two values of some unit in the unit a person
// reads.
func (u units) shownWidth(v float64, unit string) (float64, string) {
	at, to := u.shown(v, unit)
	zero, _ := u.shown(0, unit)
	return at - zero, to
}

// exactly writes a number with all the digits it was typed with, whatever
// conversion it went through.
func exactly(v float64) string { return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64) }

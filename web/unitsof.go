package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

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

// written is an amount that somebody wrote, in the person's own unit: as it
// was written where it is in that unit already, is no temperature or length,
// or cannot be read.
func (u units) written(kind quantity.Kind, text string) string {
	parse := quantity.Parse
	if kind != "" {
		parse = func(s string) (quantity.Amount, error) { return quantity.ParseAmount(kind, s) }
	}
	a, err := parse(text)
	if err != nil {
		return text
	}
	own := quantity.Metric
	var value, pm string
	switch a.Kind {
	case quantity.KindTemperature, quantity.KindDifference:
		if strings.Contains(text, "F") == u.Fahrenheit {
			return text
		}
		if u.Fahrenheit {
			own = quantity.Customary
		}
		value, pm = quantity.FormatTemperature(quantity.Celsius(a.Value), own), quantity.FormatDifference(quantity.Kelvins(a.Pm), own)
		if a.Kind == quantity.KindDifference {
			value = quantity.FormatDifference(quantity.Kelvins(a.Value), own)
		}
	case quantity.KindLength:
		if slices.Contains([]string{"mm", "cm", "m"}, a.Unit) != u.Inch {
			return text
		}
		if u.Inch {
			own = quantity.Customary
		}
		value, pm = quantity.FormatLength(quantity.Metres(a.Value), own), quantity.FormatLength(quantity.Metres(a.Pm), own)
	default:
		return text
	}
	if a.HasPm {
		value += " ± " + strings.TrimPrefix(pm, "+")
	}
	return strings.ReplaceAll(value, ".0 ", " ")
}

// margin is a question's margin in the person's unit, without the sign that
// marks a difference.
func (u units) margin(m quantity.Margin) string {
	if m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindDifference {
		return strings.TrimPrefix(u.written(m.Kind, m.Text), "+")
	}
	if m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindLength {
		return u.written(m.Kind, m.Text)
	}
	return strings.TrimPrefix(m.Text, "+")
}

// width writes how wide a value of some unit scatters: temperatures as a
// difference.
func (u units) width(v float64, unit string) string {
	if unit == "°C" || unit == "K" {
		if u.Fahrenheit {
			return fmt.Sprintf("%.2g °F", 1.8*v)
		}
		unit = "K"
	}
	return strings.TrimSpace(fmt.Sprintf("%.2g %s", v, unit))
}

// exactly writes a number with all the digits it was typed with, whatever
// conversion it went through.
func exactly(v float64) string { return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64) }

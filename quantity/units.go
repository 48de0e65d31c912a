package quantity

import (
	"math"
	"strings"
)

// unit is a unit this package converts: the kind it measures and its size
// in the SI unit of that kind. For temperatures size is the size of one
// degree in K and zero is where the scale's zero stands in °C.
type unit struct {
	name string // as printed in messages
	kind Kind
	size float64
	zero float64
}

// The exact sizes of the inch (0.0254 m) and the pound (0.45359237 kg) and
// the Fahrenheit relation t/°C = (t/°F − 32)/1.8 are those of NIST Special
// Publication 811 (2008 edition), appendix B.8.
var (
	degC    = unit{"°C", KindTemperature, 1, 0}
	degF    = unit{"°F", KindTemperature, 1 / 1.8, -32 / 1.8}
	kelvin  = unit{"K", KindTemperature, 1, -273.15}
	micron  = unit{"µm", KindLength, 1e-6, 0}
	mm      = unit{"mm", KindLength, 1e-3, 0}
	cm      = unit{"cm", KindLength, 1e-2, 0}
	metre   = unit{"m", KindLength, 1, 0}
	inch    = unit{"in", KindLength, 0.0254, 0}
	foot    = unit{"ft", KindLength, 0.3048, 0}
	mg      = unit{"mg", KindMass, 1e-6, 0}
	gram    = unit{"g", KindMass, 1e-3, 0}
	kg      = unit{"kg", KindMass, 1, 0}
	ounce   = unit{"oz", KindMass, 0.45359237 / 16, 0}
	pound   = unit{"lb", KindMass, 0.45359237, 0}
	millis  = unit{"ms", KindDuration, 1e-3, 0}
	second  = unit{"s", KindDuration, 1, 0}
	minute  = unit{"min", KindDuration, 60, 0}
	hour    = unit{"h", KindDuration, 3600, 0}
	day     = unit{"d", KindDuration, 86400, 0}
	percent = unit{"%", KindPercent, 1, 0}
	points  = unit{"points", KindPoints, 1, 0}
)

// spellings are the ways a cook writes each unit. A spelling of two letters
// or more is also found in any mix of capitals.
var spellings = map[string]unit{
	"°C": degC, "C": degC, "c": degC, "degC": degC, "deg C": degC, "Cel": degC, "℃": degC, "° C": degC,
	"celsius": degC, "degrees C": degC, "degrees celsius": degC, "degree celsius": degC,
	"°F": degF, "F": degF, "f": degF, "degF": degF, "deg F": degF, "[degF]": degF, "℉": degF, "° F": degF,
	"fahrenheit": degF, "degrees F": degF, "degrees fahrenheit": degF, "degree fahrenheit": degF,
	"K": kelvin, "kelvin": kelvin, "kelvins": kelvin,

	"µm": micron, "μm": micron, "um": micron,
	"mm": mm, "cm": cm, "m": metre, "metre": metre, "metres": metre, "meter": metre, "meters": metre,
	"millimetre": mm, "millimetres": mm, "millimeter": mm, "millimeters": mm,
	"centimetre": cm, "centimetres": cm, "centimeter": cm, "centimeters": cm,
	"in": inch, "inch": inch, "inches": inch, `"`: inch, "″": inch, "”": inch, "''": inch,
	"ft": foot, "foot": foot, "feet": foot, "'": foot, "′": foot, "’": foot,

	"mg": mg, "g": gram, "gram": gram, "grams": gram, "gr": gram, "gramme": gram, "grammes": gram,
	"kg": kg, "kilo": kg, "kilos": kg, "kilogram": kg, "kilograms": kg,
	"oz": ounce, "ounce": ounce, "ounces": ounce,
	"lb": pound, "lbs": pound, "pound": pound, "pounds": pound,

	"ms": millis, "s": second, "sec": second, "secs": second, "second": second, "seconds": second,
	"min": minute, "mins": minute, "minute": minute, "minutes": minute,
	"h": hour, "hr": hour, "hrs": hour, "hour": hour, "hours": hour,
	"d": day, "day": day, "days": day,

	"%": percent, "percent": percent, "per cent": percent,
	"points": points, "point": points, "pp": points, "pts": points,
	"percentage points": points, "percentage point": points, "% points": points,
}

// folded finds a spelling whatever its capitals.
var folded = func() map[string]unit {
	m := make(map[string]unit, len(spellings))
	for s, u := range spellings {
		if len([]rune(s)) > 1 {
			m[strings.ToLower(s)] = u
		}
	}
	return m
}()

// lookup finds the unit spelt s; a full stop after an abbreviation is
// allowed ("in.").
func lookup(s string) (unit, bool) {
	s = strings.TrimSuffix(s, ".")
	if u, ok := spellings[s]; ok {
		return u, true
	}
	if len([]rune(s)) > 1 {
		u, ok := folded[strings.ToLower(s)]
		return u, ok
	}
	return unit{}, false
}

// si converts v of the unit to the SI unit of its kind: °C for a
// temperature. A subtraction before the division keeps round Fahrenheit
// figures exact.
func (u unit) si(v float64) float64 {
	switch u {
	case degF:
		return (v - 32) / 1.8
	case kelvin:
		return v - 273.15
	}
	return u.span(v)
}

// span converts a difference of v units to the SI unit of its kind: the
// zero of a temperature scale plays no part.
func (u unit) span(v float64) float64 {
	switch u {
	case degF:
		return v / 1.8
	case mm, gram, millis: // a division rounds once where 1e-3 would round twice
		return v / 1e3
	case cm:
		return v / 1e2
	case micron, mg:
		return v / 1e6
	case inch:
		return v * 254 / 1e4
	}
	return v * u.size
}

// absoluteZeroC is absolute zero in °C.
const absoluteZeroC = -273.15

// finite tells whether v is a number one can calculate with.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// wants says, for a message, how an amount of the kind is written.
func wants(k Kind) string {
	switch k {
	case KindTemperature:
		return `write it with its unit, such as "163 °C" or "325 °F"`
	case KindDifference:
		return `write it with its unit and a sign, such as "+10 °F" or "+5 °C", or in kelvins, "5 K"`
	case KindLength:
		return `write it with its unit, such as "38 mm" or "1 1/2 in"`
	case KindMass:
		return `write it with its unit, such as "450 g" or "2 lb 3 oz"`
	case KindDuration:
		return `write it with its unit, such as "12 min 30 s" or "12:30" (minutes and seconds)`
	case KindPercent:
		return `write it with its sign, such as "30 %"`
	case KindPoints:
		return `write it in percentage points, such as "2 points"`
	case KindNumber:
		return "write the number alone"
	}
	return `write a number and its unit, such as "4.2 N"`
}

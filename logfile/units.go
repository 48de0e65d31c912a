package logfile

import (
	"strings"

	"trivet/trace"
)

// cellUnit is a unit as found behind a number or in a header.
type cellUnit string

// Units of a log and what they are kept as: the trace unit and the factor
// from the written unit to it.
var unitsKept = map[cellUnit]struct {
	unit   trace.Unit
	factor float64
}{
	"degC": {trace.DegC, 1}, "degF": {trace.DegF, 1}, "K": {trace.Kelvin, 1},
	"g": {trace.Gram, 1}, "kg": {trace.Gram, 1000}, "oz": {trace.Ounce, 1}, "lb": {trace.Ounce, 16},
	"pct": {trace.Percent, 1}, "W": {trace.Watt, 1},
}

var unitNames = map[string]cellUnit{
	"°c": "degC", "c": "degC", "degc": "degC", "deg c": "degC", "℃": "degC", "ºc": "degC", "cel": "degC", "celsius": "degC", "° c": "degC",
	"°f": "degF", "f": "degF", "degf": "degF", "deg f": "degF", "℉": "degF", "ºf": "degF", "[degf]": "degF", "fahrenheit": "degF", "° f": "degF",
	"k": "K", "kelvin": "K",
	"g": "g", "gram": "g", "grams": "g", "kg": "kg", "oz": "oz", "lb": "lb", "lbs": "lb",
	"%": "pct", "pct": "pct", "percent": "pct", "%rh": "pct", "w": "W", "watt": "W", "watts": "W",
}

// timeUnits are time units as headers write them.
var timeUnits = map[string]TimeForm{
	"s": Seconds, "sec": Seconds, "secs": Seconds, "second": Seconds, "seconds": Seconds, "sek": Seconds,
	"ms": Milliseconds, "msec": Milliseconds, "millis": Milliseconds, "milliseconds": Milliseconds,
	"us": Microseconds, "µs": Microseconds, "μs": Microseconds, "microseconds": Microseconds,
	"min": Minutes, "mins": Minutes, "minute": Minutes, "minutes": Minutes,
	"h": Hours, "hr": Hours, "hrs": Hours, "hour": Hours, "hours": Hours,
	"d": DayFraction, "day": DayFraction, "days": DayFraction,
}

// splitUnit cuts a known unit from behind a number: "62.8 °C" gives "62.8"
// and degC. The unit is empty where there is none.
func splitUnit(cell []byte) (bare []byte, unit cellUnit) {
	end := len(cell)
	for end > 0 && (cell[end-1] < '0' || cell[end-1] > '9') && cell[end-1] != '.' {
		end--
	}
	if end == 0 || end == len(cell) || len(cell)-end > 16 {
		return cell, ""
	}
	name := strings.ToLower(strings.Trim(toUTF8(cell[end:]), " \u00a0\t"))
	return cell[:end], unitNames[name]
}

// decimalsOf is the decimals that tell v.
func decimalsOf(v float64) int { return trace.Decimals([]float64{v}) }

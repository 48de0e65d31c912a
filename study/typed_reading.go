package study

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/quantity"
)

// TypedReading reads what a person types in for one reading of a cook: one
// value, or the repeats inside the piece between semicolons or on lines of
// their own. A value may carry its unit, and "±" and a standard uncertainty.
// One in another unit of the same kind is converted to the reading's: "142 °F"
// for a reading in °C. bare is the unit of values written without one, "" for
// the reading's own. Errors are those of the study document for a reading.
func TypedReading(def ReadingDef, text, bare string) (Reading, error) {
	r := Reading{Response: def.ID, Kind: def.Kind, Unit: def.Unit, Grades: def.Scale}
	p := &parser{reader: &reader{}}
	for _, part := range strings.FieldsFunc(text, func(c rune) bool { return c == ';' || c == '\n' }) {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		if r.Kind == Number {
			part = convertedTo(part, def.Unit, bare)
		}
		node, err := parseTree("", []byte(strconv.Quote(part)))
		if err != nil {
			return r, err
		}
		p.value(node, def.ID, &r)
	}
	if len(p.errs) > 0 {
		e := *p.errs[0]
		e.Line, e.Column, e.Field = 0, 0, ""
		return r, &e
	}
	if len(r.Values) == 0 {
		return r, fault.New("missing-value", "this reading has no value").On("value", text).WithFix("write what was read")
	}
	if v, out := def.outside(r.Values); out {
		return r, fault.New("outside-limits", "a value beyond the limits of this reading").On("value", strings.TrimSpace(exact(v)+" "+def.Unit)).
			WithFix("check the value; it is declared to be %s", def.limitsText())
	}
	return r, nil
}

var bareNumber = regexp.MustCompile(`^[+−-]?[0-9.,]+$`)

// convertedTo rewrites an amount in a unit of its own kind; anything else stays
// as it is, for the parser to judge.
func convertedTo(text, unit, bare string) string {
	if bareNumber.MatchString(text) && bare != "" {
		text += " " + bare
	}
	got, err := quantity.Parse(text)
	zero, errZero := quantity.Parse("0 " + unit)
	one, errOne := quantity.Parse("1 " + unit)
	if err != nil || errZero != nil || errOne != nil || got.Kind != one.Kind {
		return text
	}
	step := one.Value - zero.Value
	write := func(v float64) string { return strconv.FormatFloat(round12(v), 'f', -1, 64) }
	out := write((got.Value-zero.Value)/step) + " " + unit
	if got.HasPm {
		out += " ± " + write(math.Abs(got.Pm/step)) + " " + unit
	}
	return out
}

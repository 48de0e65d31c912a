package figure

import (
	"strconv"
	"unicode"
	"unicode/utf8"
)

// cell prints a number for a table to ten digits; empty when there is none.
func cell(v float64) string {
	if !finite(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 10, 64)
}

// cell prints a value in the unit shown; durations in seconds.
func (m Measure) cell(v float64) string {
	if m.Kind == Duration {
		return cell(v)
	}
	return cell(m.Shown(v))
}

// joinUnit names a table column with its unit.
func joinUnit(name string, m Measure) string {
	u := m.UnitShown()
	if m.Kind == Duration {
		u = "s"
	}
	if u == "" {
		return name
	}
	return name + ", " + u
}

// plural prints a count with its noun.
func plural(n int, noun string) string {
	s := strconv.Itoa(n) + " " + noun
	if n != 1 {
		s += "s"
	}
	return s
}

// capital starts a sentence.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

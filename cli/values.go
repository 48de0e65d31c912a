package cli

import (
	"fmt"
	"math"
	"strings"

	"trivet/measure"
)

// value prints a response with its expanded uncertainty in the person's
// units, rounded to two digits of it.
func (e *Env) value(r measure.Response) string {
	if e.Fahrenheit() {
		switch r.Unit {
		case "°C":
			r.Value, r.StdU, r.Unit = r.Value*1.8+32, r.StdU*1.8, "°F"
		case "K":
			r.Value, r.StdU, r.Unit = r.Value*1.8, r.StdU*1.8, "°F"
		case "K/min":
			r.Value, r.StdU, r.Unit = r.Value*1.8, r.StdU*1.8, "°F/min"
		}
	}
	s := r.Format()
	if r.Repeats > 1 {
		s += fmt.Sprintf("  (mean of %d inside the piece, SD %.2g)", r.Repeats, r.SpreadSD)
	}
	return strings.TrimSpace(s)
}

func budgetLine(r measure.Response, s measure.BudgetLine) string {
	out := fmt.Sprintf("%.2g %s, type %s, %.0f %% of the variance", s.StdU, r.Unit, s.Type, 100*s.Share)
	if !math.IsInf(s.Nu, 1) {
		out += fmt.Sprintf(", %.0f degrees of freedom", s.Nu)
	}
	return out
}

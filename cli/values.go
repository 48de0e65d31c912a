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

// budgetLine prints a source of uncertainty in the person's units.
func (e *Env) budgetLine(r measure.Response, s measure.BudgetLine) string {
	u, unit := s.StdU, r.Unit
	switch {
	case !e.Fahrenheit():
	case unit == "°C" || unit == "K":
		u, unit = 1.8*u, "°F"
	case unit == "K/min":
		u, unit = 1.8*u, "°F/min"
	}
	share := fmt.Sprintf("%.0f %%", 100*s.Share)
	if s.Share > 0 && s.Share < 0.01 {
		share = "under 1 %"
	}
	out := fmt.Sprintf("%.2g %s, type %s, %s of the variance", u, unit, s.Type, share)
	if !math.IsInf(s.Nu, 1) {
		out += fmt.Sprintf(", %.0f degrees of freedom", s.Nu)
	}
	return out
}

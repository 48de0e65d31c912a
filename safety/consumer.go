package safety

import (
	"fmt"
	"strings"
)

// State is what can be said of a logged core against a published figure.
type State string

// The three states. CannotTell is the default: a gap, an expired calibration
// or a probe that missed the coldest point leave it there.
const (
	CannotTell State = "cannot tell"
	NotReached State = "not reached"
	Reached    State = "reached"
)

// Minimum is a published consumer figure: the whole piece at or above
// TempC, followed by RestS seconds of rest.
type Minimum struct {
	Food  string
	TempC float64
	TempF float64
	RestS float64
}

// Describe renders the figure with its source.
func (m Minimum) Describe() string {
	rest := ""
	if m.RestS > 0 {
		rest = fmt.Sprintf(" and a rest of %.0f min", m.RestS/60)
	}
	return fmt.Sprintf("the consumer figure for %s, %.1f °C (%.0f °F)%s (USDA FSIS chart)", m.Food, m.TempC, m.TempF, rest)
}

func fahrenheit(food string, f, restS float64) Minimum {
	return Minimum{Food: food, TempC: (f - 32) / 1.8, TempF: f, RestS: restS}
}

// ConsumerMinimum returns the figure of the USDA FSIS Safe Minimum Internal
// Temperature Chart for an animal and a form (see [Facts]); false when the
// chart has no row for it, and then nothing may be said.
//
// Tenderised, injected and stuffed pieces are not plainly intact: the ground
// or poultry row is used, the higher one.
func ConsumerMinimum(animal, form string) (Minimum, bool) {
	switch strings.ToLower(form) {
	case "stuffed":
		return fahrenheit("stuffed food", 165, 0), true
	}
	notIntact := form == "ground" || form == "tenderised" || form == "injected"
	switch strings.ToLower(animal) {
	case "chicken", "turkey", "duck", "poultry":
		return fahrenheit("poultry", 165, 0), true
	case "beef", "pork", "lamb", "veal":
		if notIntact {
			return fahrenheit("ground or non-intact meat", 160, 0), true
		}
		return fahrenheit("whole cuts of "+strings.ToLower(animal), 145, 3*60), true
	case "egg":
		return fahrenheit("eggs", 160, 0), true
	case "fish", "shellfish":
		return fahrenheit("fish and shellfish", 145, 0), true
	}
	return Minimum{}, false
}

// Judge compares the coldest logged core with a consumer figure. coldestPeakC
// is the highest temperature the coldest estimated point reached, uC its
// expanded uncertainty (k = 2); known is false when a gap, an unchecked
// sensor or a probe off the centre leaves the coldest point unknown. It is
// reached only when the temperature less its uncertainty is at the figure.
func Judge(m Minimum, coldestPeakC, uC float64, known bool) State {
	switch {
	case coldestPeakC+uC < m.TempC:
		return NotReached // even the hopeful reading is below it
	case !known:
		return CannotTell
	case coldestPeakC-uC >= m.TempC:
		return Reached
	}
	return CannotTell
}

package measure_test

import (
	"strings"
	"testing"

	"trivet/measure"
)

func TestResponsesSayWhatTheyWereReadFrom(t *testing.T) {
	for _, tc := range []struct{ name, want string }{
		{"time_to_core(50 °C)", "channel core (core); the mark heat on"},
		{"carryover", "channel core (core); the mark off heat at 16:40; the mark served at 26:40"},
		{"cooking_loss", "the weighing raw, 250 g; the weighing off the heat, 225 g"},
		{"total_loss", "the weighing raw, 250 g; the weighing after the rest, 215 g"},
		{"pan_mean", "channel pan (pan); the mark off heat at 16:40; the mark heat on"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			res, err := measure.Cook(cook(), tc.name)
			if err != nil {
				t.Fatal(err)
			}
			r, _ := res.Get(tc.name)
			if got := strings.Join(r.ReadFrom(), "; "); got != tc.want {
				t.Errorf("read from %q, want %q", got, tc.want)
			}
		})
	}
}

// A response read from the fitted profile names all sensors of the fit, also
// when another response made the fit before it.
func TestReadFromTheFitNamesItsSensors(t *testing.T) {
	res, err := measure.Cook(straightCook(), "core_at_pull", "even_share")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range res.Responses {
		if got := strings.Join(r.ReadFrom(), "; "); !strings.Contains(got, "a (depth), b (depth)") || !strings.Contains(got, "i (depth)") {
			t.Errorf("%s was read from %q", r.Name, got)
		}
	}
}

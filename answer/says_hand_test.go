package answer_test

import (
	"testing"

	"trivet/answer"
)

func TestAResponseInWords(t *testing.T) {
	for id, want := range map[string]string{
		"cooking_loss":            "cooking loss",
		"time_to_core(60 °C)":     "time to core (60 °C)",
		"core_by_hand_rested":     "core by hand, after the rest",
		"surface_by_hand_served":  "surface by hand, at serving",
		"pan_by_hand_off-heat":    "pan by hand, off the heat",
		"turned_by_hand_somewhen": "turned by hand somewhen",
	} {
		if got := (answer.Words{}).Response(id); got != want {
			t.Errorf("%s is called %q, want %q", id, got, want)
		}
	}
}

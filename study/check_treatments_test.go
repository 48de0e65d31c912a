package study

import (
	"slices"
	"testing"
)

// Two cook files with the same legs in another order differ in the order and
// in what changed inside a leg, not in everything leg by leg.
func TestLegsInAnotherOrderAreComparedByName(t *testing.T) {
	leg := func(name string, end float64) any { return tree{"name": name, "ends_when": tree{"core_c": end}} }
	a := tree{"legs": []any{leg("sear", 40), leg("oven", 61.5), leg("rest", 0)}}
	b := tree{"legs": []any{leg("oven", 52.5), leg("sear", 40), leg("rest", 0)}}
	var got []string
	differences("", a, b, &got)
	if len(got) != 2 || got[0] != "order of legs" {
		t.Errorf("differences: %q", got)
	}
	// Without a change of order nothing is said of it.
	got = nil
	differences("", a, tree{"legs": []any{leg("sear", 41), leg("oven", 61.5), leg("rest", 0)}}, &got)
	if len(got) != 1 || slices.Contains(got, "order of legs") {
		t.Errorf("differences: %q", got)
	}
}

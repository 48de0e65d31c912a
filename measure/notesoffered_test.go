package measure

import (
	"slices"
	"strings"
	"testing"

	"trivet/study"
)

// What a note names already is not offered again beside it; a note of
// something else, or of the same far from it, takes nothing away.
func TestWhatANoteNamesIsNotOfferedAgain(t *testing.T) {
	moved := func(in Input) (at []int64) {
		for _, m := range OfferMarks(in) {
			if m.Kind == study.NoteMark && strings.HasPrefix(m.Note, "moved:") {
				at = append(at, m.AtUS)
			}
		}
		return at
	}
	var in Input
	var offered []int64
	for seed := uint64(1); len(offered) == 0 && seed < 9; seed++ {
		c := searedCook(t, "first", seed)
		in = c.input(c.probe(0.1, seed, true))
		offered = moved(in)
	}
	if len(offered) == 0 {
		t.Fatal("no move from the pan into the oven is offered")
	}
	for _, k := range []struct {
		note   string
		laterS int64
		gone   bool
	}{{"moved: to the pan", 3, true}, {"moved: to the pan", 90, false}, {"phone rang: 2 min", 3, false}, {"moved", 3, false}} {
		noted := in
		noted.Cook.Marks = append(slices.Clone(in.Cook.Marks), study.Mark{Kind: study.NoteMark, Note: k.note, AtUS: offered[0] + k.laterS*1e6})
		if got := !slices.Contains(moved(noted), offered[0]); got != k.gone {
			t.Errorf("with the note %q %d s later: taken away %v", k.note, k.laterS, got)
		}
	}
}

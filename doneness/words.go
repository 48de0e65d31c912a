package doneness

import "strings"

// Stage is how far a change has come.
type Stage int

// Stages. The limits 6.5 % and 93 % are those at which myoglobin looks rare
// and well done (Geileskey et al. 1998); for the other proteins they are
// chosen alike. Browning has its own, see [BrowningStageOf].
const (
	NotYet Stage = iota // below 6.5 %
	Begun               // 6.5–50 %
	Mostly              // 50–93 %
	Done                // 93 % and more
)

// StageOf returns the stage of a share 0–1.
func StageOf(share float64) Stage {
	switch {
	case share >= 0.93:
		return Done
	case share >= 0.5:
		return Mostly
	case share >= 0.065:
		return Begun
	}
	return NotYet
}

// BrowningStageOf returns the stage of browning by its colour difference
// [State.BrowningDeltaE], for of a crust the eye sees a small share already.
// Below 2.3 nobody sees a difference (just noticeable, Mahy, Van Eycken &
// Oosterlinck 1994, Color Res. Appl. 19:105; value from memory). The limits 10
// and 25 are chosen: bread crust passes them after two minutes at 180 and
// 213 °C.
func BrowningStageOf(deltaE float64) Stage {
	switch {
	case deltaE >= 25:
		return Done
	case deltaE >= 10:
		return Mostly
	case deltaE >= 2.3:
		return Begun
	}
	return NotYet
}

// BrowningCaution stands beside every browning said of a food.
const BrowningCaution = "Browning goes by the rate of bread crust; meat can brown sooner."

// Change is one change as it is shown: in words of eating, with the protein
// in the note.
type Change struct {
	ID     string  // firmed | tightened | juice-pressed-out | pink-gone | browned
	Says   string  // as shown, e.g. "mostly firmed"
	Share  float64 // 0–1
	Stage  Stage
	Note   string // which protein, what it does
	Source string
}

var phrases = map[string][4]string{
	"firmed":            {"still soft", "starting to firm", "mostly firmed", "firmed"},
	"tightened":         {"not tightened", "starting to tighten", "mostly tightened", "tightened"},
	"juice-pressed-out": {"juice held", "juice starting to be pressed out", "much juice pressed out", "juice pressed out"},
	"pink-gone":         {"raw colour", "pink", "pink fading", "pink gone"},
	"browned":           {"not visibly browned", "lightly browned", "browned", "darkly browned"},
}

// Changes returns the changes of a state, in the order in which heat brings
// them.
func (m Model) Changes(s State) []Change {
	of := func(id string, dose float64, st Stage, r Reaction, note string) Change {
		return Change{ID: id, Says: phrases[id][st], Share: Share(dose), Stage: st, Note: note, Source: r.Source}
	}
	one := func(id string, dose float64, r Reaction, note string) Change {
		return of(id, dose, StageOf(Share(dose)), r, note)
	}
	var out []Change
	if m.HasMuscle() {
		out = append(out,
			one("firmed", s.Myosin, m.Myosin, "myosin has unfolded and set: the flesh turns from slippery to firm"),
			one("tightened", s.Collagen, m.Collagen, "collagen has shrunk: the flesh draws together; long heat later turns it to gelatine, which is not modelled"),
			one("juice-pressed-out", s.Actin, m.Actin, "actin has unfolded: the flesh turns tough and lets its juice go"),
			one("pink-gone", s.Myoglobin, m.Myoglobin, "myoglobin has lost its red. "+ColourCaution))
	}
	return append(out, of("browned", s.Browning, BrowningStageOf(s.BrowningDeltaE()), m.Browning,
		"a crust has browned. "+BrowningCaution+" "+ColourCaution))
}

// Words says in one line what a state eats like, browning left out.
func (m Model) Words(s State) string {
	var says []string
	for _, c := range m.Changes(s) {
		if c.ID != "browned" {
			says = append(says, c.Says)
		}
	}
	if len(says) == 0 {
		return "no muscle protein"
	}
	return strings.Join(says, ", ")
}

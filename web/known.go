package web

import (
	"fmt"

	"trivet/answer"
)

// knownNote is the note "How is this known?" at a number: the formula, the
// data it was computed from and where the formula stands.
type knownNote struct{ Formula, Data, Source string }

// known is the note of a kind of number.
func known(kind string) knownNote {
	return knownNote{say("known-" + kind + "-formula"), say("known-" + kind + "-data"), say("known-" + kind + "-source")}
}

// knownFinding is the note of one finding.
func knownFinding(f *answer.Finding) knownNote {
	if f.Tasting != nil {
		n := known("tasting")
		n.Data = say("known-tasting-count", f.Tasting.Correct, f.Tasting.N)
		return n
	}
	n := known("finding")
	if ev := f.Evidence; ev != nil {
		n.Formula = sentenceOf(ev.Method) + " " + n.Formula
		n.Data = say("known-finding-count", count(ev.N, "piece", "pieces"), count(ev.Blocks, "block", "blocks"), fmt.Sprintf("%.4g", ev.Level))
	}
	return n
}

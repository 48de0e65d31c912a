package bench

import (
	"slices"

	"trivet/study"
)

// openSpares are the cooks that spare pieces may become now: each takes the
// place of a void cook of its own block, with that cook's treatment, the one
// that was void first going first.
func openSpares(rec *Record) []study.Cook {
	taken := map[string]bool{}              // pieces that were cooked
	replaced := map[string]map[string]int{} // by block and treatment
	var void []study.Cook
	for _, c := range rec.Cooks {
		taken[c.Piece] = true
		switch c.Role {
		case study.Void:
			void = append(void, c)
		case study.Spare:
			if replaced[c.Block] == nil {
				replaced[c.Block] = map[string]int{}
			}
			replaced[c.Block][c.Treatment]++
		}
	}
	slices.SortStableFunc(void, func(a, b study.Cook) int { return a.VoidedAt.Compare(b.VoidedAt) })
	var out []study.Cook
	for _, v := range void {
		if replaced[v.Block][v.Treatment] > 0 {
			replaced[v.Block][v.Treatment]--
			continue
		}
		for _, p := range rec.Study.Pieces {
			if p.Spare && p.Block == v.Block && !taken[p.Label] {
				taken[p.Label] = true
				out = append(out, study.Cook{Label: p.Label, Block: p.Block, Piece: p.Label, Treatment: v.Treatment, Role: study.Spare})
				break
			}
		}
	}
	return out
}

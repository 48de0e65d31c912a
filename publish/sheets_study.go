package publish

import (
	"trivet/bench"
	"trivet/design"
	"trivet/heat"
	"trivet/safety"
	"trivet/study"
)

// SheetsOf makes the papers of a plan for a study of a notebook: s is its
// document, perhaps with a change that is only tried. Cook files that cannot
// be read leave the steps general; the cautions are those for run sheets.
func SheetsOf(rec *bench.Record, s *study.Study, p *design.Plan, fahrenheit bool) *Sheets {
	cooks := map[string]*heat.Cook{}
	for _, t := range s.Treatments {
		if src, ok := rec.CookFiles[t.Cook]; ok && t.Cook != "" {
			if c, err := heat.ParseCook(t.Cook, src); err == nil {
				cooks[t.ID] = c
			}
		}
	}
	var shown []safety.Caution
	for _, c := range safety.Cautions(bench.SafetyFacts(rec, nil)) {
		if c.ShownAt(safety.OnRunSheet) {
			shown = append(shown, c)
		}
	}
	sh := NewSheets(s, p, cooks, shown, fahrenheit)
	if rec.Seal != nil {
		sh.Sealed = rec.Seal.Hash[:12]
	}
	return sh
}

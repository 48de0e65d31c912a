package bench

import (
	"slices"

	"trivet/study"
)

// keepRecorded joins what the notebook knows of a cook to what a document
// says of it when that document is imported again. base is the cook as the
// document before said it: what the notebook holds beyond base was recorded
// since (a log loaded, a mark or weighing taken at the stove) and stays; what
// base held and doc no longer says was taken out by hand and goes.
func keepRecorded(doc, base, known study.Cook) study.Cook {
	doc.Logs = keepOwn(doc.Logs, base.Logs, known.Logs, func(a, b study.LogRef) bool {
		return a.File == b.File || a.SHA256 != "" && a.SHA256 == b.SHA256
	})
	doc.Marks = keepOwn(doc.Marks, base.Marks, known.Marks, func(a, b study.Mark) bool { return a.ID == b.ID })
	doc.Weighings = keepOwn(doc.Weighings, base.Weighings, known.Weighings, func(a, b study.Weighing) bool { return a.ID == b.ID })
	doc.Readings = keepOwn(doc.Readings, base.Readings, known.Readings, func(a, b study.Reading) bool { return a.ID == b.ID })
	doc.Deviations = keepOwn(doc.Deviations, base.Deviations, known.Deviations, func(a, b study.Deviation) bool { return a == b })
	doc.Photos = known.Photos // no document holds any
	doc.Clocks = known.Clocks // nor corrections of clocks
	if !doc.ZeroSet && !base.ZeroSet {
		doc.ZeroUS, doc.ZeroSet = known.ZeroUS, known.ZeroSet
	}
	if doc.Role == base.Role && known.Role != base.Role {
		doc.Role, doc.VoidRule, doc.VoidWhy, doc.VoidedAt = known.Role, known.VoidRule, known.VoidWhy, known.VoidedAt
	}
	return doc
}

// keepOwn appends to doc what known holds and neither base nor doc does.
func keepOwn[T any](doc, base, known []T, same func(a, b T) bool) []T {
	out := slices.Clip(doc)
	for _, k := range known {
		is := func(x T) bool { return same(x, k) }
		if !slices.ContainsFunc(base, is) && !slices.ContainsFunc(doc, is) {
			out = append(out, k)
		}
	}
	return out
}

// cookOf finds a cook by its label.
func cookOf(cooks []study.Cook, label string) (study.Cook, bool) {
	i := slices.IndexFunc(cooks, func(c study.Cook) bool { return c.Label == label })
	if i < 0 {
		return study.Cook{}, false
	}
	return cooks[i], true
}

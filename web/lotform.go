package web

import (
	"strings"

	"trivet/bench"
	"trivet/study"
)

// Lots say where the food of the pieces came from. Their forms stand on the
// page of the pieces.

func init() {
	documentLists["lots"] = &documentList{
		Name: "lots", One: "lot", Part: "lots", Page: "pieces", NamedBy: "what",
		Fields: []listField{{Key: "what"}, {Key: "bought"}, {Key: "note", Area: true}},
		Find: func(s *study.Study, id string) any {
			return entryWhere(s.Lots, func(x study.Lot) bool { return x.ID == id })
		},
		Says: func(s *study.Study, id string) string {
			for _, x := range s.Lots {
				if x.ID == id {
					return lotSays(s, x)
				}
			}
			return id
		},
		UsedBy: func(rec *bench.Record, id string) string {
			for _, x := range rec.Study.Pieces {
				if x.Lot == id {
					return say("used-piece", x.Label)
				}
			}
			return ""
		},
	}
}

// lotSays is a lot in one line.
func lotSays(s *study.Study, x study.Lot) string {
	var out []string
	if x.What != "" {
		out = append(out, x.What)
	}
	if x.Bought != "" {
		out = append(out, say("lot-bought", x.Bought))
	}
	n := 0
	for _, p := range s.Pieces {
		if p.Lot == x.ID {
			n++
		}
	}
	if n == 0 {
		out = append(out, say("lot-unused"))
	} else {
		out = append(out, say("lot-pieces", count(n, "piece", "pieces")))
	}
	if x.Note != "" {
		out = append(out, x.Note)
	}
	return strings.Join(out, "; ")
}

// lotsView is the part of the pieces' page with the lots.
type lotsView struct {
	Entries []entryForm
	New     form
}

func (b formBuilder) lots() lotsView {
	l := documentLists["lots"]
	var v lotsView
	for _, x := range b.rec.Study.Lots {
		e := entryForm{ID: "lot-" + x.ID, Name: x.ID, Says: lotSays(b.rec.Study, x)}
		e.Form = b.listEntry(l, x.ID, "", say("change-lot", x.ID), "what", "bought", "note")
		e.Remove = b.listRemoval(l, x.ID)
		v.Entries = append(v.Entries, e)
	}
	v.New = b.newEntry(l, "what", "id", "bought", "note")
	return v
}

package web

import (
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// The readings that people type in are declared here: what is read, on which
// scale, and whether it rests on somebody's judgement.

func init() {
	documentLists["readings"] = &documentList{
		Name: "readings", One: "reading", Part: "questions", NamedBy: "what",
		Fields: []listField{
			{Key: "what"},
			{Key: "kind", Default: string(study.Number), Options: []string{string(study.Number), string(study.Count), string(study.YesNo), string(study.Grade)}},
			{Key: "unit"}, {Key: "resolution", As: asNumber}, {Key: "limits", As: asNumbers},
			{Key: "scale", As: asList}, {Key: "judged", As: asYesNo},
		},
		Find: func(s *study.Study, id string) any {
			return entryWhere(s.Readings, func(d study.ReadingDef) bool { return d.ID == id })
		},
		Says: func(s *study.Study, id string) string {
			d, _ := readingDef(s, id)
			return readingSays(d)
		},
		UsedBy: func(rec *bench.Record, id string) string {
			if q := askedBy(rec.Study, id); q != "" {
				return say("used-question", q)
			}
			if cooks := readIn(rec, id); len(cooks) > 0 {
				return say("used-cook", cooks[0])
			}
			return ""
		},
		Keeps: func(rec *bench.Record, id, field string) error {
			if field != "kind" && field != "unit" && field != "scale" {
				return nil
			}
			if cooks := readIn(rec, id); len(cooks) > 0 {
				return fault.New("reading-read", "%s", say("reading-read", count(len(cooks), "cook has", "cooks have"))).WithFix("%s", say("reading-read-fix"))
			}
			return nil
		},
		Means: func(rec *bench.Record, id string) string {
			switch q := askedBy(rec.Study, id); {
			case rec.Seal == nil:
				return ""
			case q == "":
				return say("reading-unsealed")
			default:
				return say("reading-sealed", q)
			}
		},
		Strays: map[fault.Code]string{"no-unit": "unit"},
	}
}

// askedBy is the question that asks about a reading; "" none.
func askedBy(s *study.Study, reading string) string {
	for _, q := range s.Questions {
		if reading != "" && q.Response == reading {
			return q.ID
		}
	}
	return ""
}

// readIn are the cooks that have a value of a reading.
func readIn(rec *bench.Record, reading string) []string {
	var out []string
	for _, c := range rec.Cooks {
		if slices.ContainsFunc(c.Readings, func(r study.Reading) bool { return r.Response == reading }) {
			out = append(out, c.Label)
		}
	}
	return out
}

// readingSays is the scale of a reading in one sentence.
func readingSays(d study.ReadingDef) string {
	how := say("reading-measured")
	if d.Judged {
		how = say("reading-judged")
	}
	if d.Resolution > 0 {
		how += ", " + say("reading-steps", strings.TrimSpace(exactly(d.Resolution)+" "+d.Unit))
	}
	if d.Least != nil && d.Most != nil {
		how += ", " + say("reading-between", exactly(*d.Least), strings.TrimSpace(exactly(*d.Most)+" "+d.Unit))
	}
	switch d.Kind {
	case study.Grade:
		return say("reading-is-grade", strings.Join(d.Scale, ", "), how)
	case study.Number:
		return say("reading-is-number", d.Unit, how)
	}
	return say("reading-is-"+string(d.Kind), how)
}

// readingsView is the part of the study's page with its readings.
type readingsView struct {
	Study   string
	Entries []entryForm
	New     form
	Back    *takeBack
}

func (b formBuilder) readings() readingsView {
	l := documentLists["readings"]
	v := readingsView{Study: b.rec.Study.ID}
	for _, d := range b.rec.Study.Readings {
		e := entryForm{ID: "reading-" + d.ID, Name: d.What, Says: readingSays(d)}
		if e.Name == "" {
			e.Name = strings.NewReplacer("_", " ", "-", " ").Replace(d.ID)
		}
		if q := askedBy(b.rec.Study, d.ID); q != "" {
			e.Says += " " + say("reading-asked", q)
		} else {
			e.Says += " " + say("reading-unasked")
		}
		if cooks := readIn(b.rec, d.ID); len(cooks) > 0 {
			e.Says += " " + say("reading-in", count(len(cooks), "cook", "cooks"))
		}
		e.Form = b.listEntry(l, d.ID, "", say("change-reading", d.ID), "what", "kind", "unit", "resolution", "limits", "scale", "judged")
		e.Remove = b.listRemoval(l, d.ID)
		v.Entries = append(v.Entries, e)
	}
	v.New = b.newEntry(l, "what", "id", "kind", "unit", "resolution", "limits", "scale", "judged")
	return v
}

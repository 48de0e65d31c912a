package web

import (
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/study"
)

// The register of instruments has a page of its own: what each sensor and
// scale is, what it read at known points on the day, and what else its
// readings are corrected by.

func init() {
	degrees := func(u units) string { return u.degrees() }
	lengths := func(u units) string { return u.lengthUnit() }
	documentLists["instruments"] = &documentList{
		Name: "instruments", One: "instrument", Part: "instruments", Page: "instruments",
		Fields: []listField{
			{Key: "what"}, {Key: "class", Options: append([]string{""}, study.SensorClasses()...)},
			{Key: "checked"}, {Key: "ice", As: asAmounts, Bare: degrees}, {Key: "boil", As: asAmounts, Bare: degrees},
			{Key: "altitude", As: asAmount, Bare: altitudeUnit},
			{Key: "mass", As: asAmount, Bare: grams}, {Key: "read", As: asAmount, Bare: grams}, {Key: "pan"},
			{Key: "lag", As: asAmount, Bare: func(units) string { return "s" }},
			{Key: "stem.length", As: asAmount, Bare: lengths}, {Key: "stem.diameter", As: asAmount, Bare: lengths},
			{Key: "stem.conductivity", As: asNumber}, {Key: "stem.film", As: asNumber}, {Key: "stem.handle", As: asAmount, Bare: degrees},
			{Key: "note", Area: true},
		},
		Find: func(s *study.Study, id string) any {
			return entryWhere(s.Instruments, func(x study.Instrument) bool { return x.ID == id })
		},
		Says: func(s *study.Study, id string) string {
			for _, x := range s.Instruments {
				if x.ID == id {
					return measure.InstrumentLine(x)
				}
			}
			return id
		},
		UsedBy: func(*bench.Record, string) string { return "" },
		Means: func(rec *bench.Record, _ string) string {
			if len(rec.Cooks) == 0 {
				return ""
			}
			return say("instrument-means")
		},
		Strays: map[fault.Code]string{"stem": "stem.length"},
	}
}

func grams(units) string { return "g" }

// altitudeUnit is that of a bare altitude: metres, or feet for who reads inches.
func altitudeUnit(u units) string {
	if u.Inch {
		return "ft"
	}
	return "m"
}

// instrumentsView is the page with the register.
type instrumentsView struct {
	ID, Title, Lead string
	Entries         []instrumentEntry
	New             form
	Saved           saved
	TakeBack        *takeBack
	Doubts          []margin
}

type instrumentEntry struct {
	entryForm
	Checks, Corrections form
}

func (d *Desk) instrumentsPage(w http.ResponseWriter, r *http.Request) {
	d.showInstruments(w, r, http.StatusOK, saved{})
}

func (d *Desk) showInstruments(w http.ResponseWriter, r *http.Request, status int, at saved) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	s, u, b, l := rec.Study, unitsOf(r), formBuilder{rec, at}, documentLists["instruments"]
	v := instrumentsView{ID: s.ID, Title: s.Title, Lead: say("instruments-lead", u.degrees(), altitudeUnit(u)), Saved: at, TakeBack: lastRemoved(rec)}
	if v.TakeBack != nil {
		v.TakeBack.Page = l.Page
	}
	for _, f := range study.Check(s, rec.CookFiles) {
		if strings.HasPrefix(f.Where, l.Name) {
			v.Doubts = append(v.Doubts, openPoint(f))
		}
	}
	for _, x := range s.Instruments {
		e := instrumentEntry{entryForm: entryForm{ID: "instrument-" + x.ID, Name: x.ID, Says: measure.InstrumentLine(x)}}
		e.Form = b.listEntry(l, x.ID, "", say("change-instrument", x.ID), "what", "class", "pan", "note")
		e.Checks = b.listEntry(l, x.ID, "checks", say("check-instrument", x.ID), "checked", "ice", "boil", "altitude", "mass", "read")
		e.Corrections = b.listEntry(l, x.ID, "correct", say("correct-instrument", x.ID), "lag", "stem.length", "stem.diameter", "stem.conductivity", "stem.film", "stem.handle")
		e.Remove = b.listRemoval(l, x.ID)
		v.Entries = append(v.Entries, e)
	}
	v.New = b.newEntry(l, "id", "what", "class", "checked", "ice", "boil", "altitude", "mass", "read", "pan", "note")
	d.render(w, r, status, "instrumentspage", frame{Title: say("instruments-title", s.Title), Invented: s.Invented, Study: s.ID, StudyName: s.Title, Script: "study"}, v)
}

package web

import (
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/study"
)

// piecesView is the page with the pieces of a study.
type piecesView struct {
	ID, Title, Lead string
	Lots            lotsView
	Pieces          []entryForm
	List            listing
	New             form
	Missing         string // what the run order names and nobody listed
	Planned         form   // lists the pieces of the plan
	PlannedSays     string // how many those are
	Measures        *groupedForm
	Saved           saved
	TakeBack        *takeBack
}

func (d *Desk) piecesPage(w http.ResponseWriter, r *http.Request) {
	d.opening(w, r, func(h *bench.Head) (frame, template.HTML) {
		return piecesFrame(h.Study), d.partIn(unitsOf(r), "piecestop", piecesViewOf(h.Study, unitsOf(r)))
	}, func(w http.ResponseWriter) { d.showPieces(w, r, http.StatusOK, saved{}) })
}

// mostPieceForms is how many pieces, each with its form, stand on a page.
const mostPieceForms = 30

func piecesFrame(s *study.Study) frame {
	return frame{Title: say("pieces-title", s.Title), Invented: s.Invented, Study: s.ID, StudyName: s.Title, Script: "study"}
}

func piecesViewOf(s *study.Study, u units) piecesView {
	return piecesView{ID: s.ID, Title: s.Title, Lead: say("pieces-lead", u.lengthUnit(), u.degrees())}
}

func (d *Desk) showPieces(w http.ResponseWriter, r *http.Request, status int, at saved) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	s, u := rec.Study, unitsOf(r)
	b := formBuilder{rec, at}
	v := piecesViewOf(s, u)
	v.Saved, v.TakeBack = at, lastRemoved(rec)
	if v.TakeBack != nil {
		v.TakeBack.Page = "pieces"
	}
	v.Lots = b.lots()
	var some []study.Piece
	if from := piecesFrom(r); from != "" { // the page of a form that was refused
		r = r.Clone(r.Context())
		r.URL.RawQuery = "pieces-from=" + from
	}
	some, v.List = stretchOf(r, s.ID+"/pieces", "pieces", say("find-pieces"), mostPieceForms, s.Pieces, func(x study.Piece) string { return strings.Join([]string{x.Label, x.Block, x.Lot}, " ") })
	fields := func(label string) []field {
		p := "pieces[" + label + "]."
		return []field{b.line(p+"block", say("field-block"), say("field-block-hint")), b.line(p+"thickness", say("field-thick"), say("field-thick-hint")), b.line(p+"mass", say("field-raw-mass"), ""),
			b.line(p+"start", say("field-piece-start"), ""), b.line(p+"position", say("field-position"), ""), b.line(p+"lot", say("field-lot"), say("field-lot-hint")),
			b.line(p+"twin", say("field-twin"), say("field-twin-hint")), b.pick(p+"spare", say("field-spare"), "", choices("no", "yes")...)}
	}
	for _, x := range some {
		e := entryForm{ID: "piece-" + x.Label, Name: x.Label, Says: pieceSays(x, u)}
		e.Form = b.form(e.ID, say("change-piece", x.Label), fields(x.Label)...)
		e.Form.Hidden, e.Form.Try = []choice{{"page", "pieces"}, {"stretch", strconv.Itoa(v.List.From)}}, b.trialAt()
		e.Remove = b.removal("pieces", x.Label, say("remove-piece", x.Label), say("remove-is"))
		v.Pieces = append(v.Pieces, e)
	}
	v.New = b.adding("pieces", "new-piece", say("add-piece"), []choice{{"page", "pieces"}}, append([]field{b.line("pieces[new].label", say("field-label"), say("field-label-hint"))}, fields("new")...)...)
	v.New.Try = b.trialAt()
	v.Planned, v.PlannedSays = b.plannedForm()
	v.Measures = b.measures(some, v.List.From)
	if n := len(missingPieces(s)); n > 0 {
		v.Missing = say("pieces-from-is", count(n, "piece", "pieces"))
	}
	d.render(w, r, status, "piecespage", piecesFrame(s), v)
}

// piecesFrom is the first line of the stretch of pieces on which a form that
// was sent stands; "" for the first.
func piecesFrom(r *http.Request) string {
	n, err := strconv.Atoi(r.PostFormValue("stretch"))
	if err != nil || n < 2 {
		return ""
	}
	return strconv.Itoa(n)
}

// pieceSays is a piece in one line.
func pieceSays(x study.Piece, u units) string {
	var out []string
	if x.Block != "" {
		out = append(out, say("piece-block", x.Block))
	}
	for _, m := range x.ThicknessM {
		out = append(out, u.length(m))
	}
	if x.MassKg > 0 {
		out = append(out, exactly(1000*x.MassKg)+" g")
	}
	if x.StartC != nil {
		at, unit := u.shown(*x.StartC, "°C")
		out = append(out, exactly(at)+" "+unit)
	}
	for _, words := range []string{x.Position, x.Lot} {
		if words != "" {
			out = append(out, words)
		}
	}
	if x.Twin != "" {
		out = append(out, say("piece-twin", x.Twin))
	}
	if x.Spare {
		out = append(out, say("piece-spare"))
	}
	return strings.Join(out, ", ")
}

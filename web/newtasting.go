package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/study"
	"trivet/tasting"
)

// newView is the form of a new tasting: texts as typed.
type newView struct {
	Studies   []option
	Methods   []methodOption
	Allergens []option
	In        map[string]string
	Error     *fault.Error
}

type methodOption struct {
	tasting.Description
	On bool
}

func (s *Server) newTastingPage(w http.ResponseWriter, r *http.Request) {
	studies, err := s.store.Studies(r.Context())
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	if len(studies) == 0 {
		s.fail(w, r, http.StatusUnprocessableEntity, fault.New("study-none", "%s", say("study-none")).WithFix("%s", say("study-none-fix")))
		return
	}
	id := r.FormValue("study")
	if id == "" {
		id = studies[0].ID
	}
	rec, err := s.store.Record(r.Context(), id)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	s.showNew(w, r, http.StatusOK, suggested(rec), nil)
}

// suggested fills the form from a study: its tasting question, treatments,
// foods and cooked pieces.
func suggested(rec *bench.Record) url.Values {
	st := rec.Study
	in := url.Values{}
	set := func(name, text string) { in.Set(name, text) }
	set("study", st.ID)
	set("title", say("new-title-default"))
	set("method", tasting.Triangle{}.Describe().Name)
	set("alpha", "0.05")
	set("beta", "0.10")
	set("pd", "0.30")
	set("aim", string(tasting.ForDifference))
	set("assessors", "24")
	set("rounds", "1")
	set("at_once", "1")
	d := tasting.DefaultPace()
	set("sample_s", number(d.SampleSeconds))
	set("cleanse_s", number(d.CleanseSeconds))
	set("rest_s", number(d.SetSeconds))
	set("carve_min", number(d.CarveMinutes))
	for _, q := range st.Questions {
		if q.Tasting == nil {
			continue
		}
		set("question", q.ID)
		if m, err := tasting.Lookup(q.Tasting.Method); err == nil {
			set("method", m.Describe().Name)
		}
		in.Del("pd")
		for name, v := range map[string]float64{"alpha": q.Tasting.Alpha, "beta": q.Tasting.Beta, "pd": q.Tasting.Discriminators, "dprime": q.Tasting.DPrime} {
			if v > 0 {
				set(name, number(v))
			}
		}
		if q.Tasting.For != "" {
			set("aim", q.Tasting.For)
		}
		break
	}
	var products, pieces []string
	for _, t := range st.Treatments {
		products = append(products, t.ID)
	}
	twins := map[string]string{}
	for _, p := range st.Pieces {
		if p.Twin != "" {
			twins[p.Twin] = p.Label
		}
	}
	for _, c := range rec.Cooks {
		if c.Role != study.Planned && c.Role != study.Spare || c.Block == "" || c.Piece == "" {
			continue
		}
		label, probed := c.Piece, "probed"
		if twin := twins[c.Piece]; twin != "" {
			label, probed = twin, "unprobed"
		}
		pieces = append(pieces, strings.Join([]string{label, c.Block, c.Treatment, probed}, ", "))
	}
	set("products", strings.Join(products, "\n"))
	set("suggested_pieces", strings.Join(pieces, "\n"))
	in["allergens"] = st.Foods.Allergens
	if st.Foods.Animal != "none" {
		set("undercooked", "yes")
	}
	return in
}

func (s *Server) showNew(w http.ResponseWriter, r *http.Request, status int, in url.Values, f *fault.Error) {
	studies, err := s.store.Studies(r.Context())
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := newView{In: map[string]string{}, Error: f}
	for name := range in {
		if !strings.HasPrefix(name, "passphrase") { // never sent back
			v.In[name] = in.Get(name)
		}
	}
	for _, x := range studies {
		v.Studies = append(v.Studies, option{x.ID, x.Title, x.ID == in.Get("study")})
	}
	for _, m := range tasting.Methods() {
		d := m.Describe()
		v.Methods = append(v.Methods, methodOption{d, d.Name == in.Get("method")})
	}
	for _, a := range allergens() {
		a.On = slices.Contains(in["allergens"], a.Code)
		v.Allergens = append(v.Allergens, a)
	}
	s.render(w, r, status, "new", page{Title: say("new-title"), Lead: true, Script: "lead.js"}, v)
}

func (s *Server) newTasting(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, fault.New("form", "%s", say("form-bad")).Wrap(err))
		return
	}
	again := func(err error) {
		f := s.publicFault(err)
		s.showNew(w, r, statusOf(f), r.PostForm, f)
	}
	rec, err := s.store.Record(r.Context(), r.PostForm.Get("study"))
	if err != nil {
		again(err)
		return
	}
	plan, err := readPlan(r.PostForm, rec)
	if err != nil {
		again(err)
		return
	}
	pass := r.PostForm.Get("passphrase")
	if pass != r.PostForm.Get("passphrase2") {
		again(fault.New("passphrase-differs", "%s", say("passphrase-differs")).On("passphrase2", "").WithFix("%s", say("passphrase-differs-fix")))
		return
	}
	s.guard.costly <- struct{}{}
	t, secrets, err := s.room.Open(r.Context(), plan, pass)
	<-s.guard.costly
	if err != nil {
		if f := fault.As(err); f != nil && f.Code == "passphrase-short" {
			err = f.On("passphrase", "")
		}
		again(err)
		return
	}
	if err := s.vault.keep(t.ID, secrets); err != nil {
		s.fail(w, r, 0, err)
		return
	}
	s.remember(w, t, tasting.Lead)
	http.Redirect(w, r, "/tastings/"+t.ID, http.StatusSeeOther)
}

// formReader reads numbers of a form and keeps the first mistake.
type formReader struct {
	in  url.Values
	err *fault.Error
}

func (f *formReader) bad(name, message, fix string) {
	if f.err == nil {
		f.err = fault.New("field", "%s", message).On(name, f.in.Get(name)).WithFix("%s", fix)
	}
}

// number reads a number of a range; empty is def.
func (f *formReader) number(name string, low, high, def float64) float64 {
	text := strings.TrimSpace(f.in.Get(name))
	if text == "" {
		return def
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
	if err != nil || !(v >= low && v <= high) {
		f.bad(name, say("number-bad"), say("number-fix", number(low), number(high)))
		return def
	}
	return v
}

func (f *formReader) whole(name string, low, high, def int) int {
	v := f.number(name, float64(low), float64(high), float64(def))
	if v != float64(int(v)) {
		f.bad(name, say("whole-bad"), say("number-fix", strconv.Itoa(low), strconv.Itoa(high)))
	}
	return int(v)
}

// maxAssessors is the most seats of a session run from these pages.
const maxAssessors = 500

func readPlan(in url.Values, rec *bench.Record) (bench.TastingPlan, error) {
	f := &formReader{in: in}
	st := rec.Study
	plan := bench.TastingPlan{Study: st.ID, Title: strings.TrimSpace(in.Get("title")), Question: in.Get("question"), Invented: st.Invented, Attributes: lines(in.Get("attributes"))}
	if plan.Title == "" || len([]rune(plan.Title)) > 200 {
		f.bad("title", say("title-bad"), say("title-fix"))
	}
	if plan.Question != "" && !slices.ContainsFunc(st.Questions, func(q study.Question) bool { return q.ID == plan.Question && q.Tasting != nil }) {
		plan.Question = ""
	}
	m, err := tasting.Lookup(in.Get("method"))
	if err != nil {
		f.bad("method", fault.As(err).Message, fault.As(err).Fix)
		return plan, f.err
	}
	d := m.Describe()
	plan.Setup = tasting.Setup{Method: d.Name, Rounds: f.whole("rounds", 1, 50, 1), LikeApart: in.Get("apart") == "yes"}
	declared := in["allergens"]
	for _, p := range lines(in.Get("products")) {
		plan.Setup.Products = append(plan.Setup.Products, tasting.Product{ID: p, Allergens: declared, Undercooked: in.Get("undercooked") == "yes"})
	}
	if _, err := m.Block(len(plan.Setup.Products)); err != nil {
		f.bad("products", fault.As(err).Message, fault.As(err).Fix)
	}
	needsWords := d.Kind == tasting.KindChecks || d.Name == (tasting.Rated{}).Describe().Name || d.Name == (tasting.JustRight{}).Describe().Name
	if needsWords && len(plan.Attributes) == 0 {
		f.bad("attributes", say("attributes-missing"), say("attributes-fix"))
	}
	plan.Setup.Assessors = readPeople(f)
	plan.Rule = tasting.Rule{Alpha: f.number("alpha", 0.0001, 0.5, 0.05)}
	if d.Kind == tasting.KindChoice {
		plan.Rule.For = tasting.Aim(in.Get("aim"))
		plan.Rule.Beta = f.number("beta", 0.0001, 0.5, 0)
		plan.Rule.Discriminators = f.number("pd", 0, 1, 0)
		plan.Rule.DPrime = f.number("dprime", 0, 10, 0)
		if plan.Rule.Discriminators > 0 && plan.Rule.DPrime > 0 {
			f.bad("dprime", say("effect-twice"), say("effect-twice-fix"))
		}
	}
	plan.Pace = tasting.Pace{SampleSeconds: f.number("sample_s", 1, 600, 0), CleanseSeconds: f.number("cleanse_s", 1, 600, 0), SetSeconds: f.number("rest_s", 1, 3600, 0),
		CarveMinutes: f.number("carve_min", 0.1, 120, 0), AtOnce: f.whole("at_once", 1, maxAssessors, 1), HoldMinutes: f.number("hold_min", 0, 240, 0)}
	pieces := readPieces(f, plan.Setup.Products)
	var notes []fault.Note
	if len(pieces) > 0 {
		portions := f.whole("portions", 1, 500, 0)
		if portions == 0 {
			f.bad("portions", say("portions-missing"), say("portions-fix"))
		}
		plan.Setup.Waves, notes = tasting.WavesOf(plan.Setup.Products, pieces, portions)
		if len(plan.Setup.Waves) == 0 && f.err == nil {
			why := say("pieces-none")
			if len(notes) > 0 {
				why = notes[0].Text
			}
			f.bad("pieces", why, say("pieces-fix"))
		}
	}
	plan.Facts = safety.Facts{Animal: st.Foods.Animal, Form: st.Foods.Form, Eaten: true, Tasting: true, Fat: st.Foods.Fat, HotFat: st.Foods.Fat != "",
		Allergens: declared, Judged: safety.CannotTell, Held: true,
		Probed: slices.ContainsFunc(pieces, func(p tasting.PieceForTasting) bool { return p.Probed })}
	if in.Get("undercooked") == "yes" {
		plan.Facts.Judged = safety.NotReached
		if plan.Facts.Animal == "none" { // the study says otherwise; the caution is shown all the same
			plan.Facts.Animal = ""
		}
	}
	if f.err != nil {
		return plan, f.err
	}
	return plan, nil
}

// readPeople reads who tastes: a number of seats, or a line each with, after
// a colon, what that person cannot eat.
func readPeople(f *formReader) []tasting.Assessor {
	people := lines(f.in.Get("people"))
	if len(people) == 0 {
		n := f.whole("assessors", 1, maxAssessors, 0)
		if n == 0 {
			f.bad("assessors", say("assessors-missing"), say("assessors-fix"))
		}
		out := make([]tasting.Assessor, n)
		for i := range out {
			out[i] = tasting.Assessor{ID: fmt.Sprintf("P%0*d", max(2, len(strconv.Itoa(n))), i+1), Consents: true}
		}
		return out
	}
	if len(people) > maxAssessors {
		f.bad("people", say("people-many"), say("number-fix", "1", strconv.Itoa(maxAssessors)))
		return nil
	}
	var out []tasting.Assessor
	for _, line := range people {
		name, avoids, _ := strings.Cut(line, ":")
		a := tasting.Assessor{ID: strings.TrimSpace(name), Consents: true}
		if len([]rune(a.ID)) > 40 {
			f.bad("people", say("person-long"), say("person-long-fix"))
		}
		for code := range strings.SplitSeq(avoids, ",") {
			code = strings.ToLower(strings.TrimSpace(code))
			switch {
			case code == "":
			case code == "undercooked":
				a.NotUndercooked = true
			case slices.Contains(safety.AllergenCodes(), code):
				a.Avoids = append(a.Avoids, code)
			default:
				f.bad("people", say("allergen-bad", code), say("allergen-fix", strings.Join(safety.AllergenCodes(), ", ")))
			}
		}
		out = append(out, a)
	}
	return out
}

// readPieces reads lines of piece, block, product, probed or unprobed.
func readPieces(f *formReader, products []tasting.Product) []tasting.PieceForTasting {
	var out []tasting.PieceForTasting
	for i, line := range lines(f.in.Get("pieces")) {
		cells := strings.Split(line, ",")
		for k := range cells {
			cells[k] = strings.TrimSpace(cells[k])
		}
		if len(cells) < 3 || len(cells) > 4 || len(cells) == 4 && cells[3] != "probed" && cells[3] != "unprobed" {
			f.bad("pieces", say("piece-bad", i+1), say("piece-fix"))
			return nil
		}
		if !slices.ContainsFunc(products, func(p tasting.Product) bool { return p.ID == cells[2] }) {
			f.bad("pieces", say("piece-product", i+1, cells[2]), say("piece-product-fix"))
			return nil
		}
		out = append(out, tasting.PieceForTasting{Label: cells[0], Block: cells[1], Product: cells[2], Probed: len(cells) == 4 && cells[3] == "probed"})
	}
	return out
}

package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/tasting"
)

// What a cook counts as, and cooks that the run order does not name.

// roleForm says what a cook counts as; nil for who may not say so.
type roleForm struct {
	In    map[string]string
	Roles []choice
	Rules []choice
	Seen  string
	Open  bool
	Error *fault.Error
}

var cookRoles = []study.Role{study.Planned, study.Spare, study.Pilot, study.Void}

func roleChoices(but ...study.Role) []choice {
	var out []choice
	for _, x := range cookRoles {
		if !slices.Contains(but, x) {
			out = append(out, choice{string(x), say("role-as-" + string(x))})
		}
	}
	return out
}

func (d *Desk) roleFormOf(r *http.Request, s *study.Study, c *study.Cook, at saved) *roleForm {
	if d.roleOf(r) != tasting.Lead {
		return nil
	}
	f := &roleForm{Roles: roleChoices(), Seen: stampOf(bench.StandingOf(*c)), In: map[string]string{"role": string(c.Role), "rule": c.VoidRule, "why": c.VoidWhy}}
	if at.Form == "role" {
		f.In, f.Open, f.Error = at.In, true, at.Error
	}
	f.Rules = choices("")
	for _, x := range s.VoidRules {
		f.Rules = append(f.Rules, choice{x.ID, x.When})
	}
	return f
}

// saveRole changes what a cook counts as.
func (d *Desk) saveRole(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "role", func(rec *bench.Record, c *study.Cook) (out edited, err error) {
		was := bench.StandingOf(*c)
		if err := seen(r, was, say("role-as-"+string(was.Role))); err != nil {
			return out, err
		}
		to := bench.Standing{Role: study.Role(r.FormValue("role"))}
		if !slices.Contains(cookRoles, to.Role) {
			return out, fault.New("role-unknown", "%s", say("role-cook-unknown")).On("role", string(to.Role)).WithFix("%s", say("mark-unknown-fix"))
		}
		if to.Role == study.Void {
			to.VoidRule, to.VoidWhy = r.FormValue("rule"), strings.TrimSpace(r.FormValue("why"))
			if !slices.ContainsFunc(rec.Study.VoidRules, func(x study.VoidRule) bool { return x.ID == to.VoidRule }) || to.VoidWhy == "" {
				return out, fault.New("void-why", "%s", say("void-why")).On("why", to.VoidWhy).WithFix("%s", say("void-why-fix"))
			}
			if to.VoidedAt = was.VoidedAt; was.Role != study.Void {
				to.VoidedAt = d.s.opt.Now().UTC().Truncate(time.Second)
			}
		}
		// A sealed plan says which cooks count. One of them is left out by a
		// rule of the plan, and in no other way.
		inOrder := slices.ContainsFunc(rec.Study.Design.RunOrder, func(x study.RunSlot) bool { return x.Piece == c.Piece && x.Treatment == c.Treatment })
		if rec.Seal != nil && inOrder && (to.Role == study.Pilot || to.Role == study.Spare) {
			return out, fault.New("role-sealed", "%s", say("role-sealed", c.Label)).On("role", say("role-as-"+string(to.Role))).WithFix("%s", say("role-sealed-fix"))
		}
		if to == was {
			return out, nil
		}
		out.Before, out.After = &bench.Entry{Standing: &was}, &bench.Entry{Standing: &to}
		out.what = say("role-changed", c.Label, say("role-as-"+string(to.Role)), say("role-as-"+string(was.Role)))
		if to.Role == study.Void {
			out.what = say("void-done", c.Label, to.VoidRule, to.VoidWhy)
		}
		return out, nil
	})
}

// newCookView is the form of a cook that the run order does not name.
type newCookView struct {
	Roles, Pieces, Treatments []choice
	In                        map[string]string
	Error                     *fault.Error
	Open                      bool
	Sealed                    bool
}

func newCookForm(rec *bench.Record, at saved) newCookView {
	s, words := rec.Study, answer.Words{Study: rec.Study}
	v := newCookView{Roles: roleChoices(study.Void), Pieces: choices(""), In: map[string]string{"role": string(study.Pilot)}, Sealed: rec.Seal != nil}
	for _, x := range s.Pieces {
		v.Pieces = append(v.Pieces, choice{x.Label, x.Label})
	}
	if len(v.Pieces) > mostOffered { // it is typed
		v.Pieces = nil
	}
	for _, t := range s.Treatments {
		v.Treatments = append(v.Treatments, choice{t.ID, words.Treatment(t.ID)})
	}
	if at.Form == "new-cook" {
		v.In, v.Error, v.Open = at.In, at.Error, true
	}
	return v
}

// addCook adds a cook that the run order does not name: a pilot, as a rule.
func (d *Desk) addCook(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	err := r.ParseForm()
	var c study.Cook
	if err == nil {
		c, err = d.newCook(r)
	}
	if err == nil {
		what := say("cook-added", c.Label, say("role-as-"+string(c.Role)))
		err = d.nb.PutCook(r.Context(), id, c, study.Event{At: d.s.opt.Now(), Study: id, Kind: study.EventChanged, What: what})
	}
	if err == nil {
		http.Redirect(w, r, "/studies/"+id+"/cooks/"+c.Label, http.StatusSeeOther)
		return
	}
	f := d.s.publicFault(err)
	if f.Code == "study-unknown" {
		d.s.fail(w, r, 0, err)
		return
	}
	in := map[string]string{}
	for key := range r.PostForm {
		in[key] = r.PostFormValue(key)
	}
	d.showStudy(w, r, statusOf(f), saved{Error: f, Form: "new-cook", In: in})
}

func (d *Desk) newCook(r *http.Request) (study.Cook, error) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		return study.Cook{}, err
	}
	s := rec.Study
	get := func(field string) string { return strings.TrimSpace(r.PostFormValue(field)) }
	c := study.Cook{Label: get("label"), Piece: get("piece"), Treatment: get("treatment"), Role: study.Role(get("role"))}
	bad := func(field, value, what, fix string) error {
		return fault.New("new-cook", "%s", what).On(field, value).WithFix("%s", fix)
	}
	switch taken := slices.Contains(bench.Labels(rec), c.Label); {
	case !soundPrefix.MatchString(c.Label):
		return c, bad("label", c.Label, say("cook-label-bad"), say("cook-label-bad-fix"))
	case taken:
		return c, bad("label", c.Label, say("cook-label-taken"), say("cook-label-taken-fix"))
	case entryIn(s, "treatments", c.Treatment) == nil:
		return c, bad("treatment", c.Treatment, say("cook-treatment-bad"), say("cook-treatment-bad-fix"))
	case c.Role == study.Void || !slices.Contains(cookRoles, c.Role):
		return c, bad("role", string(c.Role), say("role-cook-unknown"), say("role-cook-unknown-fix"))
	}
	if c.Piece != "" {
		i := slices.IndexFunc(s.Pieces, func(x study.Piece) bool { return x.Label == c.Piece })
		if i < 0 {
			return c, bad("piece", c.Piece, say("cook-piece-bad"), say("cook-piece-bad-fix"))
		}
		c.Block = s.Pieces[i].Block
	}
	c.ID = bench.NewID(d.s.opt.Now(), c.Label)
	return c, nil
}

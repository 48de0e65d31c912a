package web

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// fieldValue is a field of the study document as a form shows it. What a
// form was filled with is sent back beside what was typed, so that a save can
// tell whether somebody else changed that very field meanwhile.
func fieldValue(s *study.Study, path string) (string, bool) {
	group, rest, _ := strings.Cut(path, ".")
	switch group {
	case "study":
		return s.Title, rest == ""
	case "claim":
		v, ok := map[string]string{"says": s.Claim.Says, "scope": s.Claim.Scope, "fair": s.Claim.Fair, "against": s.Claim.Against}[rest]
		return v, ok
	case "blocks":
		v, ok := map[string]string{"what": s.Blocks.What, "count": someCount(s.Blocks.Count), "pieces": someCount(s.Blocks.Pieces), "spares": strconv.Itoa(s.Blocks.Spares)}[rest]
		return v, ok
	case "risk":
		v, ok := map[string]string{"alpha": number(s.Risk.Alpha), "power": number(s.Risk.Power), "mode": s.Risk.Mode, "looks": looksText(s.Risk.Looks), "spending": s.Risk.Spending}[rest]
		return v, ok
	case "foods":
		v, ok := map[string]string{"animal": s.Foods.Animal, "form": s.Foods.Form, "fat": s.Foods.Fat, "eaten": yesNo(s.Foods.Eaten), "allergens": strings.Join(s.Foods.Allergens, ", ")}[rest]
		return v, ok
	case "control":
		return controlOf(s), rest == ""
	case "invented":
		return yesNo(s.Invented), rest == ""
	case "licence":
		return s.Licence, rest == ""
	case "authors":
		return strings.Join(s.Authors, "; "), rest == ""
	case "controlled":
		for _, c := range s.Controlled {
			if c.Name == rest {
				return c.Text, true
			}
		}
		return "", slices.Contains(controls, rest)
	}
	if id, rest, ok := entryOf(path, "questions"); ok {
		for _, q := range s.Questions {
			if q.ID == id {
				return questionValue(q, rest)
			}
		}
	}
	if id, rest, ok := entryOf(path, "treatments"); ok {
		for _, t := range s.Treatments {
			if t.ID == id {
				if key, ok := strings.CutPrefix(rest, "set."); ok {
					v, ok := t.Set[key]
					return v, ok
				}
				v, ok := map[string]string{"name": t.Name, "cook": t.Cook}[rest]
				return v, ok
			}
		}
	}
	return entryValue(s, path)
}

func questionValue(q study.Question, field string) (string, bool) {
	switch field {
	case "ask":
		return q.Ask, true
	case "response":
		return q.Response, true
	case "claim":
		return string(q.Claim), true
	case "margin":
		return q.Margin.Text, true
	case "compare.treatment":
		return q.Compare.Treatment, true
	case "compare.against":
		return q.Compare.Against, true
	}
	if t := q.Tasting; t != nil {
		switch field {
		case "tasting.method":
			return t.Method, true
		case "tasting.discriminators":
			if t.Discriminators == 0 {
				return "", true
			}
			return percentText(t.Discriminators), true
		case "tasting.alpha":
			return number(t.Alpha), true
		case "tasting.beta":
			return number(t.Beta), true
		}
	}
	return questionMore(q, field)
}

// entryOf takes "questions[loss].margin" apart.
func entryOf(path, list string) (id, rest string, ok bool) {
	after, ok := strings.CutPrefix(path, list+"[")
	if !ok {
		return "", "", false
	}
	id, rest, ok = strings.Cut(after, "].")
	return id, rest, ok
}

func someCount(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func yesNo(v bool) string {
	if v {
		return "yes"
	}
	return "no"
}

// typedValue is what a form's text becomes in the document.
func typedValue(path, text string) any {
	text = strings.TrimSpace(text)
	if v, ok := typedMore(path, text); ok && text != "" {
		return v
	}
	switch {
	case text == "":
		return nil
	case strings.HasPrefix(path, "blocks.") && path != "blocks.what":
		if n, err := strconv.Atoi(text); err == nil {
			return n
		}
	case path == "risk.alpha" || path == "risk.power" || strings.HasSuffix(path, "tasting.alpha") || strings.HasSuffix(path, "tasting.beta"):
		if v, err := strconv.ParseFloat(text, 64); err == nil {
			return v
		}
	case path == "risk.looks":
		return looksTyped(text)
	case path == "foods.eaten" || path == "invented" || strings.HasSuffix(path, "].spare"):
		return text == "yes"
	case strings.HasPrefix(path, "tastings[") && (strings.HasSuffix(path, "].n") || strings.HasSuffix(path, "].correct")):
		if n, err := strconv.Atoi(text); err == nil {
			return n
		}
	case path == "foods.allergens":
		return parted(text, ",")
	case path == "authors":
		return parted(text, ";")
	case strings.HasSuffix(path, "].thickness"):
		if all := parted(text, ";"); len(all) > 1 {
			return all
		}
	}
	return text
}

// mostTries is how often a change is made anew on top of what another process
// saved between reading and writing.
const mostTries = 5

// edit saves the fields of one form of the study page. Each field comes with
// what the form was filled with; where that is no longer what is saved, both
// stand side by side until somebody has chosen.
func (d *Desk) edit(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return
	}
	at := saved{Form: r.PostFormValue("form"), In: map[string]string{}, Was: map[string]string{}}
	for key := range r.PostForm {
		if p, ok := strings.CutPrefix(key, "set:"); ok {
			at.In[p], at.Was[p] = r.PostFormValue(key), r.PostFormValue("was:"+p)
		}
	}
	var err error
	for range mostTries {
		at.Clashes = map[string]string{}
		if err = d.editOnce(r, id, &at); err == nil || fault.As(err) == nil || fault.As(err).Code != "edited-meanwhile" || len(at.Clashes) > 0 {
			break
		}
	}
	switch f := fault.As(err); {
	case err == nil:
		http.Redirect(w, r, formPage(r)+"#"+anchorOf(at.Form), http.StatusSeeOther)
	case f != nil && f.Code == "study-unknown":
		d.s.fail(w, r, 0, err)
	default:
		at.Error = onField(d.s.publicFault(err))
		status := statusOf(at.Error)
		if at.Error.Code == "edited-meanwhile" {
			status = http.StatusConflict
		}
		d.showForm(w, r, status, at)
	}
}

// editable is a study with its document, as both are now.
func (d *Desk) editable(ctx context.Context, id string) (*bench.Record, *study.Document, error) {
	rec, err := d.nb.Record(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	doc, err := study.ReadDocument("study.yaml", rec.Document)
	return rec, doc, err
}

// editOnce puts what a form says on top of the study as it is now.
func (d *Desk) editOnce(r *http.Request, id string, at *saved) error {
	rec, doc, err := d.editable(r.Context(), id)
	if err != nil {
		return err
	}
	clash := ""
	var changed []string
	for _, p := range slices.Sorted(maps.Keys(at.In)) {
		typed, was := at.In[p], at.Was[p]
		current, ok := valueOf(rec, p)
		if !ok {
			return fault.New("field-unknown", "%s", say("field-unknown")).On(p, typed).WithFix("%s", say("field-unknown-fix"))
		}
		if same(typed, was) || same(typed, current) {
			continue
		}
		if !same(was, current) {
			// A choice holds for what was shown when it was made.
			choice, seen := r.PostFormValue("keep:"+p), r.PostFormValue("seen:"+p)
			switch {
			case choice == "theirs" && same(seen, current):
				continue
			case choice != "mine" || !same(seen, current):
				at.Clashes[p] = current
				clash = p
				continue
			}
		}
		if p == "study" && !hasKey(rec.Document, "id") { // a new title keeps the study's id
			if err := doc.Set("id", rec.Study.ID); err != nil {
				return err
			}
		}
		if p == "control" {
			if err := setControl(doc, rec.Study, typed); err != nil {
				return err
			}
			changed = append(changed, p)
			continue
		}
		if l, entry, f, ok := listOf(p); ok && l.Keeps != nil {
			if err := l.Keeps(rec, entry, f.Key); err != nil {
				return fault.As(err).On(p, typed)
			}
		}
		if err := put(doc, p, typed, unitsOf(r)); err != nil {
			return err
		}
		changed = append(changed, p)
	}
	if err := dropLooks(doc, rec.Study, at); err != nil {
		return err
	}
	if clash != "" {
		return fault.New("edited-meanwhile", "%s", say("edited-meanwhile")).On(clash, at.In[clash]).WithFix("%s", say("edited-meanwhile-fix"))
	}
	if what, part := rewritten(rec, doc, changed); what != "" {
		_, err = bench.Rewrite(r.Context(), d.nb, rec, doc.Bytes(), part, what, d.s.opt.Now())
		return err
	}
	_, err = bench.Edit(r.Context(), d.nb, rec, doc.Bytes(), rec.CookFiles, d.s.opt.Now())
	return err
}

func same(a, b string) bool {
	return strings.Join(strings.Fields(a), " ") == strings.Join(strings.Fields(b), " ")
}

func hasKey(doc []byte, key string) bool {
	for line := range strings.Lines(string(doc)) {
		if strings.HasPrefix(line, key+":") {
			return true
		}
	}
	return false
}

// anchorOf keeps the part of a redirect after "#" to plain letters.
func anchorOf(form string) string {
	return strings.Map(func(c rune) rune {
		if c == '-' || c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
			return c
		}
		return -1
	}, form)
}

// change edits a study's document by code and saves it.
func (d *Desk) change(w http.ResponseWriter, r *http.Request, form, anchor string, edit func(rec *bench.Record, doc *study.Document) error) {
	id := r.PathValue("id")
	defer d.writing(id)()
	var err error
	for range mostTries {
		if err = d.changeOnce(r.Context(), id, edit); err == nil || fault.As(err) == nil || fault.As(err).Code != "edited-meanwhile" {
			break
		}
	}
	if err != nil {
		f := d.s.publicFault(err)
		in := map[string]string{}
		for key := range r.PostForm {
			in[key] = r.PostFormValue(key)
		}
		d.showStudy(w, r, statusOf(f), saved{Error: f, Form: form, In: in})
		return
	}
	http.Redirect(w, r, "/studies/"+id+"#"+anchor, http.StatusSeeOther)
}

func (d *Desk) changeOnce(ctx context.Context, id string, edit func(rec *bench.Record, doc *study.Document) error) error {
	rec, doc, err := d.editable(ctx, id)
	if err != nil {
		return err
	}
	if err := edit(rec, doc); err != nil {
		return err
	}
	_, err = bench.Edit(ctx, d.nb, rec, doc.Bytes(), rec.CookFiles, d.s.opt.Now())
	return err
}

func (d *Desk) addQuestion(w http.ResponseWriter, r *http.Request) {
	d.change(w, r, "new-question", "questions", func(rec *bench.Record, doc *study.Document) error {
		ask := strings.TrimSpace(r.FormValue("ask"))
		id := strings.TrimSpace(r.FormValue("name"))
		if id == "" {
			id = study.NewID(ask)
		}
		if ask == "" || id == "" {
			return fault.New("question-empty", "%s", say("question-empty")).On("ask", ask).WithFix("%s", say("question-empty-fix"))
		}
		q := study.Fields{{Key: "id", Value: id}, {Key: "ask", Value: ask}}
		if r.FormValue("kind") == "tasting" {
			q = append(q, study.Field{Key: "tasting", Value: study.Fields{{Key: "method", Value: r.FormValue("method")}, {Key: "discriminators", Value: "30 %"}, {Key: "alpha", Value: 0.05}, {Key: "beta", Value: 0.1}}})
		} else {
			q = append(q, study.Field{Key: "response", Value: r.FormValue("response")}, study.Field{Key: "claim", Value: r.FormValue("claim")}, study.Field{Key: "margin", Value: typedValue("margin", r.FormValue("margin"))})
		}
		return doc.Append("questions", q)
	})
}

func (d *Desk) seal(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	again := func(err error) {
		f := d.s.publicFault(err)
		d.showStudy(w, r, statusOf(f), saved{Error: f, Form: "seal"})
	}
	rec, err := d.nb.Record(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	open := 0
	for _, f := range study.Check(rec.Study, rec.CookFiles) {
		if f.Severity != study.Doubt {
			open++
		}
	}
	if r.PostFormValue("sure") != "yes" {
		again(fault.New("seal-sure", "%s", say("seal-unsure")).On("sure", "").WithFix("%s", say("seal-unsure-fix")))
		return
	}
	if open > 0 && r.PostFormValue("open") != "yes" {
		again(fault.New("seal-doubts", "%s", say("seal-open", count(open, "point", "points"))).On("open", "").WithFix("%s", say("seal-open-fix")))
		return
	}
	if _, err := bench.Seal(r.Context(), d.nb, id, d.s.opt.Now()); err != nil {
		again(err)
		return
	}
	http.Redirect(w, r, "/studies/"+id+"#plan", http.StatusSeeOther)
}

// look answers a study before its planned number, which enters the history.
func (d *Desk) look(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err == nil {
		_, err = d.answered(r.Context(), rec, true)
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	http.Redirect(w, r, "/studies/"+rec.Study.ID+"#findings", http.StatusSeeOther)
}

type textView struct {
	ID, Title, Text, Base string
	Error                 *fault.Error
	More                  []string
	Theirs                string
}

func (d *Desk) textPage(w http.ResponseWriter, r *http.Request) {
	rec, err := d.outline(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.showText(w, r, http.StatusOK, rec, textView{Text: string(rec.Document), Base: bench.HashOf(rec.Document)})
}

func (d *Desk) showText(w http.ResponseWriter, r *http.Request, status int, rec *bench.Record, v textView) {
	v.ID, v.Title = rec.Study.ID, rec.Study.Title
	d.render(w, r, status, "textpage", frame{Title: say("text-title", v.Title), Invented: rec.Study.Invented, Study: v.ID, StudyName: v.Title, Script: "study"}, v)
}

func (d *Desk) saveText(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, http.StatusRequestEntityTooLarge, fault.New("text-large", "%s", say("text-large", sizeText(maxText))).WithFix("%s", say("text-large-fix")).Wrap(err))
		return
	}
	defer d.writing(id)()
	rec, err := d.nb.Record(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	text := strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n")
	v := textView{Text: text, Base: r.PostFormValue("base")}
	if v.Base != bench.HashOf(rec.Document) {
		v.Error = fault.New("edited-meanwhile", "%s", say("text-meanwhile")).WithFix("%s", say("text-meanwhile-fix"))
		v.Theirs, v.Base = string(rec.Document), bench.HashOf(rec.Document)
		d.showText(w, r, http.StatusConflict, rec, v)
		return
	}
	if _, err := bench.Edit(r.Context(), d.nb, rec, []byte(text), rec.CookFiles, d.s.opt.Now()); err != nil {
		v.Error = d.s.publicFault(err)
		v.More = allFaults(err)
		d.showText(w, r, statusOf(v.Error), rec, v)
		return
	}
	http.Redirect(w, r, "/studies/"+id, http.StatusSeeOther)
}

package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// formPage is the page on which a form of a study stands.
func formPage(r *http.Request) string {
	at := "/studies/" + r.PathValue("id")
	switch page := r.PostFormValue("page"); page {
	case "pieces", "instruments":
		at += "/" + page
		if from := piecesFrom(r); from != "" {
			at += "?pieces-from=" + from
		}
	}
	return at
}

// showForm shows the page of a refused form again.
func (d *Desk) showForm(w http.ResponseWriter, r *http.Request, status int, at saved) {
	switch r.PostFormValue("page") {
	case "pieces":
		d.showPieces(w, r, status, at)
	case "instruments":
		d.showInstruments(w, r, status, at)
	default:
		d.showStudy(w, r, status, at)
	}
}

// entries adds an entry to a list of the study document, takes one out, or
// lists the pieces that the run order names.
func (d *Desk) entries(w http.ResponseWriter, r *http.Request) {
	d.changeLists(w, r, func(rec *bench.Record, doc *study.Document, at *saved) (what, part, anchor string, err error) {
		switch list := r.PostFormValue("list"); {
		case list == "controlled":
			what, err = addControl(rec, doc, at.In)
			return what, "plan", "controlled", err
		case partOfList(list) == "":
			return "", "", "", fault.New("list-unknown", "%s", say("list-unknown")).On("list", list).WithFix("%s", say("field-unknown-fix"))
		case r.PostFormValue("do") == "remove":
			what, err = removeEntry(rec, doc, list, r)
			return what, partOfList(list), partOfList(list), err
		case r.PostFormValue("do") == "from-order":
			missing := missingPieces(rec.Study)
			if len(missing) == 0 {
				return "", "", "", fault.New("order-names-nobody", "%s", say("order-names-nobody")).WithFix("%s", say("order-names-fix"))
			}
			return "", "", "pieces", listPieces(rec.Study, doc, missing)
		case r.PostFormValue("do") == "from-plan":
			return "", "", "pieces", listPlanned(rec.Study, doc, at.In)
		case documentLists[list] != nil:
			l := documentLists[list]
			anchor, err = l.addTo(rec, doc, at.In, unitsOf(r))
			return say("entry-added", l.word("one"), strings.TrimPrefix(anchor, l.One+"-")), l.Part, anchor, err
		default:
			anchor, err = addEntry(rec, doc, list, at.In, unitsOf(r), r.PostFormValue("question"))
			return "", "", anchor, err
		}
	})
}

// putBack undoes a removal that the history holds.
func (d *Desk) putBack(w http.ResponseWriter, r *http.Request) {
	d.changeLists(w, r, func(rec *bench.Record, doc *study.Document, at *saved) (what, part, anchor string, err error) {
		at.Form = "history"
		for _, e := range rec.Events {
			gone, ok := bench.RemovalOf(e)
			if !ok || strconv.FormatInt(e.Seq, 10) != r.PostFormValue("entry") {
				continue
			}
			text, ok := gone.PutBack(rec.Document)
			if !ok {
				break
			}
			whole, err := study.ReadDocument("study.yaml", text)
			if err != nil {
				return "", "", "", err
			}
			*doc = *whole
			return say("undo-done", e.What), gone.Part, gone.Part, nil
		}
		return "", "", "", fault.New("changed-around", "%s", say("changed-around")).WithFix("%s", say("changed-around-fix"))
	})
}

// changeLists changes the lists of a study's document and saves it. A change
// with words of its own enters the history as one that can be put back.
func (d *Desk) changeLists(w http.ResponseWriter, r *http.Request, change func(rec *bench.Record, doc *study.Document, at *saved) (what, part, anchor string, err error)) {
	id := r.PathValue("id")
	defer d.writing(id)()
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return
	}
	at := saved{Form: r.PostFormValue("form"), In: map[string]string{}}
	for key := range r.PostForm {
		if p, ok := strings.CutPrefix(key, "set:"); ok {
			at.In[p] = r.PostFormValue(key)
		}
	}
	anchor := ""
	once := func() error {
		rec, doc, err := d.editable(r.Context(), id)
		if err != nil {
			return err
		}
		what, part, to, err := change(rec, doc, &at)
		if err != nil {
			return err
		}
		switch anchor = to; {
		case what == "":
			_, err = bench.Edit(r.Context(), d.nb, rec, doc.Bytes(), rec.CookFiles, d.s.opt.Now())
		case r.PostFormValue("do") == "add":
			_, err = bench.Rewrite(r.Context(), d.nb, rec, doc.Bytes(), part, what, d.s.opt.Now())
		default:
			_, err = bench.Remove(r.Context(), d.nb, rec, doc.Bytes(), part, what, d.s.opt.Now())
		}
		return err
	}
	var err error
	for range mostTries {
		if err = once(); err == nil || fault.As(err) == nil || fault.As(err).Code != "edited-meanwhile" {
			break
		}
	}
	if err == nil {
		http.Redirect(w, r, formPage(r)+"#"+anchorOf(anchor), http.StatusSeeOther)
		return
	}
	at.Error = onField(d.s.publicFault(err))
	status := statusOf(at.Error)
	switch at.Error.Code {
	case "entry-unknown": // nor is its form there any more
		at.Form = "history"
	case "edited-meanwhile":
		status = http.StatusConflict
	case "study-unknown":
		d.s.fail(w, r, 0, err)
		return
	}
	d.showForm(w, r, status, at)
}

// addEntry adds an entry from the fields of its form, and tells where it
// stands on the page.
func addEntry(rec *bench.Record, doc *study.Document, list string, in map[string]string, u units, question string) (string, error) {
	at := list + "[new]."
	typed := func(field string) string { return strings.TrimSpace(in[at+field]) }
	needs := func(field string, code fault.Code, what, fix string) error {
		return fault.New(code, "%s", what).On(at+field, typed(field)).WithFix("%s", fix)
	}
	switch list {
	case "void":
		when := typed("when")
		if study.NewID(when) == "" {
			return "", needs("when", "rule-empty", say("rule-empty"), say("rule-empty-fix"))
		}
		id := typed("id")
		switch {
		case id == "":
			id = freeID(rec.Study, list, firstWords(when))
		case entryIn(rec.Study, list, id) != nil:
			return "", needs("id", "rule-taken", say("rule-taken"), say("rule-taken-fix"))
		}
		return "rule-" + id, doc.Append(list, study.Fields{{Key: "id", Value: id}, {Key: "when", Value: when}})
	case "settings":
		return addSetting(rec.Study, doc, question, typed("name"), typed("value"))
	case "pieces":
		label := typed("label")
		if label == "" {
			return "", needs("label", "label-empty", say("label-empty"), say("label-empty-fix"))
		}
		if entryIn(rec.Study, list, label) != nil {
			return "", needs("label", "label-taken", say("label-taken"), say("label-taken-fix"))
		}
		x := study.Fields{{Key: "label", Value: label}}
		for _, field := range pieceFields {
			if text := typed(field); text != "" && (field != "spare" || text == "yes") {
				x = append(x, study.Field{Key: field, Value: typedValue(at+field, u.completed(at+field, text))})
			}
		}
		return "piece-" + label, doc.Append(list, x)
	case "tastings":
		i := slices.IndexFunc(rec.Study.Questions, func(q study.Question) bool { return q.ID == question && q.Tasting != nil })
		if i < 0 {
			return "", fault.New("list-unknown", "%s", say("list-unknown")).On("question", question).WithFix("%s", say("field-unknown-fix"))
		}
		for _, field := range []string{"n", "correct"} {
			if n, err := strconv.Atoi(typed(field)); err != nil || n < 0 {
				return "", needs(field, "counts-bad", say("counts-bad"), say("counts-bad-fix"))
			}
		}
		id := freeID(rec.Study, list, "paper-"+question)
		note := typed("note")
		if note == "" {
			note = say("counts-note")
		}
		return "counts-" + id, doc.Append(list, study.Fields{{Key: "id", Value: id}, {Key: "question", Value: question}, {Key: "method", Value: rec.Study.Questions[i].Tasting.Method},
			{Key: "n", Value: typedValue(at+"n", typed("n"))}, {Key: "correct", Value: typedValue(at+"correct", typed("correct"))}, {Key: "closed", Value: true}, {Key: "note", Value: note}})
	}
	return "", fault.New("list-unknown", "%s", say("list-unknown")).On("list", list).WithFix("%s", say("field-unknown-fix"))
}

// firstWords makes a short id from the beginning of a sentence.
func firstWords(text string) string {
	words := strings.Fields(text)
	return study.NewID(strings.Join(words[:min(len(words), 5)], " "))
}

// freeID is an id that no entry of a list has.
func freeID(s *study.Study, list, id string) string {
	if id == "" {
		id = "entry"
	}
	for n, free := 2, id; ; n++ {
		if entryIn(s, list, free) == nil {
			return free
		}
		free = id + "-" + strconv.Itoa(n)
	}
}

// removeEntry takes an entry out of a list, and says so.
func removeEntry(rec *bench.Record, doc *study.Document, list string, r *http.Request) (string, error) {
	name := r.PostFormValue("entry")
	entry := entryIn(rec.Study, list, name)
	if entry == nil {
		return "", entryGone()
	}
	if err := seen(r, entry, entryWords(rec.Study, list, name)); err != nil {
		return "", err
	}
	if by := usedBy(rec, list, name); by != "" {
		return "", fault.New("remove-used", "%s", say("remove-used", by)).WithFix("%s", say("remove-used-fix"))
	}
	if r.PostFormValue("sure") != "yes" {
		return "", fault.New("remove-unsure", "%s", say("remove-unsure")).WithFix("%s", say("remove-unsure-fix"))
	}
	if list == "treatments" && inRunOrder(rec.Study, name) {
		if err := doc.Remove("design"); err != nil {
			return "", err
		}
	}
	place, group := list+"["+name+"]", list
	if list == "settings" {
		place, group = settingPath(name)
	}
	err := doc.Remove(place)
	if f := fault.As(err); f != nil && f.Code == "edit-last" {
		err = doc.Remove(group)
	}
	if l := documentLists[list]; l != nil {
		return say("entry-removed", l.word("one"), name), err
	}
	return say("removed-"+list, name), err
}

// entryWords is what an entry says now, for who removes another version.
func entryWords(s *study.Study, list, name string) string {
	switch x := entryIn(s, list, name).(type) {
	case study.VoidRule:
		return x.When
	case study.Question:
		return x.Ask
	case study.Treatment:
		return answer.Words{Study: s}.Treatment(x.ID)
	case string:
		return x
	case study.Tasting:
		return say("tasting-counts", x.Correct, x.N, methodName(x.Method))
	}
	if l := documentLists[list]; l != nil {
		return l.Says(s, name)
	}
	return name
}

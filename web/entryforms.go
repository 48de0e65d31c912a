package web

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// The lists of a study document (void rules, pieces, questions, treatments,
// counts of tastings) are changed entry by entry: fields by the forms of
// [Desk.edit], whole entries by those of [Desk.entries].

// entryForm is an entry of a list as the page shows it, with its forms.
type entryForm struct {
	ID, Name, Says string
	Form           form
	Remove         removal
}

// removal is the form that takes an entry out.
type removal struct {
	Study, ID, Summary, Says string
	List, Entry, Seen, Page  string
	Means                    string // what it means, told beforehand
	Open                     bool
	Error                    *fault.Error
	Sealed                   bool
}

// historyLine is an entry of the history; Seq is 0 where it cannot be undone.
type historyLine struct {
	At   time.Time
	What string
	Seq  int64
	Act  string // what undoing it is called
}

// takeBack is the offer to undo what was just removed or changed.
type takeBack struct {
	Study, What, Part, Page string
	Act                     string // what that is called
	Seq                     int64
}

// controls are the quantities that the page offers to hold the same.
var controls = []string{"thickness", "start", "pan", "mass", "oven", "rest"}

// pieceFields are the keys of a piece behind its label, in the order of the
// form.
var pieceFields = []string{"block", "thickness", "mass", "start", "position", "lot", "twin", "spare"}

// entryValue is a field of an entry as a form shows it.
func entryValue(s *study.Study, path string) (string, bool) {
	if id, field, ok := entryOf(path, "void"); ok {
		for _, v := range s.VoidRules {
			if v.ID == id {
				return v.When, field == "when"
			}
		}
	}
	if label, field, ok := entryOf(path, "pieces"); ok {
		for _, x := range s.Pieces {
			if x.Label == label {
				return pieceValue(x, field)
			}
		}
	}
	if id, field, ok := entryOf(path, "tastings"); ok {
		for _, t := range s.Tastings {
			if t.ID == id {
				v, ok := map[string]string{"n": strconv.Itoa(t.N), "correct": strconv.Itoa(t.Correct), "note": t.Note}[field]
				return v, ok
			}
		}
	}
	return "", false
}

func pieceValue(x study.Piece, field string) (string, bool) {
	switch field {
	case "thickness":
		var all []string
		for _, m := range x.ThicknessM {
			all = append(all, exactly(1000*m)+" mm")
		}
		return strings.Join(all, "; "), true
	case "mass":
		if x.MassKg == 0 {
			return "", true
		}
		return exactly(1000*x.MassKg) + " g", true
	case "start":
		if x.StartC == nil {
			return "", true
		}
		return exactly(*x.StartC) + " °C", true
	case "spare":
		return yesNo(x.Spare), true
	}
	v, ok := map[string]string{"block": x.Block, "lot": x.Lot, "position": x.Position, "twin": x.Twin}[field]
	return v, ok
}

// parted takes a list that somebody typed apart.
func parted(text, by string) []string {
	out := []string{}
	for part := range strings.SplitSeq(text, by) {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// completed puts the unit behind bare numbers typed for a piece: a length or
// temperature in the person's own, a mass in grams.
func (u units) completed(path, text string) string {
	if !strings.HasPrefix(path, "pieces[") {
		return text
	}
	unit := ""
	switch {
	case strings.HasSuffix(path, "].thickness"):
		unit = u.lengthUnit()
	case strings.HasSuffix(path, "].start"):
		unit = u.degrees()
	case strings.HasSuffix(path, "].mass"):
		unit = "g"
	default:
		return text
	}
	parts := strings.Split(text, ";")
	for i, p := range parts {
		if _, err := strconv.ParseFloat(strings.TrimSpace(p), 64); err == nil {
			parts[i] = strings.TrimSpace(p) + " " + unit
		}
	}
	return strings.Join(parts, ";")
}

// openPoint is an open point beside the part of the page that settles it.
func openPoint(f study.Finding) margin {
	m := margin{string(f.Severity), say("severity-" + string(f.Severity)), sentenceOf(beforeCommand(f.What)), sentenceOf(f.Fix)}
	if words := onPage(f); words != "" {
		m.Fix = words
	}
	return m
}

// onPage says what to do about an open point where the check speaks of the
// document or of a command; "" leaves its own words.
func onPage(f study.Finding) string {
	switch f.Code {
	case "no-run-order":
		return say("open-draw-order")
	case "run-order-blocks", "run-order-gap":
		return say("open-draw-again")
	case "no-blocks":
		return say("open-blocks")
	case "no-control", "two-controls":
		return say("open-control")
	case "no-treatment-content":
		return say("open-treatment")
	case "order-piece-unlisted":
		return say("open-unlisted")
	case "no-void-rules":
		return say("open-rules")
	case "no-thickness":
		return say("open-thickness")
	case "no-food", "no-form":
		return say("open-food")
	case "tasted-not-eaten":
		return say("open-eaten")
	case "no-allergens":
		return say("open-allergens")
	case "no-licence":
		return say("open-licence")
	}
	return onListPage(f)
}

// beforeCommand leaves out what a sentence says of trivet's commands.
func beforeCommand(what string) string {
	what, _, _ = strings.Cut(what, "; \"trivet")
	return what
}

// removal makes the form that takes an entry out; nil entries make none.
func (b formBuilder) removal(list, entry, summary, says string) removal {
	x := removal{Study: b.rec.Study.ID, ID: "remove-" + list + "-" + strings.ReplaceAll(entry, " ", "-"), Summary: summary, Says: says, List: list, Entry: entry, Sealed: b.rec.Seal != nil}
	x.Seen = stampOf(entryIn(b.rec.Study, list, entry))
	if b.at.Form == x.ID {
		x.Open, x.Error = true, b.at.Error
	}
	if list == "pieces" {
		x.Page = "pieces"
	}
	return x
}

// adding makes a form for a new entry of a list.
func (b formBuilder) adding(list, id, button string, hidden []choice, fields ...field) form {
	f := b.form(id, button, fields...)
	f.Action, f.Button = "entries", button
	f.Hidden = append([]choice{{"list", list}, {"do", "add"}}, hidden...)
	return f
}

// entryIn finds an entry by its id or label; nil where there is none. What
// moves when other parts of the document are edited is left out.
func entryIn(s *study.Study, list, name string) any {
	switch list {
	case "void":
		return entryWhere(s.VoidRules, func(x study.VoidRule) bool { return x.ID == name })
	case "pieces":
		return entryWhere(s.Pieces, func(x study.Piece) bool { return x.Label == name })
	case "questions":
		for _, x := range s.Questions {
			if x.ID == name {
				x.Line = 0
				return x
			}
		}
	case "treatments":
		for _, x := range s.Treatments {
			if x.ID == name {
				x.Spec = nil
				return x
			}
		}
	case "tastings":
		return entryWhere(s.Tastings, func(x study.Tasting) bool { return x.ID == name })
	case "settings":
		if v, ok := settingIn(s, name); ok {
			return v
		}
	default:
		if l := documentLists[list]; l != nil {
			return l.Find(s, name)
		}
	}
	return nil
}

// entryWhere is the first entry of a list that is the one asked for; nil where
// none is.
func entryWhere[T any](list []T, is func(T) bool) any {
	if i := slices.IndexFunc(list, is); i >= 0 {
		return list[i]
	}
	return nil
}

// partsOf is the part of the page in which each list stands.
var partsOf = map[string]string{"void": "plan", "settings": "treatments", "pieces": "pieces", "questions": "questions", "treatments": "treatments", "tastings": "tastings"}

// usedBy says what else in the study needs an entry; "" nothing.
func usedBy(rec *bench.Record, list, name string) string {
	s := rec.Study
	cookBy := func(is func(study.Cook) bool) string {
		if i := slices.IndexFunc(rec.Cooks, is); i >= 0 {
			return say("used-cook", rec.Cooks[i].Label)
		}
		return ""
	}
	switch list {
	case "void":
		return cookBy(func(c study.Cook) bool { return c.VoidRule == name })
	case "pieces":
		if slices.ContainsFunc(s.Design.RunOrder, func(x study.RunSlot) bool { return x.Piece == name }) && len(s.Pieces) > 1 {
			return say("used-order-piece")
		}
		for _, x := range s.Pieces {
			if x.Twin == name {
				return say("used-twin", x.Label)
			}
		}
		return cookBy(func(c study.Cook) bool { return c.Piece == name })
	case "questions":
		for _, t := range s.Tastings {
			if t.Question == name {
				return say("used-tasting", t.ID)
			}
		}
	case "treatments":
		for _, q := range s.Questions {
			if q.Compare.Treatment == name || q.Compare.Against == name {
				return say("used-question", q.ID)
			}
		}
		if rec.Seal != nil && inRunOrder(s, name) {
			return say("used-order")
		}
		return cookBy(func(c study.Cook) bool { return c.Treatment == name })
	default:
		if l := documentLists[list]; l != nil {
			return l.UsedBy(rec, name)
		}
	}
	return ""
}

func inRunOrder(s *study.Study, treatment string) bool {
	return slices.ContainsFunc(s.Design.RunOrder, func(x study.RunSlot) bool { return x.Treatment == treatment })
}

// entryForms fills in the forms of the study page for its lists.
func (d *Desk) entryForms(v *studyView, b formBuilder) {
	s := b.rec.Study
	names := slices.Clone(controls)
	for _, c := range s.Controlled {
		if !slices.Contains(names, c.Name) {
			names = append(names, c.Name)
		}
	}
	labels := map[string]string{"thickness": say("field-thickness"), "start": say("field-start"), "pan": say("field-pan"), "mass": say("field-piece-mass"), "oven": say("field-oven"), "rest": say("field-rest")}
	var held []field
	for _, name := range names {
		label, hint := labels[name], ""
		if label == "" {
			label = say("field-other-control", name)
		}
		if name == "thickness" {
			hint = say("field-tolerance-hint")
		}
		held = append(held, b.line("controlled."+name, label, hint))
	}
	v.Controlled = b.form("controlled", say("change-controlled"), held...)
	v.Controlled.Try = b.trialAt()
	v.Foods = b.form("foods", say("change-foods"),
		b.pick("foods.animal", say("field-animal"), say("field-animal-hint"), choices("", "beef", "pork", "lamb", "veal", "game", "chicken", "turkey", "duck", "fish", "shellfish", "egg", "none")...),
		b.pick("foods.form", say("field-form"), "", choices("", "intact", "ground", "tenderised", "injected", "stuffed")...),
		b.line("foods.fat", say("field-fat"), say("field-fat-hint")), b.line("foods.allergens", say("field-allergens"), say("field-allergens-is")),
		b.pick("foods.eaten", say("field-eaten"), "", choices("yes", "no")...))
	v.Licence = b.form("licence", say("change-licence"), b.pick("invented", say("field-invented"), say("field-invented-hint"), choices("no", "yes")...), b.line("licence", say("field-licence"), say("field-licence-hint")), b.line("authors", say("field-authors"), say("field-authors-hint")))
	for _, x := range s.VoidRules {
		e := entryForm{ID: "rule-" + x.ID, Says: sentenceOf(x.When)}
		e.Form = b.form(e.ID, say("change-rule"), b.area("void["+x.ID+"].when", say("field-rule"), say("field-rule-hint")))
		e.Form.Try = b.trialAt()
		e.Remove = b.removal("void", x.ID, say("remove-rule"), say("remove-is"))
		v.Rules = append(v.Rules, e)
	}
	v.NewRule = b.adding("void", "new-rule", say("add-rule"), nil, b.area("void[new].when", say("field-rule"), say("field-rule-hint")), b.line("void[new].id", say("field-rule-name"), say("field-rule-name-hint")))
	v.NewRule.Try = b.trialAt()
	v.PiecesSay, v.Food, v.Licensed, v.Authors = piecesSay(s), s.Foods, s.Licence, strings.Join(s.Authors, "; ")
	for i, q := range s.Questions {
		v.Questions[i].Remove = b.removal("questions", q.ID, say("remove-question"), say("remove-is"))
	}
	v.TakeBack = lastRemoved(b.rec)
}

// treatmentForms are the forms of one treatment.
func (b formBuilder) treatmentForms(v *treatmentView) {
	says := say("remove-is")
	if inRunOrder(b.rec.Study, v.ID) {
		says = say("remove-order")
	}
	v.Remove = b.removal("treatments", v.ID, say("remove-treatment", v.Name), says)
}

// countForms are the forms of the counts of one question's tastings, for
// those that were not held in the tasting room.
func (b formBuilder) countForms(line *tastingLine, q study.Question, held bool) {
	fields := func(id, note string) []field {
		at := "tastings[" + id + "]."
		return []field{b.line(at+"n", say("field-n"), say("field-n-hint")), b.line(at+"correct", say("field-correct"), ""), b.line(at+"note", say("field-tasted-note"), note)}
	}
	for _, t := range b.rec.Study.Tastings {
		if t.Question == q.ID {
			e := entryForm{ID: "counts-" + t.ID, Says: say("tasting-counts", t.Correct, t.N, methodName(t.Method))}
			e.Form = b.form(e.ID, say("counts-change"), fields(t.ID, "")...)
			e.Remove = b.removal("tastings", t.ID, say("counts-remove"), say("remove-is"))
			line.Counts = append(line.Counts, e)
		}
	}
	if !held && len(line.Counts) == 0 {
		f := b.adding("tastings", "new-counts-"+q.ID, say("counts-open"), []choice{{"question", q.ID}}, fields("new", "")...)
		f.Button = say("counts-save")
		line.NewCounts = &f
	}
}

func piecesSay(s *study.Study) string {
	if len(s.Pieces) == 0 {
		return say("pieces-none")
	}
	blocks := map[string]bool{}
	for _, x := range s.Pieces {
		blocks[x.Block] = true
	}
	return say("pieces-are", count(len(s.Pieces), "piece", "pieces"), count(len(blocks), "block", "blocks"))
}

// lastRemoved offers to undo the latest change, where it took something out or
// the history keeps what it wrote over.
func lastRemoved(rec *bench.Record) *takeBack {
	if len(rec.Events) == 0 {
		return nil
	}
	last := rec.Events[len(rec.Events)-1]
	gone, ok := bench.RemovalOf(last)
	if !ok || !mayPutBack(rec, last) {
		return nil
	}
	return &takeBack{Study: rec.Study.ID, What: sentenceOf(last.What), Part: gone.Part, Seq: last.Seq, Act: actOf(last)}
}

// actOf is what undoing an entry of the history is called.
func actOf(e study.Event) string {
	if gone, ok := bench.RemovalOf(e); ok && gone.Changed {
		return say("undo-changed")
	}
	return say("undo-removed")
}

func mayPutBack(rec *bench.Record, e study.Event) bool {
	gone, ok := bench.RemovalOf(e)
	if ok {
		_, ok = gone.PutBack(rec.Document)
	}
	return ok
}

// missingPieces are the pieces that the run order names and nobody listed.
func missingPieces(s *study.Study) []study.Fields {
	listed := map[string]bool{}
	for _, x := range s.Pieces {
		listed[x.Label] = true
	}
	var out []study.Fields
	for _, x := range s.Design.RunOrder {
		if x.Piece != "" && !listed[x.Piece] {
			listed[x.Piece] = true
			out = append(out, study.Fields{{Key: "label", Value: x.Piece}, {Key: "block", Value: x.Block}})
		}
	}
	slices.SortFunc(out, func(a, b study.Fields) int { return strings.Compare(fmt.Sprint(a[0].Value), fmt.Sprint(b[0].Value)) })
	return out
}

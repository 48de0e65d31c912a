package web

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/publish"
	"trivet/safety"
	"trivet/study"
	"trivet/tasting"
)

// field is one field of a form of the study page.
type field struct {
	Path, ID, Label, Hint string
	Value, Was            string
	Kind                  string // "" a line, "area", "select"
	Options               []choice
	Wrong                 *fault.Error
	Theirs                string // what somebody else saved meanwhile
	Clash                 bool
}

type choice struct{ Value, Name string }

// form is a set of fields behind "change".
type form struct {
	Study, ID, Summary string
	Fields             []field
	Open               bool
	Error              *fault.Error // one that belongs to no field
	Sealed             bool         // a change will show beside the seal
	Means              string       // what a change means, told before it is saved
	Try                string       // where it is tried out while it is filled in
	Action, Button     string       // where it is sent and by what; "" changes fields
	Hidden             []choice     // what is sent along
}

type margin struct{ Severity, Word, What, Fix string }

type studyView struct {
	ID, Title, State string
	Have             stage  // how much of the page this is
	At               string // where the rest of it is asked for
	Saved            saved
	Sealed, Trashed  bool
	Claim            study.Claim
	ClaimForm        form
	Marginalia       map[string][]margin
	Questions        []questionView
	NewQuestion      newQuestionView
	Readings         readingsView
	Treatments       []treatmentView
	NewTreatment     newTreatmentView
	ControlForm      form
	CutFace          *pictureView
	PlanForm         form
	Plan             publish.Plan
	SealedAt         string
	SealForm         saved
	Rules            []entryForm
	Controlled       form
	NewControl       form
	Offset           form
	OffsetSays       string
	Foods, Licence   form
	Food             study.Foods
	Licensed         string
	Authors          string
	NewRule          form
	PiecesSay        string
	TakeBack         *takeBack // the last change, if it took something out
	OpenPoints       int
	Power            *powerView
	Order            []publish.Slot
	OrderList        listing
	HasOrder         bool
	CanDraw          bool
	Cooks            []cookLine
	CookList         listing
	NewCook          newCookView
	CookPictures     []pictureView
	Overlay          *overlayView // nil where no cook has traces
	Tastings         []tastingLine
	MayLook          bool
	LookAt           string
	Findings         []findingView
	AnswerLine       *pictureView
	Notes            []fault.Note
	Cautions         []safety.Caution
	History          []historyLine
	HistoryList      listing
	Invented         bool
	Problem          *fault.Error
}

type questionView struct {
	ID, Ask  string
	Sentence string
	Meaning  []string
	Form     form
	Remove   removal
	Tasting  bool
	Margin   string
	Response string
}

// Predicted tells whether the model says something of a treatment.
func (v studyView) Predicted() bool {
	return slices.ContainsFunc(v.Treatments, func(t treatmentView) bool { return len(t.Says) > 0 })
}

type newQuestionView struct {
	Responses []choice
	Methods   []choice
	In        map[string]string
	Error     *fault.Error
	Open      bool
}

type treatmentView struct {
	ID, Name string
	Control  bool
	Cook     string
	Set      []choice
	Says     []string
	Error    *fault.Error
	Form     form
	Remove   removal
	// Settings take out what is set for it; NewSetting adds something.
	Settings   []removal
	NewSetting form
}

type cookLine struct {
	Label, Block, Treatment, Role, Day string
	Order                              int
	Empty                              bool
}

type tastingLine struct {
	Question, Ask, Says, Link, LinkText string
	Counted                             bool // says how many were right
	Counts                              []entryForm
	NewCounts                           *form // nil where the tasting is held here
}

type findingView struct {
	publish.Question
	Pictures []pictureView
	Known    knownNote
}

// pictureView is a figure in a page, with its files.
type pictureView struct {
	ID, Study    string
	Wide, Narrow template.HTML
	Alt          string
	Table        figure.Table
	File         string // "svg" or "png": too much to stand in the page itself
	WideSize     [2]int // of a file, px: its place is kept until it comes
	NarrowSize   [2]int
	Rows         int    // of the whole table, which the CSV file has
	Key          string // path part of its files; empty has none
}

// mostInline is the most bytes of a figure that stand in the page itself, which
// is read to its end before anything of it is painted; a larger one is an
// image of its own, and one of more than mostVector is one of pixels, which a
// browser has quicker than what draws them.
const (
	mostInline = 64 << 10
	mostVector = 256 << 10
)

// A figure's table of more than mostRows rows is in its CSV file; the page
// has the first fewRows.
const mostRows, fewRows = 200, 20

func (d *Desk) studyPage(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	now, err := d.versionOf(r.Context(), id)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	if part := r.Header.Get("X-Part"); part != "" {
		d.listPart(w, r, part)
		return
	}
	key := d.pageKey(r, id, now)
	page, st := d.pages.get(key), asWhole
	later := r.Clone(context.Background())
	lay := func(ctx context.Context, st stage) ([]byte, error) {
		return d.studySheet(later.WithContext(ctx), now, st)
	}
	have := stage(r.Header.Get("X-Have"))
	if asksWhole(r) {
		have = asPlain
	}
	if page == nil && opens(r) && have == "" {
		h, err := d.head(r.Context(), id)
		if err == nil && h.Cooks <= fewCooks {
			page, st, err = d.pages.set(key, false, lay).await(r.Context(), "")
		}
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		if page == nil || st != asWhole {
			d.beginStudy(w, r, h, key, lay)
			return
		}
	}
	if page == nil {
		if page, st, err = d.pages.set(key, false, lay).await(r.Context(), have); err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
	}
	if page == nil {
		d.render(w, r, http.StatusOK, "studyshell", frame{Title: now.Title, Script: "study", Study: id, StudyName: now.Title, Coming: true}, studyView{ID: id, Title: now.Title, Have: asShell, At: pageAt(r, id)})
		return
	}
	d.sendSheet(w, r, page, st)
}

// beginStudy answers a browser that opens a study's page which is not set yet:
// the top comes from the study's head, and nothing of the rest is begun before
// it has been painted.
func (d *Desk) beginStudy(w http.ResponseWriter, r *http.Request, h *bench.Head, key string, lay func(context.Context, stage) ([]byte, error)) {
	v := &studyView{ID: h.Study.ID, Have: asPlain, At: pageAt(r, h.Study.ID), State: say("coming-line")}
	if line, ok := d.lineKept(bench.Summary{ID: v.ID, Updated: h.Updated}); ok {
		v.Have, v.State = asWhole, line.State
	}
	d.studyTop(v, h.Record, h.Trashed, saved{})
	open := v.Have != asWhole
	b := d.sendTop(w, r, studyFrame(h.Record, v.Have), d.partIn(unitsOf(r), "studytop", v))
	if !pause(r.Context(), painting) {
		return
	}
	page, st, err := d.pages.set(key, true, lay).await(r.Context(), asTop)
	switch {
	case err != nil:
		d.s.fail(b, r, 0, err)
	case page == nil:
		v.Have = asShell
		b.page.Write(d.page(r, b.frame, restMark+d.partIn(unitsOf(r), "studyrest", v)))
	case st == asWhole && open: // how the study stands is still to be told at the top
		_, rest, _ := bytes.Cut(page.html, []byte(restMark))
		b.page.WriteString(restMark + string(d.partIn(unitsOf(r), "studyhave", v)))
		b.page.Write(rest)
	default:
		b.page.Write(page.html)
	}
	b.finish()
}

// studySheet sets a study's page as far as a stage goes.
func (d *Desk) studySheet(r *http.Request, now bench.Version, st stage) ([]byte, error) {
	rec, err := d.read(r.Context(), r.PathValue("id"), now)
	if err != nil {
		return nil, err
	}
	if st == asWhole && anyTraces(rec) {
		d.plotFirst(r.Context(), rec, now, unitsOf(r))
	}
	v, err := d.studyView(r, rec, saved{}, st)
	if err != nil {
		return nil, err
	}
	return d.page(r, studyFrame(rec, st), d.partIn(unitsOf(r), "studypage", v)), nil
}

func studyFrame(rec *bench.Record, st stage) frame {
	return frame{Title: rec.Study.Title, Invented: rec.Study.Invented, Script: "study", Study: rec.Study.ID, StudyName: rec.Study.Title, Coming: st != asWhole}
}

// showStudy shows a study's page with a form that was refused. It waits for
// no answer: what is not worked out yet comes when the page asks for it.
func (d *Desk) showStudy(w http.ResponseWriter, r *http.Request, status int, at saved) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	st := asPlain
	if d.answerKept(rec) {
		st = asWhole
	}
	v, err := d.studyView(r, rec, at, st)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	send(w, status, d.page(r, studyFrame(rec, st), d.partIn(unitsOf(r), "studypage", v)))
}

// listPart sends a stretch of one of the page's lists.
func (d *Desk) listPart(w http.ResponseWriter, r *http.Request, part string) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v := &studyView{ID: rec.Study.ID}
	switch part {
	case "cooks":
		cookLines(v, rec, r)
	case "order":
		words := answer.Words{Study: rec.Study}
		var all []publish.Slot
		for _, x := range rec.Study.Design.RunOrder {
			all = append(all, publish.Slot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: words.Treatment(x.Treatment), Code: x.Code})
		}
		v.orderLines(all, r)
	default:
		part = "history"
		historyLines(v, rec, r)
	}
	d.renderPart(w, r, http.StatusOK, part+"list", v)
}

// pageAt is the address of a study's page with what was asked of its lists.
func pageAt(r *http.Request, id string) string {
	if q := listsAsked(r); q != "" && r.Method == http.MethodGet {
		return "/studies/" + id + "?" + q
	}
	return "/studies/" + id
}

// pageKey names all that a study's page is made from.
func (d *Desk) pageKey(r *http.Request, id string, now bench.Version) string {
	key := fmt.Sprint(id, " ", now.Revision, now.Updated.UnixNano(), unitsOf(r), listsAsked(r))
	for _, t := range d.s.room.Tastings() {
		if t.Study == id {
			key += fmt.Sprint(t.ID, d.s.room.Closed(t.ID))
		}
	}
	return key
}

// studyTop fills in what the top of a study's page shows, which rests on
// neither the cooks nor the history.
func (d *Desk) studyTop(v *studyView, rec *bench.Record, trashed bool, at saved) formBuilder {
	s := rec.Study
	v.Title, v.Trashed, v.Sealed, v.Claim, v.Invented, v.Marginalia = s.Title, trashed, rec.Seal != nil, s.Claim, s.Invented, map[string][]margin{}
	for _, f := range study.Check(s, rec.CookFiles) {
		part := partOf(f.Where)
		v.Marginalia[part] = append(v.Marginalia[part], openPoint(f))
		if f.Severity != study.Doubt {
			v.OpenPoints++
		}
	}
	b := formBuilder{rec, at}
	v.ClaimForm = b.form("claim", say("change-claim"),
		b.line("study", say("field-title"), ""), b.area("claim.says", say("field-says"), say("field-says-hint")), b.area("claim.scope", say("field-scope"), say("field-scope-hint")),
		b.area("claim.fair", say("field-fair"), say("field-fair-hint")), b.area("claim.against", say("field-against"), say("field-against-hint")))
	d.tastings(v, b)
	return b
}

func (d *Desk) studyView(r *http.Request, rec *bench.Record, at saved, st stage) (*studyView, error) {
	s := rec.Study
	v := &studyView{ID: s.ID, Have: st, At: pageAt(r, s.ID), Saved: at}
	b := d.studyTop(v, rec, bench.Trashed(rec.Events), at)
	u := unitsOf(r)
	words := answer.Words{Study: s, Fahrenheit: u.Fahrenheit}
	for _, q := range s.Questions {
		v.Questions = append(v.Questions, d.question(b, words, q, u))
	}
	v.NewQuestion = newQuestionForm(s, at)
	v.Readings = b.readings()
	v.NewControl, v.Offset, v.OffsetSays = b.newControl(), b.offsetForm(), clockOffset(rec)
	d.entryForms(v, b)
	for _, t := range s.Treatments {
		x := d.treatment(rec, t, u)
		b.treatmentForms(&x)
		b.settingForms(&x, t)
		v.Treatments = append(v.Treatments, x)
	}
	v.NewTreatment = newTreatmentForm(s, at)
	v.ControlForm = b.controlForm(words)
	v.CutFace = d.cutFaces(rec, u)
	v.PlanForm = b.form("plan", say("change-plan"),
		b.line("blocks.what", say("field-blocks-what"), say("field-blocks-what-hint")), b.line("blocks.count", say("field-blocks-count"), say("field-blocks-count-hint")),
		b.line("blocks.pieces", say("field-blocks-pieces"), ""), b.line("blocks.spares", say("field-blocks-spares"), ""),
		b.line("risk.alpha", say("field-alpha"), say("field-alpha-hint")), b.line("risk.power", say("field-power"), ""),
		b.pick("risk.mode", say("field-mode"), say("field-mode-hint"), choice{"fixed", say("mode-fixed")}, choice{"sequential", say("mode-sequential")}, choice{"group-sequential", say("mode-group")}),
		b.line("risk.looks", say("field-looks"), say("field-looks-hint")), b.pick("risk.spending", say("field-spending"), say("field-spending-hint"), choice{"", say("not-said")}, choice{"obrien-fleming", say("spending-obrien-fleming")}, choice{"pocock", say("spending-pocock")}))
	v.PlanForm.Try = b.trialAt()
	v.HasOrder = len(s.Design.RunOrder) > 0
	v.CanDraw = rec.Seal == nil && len(s.Treatments) > 1
	if rec.Seal != nil {
		v.SealedAt = momentWords(rec.Seal.At) + rec.Seal.At.Format(" MST")
	}
	v.NewCook = newCookForm(rec, at)

	var got *bench.Answered
	if st == asWhole {
		var err error
		if got, err = d.answered(r.Context(), rec, false); err != nil {
			v.Problem = d.s.publicFault(err)
		}
		v.State = stateSentence(rec, got)
	} else {
		v.State = countSentence(rec)
	}
	if err := d.fillAnswer(r, v, rec, got, u); err != nil {
		return nil, err
	}
	historyLines(v, rec, r)
	return v, nil
}

// fillAnswer fills in what rests on the cooks.
func (d *Desk) fillAnswer(r *http.Request, v *studyView, rec *bench.Record, got *bench.Answered, u units) error {
	seen := got != nil
	if got == nil { // the plan and the cooks can be shown without their answer
		got = &bench.Answered{Record: rec, Answer: &answer.Answer{Sealed: rec.Seal != nil, Alpha: rec.Study.Risk.Alpha}}
		got.Answer.Changes, _ = bench.SealChanges(rec)
	}
	opt := publish.AssembleOptions{Made: d.s.opt.Now(), Fahrenheit: u.Fahrenheit, Version: d.opt.Version, Brief: true}
	if v.Have != asWhole {
		opt.Results = []answer.CookResult{} // what has to be measured comes later
	}
	rep, err := publish.Assemble(r.Context(), d.nb, got, opt)
	if err != nil {
		return err
	}
	v.Plan = rep.Plan
	for i, c := range rec.Study.Controlled {
		v.Plan.Controls[i].Text = u.written(c.Kind, c.Text)
	}
	v.orderLines(rep.Plan.Order, r)
	cookLines(v, rec, r)
	if anyTraces(rec) {
		v.Overlay = &overlayView{ID: v.ID, Plot: d.plotPlace(), Together: early(rec) && !looked(rec)}
	}
	if v.Have != asWhole {
		return nil
	}
	v.Power = d.power(rec, powerAsk{}, u)
	v.Cautions = rep.Cautions
	v.MayLook = !seen && early(rec)
	if v.MayLook {
		v.LookAt = say("look-at", completeBlocks(rec), rec.Study.Blocks.Count)
	}
	if seen {
		v.Notes = rep.Notes
		if rep.AnswerLine != nil {
			p, err := d.picture(v.ID, "answer-line", *rep.AnswerLine, v.Invented)
			if err == nil {
				v.AnswerLine = p
			}
		}
		for i, q := range rep.Questions {
			f := findingView{Question: q, Known: knownFinding(got.Answer.Findings[i])}
			f.Sentence, f.Printed = sentenceOf(q.Sentence), sentenceOf(q.Printed)
			for _, x := range q.Exhibits {
				if p, err := d.picture(v.ID, x.ID, x.Figure, v.Invented); err == nil {
					f.Pictures = append(f.Pictures, *p)
				}
			}
			v.Findings = append(v.Findings, f)
		}
		for _, x := range rep.Overview {
			if p, err := d.picture(v.ID, x.ID, x.Figure, v.Invented); err == nil {
				v.CookPictures = append(v.CookPictures, *p)
			}
		}
	}
	return nil
}

// picture draws a figure for wide and narrow pages.
func (d *Desk) picture(studyID, key string, f figure.Figure, invented bool) (*pictureView, error) {
	p := &pictureView{ID: "f-" + anchorOf(key), Study: studyID, Key: key, Alt: f.Alt(), Table: f.Table()}
	p.Rows = len(p.Table.Rows)
	if p.Rows > mostRows {
		p.Table.Rows = p.Table.Rows[:fewRows]
	}
	wide, err := sceneOf(f, figure.Page, invented)
	if err != nil {
		return nil, err
	}
	narrow, err := sceneOf(f, figure.Phone, invented)
	if err != nil {
		return nil, err
	}
	if p.Wide, err = drawn(wide, p.ID+"-w"); err != nil {
		return nil, err
	}
	if len(p.Wide) > mostInline && key != "" {
		p.File = "svg"
		if len(p.Wide) > mostVector {
			p.File = "png"
		}
		p.Wide, p.WideSize, p.NarrowSize = "", pixels(wide), pixels(narrow)
		return p, nil
	}
	p.Narrow, err = drawn(narrow, p.ID+"-n")
	return p, err
}

func sceneOf(f figure.Figure, size figure.Size, invented bool) (*figure.Scene, error) {
	if invented {
		return figure.InventedScene(f, size, figure.Light)
	}
	return f.Scene(size, figure.Light)
}

func pixels(sc *figure.Scene) [2]int {
	return [2]int{int(math.Round(sc.Size.W)), int(math.Round(sc.Size.H))}
}

func drawn(sc *figure.Scene, id string) (template.HTML, error) {
	var b strings.Builder
	err := sc.WriteSVG(&b, figure.SVGOptions{Inline: true, ID: id})
	return template.HTML(b.String()), err
}

// partOf tells which part of the page a path of the document belongs to.
func partOf(where string) string {
	switch name, _, _ := strings.Cut(strings.ReplaceAll(where, "[", "."), "."); name {
	case "claim", "study":
		return "claim"
	case "questions", "readings":
		return "questions"
	case "treatments":
		return "treatments"
	case "pieces", "lots", "cooks":
		return "cooks"
	case "tastings":
		return "tastings"
	}
	return "plan"
}

type formBuilder struct {
	rec *bench.Record
	at  saved
}

func (b formBuilder) form(id, summary string, fields ...field) form {
	f := form{Study: b.rec.Study.ID, ID: id, Summary: summary, Sealed: b.rec.Seal != nil}
	mine := b.at.Form == id && b.at.Error != nil
	f.Open = mine
	placed := false
	for _, x := range fields {
		x.Was, _ = valueOf(b.rec, x.Path)
		x.Value, x.ID = x.Was, id+"-"+anchorOf(strings.ReplaceAll(x.Path, ".", "-"))
		if mine {
			if typed, ok := b.at.In[x.Path]; ok {
				x.Value = typed
			}
			if was, ok := b.at.Was[x.Path]; ok {
				x.Was = was // so that the next save still tells what was typed from what was found
			}
			if x.Theirs, x.Clash = b.at.Clashes[x.Path]; x.Clash {
				placed = true
			} else if belongs(b.at.Error.Field, x.Path) {
				x.Wrong, placed = b.at.Error, true
			}
		}
		f.Fields = append(f.Fields, x)
	}
	if mine && !placed {
		f.Error = b.at.Error
	}
	return f
}

// belongs tells whether a fault's field, which may name a list entry by its
// place rather than its id, is that of a path.
func belongs(faulty, path string) bool {
	if faulty == path || strings.HasPrefix(faulty, path+"[") {
		return true
	}
	_, a, ok1 := strings.Cut(faulty, "].")
	_, b, ok2 := strings.Cut(path, "].")
	return ok1 && ok2 && (a == b || strings.HasPrefix(a, b+"["))
}

func (b formBuilder) line(path, label, hint string) field {
	return field{Path: path, Label: label, Hint: hint}
}

func (b formBuilder) area(path, label, hint string) field {
	return field{Path: path, Label: label, Hint: hint, Kind: "area"}
}

func (b formBuilder) pick(path, label, hint string, options ...choice) field {
	return field{Path: path, Label: label, Hint: hint, Kind: "select", Options: options}
}

func choices(all ...string) []choice {
	var out []choice
	for _, x := range all {
		name := x
		if x == "" {
			name = say("not-said")
		}
		out = append(out, choice{x, name})
	}
	return out
}

func responseChoices(s *study.Study) []choice {
	var out []choice
	for _, r := range study.Responses() {
		id, name := r.ID, strings.ReplaceAll(r.ID, "_", " ")
		if r.Target {
			id, name = r.ID+"(60 °C)", name+" (60 °C)"
		}
		out = append(out, choice{id, name + " – " + r.What})
	}
	for _, x := range s.Readings {
		out = append(out, choice{x.ID, strings.ReplaceAll(x.ID, "_", " ") + " – " + x.What})
	}
	return out
}

func directions() []choice {
	return []choice{{"higher", say("direction-higher")}, {"lower", say("direction-lower")}, {"either", say("direction-either")}}
}

func methodChoices() []choice {
	var out []choice
	for _, m := range tasting.Methods() {
		if _, ok := m.(tasting.ForcedChoice); ok {
			x := m.Describe()
			out = append(out, choice{x.Name, x.Title})
		}
	}
	return out
}

func newQuestionForm(s *study.Study, at saved) newQuestionView {
	v := newQuestionView{Responses: responseChoices(s), Methods: methodChoices(), In: map[string]string{"claim": "lower"}}
	if at.Form == "new-question" {
		v.In, v.Error, v.Open = at.In, at.Error, true
	}
	return v
}

func (d *Desk) question(b formBuilder, words answer.Words, q study.Question, u units) questionView {
	v := questionView{ID: q.ID, Ask: sentenceOf(q.Ask), Tasting: q.Tasting != nil, Margin: q.Margin.Text, Response: q.Response}
	at := "questions[" + q.ID + "]."
	if q.Tasting != nil {
		v.Sentence = say("question-tasting", methodName(q.Tasting.Method), percentText(q.Tasting.Discriminators), percentText(q.Tasting.Alpha), percentText(1-q.Tasting.Beta))
		if q.Tasting.DPrime > 0 {
			v.Sentence = say("question-tasting-dprime", methodName(q.Tasting.Method), number(q.Tasting.DPrime), percentText(q.Tasting.Alpha), percentText(1-q.Tasting.Beta))
		}
		v.Sentence += questionSays(q)
		v.Form = b.form("q-"+q.ID, say("change-question"), append([]field{b.area(at+"ask", say("field-ask"), ""), b.pick(at+"tasting.method", say("field-method"), "", methodChoices()...),
			b.line(at+"tasting.discriminators", say("field-pd"), say("field-pd-hint")), b.line(at+"tasting.alpha", say("field-alpha"), ""), b.line(at+"tasting.beta", say("field-beta"), "")}, b.questionFields(q)...)...)
		v.Form.Means, v.Form.Try = b.questionMeans(q), b.trialAt()
		return v
	}
	m := u.margin(q.Margin)
	if m == "" {
		m = say("margin-open")
	}
	v.Sentence = say("question-"+string(q.Claim), words.Treatment(q.Compare.Treatment), words.Treatment(q.Compare.Against), words.Response(q.Response), m)
	v.Meaning = d.marginWords(b.rec, q.Response, q.Margin.Text, u)
	hint := say("field-margin-hint")
	if r, ok := study.LookupResponse(q.Response); ok {
		hint = say("field-margin-hint-as", r.Margins())
	}
	var ts []choice
	for _, t := range b.rec.Study.Treatments {
		ts = append(ts, choice{t.ID, words.Treatment(t.ID)})
	}
	responses := responseChoices(b.rec.Study)
	if !slices.ContainsFunc(responses, func(c choice) bool { return c.Value == q.Response }) {
		responses = append(responses, choice{q.Response, q.Response})
	}
	v.Sentence += questionSays(q)
	v.Form = b.form("q-"+q.ID, say("change-question"), append([]field{b.area(at+"ask", say("field-ask"), say("field-ask-hint")), b.pick(at+"response", say("field-response"), say("field-response-hint"), responses...),
		b.pick(at+"compare.treatment", say("field-treatment"), "", ts...), b.pick(at+"compare.against", say("field-control"), "", ts...),
		b.pick(at+"claim", say("field-direction"), "", directions()...), b.line(at+"margin", say("field-margin"), hint)}, b.questionFields(q)...)...)
	v.Form.Means, v.Form.Try = b.questionMeans(q), b.trialAt()
	return v
}

func methodName(name string) string {
	if m, err := tasting.Lookup(name); err == nil {
		return strings.ToLower(m.Describe().Title[:1]) + m.Describe().Title[1:]
	}
	return name
}

func (d *Desk) tastings(v *studyView, b formBuilder) {
	s := b.rec.Study
	for _, q := range s.Questions {
		if q.Tasting == nil {
			continue
		}
		line := tastingLine{Question: q.ID, Ask: q.Ask, Link: "/tastings/new?study=" + s.ID + "&question=" + q.ID, LinkText: say("tasting-set-up"), Says: say("tasting-none")}
		held := false
		for _, t := range d.s.room.Tastings() {
			if t.Study == s.ID && (t.Question == q.ID || t.Question == "") {
				line.Link, line.LinkText, line.Says = "/tastings/"+t.ID, say("tasting-open-room"), say("tasting-running")
				held = true
				if d.s.room.Closed(t.ID) {
					line.Says = say("tasting-closed")
				}
				break
			}
		}
		for _, t := range s.Tastings {
			if t.Question == q.ID {
				line.Says, line.Counted = say("tasting-counts", t.Correct, t.N, methodName(t.Method)), true
			}
		}
		b.countForms(&line, q, held)
		v.Tastings = append(v.Tastings, line)
	}
}

// cookLines fills the table of cooks with the stretch that is asked for.
func cookLines(v *studyView, rec *bench.Record, r *http.Request) {
	words := answer.Words{Study: rec.Study}
	var some []study.Cook
	some, v.CookList = list(r, rec.Study.ID, "cooks", say("find-cooks"), rec.Cooks, func(c study.Cook) string {
		return strings.Join([]string{c.Label, c.Block, words.Treatment(c.Treatment), string(c.Role), c.Day}, " ")
	})
	for _, c := range some {
		v.Cooks = append(v.Cooks, cookLine{Label: c.Label, Block: c.Block, Treatment: words.Treatment(c.Treatment), Role: string(c.Role), Day: c.Day, Order: c.Order, Empty: len(c.Logs) == 0})
	}
}

// orderLines fills the table of the run order.
func (v *studyView) orderLines(all []publish.Slot, r *http.Request) {
	v.Order, v.OrderList = list(r, v.ID, "order", say("find-order"), all, func(x publish.Slot) string {
		return fmt.Sprint(x.Order, " ", x.Block, " ", x.Piece, " ", x.Treatment, " ", x.Code)
	})
}

// historyLines fills the history, the latest first.
func historyLines(v *studyView, rec *bench.Record, r *http.Request) {
	all := slices.Clone(rec.Events)
	slices.Reverse(all)
	var some []study.Event
	some, v.HistoryList = list(r, rec.Study.ID, "history", say("find-history"), all, func(e study.Event) string {
		return momentWords(e.At) + " " + e.What
	})
	for _, e := range some {
		line := historyLine{At: e.At, What: sentenceOf(e.What)}
		if mayPutBack(rec, e) {
			line.Seq, line.Act = e.Seq, actOf(e)
		}
		v.History = append(v.History, line)
	}
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

func allFaults(err error) []string {
	var out []string
	var list fault.List
	if l, ok := err.(fault.List); ok {
		list = l
	}
	for i, f := range list {
		if i == 20 {
			out = append(out, fmt.Sprintf("… %d more", len(list)-20))
			break
		}
		out = append(out, strings.TrimSpace(f.Where()+" "+sentenceOf(f.Message)+" "+sentenceOf(f.Fix)))
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

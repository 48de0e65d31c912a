package web

import (
	"context"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/study"
)

// DeskOptions set the desk up.
type DeskOptions struct {
	// OpenFolder opens an unpacked package or plain folder for reading, and
	// tells the study in it and whether it is a package.
	OpenFolder func(ctx context.Context, dir string) (rd bench.Reader, id string, isPackage bool, err error)
	// Incoming is a folder for logs that were dropped on a page and are not
	// loaded yet, so that a reload or a restart loses none of them.
	Incoming string
	// Maps is the folder of saved column maps, which "trivet load" reads too;
	// "" keeps none.
	Maps    string
	Version string // of trivet, printed with the findings
	// Publishing writes what leaves the desk as files.
	Publishing Publishing
	// Audit takes one line of JSON for every request that changes something:
	// when, by which role, from where, what, and whether it was done. nil
	// discards. Writes are whole lines, one at a time.
	Audit io.Writer
	// ReadAudit opens what Audit has taken, for the lead to read; nil if it
	// is not kept.
	ReadAudit func() (io.ReadCloser, error)
}

// Desk is the part of the app that holds the studies: the list of them, the
// page of each, its cooks and the logs on their way in. Its Handler serves
// the tasting room as well.
type Desk struct {
	s   *Server
	nb  bench.Notebook
	opt DeskOptions
	mux *http.ServeMux
	ui  *ui

	mu     sync.Mutex
	writes map[string]*sync.Mutex // one edit of a study at a time
	kept   map[string]keptAnswer

	lines    map[string]keptLine
	photos   *photoShelf
	dry      map[string]*logfile.Log // dry runs, by log and map
	guesses  map[string]readLog      // of waiting logs, by hash
	loads    map[string][]*loadRun   // being loaded, by study
	pages    setPages
	auditing sync.Mutex
}

// NewDesk makes the desk of a notebook on a server.
func NewDesk(s *Server, nb bench.Notebook, opt DeskOptions) (*Desk, error) {
	u, err := newUI(s.assets.themes)
	if err != nil {
		return nil, err
	}
	d := &Desk{s: s, nb: nb, opt: opt, mux: http.NewServeMux(), ui: u, writes: map[string]*sync.Mutex{}, kept: map[string]keptAnswer{}, lines: map[string]keptLine{}, photos: newPhotoShelf()}
	d.routes()
	return d, nil
}

func (d *Desk) routes() {
	on := func(pattern string, by who, h http.Handler) { d.s.handle(d.mux, pattern, by, h) }
	lead := func(pattern string, h http.HandlerFunc) { on(pattern, leadAlone, h) }
	on("GET /ui/{name}", anyone, d.ui)
	d.mux.Handle("/", d.s.mux) // the routes of the tasting room
	lead("GET /{$}", d.deskPage)
	lead("GET /tastings", d.s.desk)
	on("POST /units", anyone, http.HandlerFunc(d.setUnits)) // each person's own
	lead("POST /studies", d.newStudy)
	lead("POST /import", unhurried(d.importStudy))
	lead("GET /trash", d.trashPage)
	lead("GET /studies/{id}", d.studyPage)
	lead("POST /studies/{id}/trash", d.trashStudy)
	lead("POST /studies/{id}/restore", d.restoreStudy)
	lead("POST /studies/{id}/edit", d.edit)
	lead("GET /studies/{id}/text", d.textPage)
	lead("POST /studies/{id}/text", d.saveText)
	lead("POST /studies/{id}/questions", d.addQuestion)
	lead("POST /studies/{id}/treatments", d.addTreatment)
	lead("POST /studies/{id}/entries", d.entries)
	lead("POST /studies/{id}/undo", d.putBack)
	lead("GET /studies/{id}/pieces", d.piecesPage)
	lead("GET /studies/{id}/instruments", d.instrumentsPage)
	lead("GET /studies/{id}/trial", d.trialPart)
	lead("GET /studies/{id}/order", d.orderPage)
	lead("POST /studies/{id}/order", d.setOrder)
	lead("POST /studies/{id}/seal", d.seal)
	lead("POST /studies/{id}/look", d.look)
	lead("GET /studies/{id}/traces", d.overlayPage)
	lead("GET /studies/{id}/power", d.powerPart)
	lead("GET /studies/{id}/margin", d.marginPart)
	lead("GET /studies/{id}/figures/{figure}", d.figureFile)
	lead("GET /studies/{id}/report", unhurried(d.reportPage))
	lead("GET /studies/{id}/report.zip", unhurried(d.reportFile))
	lead("GET /studies/{id}/package.zip", unhurried(d.packageFile))
	lead("GET /studies/{id}/sheets", d.sheetsPage)
	lead("GET /studies/{id}/sheets.pdf", d.sheetsFile)
	lead("GET /copy", unhurried(d.notebookFile))
	lead("GET /studies/{id}/treatments/{treatment}", d.treatmentPage)
	lead("POST /studies/{id}/treatments/{treatment}", d.saveTreatment)
	lead("POST /studies/{id}/treatments/{treatment}/predict", d.predictPart)
	lead("POST /studies/{id}/treatments/{treatment}/reshape", d.reshapeTreatment)
	lead("POST /studies/{id}/cooks", d.addCook)
	lead("POST /studies/{id}/cooks/{cook}/role", d.saveRole)
	lead("POST /studies/{id}/cooks/{cook}/clocks", d.saveClock)
	lead("POST /studies/{id}/cooks/{cook}/channels", d.saveChannels)
	lead("POST /studies/{id}/links", d.makeLink)
	// Who cooks reads and writes what happened at the stove, and no more.
	cook := func(pattern string, h http.HandlerFunc) { on(pattern, atStove, d.atTheStove(h)) }
	cook("GET /studies/{id}/cooks", d.cooksPage)
	cook("GET /studies/{id}/cooks/{cook}", d.cookPage)
	cook("GET /studies/{id}/cooks/{cook}/traces", d.cookTraces)
	cook("POST /studies/{id}/cooks/{cook}/day", d.saveDay)
	cook("POST /studies/{id}/cooks/{cook}/sheet", d.saveSheet)
	cook("POST /studies/{id}/cooks/{cook}/marks", d.saveMark)
	cook("POST /studies/{id}/cooks/{cook}/weighings", d.saveWeighing)
	cook("POST /studies/{id}/cooks/{cook}/readings", d.saveReading)
	cook("POST /studies/{id}/cooks/{cook}/deviations", d.saveDeviation)
	cook("POST /studies/{id}/cooks/{cook}/undo", d.undo)
	cook("POST /studies/{id}/cooks/{cook}/photos", unhurried(d.addPhoto))
	cook("GET /studies/{id}/cooks/{cook}/photos/{photo}", d.photoFile)
	cook("POST /studies/{id}/cooks/{cook}/photos/{photo}", d.savePhoto)
	cook("GET /studies/{id}/load", d.loadPage)
	cook("GET /studies/{id}/load/progress", d.loadProgress)
	cook("POST /studies/{id}/load", unhurried(d.stageLogs))
	cook("POST /studies/{id}/load/{log}", unhurried(d.loadStaged))
	on("GET /c/{token}", byCook, http.HandlerFunc(d.cookDoor))
	on("POST /c/{token}", byCook, http.HandlerFunc(d.openCookLink))
	on("GET /r/{token}", byReader, unhurried(d.readerPage))
	lead("GET /links", d.linksPage)
	lead("POST /links", d.handOutAny)
	lead("POST /links/handed/{link}", d.revokeLink)
	lead("POST /links/sessions/{session}", d.endSession)
	lead("POST /links/places/{link}", d.refusePlace)
	lead("POST /links/leads", d.signOutLeads)
	lead("GET /audit", d.auditPage)
}

// Handler is the whole app with the desk: guards outside, pages inside.
func (d *Desk) Handler() http.Handler {
	return d.s.guard.around(d.s, d.pages.opened.around(packed(d.s.leads.load(noteRoute(d.audited(d.mux))))))
}

// Warm works out how every study stands, so that the first page is as quick
// as the next. It looks at no answer that has to be asked for.
func (d *Desk) Warm(ctx context.Context) {
	all, err := d.nb.Studies(ctx)
	if err != nil {
		return
	}
	for i, x := range all {
		d.pages.opened.aside(ctx)
		if _, err := d.deskLine(ctx, x); err != nil {
			return
		}
		if i >= mostWarmed || x.Trashed {
			continue
		}
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, "/studies/"+x.ID, nil)
		if err != nil {
			continue
		}
		r.SetPathValue("id", x.ID)
		if now, err := d.versionOf(ctx, x.ID); err == nil {
			if page, err := d.studySheet(r, now, asWhole); err == nil {
				d.pages.put(d.pageKey(r, x.ID, now), newSheet(page))
			}
		}
	}
}

// mostWarmed is how many studies, the latest changed first, have their page
// set when the server starts.
const mostWarmed = 12

// writing lets one change of a study through at a time, so that what an edit
// was checked against is what it replaces.
func (d *Desk) writing(id string) func() {
	d.mu.Lock()
	m := d.writes[id]
	if m == nil {
		m = &sync.Mutex{}
		d.writes[id] = m
	}
	d.mu.Unlock()
	m.Lock()
	return m.Unlock
}

// deskLine is a study in the list.
type deskLine struct {
	ID, Title, State string
	Invented         bool
	Updated          string
	Coming           bool // how it stands is being worked out
}

type deskList struct {
	Lines    []deskLine
	List     listing
	Have     stage
	Query    string
	InTrash  int
	Trash    bool // this is the trash
	Title    string
	Error    *fault.Error
	Import   *fault.Error
	Built    bool
	Any      bool
	Tastings int
}

func (d *Desk) deskPage(w http.ResponseWriter, r *http.Request) {
	d.showDesk(w, r, http.StatusOK, deskList{Query: strings.TrimSpace(r.FormValue("q"))})
}

func (d *Desk) trashPage(w http.ResponseWriter, r *http.Request) {
	d.showDesk(w, r, http.StatusOK, deskList{Trash: true})
}

func (d *Desk) showDesk(w http.ResponseWriter, r *http.Request, status int, v deskList) {
	all, err := d.nb.Studies(r.Context())
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	v.Built, v.Tastings = d.ui.built(), len(d.s.room.Tastings())
	var found []bench.Summary
	for _, x := range all {
		if x.Trashed {
			v.InTrash++
		}
		v.Any = v.Any || !x.Trashed
		if x.Trashed == v.Trash && matches(v.Query, x.Title, x.ID) {
			found = append(found, x)
		}
	}
	found, v.List = list(r, "", "studies", "", found, func(x bench.Summary) string { return x.Title })
	v.Lines = d.deskLines(r, found)
	v.Have = asWhole
	for _, l := range v.Lines {
		if l.Coming {
			v.Have = asPlain
		}
	}
	title := say("studies")
	if v.Trash {
		title = say("trash")
	}
	d.render(w, r, status, "deskpage", frame{Title: title, Script: "desk", Coming: v.Have != asWhole}, v)
}

// deskLines says how studies stand. What is not worked out yet is begun, and
// waited for a moment; a script that has the page waits for the rest.
func (d *Desk) deskLines(r *http.Request, all []bench.Summary) []deskLine {
	wait := patience
	if r.Header.Get("X-Have") != "" || asksWhole(r) {
		wait = longWait
	}
	late := time.NewTimer(wait)
	defer late.Stop()
	out := make([]deskLine, len(all))
	waiting := make([]chan deskLine, len(all))
	for i, x := range all {
		var ok bool
		if out[i], ok = d.lineKept(x); ok {
			continue
		}
		out[i] = deskLine{ID: x.ID, Title: x.Title, Updated: dateWords(x.Updated, false), Coming: true}
		waiting[i] = make(chan deskLine, 1)
		d.pages.do(x.Cooks > fewCooks, func(ctx context.Context) {
			if line, err := d.deskLine(ctx, x); err == nil {
				waiting[i] <- line
			}
		})
	}
	for i, c := range waiting {
		if c == nil {
			continue
		}
		select {
		case out[i] = <-c:
		case <-late.C:
			late.Reset(0)
		case <-r.Context().Done():
			return out
		}
	}
	return out
}

// lineKept is the line of a study that has not changed since it was written.
func (d *Desk) lineKept(x bench.Summary) (deskLine, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	k, ok := d.lines[x.ID]
	return k.line, ok && k.updated.Equal(x.Updated)
}

// deskLine says how a study stands, from what is kept where nothing changed.
func (d *Desk) deskLine(ctx context.Context, x bench.Summary) (deskLine, error) {
	if line, ok := d.lineKept(x); ok {
		return line, nil
	}
	rec, err := d.nb.Record(ctx, x.ID)
	if err != nil {
		return deskLine{}, err
	}
	got, err := d.answered(ctx, rec, false)
	if err != nil { // the study's own page says what is wrong
		d.s.opt.Log.Warn("answer", "study", x.ID, "what", err)
		got = nil
	}
	line := deskLine{ID: x.ID, Title: x.Title, State: stateSentence(rec, got), Invented: rec.Study.Invented, Updated: dateWords(x.Updated, false)}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lines[x.ID] = keptLine{rec.Updated, line}
	return line, nil
}

// keptLine is a study's line as it was at one change.
type keptLine struct {
	updated time.Time
	line    deskLine
}

// matches finds every word of a query in a title or id, whatever the capitals.
func matches(query string, in ...string) bool {
	text := strings.ToLower(strings.Join(in, " "))
	for _, word := range strings.Fields(strings.ToLower(query)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}

// completeBlocks counts the blocks in which every treatment has a cook that
// counts.
func completeBlocks(rec *bench.Record) int {
	have := map[string]map[string]bool{}
	for _, c := range rec.Cooks {
		if c.Role == study.Pilot || c.Role == study.Void {
			continue
		}
		if have[c.Block] == nil {
			have[c.Block] = map[string]bool{}
		}
		have[c.Block][c.Treatment] = true
	}
	n := 0
	for _, t := range have {
		if len(t) >= len(rec.Study.Treatments) {
			n++
		}
	}
	return n
}

// stateSentence says how far a study is.
func stateSentence(rec *bench.Record, got *bench.Answered) string {
	text := countSentence(rec)
	if len(rec.Cooks) == 0 {
		return text
	}
	parts := []string{strings.TrimSuffix(text, ".")}
	if got == nil {
		parts = append(parts, say("state-unseen"))
	} else {
		for _, f := range got.Answer.Findings {
			parts = append(parts, findingWords(f))
		}
	}
	return strings.Join(parts, "; ") + "."
}

// countSentence says how far a study is, but for what its answer says.
func countSentence(rec *bench.Record) string {
	s := rec.Study
	done := completeBlocks(rec)
	switch {
	case len(rec.Cooks) == 0 && rec.Seal == nil:
		open := 0
		for _, f := range study.Check(s, rec.CookFiles) {
			if f.Severity != study.Doubt {
				open++
			}
		}
		if open > 0 {
			return say("state-planning", count(open, "point", "points"))
		}
		return say("state-unsealed")
	case len(rec.Cooks) == 0:
		return say("state-sealed", count(s.Blocks.Count, "block", "blocks"))
	case s.Blocks.Count > 0:
		return answer.Capital(say("state-blocks", done, s.Blocks.Count)) + "."
	}
	return answer.Capital(count(done, "block", "blocks")+" "+say("state-cooked")) + "."
}

// findingWords is a finding as part of a sentence: "juicier: not settled,
// about 3 more".
func findingWords(f *answer.Finding) string {
	text := f.Question + ": " + f.Printed
	if f.Evidence != nil && f.Evidence.More != nil && f.Verdict != nil && *f.Verdict == answer.Unsettled {
		m := f.Evidence.More
		switch {
		case m.To > m.From:
			text += ", " + say("state-more-range", m.From, m.To)
		case m.From > 0:
			text += ", " + say("state-more", m.From)
		}
	}
	return text
}

func (d *Desk) newStudy(w http.ResponseWriter, r *http.Request) {
	title := strings.TrimSpace(r.FormValue("title"))
	problem := func(err error) {
		f := d.s.publicFault(err)
		d.showDesk(w, r, statusOf(f), deskList{Title: title, Error: f})
	}
	if title == "" {
		problem(fault.New("title-missing", "%s", say("title-missing")).On("title", "").WithFix("%s", say("title-missing-fix")))
		return
	}
	st, err := bench.Create(r.Context(), d.nb, title, d.s.opt.Now())
	if err != nil {
		problem(err)
		return
	}
	http.Redirect(w, r, "/studies/"+st.ID, http.StatusSeeOther)
}

func (d *Desk) trashStudy(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	if err := bench.Trash(r.Context(), d.nb, id, d.s.opt.Now()); err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	http.Redirect(w, r, "/trash", http.StatusSeeOther)
}

func (d *Desk) restoreStudy(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	if err := bench.Restore(r.Context(), d.nb, id, d.s.opt.Now()); err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	http.Redirect(w, r, "/studies/"+id, http.StatusSeeOther)
}

// keptAnswer is the answer of a study as it was at one change.
type keptAnswer struct {
	updated time.Time
	got     *bench.Answered
}

// early tells whether looking at the answer now is a look before the planned
// number, which enters the history.
func early(rec *bench.Record) bool {
	n := len(rec.Blocks())
	return rec.Seal != nil && n > 0 && n < rec.Study.Blocks.Count
}

// looked tells whether the last thing that happened to a study was a look at
// its answer: nothing new can be learned by looking again.
func looked(rec *bench.Record) bool {
	return len(rec.Events) > 0 && rec.Events[len(rec.Events)-1].Kind == study.EventLooked
}

// onlyReads hides that a notebook can be written, so that showing an answer
// again is no second look.
type onlyReads struct{ bench.Reader }

// answerKept tells whether what [Desk.answered] returns is there already.
func (d *Desk) answerKept(rec *bench.Record) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	k, ok := d.kept[rec.Study.ID]
	return ok && k.updated.Equal(rec.Updated)
}

// answered answers a study, from what is kept where nothing has changed. Of a
// sealed study that is not finished it returns nil unless somebody asks to
// look, or has looked since the last change.
func (d *Desk) answered(ctx context.Context, rec *bench.Record, look bool) (*bench.Answered, error) {
	id := rec.Study.ID
	d.mu.Lock()
	k, ok := d.kept[id]
	d.mu.Unlock()
	if ok && k.updated.Equal(rec.Updated) {
		return k.got, nil
	}
	if len(rec.Cooks) == 0 && !slices.ContainsFunc(rec.Study.Questions, func(q study.Question) bool { return q.Tasting != nil }) {
		return nil, nil
	}
	if early(rec) && !look && !looked(rec) {
		return nil, nil
	}
	if look {
		return d.answer(ctx, rec, true)
	}
	// Whoever asks meanwhile waits for the same answer, which outlives the
	// request that asked first.
	d.pages.begin()
	got, err, _ := d.pages.answering.Do(id+rec.Updated.String(), func() (any, error) { return d.answer(d.pages.life, rec, false) })
	if err != nil {
		return nil, err
	}
	return got.(*bench.Answered), nil
}

func (d *Desk) answer(ctx context.Context, rec *bench.Record, look bool) (*bench.Answered, error) {
	id := rec.Study.ID
	var rd bench.Reader = d.nb
	if early(rec) && !look {
		rd = onlyReads{d.nb}
	}
	got, err := bench.Answer(ctx, rd, id, bench.AnswerOptions{Now: d.s.opt.Now(), Record: rec, Progress: func(int, int) { d.pages.opened.aside(ctx) }})
	if err != nil {
		return nil, err
	}
	updated := got.Record.Updated
	if early(rec) && look { // the look itself changed the study
		after, err := d.nb.Record(ctx, id)
		if err != nil {
			return nil, err
		}
		if len(after.Events) != len(got.Record.Events)+1 {
			return got, nil
		}
		updated, got.Record = after.Updated, after
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	// A large study is kept at the cost of others.
	cooks := len(got.Record.Cooks)
	for _, k := range d.kept {
		cooks += len(k.got.Record.Cooks)
	}
	if cooks > mostKeptCooks {
		clear(d.kept)
	}
	d.kept[id] = keptAnswer{updated, got}
	return got, nil
}

// mostKeptCooks bounds the answers kept in memory, by the cooks they are of.
const mostKeptCooks = 20_000

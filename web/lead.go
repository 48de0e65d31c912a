package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

// deskRow is one tasting in the list.
type deskRow struct {
	ID, Title, Method, State string
	Invented                 bool
}

type deskView struct {
	Rows    []deskRow
	Studies bool
}

func (s *Server) desk(w http.ResponseWriter, r *http.Request) {
	studies, err := s.store.Studies(r.Context())
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := deskView{Studies: len(studies) > 0}
	for _, t := range s.room.Tastings() {
		state, err := s.stateOf(r, t)
		if err != nil {
			s.fail(w, r, 0, err)
			return
		}
		v.Rows = append(v.Rows, deskRow{t.ID, t.Title, methodTitle(t), state, t.Invented})
	}
	s.render(w, r, http.StatusOK, "desk", page{Title: say("desk-title"), Lead: true}, v)
}

func methodTitle(t *bench.Tasting) string {
	m, err := tasting.Lookup(t.Document.Session.Method)
	if err != nil {
		return t.Document.Session.Method
	}
	return m.Describe().Title
}

// stateOf says in a sentence how far a tasting is.
func (s *Server) stateOf(r *http.Request, t *bench.Tasting) (string, error) {
	seats, err := s.room.Seats(r.Context(), t)
	if err != nil {
		return "", err
	}
	in, sets := 0, 0
	for _, x := range seats {
		in += len(x.Answered)
		sets += x.Sets
	}
	if s.room.Closed(t.ID) {
		return say("state-closed", in, sets), nil
	}
	return say("state-open", in, sets), nil
}

type seatRow struct {
	ID, State string
	Answered  int
	Sets      int
	Link      string
	MayFree   bool
	Gone      bool
}

type waveRow struct {
	Wave     int
	CutAt    string
	ServeBy  string
	Trays    int
	LastDone string
}

type tastingView struct {
	ID, Title    string
	State        string
	Closed       bool
	Unlocked     bool
	LocalOnly    bool
	Method       tasting.Description
	Commitment   string
	OpenedAt     string
	Products     []string
	Rule         []fact
	Seats        []seatRow
	NotServed    int
	Missing      int
	ServerLink   string
	PreparerLink string
	WatchLink    string
	Waves        []waveRow
	Notes        []fault.Note
	Cautions     []safety.Caution
	Error        *fault.Error
	Done         string // what was just done
	Trays        int
	Result       *resultView
}

type fact struct{ Term, Text string }

func (s *Server) tastingPage(w http.ResponseWriter, r *http.Request) {
	s.showTasting(w, r, http.StatusOK, nil, "")
}

// leadTasting finds the tasting of a lead's page.
func (s *Server) leadTasting(w http.ResponseWriter, r *http.Request) (*bench.Tasting, bool) {
	t, err := s.room.Tasting(r.PathValue("id"))
	if err != nil {
		s.fail(w, r, 0, err)
		return nil, false
	}
	return t, true
}

func (s *Server) showTasting(w http.ResponseWriter, r *http.Request, status int, f *fault.Error, done string) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	v, err := s.tastingView(r, t)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v.Error, v.Done = f, done
	s.render(w, r, status, "tasting", page{Title: t.Title, Invented: t.Invented, Lead: true, Script: "lead.js"}, v)
}

func (s *Server) tastingView(r *http.Request, t *bench.Tasting) (*tastingView, error) {
	m, err := tasting.Lookup(t.Document.Session.Method)
	if err != nil {
		return nil, err
	}
	v := &tastingView{ID: t.ID, Title: t.Title, Closed: s.room.Closed(t.ID), Method: m.Describe(), Commitment: t.Lock().Commitment,
		OpenedAt: t.OpenedAt.Format("2006-01-02 15:04 MST"), NotServed: t.NotServed, Notes: t.Notes, Cautions: t.Cautions(safety.OnPlan),
		Trays: len(t.Document.Session.Trays), LocalOnly: !s.leads.signIn}
	if v.State, err = s.stateOf(r, t); err != nil {
		return nil, err
	}
	for _, p := range t.Document.Setup.Products {
		v.Products = append(v.Products, p.ID)
	}
	v.Rule = append(ruleFacts(t, m), fact{say("plan-pace"), paceText(t.Pace)})
	seats, err := s.room.Seats(r.Context(), t)
	if err != nil {
		return nil, err
	}
	secrets := s.vault.of(t.ID)
	link := func(p bench.Place) string {
		if secrets == nil {
			return ""
		}
		return s.base(r, p.Role) + linkPaths[p.Role] + secrets.Token(p)
	}
	for _, x := range seats {
		v.Seats = append(v.Seats, seatRow{ID: x.ID, State: say("seat-" + strings.ReplaceAll(string(x.State), " ", "-")), Answered: len(x.Answered), Sets: x.Sets,
			Link: link(bench.Place{Role: tasting.Taster, Seat: x.ID}), Gone: x.State == bench.SeatWithdrawn,
			MayFree: len(x.Answered) == 0 && (x.State == bench.SeatNotServed || x.State == bench.SeatReady)})
		if x.State != bench.SeatWithdrawn {
			v.Missing += x.Sets - len(x.Answered)
		}
	}
	if secrets != nil {
		v.Unlocked = true
		v.ServerLink, v.WatchLink = link(bench.Place{Role: tasting.Server}), link(bench.Place{Role: tasting.Reader})
		v.PreparerLink = s.base(r, tasting.Preparer) + linkPaths[tasting.Preparer] + secrets.carve
	}
	table, err := tasting.Schedule(t.Document.Session.Server(), t.Pace)
	if err != nil {
		return nil, err
	}
	for _, x := range table.Waves {
		row := waveRow{Wave: x.Wave, CutAt: clock(x.CutAt), Trays: len(x.Trays), LastDone: clock(x.LastDone)}
		if x.ServeBy != nil {
			row.ServeBy = clock(*x.ServeBy)
		}
		v.Waves = append(v.Waves, row)
	}
	v.Notes = append(v.Notes, table.Notes...)
	if v.Closed {
		if v.Result, err = s.resultOf(r, t, m); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// ruleFacts says by what the tasting will be judged: fixed when it was dealt.
func ruleFacts(t *bench.Tasting, m tasting.Method) []fact {
	rule := t.Document.Rule
	out := []fact{{say("rule-alpha"), number(rule.Alpha)}}
	fc, choice := m.(tasting.ForcedChoice)
	if !choice {
		return out
	}
	aim := rule.For
	if aim == "" {
		aim = tasting.ForDifference
	}
	beta := rule.Beta
	if beta == 0 {
		beta = rule.Alpha
	}
	out = append([]fact{{say("rule-for"), say("aim-" + string(aim))}}, out...)
	n := len(t.Document.Session.Trays)
	goal := tasting.Goal{For: aim, Alpha: rule.Alpha, Beta: beta, Discriminators: rule.Discriminators, DPrime: rule.DPrime}
	switch {
	case rule.Discriminators > 0:
		out = append(out, fact{say("rule-pd"), percentText(rule.Discriminators)})
	case rule.DPrime > 0:
		out = append(out, fact{say("rule-d"), number(rule.DPrime)})
	default:
		return append(out, fact{say("rule-critical"), criticalText(aim, tasting.PointAt(fc, tasting.Goal{For: aim, Alpha: rule.Alpha, Beta: beta, Discriminators: 0.3}, n).Critical, n)})
	}
	p := tasting.PointAt(fc, goal, n)
	return append(out, fact{say("rule-critical"), criticalText(aim, p.Critical, n)}, fact{say("rule-power"), percentText(p.Power)})
}

// paceText says how fast a session runs, defaults filled in.
func paceText(p tasting.Pace) string {
	d := tasting.DefaultPace()
	or := func(v, def float64) string {
		if v <= 0 {
			v = def
		}
		return durationText(v)
	}
	text := say("pace-text", or(p.SampleSeconds, d.SampleSeconds), or(p.CleanseSeconds, d.CleanseSeconds), or(p.SetSeconds, d.SetSeconds), max(1, p.AtOnce))
	if p.HoldMinutes > 0 {
		text += say("pace-holding", durationText(60*p.HoldMinutes))
	}
	return text
}

func criticalText(aim tasting.Aim, critical, n int) string {
	switch {
	case critical < 0 || critical > n:
		return say("critical-none", n)
	case aim == tasting.ForSimilarity:
		return say("critical-most", critical, n)
	}
	return say("critical-least", critical, n)
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }

func percentText(v float64) string { return strconv.FormatFloat(100*v, 'f', 0, 64) + " %" }

func (s *Server) unlock(w http.ResponseWriter, r *http.Request) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	secrets, err := s.openKey(r, t)
	if err != nil {
		f := s.publicFault(err)
		s.showTasting(w, r, statusOf(f), f, "")
		return
	}
	if err := s.vault.keep(t.ID, secrets); err != nil {
		s.fail(w, r, 0, err)
		return
	}
	s.remember(w, t, tasting.Lead)
	http.Redirect(w, r, "/tastings/"+t.ID+"#people", http.StatusSeeOther)
}

// openKey opens a tasting's key with the passphrase of a form, slowly.
func (s *Server) openKey(r *http.Request, t *bench.Tasting) (*bench.TastingSecrets, error) {
	if !s.guard.wrong.allow(networkOf(r)) {
		return nil, tooMany()
	}
	done, err := s.guard.costlyTurn(r.Context())
	if err != nil {
		return nil, err
	}
	defer done()
	return s.room.Unlock(t, r.FormValue("passphrase"))
}

func (s *Server) lockAgain(w http.ResponseWriter, r *http.Request) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	if err := s.vault.forget(t.ID); err != nil {
		s.fail(w, r, 0, err)
		return
	}
	http.Redirect(w, r, "/tastings/"+t.ID, http.StatusSeeOther)
}

func (s *Server) freeSeat(w http.ResponseWriter, r *http.Request) {
	s.leadAct(w, r, "#people", func(t *bench.Tasting) error { return s.room.FreeSeat(r.Context(), t, r.FormValue("seat")) })
}

func (s *Server) withdrawFor(w http.ResponseWriter, r *http.Request) {
	s.leadAct(w, r, "#people", func(t *bench.Tasting) error {
		_, err := s.room.Withdraw(r.Context(), t, r.FormValue("seat"))
		return err
	})
}

func (s *Server) leadDeviation(w http.ResponseWriter, r *http.Request) {
	s.leadAct(w, r, "#deviations", func(t *bench.Tasting) error { return s.deviate(r, t) })
}

func (s *Server) deviate(r *http.Request, t *bench.Tasting) error {
	tray := 0
	if text := strings.TrimSpace(r.FormValue("tray")); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return fault.New("deviation", "%s", say("tray-bad")).On("tray", text).WithFix("%s", say("tray-fix", len(t.Document.Session.Trays)))
		}
		tray = n
	}
	what := strings.TrimSpace(r.FormValue("what"))
	if len([]rune(what)) > 500 {
		return fault.New("deviation", "%s", say("deviation-long")).WithFix("%s", say("deviation-long-fix"))
	}
	return s.room.Deviate(r.Context(), t, tray, what)
}

// leadAct does something to a tasting and shows its page again.
func (s *Server) leadAct(w http.ResponseWriter, r *http.Request, anchor string, act func(*bench.Tasting) error) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	if err := act(t); err != nil {
		f := s.publicFault(err)
		s.showTasting(w, r, statusOf(f), f, "")
		return
	}
	http.Redirect(w, r, "/tastings/"+t.ID+anchor, http.StatusSeeOther)
}

func (s *Server) closeTasting(w http.ResponseWriter, r *http.Request) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	problem := func(f *fault.Error) { s.showTasting(w, r, statusOf(f), f, "") }
	if r.FormValue("sure") != "yes" {
		problem(fault.New("close-sure", "%s", say("close-unsure")).On("sure", "").WithFix("%s", say("close-unsure-fix")))
		return
	}
	if !s.guard.wrong.allow(networkOf(r)) {
		problem(tooMany())
		return
	}
	turn, err := s.guard.costlyTurn(r.Context())
	if err == nil {
		err = s.room.Close(r.Context(), t, r.FormValue("passphrase"))
		turn()
	}
	if err != nil {
		problem(s.publicFault(err))
		return
	}
	http.Redirect(w, r, "/tastings/"+t.ID, http.StatusSeeOther)
}

// sheetView is one printed ballot.
type sheetView struct {
	formView
	Title string
	Total int
	Link  string
	QR    template.HTML
}

// sheets makes every ballot of a tasting for printing, with links where the
// key is open.
func (s *Server) sheets(r *http.Request, t *bench.Tasting) ([]sheetView, error) {
	secrets := s.vault.of(t.ID)
	return sheetsOf(t, t.Assessors(), func(seat string) string {
		if secrets == nil {
			return ""
		}
		return s.base(r, tasting.Taster) + linkPaths[tasting.Taster] + secrets.Token(bench.Place{Role: tasting.Taster, Seat: seat})
	})
}

// sheetsOf makes the ballots of seats, by seat and set. A seat without a link
// has a ballot without a code.
func sheetsOf(t *bench.Tasting, seats []string, link func(seat string) string) ([]sheetView, error) {
	var out []sheetView
	for _, seat := range seats {
		forms, err := t.Document.Session.ForAssessor(seat, t.Document.Attributes)
		if err != nil {
			return nil, err
		}
		var code template.HTML
		address := link(seat)
		if address != "" {
			if code, err = qrSVG(address); err != nil {
				return nil, err
			}
		}
		for i, f := range forms {
			fv := newForm(t, f)
			fv.Number = i + 1
			out = append(out, sheetView{formView: fv, Title: t.Title, Total: len(forms), Link: address, QR: code})
		}
	}
	return out, nil
}

type sheetsView struct {
	ID, Title string
	Sheets    []sheetView
	Cautions  []safety.Caution
	Unlocked  bool
}

func (s *Server) ballotSheets(w http.ResponseWriter, r *http.Request) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	sheets, err := s.sheets(r, t)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := sheetsView{ID: t.ID, Title: t.Title, Sheets: sheets, Cautions: t.Cautions(safety.OnBallot), Unlocked: s.vault.of(t.ID) != nil}
	s.render(w, r, http.StatusOK, "ballotsheets", page{Title: say("sheets-title", t.Title), Invented: t.Invented, Lead: true, Script: "lead.js"}, v)
}

func (s *Server) ballotsPDF(w http.ResponseWriter, r *http.Request) {
	t, ok := s.leadTasting(w, r)
	if !ok {
		return
	}
	sheets, err := s.sheets(r, t)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	b, err := ballotsPDF(t, sheets, r.FormValue("paper"))
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `attachment; filename="ballots.pdf"`)
	w.Header().Set("Content-Length", fmt.Sprint(len(b)))
	w.Write(b)
}

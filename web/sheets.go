package web

import (
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

// trayRow is one tray as the server carries it: nothing tells what is in a
// cup.
type trayRow struct {
	Tray      int
	OutAt     string
	Wave      int
	Seat      string
	Reference bool
	Codes     []string
	State     string
	Stop      bool // not to be served
	Late      bool
}

type traysView struct {
	Title, Token string
	Rows         []trayRow
	Waves        bool
	Notes        []fault.Note
	Cautions     []safety.Caution
	Error        *fault.Error
	Tray, What   string
	Closed       bool
}

func (s *Server) traySheet(w http.ResponseWriter, r *http.Request) {
	t, _, ok := s.find(w, r, tasting.Server)
	if !ok {
		return
	}
	s.showTrays(w, r, t, http.StatusOK, nil)
}

func (s *Server) showTrays(w http.ResponseWriter, r *http.Request, t *bench.Tasting, status int, f *fault.Error) {
	sheet := t.Document.Session.Server()
	table, err := tasting.Schedule(sheet, t.Pace)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	seats, err := s.room.Seats(r.Context(), t)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	by := map[string]bench.Seat{}
	for _, x := range seats {
		by[x.ID] = x
	}
	times := map[int]tasting.TrayTime{}
	for _, x := range table.Waves {
		for _, tray := range x.Trays {
			times[tray.Tray] = tray
		}
	}
	v := traysView{Title: t.Title, Token: r.PathValue("token"), Notes: table.Notes, Cautions: t.Cautions(safety.OnTraySide), Error: f, Closed: s.room.Closed(t.ID)}
	if f != nil {
		v.Tray, v.What = r.PostForm.Get("tray"), r.PostForm.Get("what")
	}
	for _, tray := range sheet.Trays {
		seat := by[tray.Assessor]
		row := trayRow{Tray: tray.Tray, OutAt: clock(times[tray.Tray].OutAt), Wave: tray.Wave, Seat: tray.Assessor, Reference: tray.Reference, Codes: tray.Codes, Late: times[tray.Tray].TooLate}
		v.Waves = v.Waves || tray.Wave > 0
		switch {
		case seat.Answered[tray.Set]:
			row.State = say("tray-answered")
		case seat.State == bench.SeatNotServed || seat.State == bench.SeatWithdrawn:
			row.State, row.Stop = say("tray-stop"), true
		case seat.State == bench.SeatWaiting:
			row.State = say("tray-wait")
		default:
			row.State = say("tray-serve")
		}
		v.Rows = append(v.Rows, row)
	}
	p := frameOf(t)
	p.Title, p.Script = say("trays-title", t.Title), "lead.js"
	s.render(w, r, status, "trays", p, v)
}

func (s *Server) trayDeviation(w http.ResponseWriter, r *http.Request) {
	t, _, ok := s.find(w, r, tasting.Server)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, fault.New("form", "%s", say("form-bad")).Wrap(err))
		return
	}
	if err := s.deviate(r, t); err != nil {
		f := s.publicFault(err)
		s.showTrays(w, r, t, statusOf(f), f)
		return
	}
	http.Redirect(w, r, "/trays/"+r.PathValue("token"), http.StatusSeeOther)
}

type carveView struct {
	Title    string
	Waves    []tasting.PreparerWave
	Tracked  bool
	Cautions []safety.Caution
}

// carveSheet is the preparer's page, the only one besides the closed result
// that reads a key.
func (s *Server) carveSheet(w http.ResponseWriter, r *http.Request) {
	if s.exposed(r) {
		s.needsTLS(w, r)
		return
	}
	id, secrets, why := s.vault.preparer(r.PathValue("token"))
	if secrets == nil {
		s.unknownLink(w, r, why)
		return
	}
	t, err := s.room.Tasting(id)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	if !s.mayBe(w, r, t, tasting.Preparer) {
		return
	}
	v := carveView{Title: t.Title, Waves: secrets.Key.ForPreparer().Waves, Tracked: len(t.Document.Setup.Waves) > 0,
		Cautions: t.Cautions(safety.OnRunSheet)}
	p := frameOf(t)
	p.Title = say("carve-title", t.Title)
	s.render(w, r, http.StatusOK, "carve", p, v)
}

type watchView struct {
	Title, State, Method string
	Commitment           string
	OpenedAt             string
	Result               *resultView
}

func (s *Server) watchPage(w http.ResponseWriter, r *http.Request) {
	t, _, ok := s.find(w, r, tasting.Reader)
	if !ok {
		return
	}
	m, err := tasting.Lookup(t.Document.Session.Method)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := watchView{Title: t.Title, Method: m.Describe().Title, Commitment: t.Lock().Commitment, OpenedAt: t.OpenedAt.Format("2006-01-02 15:04 MST")}
	if v.State, err = s.stateOf(r, t); err == nil && s.room.Closed(t.ID) {
		v.Result, err = s.resultOf(r, t, m)
	}
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	s.render(w, r, http.StatusOK, "watch", frameOf(t), v)
}

// lines splits a text field into its lines, empty ones left out.
func lines(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

package web

import (
	"crypto/sha256"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

// seatView is what every page of an assessor shows.
type seatView struct {
	Title, Seat, Token string
	MayWithdraw        bool
}

type doorView struct {
	seatView
	Sets, Samples  int
	Error          *fault.Error
	Cautions       []safety.Caution
	Allergens      []option
	Undercooked    bool // a product is served undercooked: asked only then
	NotUndercooked bool
}

type option struct {
	Code, Name string
	On         bool
}

type plainView struct {
	seatView
	Says []string
}

type ballotView struct {
	seatView
	Total        int
	Pause        bool
	PauseSeconds int
	PauseText    string
	Forms        []formView
}

// formView is one set's ballot, with what was typed when it comes back.
type formView struct {
	tasting.BallotForm
	ID       string
	Number   int
	First    bool
	Kind     tasting.Kind
	Error    *fault.Error
	Scales   []scaleView
	Words    []string
	Ranks    []string
	Chosen   map[string]bool
	Ticked   map[string]bool // "code word"
	Given    map[string]string
	Response string
	Sure     int
	Comment  string
}

// scaleView is a scale of one attribute.
type scaleView struct {
	Name, Low, High string
	Line            bool // a number of 0 to Max; otherwise Points
	Max             int
	Points          []string
}

func points(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = strconv.Itoa(i + 1)
	}
	return out
}

// scalesOf are the scales of a method: nine points of liking, five of just
// about right with liking after, a line of 0 to 100 for rated attributes.
func scalesOf(method string, attributes []string) []scaleView {
	liking := scaleView{Name: tasting.LikingAttribute, Low: say("liking-low"), High: say("liking-high"), Points: points(9)}
	var out []scaleView
	switch method {
	case tasting.Hedonic{}.Describe().Name:
		return []scaleView{liking}
	case tasting.JustRight{}.Describe().Name:
		for _, a := range attributes {
			if a != tasting.LikingAttribute {
				out = append(out, scaleView{Name: a, Low: say("right-low"), High: say("right-high"), Points: points(5)})
			}
		}
		return append(out, liking)
	}
	for _, a := range attributes {
		out = append(out, scaleView{Name: a, Low: say("line-low"), High: say("line-high"), Line: true, Max: 100})
	}
	return out
}

func (s *Server) ballotPage(w http.ResponseWriter, r *http.Request) {
	t, place, ok := s.find(w, r, tasting.Taster)
	if !ok {
		return
	}
	seat, err := s.room.Seat(r.Context(), t, place.Seat)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	s.showSeat(w, r, t, seat, http.StatusOK, nil)
}

func frameOf(t *bench.Tasting) page {
	return page{Title: t.Title, Invented: t.Invented}
}

// showSeat shows an assessor's next step. back is a form that could not be
// taken and stands in place of its set's empty one.
func (s *Server) showSeat(w http.ResponseWriter, r *http.Request, t *bench.Tasting, seat bench.Seat, status int, back *formView) {
	v := seatView{Title: t.Title, Seat: seat.ID, Token: r.PathValue("token")}
	plain := func(keys ...string) {
		p := plainView{seatView: v}
		for _, k := range keys {
			p.Says = append(p.Says, say(k))
		}
		s.render(w, r, status, "plain", frameOf(t), p)
	}
	switch {
	case seat.State == bench.SeatWithdrawn:
		plain("plain-withdrawn")
	case s.room.Closed(t.ID) && seat.State != bench.SeatDone:
		v.MayWithdraw = len(seat.Answered) > 0
		plain("plain-closed")
	case seat.State == bench.SeatDone:
		v.MayWithdraw = true
		plain("plain-done")
	case seat.State == bench.SeatNotServed:
		plain("plain-not-served", "plain-not-served-by")
	case seat.State == bench.SeatWaiting:
		s.door(w, r, t, seat, v, status, nil)
	default:
		s.ballot(w, r, t, seat, v, status, back)
	}
}

func (s *Server) door(w http.ResponseWriter, r *http.Request, t *bench.Tasting, seat bench.Seat, v seatView, status int, f *fault.Error) {
	d := doorView{seatView: v, Sets: seat.Sets, Samples: samplesASet(t), Error: f, Cautions: t.Cautions(safety.OnBallot)}
	d.Undercooked = slices.ContainsFunc(t.Document.Setup.Products, func(p tasting.Product) bool { return p.Undercooked })
	d.NotUndercooked = r.PostForm.Get("not_undercooked") == "yes"
	for _, a := range allergens() {
		a.On = slices.Contains(r.PostForm["avoids"], a.Code)
		d.Allergens = append(d.Allergens, a)
	}
	s.render(w, r, status, "door", frameOf(t), d)
}

// allergens lists every allergen of the lists in safety once, by name.
func allergens() []option {
	names := map[string]string{}
	for _, list := range safety.Allergens() {
		for _, a := range list.Items {
			if names[a.Code] == "" || len(a.Name) < len(names[a.Code]) {
				names[a.Code] = a.Name
			}
		}
	}
	var out []option
	for _, c := range safety.AllergenCodes() {
		out = append(out, option{Code: c, Name: names[c]})
	}
	return out
}

func samplesASet(t *bench.Tasting) int {
	if len(t.Document.Session.Trays) == 0 {
		return 0
	}
	n := len(t.Document.Session.Trays[0].Codes)
	if t.Document.Session.Trays[0].Reference {
		n++
	}
	return n
}

func (s *Server) throughDoor(w http.ResponseWriter, r *http.Request) {
	t, place, ok := s.find(w, r, tasting.Taster)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, fault.New("form", "%s", say("form-bad")).Wrap(err))
		return
	}
	consents := r.PostForm.Get("consents")
	if consents != "yes" && consents != "no" {
		seat, err := s.room.Seat(r.Context(), t, place.Seat)
		if err != nil {
			s.fail(w, r, 0, err)
			return
		}
		f := fault.New("door-unfinished", "%s", say("door-unfinished")).On("consents", "").WithFix("%s", say("door-unfinished-fix"))
		s.door(w, r, t, seat, seatView{Title: t.Title, Seat: seat.ID, Token: r.PathValue("token")}, http.StatusUnprocessableEntity, f)
		return
	}
	d := bench.Door{Consents: consents == "yes", Avoids: r.PostForm["avoids"], NotUndercooked: r.PostForm.Get("not_undercooked") == "yes"}
	why, err := s.room.Enter(r.Context(), t, place.Seat, d)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	if why != "" && why != "not-served" {
		// Said once, on the asker's own screen; only that the seat is not
		// served is kept.
		v := plainView{seatView: seatView{Title: t.Title, Seat: place.Seat, Token: r.PathValue("token")}, Says: []string{say("stop-" + string(why)), say("plain-not-served-by")}}
		s.render(w, r, http.StatusOK, "plain", frameOf(t), v)
		return
	}
	http.Redirect(w, r, "/b/"+r.PathValue("token"), http.StatusSeeOther)
}

func (s *Server) ballot(w http.ResponseWriter, r *http.Request, t *bench.Tasting, seat bench.Seat, v seatView, status int, back *formView) {
	forms, err := t.Document.Session.ForAssessor(seat.ID, t.Document.Attributes)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v.MayWithdraw = true
	b := ballotView{seatView: v, Total: len(forms), PauseSeconds: int(pauseOf(t))}
	b.Pause = len(seat.Answered) > 0
	b.PauseText = durationText(pauseOf(t))
	for i, f := range forms {
		if seat.Answered[f.Set] {
			continue
		}
		fv := newForm(t, f)
		if back != nil && back.Set == f.Set {
			fv = *back
		}
		if fv.ID == "" {
			fv.ID = uuid.NewString()
		}
		fv.Number, fv.First = i+1, len(b.Forms) == 0
		b.Forms = append(b.Forms, fv)
	}
	p := frameOf(t)
	p.Script = "ballot.js"
	s.render(w, r, status, "ballot", p, b)
}

// pauseOf is the rest between an assessor's sets, in seconds.
func pauseOf(t *bench.Tasting) float64 {
	if t.Pace.SetSeconds > 0 {
		return t.Pace.SetSeconds
	}
	return tasting.DefaultPace().SetSeconds
}

func durationText(seconds float64) string {
	s := int(math.Round(seconds))
	switch {
	case s < 60:
		return say("seconds", s)
	case s%60 == 0:
		return say("minutes", s/60)
	}
	return say("minutes-seconds", s/60, s%60)
}

func newForm(t *bench.Tasting, f tasting.BallotForm) formView {
	fv := formView{BallotForm: f, Chosen: map[string]bool{}, Ticked: map[string]bool{}, Given: map[string]string{}}
	m, err := tasting.Lookup(t.Document.Session.Method)
	if err != nil {
		return fv
	}
	d := m.Describe()
	fv.Kind = d.Kind
	switch d.Kind {
	case tasting.KindScale:
		fv.Scales = scalesOf(d.Name, t.Document.Attributes)
	case tasting.KindChecks:
		fv.Words = shuffledWords(f.Set, t.Document.Attributes)
	case tasting.KindRank:
		fv.Ranks = points(len(f.Codes))
	}
	if d.Kind != tasting.KindChoice && d.Kind != tasting.KindResponse {
		fv.Sureness = nil
	}
	return fv
}

// shuffledWords puts words in an order that depends on the ballot alone, so
// that the first word of a list gains nothing over a panel.
func shuffledWords(set string, words []string) []string {
	out := slices.Clone(words)
	hash := func(w string) string {
		sum := sha256.Sum256([]byte(set + "\n" + w))
		return string(sum[:])
	}
	slices.SortFunc(out, func(a, b string) int { return strings.Compare(hash(a), hash(b)) })
	return out
}

func (s *Server) answer(w http.ResponseWriter, r *http.Request) {
	t, place, ok := s.find(w, r, tasting.Taster)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, fault.New("form", "%s", say("form-bad")).Wrap(err))
		return
	}
	a, form, err := readAnswer(r.PostForm, t, place.Seat)
	if err == nil {
		err = s.room.Answer(r.Context(), t, a)
	}
	if err == nil {
		if wantsJSON(r) {
			reply(w, http.StatusOK, map[string]string{"state": "kept"})
			return
		}
		http.Redirect(w, r, "/b/"+r.PathValue("token"), http.StatusSeeOther)
		return
	}
	f := s.publicFault(err)
	if wantsJSON(r) || form == nil {
		s.fail(w, r, 0, f)
		return
	}
	seat, err := s.room.Seat(r.Context(), t, place.Seat)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	form.Error = f
	if seat.Answered[form.Set] || s.room.Closed(t.ID) || seat.State != bench.SeatReady {
		// The set's form is gone: say why, and give back what was typed.
		v := plainView{seatView: seatView{Title: t.Title, Seat: seat.ID, Token: r.PathValue("token")}, Says: []string{f.Message + ".", f.Fix + "."}}
		if typed := typedText(form); typed != "" {
			v.Says = append(v.Says, say("you-wrote", typed))
		}
		s.render(w, r, statusOf(f), "plain", frameOf(t), v)
		return
	}
	s.showSeat(w, r, t, seat, statusOf(f), form)
}

// typedText is what a ballot said, for its writer.
func typedText(f *formView) string {
	var parts []string
	for _, c := range f.Codes {
		if f.Chosen[c] {
			parts = append(parts, c)
		}
	}
	if f.Response != "" {
		parts = append(parts, f.Response)
	}
	for _, c := range f.Codes {
		for _, k := range []string{"rank-" + c, "words-" + c} {
			if f.Given[k] != "" {
				parts = append(parts, c+": "+f.Given[k])
			}
		}
	}
	if f.Comment != "" {
		parts = append(parts, f.Comment)
	}
	return strings.Join(parts, "; ")
}

// readAnswer reads a ballot's form. The form comes back with what was typed;
// it is nil when the set is not this assessor's.
func readAnswer(in url.Values, t *bench.Tasting, seat string) (tasting.Answer, *formView, error) {
	a := tasting.Answer{ID: in.Get("id"), Set: in.Get("set"), Assessor: seat, Comment: strings.TrimSpace(in.Get("comment"))}
	if id, err := uuid.Parse(a.ID); err != nil || id.Version() != 4 || id.String() != a.ID {
		return a, nil, fault.New("answer-id", "%s", say("answer-id")).On("id", a.ID).WithFix("%s", say("answer-id-fix"))
	}
	forms, err := t.Document.Session.ForAssessor(seat, t.Document.Attributes)
	if err != nil {
		return a, nil, err
	}
	i := slices.IndexFunc(forms, func(f tasting.BallotForm) bool { return f.Set == a.Set })
	if i < 0 {
		return a, nil, fault.New("ballot-unknown", "%s", say("ballot-unknown")).On("set", a.Set).WithFix("%s", say("ballot-unknown-fix"))
	}
	f := newForm(t, forms[i])
	f.ID, f.Comment = a.ID, a.Comment
	incomplete := func(name, what, fix string) error {
		return fault.New("answer-incomplete", "%s", what).On(name, "").WithFix("%s", fix)
	}
	for name := range in {
		f.Given[name] = in.Get(name)
	}
	if v := in.Get("sureness"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > len(tasting.SurenessWords()) {
			return a, &f, incomplete("sureness", say("sureness-bad"), say("sureness-fix"))
		}
		a.Sureness, f.Sure = n, n
	}
	if len([]rune(a.Comment)) > 2000 {
		return a, &f, incomplete("comment", say("comment-long"), say("comment-long-fix"))
	}
	switch f.Kind {
	case tasting.KindChoice:
		a.Choice = in["choice"]
		for _, c := range a.Choice {
			f.Chosen[c] = true
		}
		if len(a.Choice) != f.Choose {
			return a, &f, incomplete("choice", say("choice-missing", f.Choose), say("choice-fix"))
		}
		slices.Sort(a.Choice)
	case tasting.KindResponse:
		a.Response = in.Get("response")
		f.Response = a.Response
		if a.Response == "" {
			return a, &f, incomplete("response", say("response-missing"), say("choice-fix"))
		}
	case tasting.KindRank:
		a.Ranks = map[string]float64{}
		for _, c := range f.Codes {
			n, err := strconv.Atoi(in.Get("rank-" + c))
			if err != nil || n < 1 || n > len(f.Codes) {
				return a, &f, incomplete("rank-"+c, say("rank-missing", c), say("rank-fix", len(f.Codes)))
			}
			a.Ranks[c] = float64(n)
		}
	case tasting.KindScale:
		a.Values = map[string]map[string]float64{}
		for k, sc := range f.Scales {
			a.Values[sc.Name] = map[string]float64{}
			for _, c := range f.Codes {
				name := fmt.Sprintf("value-%d-%s", k, c)
				n, err := strconv.Atoi(in.Get(name))
				low, high := 1, len(sc.Points)
				if sc.Line {
					low, high = 0, sc.Max
				}
				if err != nil || n < low || n > high {
					return a, &f, incomplete(name, say("scale-missing", sc.Name, c), say("scale-fix", low, high))
				}
				a.Values[sc.Name][c] = float64(n)
			}
		}
	case tasting.KindChecks:
		a.Checks = map[string][]string{}
		for _, c := range f.Codes {
			for _, word := range in["check-"+c] {
				if !slices.Contains(f.Words, word) {
					return a, &f, incomplete("check-"+c, say("check-unknown", word), say("check-fix"))
				}
				f.Ticked[c+" "+word] = true
				a.Checks[c] = append(a.Checks[c], word)
			}
		}
	case tasting.KindWords:
		a.Words = map[string]string{}
		for _, c := range f.Codes {
			text := strings.TrimSpace(in.Get("words-" + c))
			if text == "" || len([]rune(text)) > 2000 {
				return a, &f, incomplete("words-"+c, say("words-missing", c), say("words-fix"))
			}
			a.Words[c] = text
		}
	}
	return a, &f, nil
}

func (s *Server) withdraw(w http.ResponseWriter, r *http.Request) {
	t, place, ok := s.find(w, r, tasting.Taster)
	if !ok {
		return
	}
	if r.FormValue("sure") != "yes" {
		s.fail(w, r, 0, fault.New("withdraw-sure", "%s", say("withdraw-unsure")).WithFix("%s", say("withdraw-unsure-fix")))
		return
	}
	n, err := s.room.Withdraw(r.Context(), t, place.Seat)
	if err != nil {
		s.fail(w, r, 0, err)
		return
	}
	v := plainView{seatView: seatView{Title: t.Title, Seat: place.Seat, Token: r.PathValue("token")}, Says: []string{say("withdrawn", n), say("plain-withdrawn")}}
	s.render(w, r, http.StatusOK, "plain", frameOf(t), v)
}

package tasting

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"
	"sort"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
)

// Answer is one filled-in ballot. Which fields are used depends on the kind
// of method; codes are those of the set.
type Answer struct {
	ID       string `json:"id"` // random, made where the ballot is filled in: sending twice is harmless
	Set      string `json:"set"`
	Assessor string `json:"assessor"`

	Choice   []string                      `json:"choice,omitempty"`   // choice: the code, or the two codes of a tetrad group
	Response string                        `json:"response,omitempty"` // response: one of the ballot's answers
	Ranks    map[string]float64            `json:"ranks,omitempty"`    // rank: code → rank, 1 first; equal ranks are ties
	Values   map[string]map[string]float64 `json:"values,omitempty"`   // scale: attribute → code → value
	Checks   map[string][]string           `json:"checks,omitempty"`   // checks: code → words ticked
	Words    map[string]string             `json:"words,omitempty"`    // words: code → comment
	Sureness int                           `json:"sureness,omitempty"` // 1 a guess, upwards
	Comment  string                        `json:"comment,omitempty"`
}

// Session takes the ballots of a locked tasting. It holds trays, not the key,
// until it is closed.
type Session struct {
	Lock    Lock            `json:"lock"`
	Method  string          `json:"method"`
	Trays   []Tray          `json:"trays"`
	Answers []Answer        `json:"answers"` // in the order received
	Entries map[string]int  `json:"entries"` // answer id → history entry
	Gone    map[string]bool `json:"gone"`    // assessors who withdrew
	History History         `json:"history"`
	// Deviations are what did not go to plan: a spilt cup, trays swapped, an
	// answer changed.
	Deviations []Deviation `json:"deviations,omitempty"`
	Closed     *Revelation `json:"closed,omitempty"`
}

// Deviation is something that did not go to plan.
type Deviation struct {
	AtUS int64  `json:"at_us"`
	Tray int    `json:"tray,omitempty"` // 0: the whole tasting
	What string `json:"what"`
}

// Deviate records a deviation; the result shows it. It can be recorded after
// closing too.
func (s *Session) Deviate(tray int, what string, at time.Time, random io.Reader) error {
	if strings.TrimSpace(what) == "" || tray < 0 || tray > len(s.Trays) {
		return fault.New("deviation", "a deviation says what happened, and at which tray").On("tray", fmt.Sprint(tray)).WithFix("trays run from 1 to %d; 0 is the whole tasting", len(s.Trays))
	}
	if _, err := s.History.add(EntryDeviated, at, fmt.Sprintf("tray %d: %s", tray, what), random); err != nil {
		return err
	}
	s.Deviations = append(s.Deviations, Deviation{at.UnixMicro(), tray, what})
	return nil
}

// Revelation is what closing makes public.
type Revelation struct {
	AtUS int64  `json:"at_us"`
	Key  *Key   `json:"key"`
	Salt string `json:"salt"`
}

// Open starts a session from a key and its lock; it keeps neither products
// nor seed.
func Open(k *Key, lock Lock, at time.Time, random io.Reader) (*Session, error) {
	if lock.Tasting != k.Tasting {
		return nil, fault.New("key-mismatch", "the lock belongs to another tasting").WithFix("lock this key first")
	}
	s := &Session{Lock: lock, Method: k.Method, Trays: k.ForServer().Trays, Entries: map[string]int{}, Gone: map[string]bool{}}
	_, err := s.History.add(EntryOpened, at, lock.Commitment, random)
	return s, err
}

// Receive takes a ballot. The same ballot again does nothing. A ballot that
// cannot be taken is an error, and its refusal is put in the history:
// "ballot-late" after closing, "ballot-withdrawn" from someone who withdrew,
// "ballot-unknown" for a set that does not exist, "ballot-assessor" for
// another's set, "ballot-duplicate" for a second answer to a set,
// "code-unknown", "code-other-set", "answer-incomplete".
func (s *Session) Receive(a Answer, at time.Time, random io.Reader) error {
	for _, b := range s.Answers {
		if b.ID == a.ID && a.ID != "" && reflect.DeepEqual(b, a) {
			return nil
		}
	}
	if e := s.refuse(a); e != nil {
		if _, err := s.History.add(EntryRefused, at, string(e.Code), random); err != nil {
			return err
		}
		return e
	}
	text, err := json.Marshal(a)
	if err != nil {
		return err
	}
	seq, err := s.History.add(EntryAnswered, at, string(text), random)
	if err != nil {
		return err
	}
	s.Answers = append(s.Answers, a)
	s.Entries[a.ID] = seq
	return nil
}

func (s *Session) refuse(a Answer) *fault.Error {
	if s.Closed != nil {
		return fault.New("ballot-late", "the tasting is closed: this ballot came too late and does not count").WithFix("its arrival is kept in the history")
	}
	if s.Gone[a.Assessor] {
		return fault.New("ballot-withdrawn", "assessor %s has withdrawn", a.Assessor).WithFix("a withdrawn assessor's answers are not taken")
	}
	i := slices.IndexFunc(s.Trays, func(t Tray) bool { return t.Set == a.Set })
	if i < 0 {
		return fault.New("ballot-unknown", "no set of this tasting has that id").On("set", a.Set).WithFix("use the ballot handed out with the tray")
	}
	t := s.Trays[i]
	if t.Assessor != a.Assessor {
		return fault.New("ballot-assessor", "tray %d belongs to another assessor", t.Tray).On("assessor", a.Assessor).WithFix("check who sat where")
	}
	if a.ID == "" {
		return fault.New("answer-incomplete", "the ballot has no id").On("id", "").WithFix("give it a random id")
	}
	for _, b := range s.Answers {
		if b.Set == a.Set || b.ID == a.ID {
			return fault.New("ballot-duplicate", "tray %d already has an answer, and this one differs", t.Tray).On("set", a.Set).WithFix("the first answer stands; to change it is a deviation to be noted")
		}
	}
	if e := s.codesBelong(a, t); e != nil {
		return e
	}
	return s.complete(a, t)
}

// codesBelong checks every code of an answer against its tray.
func (s *Session) codesBelong(a Answer, t Tray) *fault.Error {
	var codes []string
	codes = append(codes, a.Choice...)
	codes = slices.AppendSeq(codes, maps.Keys(a.Ranks))
	for _, v := range a.Values {
		codes = slices.AppendSeq(codes, maps.Keys(v))
	}
	codes = slices.AppendSeq(codes, maps.Keys(a.Checks))
	codes = slices.AppendSeq(codes, maps.Keys(a.Words))
	slices.Sort(codes)
	for _, c := range codes {
		if slices.Contains(t.Codes, c) {
			continue
		}
		for _, o := range s.Trays {
			if o.Assessor == a.Assessor && slices.Contains(o.Codes, c) {
				return fault.New("code-other-set", "code %s is on another tray of this assessor", c).On("code", c).WithFix("tray %d has %s", t.Tray, strings.Join(t.Codes, ", "))
			}
		}
		return fault.New("code-unknown", "code %s is not on tray %d", c, t.Tray).On("code", c).WithFix("tray %d has %s", t.Tray, strings.Join(t.Codes, ", "))
	}
	return nil
}

// complete checks that the answer is one the method can score.
func (s *Session) complete(a Answer, t Tray) *fault.Error {
	m, err := Lookup(s.Method)
	if err != nil {
		return fault.New("method-unknown", "the tasting's method is unknown").On("method", s.Method)
	}
	incomplete := func(what, fix string) *fault.Error {
		return fault.New("answer-incomplete", "tray %d: %s", t.Tray, what).WithFix("%s", fix)
	}
	if a.Sureness < 0 || a.Sureness > len(SurenessWords()) {
		return incomplete(fmt.Sprintf("sureness %d is not a grade", a.Sureness), fmt.Sprintf("1 to %d, or none", len(SurenessWords())))
	}
	switch m.Describe().Kind {
	case KindChoice:
		n := choose(m)
		if len(a.Choice) != n || (n == 2 && a.Choice[0] == a.Choice[1]) {
			return incomplete(fmt.Sprintf("%d codes chosen", len(a.Choice)), fmt.Sprintf("choose %d, guessing if need be", n))
		}
	case KindResponse:
		if w := responseWords(m); !slices.Contains(w, a.Response) {
			return incomplete(fmt.Sprintf("%q is not one of the answers", a.Response), strings.Join(w, " or "))
		}
	case KindRank:
		if len(a.Ranks) != len(t.Codes) {
			return incomplete("not every sample is ranked", "rank all, equal ranks for ties")
		}
	case KindScale:
		for attribute, v := range a.Values {
			if len(v) != len(t.Codes) {
				return incomplete(fmt.Sprintf("not every sample is rated for %q", attribute), "rate all")
			}
		}
		if len(a.Values) == 0 {
			return incomplete("nothing is rated", "rate every sample")
		}
	}
	return nil
}

// Withdraw removes an assessor's answers: their content leaves the session
// and the history, the fact that someone withdrew stays, and the chain still
// verifies. It returns how many ballots were removed. After closing the
// result must be scored again.
func (s *Session) Withdraw(assessor string, at time.Time, random io.Reader) (int, error) {
	if !slices.ContainsFunc(s.Trays, func(t Tray) bool { return t.Assessor == assessor }) {
		return 0, fault.New("assessor-unknown", "no such assessor at this tasting").On("assessor", assessor).WithFix("use the pseudonym on the ballot")
	}
	removed := 0
	s.Answers = slices.DeleteFunc(s.Answers, func(a Answer) bool {
		if a.Assessor != assessor {
			return false
		}
		delete(s.History.Contents, s.Entries[a.ID])
		delete(s.Entries, a.ID)
		removed++
		return true
	})
	s.Gone[assessor] = true
	_, err := s.History.add(EntryWithdrawn, at, fmt.Sprintf("%d ballots removed", removed), random)
	return removed, err
}

// Reader is what anyone may see.
func (s *Session) Reader() ReaderView {
	return ReaderView{Lock: s.Lock, Method: s.Method, Planned: len(s.Trays), Received: len(s.Answers), Closed: s.Closed != nil}
}

// Close verifies the revealed key and salt against the lock and opens the
// session for scoring. No answer is taken afterwards. The notes name what did
// not go to plan.
func (s *Session) Close(k *Key, salt string, at time.Time, random io.Reader) ([]fault.Note, error) {
	if s.Closed != nil {
		return nil, fault.New("tasting-closed", "the tasting is closed already").WithFix("score it")
	}
	if err := s.Lock.Verify(k, salt); err != nil {
		return nil, err
	}
	if err := s.History.Verify(); err != nil {
		return nil, err
	}
	if _, err := s.History.add(EntryClosed, at, s.Lock.Commitment, random); err != nil {
		return nil, err
	}
	s.Closed = &Revelation{AtUS: at.UnixMicro(), Key: k, Salt: salt}
	return s.closingNotes(k), nil
}

func (s *Session) closingNotes(k *Key) []fault.Note {
	var notes []fault.Note
	if missing := len(s.Trays) - len(s.Answers); missing > 0 {
		notes = append(notes, fault.Notef("ballots-missing", "%d of %d sets have no answer", missing, len(s.Trays)))
	}
	if n := len(s.Gone); n > 0 {
		notes = append(notes, fault.Notef("withdrawn", "%d assessors withdrew; their answers are not in the result", n))
	}
	for _, d := range s.Deviations {
		where := "the tasting"
		if d.Tray > 0 {
			where = fmt.Sprintf("tray %d", d.Tray)
		}
		notes = append(notes, fault.Notef("deviation", "deviation at %s: %s", where, d.What))
	}
	refused := 0
	for _, e := range s.History.Entries {
		if e.Kind == EntryRefused {
			refused++
		}
	}
	if refused > 0 {
		notes = append(notes, fault.Notef("ballots-refused", "%d ballots were refused; the history says when", refused))
	}
	if m, err := Lookup(k.Method); err == nil {
		if block, err := m.Block(len(k.Products)); err == nil && len(s.Answers)%len(block) != 0 {
			lower := len(s.Answers) / len(block) * len(block)
			notes = append(notes, fault.Notef("orders-unbalanced", "%d answers do not fill blocks of %d orders: %s would balance them", len(s.Answers), len(block), orJoin(lower, lower+len(block))))
		}
	}
	return notes
}

// errNotClosed keeps answers and key apart until closing.
func (s *Session) errNotClosed() error {
	if s.Closed == nil {
		return fault.New("tasting-open", "the tasting is not closed: nothing can be scored while ballots are taken and the key is locked").WithFix("close it with the key and its salt")
	}
	return nil
}

// opened is an answer joined to what was in its cups.
type openedAnswer struct {
	Answer
	set Set
}

// open joins answers and key, in serving order.
func (s *Session) open() ([]openedAnswer, error) {
	if err := s.errNotClosed(); err != nil {
		return nil, err
	}
	sets := map[string]Set{}
	for _, set := range s.Closed.Key.Sets {
		sets[set.ID] = set
	}
	var out []openedAnswer
	for _, a := range s.Answers {
		set, ok := sets[a.Set]
		if !ok {
			return nil, fault.New("ballot-unknown", "an answer names a set the key does not have").On("set", a.Set)
		}
		out = append(out, openedAnswer{a, set})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].set.Tray < out[j].set.Tray })
	return out, nil
}

// serving turns a set back into product numbers.
func (s Set) serving(products []string) Serving {
	sv := Serving{Reference: -1}
	if s.Reference != nil {
		sv.Reference = slices.Index(products, s.Reference.Product)
	}
	for _, c := range s.Cups {
		sv.Cups = append(sv.Cups, slices.Index(products, c.Product))
	}
	return sv
}

// Choices is a closed choice tasting: the count, each assessor's share of it,
// and whether each answer was right, in serving order.
type Choices struct {
	Count
	Replicates []Replicate
	Right      []bool
	Sure       []SureRow // by grade of sureness, where asked
	Positions  *PositionUse
}

// PositionUse is how often each place on the tray was chosen. The right answer
// stands equally often in every place of whole blocks, so an uneven use is a
// habit of the tasters.
type PositionUse struct {
	Chosen []int   `json:"chosen"` // from the left
	P      float64 `json:"p"`      // χ² against equal use
}

func newPositionUse(chosen []int) *PositionUse {
	n := 0
	for _, c := range chosen {
		n += c
	}
	if n == 0 {
		return nil
	}
	chi2, each := 0.0, float64(n)/float64(len(chosen))
	for _, c := range chosen {
		chi2 += (float64(c) - each) * (float64(c) - each) / each
	}
	return &PositionUse{chosen, distuv.ChiSquared{K: float64(len(chosen) - 1)}.Survival(chi2)}
}

// SureRow is how often answers of one sureness were right.
type SureRow struct {
	Sureness int `json:"sureness"`
	N        int `json:"n"`
	Correct  int `json:"correct"`
}

// Choices counts the right answers of a closed choice tasting.
func (s *Session) Choices() (*Choices, error) {
	answers, err := s.open()
	if err != nil {
		return nil, err
	}
	m, err := LookupChoice(s.Method)
	if err != nil {
		return nil, err
	}
	out := &Choices{}
	by := map[string]*Replicate{}
	pieces := map[string]bool{}
	sure := map[int]*SureRow{}
	var names []string
	var chosen []int
	for _, a := range answers {
		right := m.Right(a.set.serving(s.Closed.Key.Products))
		ok := chosenRight(a, right)
		r := by[a.Assessor]
		if r == nil {
			r = &Replicate{Assessor: a.Assessor}
			by[a.Assessor] = r
			names = append(names, a.Assessor)
		}
		r.N++
		out.N++
		if ok {
			r.Correct++
			out.Correct++
		}
		out.Right = append(out.Right, ok)
		if len(a.Choice) == 1 {
			for len(chosen) < len(a.set.Cups) {
				chosen = append(chosen, 0)
			}
			chosen[slices.IndexFunc(a.set.Cups, func(c Cup) bool { return c.Code == a.Choice[0] })]++
		}
		for _, c := range a.set.Cups {
			if c.Piece != "" {
				pieces[c.Product+"\x00"+c.Piece] = true
			}
		}
		if a.Sureness > 0 {
			if sure[a.Sureness] == nil {
				sure[a.Sureness] = &SureRow{Sureness: a.Sureness}
			}
			sure[a.Sureness].N++
			if ok {
				sure[a.Sureness].Correct++
			}
		}
	}
	sort.Strings(names)
	for _, n := range names {
		out.Replicates = append(out.Replicates, *by[n])
	}
	for _, g := range slices.Sorted(maps.Keys(sure)) {
		out.Sure = append(out.Sure, *sure[g])
	}
	out.Assessors = len(names)
	out.Positions = newPositionUse(chosen)
	if len(pieces) > 0 {
		out.PiecePairs = (len(pieces) + 1) / 2
	}
	return out, nil
}

// chosenRight compares chosen codes with right positions; a tetrad group may
// be named by either of its two halves.
func chosenRight(a openedAnswer, right []int) bool {
	in := 0
	for _, c := range a.Choice {
		for i, cup := range a.set.Cups {
			if cup.Code == c && slices.Contains(right, i) {
				in++
			}
		}
	}
	return in == len(a.Choice) || (len(a.Choice) == 2 && in == 0)
}

// Responses lists the judgements of a closed A-not-A or same-different
// tasting.
func (s *Session) Responses() ([]ResponseAnswer, error) {
	answers, err := s.open()
	if err != nil {
		return nil, err
	}
	m, err := Lookup(s.Method)
	if err != nil {
		return nil, err
	}
	if _, ok := m.(ResponseMethod); !ok {
		return nil, fault.New("method-not-response", "%s has no two answers", m.Describe().Title)
	}
	yes := responseWords(m)[1]
	var out []ResponseAnswer
	for _, a := range answers {
		sv := a.set.serving(s.Closed.Key.Products)
		signal := sv.Cups[0] == 1
		if len(sv.Cups) == 2 {
			signal = sv.Cups[0] != sv.Cups[1]
		}
		out = append(out, ResponseAnswer{a.Assessor, signal, a.Response == yes, a.Sureness})
	}
	return out, nil
}

// Rows lists the answers of a closed ranking, rating, checking or comment
// tasting, one row a sample and attribute, in serving order.
func (s *Session) Rows() ([]Row, error) {
	answers, err := s.open()
	if err != nil {
		return nil, err
	}
	m, err := Lookup(s.Method)
	if err != nil {
		return nil, err
	}
	var out []Row
	for _, a := range answers {
		for i, c := range a.set.Cups {
			row := Row{Assessor: a.Assessor, Product: c.Product, Round: a.set.Round, Position: i + 1}
			if r, ok := a.Ranks[c.Code]; ok {
				row.Value = r
				out = append(out, row)
			}
			for _, attribute := range slices.Sorted(maps.Keys(a.Values)) {
				row.Attribute, row.Value = attribute, a.Values[attribute][c.Code]
				out = append(out, row)
			}
			if m.Describe().Kind == KindChecks {
				out = append(out, row) // tasted, whether or not a word was ticked
			}
			for _, word := range a.Checks[c.Code] {
				row.Attribute, row.Value = word, 1
				out = append(out, row)
			}
			if w := a.Words[c.Code]; w != "" {
				row.Attribute, row.Value, row.Text = "", 0, w
				out = append(out, row)
			}
		}
	}
	return out, nil
}

// Row is one judgement of one sample.
type Row struct {
	Assessor  string
	Product   string
	Round     int // replicate, from 1
	Position  int // on the tray, from 1; 0 unknown
	Attribute string
	Value     float64
	Text      string
}

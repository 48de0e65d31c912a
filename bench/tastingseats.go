package bench

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"reflect"
	"slices"

	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

// SeatState is where an assessor stands.
type SeatState string

// States of a seat.
const (
	SeatWaiting   SeatState = "waiting"    // has not agreed yet
	SeatReady     SeatState = "ready"      // has agreed and may be served
	SeatNotServed SeatState = "not served" // may not eat what is served, or did not agree
	SeatWithdrawn SeatState = "withdrawn"  // asked for the answers to be removed
	SeatDone      SeatState = "done"       // every set is answered
)

// Seat is one assessor at a tasting.
type Seat struct {
	ID       string
	State    SeatState
	Sets     int
	Answered map[string]bool // by set
}

// Door is what is asked of an assessor before a code is shown. Only whether
// they are served is kept.
type Door struct {
	Consents       bool
	Avoids         []string // allergen codes
	NotUndercooked bool
}

// slip is one row of a session's ballots: an answer, where a seat stands, or
// something that did not go to plan.
type slip struct {
	Kind      string             `json:"kind"` // answer | seat | deviation
	Salt      string             `json:"salt,omitempty"`
	Answer    *tasting.Answer    `json:"answer,omitempty"`
	Seat      SeatState          `json:"seat,omitempty"` // ready | not served | withdrawn
	Deviation *tasting.Deviation `json:"deviation,omitempty"`

	id, assessor string
}

// slips reads the rows of a tasting, of one seat or, for "", of all.
func (r *TastingRoom) slips(ctx context.Context, t *Tasting, seat string) ([]slip, error) {
	rows, err := r.store.Ballots(ctx, t.Study, t.ID)
	if err != nil {
		return nil, err
	}
	var out []slip
	for _, row := range rows {
		if seat != "" && row.Assessor != seat {
			continue
		}
		s := slip{id: row.ID, assessor: row.Assessor}
		if err := json.Unmarshal(row.Body, &s); err != nil {
			return nil, fault.New("ballot-corrupt", "a ballot of the notebook cannot be read").On("ballot", row.ID).Wrap(err).
				WithFix("go back to an untouched copy of the notebook")
		}
		out = append(out, s)
	}
	return out, nil
}

// Seats tells where every assessor stands, in the order of the plan.
func (r *TastingRoom) Seats(ctx context.Context, t *Tasting) ([]Seat, error) {
	slips, err := r.slips(ctx, t, "")
	if err != nil {
		return nil, err
	}
	var out []Seat
	for _, id := range t.Assessors() {
		out = append(out, seatOf(t, id, slips))
	}
	return out, nil
}

// Seat tells where one assessor stands.
func (r *TastingRoom) Seat(ctx context.Context, t *Tasting, id string) (Seat, error) {
	if err := r.seatKnown(t, id); err != nil {
		return Seat{}, err
	}
	slips, err := r.slips(ctx, t, id)
	if err != nil {
		return Seat{}, err
	}
	return seatOf(t, id, slips), nil
}

func seatOf(t *Tasting, id string, slips []slip) Seat {
	s := Seat{ID: id, State: SeatWaiting, Answered: map[string]bool{}}
	for _, tray := range t.Document.Session.Trays {
		if tray.Assessor == id {
			s.Sets++
		}
	}
	for _, p := range slips {
		switch {
		case p.assessor != id:
		case p.Kind == "answer":
			s.Answered[p.Answer.Set] = true
		case p.Kind == "seat" && s.State != SeatWithdrawn:
			s.State = p.Seat
		}
	}
	if s.State == SeatReady && len(s.Answered) == s.Sets {
		s.State = SeatDone
	}
	return s
}

// Enter takes what an assessor says at the door. Only whether they are
// served is kept, not why. The code of a refusal says why, to them alone:
// "no-consent", "allergen", "undercooked"; "" when they are served.
func (r *TastingRoom) Enter(ctx context.Context, t *Tasting, id string, d Door) (fault.Code, error) {
	if err := r.seatKnown(t, id); err != nil {
		return "", err
	}
	defer r.seat(t, id)()
	slips, err := r.slips(ctx, t, id)
	if err != nil {
		return "", err
	}
	switch seatOf(t, id, slips).State {
	case SeatWithdrawn:
		return "", fault.New("ballot-withdrawn", "this assessor has withdrawn").WithFix("ask the lead for another seat")
	case SeatNotServed:
		return "not-served", nil
	case SeatReady, SeatDone:
		return "", nil
	}
	person := tasting.Assessor{ID: id, Avoids: d.Avoids, NotUndercooked: d.NotUndercooked, Consents: d.Consents}
	_, excluded := tasting.Eligible([]tasting.Assessor{person}, t.Document.Setup.Products, safety.SameAllergen)
	state, why := SeatReady, fault.Code("")
	if len(excluded) > 0 {
		state, why = SeatNotServed, excluded[0].Code
	}
	return why, r.putSeat(ctx, t, id, state)
}

func (r *TastingRoom) putSeat(ctx context.Context, t *Tasting, id string, state SeatState) error {
	row, err := r.randomID()
	if err != nil {
		return err
	}
	body, err := json.Marshal(slip{Kind: "seat", Seat: state})
	if err != nil {
		return err
	}
	return r.store.AddBallot(ctx, t.Study, t.ID, Ballot{ID: row, Assessor: id, Body: body})
}

// FreeSeat lets a seat that is not served, or has not answered, be taken by
// somebody else: the door asks again.
func (r *TastingRoom) FreeSeat(ctx context.Context, t *Tasting, id string) error {
	if err := r.seatKnown(t, id); err != nil {
		return err
	}
	defer r.seat(t, id)()
	slips, err := r.slips(ctx, t, id)
	if err != nil {
		return err
	}
	if s := seatOf(t, id, slips); len(s.Answered) > 0 || s.State == SeatWithdrawn {
		return fault.New("seat-used", "seat %s has answers or was withdrawn and cannot be given to somebody else", id).WithFix("withdraw its answers, or leave it")
	}
	for _, p := range slips {
		if err := r.store.WithdrawBallot(ctx, t.Study, t.ID, p.id); err != nil {
			return err
		}
	}
	return nil
}

// Answer takes a ballot. It is on disk when Answer returns nil. The same
// ballot again does nothing. Errors are those of [tasting.Session.Receive],
// and "not-admitted" when the assessor has not agreed or is not served.
//
// A ballot is kept under the id of its set, so the notebook itself refuses a
// second answer to a set, whatever process or thread it comes from.
func (r *TastingRoom) Answer(ctx context.Context, t *Tasting, a tasting.Answer) error {
	if err := r.seatKnown(t, a.Assessor); err != nil {
		return err
	}
	a, err := asKept(a)
	if err != nil {
		return err
	}
	defer r.seat(t, a.Assessor)()
	slips, err := r.slips(ctx, t, a.Assessor)
	if err != nil {
		return err
	}
	if known(slips, a) {
		return nil
	}
	session := *t.Document.Session
	session.Answers, session.Entries, session.Gone, session.History = nil, map[string]int{}, map[string]bool{}, tasting.History{}
	session.Trays = slices.DeleteFunc(slices.Clone(session.Trays), func(x tasting.Tray) bool { return x.Assessor != a.Assessor })
	for _, p := range slips {
		if p.Kind == "answer" {
			session.Answers = append(session.Answers, *p.Answer)
		}
	}
	if r.Closed(t.ID) {
		session.Closed = &tasting.Revelation{}
	}
	switch s := seatOf(t, a.Assessor, slips); s.State {
	case SeatWithdrawn:
		session.Gone[a.Assessor] = true
	case SeatWaiting, SeatNotServed:
		if session.Closed == nil {
			return fault.New("not-admitted", "this assessor has not agreed to be served, or is not served").WithFix("answer the questions at the door first")
		}
	}
	// The check draws salts for a history that is thrown away.
	if err := session.Receive(a, r.now(), rand.Reader); err != nil {
		return r.refused(ctx, t, err)
	}
	body, commit, err := r.answerRow(a)
	if err != nil {
		return err
	}
	event := r.event(t, EventTastingAnswered, "a ballot came in", map[string]any{"commit": commit})
	err = r.store.AddBallot(ctx, t.Study, t.ID, Ballot{ID: a.Set, Assessor: a.Assessor, Body: body}, event)
	switch f := fault.As(err); {
	case f == nil:
		return err
	case f.Code == "id-conflict":
		again, err := r.slips(ctx, t, a.Assessor)
		if err != nil {
			return err
		}
		if known(again, a) {
			return nil
		}
		return r.refused(ctx, t, fault.New("ballot-duplicate", "this tray already has an answer, and this one differs").On("set", a.Set).WithFix("the first answer stands; to change it is a deviation to be noted"))
	case f.Code == "session-closed":
		r.markClosed(t.ID)
		return r.refused(ctx, t, fault.New("ballot-late", "the tasting is closed: this ballot came too late and does not count").WithFix("its arrival is kept in the history"))
	}
	return err
}

// asKept is an answer as reading it back gives it: empty lists become none.
func asKept(a tasting.Answer) (out tasting.Answer, err error) {
	text, err := json.Marshal(a)
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(text, &out)
}

// known tells whether exactly this answer is kept already.
func known(slips []slip, a tasting.Answer) bool {
	return slices.ContainsFunc(slips, func(p slip) bool { return p.Kind == "answer" && reflect.DeepEqual(*p.Answer, a) })
}

// answerRow is the stored form of an answer and the commitment to it,
// SHA-256(salt ‖ answer), which the history keeps when the row is deleted.
func (r *TastingRoom) answerRow(a tasting.Answer) (body []byte, commit string, err error) {
	var salt [32]byte
	if _, err := io.ReadFull(r.random, salt[:]); err != nil {
		return nil, "", (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw a salt"}).Wrap(err)
	}
	text := hex.EncodeToString(salt[:])
	if commit, err = commitTo(text, a); err != nil {
		return nil, "", err
	}
	body, err = json.Marshal(slip{Kind: "answer", Salt: text, Answer: &a})
	return body, commit, err
}

// commitTo is SHA-256(salt ‖ answer), the salt given in hexadecimal.
func commitTo(salt string, a tasting.Answer) (string, error) {
	raw, err := hex.DecodeString(salt)
	if err != nil {
		return "", err
	}
	text, err := json.Marshal(a)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(append(raw, text...))
	return hex.EncodeToString(sum[:]), nil
}

// refused puts in the history that a ballot was not taken, unless it is only
// unfinished, and returns why.
func (r *TastingRoom) refused(ctx context.Context, t *Tasting, why error) error {
	f := fault.As(why)
	if f == nil || f.Code == "answer-incomplete" {
		return why
	}
	if err := r.store.AppendEvents(ctx, t.Study, r.event(t, EventTastingRefused, "a ballot was refused", map[string]any{"code": string(f.Code)})); err != nil {
		return err
	}
	return why
}

// Withdraw removes an assessor's answers for good. That someone withdrew,
// and how many ballots were removed, stays in the history.
func (r *TastingRoom) Withdraw(ctx context.Context, t *Tasting, id string) (int, error) {
	if err := r.seatKnown(t, id); err != nil {
		return 0, err
	}
	defer r.seat(t, id)()
	slips, err := r.slips(ctx, t, id)
	if err != nil {
		return 0, err
	}
	if seatOf(t, id, slips).State == SeatWithdrawn {
		return 0, nil
	}
	removed := 0
	for _, p := range slips {
		if err := r.store.WithdrawBallot(ctx, t.Study, t.ID, p.id); err != nil {
			return removed, err
		}
		if p.Kind == "answer" {
			removed++
		}
	}
	if !r.Closed(t.ID) {
		if err := r.putSeat(ctx, t, id, SeatWithdrawn); err != nil {
			return removed, err
		}
	}
	event := r.event(t, EventTastingWithdrawn, "an assessor withdrew; "+plural(removed, "ballot was removed", "ballots were removed"), map[string]any{"ballots": removed})
	return removed, r.store.AppendEvents(ctx, t.Study, event)
}

// Deviate notes what did not go to plan, at a tray or, for tray 0, at the
// tasting.
func (r *TastingRoom) Deviate(ctx context.Context, t *Tasting, tray int, what string) error {
	check := *t.Document.Session
	check.History, check.Deviations = tasting.History{}, nil
	if err := check.Deviate(tray, what, r.now(), rand.Reader); err != nil {
		return err
	}
	id, err := r.randomID()
	if err != nil {
		return err
	}
	body, err := json.Marshal(slip{Kind: "deviation", Deviation: &check.Deviations[0]})
	if err != nil {
		return err
	}
	event := r.event(t, EventTastingDeviated, "something did not go to plan: "+what, map[string]any{"tray": tray})
	return r.store.AddBallot(ctx, t.Study, t.ID, Ballot{ID: id, Body: body}, event)
}

func (r *TastingRoom) markClosed(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed[id] = true
}

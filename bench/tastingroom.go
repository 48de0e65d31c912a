package bench

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"trivet/fault"
	"trivet/safety"
	"trivet/study"
	"trivet/tasting"
)

// TastingPlan is what the lead decides before the first tray goes out.
type TastingPlan struct {
	Study      string // id
	Title      string
	Question   string // id of the study's question, "" if none
	Setup      tasting.Setup
	Rule       tasting.Rule
	Attributes []string
	Pace       tasting.Pace
	Facts      safety.Facts // what cautions are triggered by
	Invented   bool
}

// Tasting is a tasting as everyone may know it: nothing in it tells what is
// in a cup.
type Tasting struct {
	ID, Study       string
	Title, Question string
	Document        *tasting.Document // its session holds trays, no answers
	Pace            tasting.Pace
	Facts           safety.Facts
	Invented        bool
	OpenedAt        time.Time
	// NotServed is how many people were left out before dealing; why is not
	// kept.
	NotServed int
	Notes     []fault.Note

	places map[string]Place // by link hash
	locked []byte
}

// Lock is the commitment in view since the tasting was opened.
func (t *Tasting) Lock() tasting.Lock { return t.Document.Session.Lock }

// Assessors lists the seats in their order.
func (t *Tasting) Assessors() []string {
	out := make([]string, len(t.Document.Setup.Assessors))
	for i, a := range t.Document.Setup.Assessors {
		out[i] = a.ID
	}
	return out
}

// Cautions are those that belong at a place.
func (t *Tasting) Cautions(where safety.Where) []safety.Caution {
	var out []safety.Caution
	for _, c := range safety.Cautions(t.Facts) {
		if c.ShownAt(where) {
			out = append(out, c)
		}
	}
	return out
}

// tastingBody is the form of a Tasting in the notebook.
type tastingBody struct {
	Format    int               `json:"format"`
	Title     string            `json:"title"`
	Question  string            `json:"question,omitempty"`
	Document  *tasting.Document `json:"document"`
	Pace      tasting.Pace      `json:"pace"`
	Facts     safety.Facts      `json:"facts"`
	Invented  bool              `json:"invented,omitempty"`
	OpenedUS  int64             `json:"opened_us"`
	NotServed int               `json:"not_served"`
	Notes     []fault.Note      `json:"notes,omitempty"`
	Links     map[string]Place  `json:"links"`
}

// TastingSecrets are what the lead's passphrase opens.
type TastingSecrets struct {
	Key   *tasting.Key
	Salt  string
	links links
}

// Token is the random part of the link of a place.
func (s *TastingSecrets) Token(p Place) string { return s.links.token(p) }

// TastingRoom runs the tastings of a notebook. It may be used from several
// goroutines. Start with NewTastingRoom.
type TastingRoom struct {
	store  TastingStore
	now    func() time.Time
	random io.Reader

	mu       sync.Mutex
	tastings map[string]*Tasting
	closed   map[string]bool
	seats    map[string]*sync.Mutex // by tasting and seat: one change at a time
}

// NewTastingRoom reads the tastings a notebook holds. random must be the
// system's cryptographic source outside tests, and safe for several
// goroutines.
func NewTastingRoom(ctx context.Context, store TastingStore, now func() time.Time, random io.Reader) (*TastingRoom, error) {
	r := &TastingRoom{store: store, now: now, random: random,
		tastings: map[string]*Tasting{}, closed: map[string]bool{}, seats: map[string]*sync.Mutex{}}
	studies, err := store.Studies(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range studies {
		sessions, err := store.Sessions(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		for _, row := range sessions {
			t, err := tastingFrom(s.ID, row)
			if err != nil {
				return nil, err
			}
			r.tastings[t.ID], r.closed[t.ID] = t, row.Closed
		}
	}
	return r, nil
}

func tastingFrom(studyID string, row TastingSession) (*Tasting, error) {
	var b tastingBody
	if err := json.Unmarshal(row.Body, &b); err != nil || b.Document == nil || b.Document.Session == nil {
		return nil, fault.New("tasting-corrupt", "a tasting of the notebook cannot be read").On("tasting", row.ID).Wrap(err).
			WithFix("go back to an untouched copy of the notebook")
	}
	if b.Format != 1 || b.Document.Format != tasting.DocumentFormat {
		return nil, fault.New("tasting-format", "a tasting has format %d; this version reads 1", b.Format).On("tasting", row.ID).
			WithFix("open it with a newer trivet")
	}
	return &Tasting{ID: row.ID, Study: studyID, Title: b.Title, Question: b.Question, Document: b.Document, Pace: b.Pace,
		Facts: b.Facts, Invented: b.Invented, OpenedAt: time.UnixMicro(b.OpenedUS).UTC(), NotServed: b.NotServed, Notes: b.Notes,
		places: b.Links, locked: row.LockedKey}, nil
}

// Open deals a tasting, locks its key to the lead's passphrase and keeps it.
// Nobody is dealt a set who cannot eat what is served.
func (r *TastingRoom) Open(ctx context.Context, plan TastingPlan, passphrase string) (*Tasting, *TastingSecrets, error) {
	var excluded []tasting.Exclusion
	plan.Setup.Assessors, excluded = tasting.Eligible(plan.Setup.Assessors, plan.Setup.Products, safety.SameAllergen)
	now := r.now()
	doc, key, salt, notes, err := tasting.NewDocument(plan.Setup, plan.Rule, plan.Attributes, now, r.random)
	if err != nil {
		return nil, nil, err
	}
	sealed, err := tasting.SealKey(doc.Session.Lock, key, salt, passphrase, r.random)
	if err != nil {
		return nil, nil, err
	}
	secrets := &TastingSecrets{Key: key, Salt: salt}
	if secrets.links, err = newLinks(r.random); err != nil {
		return nil, nil, err
	}
	locked, err := lockTasting(sealed, key.Seed, secrets.links, r.random)
	if err != nil {
		return nil, nil, err
	}
	id, err := uuid.NewRandomFromReader(r.random)
	if err != nil {
		return nil, nil, (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw an id"}).Wrap(err)
	}
	places := map[string]Place{}
	for _, role := range []tasting.Role{tasting.Server, tasting.Reader} {
		places[LinkHash(secrets.Token(Place{Role: role}))] = Place{Role: role}
	}
	for _, a := range doc.Setup.Assessors {
		p := Place{tasting.Taster, a.ID}
		places[LinkHash(secrets.Token(p))] = p
	}
	body := tastingBody{Format: 1, Title: plan.Title, Question: plan.Question, Document: doc, Pace: plan.Pace, Facts: plan.Facts,
		Invented: plan.Invented, OpenedUS: now.UnixMicro(), NotServed: len(excluded), Notes: notes, Links: places}
	text, err := json.Marshal(body)
	if err != nil {
		return nil, nil, err
	}
	row := TastingSession{ID: id.String(), Tasting: plan.Title, Commitment: doc.Session.Lock.Commitment, LockedKey: locked, Body: text}
	t, err := tastingFrom(plan.Study, row)
	if err != nil {
		return nil, nil, err
	}
	event := r.event(t, EventTastingOpened, "a tasting was dealt and its key locked", map[string]any{"commitment": row.Commitment})
	if err := r.store.OpenSession(ctx, plan.Study, row, event); err != nil {
		return nil, nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.tastings[t.ID] = t
	return t, secrets, nil
}

// Tastings lists the tastings, newest first.
func (r *TastingRoom) Tastings() []*Tasting {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []*Tasting
	for _, t := range r.tastings {
		out = append(out, t)
	}
	slices.SortFunc(out, func(a, b *Tasting) int {
		if c := b.OpenedAt.Compare(a.OpenedAt); c != 0 {
			return c
		}
		return slices.Compare([]byte(a.ID), []byte(b.ID))
	})
	return out
}

// Tasting finds a tasting by its id; an unknown one is a usage error, code
// "tasting-unknown".
func (r *TastingRoom) Tasting(id string) (*Tasting, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if t := r.tastings[id]; t != nil {
		return t, nil
	}
	return nil, fault.BadUsage("tasting-unknown", "no tasting has this id").On("tasting", id).WithFix("choose one from the list")
}

// Find tells what a link's random part opens.
func (r *TastingRoom) Find(token string) (*Tasting, Place, bool) {
	hash := LinkHash(token)
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, t := range r.tastings {
		if p, ok := t.places[hash]; ok {
			return t, p, true
		}
	}
	return nil, Place{}, false
}

// Closed tells whether a tasting takes no more ballots.
func (r *TastingRoom) Closed(id string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closed[id]
}

// Unlock opens the key of a tasting with the lead's passphrase. A wrong one
// is code "key-locked".
func (r *TastingRoom) Unlock(t *Tasting, passphrase string) (*TastingSecrets, error) {
	key, salt, l, err := unlockTasting(t.locked, passphrase)
	if err != nil {
		return nil, err
	}
	return &TastingSecrets{key, salt, l}, nil
}

func (r *TastingRoom) event(t *Tasting, kind study.EventKind, what string, detail map[string]any) study.Event {
	detail["session"] = t.ID
	text, err := json.Marshal(detail)
	if err != nil {
		text = []byte("{}")
	}
	return study.Event{At: r.now(), Study: t.Study, Kind: kind, What: what, Detail: string(text)}
}

// seat serialises the changes of one seat and returns the unlock function.
func (r *TastingRoom) seat(t *Tasting, seat string) func() {
	r.mu.Lock()
	name := t.ID + "\n" + seat
	m := r.seats[name]
	if m == nil {
		m = &sync.Mutex{}
		r.seats[name] = m
	}
	r.mu.Unlock()
	m.Lock()
	return m.Unlock
}

func (r *TastingRoom) seatKnown(t *Tasting, seat string) error {
	if !slices.Contains(t.Assessors(), seat) {
		return fault.BadUsage("assessor-unknown", "no such assessor at this tasting").On("assessor", seat).WithFix("use the pseudonym on the tray sheet")
	}
	return nil
}

func (r *TastingRoom) randomID() (string, error) {
	id, err := uuid.NewRandomFromReader(r.random)
	if err != nil {
		return "", (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw an id"}).Wrap(err)
	}
	return id.String(), nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

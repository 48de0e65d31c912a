package bench

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/json"
	"slices"
	"time"

	"trivet/fault"
	"trivet/tasting"
)

// TastingResult is a closed tasting: what was locked, that it was not
// changed, and what the answers may and may not claim.
type TastingResult struct {
	Key      *tasting.Key
	Salt     string
	ClosedAt time.Time
	// Redealt tells that dealing again from the seed gives the key.
	Redealt bool
	Scored  *tasting.Scored // nil when it cannot be scored: see ScoreErr
	// ScoreErr says why there is no score, nobody having answered for one.
	ScoreErr  *fault.Error
	Withdrawn int // assessors who withdrew
	Received  int // answers scored
	Notes     []fault.Note
}

// revealed is what closing makes public.
type revealed struct {
	Format int          `json:"format"`
	AtUS   int64        `json:"at_us"`
	Seed   string       `json:"seed"`
	Salt   string       `json:"salt"`
	Key    *tasting.Key `json:"key"`
}

// Close opens the key with the lead's passphrase, verifies it against the
// commitment and ends the tasting: no ballot is taken afterwards. Closing a
// closed tasting does nothing.
func (r *TastingRoom) Close(ctx context.Context, t *Tasting, passphrase string) error {
	if r.Closed(t.ID) {
		return entered(r.enter(ctx, t)) // a retry after the entry failed
	}
	secrets, err := r.Unlock(t, passphrase)
	if err != nil {
		return err
	}
	if err := t.Lock().Verify(secrets.Key, secrets.Salt); err != nil {
		return err
	}
	now := r.now()
	text, err := json.Marshal(revealed{1, now.UnixMicro(), secrets.Key.Seed, secrets.Salt, secrets.Key})
	if err != nil {
		return err
	}
	event := r.event(t, EventTastingClosed, "the tasting was closed and its key revealed", map[string]any{"commitment": t.Lock().Commitment})
	if err := r.store.CloseSession(ctx, t.Study, t.ID, text, event); err != nil {
		return err
	}
	r.markClosed(t.ID)
	return entered(r.enter(ctx, t))
}

// Result scores a closed tasting from what the notebook holds. Before
// closing it is an error, code "tasting-open".
func (r *TastingRoom) Result(ctx context.Context, t *Tasting) (*TastingResult, error) {
	open, err := r.revealedOf(ctx, t)
	if err != nil {
		return nil, err
	}
	slips, err := r.slips(ctx, t, "")
	if err != nil {
		return nil, err
	}
	out := &TastingResult{Key: open.Key, Salt: open.Salt, ClosedAt: time.UnixMicro(open.AtUS).UTC()}
	past, err := r.pastOf(ctx, t)
	if err != nil {
		return nil, err
	}
	out.Withdrawn = past.withdrawn
	doc := *t.Document
	doc.Session, err = tasting.Open(open.Key, t.Lock(), t.OpenedAt, rand.Reader)
	if err != nil {
		return nil, err
	}
	var answers []tasting.Answer
	for _, p := range slips {
		switch {
		case p.Kind == "answer" && seatOf(t, p.assessor, slips).State != SeatWithdrawn:
			answers = append(answers, *p.Answer)
		case p.Kind == "deviation":
			if err := doc.Session.Deviate(p.Deviation.Tray, p.Deviation.What, time.UnixMicro(p.Deviation.AtUS), rand.Reader); err != nil {
				return nil, err
			}
		}
	}
	// In tray order: the order in which ballots came in is not kept.
	tray := map[string]int{}
	for _, x := range doc.Session.Trays {
		tray[x.Set] = x.Tray
	}
	slices.SortFunc(answers, func(a, b tasting.Answer) int { return cmp.Compare(tray[a.Set], tray[b.Set]) })
	for _, a := range answers {
		if err := doc.Session.Receive(a, out.ClosedAt, rand.Reader); err != nil {
			return nil, err
		}
	}
	out.Received = len(answers)
	if out.Notes, err = doc.Session.Close(open.Key, open.Salt, out.ClosedAt, rand.Reader); err != nil {
		return nil, err
	}
	if out.Withdrawn > 0 {
		out.Notes = append(out.Notes, fault.Notef("withdrawn", "%s withdrew; what they answered was removed and is not in the result", plural(out.Withdrawn, "assessor", "assessors")))
	}
	out.Notes = append(out.Notes, past.check(slips)...)
	out.Redealt = tasting.VerifyDeal(doc.Setup, open.Key) == nil
	if out.Scored, err = doc.Score(); err != nil {
		f := fault.As(err)
		if f == nil || f.Kind == fault.Internal {
			return nil, err
		}
		out.Scored, out.ScoreErr = nil, f
	}
	return out, nil
}

func (r *TastingRoom) revealedOf(ctx context.Context, t *Tasting) (*revealed, error) {
	sessions, err := r.store.Sessions(ctx, t.Study)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(sessions, func(s TastingSession) bool { return s.ID == t.ID })
	if i < 0 || !sessions[i].Closed {
		return nil, fault.New("tasting-open", "the tasting is not closed; its key is locked").WithFix("close it first")
	}
	var open revealed
	if err := json.Unmarshal(sessions[i].Revealed, &open); err != nil || open.Key == nil {
		return nil, fault.New("key-corrupt", "the revealed key cannot be read").Wrap(err).WithFix("go back to an untouched copy of the notebook")
	}
	return &open, nil
}

// past is what the history says of a tasting.
type past struct {
	committed map[string]bool // commitments of the answers that came in
	withdrawn int             // assessors
	removed   int             // their ballots
}

func (r *TastingRoom) pastOf(ctx context.Context, t *Tasting) (past, error) {
	p := past{committed: map[string]bool{}}
	rec, err := r.store.Record(ctx, t.Study)
	if err != nil {
		return p, err
	}
	for _, e := range rec.Events {
		var d struct {
			Session string `json:"session"`
			Commit  string `json:"commit"`
			Ballots int    `json:"ballots"`
		}
		if json.Unmarshal([]byte(e.Detail), &d) != nil || d.Session != t.ID {
			continue
		}
		switch e.Kind {
		case EventTastingAnswered:
			p.committed[d.Commit] = true
		case EventTastingWithdrawn:
			p.withdrawn++
			p.removed += d.Ballots
		}
	}
	return p, nil
}

// check holds the answers against the commitments made when they came in:
// each must fit one, and as many must be there as came in and were not
// withdrawn.
func (p past) check(slips []slip) []fault.Note {
	var notes []fault.Note
	answers, strange := 0, 0
	for _, s := range slips {
		if s.Kind != "answer" {
			continue
		}
		answers++
		if c, err := commitTo(s.Salt, *s.Answer); err != nil || !p.committed[c] {
			strange++
		}
	}
	if strange > 0 {
		notes = append(notes, fault.Notef("answers-changed", "%s changed in the notebook after coming in: the commitment in the history does not fit. Do not rely on this result", plural(strange, "answer was", "answers were")))
	}
	if missing := len(p.committed) - p.removed - answers; missing > 0 {
		notes = append(notes, fault.Notef("answers-missing", "%s taken out of the notebook although nobody withdrew: the history knows of more. Do not rely on this result", plural(missing, "answer was", "answers were")))
	}
	return notes
}

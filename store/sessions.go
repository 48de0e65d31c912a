package store

import (
	"bytes"
	"context"
	"database/sql"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// Session is a tasting as it is run.
type Session = bench.TastingSession

// Ballot is what one assessor answered, under a pseudonym.
type Ballot = bench.Ballot

var _ bench.TastingStore = (*Notebook)(nil)

// OpenSession adds a tasting session. The same session again changes nothing.
func (n *Notebook) OpenSession(ctx context.Context, studyID string, s Session, events ...study.Event) error {
	if s.ID == "" || s.Commitment == "" {
		return fault.New("missing-id", "a tasting session needs an id and the commitment of its key")
	}
	if s.Closed || len(s.Revealed) > 0 {
		return fault.New("session-state", "a session is opened with its key locked").On("session", s.ID).
			WithFix("reveal the key when the session is closed")
	}
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveStudy(studyID); err != nil {
			return err
		}
		old, owner, err := c.session(s.ID)
		if err != nil {
			return err
		}
		if owner != "" {
			if owner == studyID && old.Tasting == s.Tasting && old.Commitment == s.Commitment &&
				bytes.Equal(old.LockedKey, s.LockedKey) && bytes.Equal(old.Body, s.Body) {
				return nil
			}
			return conflict("tasting session", s.ID)
		}
		if _, err := c.exec(`INSERT INTO tasting_session (id, study, tasting, state, commitment, locked_key, body, revealed)
			VALUES (?,?,?,'open',?,?,?,?)`, s.ID, studyID, s.Tasting, s.Commitment, notNil(s.LockedKey), notNil(s.Body), []byte{}); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

// CloseSession closes a session and keeps what is revealed of its key. The
// caller has checked that it fits the commitment.
func (n *Notebook) CloseSession(ctx context.Context, studyID, id string, revealed []byte, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		old, owner, err := c.session(id)
		switch {
		case err != nil:
			return err
		case owner != studyID || owner == "":
			return unknownSession(studyID, id)
		case old.Closed && bytes.Equal(old.Revealed, revealed):
			return nil
		case old.Closed:
			return conflict("key of the closed tasting session", id)
		}
		if _, err := c.exec(`UPDATE tasting_session SET state = 'closed', revealed = ? WHERE id = ?`, notNil(revealed), id); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

// AddBallot keeps an answer of an open session. The same ballot again changes
// nothing; a changed one is refused with code "id-conflict".
func (n *Notebook) AddBallot(ctx context.Context, studyID, session string, b Ballot, events ...study.Event) error {
	if b.ID == "" {
		return fault.New("missing-id", "a ballot has no id")
	}
	return n.change(ctx, func(c *change) error {
		s, owner, err := c.session(session)
		switch {
		case err != nil:
			return err
		case owner != studyID || owner == "":
			return unknownSession(studyID, session)
		}
		var old Ballot
		var of string
		found, err := c.one(`SELECT session, assessor, body FROM ballot WHERE id = ?`, []any{b.ID}, &of, &old.Assessor, &old.Body)
		switch {
		case err != nil:
			return err
		case found && of == session && old.Assessor == b.Assessor && bytes.Equal(old.Body, b.Body):
			return nil
		case found:
			return conflict("ballot", b.ID)
		case s.Closed:
			return fault.New("session-closed", "the tasting session is closed").On("session", session).
				WithFix("a ballot that comes after the key is known does not count")
		}
		if _, err := c.exec(`INSERT INTO ballot (id, session, assessor, body) VALUES (?,?,?,?)`, b.ID, session, b.Assessor, notNil(b.Body)); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

// WithdrawBallot deletes what an assessor answered. The history keeps that
// there was a ballot, not what it said.
func (n *Notebook) WithdrawBallot(ctx context.Context, studyID, session, id string, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		if _, owner, err := c.session(session); err != nil {
			return err
		} else if owner != studyID || owner == "" {
			return unknownSession(studyID, session)
		}
		gone, err := c.exec(`DELETE FROM ballot WHERE id = ? AND session = ?`, id, session)
		if err != nil || gone == 0 {
			return err
		}
		return c.append(studyID, events)
	})
}

// Sessions reads the tasting sessions of a study.
func (n *Notebook) Sessions(ctx context.Context, studyID string) (out []Session, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveStudy(studyID); err != nil {
			return err
		}
		return q.each(`SELECT id, tasting, state = 'closed', commitment, locked_key, body, revealed
				FROM tasting_session WHERE study = ? ORDER BY tasting, id`, []any{studyID}, func(r *sql.Rows) error {
			var s Session
			err := r.Scan(&s.ID, &s.Tasting, &s.Closed, &s.Commitment, &s.LockedKey, &s.Body, &s.Revealed)
			out = append(out, s)
			return err
		})
	})
	return out, err
}

// Ballots reads the ballots of a session, ordered by their random ids: the
// order in which people answered is not kept.
func (n *Notebook) Ballots(ctx context.Context, studyID, session string) (out []Ballot, err error) {
	err = n.view(ctx, func(q *query) error {
		if _, owner, err := q.session(session); err != nil {
			return err
		} else if owner != studyID || owner == "" {
			return unknownSession(studyID, session)
		}
		return q.each(`SELECT id, assessor, body FROM ballot WHERE session = ? ORDER BY id`, []any{session}, func(r *sql.Rows) error {
			var b Ballot
			err := r.Scan(&b.ID, &b.Assessor, &b.Body)
			out = append(out, b)
			return err
		})
	})
	return out, err
}

func (q *query) session(id string) (s Session, study string, err error) {
	_, err = q.one(`SELECT study, id, tasting, state = 'closed', commitment, locked_key, body, revealed FROM tasting_session WHERE id = ?`,
		[]any{id}, &study, &s.ID, &s.Tasting, &s.Closed, &s.Commitment, &s.LockedKey, &s.Body, &s.Revealed)
	return s, study, err
}

func unknownSession(studyID, id string) *fault.Error {
	return fault.BadUsage("session-unknown", "no tasting session %q in study %q", id, studyID).On("session", id)
}

package store

import (
	"context"
	"database/sql"

	"trivet/fault"
	"trivet/study"
)

// AppendEvents adds entries to a study's history, in order.
func (n *Notebook) AppendEvents(ctx context.Context, studyID string, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveStudy(studyID); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

// append adds entries to the history: it numbers them, dates those without a
// time, chains their hashes, and dates the study.
func (c *change) append(studyID string, events []study.Event) error {
	var seq int64
	var prev string
	if _, err := c.one(`SELECT seq, hash FROM event WHERE study = ? ORDER BY seq DESC LIMIT 1`,
		[]any{studyID}, &seq, &prev); err != nil {
		return err
	}
	for _, e := range events {
		seq++
		e.Seq, e.Study = seq, studyID
		if e.At.IsZero() {
			e.At = c.now
		}
		e = study.Chain(prev, e)
		if err := c.insertEvent(e); err != nil {
			return err
		}
		prev = e.Hash
	}
	return c.touch(studyID)
}

func (c *change) insertEvent(e study.Event) error {
	_, err := c.exec(`INSERT INTO event (study, seq, at, kind, what, detail, hash) VALUES (?,?,?,?,?,?,?)`,
		e.Study, e.Seq, formatTime(e.At), string(e.Kind), e.What, e.Detail, e.Hash)
	return err
}

// touch dates a study's change and counts it. Whatever changes a record ends
// here: see [recentCooks].
func (c *change) touch(studyID string) error {
	_, err := c.exec(`UPDATE study SET updated = ?, revision = revision + 1 WHERE id = ?`, formatTime(c.now), studyID)
	return err
}

func (q *query) events(studyID string) ([]study.Event, error) {
	var out []study.Event
	err := q.each(`SELECT seq, at, kind, what, detail, hash FROM event WHERE study = ? ORDER BY seq`,
		[]any{studyID}, func(r *sql.Rows) error {
			e := study.Event{Study: studyID}
			var at string
			if err := r.Scan(&e.Seq, &at, &e.Kind, &e.What, &e.Detail, &e.Hash); err != nil {
				return err
			}
			var err error
			e.At, err = parseTime(at)
			out = append(out, e)
			return err
		})
	return out, err
}

// VerifyHistory recomputes the hash chain of a study's history. An error with
// code "history-broken" names the first entry that was tampered with.
func (n *Notebook) VerifyHistory(ctx context.Context, studyID string) error {
	return n.view(ctx, func(q *query) error {
		if err := q.mustHaveStudy(studyID); err != nil {
			return err
		}
		events, err := q.events(studyID)
		if err != nil {
			return err
		}
		return verifyChain(events)
	})
}

// verifyChain checks a history and that it counts 1, 2, 3 …
func verifyChain(events []study.Event) error {
	for i, e := range events {
		if e.Seq != int64(i+1) {
			return fault.New("history-broken", "entry %d of the history is missing", i+1).
				WithFix("take the record from a backup or a data package whose history is whole")
		}
	}
	return study.VerifyChain(events)
}

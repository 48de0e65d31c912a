package store

import (
	"bytes"
	"context"
	"database/sql"

	"trivet/bench"
	"trivet/study"
)

var _ bench.ResponseStore = (*Notebook)(nil)

// PutResponses adds or replaces computed values, all or none.
func (n *Notebook) PutResponses(ctx context.Context, studyID string, responses []bench.StoredResponse) error {
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveStudy(studyID); err != nil {
			return err
		}
		for _, r := range responses {
			added, err := c.exec(`INSERT INTO response (cook, response, input_hash, body)
				SELECT id, ?, ?, ? FROM cook WHERE id = ? AND study = ?
				ON CONFLICT (cook, response) DO UPDATE SET input_hash = excluded.input_hash, body = excluded.body`,
				r.Response, r.InputHash, notNil(r.Body), r.CookID, studyID)
			if err != nil {
				return err
			}
			if added == 0 {
				return unknownCook(studyID, r.CookID)
			}
		}
		return nil
	})
}

// forgetResponses drops what was computed of a cook whose samples were
// replaced: its inputs name the log by its hash, and the same log may have been
// read another way.
func (c *change) forgetResponses(cook string) error {
	_, err := c.exec(`DELETE FROM response WHERE cook = ?`, cook)
	return err
}

// Responses reads stored values of a study.
func (n *Notebook) Responses(ctx context.Context, studyID, response string) (out []bench.StoredResponse, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveStudy(studyID); err != nil {
			return err
		}
		return q.each(`SELECT cook.id, response, input_hash, body FROM cook JOIN response ON response.cook = cook.id
				WHERE cook.study = ?1 AND (?2 = '' OR response = ?2) ORDER BY cook.seq, response`,
			[]any{studyID, response}, func(r *sql.Rows) error {
				var s bench.StoredResponse
				err := r.Scan(&s.CookID, &s.Response, &s.InputHash, &s.Body)
				out = append(out, s)
				return err
			})
	})
	return out, err
}

// PutFinding keeps an answer. An answer equal to the latest is not kept again,
// and appends no event.
func (n *Notebook) PutFinding(ctx context.Context, studyID string, f bench.StoredFinding, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveStudy(studyID); err != nil {
			return err
		}
		var seq int64
		var hash string
		var body []byte
		found, err := c.one(`SELECT seq, input_hash, body FROM finding WHERE study = ? ORDER BY seq DESC LIMIT 1`,
			[]any{studyID}, &seq, &hash, &body)
		if err != nil {
			return err
		}
		if found && hash == f.InputHash && bytes.Equal(body, f.Body) {
			return nil
		}
		at := f.At.Round(0)
		if at.IsZero() {
			at = c.now
		}
		if _, err := c.exec(`INSERT INTO finding (study, seq, at, input_hash, body) VALUES (?,?,?,?,?)`,
			studyID, seq+1, formatTime(at), f.InputHash, notNil(f.Body)); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

// Findings reads the answers given, oldest first.
func (n *Notebook) Findings(ctx context.Context, studyID string) (out []bench.StoredFinding, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveStudy(studyID); err != nil {
			return err
		}
		return q.each(`SELECT at, input_hash, body FROM finding WHERE study = ? ORDER BY seq`, []any{studyID}, func(r *sql.Rows) error {
			var f bench.StoredFinding
			var at string
			if err := r.Scan(&at, &f.InputHash, &f.Body); err != nil {
				return err
			}
			var err error
			f.At, err = parseTime(at)
			out = append(out, f)
			return err
		})
	})
	return out, err
}

package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"trivet/fault"
)

// query is what reads share: a read transaction or the write transaction.
type query struct {
	tx  *sql.Tx
	ctx context.Context
	// prepared keeps the statements of a transaction: an import repeats a
	// dozen of them for every cook.
	prepared map[string]*sql.Stmt
}

// change is a write transaction. Every change happens at one time.
type change struct {
	query
	now time.Time
}

// view runs f on one unchanging state of the notebook.
func (n *Notebook) view(ctx context.Context, f func(*query) error) (err error) {
	tx, err := n.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return n.fail(err)
	}
	q := &query{tx: tx, ctx: ctx, prepared: map[string]*sql.Stmt{}}
	defer func() {
		q.release()
		_ = tx.Rollback() // nothing was changed
		err = n.fail(err)
	}()
	return f(q)
}

// change runs f as one transaction: all of it is on disk when change returns
// nil, and none of it otherwise. The connection begins with BEGIN IMMEDIATE,
// so that waiting for another writer happens here and nowhere later.
func (n *Notebook) change(ctx context.Context, f func(*change) error) (err error) {
	if n.write == nil {
		return readOnlyFault(n.path, "the notebook was opened read-only")
	}
	tx, err := n.write.BeginTx(ctx, nil)
	if err != nil {
		return n.fail(err)
	}
	c := &change{query: query{tx: tx, ctx: ctx, prepared: map[string]*sql.Stmt{}}, now: n.now()}
	defer func() {
		c.release()
		if err != nil {
			// The first error tells. SQLite may have rolled back by itself,
			// as it does when the disk is full.
			_ = tx.Rollback()
			err = n.fail(err)
			return
		}
		err = n.fail(tx.Commit())
	}()
	return f(c)
}

func (q *query) release() {
	for _, s := range q.prepared {
		s.Close()
	}
}

func (q *query) stmt(text string) (*sql.Stmt, error) {
	if s := q.prepared[text]; s != nil {
		return s, nil
	}
	s, err := q.tx.PrepareContext(q.ctx, text)
	if err != nil {
		return nil, err
	}
	q.prepared[text] = s
	return s, nil
}

// exec runs a statement and returns how many rows it changed.
func (q *query) exec(text string, args ...any) (int64, error) {
	s, err := q.stmt(text)
	if err != nil {
		return 0, err
	}
	res, err := s.ExecContext(q.ctx, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// one reads the first row of a query; found is false when there is none.
func (q *query) one(text string, args []any, into ...any) (found bool, err error) {
	s, err := q.stmt(text)
	if err != nil {
		return false, err
	}
	switch err := s.QueryRowContext(q.ctx, args...).Scan(into...); {
	case errors.Is(err, sql.ErrNoRows):
		return false, nil
	case err != nil:
		return false, err
	}
	return true, nil
}

// each calls row for every row of a query.
func (q *query) each(text string, args []any, row func(*sql.Rows) error) error {
	s, err := q.stmt(text)
	if err != nil {
		return err
	}
	rows, err := s.QueryContext(q.ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// formatTime keeps an instant to the nanosecond with its offset from UTC.
// The zero time is "".
func formatTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339Nano)
}

// usTime is an instant given in µs since the Unix epoch.
func usTime(us int64) time.Time { return time.UnixMicro(us).UTC() }

func parseTime(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return time.Time{}, fault.New("notebook-corrupt", "a stored time cannot be read").On("time", s).Wrap(err)
	}
	if _, offset := t.Zone(); offset == 0 {
		t = t.UTC()
	}
	return t, nil
}

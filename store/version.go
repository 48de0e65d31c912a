package store

import (
	"context"

	"trivet/bench"
	"trivet/study"
)

var (
	_ bench.Versions  = (*Notebook)(nil)
	_ bench.Heads     = (*Notebook)(nil)
	_ bench.Replacing = (*Notebook)(nil)
)

// Version reads which state of a study is the current one: one row, however
// large the study.
func (n *Notebook) Version(ctx context.Context, studyID string) (v bench.Version, err error) {
	err = n.view(ctx, func(q *query) error {
		var updated string
		found, err := q.one(`SELECT title, updated, revision FROM study WHERE id = ?`, []any{studyID}, &v.Title, &updated, &v.Revision)
		if err != nil {
			return err
		}
		if !found {
			return unknownStudy(studyID)
		}
		v.Updated, err = parseTime(updated)
		return err
	})
	return v, err
}

// Head reads a study without what grows with its cooks.
func (n *Notebook) Head(ctx context.Context, studyID string) (*bench.Head, error) {
	h := &bench.Head{}
	err := n.view(ctx, func(q *query) (err error) {
		if h.Record, err = q.document(studyID, decodeHead); err != nil {
			return err
		}
		_, err = q.one(`SELECT (SELECT count(*) FROM cook WHERE study = ?1), `+trashed+` FROM study WHERE id = ?1`, []any{studyID}, &h.Cooks, &h.Trashed)
		return err
	})
	if err != nil {
		return nil, err
	}
	return h, nil
}

// FindCook reads one cook of a study by its label or id.
func (n *Notebook) FindCook(ctx context.Context, studyID, label string) (k study.Cook, err error) {
	err = n.view(ctx, func(q *query) error {
		var id string
		found, err := q.one(`SELECT id FROM cook WHERE study = ?1 AND label = ?2 UNION ALL SELECT id FROM cook WHERE study = ?1 AND id = ?2`, []any{studyID, label}, &id)
		if err == nil && found {
			k, err = q.cook(id)
		}
		return err
	})
	return k, err
}

// ReplaceStudy puts a study in the place of the one it was made from, if that
// still is what the notebook holds. The comparison is part of the transaction
// that writes, so it holds between processes too.
func (n *Notebook) ReplaceStudy(ctx context.Context, was *bench.Record, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error {
	return n.putStudy(ctx, was, s, document, cookFiles, events)
}

package store

import (
	"context"

	"trivet/bench"
	"trivet/study"
)

var (
	_ bench.Versions  = (*Notebook)(nil)
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

// ReplaceStudy puts a study in the place of the one it was made from, if that
// still is what the notebook holds. The comparison is part of the transaction
// that writes, so it holds between processes too.
func (n *Notebook) ReplaceStudy(ctx context.Context, was *bench.Record, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error {
	return n.putStudy(ctx, was, s, document, cookFiles, events)
}

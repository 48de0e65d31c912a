package store

import (
	"bytes"
	"context"
	"database/sql"
	"maps"
	"path"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// trashed tells, in a query of studies, whether one is in the trash.
const trashed = `coalesce((SELECT kind = '` + string(bench.EventTrashed) + `' FROM event
	WHERE event.study = study.id AND kind IN ('` + string(bench.EventTrashed) + `', '` + string(bench.EventRestored) + `')
	ORDER BY seq DESC LIMIT 1), 0)`

// Studies lists what the notebook holds, the latest change first.
func (n *Notebook) Studies(ctx context.Context) ([]bench.Summary, error) {
	var out []bench.Summary
	err := n.view(ctx, func(q *query) error {
		return q.each(`SELECT id, title, updated,
				(SELECT count(*) FROM cook WHERE cook.study = study.id),
				EXISTS (SELECT 1 FROM seal WHERE seal.study = study.id),
				`+trashed+`
			FROM study ORDER BY id`, nil,
			func(r *sql.Rows) error {
				var s bench.Summary
				var updated string
				if err := r.Scan(&s.ID, &s.Title, &updated, &s.Cooks, &s.Sealed, &s.Trashed); err != nil {
					return err
				}
				var err error
				s.Updated, err = parseTime(updated)
				out = append(out, s)
				return err
			})
	})
	slices.SortStableFunc(out, func(a, b bench.Summary) int { return b.Updated.Compare(a.Updated) })
	return out, err
}

// Record reads a study whole, without its samples.
func (n *Notebook) Record(ctx context.Context, studyID string) (rec *bench.Record, err error) {
	err = n.view(ctx, func(q *query) error {
		rec, err = q.record(studyID, n.cooksOf)
		return err
	})
	if err != nil {
		return nil, err
	}
	return rec, nil
}

// record reads a study; its cooks come from cooks, which is given the study's
// id and revision.
func (q *query) record(id string, cooks func(q *query, id string, revision int64) ([]study.Cook, error)) (*bench.Record, error) {
	rec, err := q.document(id, decodeStudy)
	if err != nil {
		return nil, err
	}
	var revision int64
	if _, err := q.one(`SELECT revision FROM study WHERE id = ?`, []any{id}, &revision); err != nil {
		return nil, err
	}
	if rec.Cooks, err = cooks(q, id, revision); err != nil {
		return nil, err
	}
	rec.Events, err = q.events(id)
	return rec, err
}

// document reads of a study all but its cooks and its history; decode reads
// the parsed document.
func (q *query) document(id string, decode func([]byte) (*study.Study, error)) (*bench.Record, error) {
	rec := &bench.Record{}
	var parsed []byte
	var shape, created, updated string
	found, err := q.one(`SELECT document, parsed, shape, created, updated FROM study WHERE id = ?`,
		[]any{id}, &rec.Document, &parsed, &shape, &created, &updated)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, unknownStudy(id)
	}
	if rec.Created, err = parseTime(created); err != nil {
		return nil, err
	}
	if rec.Updated, err = parseTime(updated); err != nil {
		return nil, err
	}
	if rec.CookFiles, err = q.cookFiles(id); err != nil {
		return nil, err
	}
	if shape == studyShape {
		rec.Study, err = decode(parsed)
	} else {
		rec.Study, err = parseDocument(rec.Document, rec.CookFiles)
	}
	if err != nil {
		return nil, err
	}
	rec.Seal, err = q.seal(id)
	return rec, err
}

// PutStudy adds or replaces a study's document and cook files and appends the
// events. An equal document with equal cook files changes nothing and appends
// nothing, so that a retry is harmless.
func (n *Notebook) PutStudy(ctx context.Context, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error {
	return n.putStudy(ctx, nil, s, document, cookFiles, events)
}

// putStudy puts a study; where was is not nil only if it is what is there.
func (n *Notebook) putStudy(ctx context.Context, was *bench.Record, s *study.Study, document []byte, cookFiles map[string][]byte, events []study.Event) error {
	if s == nil || s.ID == "" {
		return fault.New("missing-id", "a study needs an id")
	}
	parsed, err := encodeStudy(s)
	if err != nil {
		return err
	}
	return n.change(ctx, func(c *change) error {
		var oldDoc, oldParsed []byte
		known, err := c.one(`SELECT document, parsed FROM study WHERE id = ?`, []any{s.ID}, &oldDoc, &oldParsed)
		if err != nil {
			return err
		}
		if known {
			files, err := c.cookFiles(s.ID)
			if err != nil {
				return err
			}
			if bytes.Equal(oldDoc, document) && bytes.Equal(oldParsed, parsed) && maps.EqualFunc(files, cookFiles, bytes.Equal) {
				return nil
			}
			if was != nil && !(bytes.Equal(oldDoc, was.Document) && maps.EqualFunc(files, was.CookFiles, bytes.Equal)) {
				return fault.New("edited-meanwhile", "the study was changed by somebody else meanwhile").On("study", s.ID).
					WithFix("look at what they changed, then make your change again")
			}
		} else if was != nil {
			return unknownStudy(s.ID)
		}
		now := formatTime(c.now)
		if err := c.putDocument(s, document, parsed, cookFiles, now, now); err != nil {
			return err
		}
		return c.append(s.ID, events)
	})
}

func (c *change) putDocument(s *study.Study, document, parsed []byte, cookFiles map[string][]byte, created, updated string) error {
	if _, err := c.exec(`INSERT INTO study (id, title, document, parsed, shape, created, updated, revision) VALUES (?,?,?,?,?,?,?,1)
		ON CONFLICT (id) DO UPDATE SET title = excluded.title, document = excluded.document,
			parsed = excluded.parsed, shape = excluded.shape, updated = excluded.updated`,
		s.ID, s.Title, notNil(document), parsed, studyShape, created, updated); err != nil {
		return err
	}
	if _, err := c.exec(`DELETE FROM cook_file WHERE study = ?`, s.ID); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(cookFiles)) {
		if !isBelow(name) {
			return fault.New("path", "a cook file must lie below the study's folder").On("cook file", name).
				WithFix("name it relative to the study document, such as cooks/sear-first.yaml")
		}
		if _, err := c.exec(`INSERT INTO cook_file (study, path, bytes) VALUES (?,?,?)`, s.ID, name, notNil(cookFiles[name])); err != nil {
			return err
		}
	}
	return nil
}

// isBelow reports whether a slash-separated path stays below its folder.
func isBelow(p string) bool {
	return p != "" && path.Clean(p) == p && p != "." && p != ".." && !path.IsAbs(p) &&
		!strings.HasPrefix(p, "../") && !strings.ContainsAny(p, "\\:\x00")
}

// notNil lets empty content into a NOT NULL column.
func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

func (q *query) mustHaveStudy(id string) error {
	var one int
	found, err := q.one(`SELECT 1 FROM study WHERE id = ?`, []any{id}, &one)
	if err == nil && !found {
		return unknownStudy(id)
	}
	return err
}

func (q *query) cookFiles(studyID string) (map[string][]byte, error) {
	out := map[string][]byte{}
	err := q.each(`SELECT path, bytes FROM cook_file WHERE study = ?`, []any{studyID}, func(r *sql.Rows) error {
		var name string
		var b []byte
		err := r.Scan(&name, &b)
		out[name] = b
		return err
	})
	return out, err
}

// PutSeal records a study's seal, once. The same seal again changes nothing.
func (n *Notebook) PutSeal(ctx context.Context, studyID string, seal study.Seal, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveStudy(studyID); err != nil {
			return err
		}
		old, err := c.seal(studyID)
		switch {
		case err != nil:
			return err
		case old != nil && old.Hash == seal.Hash && bytes.Equal(old.Canonical, seal.Canonical):
			return nil
		case old != nil:
			return fault.New("sealed-already", "the study was sealed at %s with another plan", formatTime(old.At)).
				On("seal", old.Hash).
				WithFix("a changed plan is a new study; give it a new id")
		}
		if err := c.insertSeal(studyID, seal); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

func (c *change) insertSeal(studyID string, seal study.Seal) error {
	_, err := c.exec(`INSERT INTO seal (study, hash, canonical, at) VALUES (?,?,?,?)`,
		studyID, seal.Hash, notNil(seal.Canonical), formatTime(seal.At.Round(0)))
	return err
}

func (q *query) seal(studyID string) (*study.Seal, error) {
	var s study.Seal
	var at string
	found, err := q.one(`SELECT hash, canonical, at FROM seal WHERE study = ?`, []any{studyID}, &s.Hash, &s.Canonical, &at)
	if err != nil || !found {
		return nil, err
	}
	s.At, err = parseTime(at)
	return &s, err
}

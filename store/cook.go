package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"trivet/fault"
	"trivet/study"
)

// PutCook adds or replaces a cook's record; its samples stay. An equal record
// changes nothing and appends no event.
func (n *Notebook) PutCook(ctx context.Context, studyID string, k study.Cook, events ...study.Event) error {
	if err := checkCook(k); err != nil {
		return err
	}
	return n.change(ctx, func(c *change) error {
		changed, err := c.putCook(studyID, k)
		if err != nil || !changed {
			return err
		}
		return c.append(studyID, events)
	})
}

// putCook adds or replaces a cook's record and tells whether it differs.
func (c *change) putCook(studyID string, k study.Cook) (changed bool, err error) {
	if err := c.mustHaveStudy(studyID); err != nil {
		return false, err
	}
	var owner string
	var seq int64
	var photos []study.Photo // that the cook had
	known, err := c.one(`SELECT study, seq FROM cook WHERE id = ?`, []any{k.ID}, &owner, &seq)
	if err != nil {
		return false, err
	}
	if known {
		if owner != studyID {
			return false, conflict("cook", k.ID)
		}
		old, err := c.cook(k.ID)
		if err != nil || sameCook(old, k) {
			return false, err
		}
		if err := c.clearCook(k.ID); err != nil {
			return false, err
		}
		photos = old.Photos
	} else if _, err := c.one(`SELECT coalesce(max(seq), 0) + 1 FROM cook WHERE study = ?`, []any{studyID}, &seq); err != nil {
		return false, err
	}
	if err := c.writeCook(studyID, seq, k); err != nil {
		return false, err
	}
	return true, c.dropPictures(photos)
}

// checkCook refuses what no table can hold.
func checkCook(k study.Cook) error {
	if k.ID == "" {
		return fault.New("missing-id", "cook %q has no id", k.Label).
			WithFix("give every cook a UUIDv7 when it is made")
	}
	finite := func(field string, values ...float64) error {
		for _, v := range values {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fault.New("not-finite", "cook %s: a %s is not a finite number", k.ID, field).
					On(field, fmt.Sprint(v)).WithFix("leave out what is not known")
			}
		}
		return nil
	}
	for _, w := range k.Weighings {
		if err := finite("weighing", w.MassG, w.ResG); err != nil {
			return err
		}
	}
	for _, r := range k.Readings {
		if err := finite("reading", append(r.Values, r.StdU)...); err != nil {
			return err
		}
	}
	for _, f := range k.Clocks {
		if err := finite("clock", f.Rate, f.RMSUS, f.OffsetUUS, f.RateU); err != nil {
			return err
		}
	}
	return nil
}

// sameCook compares two records as they would be stored.
func sameCook(a, b study.Cook) bool {
	x, errX := json.Marshal(plainCook(a))
	y, errY := json.Marshal(plainCook(b))
	return errX == nil && errY == nil && string(x) == string(y)
}

// plainCook writes a cook's one time in UTC and its empty lists alike, so
// that equal records have equal JSON.
func plainCook(k study.Cook) study.Cook {
	k.VoidedAt = k.VoidedAt.Round(0).UTC()
	k.Clocks = slices.Clone(k.Clocks)
	for i := range k.Clocks {
		f := &k.Clocks[i]
		f.At, f.UndoneAt = f.At.Round(0).UTC(), f.UndoneAt.Round(0).UTC()
	}
	k.Photos = append([]study.Photo{}, k.Photos...)
	for i := range k.Photos {
		p := &k.Photos[i]
		p.TakenAt, p.AddedAt, p.TrashedAt = p.TakenAt.Round(0).UTC(), p.AddedAt.Round(0).UTC(), p.TrashedAt.Round(0).UTC()
	}
	k.Marks = append([]study.Mark{}, k.Marks...)
	k.Weighings = append([]study.Weighing{}, k.Weighings...)
	k.Deviations = append([]study.Deviation{}, k.Deviations...)
	k.Logs = append([]study.LogRef{}, k.Logs...)
	k.Readings = append([]study.Reading{}, k.Readings...)
	for i, r := range k.Readings {
		k.Readings[i].Values = append([]float64{}, r.Values...)
		k.Readings[i].Grades = append([]string{}, r.Grades...)
	}
	return k
}

// parts are the tables of what a cook recorded.
var parts = []string{"mark", "weighing", "reading", "deviation", "log_ref", "photo", "clock_fix"}

func (c *change) clearCook(id string) error {
	for _, table := range parts {
		if _, err := c.exec(`DELETE FROM `+table+` WHERE cook = ?`, id); err != nil {
			return err
		}
	}
	return nil
}

func (c *change) writeCook(studyID string, seq int64, k study.Cook) error {
	_, err := c.exec(`INSERT INTO cook (id, study, seq, label, block, piece, treatment, role, run_order, day,
			zero_us, zero_set, void_rule, void_why, voided_at, line) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)
		ON CONFLICT (id) DO UPDATE SET label = excluded.label, block = excluded.block, piece = excluded.piece,
			treatment = excluded.treatment, role = excluded.role, run_order = excluded.run_order, day = excluded.day,
			zero_us = excluded.zero_us, zero_set = excluded.zero_set, void_rule = excluded.void_rule,
			void_why = excluded.void_why, voided_at = excluded.voided_at, line = excluded.line`,
		k.ID, studyID, seq, k.Label, k.Block, k.Piece, k.Treatment, string(k.Role), k.Order, k.Day,
		k.ZeroUS, k.ZeroSet, k.VoidRule, k.VoidWhy, formatTime(k.VoidedAt.Round(0)), k.Line)
	if failureOf(err) == failUnique {
		return fault.New("label-taken", "another cook of the study has this label").On("label", k.Label).
			WithFix("give each cook a label of its own").Wrap(err)
	}
	if err != nil {
		return err
	}
	for i, m := range k.Marks {
		if err := c.insertMark(k.ID, i+1, m); err != nil {
			return err
		}
	}
	for i, w := range k.Weighings {
		if err := c.insertWeighing(k.ID, i+1, w); err != nil {
			return err
		}
	}
	for i, r := range k.Readings {
		if err := c.insertReading(k.ID, i+1, r); err != nil {
			return err
		}
	}
	for i, d := range k.Deviations {
		if err := c.insertDeviation(k.ID, i+1, d); err != nil {
			return err
		}
	}
	for i, p := range k.Photos {
		if err := c.insertPhoto(k.ID, i+1, p); err != nil {
			return err
		}
	}
	for i, f := range k.Clocks {
		if err := c.insertClock(k.ID, i+1, f); err != nil {
			return err
		}
	}
	for i, l := range k.Logs {
		if _, err := c.exec(`INSERT INTO log_ref (cook, seq, file, map, sha256) VALUES (?,?,?,?,?)`,
			k.ID, i+1, l.File, l.Map, l.SHA256); err != nil {
			return err
		}
	}
	return nil
}

func (c *change) insertMark(cook string, seq int, m study.Mark) error {
	_, err := c.exec(`INSERT INTO mark (cook, seq, id, kind, at_us, note, source) VALUES (?,?,?,?,?,?,?)`,
		cook, seq, m.ID, string(m.Kind), m.AtUS, m.Note, m.Source)
	return taken(err, "mark", m.ID)
}

func (c *change) insertWeighing(cook string, seq int, w study.Weighing) error {
	_, err := c.exec(`INSERT INTO weighing (cook, seq, id, stage, mass_g, at_us, has_at, res_g, note) VALUES (?,?,?,?,?,?,?,?,?)`,
		cook, seq, w.ID, string(w.Stage), w.MassG, w.AtUS, w.HasAt, w.ResG, w.Note)
	return taken(err, "weighing", w.ID)
}

func (c *change) insertReading(cook string, seq int, r study.Reading) error {
	values, err := json.Marshal(append([]float64{}, r.Values...))
	if err != nil {
		return err
	}
	grades, err := json.Marshal(r.Grades)
	if err != nil {
		return err
	}
	_, err = c.exec(`INSERT INTO reading (cook, seq, id, response, kind, unit, vals, grades, std_u, by, blind) VALUES (?,?,?,?,?,?,?,?,?,?,?)`,
		cook, seq, r.ID, r.Response, string(r.Kind), r.Unit, string(values), string(grades), r.StdU, r.By, r.Blind)
	return taken(err, "reading", r.ID)
}

func (c *change) insertDeviation(cook string, seq int, d study.Deviation) error {
	_, err := c.exec(`INSERT INTO deviation (cook, seq, at_us, what, why) VALUES (?,?,?,?,?)`,
		cook, seq, d.AtUS, d.What, d.Why)
	return err
}

// taken names the id that another record already has.
func taken(err error, what, id string) error {
	if failureOf(err) == failUnique {
		return conflict(what, id).Wrap(err)
	}
	return err
}

const cookColumns = `id, label, block, piece, treatment, role, run_order, day, zero_us, zero_set, void_rule, void_why, voided_at, line`

func scanCook(r interface{ Scan(...any) error }) (k study.Cook, err error) {
	var voided string
	if err := r.Scan(&k.ID, &k.Label, &k.Block, &k.Piece, &k.Treatment, &k.Role, &k.Order, &k.Day,
		&k.ZeroUS, &k.ZeroSet, &k.VoidRule, &k.VoidWhy, &voided, &k.Line); err != nil {
		return k, err
	}
	k.VoidedAt, err = parseTime(voided)
	return k, err
}

// cook reads one cook; its ID is empty when there is none.
func (q *query) cook(id string) (study.Cook, error) {
	list, err := q.readCooks(`c.id = ?`, id)
	if err != nil || len(list) == 0 {
		return study.Cook{}, err
	}
	return list[0], nil
}

// cooks reads all cooks of a study in the order they came.
func (q *query) cooks(studyID string) ([]study.Cook, error) {
	return q.readCooks(`c.study = ?`, studyID)
}

// readCooks reads cooks and their parts, table by table: a few queries however
// many cooks there are.
func (q *query) readCooks(where, arg string) ([]study.Cook, error) {
	var list []study.Cook
	err := q.each(`SELECT `+cookColumns+` FROM cook AS c WHERE `+where+` ORDER BY seq`, []any{arg}, func(r *sql.Rows) error {
		k, err := scanCook(r)
		list = append(list, k)
		return err
	})
	for _, read := range cookParts {
		if err == nil && len(list) > 0 {
			err = read(q, list, where, arg)
		}
	}
	return list, err
}

// cookParts read what cooks recorded, a table each.
var cookParts = []func(q *query, cooks []study.Cook, where, arg string) error{
	readMarks, readWeighings, readReadings, readDeviations, readLogs, readPhotos, readClocks,
}

func readMarks(q *query, cooks []study.Cook, where, arg string) error {
	return readPart(q, cooks, where, arg, "p.id, kind, at_us, note, source", "mark",
		func(r *sql.Rows, cook *sql.RawBytes, m *study.Mark) error {
			return r.Scan(cook, &m.ID, &m.Kind, &m.AtUS, &m.Note, &m.Source)
		},
		func(k *study.Cook) *[]study.Mark { return &k.Marks })
}

func readWeighings(q *query, cooks []study.Cook, where, arg string) error {
	return readPart(q, cooks, where, arg, "p.id, stage, mass_g, at_us, has_at, res_g, note", "weighing",
		func(r *sql.Rows, cook *sql.RawBytes, w *study.Weighing) error {
			return r.Scan(cook, &w.ID, &w.Stage, &w.MassG, &w.AtUS, &w.HasAt, &w.ResG, &w.Note)
		},
		func(k *study.Cook) *[]study.Weighing { return &k.Weighings })
}

func readReadings(q *query, cooks []study.Cook, where, arg string) error {
	var values, grades sql.RawBytes
	return readPart(q, cooks, where, arg, "p.id, response, kind, unit, vals, grades, std_u, by, blind", "reading",
		func(r *sql.Rows, cook *sql.RawBytes, x *study.Reading) error {
			if err := r.Scan(cook, &x.ID, &x.Response, &x.Kind, &x.Unit, &values, &grades, &x.StdU, &x.By, &x.Blind); err != nil {
				return err
			}
			return errors.Join(json.Unmarshal(values, &x.Values), json.Unmarshal(grades, &x.Grades))
		},
		func(k *study.Cook) *[]study.Reading { return &k.Readings })
}

func readDeviations(q *query, cooks []study.Cook, where, arg string) error {
	return readPart(q, cooks, where, arg, "at_us, what, why", "deviation",
		func(r *sql.Rows, cook *sql.RawBytes, d *study.Deviation) error {
			return r.Scan(cook, &d.AtUS, &d.What, &d.Why)
		},
		func(k *study.Cook) *[]study.Deviation { return &k.Deviations })
}

func readLogs(q *query, cooks []study.Cook, where, arg string) error {
	return readPart(q, cooks, where, arg, "file, map, sha256", "log_ref",
		func(r *sql.Rows, cook *sql.RawBytes, l *study.LogRef) error {
			return r.Scan(cook, &l.File, &l.Map, &l.SHA256)
		},
		func(k *study.Cook) *[]study.LogRef { return &k.Logs })
}

// readPart appends the rows of one table to the cooks they belong to, which
// are in the order they came. The cooks lead the join, so that their rows are
// found one cook after the other and nothing is sorted or set aside.
func readPart[T any](q *query, cooks []study.Cook, where, arg, columns, table string,
	scan func(r *sql.Rows, cook *sql.RawBytes, into *T) error, list func(*study.Cook) *[]T) error {
	var some bool
	if _, err := q.one(`SELECT EXISTS (SELECT 1 FROM `+table+`)`, nil, &some); err != nil || !some {
		return err
	}
	var id sql.RawBytes
	at := 0
	return q.each(`SELECT cook, `+columns+` FROM cook AS c CROSS JOIN `+table+` AS p ON p.cook = c.id WHERE `+where+` ORDER BY c.seq, p.seq`, []any{arg}, func(r *sql.Rows) error {
		var x T
		if err := scan(r, &id, &x); err != nil {
			return err
		}
		for cooks[at].ID != string(id) {
			at++
		}
		into := list(&cooks[at])
		*into = append(*into, x)
		return nil
	})
}

package store

import (
	"context"
	"database/sql"
	"encoding/json"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

var _ bench.Sink = (*Notebook)(nil)

// liveHead is what all samples of a running channel share.
type liveHead struct {
	Channel   trace.Channel `json:"channel"`
	Elapsed   bool          `json:"elapsed"`
	OffsetMin int           `json:"offset_min"`
	Quantum   float64       `json:"quantum"`
	Source    string        `json:"source"`
}

func headOf(t *trace.Trace) liveHead {
	return liveHead{t.Channel, t.Elapsed, t.OffsetMin, t.Quantum, t.Source}
}

// AppendSamples adds samples to a running cook as rows, which
// [Notebook.FinishSamples] later makes into chunks. They are on disk when it
// returns. A sample that is there already is skipped; one with another value
// at the same time is refused with code "id-conflict".
func (n *Notebook) AppendSamples(ctx context.Context, studyID, cookID string, batch []trace.Trace) error {
	heads := make([]string, len(batch))
	for i := range batch {
		if err := batch[i].Validate(); err != nil {
			return err
		}
		b, err := json.Marshal(headOf(&batch[i]))
		if err != nil {
			return fault.New("trace-channel", "the channel cannot be stored").On("trace", batch[i].Channel.ID).Wrap(err)
		}
		heads[i] = string(b)
	}
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		for i := range batch {
			if err := c.appendSamples(cookID, heads[i], &batch[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

func (c *change) appendSamples(cookID, head string, t *trace.Trace) error {
	var id int64
	found, err := c.one(`SELECT id FROM live_channel WHERE cook = ? AND head = ?`, []any{cookID, head}, &id)
	if err != nil {
		return err
	}
	if !found {
		if _, err := c.one(`INSERT INTO live_channel (cook, seq, head)
			VALUES (?1, (SELECT coalesce(max(seq), 0) + 1 FROM live_channel WHERE cook = ?1), ?2) RETURNING id`,
			[]any{cookID, head}, &id); err != nil {
			return err
		}
	}
	for i, at := range t.TimesUS {
		value := sql.NullInt64{Int64: t.Counts[i], Valid: !t.Missing.Has(i)}
		added, err := c.exec(`INSERT INTO live_sample (channel, at_us, count) VALUES (?,?,?) ON CONFLICT DO NOTHING`, id, at, value)
		if err != nil {
			return err
		}
		if added > 0 {
			continue
		}
		var old sql.NullInt64
		if _, err := c.one(`SELECT count FROM live_sample WHERE channel = ? AND at_us = ?`, []any{id, at}, &old); err != nil {
			return err
		}
		if old != value {
			return fault.New("id-conflict", "channel %q already has another value at this time", t.Channel.ID).
				On("time", formatTime(usTime(at))).WithFix("one source must not send two values for one time")
		}
	}
	return nil
}

// FinishSamples makes the rows of a running cook into compact chunks. It may
// be called while the cook goes on, as often as is convenient; what can be
// read does not change.
func (n *Notebook) FinishSamples(ctx context.Context, studyID, cookID string, events ...study.Event) error {
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		running, err := c.liveTraces(cookID)
		if err != nil {
			return err
		}
		for i := range running {
			if err := c.appendChunk(cookID, &running[i]); err != nil {
				return err
			}
		}
		if _, err := c.exec(`DELETE FROM live_channel WHERE cook = ?`, cookID); err != nil {
			return err
		}
		if len(running) == 0 && len(events) == 0 {
			return nil
		}
		return c.append(studyID, events)
	})
}

// appendChunk adds samples to the stored trace with the same head, if it ends
// before they begin, and to a new one otherwise.
func (c *change) appendChunk(cookID string, t *trace.Trace) error {
	if len(t.TimesUS) == 0 {
		return nil
	}
	rows, err := packTraces([]trace.Trace{*t})
	if err != nil {
		return err
	}
	type candidate struct {
		id, seq int64
		last    []byte
	}
	var stored []candidate
	if err := c.each(`SELECT trace.id, k.seq, k.bytes FROM trace JOIN trace_chunk k ON k.trace = trace.id
			WHERE trace.cook = ? AND trace.channel = ? AND trace.source = ? AND k.last_us < ?
			AND k.seq = (SELECT max(seq) FROM trace_chunk WHERE trace = trace.id) ORDER BY trace.seq`,
		[]any{cookID, t.Channel.ID, t.Source, t.TimesUS[0]}, func(r *sql.Rows) error {
			var s candidate
			err := r.Scan(&s.id, &s.seq, &s.last)
			stored = append(stored, s)
			return err
		}); err != nil {
		return err
	}
	for _, s := range stored {
		old, err := trace.Open(s.last)
		if err != nil {
			return err
		}
		if (liveHead{old.Channel, old.Elapsed, old.OffsetMin, old.Quantum, old.Source}) != headOf(t) {
			continue
		}
		if err := c.insertChunks(s.id, s.seq, rows[0].chunks); err != nil {
			return err
		}
		_, err = c.exec(`UPDATE trace SET samples = samples + ? WHERE id = ?`, rows[0].samples, s.id)
		return err
	}
	return c.writeTraces(cookID, rows)
}

// liveTraces reads the samples of a running cook that are still rows.
func (q *query) liveTraces(cookID string) ([]trace.Trace, error) {
	var out []trace.Trace
	index := map[int64]int{}
	if err := q.each(`SELECT id, head FROM live_channel WHERE cook = ? ORDER BY seq`, []any{cookID}, func(r *sql.Rows) error {
		var id int64
		var b []byte
		if err := r.Scan(&id, &b); err != nil {
			return err
		}
		var h liveHead
		if err := json.Unmarshal(b, &h); err != nil {
			return fault.New("notebook-corrupt", "a running channel of cook %s cannot be read", cookID).Wrap(err)
		}
		index[id] = len(out)
		out = append(out, trace.Trace{Channel: h.Channel, Elapsed: h.Elapsed, OffsetMin: h.OffsetMin, Quantum: h.Quantum, Source: h.Source})
		return nil
	}); err != nil || len(out) == 0 {
		return nil, err
	}
	err := q.each(`SELECT channel, at_us, count FROM live_sample
			WHERE channel IN (SELECT id FROM live_channel WHERE cook = ?) ORDER BY channel, at_us`,
		[]any{cookID}, func(r *sql.Rows) error {
			var id, at int64
			var v sql.NullInt64
			if err := r.Scan(&id, &at, &v); err != nil {
				return err
			}
			t := &out[index[id]]
			if !v.Valid {
				t.Missing.Set(len(t.TimesUS))
			}
			t.TimesUS, t.Counts = append(t.TimesUS, at), append(t.Counts, v.Int64)
			return nil
		})
	return out, err
}

// withLive joins running samples to the stored traces they go on from.
func withLive(stored, running []trace.Trace) []trace.Trace {
next:
	for _, t := range running {
		for i := range stored {
			s := &stored[i]
			if n := len(s.TimesUS); headOf(s) == headOf(&t) && (n == 0 || len(t.TimesUS) == 0 || s.TimesUS[n-1] < t.TimesUS[0]) {
				joined(s, t)
				continue next
			}
		}
		stored = append(stored, t)
	}
	return stored
}

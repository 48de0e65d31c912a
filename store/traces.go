package store

import (
	"bytes"
	"context"
	"database/sql"
	"iter"
	"slices"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// chunkSamples is the most samples one chunk holds: at 10 Hz an hour and a
// half, so that most traces are one chunk, and a window of a long one is read
// without the rest.
const chunkSamples = 1 << 16

// Traces reads the samples of a cook, in the order they were put.
func (n *Notebook) Traces(ctx context.Context, studyID, cookID string) (out []trace.Trace, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		if out, err = q.traces(cookID); err != nil {
			return err
		}
		running, err := q.liveTraces(cookID)
		out = withLive(out, running)
		return err
	})
	return out, err
}

// PutTraces replaces the samples of a cook that came from the same raw files
// and keeps the raw bytes, once however many cooks they serve. Samples from
// other files stay. Equal samples change nothing and append no event.
func (n *Notebook) PutTraces(ctx context.Context, studyID, cookID string, traces []trace.Trace, raw []bench.RawFile, events ...study.Event) error {
	packed, err := packTraces(traces)
	if err != nil {
		return err
	}
	files, err := packRaw(raw)
	if err != nil {
		return err
	}
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		sources := map[string]bool{}
		for _, t := range traces {
			sources[t.Source] = true
		}
		for _, f := range raw {
			sources[f.SHA256] = true
		}
		same, err := c.sameTraces(cookID, chunksOf(packed), sources)
		if err != nil {
			return err
		}
		added, err := c.putRaw(studyID, files)
		if err != nil || same && !added {
			return err
		}
		if !same {
			for source := range sources {
				if _, err := c.exec(`DELETE FROM trace WHERE cook = ? AND source = ?`, cookID, source); err != nil {
					return err
				}
			}
			if err := c.writeTraces(cookID, packed); err != nil {
				return err
			}
			if err := c.forgetResponses(cookID); err != nil {
				return err
			}
		}
		return c.append(studyID, events)
	})
}

func (q *query) mustHaveCook(studyID, cookID string) error {
	var one int
	found, err := q.one(`SELECT 1 FROM cook WHERE id = ? AND study = ?`, []any{cookID, studyID}, &one)
	if err != nil || found {
		return err
	}
	if err := q.mustHaveStudy(studyID); err != nil {
		return err
	}
	return unknownCook(studyID, cookID)
}

// packed is a trace as its table rows.
type packed struct {
	channel, source string
	samples         int
	chunks          []chunk
}

type chunk struct {
	samples            int
	firstUS, lastUS    int64
	minCount, maxCount sql.NullInt64
	bytes, overview    []byte // overview is nil where the chunk is short
}

// overviewFrom is how many samples a chunk has that gets an overview.
const overviewFrom = 1 << 14

// packOverview encodes the overview of a chunk, nil for a short one.
func packOverview(t *trace.Trace) ([]byte, error) {
	if t.Len() < overviewFrom {
		return nil, nil
	}
	return trace.Encode(nil, t.Overview())
}

// packTraces encodes traces before a transaction begins, so that the
// notebook is not held while the processor works.
func packTraces(traces []trace.Trace) ([]packed, error) {
	out := make([]packed, 0, len(traces))
	for _, t := range traces {
		if err := t.Validate(); err != nil {
			return nil, err // before it is cut up, so that sample numbers are right
		}
		p := packed{channel: t.Channel.ID, source: t.Source, samples: len(t.TimesUS)}
		for from := 0; from == 0 || from < len(t.TimesUS); from += chunkSamples {
			piece := section(t, from, min(from+chunkSamples, len(t.TimesUS)))
			b, err := trace.Encode(nil, &piece)
			if err != nil {
				return nil, err
			}
			c := chunk{samples: len(piece.TimesUS), bytes: b}
			if c.overview, err = packOverview(&piece); err != nil {
				return nil, err
			}
			if c.samples > 0 {
				c.firstUS, c.lastUS = piece.TimesUS[0], piece.TimesUS[c.samples-1]
			}
			c.minCount, c.maxCount = extremes(piece)
			p.chunks = append(p.chunks, c)
		}
		out = append(out, p)
	}
	return out, nil
}

// section is the samples from..to of a trace, sharing its arrays.
func section(t trace.Trace, from, to int) trace.Trace {
	if from == 0 && to == len(t.TimesUS) {
		return t
	}
	s := t
	s.TimesUS, s.Counts = t.TimesUS[from:to], t.Counts[from:to]
	s.Missing = t.Missing.Slice(from, to)
	return s
}

// joined appends a later section to a trace.
func joined(t *trace.Trace, s trace.Trace) {
	base := len(t.TimesUS)
	t.TimesUS = append(t.TimesUS, s.TimesUS...)
	t.Counts = append(t.Counts, s.Counts...)
	for i := range s.TimesUS {
		if s.Missing.Has(i) {
			t.Missing.Set(base + i)
		}
	}
}

func extremes(t trace.Trace) (least, most sql.NullInt64) {
	for i, v := range t.Counts {
		if t.Missing.Has(i) {
			continue
		}
		if !least.Valid || v < least.Int64 {
			least = sql.NullInt64{Int64: v, Valid: true}
		}
		if !most.Valid || v > most.Int64 {
			most = sql.NullInt64{Int64: v, Valid: true}
		}
	}
	return least, most
}

// sameTraces reports whether the cook's samples from the given sources (nil:
// from any) are, byte for byte and in order, the packed ones.
func (q *query) sameTraces(cook string, want iter.Seq2[chunk, error], sources map[string]bool) (bool, error) {
	next, stop := iter.Pull2(want)
	defer stop()
	same := true
	if err := q.each(`SELECT trace.source, trace_chunk.bytes FROM trace JOIN trace_chunk ON trace_chunk.trace = trace.id
			WHERE trace.cook = ? ORDER BY trace.seq, trace_chunk.seq`, []any{cook}, func(r *sql.Rows) error {
		if !same {
			return nil
		}
		var source string
		var b sql.RawBytes
		if err := r.Scan(&source, &b); err != nil {
			return err
		}
		if sources != nil && !sources[source] {
			return nil
		}
		w, err, more := next()
		same = more && bytes.Equal(b, w.bytes)
		return err
	}); err != nil || !same {
		return false, err
	}
	_, err, more := next()
	return !more, err
}

// chunksOf are the chunks of all traces in order.
func chunksOf(traces []packed) iter.Seq2[chunk, error] {
	return func(yield func(chunk, error) bool) {
		for _, p := range traces {
			for _, k := range p.chunks {
				if !yield(k, nil) {
					return
				}
			}
		}
	}
}

func (c *change) writeTraces(cook string, traces []packed) error {
	for _, t := range traces {
		id, err := c.insertTrace(cook, t.channel, t.source, t.samples)
		if err != nil {
			return err
		}
		if err := c.insertChunks(id, 0, t.chunks); err != nil {
			return err
		}
	}
	return nil
}

// insertTrace adds a trace without chunks behind those of the cook.
func (c *change) insertTrace(cook, channel, source string, samples int) (id int64, err error) {
	_, err = c.one(`INSERT INTO trace (cook, seq, channel, source, samples)
		VALUES (?1, (SELECT coalesce(max(seq), 0) + 1 FROM trace WHERE cook = ?1), ?2, ?3, ?4) RETURNING id`,
		[]any{cook, channel, source, samples}, &id)
	return id, err
}

func (c *change) insertChunks(traceID, after int64, chunks []chunk) error {
	for i, k := range chunks {
		if err := c.insertChunk(traceID, after+int64(i)+1, k); err != nil {
			return err
		}
	}
	return nil
}

func (c *change) insertChunk(traceID, seq int64, k chunk) error {
	if _, err := c.exec(`INSERT INTO trace_chunk (trace, seq, samples, first_us, last_us, min_count, max_count, bytes) VALUES (?,?,?,?,?,?,?,?)`,
		traceID, seq, k.samples, k.firstUS, k.lastUS, k.minCount, k.maxCount, k.bytes); err != nil {
		return err
	}
	if k.overview == nil {
		return nil
	}
	_, err := c.exec(`INSERT INTO trace_overview (trace, seq, bytes) VALUES (?,?,?)`, traceID, seq, k.overview)
	return err
}

func (q *query) traces(cook string) ([]trace.Trace, error) {
	var out []trace.Trace
	var last int64
	err := q.each(`SELECT trace.id, trace.samples, trace_chunk.bytes FROM trace JOIN trace_chunk ON trace_chunk.trace = trace.id
			WHERE trace.cook = ? ORDER BY trace.seq, trace_chunk.seq`, []any{cook}, func(r *sql.Rows) error {
		var id int64
		var samples int
		var b sql.RawBytes
		if err := r.Scan(&id, &samples, &b); err != nil {
			return err
		}
		t, err := trace.Decode(b)
		if err != nil {
			return fault.New("notebook-corrupt", "the stored samples of cook %s cannot be read", cook).Wrap(err).
				WithFix("load the log again, or restore a backup")
		}
		if id == last {
			joined(&out[len(out)-1], *t)
			return nil
		}
		shareTimes(out)
		if more := samples - t.Len(); more > 0 && more < mostGrown {
			t.TimesUS, t.Counts = slices.Grow(t.TimesUS, more), slices.Grow(t.Counts, more)
		}
		out, last = append(out, *t), id
		return nil
	})
	shareTimes(out)
	return out, err
}

// mostGrown bounds how many samples room is made for before they are read.
const mostGrown = 1 << 26

// shareTimes lets the last trace have the times of one before where they are
// equal, as those of one log are. Appending to either copies them.
func shareTimes(traces []trace.Trace) {
	if len(traces) < 2 {
		return
	}
	t := &traces[len(traces)-1]
	for i := range traces[:len(traces)-1] {
		if x := &traces[i]; slices.Equal(x.TimesUS, t.TimesUS) {
			x.TimesUS = slices.Clip(x.TimesUS)
			t.TimesUS = x.TimesUS
			return
		}
	}
}

package store

import (
	"context"
	"database/sql"

	"trivet/bench"
	"trivet/fault"
	"trivet/trace"
)

var _ bench.SectionReader = (*Notebook)(nil)

// mostHeldSamples is up to how many samples, of all channels, a cook is read
// whole: 64 MiB.
var mostHeldSamples = 1 << 22

// Sections hands f the traces of a cook. Those of a short cook, or of one that
// is running, are held; those of a long one are read chunk by chunk.
func (n *Notebook) Sections(ctx context.Context, studyID, cookID string, f func([]bench.LongTrace) error) error {
	var own error // not a failure of the notebook
	err := n.view(ctx, func(q *query) error {
		if err := q.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		long, err := q.longTraces(cookID)
		if err == nil && long == nil {
			long, err = q.heldTraces(cookID)
		}
		if err != nil {
			return err
		}
		own = f(long)
		return own
	})
	if own != nil {
		return own
	}
	return err
}

func (q *query) heldTraces(cook string) ([]bench.LongTrace, error) {
	traces, err := q.traces(cook)
	if err != nil {
		return nil, err
	}
	running, err := q.liveTraces(cook)
	if err != nil {
		return nil, err
	}
	traces = withLive(traces, running)
	out := make([]bench.LongTrace, len(traces))
	for i := range traces {
		out[i] = bench.Held(&traces[i])
	}
	return out, nil
}

// longTraces are the traces of a cook by their chunks, nil where it is short
// or running.
func (q *query) longTraces(cook string) ([]bench.LongTrace, error) {
	var live, samples int
	if _, err := q.one(`SELECT (SELECT count(*) FROM live_channel WHERE cook = ?1), (SELECT ifnull(sum(samples), 0) FROM trace WHERE cook = ?1)`, []any{cook}, &live, &samples); err != nil {
		return nil, err
	}
	if live > 0 || samples <= mostHeldSamples {
		return nil, nil
	}
	var out []bench.LongTrace
	var chunks [][]int64 // seq of each chunk of each trace
	var ids []int64
	if err := q.each(`SELECT trace.id, trace_chunk.seq, trace_chunk.samples FROM trace JOIN trace_chunk ON trace_chunk.trace = trace.id
			WHERE trace.cook = ? ORDER BY trace.seq, trace_chunk.seq`, []any{cook}, func(r *sql.Rows) error {
		var id, seq int64
		var n int
		if err := r.Scan(&id, &seq, &n); err != nil {
			return err
		}
		last := len(ids) - 1
		if last < 0 || ids[last] != id {
			ids, chunks, out, last = append(ids, id), append(chunks, nil), append(out, bench.LongTrace{}), last+1
		}
		chunks[last] = append(chunks[last], seq)
		out[last].Samples += n
		return nil
	}); err != nil {
		return nil, err
	}
	for i := range out {
		x := &out[i]
		x.Sections = len(chunks[i])
		x.Section = func(k int) (*trace.Trace, error) { return q.chunk(cook, ids[i], chunks[i][k]) }
		head, err := x.Section(0)
		if err != nil {
			return nil, err
		}
		x.Trace = *head
		x.TimesUS, x.Counts, x.Missing = nil, nil, trace.Bitmap{}
	}
	return out, nil
}

// chunk reads one chunk of a trace.
func (q *query) chunk(cook string, traceID, seq int64) (*trace.Trace, error) {
	var b []byte
	found, err := q.one(`SELECT bytes FROM trace_chunk WHERE trace = ? AND seq = ?`, []any{traceID, seq}, &b)
	if err != nil {
		return nil, err
	}
	var t *trace.Trace
	if found {
		t, err = trace.Decode(b)
	}
	if !found || err != nil {
		return nil, fault.New("notebook-corrupt", "the stored samples of cook %s cannot be read", cook).Wrap(err).
			WithFix("load the log again, or restore a backup")
	}
	return t, nil
}

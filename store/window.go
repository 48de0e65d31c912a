package store

import (
	"context"
	"database/sql"
	"slices"

	"trivet/bench"
	"trivet/fault"
	"trivet/trace"
)

var (
	_ bench.WindowReader  = (*Notebook)(nil)
	_ bench.SampleCounter = (*Notebook)(nil)
)

// Samples counts the samples of a cook, in all its channels.
func (n *Notebook) Samples(ctx context.Context, studyID, cookID string) (count int, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		_, err := q.one(`SELECT (SELECT ifnull(sum(k.samples), 0) FROM trace JOIN trace_chunk k ON k.trace = trace.id WHERE trace.cook = ?)
			+ (SELECT count(*) FROM live_sample WHERE channel IN (SELECT id FROM live_channel WHERE cook = ?))`, []any{cookID, cookID}, &count)
		return err
	})
	return count, err
}

// Window reads the samples of a cook from fromUS to toUS, both included and
// each trace on its own clock, for a drawing of so many columns. Chunks that
// have nothing in the window are not read, nor are channels that want, if it
// is not nil, refuses. Where a trace has more samples
// there than the columns can tell apart, its overview stands in their place,
// with the smallest and largest of every trace.OverviewSamples.
func (n *Notebook) Window(ctx context.Context, studyID, cookID string, fromUS, toUS int64, columns int, want func(trace.Channel) bool) (out []trace.Trace, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		if out, err = q.window(cookID, fromUS, toUS, columns, want); err != nil {
			return err
		}
		running, err := q.liveTraces(cookID)
		if want != nil {
			running = slices.DeleteFunc(running, func(t trace.Trace) bool { return !want(t.Channel) })
		}
		for i := range running {
			running[i] = *running[i].Slice(fromUS, toUS)
		}
		out = withLive(out, running)
		return err
	})
	return out, err
}

func (q *query) window(cook string, fromUS, toUS int64, columns int, want func(trace.Channel) bool) ([]trace.Trace, error) {
	var out []trace.Trace
	type span struct {
		id   int64
		thin bool
	}
	var spans []span
	if err := q.each(`SELECT trace.id, sum(k.samples) > ? FROM trace JOIN trace_chunk k ON k.trace = trace.id
			WHERE trace.cook = ? AND (k.samples = 0 OR k.last_us >= ? AND k.first_us <= ?) GROUP BY trace.id ORDER BY trace.seq`,
		[]any{columns * trace.OverviewSamples, cook, fromUS, toUS}, func(r *sql.Rows) error {
			var x span
			err := r.Scan(&x.id, &x.thin)
			spans = append(spans, x)
			return err
		}); err != nil {
		return nil, err
	}
	for _, x := range spans {
		first, wanted := true, true
		err := q.each(`SELECT CASE WHEN ? OR o.bytes IS NULL THEN k.bytes ELSE o.bytes END, o.bytes IS NULL
				FROM trace_chunk k LEFT JOIN trace_overview o ON o.trace = k.trace AND o.seq = k.seq
				WHERE k.trace = ? AND (k.samples = 0 OR k.last_us >= ? AND k.first_us <= ?) ORDER BY k.seq`,
			[]any{!x.thin, x.id, fromUS, toUS}, func(r *sql.Rows) error {
				var b sql.RawBytes
				var full bool
				if err := r.Scan(&b, &full); err != nil {
					return err
				}
				if !wanted {
					return nil
				}
				stored, err := trace.Open(b)
				if err == nil && first && want != nil && !want(stored.Channel) {
					wanted = false
					return nil
				}
				var t *trace.Trace
				if err == nil {
					t, err = stored.Range(fromUS, toUS)
				}
				if err != nil {
					return fault.New("notebook-corrupt", "the stored samples of cook %s cannot be read", cook).Wrap(err).
						WithFix("load the log again, or restore a backup")
				}
				if full && x.thin { // a chunk without an overview
					t = t.Overview()
				}
				if first {
					out, first = append(out, *t), false
				} else {
					joined(&out[len(out)-1], *t)
				}
				return nil
			})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

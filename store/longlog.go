package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"iter"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// KeepLog begins to keep a log of any length. What is handed over stands
// packed in a temporary file beside the notebook, so that neither memory nor
// the notebook is held while the log is read.
func (n *Notebook) KeepLog(ctx context.Context, studyID string) (bench.LogWriter, error) {
	if n.write == nil {
		return nil, readOnlyFault(n.path, "the notebook was opened read-only")
	}
	f, err := os.CreateTemp(filepath.Dir(n.path), "."+filepath.Base(n.path)+".log-*")
	if err != nil {
		return nil, diskFault(n.path, err)
	}
	// Where an open file may be removed, nothing stays behind a crash.
	_ = os.Remove(f.Name())
	w := &logWriter{n: n, ctx: ctx, study: studyID, spool: spool{file: f}, sum: sha256.New()}
	w.packing.SetLimit(1)
	return w, nil
}

// spool is a file of blocks that are added at its end.
type spool struct {
	mu   sync.Mutex
	file *os.File
	end  int64
}

// spooled is where a block of a spool stands.
type spooled struct {
	at   int64
	size int
}

func (s *spool) add(b []byte) (spooled, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p := spooled{s.end, len(b)}
	_, err := s.file.WriteAt(b, s.end)
	s.end += int64(len(b))
	return p, err
}

func (s *spool) read(p spooled) ([]byte, error) {
	b := make([]byte, p.size)
	_, err := s.file.ReadAt(b, p.at)
	return b, err
}

// logWriter keeps a log while it is read.
type logWriter struct {
	n     *Notebook
	ctx   context.Context
	study string
	spool spool

	raw     []byte // not yet packed
	size    int64
	sum     hash.Hash
	packing errgroup.Group // of raw blocks, one at a time
	blocks  []spooled

	kept, latest []piece
	heads        []*trace.Trace
	numbers      []int
}

// piece is the samples of one chunk, packed before its head is known.
type piece struct {
	number          int // of the trace
	chunk           chunk
	quantum         float64
	bytes, overview spooled
}

// Write takes the raw bytes of the log in order.
func (w *logWriter) Write(b []byte) (int, error) {
	w.sum.Write(b)
	w.size += int64(len(b))
	for rest := b; len(rest) > 0; {
		if w.raw == nil {
			w.raw = make([]byte, 0, rawBlock)
		}
		k := min(rawBlock-len(w.raw), len(rest))
		w.raw, rest = append(w.raw, rest[:k]...), rest[k:]
		if len(w.raw) == rawBlock {
			if err := w.pack(); err != nil {
				return 0, err
			}
		}
	}
	return len(b), nil
}

// pack packs the raw bytes gathered so far beside the reader.
func (w *logWriter) pack() error {
	block := w.raw
	w.raw = nil
	w.packing.Go(func() error { // waits for the block before
		p, err := w.spool.add(packZstd(block))
		w.blocks = append(w.blocks, p)
		return diskFault(w.n.path, err)
	})
	return w.ctx.Err()
}

// Samples packs pieces, those of several channels side by side.
func (w *logWriter) Samples(first int, pieces []trace.Trace) error {
	if err := w.ctx.Err(); err != nil {
		return err
	}
	from := len(w.latest)
	w.latest = append(w.latest, make([]piece, len(pieces))...)
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range pieces {
		g.Go(func() error {
			t := &pieces[i]
			p := piece{number: first + i, quantum: t.Quantum, chunk: chunk{samples: t.Len(), firstUS: t.TimesUS[0], lastUS: t.TimesUS[t.Len()-1]}}
			p.chunk.minCount, p.chunk.maxCount = extremes(*t)
			b, err := trace.Encode(nil, t)
			if err != nil {
				return err
			}
			over, err := packOverview(t)
			if err != nil {
				return err
			}
			if p.bytes, err = w.spool.add(b); err == nil && over != nil {
				p.overview, err = w.spool.add(over)
			}
			w.latest[from+i] = p
			return diskFault(w.n.path, err)
		})
	}
	return g.Wait()
}

// Session begins another session.
func (w *logWriter) Session() error {
	w.kept, w.latest = w.latest, nil
	return nil
}

// Settle keeps the latest session or the one before.
func (w *logWriter) Settle(latest bool) error {
	if !latest {
		w.latest = w.kept
	}
	w.kept = nil
	return nil
}

// Done takes the heads of the traces.
func (w *logWriter) Done(traces []*trace.Trace, numbers []int) error {
	w.heads, w.numbers = traces, numbers
	return nil
}

// Close lets go of what was not committed.
func (w *logWriter) Close() error {
	_ = w.packing.Wait()
	err := w.spool.file.Close()
	_ = os.Remove(w.spool.file.Name())
	return err
}

// Commit puts the log into the notebook, as one transaction: the cook with
// what edit makes of it, the samples, the raw bytes and the events. The
// cook is the one of the notebook where that knows its id.
func (w *logWriter) Commit(cook study.Cook, name string, edit func(*study.Cook), events ...study.Event) (study.Cook, error) {
	raw, err := w.packedRaw(name)
	if err != nil {
		return cook, err
	}
	err = w.n.change(w.ctx, func(c *change) error {
		var one int
		known, err := c.one(`SELECT 1 FROM cook WHERE id = ? AND study = ?`, []any{cook.ID, w.study}, &one)
		if err != nil {
			return err
		}
		if known {
			if cook, err = c.cook(cook.ID); err != nil {
				return err
			}
		}
		edit(&cook)
		if err := checkCook(cook); err != nil {
			return err
		}
		changed, err := c.putCook(w.study, cook)
		if err != nil {
			return err
		}
		same, err := c.sameTraces(cook.ID, w.chunks(), map[string]bool{raw.sha256: true})
		if err != nil {
			return err
		}
		added, err := c.putRaw(w.study, []packedRaw{raw})
		if err != nil || same && !added && !changed {
			return err
		}
		if !same {
			if err := w.replace(c, cook.ID, raw.sha256); err != nil {
				return err
			}
		}
		return c.append(w.study, events)
	})
	return cook, err
}

// replace puts the samples in the place of those that came from the same log.
func (w *logWriter) replace(c *change, cook, source string) error {
	if _, err := c.exec(`DELETE FROM trace WHERE cook = ? AND source = ?`, cook, source); err != nil {
		return err
	}
	if err := c.forgetResponses(cook); err != nil {
		return err
	}
	for i, head := range w.heads {
		samples := 0
		for _, p := range w.latest {
			if p.number == w.numbers[i] {
				samples += p.chunk.samples
			}
		}
		id, err := c.insertTrace(cook, head.Channel.ID, head.Source, samples)
		if err != nil {
			return err
		}
		seq := int64(0)
		for k, err := range w.chunksOf(i) {
			if err != nil {
				return err
			}
			seq++
			if err := c.insertChunk(id, seq, k); err != nil {
				return err
			}
		}
	}
	return nil
}

// chunks are the chunks of all traces in order.
func (w *logWriter) chunks() iter.Seq2[chunk, error] {
	return func(yield func(chunk, error) bool) {
		for i := range w.heads {
			for k, err := range w.chunksOf(i) {
				if !yield(k, err) || err != nil {
					return
				}
			}
		}
	}
}

// chunksOf are the chunks of a trace, read from the spool; a trace without
// samples has one empty chunk.
func (w *logWriter) chunksOf(i int) iter.Seq2[chunk, error] {
	return func(yield func(chunk, error) bool) {
		any := false
		for _, p := range w.latest {
			if p.number != w.numbers[i] {
				continue
			}
			any = true
			k, err := w.finished(p, w.heads[i])
			if !yield(k, err) || err != nil {
				return
			}
		}
		if !any {
			b, err := trace.Encode(nil, w.heads[i])
			yield(chunk{bytes: b}, err)
		}
	}
}

// finished is a piece with its head, as fine as its trace.
func (w *logWriter) finished(p piece, head *trace.Trace) (chunk, error) {
	k := p.chunk
	times := int64(math.Round(p.quantum / head.Quantum))
	finish := func(at spooled) ([]byte, *trace.Trace, error) {
		b, err := w.spool.read(at)
		if err != nil {
			return nil, nil, diskFault(w.n.path, err)
		}
		if times <= 1 {
			b, err = trace.Rehead(nil, b, head)
			return b, nil, err
		}
		t, err := trace.Decode(b)
		if err != nil {
			return nil, nil, err
		}
		t.Refine(times)
		t.Channel, t.Elapsed, t.OffsetMin, t.Quantum, t.Source = head.Channel, head.Elapsed, head.OffsetMin, head.Quantum, head.Source
		b, err = trace.Encode(nil, t)
		return b, t, err
	}
	var t *trace.Trace
	var err error
	if k.bytes, t, err = finish(p.bytes); err != nil {
		return k, err
	}
	if t != nil {
		k.minCount, k.maxCount = extremes(*t)
	}
	if p.overview.size > 0 {
		if k.overview, _, err = finish(p.overview); err != nil {
			return k, err
		}
	}
	return k, nil
}

// packedRaw is the log's raw bytes, read from the spool block by block.
func (w *logWriter) packedRaw(name string) (packedRaw, error) {
	p := packedRaw{sha256: hex.EncodeToString(w.sum.Sum(nil)), name: name, size: w.size}
	if len(w.heads) > 0 && w.heads[0].Source != p.sha256 {
		return p, fault.New("raw-hash", "the log %q is not what its hash says", name).On("sha256", w.heads[0].Source).
			WithFix("its SHA-256 is %s; read the file again", p.sha256)
	}
	if w.size <= rawBlock {
		if err := w.packing.Wait(); err != nil {
			return p, err
		}
		b := w.raw
		if len(w.blocks) == 1 { // just full
			packed, err := w.spool.read(w.blocks[0])
			if err != nil {
				return p, diskFault(w.n.path, err)
			}
			p.codec, p.bytes = "zstd", packed
			return p, nil
		}
		p.codec, p.bytes = packBlock(b)
		return p, nil
	}
	if len(w.raw) > 0 {
		if err := w.pack(); err != nil {
			return p, err
		}
	}
	if err := w.packing.Wait(); err != nil {
		return p, err
	}
	var err error
	p.codec = "zstd"
	if p.bytes, err = w.spool.read(w.blocks[0]); err != nil {
		return p, diskFault(w.n.path, err)
	}
	p.more = func(yield func([]byte, error) bool) {
		for _, at := range w.blocks[1:] {
			b, err := w.spool.read(at)
			if !yield(b, diskFault(w.n.path, err)) || err != nil {
				return
			}
		}
	}
	return p, nil
}

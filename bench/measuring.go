package bench

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"trivet/answer"
	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// Progress reports how far long work has come. A nil Progress is silent.
type Progress func(done, total int)

// Report calls p unless it is nil.
func (p Progress) Report(done, total int) {
	if p != nil {
		p(done, total)
	}
}

// Measure computes responses of every cook of a record, all the built-in and
// typed ones when no names are given. Values that the notebook stored for
// the same inputs are taken from there, and new ones are stored.
func Measure(ctx context.Context, rd Reader, rec *Record, progress Progress, names ...string) ([]answer.CookResult, error) {
	return measured(ctx, rd, rec, progress, false, names...)
}

// measured is [Measure], on demand by the responses' other definitions too
// (see [measure.Definitions]): those are kept with the values, so that an
// answer from a notebook costs one read.
func measured(ctx context.Context, rd Reader, rec *Record, progress Progress, others bool, names ...string) ([]answer.CookResult, error) {
	key, asked := "*", rec.asked()
	if len(names) > 0 {
		b, _ := json.Marshal(names)
		key, asked = string(b), nil
	}
	beside := struct {
		Foods  study.Foods
		Asked  []string
		Others int `json:",omitempty"`
	}{Foods: rec.Study.Foods, Asked: asked}
	if others {
		key, beside.Others = othersKey+key, measure.DefinitionsVersion
	}
	results, err := remembered(ctx, rd, rec, key, beside, progress, func(in measure.Input) (*measure.Result, error) {
		in.Others = others
		return measure.Cook(in, names...)
	})
	if err != nil {
		return nil, err
	}
	out := make([]answer.CookResult, len(results))
	for i, c := range rec.Cooks {
		out[i] = answer.CookResult{Cook: c, Result: results[i]}
	}
	return out, nil
}

// othersKey begins what values with their other definitions are stored under.
const othersKey = "(by other definitions) "

// remembered computes something of every cook of a record, several at a time,
// and keeps it in the notebook under a key for as long as its inputs stay what
// they were; beside names what else than the cook it rests on.
func remembered[T any](ctx context.Context, rd Reader, rec *Record, key string, beside any, progress Progress, compute func(measure.Input) (T, error)) ([]T, error) {
	out := make([]T, len(rec.Cooks))
	pieces := map[string]study.Piece{}
	for _, p := range rec.Study.Pieces {
		pieces[p.Label] = p
	}
	known, err := storedResults(ctx, rd, rec.Study.ID, key)
	if err != nil {
		return nil, err
	}
	hashes := make([]string, len(rec.Cooks))
	var todo []int
	for i, c := range rec.Cooks {
		hashes[i] = inputHash(c, pieces[c.Piece], rec.Study.Instruments, key, beside)
		if s, ok := known[c.ID]; ok && c.ID != "" && s.InputHash == hashes[i] {
			var r T
			if json.Unmarshal(s.Body, &r) == nil {
				out[i] = r
				continue
			}
		}
		todo = append(todo, i)
	}
	g, gctx := errgroup.WithContext(ctx)
	work := make(chan int)
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer close(work)
		for n, i := range todo {
			select {
			case work <- i:
				progress.Report(n, len(todo))
			case <-gctx.Done():
				return
			}
		}
	}()
	for range runtime.GOMAXPROCS(0) {
		g.Go(func() error {
			for i := range work {
				c := rec.Cooks[i]
				traces, err := rd.Traces(gctx, rec.Study.ID, c.ID)
				if err != nil {
					return err
				}
				if !vouched(c, traces) {
					hashes[i] = ""
				}
				if out[i], err = compute(rec.input(c, pieces[c.Piece], traces)); err != nil {
					return err
				}
			}
			return nil
		})
	}
	err = g.Wait()
	<-done
	if err == nil {
		err = ctx.Err() // stopped between two cooks: the rest was not measured
	}
	if err != nil {
		return nil, err
	}
	progress.Report(len(todo), len(todo))
	storeResults(ctx, rd, rec, key, out, hashes, todo)
	return out, ctx.Err()
}

// fits are the profiles fitted by this process.
var fits measure.Fits

// input gathers what the record holds for measuring a cook.
func (r *Record) input(c study.Cook, p study.Piece, traces []trace.Trace) measure.Input {
	return measure.Input{Cook: c, Piece: p, Traces: traces, Instruments: r.Study.Instruments, Foods: r.Study.Foods, Asked: r.asked(), Fits: &fits}
}

// asked are the responses of the study's questions.
func (r *Record) asked() []string {
	var out []string
	for _, q := range r.Study.Questions {
		if q.Response != "" && !slices.Contains(out, q.Response) {
			out = append(out, q.Response)
		}
	}
	return out
}

// inputHash names everything a cook's responses were computed from: its
// record (the hashes of its raw logs among it), its piece, the instruments, the
// responses asked for, what else they rest on, and the version of the method.
func inputHash(c study.Cook, p study.Piece, tools []study.Instrument, key string, beside any) string {
	c.Photos = nil // nothing is computed from them
	b, err := json.Marshal(struct {
		Method int
		Key    string
		Cook   study.Cook
		Piece  study.Piece
		Tools  []study.Instrument `json:",omitempty"`
		Beside any                `json:",omitempty"`
	}{measure.MethodVersion, key, c, p, tools, beside})
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// vouched reports whether the record of a cook names the log of every trace.
// Samples taken live are named nowhere and may still be coming in, so what
// was computed from them is not kept.
func vouched(c study.Cook, traces []trace.Trace) bool {
	for _, t := range traces {
		if !slices.ContainsFunc(c.Logs, func(l study.LogRef) bool { return l.SHA256 != "" && l.SHA256 == t.Source }) {
			return false
		}
	}
	return true
}

func storedResults(ctx context.Context, rd Reader, studyID, key string) (map[string]StoredResponse, error) {
	st, ok := rd.(ResponseStore)
	if !ok {
		return nil, nil
	}
	all, err := st.Responses(ctx, studyID, key)
	if err != nil {
		return nil, err
	}
	out := make(map[string]StoredResponse, len(all))
	for _, r := range all {
		out[r.CookID] = r
	}
	return out, nil
}

// storeResults keeps what was computed. A notebook that cannot be written
// just now (opened read-only, in use, on a full disk) still answers.
func storeResults[T any](ctx context.Context, rd Reader, rec *Record, key string, all []T, hashes []string, todo []int) {
	st, ok := rd.(ResponseStore)
	if !ok || len(todo) == 0 || !Writable(rd) {
		return
	}
	var put []StoredResponse
	for _, i := range todo {
		if hashes[i] == "" || rec.Cooks[i].ID == "" {
			continue
		}
		b, err := json.Marshal(all[i])
		if err != nil {
			continue // a non-finite value is computed anew each time
		}
		put = append(put, StoredResponse{CookID: rec.Cooks[i].ID, Response: key, InputHash: hashes[i], Body: b})
	}
	if len(put) > 0 {
		_ = st.PutResponses(ctx, rec.Study.ID, put) // it only saves time, and may fail
	}
}

// Writable reports whether a reader is a notebook open for writing.
func Writable(rd Reader) bool {
	if _, ok := rd.(Notebook); !ok {
		return false
	}
	if w, ok := rd.(interface{ Writable() bool }); ok {
		return w.Writable()
	}
	return true
}

// Blocks returns the record's blocks in run order.
func (r *Record) Blocks() []string {
	var out []string
	seen := map[string]bool{}
	for _, c := range r.Cooks {
		if c.Role != study.Pilot && !seen[c.Block] {
			seen[c.Block] = true
			out = append(out, c.Block)
		}
	}
	return out
}

package store

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// PutImported adds a whole record with its seal, cooks, samples, logs and
// history, which must chain. A record that is there already with equal
// content changes nothing; one with different content is refused with code
// "id-conflict", naming what differs.
func (n *Notebook) PutImported(ctx context.Context, r *bench.Record, traces map[string][]trace.Trace, raw []bench.RawFile) error {
	if r == nil || r.Study == nil || r.Study.ID == "" {
		return fault.New("missing-id", "a study needs an id")
	}
	id := r.Study.ID
	for _, k := range r.Cooks {
		if err := checkCook(k); err != nil {
			return err
		}
	}
	if err := verifyChain(r.Events); err != nil {
		return err
	}
	parsed, err := encodeStudy(r.Study)
	if err != nil {
		return err
	}
	samples := map[string][]packed{}
	for cook, t := range traces {
		if !slices.ContainsFunc(r.Cooks, func(k study.Cook) bool { return k.ID == cook }) {
			return unknownCook(id, cook)
		}
		if samples[cook], err = packTraces(t); err != nil {
			return err
		}
	}
	logs, pictures := apart(raw, r.Cooks)
	files, err := packRaw(logs)
	if err != nil {
		return err
	}
	for _, p := range pictures {
		if err := checkPicture(p); err != nil {
			return err
		}
	}
	return n.change(ctx, func(c *change) error {
		var one int
		known, err := c.one(`SELECT 1 FROM study WHERE id = ?`, []any{id}, &one)
		if err != nil {
			return err
		}
		if known {
			return c.compareImported(r, samples, files)
		}
		created, updated := r.Created, r.Updated
		if created.IsZero() {
			created = c.now
		}
		if updated.IsZero() {
			updated = c.now
		}
		if err := c.putDocument(r.Study, r.Document, parsed, r.CookFiles, formatTime(created), formatTime(updated)); err != nil {
			return err
		}
		if r.Seal != nil {
			if err := c.insertSeal(id, *r.Seal); err != nil {
				return err
			}
		}
		if _, err := c.putRaw(id, files); err != nil {
			return err
		}
		for _, p := range pictures {
			if err := c.keepPicture(p); err != nil {
				return err
			}
		}
		for i, k := range r.Cooks {
			var owner string
			taken, err := c.one(`SELECT study FROM cook WHERE id = ?`, []any{k.ID}, &owner)
			if err != nil {
				return err
			}
			if taken {
				return conflict("cook", k.ID).On("study", owner)
			}
			if err := c.writeCook(id, int64(i+1), k); err != nil {
				return err
			}
			if err := c.writeTraces(k.ID, samples[k.ID]); err != nil {
				return err
			}
		}
		for _, e := range r.Events {
			e.Study = id
			if err := c.insertEvent(e); err != nil {
				return err
			}
		}
		return nil
	})
}

// compareImported refuses a record that differs from the stored one of the
// same id.
func (c *change) compareImported(r *bench.Record, samples map[string][]packed, files []packedRaw) error {
	id := r.Study.ID
	old, err := c.record(id, readAll)
	if err != nil {
		return err
	}
	differs := func(what string) error {
		return fault.New("id-conflict", "study %s is already in the notebook, and its %s", id, what).On("study", id).
			WithFix("import it into another notebook, or give it another id")
	}
	switch {
	case !bytes.Equal(old.Document, r.Document):
		return differs("document differs")
	case !maps.EqualFunc(old.CookFiles, r.CookFiles, bytes.Equal):
		return differs("cook files differ")
	case (old.Seal == nil) != (r.Seal == nil),
		old.Seal != nil && (old.Seal.Hash != r.Seal.Hash || !old.Seal.At.Equal(r.Seal.At) || !bytes.Equal(old.Seal.Canonical, r.Seal.Canonical)):
		return differs("seal differs")
	case len(old.Cooks) != len(r.Cooks):
		return differs(fmt.Sprintf("cooks differ: %d are stored, %d came", len(old.Cooks), len(r.Cooks)))
	case !sameEvents(old.Events, r.Events):
		return differs("history differs")
	}
	for i, k := range old.Cooks {
		if !sameCook(withoutTrash(k), withoutTrash(r.Cooks[i])) {
			return differs("cook " + k.ID + " differs")
		}
		same, err := c.sameTraces(k.ID, chunksOf(samples[k.ID]), nil)
		if err != nil {
			return err
		}
		if !same { // it may be cut into other chunks
			if same, err = c.sameSamples(k.ID, samples[k.ID]); err != nil {
				return err
			}
		}
		if !same {
			return differs("samples of cook " + k.ID + " differ")
		}
	}
	for _, f := range files {
		var one int
		found, err := c.one(`SELECT 1 FROM study_raw WHERE study = ? AND sha256 = ?`, []any{id, f.sha256}, &one)
		if err != nil {
			return err
		}
		if !found {
			return differs("logs differ: " + f.name + " is new")
		}
	}
	return nil
}

// sameSamples reports whether the cook's samples are the packed ones, however
// they are cut into chunks.
func (q *query) sameSamples(cook string, want []packed) (bool, error) {
	have, err := q.traces(cook)
	if err != nil || len(have) != len(want) {
		return false, err
	}
	for i, p := range want {
		var t trace.Trace
		for j, k := range p.chunks {
			piece, err := trace.Decode(k.bytes)
			if err != nil {
				return false, err
			}
			if j == 0 {
				t = *piece
			} else {
				joined(&t, *piece)
			}
		}
		h := &have[i]
		if headOf(h) != headOf(&t) || !slices.Equal(h.TimesUS, t.TimesUS) || !slices.Equal(h.Counts, t.Counts) || !h.Missing.Equal(t.Missing) {
			return false, nil
		}
	}
	return true, nil
}

func sameEvents(a, b []study.Event) bool {
	plain := func(list []study.Event) []byte {
		out := slices.Clone(list)
		for i := range out {
			out[i].At = out[i].At.Round(0).UTC()
			out[i].Study = ""
		}
		j, _ := json.Marshal(append([]study.Event{}, out...))
		return j
	}
	return bytes.Equal(plain(a), plain(b))
}

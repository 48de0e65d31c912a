package bench

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"time"

	"trivet/fault"
	"trivet/study"
)

// Removal is what a change took out of a study document or wrote over, as the
// history keeps it: enough to put it back while the text around it is the same.
type Removal struct {
	Part  string // of the study's page
	Was   string // what stood there
	Is    string // what stands there now
	Above string // the text before it, at most removalContext bytes
	Below string // the text behind it
	// Changed tells that the change added or wrote over something rather than
	// taking it out.
	Changed bool `json:"-"`
}

const removalContext = 240

// removalDetail is how a history entry keeps a removal.
type removalDetail struct {
	Removed *Removal `json:"removed,omitempty"`
	Changed *Removal `json:"changed,omitempty"`
}

// removalOf finds the one stretch in which two documents differ, by whole
// lines.
func removalOf(part string, before, after []byte) Removal {
	from := 0
	for n := 0; n < min(len(before), len(after)) && before[n] == after[n]; n++ {
		if before[n] == '\n' {
			from = n + 1
		}
	}
	end := 0 // length of the common end
	for n := 1; n <= min(len(before), len(after))-from && before[len(before)-n] == after[len(after)-n]; n++ {
		// A common end begins behind the end of a line.
		if i := len(before) - n; i == from || before[i-1] == '\n' {
			if j := len(after) - n; j == from || after[j-1] == '\n' {
				end = n
			}
		}
	}
	toWas, toIs := len(before)-end, len(after)-end
	return Removal{Part: part, Was: string(before[from:toWas]), Is: string(after[from:toIs]),
		Above: string(before[max(0, from-removalContext):from]), Below: string(before[toWas:min(len(before), toWas+removalContext)])}
}

// PutBack gives a document with what was removed in its place again; false
// where the place cannot be found, or more than once.
func (r Removal) PutBack(document []byte) ([]byte, bool) {
	// The more of the text around it still stands, the surer the place.
	for _, context := range []int{removalContext, 100, 40} {
		above, below := r.Above[max(0, len(r.Above)-context):], r.Below[:min(len(r.Below), context)]
		here := []byte(above + r.Is + below)
		if len(here) == 0 || bytes.Count(document, here) != 1 {
			continue
		}
		return bytes.Replace(document, here, []byte(above+r.Was+below), 1), true
	}
	return nil, false
}

// RemovalOf reads what an entry of the history says was removed or changed;
// false where it keeps nothing that can be put back.
func RemovalOf(e study.Event) (Removal, bool) {
	if e.Kind != study.EventChanged || !strings.HasPrefix(e.Detail, `{"removed"`) && !strings.HasPrefix(e.Detail, `{"changed"`) {
		return Removal{}, false
	}
	var d removalDetail
	switch err := json.Unmarshal([]byte(e.Detail), &d); {
	case err != nil:
	case d.Removed != nil:
		return *d.Removed, true
	case d.Changed != nil:
		d.Changed.Changed = true
		return *d.Changed, true
	}
	return Removal{}, false
}

// Remove saves a document from which something was taken out, and keeps that
// in the history. part names the part of the study it stood in. Errors are
// those of [Edit].
func Remove(ctx context.Context, nb Notebook, rec *Record, document []byte, part, what string, now time.Time) (*study.Study, error) {
	r := removalOf(part, rec.Document, document)
	return keeping(ctx, nb, rec, document, removalDetail{Removed: &r}, what, now)
}

// Rewrite saves a document in which something was added or written over, under
// words of its own, and keeps in the history what takes it back. part names
// the part of the study it stands in. Errors are those of [Edit].
func Rewrite(ctx context.Context, nb Notebook, rec *Record, document []byte, part, what string, now time.Time) (*study.Study, error) {
	r := removalOf(part, rec.Document, document)
	return keeping(ctx, nb, rec, document, removalDetail{Changed: &r}, what, now)
}

func keeping(ctx context.Context, nb Notebook, rec *Record, document []byte, kept removalDetail, what string, now time.Time) (*study.Study, error) {
	detail, err := json.Marshal(kept)
	if err != nil {
		return nil, fault.New("removal", "the history cannot keep what was changed").Wrap(err)
	}
	return edit(ctx, nb, rec, document, rec.CookFiles, study.Event{At: now, What: what, Detail: string(detail)})
}

package study

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"github.com/gowebpki/jcs"

	"trivet/fault"
)

// Chain returns the entry with its hash: SHA-256 of the previous entry's
// hash (hexadecimal, empty for the first) followed by this entry in the
// canonical JSON of RFC 8785. Its time is kept to the microsecond in UTC, so
// that it reads back the same from any store.
func Chain(prev string, e Event) Event {
	e.At = e.At.UTC().Truncate(time.Microsecond)
	b, err := json.Marshal(map[string]any{
		// Numbers above 2⁵³ are not exact in JSON: the place is text.
		"seq": fmt.Sprint(e.Seq), "at": e.At.Format(time.RFC3339Nano), "study": e.Study,
		"kind": string(e.Kind), "what": e.What, "detail": e.Detail,
	})
	if err == nil {
		b, err = jcs.Transform(b)
	}
	if err != nil {
		// Only strings go in, so this cannot happen; an empty hash would be
		// caught by VerifyChain.
		e.Hash = ""
		return e
	}
	h := sha256.New()
	h.Write([]byte(prev))
	h.Write(b)
	e.Hash = hex.EncodeToString(h.Sum(nil))
	return e
}

// VerifyChain checks a history from its first entry on. An entry that was
// changed, removed or added between others breaks the chain from there on:
// the error, code "history-broken", names the first entry that does not fit.
// What was cut off at the end cannot be seen from the chain itself.
func VerifyChain(events []Event) error {
	prev := ""
	for i, e := range events {
		if want := Chain(prev, e); want.Hash != e.Hash || e.Hash == "" {
			return fault.New("history-broken", "the history was changed: entry %d does not follow from the one before", e.Seq).
				On("events", fmt.Sprint(e.Seq)).WithFix("restore the notebook or package from an older copy")
		}
		if i > 0 && e.Seq <= events[i-1].Seq {
			return fault.New("history-broken", "the history was changed: entry %d stands behind entry %d", e.Seq, events[i-1].Seq).
				On("events", fmt.Sprint(e.Seq)).WithFix("restore the notebook or package from an older copy")
		}
		prev = e.Hash
	}
	return nil
}

package tasting

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"time"

	"trivet/fault"
)

// EntryKind names an entry of a tasting's history.
type EntryKind string

// Kinds of history entry.
const (
	EntryOpened    EntryKind = "opened"
	EntryAnswered  EntryKind = "answered"
	EntryRefused   EntryKind = "refused" // a ballot that could not be taken
	EntryWithdrawn EntryKind = "withdrawn"
	EntryDeviated  EntryKind = "deviated" // something did not go to plan
	EntryClosed    EntryKind = "closed"
)

// Entry is one link of the append-only history. It holds a salted commitment
// to its content, not the content: the content can be deleted on request and
// the chain still verifies.
//
//	Commit = SHA-256(salt ‖ content)
//	Hash   = SHA-256(Prev ‖ Seq ‖ time ‖ kind ‖ Commit)
type Entry struct {
	Seq    int       `json:"seq"`
	AtUS   int64     `json:"at_us"` // µs, UTC
	Kind   EntryKind `json:"kind"`
	Commit string    `json:"commit"`
	Prev   string    `json:"prev"`
	Hash   string    `json:"hash"`
}

// Content is what an entry commits to; both parts go when it is deleted.
type Content struct {
	Salt string `json:"salt"` // hexadecimal
	Text string `json:"text"`
}

func (e Entry) link() string {
	sum := sha256.Sum256([]byte(fmt.Sprintf("%s\n%d\n%d\n%s\n%s", e.Prev, e.Seq, e.AtUS, e.Kind, e.Commit)))
	return hex.EncodeToString(sum[:])
}

func (c Content) commit() string {
	sum := sha256.Sum256([]byte(c.Salt + "\n" + c.Text))
	return hex.EncodeToString(sum[:])
}

// History is the chain and the contents still held, by Seq.
type History struct {
	Entries  []Entry         `json:"entries"`
	Contents map[int]Content `json:"contents"`
}

// add appends an entry; the salt comes from a cryptographic source.
func (h *History) add(kind EntryKind, at time.Time, text string, random io.Reader) (int, error) {
	salt, err := newSecret(random, "salt")
	if err != nil {
		return 0, err
	}
	c := Content{salt, text}
	e := Entry{Seq: len(h.Entries) + 1, AtUS: at.UnixMicro(), Kind: kind, Commit: c.commit()}
	if n := len(h.Entries); n > 0 {
		e.Prev = h.Entries[n-1].Hash
	}
	e.Hash = e.link()
	h.Entries = append(h.Entries, e)
	if h.Contents == nil {
		h.Contents = map[int]Content{}
	}
	h.Contents[e.Seq] = c
	return e.Seq, nil
}

// Verify checks the chain and every content still held: nil, or an error
// with code "history-broken" naming the entry.
func (h *History) Verify() error {
	prev := ""
	for i, e := range h.Entries {
		broken := e.Seq != i+1 || e.Prev != prev || e.Hash != e.link()
		if c, ok := h.Contents[e.Seq]; ok && c.commit() != e.Commit {
			broken = true
		}
		if broken {
			return fault.New("history-broken", "entry %d of the tasting's history was changed", i+1).WithFix("go back to a copy that verifies")
		}
		prev = e.Hash
	}
	return nil
}

package store

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"

	"trivet/study"
)

// chain returns the entry with its hash set.
func chain(prev string, e study.Event) study.Event {
	e.Hash = ""
	b, _ := json.Marshal(struct {
		Prev string
		E    study.Event
	}{prev, e})
	sum := sha256.Sum256(b)
	e.Hash = hex.EncodeToString(sum[:])
	return e
}

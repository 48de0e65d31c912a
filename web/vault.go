package web

import (
	"crypto/rand"
	"encoding/base64"
	"sync"
	"time"

	"trivet/bench"
)

// vaultTime is how long an opened key stays in memory.
const vaultTime = 12 * time.Hour

// vault holds the keys the lead opened, and the preparer's links. It is in
// memory alone: after a restart the lead opens the key again, and the
// preparer gets a new link.
type vault struct {
	mu    sync.Mutex
	now   func() time.Time
	byID  map[string]*opened
	carve map[string]string // preparer's link → tasting
}

type opened struct {
	*bench.TastingSecrets
	carve string // the preparer's link
	until time.Time
}

func newVault(now func() time.Time) *vault {
	return &vault{now: now, byID: map[string]*opened{}, carve: map[string]string{}}
}

// keep takes opened secrets and draws the preparer's link, unless the key is
// open already.
func (v *vault) keep(id string, s *bench.TastingSecrets) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if o := v.get(id); o != nil {
		o.until = v.now().Add(vaultTime)
		return
	}
	var b [18]byte
	rand.Read(b[:]) // never fails: crypto/rand ends the program rather than return an error
	o := &opened{s, base64.RawURLEncoding.EncodeToString(b[:]), v.now().Add(vaultTime)}
	v.byID[id], v.carve[o.carve] = o, id
}

func (v *vault) get(id string) *opened {
	o := v.byID[id]
	if o != nil && v.now().After(o.until) {
		v.drop(id)
		return nil
	}
	return o
}

func (v *vault) drop(id string) {
	if o := v.byID[id]; o != nil {
		delete(v.carve, o.carve)
		delete(v.byID, id)
	}
}

// of returns the opened secrets of a tasting, nil when locked.
func (v *vault) of(id string) *opened {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.get(id)
}

// preparer finds what a preparer's link opens.
func (v *vault) preparer(token string) (string, *opened) {
	v.mu.Lock()
	defer v.mu.Unlock()
	id, ok := v.carve[token]
	if !ok {
		return "", nil
	}
	return id, v.get(id)
}

func (v *vault) forget(id string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.drop(id)
}

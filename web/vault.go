package web

import (
	"sync"
	"time"

	"trivet/bench"
	"trivet/tasting"
)

const (
	// vaultTime is how long an opened key stays in memory.
	vaultTime = 12 * time.Hour
	// carveTime is how long a preparer's link is good; it shows the key only
	// while the lead has it open.
	carveTime = 7 * 24 * time.Hour
)

// vault holds the keys the lead opened. They are in memory alone: after a
// restart the lead opens the key again, and the preparer's link, which lives
// on, shows it again.
type vault struct {
	access *access
	mu     sync.Mutex
	now    func() time.Time
	byID   map[string]*opened
}

type opened struct {
	*bench.TastingSecrets
	carve string // the preparer's link
	until time.Time
}

func newVault(a *access, now func() time.Time) *vault {
	return &vault{access: a, now: now, byID: map[string]*opened{}}
}

// keep takes opened secrets and draws the preparer's link, unless the key is
// open already.
func (v *vault) keep(id string, s *bench.TastingSecrets) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	if o := v.get(id); o != nil {
		o.until = v.now().Add(vaultTime)
		return nil
	}
	o := &opened{TastingSecrets: s, until: v.now().Add(vaultTime)}
	if err := v.draw(id, o); err != nil {
		return err
	}
	v.byID[id] = o
	return nil
}

// draw draws a preparer's link.
func (v *vault) draw(id string, o *opened) (err error) {
	o.carve, _, err = v.access.hand(handedLink{Role: tasting.Preparer, Tasting: id, Until: v.now().Add(carveTime)})
	return err
}

func (v *vault) get(id string) *opened {
	o := v.byID[id]
	if o != nil && v.now().After(o.until) {
		delete(v.byID, id)
		return nil
	}
	return o
}

// of returns the opened secrets of a tasting, nil when locked.
func (v *vault) of(id string) *opened {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.get(id)
}

// preparer finds what a preparer's link opens; of a link that opens nothing
// the words say why.
func (v *vault) preparer(token string) (string, *opened, string) {
	l, why := v.access.link(token, tasting.Preparer)
	if why != "" {
		if why == "pass-unknown" {
			why = "carve-unknown"
		}
		return "", nil, why
	}
	o := v.of(l.Tasting)
	if o == nil {
		return "", nil, "carve-locked"
	}
	return l.Tasting, o, ""
}

// redraw gives the preparer of an opened key a new link.
func (v *vault) redraw(id string) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	if o := v.get(id); o != nil {
		return v.draw(id, o)
	}
	return nil
}

// forget locks a key again and ends the preparer's links to it.
func (v *vault) forget(id string) error {
	v.mu.Lock()
	delete(v.byID, id)
	v.mu.Unlock()
	links, _ := v.access.handed()
	for _, l := range links {
		if l.Tasting == id && l.Role == tasting.Preparer && l.Revoked.IsZero() {
			if _, _, err := v.access.revoke(l.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

package web

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"trivet/fault"
	"trivet/tasting"
)

// access is who may come in: sessions, links handed out, links revoked. It is
// kept in a file beside the notebook and not in it, so that no backup and no
// data package carries a way in, and a notebook restored elsewhere opens for
// nobody who was let in here. The file holds SHA-256 hashes of tokens of 144
// random bits, never a token.
type access struct {
	path string // "" keeps it in memory alone
	now  func() time.Time

	mu    sync.Mutex
	f     accessFile
	seen  map[string]time.Time // of sessions, by hash: the last request since the start
	ended map[string]time.Time // leads' sessions that were ended, by hash, and when
}

type accessFile struct {
	Format   int                    `json:"format"`
	Sessions map[string]leadSession `json:"sessions,omitempty"` // of leads, by hash
	Guests   map[string]guest       `json:"guests,omitempty"`   // by hash
	Links    map[string]handedLink  `json:"links,omitempty"`    // by hash
	Revoked  map[string]time.Time   `json:"revoked,omitempty"`  // a tasting's own links, by hash
	Photos   map[string]time.Time   `json:"photos,omitempty"`   // that readers may see, by id, since when
}

type leadSession struct {
	Body  []byte    `json:"body"`
	Until time.Time `json:"until"`
}

// guest is a browser that opened a link: good until the link ends.
type guest struct {
	ID    string       `json:"id,omitempty"` // names it on the lead's page and opens nothing
	Link  string       `json:"link"`         // id
	Since time.Time    `json:"since,omitzero"`
	Role  tasting.Role `json:"role"`
	Study string       `json:"study,omitempty"`
	Name  string       `json:"name,omitempty"`
	Until time.Time    `json:"until"`
}

// handedLink is a link the lead handed out.
type handedLink struct {
	ID      string       `json:"id"` // names it on the lead's page and opens nothing
	Role    tasting.Role `json:"role"`
	Study   string       `json:"study,omitempty"`
	Tasting string       `json:"tasting,omitempty"`
	Name    string       `json:"name,omitempty"` // for whom
	Made    time.Time    `json:"made"`
	Until   time.Time    `json:"until"`
	Once    bool         `json:"once,omitempty"` // opens one browser
	Opened  time.Time    `json:"opened,omitzero"`
	Revoked time.Time    `json:"revoked,omitzero"`
}

// Times of access. A link that ended is remembered a while, so that whoever
// comes with it is told that it ended and not that it never was.
const (
	passTime     = 16 * time.Hour      // a link to a study, unless the lead says otherwise
	longestPass  = 30 * 24 * time.Hour // the longest the lead may say
	leadLinkTime = time.Hour           // a link that signs the lead in, once
	placeTime    = 60 * 24 * time.Hour // a tasting's own links, from its opening
	rememberTime = 30 * 24 * time.Hour
	maxGuests    = 64 // browsers a link may have opened at one time
)

func openAccess(path string, now func() time.Time) (*access, error) {
	a := &access{path: path, now: now, f: accessFile{Format: 1}, seen: map[string]time.Time{}, ended: map[string]time.Time{}}
	if path != "" {
		b, err := os.ReadFile(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return nil, fault.New("access-io", "the file of sessions and links cannot be read").In(path).Wrap(err)
		default:
			if err := json.Unmarshal(b, &a.f); err != nil || a.f.Format != 1 {
				return nil, fault.New("access-corrupt", "the file of sessions and links cannot be read").In(path).Wrap(err).
					WithFix("delete it: everybody is then signed out and the links handed out open nothing")
			}
		}
	}
	if a.f.Sessions == nil {
		a.f.Sessions = map[string]leadSession{}
	}
	if a.f.Guests == nil {
		a.f.Guests = map[string]guest{}
	}
	if a.f.Links == nil {
		a.f.Links = map[string]handedLink{}
	}
	if a.f.Photos == nil {
		a.f.Photos = map[string]time.Time{}
	}
	if a.f.Revoked == nil {
		a.f.Revoked = map[string]time.Time{}
	}
	return a, nil
}

// newToken draws a link or a session.
func newToken() string {
	var b [18]byte
	rand.Read(b[:]) // never fails: crypto/rand ends the program rather than return an error
	return base64.RawURLEncoding.EncodeToString(b[:])
}

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// save writes the file anew, whole or not at all. The caller holds mu.
func (a *access) save() error {
	now := a.now()
	for h, s := range a.f.Sessions {
		if now.After(s.Until) {
			delete(a.f.Sessions, h)
		}
	}
	for h, g := range a.f.Guests {
		if now.After(g.Until) {
			delete(a.f.Guests, h)
		}
	}
	for h := range a.seen {
		_, guest := a.f.Guests[h]
		if _, lead := a.f.Sessions[h]; !guest && !lead {
			delete(a.seen, h)
		}
	}
	for h, at := range a.ended {
		if now.After(at.Add(leadTime)) {
			delete(a.ended, h)
		}
	}
	for h, l := range a.f.Links {
		if now.After(l.Until.Add(rememberTime)) {
			delete(a.f.Links, h)
		}
	}
	for h, at := range a.f.Revoked {
		if now.After(at.Add(2 * placeTime)) {
			delete(a.f.Revoked, h)
		}
	}
	if a.path == "" {
		return nil
	}
	b, err := json.MarshalIndent(a.f, "", " ")
	if err != nil {
		return err
	}
	return writePrivate(a.path, append(b, '\n'))
}

// writePrivate replaces a file that its owner alone may read, durably.
func writePrivate(path string, b []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".part-*") // mode 0600
	if err == nil {
		_, err = f.Write(b)
		err = errors.Join(err, f.Sync(), f.Close())
		if err == nil {
			err = os.Rename(f.Name(), path)
		}
		if err != nil {
			os.Remove(f.Name())
		}
	}
	if err != nil {
		return fault.New("access-io", "a file beside the notebook cannot be written").In(path).Wrap(err).
			WithFix("make room on the disk, or serve a notebook in a folder that can be written to")
	}
	return nil
}

// hand keeps a link and returns its random part, which is kept nowhere.
func (a *access) hand(l handedLink) (string, handedLink, error) {
	token := newToken()
	l.ID, l.Made = newToken()[:8], a.now()
	a.mu.Lock()
	defer a.mu.Unlock()
	a.f.Links[hashOf(token)] = l
	return token, l, a.save()
}

// link finds what the random part of a link opens. Of a link that opens
// nothing the words say why: unknown, expired, revoked, used.
func (a *access) link(token string, roles ...tasting.Role) (handedLink, string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.find(token, roles...)
}

func (a *access) find(token string, roles ...tasting.Role) (handedLink, string) {
	l, ok := a.f.Links[hashOf(token)]
	switch {
	case !ok || !slices.Contains(roles, l.Role):
		return handedLink{}, "pass-unknown"
	case !l.Revoked.IsZero():
		return l, "pass-revoked"
	case a.now().After(l.Until):
		return l, "pass-expired"
	case l.Once && !l.Opened.IsZero():
		return l, "pass-used"
	}
	return l, ""
}

// open makes a browser the guest of a link and returns its session.
func (a *access) open(token string, roles ...tasting.Role) (handedLink, string, string, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	l, why := a.find(token, roles...)
	if why != "" {
		return l, "", why, nil
	}
	n := 0
	for _, g := range a.f.Guests {
		if g.Link == l.ID {
			n++
		}
	}
	if n >= maxGuests {
		return l, "", "pass-full", nil
	}
	l.Opened = a.now()
	a.f.Links[hashOf(token)] = l
	session := newToken()
	if l.Role != tasting.Lead { // a lead's session is made by who asked
		a.f.Guests[hashOf(session)] = guest{ID: newToken()[:8], Link: l.ID, Since: a.now(), Role: l.Role, Study: l.Study, Name: l.Name, Until: l.Until}
	}
	return l, session, "", a.save()
}

func (a *access) guest(session string) (guest, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	hash := hashOf(session)
	g, ok := a.f.Guests[hash]
	ok = ok && !a.now().After(g.Until)
	if ok {
		a.seen[hash] = a.now()
	}
	return g, ok
}

func (a *access) leave(session string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if _, ok := a.f.Guests[hashOf(session)]; !ok {
		return nil
	}
	delete(a.f.Guests, hashOf(session))
	return a.save()
}

// revoke ends a link and every session that came by it.
func (a *access) revoke(id string) (handedLink, bool, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for h, l := range a.f.Links {
		if l.ID != id {
			continue
		}
		if l.Revoked.IsZero() {
			l.Revoked = a.now()
			a.f.Links[h] = l
		}
		for s, g := range a.f.Guests {
			if g.Link == id {
				delete(a.f.Guests, s)
			}
		}
		return l, true, a.save()
	}
	return handedLink{}, false, nil
}

// handed lists the links handed out, newest first, with how many browsers
// each has open.
func (a *access) handed() (links []handedLink, open map[string]int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	open = map[string]int{}
	for _, g := range a.f.Guests {
		if !a.now().After(g.Until) {
			open[g.Link]++
		}
	}
	for _, l := range a.f.Links {
		links = append(links, l)
	}
	slices.SortFunc(links, func(x, y handedLink) int {
		if c := y.Made.Compare(x.Made); c != 0 {
			return c
		}
		return strings.Compare(x.ID, y.ID)
	})
	return links, open
}

// refuse and allow end and renew one of a tasting's own links, by its hash.
func (a *access) refuse(hash string, refused bool) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if refused {
		a.f.Revoked[hash] = a.now()
	} else {
		delete(a.f.Revoked, hash)
	}
	return a.save()
}

// showPhoto lets readers see a photo, or no longer.
func (a *access) showPhoto(id string, shown bool) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if shown {
		a.f.Photos[id] = a.now()
	} else {
		delete(a.f.Photos, id)
	}
	return a.save()
}

func (a *access) photoShown(id string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	_, ok := a.f.Photos[id]
	return ok
}

func (a *access) refused(hash string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	_, ok := a.f.Revoked[hash]
	return ok
}

// leadCount is how many browsers are signed in as the lead; signOutLeads
// ends all of those sessions.
func (a *access) leadCount() int {
	a.mu.Lock()
	defer a.mu.Unlock()
	n := 0
	for _, s := range a.f.Sessions {
		if !a.now().After(s.Until) {
			n++
		}
	}
	return n
}

func (a *access) signOutLeads() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	for h := range a.f.Sessions {
		a.endLead(h)
	}
	return a.save()
}

// endLead ends a lead's session for good. The caller holds mu.
func (a *access) endLead(hash string) {
	delete(a.f.Sessions, hash)
	a.ended[hash] = a.now()
}

// Find, Commit and Delete make access a store of sessions for scs, which
// hands over tokens hashed.

// Find reads a session.
func (a *access) Find(hash string) ([]byte, bool, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	s, ok := a.f.Sessions[hash]
	if !ok || a.now().After(s.Until) {
		return nil, false, nil
	}
	a.seen[hash] = a.now()
	return s.Body, true, nil
}

// idleStep is how far a session's end moves before the move is written down:
// with every request it moves a little.
const idleStep = 5 * time.Minute

// Commit keeps a session. One that was ended stays so: a request that was on
// its way then would bring it back.
func (a *access) Commit(hash string, body []byte, until time.Time) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if _, gone := a.ended[hash]; gone {
		return nil
	}
	old, ok := a.f.Sessions[hash]
	if ok && string(old.Body) == string(body) && until.Sub(old.Until) < idleStep && old.Until.Sub(until) < idleStep {
		return nil
	}
	a.f.Sessions[hash] = leadSession{body, until}
	return a.save()
}

// Delete ends a session.
func (a *access) Delete(hash string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if _, ok := a.f.Sessions[hash]; !ok {
		return nil
	}
	a.endLead(hash)
	return a.save()
}

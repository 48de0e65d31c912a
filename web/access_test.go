package web

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/tasting"
)

func TestLinksEnd(t *testing.T) {
	clock := &kitchenClock{time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}
	path := filepath.Join(t.TempDir(), "k.access.json")
	a, err := openAccess(path, clock.now)
	if err != nil {
		t.Fatal(err)
	}
	hand := func(l handedLink) string {
		l.Until = clock.at.Add(passTime)
		token, _, err := a.hand(l)
		if err != nil {
			t.Fatal(err)
		}
		return token
	}
	once, many, revoked := hand(handedLink{Role: roleCook, Study: "s", Once: true, Name: "stove"}), hand(handedLink{Role: roleCook, Study: "s"}), hand(handedLink{Role: roleCook, Study: "s"})
	open := func(token string) (session, why string) {
		_, session, why, err := a.open(token, roleCook)
		if err != nil {
			t.Fatal(err)
		}
		return session, why
	}
	first, _ := open(once)
	if _, why := open(once); why != "pass-used" {
		t.Errorf("a link for one browser opens a second: %q", why)
	}
	session, _ := open(revoked)
	l, _ := a.link(revoked, roleCook)
	if _, ok, err := a.revoke(l.ID); !ok || err != nil {
		t.Fatal(ok, err)
	}
	if _, ok := a.guest(session); ok {
		t.Error("a revoked link's browser is still in")
	}
	if _, why := a.link(many, tasting.Reader); why != "pass-unknown" {
		t.Errorf("a cook's link opens as a reader's: %q", why)
	}

	// A restart signs nobody out and forgets no ending.
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if info, _ := os.Stat(path); info.Mode().Perm() != 0o600 {
		t.Errorf("others can read the file: %v", info.Mode())
	}
	for _, token := range []string{once, many, revoked, first, session} {
		if bytes.Contains(b, []byte(token)) {
			t.Error("the file holds a link or a session as it is sent")
		}
	}
	if a, err = openAccess(path, clock.now); err != nil {
		t.Fatal(err)
	}
	if g, ok := a.guest(first); !ok || g.Name != "stove" {
		t.Error("a restart signs a guest out")
	}
	for token, want := range map[string]string{once: "pass-used", many: "", revoked: "pass-revoked", "AAAA": "pass-unknown"} {
		if _, why := a.link(token, roleCook); why != want {
			t.Errorf("after a restart: %q, want %q", why, want)
		}
	}
	clock.at = clock.at.Add(passTime + time.Minute)
	if _, why := a.link(many, roleCook); why != "pass-expired" {
		t.Errorf("after its time: %q", why)
	}
	if _, ok := a.guest(first); ok {
		t.Error("a guest stays after the link's time")
	}
	clock.at = clock.at.Add(rememberTime)
	hand(handedLink{Role: roleCook})
	if _, why := a.link(many, roleCook); why != "pass-unknown" {
		t.Errorf("long after: %q", why)
	}

	if err := os.WriteFile(path, []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := openAccess(path, clock.now); err == nil || fault.As(err).Code != "access-corrupt" {
		t.Errorf("a damaged file: %v", err)
	}
	if _, err := openAccess(filepath.Join(path, "beneath"), clock.now); err == nil {
		t.Error("a folder that is none")
	}
}

// Whatever is done in whatever order, a link that was revoked, used up or
// whose time is over opens nothing, before and after a restart, and a guest
// is in exactly while its link is good or was used by it.
func TestLinksInAnyOrder(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		path := filepath.Join(dir, newToken())
		clock := &kitchenClock{time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}
		a, err := openAccess(path, clock.now)
		if err != nil {
			t.Fatal(err)
		}
		type model struct {
			token, id  string
			until      time.Time
			once, used bool
			revoked    bool
			sessions   []string
		}
		var links []*model
		pick := func() *model { return links[rapid.IntRange(0, len(links)-1).Draw(t, "link")] }
		good := func(m *model) bool { return !m.revoked && !clock.at.After(m.until) && !(m.once && m.used) }
		for range rapid.IntRange(1, 25).Draw(t, "steps") {
			act := rapid.SampledFrom([]string{"hand", "open", "revoke", "wait", "restart", "leave"}).Draw(t, "act")
			if len(links) == 0 {
				act = "hand"
			}
			switch act {
			case "hand":
				m := &model{until: clock.at.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "hours")) * time.Hour), once: rapid.Bool().Draw(t, "once")}
				var l handedLink
				if m.token, l, err = a.hand(handedLink{Role: roleCook, Until: m.until, Once: m.once}); err != nil {
					t.Fatal(err)
				}
				m.id = l.ID
				links = append(links, m)
			case "open":
				m := pick()
				_, session, why, err := a.open(m.token, roleCook)
				if err != nil || (why == "") != good(m) {
					t.Fatalf("opened: %q, %v; good is %v", why, err, good(m))
				}
				if why == "" {
					m.used, m.sessions = true, append(m.sessions, session)
				}
			case "revoke":
				m := pick()
				if _, _, err := a.revoke(m.id); err != nil {
					t.Fatal(err)
				}
				m.revoked = true
			case "leave":
				if m := pick(); len(m.sessions) > 0 {
					if err := a.leave(m.sessions[0]); err != nil {
						t.Fatal(err)
					}
					if _, ok := a.guest(m.sessions[0]); ok {
						t.Fatal("still in after signing out")
					}
					m.sessions = m.sessions[1:]
				}
			case "wait":
				clock.at = clock.at.Add(time.Duration(rapid.IntRange(1, 20).Draw(t, "wait")) * time.Hour)
			case "restart":
				if a, err = openAccess(path, clock.now); err != nil {
					t.Fatal(err)
				}
			}
			for _, m := range links {
				if _, why := a.link(m.token, roleCook); (why == "") != good(m) {
					t.Fatalf("a link is %q; good is %v", why, good(m))
				}
				for _, s := range m.sessions {
					if _, ok := a.guest(s); ok != (!m.revoked && !clock.at.After(m.until)) {
						t.Fatalf("a guest is in: %v", ok)
					}
				}
			}
		}
		if b, err := os.ReadFile(path); err == nil {
			for _, m := range links {
				if strings.Contains(string(b), m.token) {
					t.Fatal("the file holds a link")
				}
			}
		}
	})
}

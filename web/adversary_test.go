package web

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"
	"gonum.org/v1/gonum/stat/distuv"

	"trivet/bench"
	"trivet/safety"
	"trivet/tasting"
)

// An adversary serves or tastes, knows this program's source, and reads
// everything within reach before closing: every page, answer, header and log
// line, the notebook file and a backup. The tests below play that adversary:
// one searches for the secrets, one compares what should look alike, one
// tries to name samples from anything that could go with them, and has to
// fail; on samples that leak it has to succeed.

// lockedReader is a random source for a test: fixed, and safe for several
// goroutines.
type lockedReader struct {
	mu sync.Mutex
	r  *rand.ChaCha8
}

func (l *lockedReader) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.r.Read(p)
}

func fixedRandom(n byte) *lockedReader {
	return &lockedReader{r: rand.NewChaCha8([32]byte{n, 'a', 'd', 'v'})}
}

// spied is one tasting and all that server and assessors could read of it.
type spied struct {
	tasting *bench.Tasting
	secrets *bench.TastingSecrets
	pages   map[string]shown // by who and step
	locked  []byte
}

// spy runs a tasting up to, and not over, its closing.
func spy(k *kitchen, plan bench.TastingPlan) spied {
	k.Helper()
	t, secrets := k.open(plan)
	out := spied{tasting: t, secrets: secrets, pages: map[string]shown{}}
	server := k.device()
	trays := "/trays/" + secrets.Token(bench.Place{Role: tasting.Server})
	out.pages["server first"] = server.get(trays)
	out.pages["reader"] = k.device().get("/watch/" + secrets.Token(bench.Place{Role: tasting.Reader}))
	for _, seat := range t.Assessors() {
		d, link := k.device(), seatLink(secrets, seat)
		out.pages[seat+" door"] = d.get(link)
		out.pages[seat+" ballot"] = d.post(link+"/door", url.Values{"consents": {"yes"}})
		for i, x := range t.Document.Session.Trays {
			if x.Assessor != seat {
				continue
			}
			form := url.Values{"id": {uuid.NewString()}, "set": {x.Set}, "choice": {x.Codes[i%len(x.Codes)]}, "sureness": {"1"}}
			out.pages[fmt.Sprintf("%s answer %d", seat, x.Round)] = d.post(link+"/answer", form, "Accept", "application/json")
		}
		out.pages[seat+" after"] = d.get(link)
	}
	out.pages["server last"] = server.get(trays)
	sessions, err := k.store.Sessions(context.Background(), t.Study)
	if err != nil {
		k.Fatal(err)
	}
	for _, s := range sessions {
		if s.ID == t.ID {
			out.locked = s.LockedKey
		}
	}
	return out
}

func trianglesWithPieces(n, rounds int) bench.TastingPlan {
	p := trianglePlan(n, rounds)
	p.Facts = safety.Facts{Tasting: true, Eaten: true, Held: true, Allergens: []string{"celery"}}
	p.Setup.Waves = []tasting.Wave{
		{Block: "pot 1", Pieces: [][]string{{"pot-1-left"}, {"pot-1-right"}}, Portions: 3 * n * rounds},
		{Block: "pot 2", Pieces: [][]string{{"pot-2-left"}, {"pot-2-right"}}, Portions: 3 * n * rounds},
	}
	return p
}

// Nothing within the adversary's reach holds the seed, the salt, the key or a
// piece of it, or the preparer's link, in any usual writing.
func TestNoSecretWithinReach(t *testing.T) {
	k := openKitchen(t, Options{})
	s := spy(k, trianglesWithPieces(7, 2))
	k.app.vault.keep(s.tasting.ID, s.secrets) // the lead works at the same time
	lead, preparer := k.device(), k.device()
	leadPage := lead.get("/tastings/" + s.tasting.ID)
	carve := preparer.get("/carve/" + k.app.vault.of(s.tasting.ID).carve)
	k.has(leadPage, 200)
	k.has(carve, 200, "pot-1-left")

	reach := map[string]string{"log": k.log.String()}
	for who, p := range s.pages {
		var head strings.Builder
		p.header.Write(&head)
		reach[who] = head.String() + p.body
		if p.status != 200 {
			t.Errorf("%s: status %d", who, p.status)
		}
	}
	backup := filepath.Join(t.TempDir(), "backup.trivet")
	if _, err := k.store.Backup(context.Background(), backup); err != nil {
		t.Fatal(err)
	}
	for name, path := range map[string]string{"backup": backup, "notebook": k.path, "write-ahead log": k.path + "-wal"} {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		reach[name] = string(b)
	}

	secret := map[string]string{"preparer's link": k.app.vault.of(s.tasting.ID).carve, "salt": s.secrets.Salt, "seed": s.secrets.Key.Seed}
	for _, name := range []string{"salt", "seed"} {
		raw, err := hex.DecodeString(secret[name])
		if err != nil {
			t.Fatal(err)
		}
		secret[name+", raw"] = string(raw)
		secret[name+", base64"] = base64.RawStdEncoding.EncodeToString(raw)[:42]
		secret[name+", base64url"] = base64.RawURLEncoding.EncodeToString(raw)[:42]
		secret[name+", upper case"] = strings.ToUpper(secret[name])
	}
	canonical, err := tasting.CanonicalKey(s.secrets.Key)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+64 <= len(canonical); i += 16 { // no stretch of the key, wherever it starts
		if stretch := string(canonical[i : i+64]); strings.Contains(stretch, `"product"`) {
			secret[fmt.Sprintf("key at %d", i)] = stretch
		}
	}
	for where, text := range reach {
		for what, needle := range secret {
			if strings.Contains(text, needle) {
				t.Errorf("%s is within reach: %s", what, where)
			}
		}
		switch where {
		case "backup", "notebook", "write-ahead log": // they name the products and pieces, not where they are
			continue
		}
		for _, word := range []string{"late-salt", "early-salt", "pot-1-left", "pot-2-right", "pot 1"} {
			if strings.Contains(text, word) {
				t.Errorf("%q is within reach: %s", word, where)
			}
		}
	}
	// The search can find: the preparer's page holds what it looks for.
	if !strings.Contains(carve.body, "pot-1-left") || !strings.Contains(leadPage.body, secret["preparer's link"]) {
		t.Error("the search would not have found a leak")
	}
	// No link is ever written to the log.
	for _, p := range []bench.Place{{Role: tasting.Server}, {Role: tasting.Reader}, {Role: tasting.Taster, Seat: "P01"}} {
		if strings.Contains(k.log.String(), s.secrets.Token(p)) {
			t.Errorf("the log holds the link of %v", p)
		}
	}
	if !strings.Contains(k.log.String(), "/b/{token}") {
		t.Error("the log holds no route: nothing was checked")
	}
}

var (
	uuids  = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}`)
	tokens = regexp.MustCompile(`/(b|trays|watch|carve)/[A-Za-z0-9_-]{24}`)
	codes  = regexp.MustCompile(`\b[1-9][0-9]{2}\b`)
)

// Two tastings of one setup differ, to the adversary, in ids, codes, links,
// hashes and who sits where, and in nothing else: not in a length, a header,
// a status or an order. Right and wrong answers are acknowledged by the same
// bytes.
func TestTastingsOfOneSetupLookAlike(t *testing.T) {
	t.Parallel()
	// Seven assessors leave a block incomplete: how many cups hold which
	// product differs between deals.
	k := openKitchen(t, Options{})
	first := spy(k, trianglesWithPieces(7, 2))
	acks := map[string]bool{}
	for range 3 {
		next := spy(k, trianglesWithPieces(7, 2))
		if len(next.locked) != len(first.locked) {
			t.Errorf("locked keys are %d and %d bytes long", len(first.locked), len(next.locked))
		}
		for who, p := range next.pages {
			q := first.pages[who]
			if p.status != q.status || len(p.body) != len(q.body) {
				t.Errorf("%s: status %d and %d bytes, elsewhere %d and %d", who, p.status, len(p.body), q.status, len(q.body))
			}
			for name := range p.header {
				if name != "Date" && name != "Set-Cookie" && p.header.Get(name) != q.header.Get(name) {
					t.Errorf("%s: header %s is %q, elsewhere %q", who, name, p.header.Get(name), q.header.Get(name))
				}
			}
			if strings.Contains(who, "answer") {
				acks[p.body] = true
			}
			if strings.HasPrefix(who, "P") && plainPage(p.body) != plainPage(q.body) {
				t.Errorf("%s differs in more than ids, links and codes", who)
			}
		}
	}
	if len(acks) != 1 {
		t.Errorf("ballots are acknowledged in %d ways", len(acks))
	}
}

// plainPage blanks out what may differ.
func plainPage(body string) string {
	body = uuids.ReplaceAllString(body, "ID")
	body = tokens.ReplaceAllString(body, "/LINK")
	body = regexp.MustCompile(`data-token="[^"]*"`).ReplaceAllString(body, "TOKEN")
	return codes.ReplaceAllString(body, "CODE")
}

// Ids are random and say nothing of order: version 4, never twice, and in no
// order of trays.
func TestIDsAreRandom(t *testing.T) {
	k := openKitchen(t, Options{})
	seen := map[string]bool{}
	runs, n := 0, 0
	for range 3 {
		ta, s := k.open(trianglePlan(60, 2))
		var ids []string
		for _, x := range ta.Document.Session.Trays {
			ids = append(ids, x.Set)
		}
		for i := 1; i < len(ids); i++ {
			if ids[i] > ids[i-1] {
				runs++
			}
			n++
		}
		ids = append(ids, ta.ID, s.Key.Tasting)
		for _, id := range ids {
			u, err := uuid.Parse(id)
			if err != nil || u.Version() != 4 || u.Variant() != uuid.RFC4122 || seen[id] {
				t.Errorf("id %s: %v, version %d, seen before: %t", id, err, u.Version(), seen[id])
			}
			seen[id] = true
		}
		for _, seat := range ta.Assessors() {
			token := s.Token(bench.Place{Role: tasting.Taster, Seat: seat})
			if b, err := base64.RawURLEncoding.DecodeString(token); err != nil || 8*len(b) < 128 || seen[token] {
				t.Errorf("link %q: %d bits, %v, seen before: %t", token, 8*len(b), err, seen[token])
			}
			seen[token] = true
		}
	}
	// Ups and downs of a random sequence: mean (n)/2, variance about n/12.
	if z := (float64(runs) - float64(n)/2) / math.Sqrt(float64(n)/12); math.Abs(z) > 4 {
		t.Errorf("%d of %d ids are above the one before (z %.1f)", runs, n, z)
	}
}

// view is one set as the adversary sees it, and the answer it tries to name.
type view struct {
	features map[string]int
	right    int // position from 0
}

// viewsOf collects, of every set, anything that could go with what is in its
// cups.
func viewsOf(s spied, right func(tasting.Set) int) []view {
	var out []view
	hash := sha256.Sum256([]byte(s.tasting.Lock().Commitment))
	order := map[string]int{} // place of a set's id in the order of all ids, as the notebook lists them
	var ids []string
	for _, x := range s.secrets.Key.Sets {
		ids = append(ids, x.ID)
	}
	slices.Sort(ids)
	for i, id := range ids {
		order[id] = i
	}
	for _, set := range s.secrets.Key.Sets {
		f := map[string]int{"tray by 2": set.Tray % 2, "tray by 3": set.Tray % 3, "tray by 4": set.Tray % 4, "tray by 6": set.Tray % 6, "round": set.Round, "wave": set.Wave,
			"seat by 3": int(set.Assessor[2]-'0') % 3, "seat by 6": int(set.Assessor[1]+set.Assessor[2]) % 6,
			"id order by 3": order[set.ID] % 3, "id order by 6": order[set.ID] % 6, "id half": 2 * order[set.ID] / len(ids)}
		var codes []string
		sum := 0
		for i, c := range set.Cups {
			codes = append(codes, c.Code)
			n := int(c.Code[0]-'0')*100 + int(c.Code[1]-'0')*10 + int(c.Code[2]-'0')
			sum += n
			f[fmt.Sprintf("code %d parity", i)] = n % 2
			f[fmt.Sprintf("code %d by 3", i)] = n % 3
			f[fmt.Sprintf("code %d first digit", i)] = n / 100
			f[fmt.Sprintf("code %d last digit", i)] = n % 10
			f[fmt.Sprintf("code %d half", i)] = n / 550
		}
		f["code sum by 3"], f["code sum by 6"] = sum%3, sum%6
		rank := 0
		for i := range codes {
			for j := range codes[:i] {
				rank *= 2
				if codes[j] < codes[i] {
					rank++
				}
			}
		}
		f["rank of codes"] = rank
		for i, c := range strings.ReplaceAll(set.ID, "-", "") {
			f[fmt.Sprintf("id digit %d by 4", i)] = int(c) % 4
		}
		token := s.secrets.Token(bench.Place{Role: tasting.Taster, Seat: set.Assessor})
		for i := range 6 {
			f[fmt.Sprintf("link letter %d by 6", i)] = int(token[i]) % 6
			f[fmt.Sprintf("hash %d with tray", i)] = (int(hash[i]) + set.Tray) % 6
			f[fmt.Sprintf("lock %d with tray", i)] = (int(s.locked[len(s.locked)-10-i]) + set.Tray) % 6
		}
		for _, step := range []string{" door", " ballot", " after"} {
			f["bytes of"+step] = len(s.pages[set.Assessor+step].body) % 16
			f["letters of"+step] = int(sumOf(s.pages[set.Assessor+step].body)) % 6
		}
		f["acknowledgement"] = int(sumOf(s.pages[fmt.Sprintf("%s answer %d", set.Assessor, set.Round)].body)) % 6
		out = append(out, view{f, right(set)})
	}
	return out
}

func sumOf(s string) uint32 {
	var n uint32
	for _, b := range []byte(uuids.ReplaceAllString(s, "")) {
		n = n*31 + uint32(b)
	}
	return n
}

// guess is how an adversary did: of n held-out sets, right ones by a rule
// learned from the others.
type guess struct {
	rule     string
	right, n int
	p        float64 // chance of at least that by luck
}

// attack learns from the first half of the views what goes with what, every
// feature by itself and all together, and names the samples of the second
// half. It returns its best rule, p corrected for the number of rules.
func attack(views []view, positions int) guess {
	train, test := views[:len(views)/2], views[len(views)/2:]
	var names []string
	for name := range views[0].features {
		names = append(names, name)
	}
	slices.Sort(names)
	prior := make([]float64, positions)
	for i := range prior {
		prior[i] = 1
	}
	for _, v := range train {
		prior[v.right]++
	}
	table := map[string]map[int][]float64{} // feature → value → count by position
	for _, name := range names {
		table[name] = map[int][]float64{}
		for _, v := range train {
			x := v.features[name]
			if table[name][x] == nil {
				table[name][x] = make([]float64, positions)
			}
			table[name][x][v.right]++
		}
	}
	best := guess{p: 1}
	rules := append([]string{"always the commonest", "all features together"}, names...)
	for _, rule := range rules {
		n := 0
		for _, v := range test {
			score := make([]float64, positions)
			for i := range score {
				score[i] = math.Log(prior[i])
			}
			for _, name := range names {
				if rule != name && rule != "all features together" {
					continue
				}
				for i := range score {
					count := 0.0
					if row := table[name][v.features[name]]; row != nil {
						count = row[i]
					}
					score[i] += math.Log((count + 1) / prior[i])
				}
			}
			top := 0
			for i := range score {
				if score[i] > score[top] {
					top = i
				}
			}
			if top == v.right {
				n++
			}
		}
		p := 1 - distuv.Binomial{N: float64(len(test)), P: 1 / float64(positions)}.CDF(float64(n)-1)
		if p = math.Min(1, p*float64(len(rules))); p < best.p || best.n == 0 {
			best = guess{rule, n, len(test), p}
		}
	}
	return best
}

// oddOne is the position of the odd sample of a triangle.
func oddOne(s tasting.Set) int {
	count := map[string]int{}
	for _, c := range s.Cups {
		count[c.Product]++
	}
	return slices.IndexFunc(s.Cups, func(c tasting.Cup) bool { return count[c.Product] == 1 })
}

func TestAdversaryNamesNoSample(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes seconds")
	}
	const sessions = 10
	for _, c := range []struct {
		method    string
		positions int
		right     func(tasting.Set) int
	}{
		{"triangle", 3, oddOne},
		{"duo-trio", 2, func(s tasting.Set) int {
			return slices.IndexFunc(s.Cups, func(c tasting.Cup) bool { return c.Product == s.Reference.Product })
		}},
	} {
		t.Run(c.method, func(t *testing.T) {
			k := openKitchen(t, Options{Random: fixedRandom(byte(c.positions))})
			var views []view
			for range sessions {
				plan := trianglesWithPieces(25, 2) // not a whole number of blocks
				plan.Setup.Method = c.method
				s := spy(k, plan)
				views = append(views, viewsOf(s, c.right)...)
				guessSeeds(t, s)
			}
			got := attack(views, c.positions)
			t.Logf("best of %d rules: %q, %d of %d right (corrected p %.3g)", len(views[0].features)+2, got.rule, got.right, got.n, got.p)
			if got.p < 1e-4 {
				t.Errorf("the adversary names samples: rule %q is right %d times of %d", got.rule, got.right, got.n)
			}
			if got.n < 200 {
				t.Errorf("only %d sets were tried", got.n)
			}

			// The same adversary on leaking samples: a code that is even a
			// little more often where the answer is right, and a page that is
			// a byte longer.
			draw := rand.New(rand.NewChaCha8([32]byte{'l', 'e', 'a', 'k'}))
			for name, leak := range map[string]func(v view){
				"code parity": func(v view) {
					for i := range c.positions {
						v.features[fmt.Sprintf("code %d parity", i)] = b2i(draw.Float64() < map[bool]float64{true: 0.85, false: 0.3}[i == v.right])
					}
				},
				"bytes of ballot": func(v view) { v.features["bytes of ballot"] = 5 + b2i(v.right == 0) },
				"row order":       func(v view) { v.features["id order by 6"] = 2*v.right + b2i(draw.Float64() < 0.5) },
			} {
				leaking := make([]view, len(views))
				for i, v := range views {
					copied := map[string]int{}
					for f, x := range v.features {
						copied[f] = x
					}
					leaking[i] = view{copied, v.right}
					leak(leaking[i])
				}
				if got := attack(leaking, c.positions); got.p > 1e-6 {
					t.Errorf("a leak by %s went unseen: best rule %q, %d of %d, p %.3g", name, got.rule, got.right, got.n, got.p)
				}
			}
		})
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// guessSeeds deals again, by the program's own rules, from every seed that
// could be made of what is in view, and looks whether a set comes out.
func guessSeeds(t *testing.T, s spied) {
	t.Helper()
	doc := s.tasting.Document
	public := []string{"", s.tasting.ID, s.tasting.Title, s.tasting.Study, doc.Session.Lock.Tasting, doc.Session.Lock.Commitment,
		doc.Session.Trays[0].Set, fmt.Sprint(s.tasting.OpenedAt.UnixMicro()), fmt.Sprint(s.tasting.OpenedAt.Unix()), string(s.locked), "trivet", passphrase[:0]}
	seeds := []string{doc.Session.Lock.Commitment, strings.Repeat("0", 64), strings.Repeat("f", 64)}
	for _, p := range public {
		sum := sha256.Sum256([]byte(p))
		seeds = append(seeds, hex.EncodeToString(sum[:]))
	}
	for _, seed := range seeds {
		k, _, err := tasting.Deal(doc.Setup, seed)
		if err != nil {
			t.Fatal(err)
		}
		if k.Sets[0].ID == doc.Session.Trays[0].Set || k.Tasting == doc.Session.Lock.Tasting {
			t.Errorf("the deal comes out of a seed in view: %s", seed)
		}
	}
	// And it does come out of the secret one, so the search would find it.
	k, _, err := tasting.Deal(doc.Setup, s.secrets.Key.Seed)
	if err != nil || k.Sets[0].ID != doc.Session.Trays[0].Set {
		t.Errorf("the deal does not come out of its own seed: %v", err)
	}
}

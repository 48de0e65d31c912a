package tasting

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	"trivet/design"

	"pgregory.net/rapid"

	"trivet/fault"
)

// fixedRandom stands in for the cryptographic source.
func fixedRandom(n byte) *rand.ChaCha8 { return rand.NewChaCha8([32]byte{n}) }

func panel(n int) []Assessor {
	var out []Assessor
	for i := range n {
		out = append(out, Assessor{ID: fmt.Sprintf("P%02d", i+1), Consents: true})
	}
	return out
}

func twoWays() []Product { return []Product{{ID: "sear-last"}, {ID: "sear-first"}} }

func deal(t testing.TB, s Setup, n byte) *Key {
	t.Helper()
	seed, err := NewSeed(fixedRandom(n))
	if err != nil {
		t.Fatal(err)
	}
	k, _, err := Deal(s, seed)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// Every method's block: each product stands equally often in each position,
// and the two-product sets come in the balanced list of their standard.
func TestBlocksAreBalanced(t *testing.T) {
	for _, m := range Methods() {
		d := m.Describe()
		products := 2
		if d.Kind == KindRank || d.Kind == KindScale || d.Kind == KindChecks || d.Kind == KindWords {
			products = 4
		}
		block, err := m.Block(products)
		if err != nil {
			t.Fatal(err)
		}
		if _, stronger := m.(ThreeAFC); stronger {
			continue // always one of the second product, see below
		}
		for pos := range block[0].Cups {
			count := map[int]int{}
			for _, s := range block {
				count[s.Cups[pos]]++
			}
			for p := range products {
				if count[p]*products != len(block) {
					t.Errorf("%s: product %d stands %d times of %d in position %d", d.Name, p, count[p], len(block), pos+1)
				}
			}
		}
		seen := map[string]bool{}
		for _, s := range block {
			if key := fmt.Sprint(s); seen[key] {
				t.Errorf("%s: %v twice in a block", d.Name, s)
			} else {
				seen[key] = true
			}
		}
	}
	block, _ := ThreeAFC{}.Block(2)
	where := map[int]int{}
	for _, s := range block {
		where[ThreeAFC{}.Right(s)[0]]++
	}
	if len(where) != 3 {
		t.Errorf("3-AFC target positions %v", where)
	}
}

// The right answer stands equally often in every position of every choice
// method's block, so a taster who always picks one place gains nothing.
func TestRightAnswersAreBalancedOverPositions(t *testing.T) {
	for _, m := range choices() {
		block, _ := m.Block(2)
		count := map[int]int{}
		for _, s := range block {
			right := m.Right(s)
			if len(right) == 0 {
				t.Fatalf("%s: no right answer to %v", m.Describe().Name, s)
			}
			for _, p := range right {
				if _, tetrad := m.(Tetrad); tetrad && p == 0 {
					continue
				}
				count[p]++
			}
		}
		for p, n := range count {
			if n*len(count) != len(block) {
				t.Errorf("%s: right answer %d times of %d in position %d", m.Describe().Name, n, len(block), p+1)
			}
		}
	}
}

// Williams 1949: every product follows every other equally often.
func TestWilliamsSquaresBalanceCarryOver(t *testing.T) {
	for p := 2; p <= 9; p++ {
		rows := design.Williams(p)
		follows := map[[2]int]int{}
		for _, r := range rows {
			seen := map[int]bool{}
			for i, v := range r {
				seen[v] = true
				if i > 0 {
					follows[[2]int{r[i-1], v}]++
				}
			}
			if len(seen) != p {
				t.Fatalf("p=%d: row %v", p, r)
			}
		}
		want := len(rows) / p
		for a := range p {
			for b := range p {
				if a != b && follows[[2]int{a, b}] != want {
					t.Errorf("p=%d: %d follows %d %d times, want %d", p, b, a, follows[[2]int{a, b}], want)
				}
			}
		}
	}
}

func TestDealtTastingsKeepTheirPromises(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := rapid.SampledFrom(Methods()).Draw(rt, "method")
		products := twoWays()
		if k := m.Describe().Kind; k != KindChoice && k != KindResponse {
			for i := range rapid.IntRange(0, 3).Draw(rt, "more") {
				products = append(products, Product{ID: fmt.Sprint("extra-", i)})
			}
		}
		n := rapid.IntRange(1, 70).Draw(rt, "assessors")
		rounds := rapid.IntRange(1, 4).Draw(rt, "rounds")
		setup := Setup{Method: m.Describe().Name, Products: products, Assessors: panel(n), Rounds: rounds}
		seed, _ := NewSeed(fixedRandom(rapid.Byte().Draw(rt, "seed")))
		key, _, err := Deal(setup, seed)
		if err != nil {
			rt.Fatal(err)
		}
		block, _ := m.Block(len(products))
		perRound := map[int]map[string]int{}
		mine := map[string]bool{}
		ids := map[string]bool{key.Tasting: true}
		sets := map[string]int{}
		for i, s := range key.Sets {
			if s.Tray != i+1 || ids[s.ID] || s.ID[14] != '4' {
				rt.Fatalf("tray %d has id %s", s.Tray, s.ID)
			}
			ids[s.ID] = true
			sets[s.Assessor]++
			first := map[byte]bool{}
			for _, c := range s.Cups {
				if mine[s.Assessor+c.Code] {
					rt.Fatalf("%s meets code %s twice", s.Assessor, c.Code)
				}
				mine[s.Assessor+c.Code] = true
				if first[c.Code[0]] {
					rt.Fatalf("tray %d repeats a first digit: %v", s.Tray, s.Cups)
				}
				first[c.Code[0]] = true
				if len(c.Code) != 3 || c.Code[0] == '0' || slices.Contains([]string{"123", "321", "666", "777", "100"}, c.Code) {
					rt.Fatalf("code %s", c.Code)
				}
			}
			if perRound[s.Round] == nil {
				perRound[s.Round] = map[string]int{}
			}
			perRound[s.Round][fmt.Sprint(s.serving(key.Products))]++
		}
		for _, a := range setup.Assessors {
			if sets[a.ID] != rounds {
				rt.Fatalf("%s gets %d sets of %d", a.ID, sets[a.ID], rounds)
			}
		}
		// Each order is served floor(n/b) or ceil(n/b) times in each round.
		for r, count := range perRound {
			for _, sv := range block {
				c := count[fmt.Sprint(sv)]
				if c < n/len(block) || c > (n+len(block)-1)/len(block) {
					rt.Fatalf("round %d: %v served %d times to %d assessors", r, sv, c, n)
				}
			}
		}
		if err := VerifyDeal(setup, key); err != nil {
			rt.Fatal(err)
		}
	})
}

// With 60 triangles there are codes enough for every cup to have its own.
func TestCodesAreUniqueWhileTheyLast(t *testing.T) {
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(60)}, 1)
	seen := map[string]bool{}
	for _, s := range key.Sets {
		for _, c := range s.Cups {
			if seen[c.Code] {
				t.Errorf("code %s twice", c.Code)
			}
			seen[c.Code] = true
		}
	}
	if n := len(allCodes()); n != 633 {
		t.Errorf("%d codes", n)
	}
}

// Golden: the drawing rules must not change, or old keys cannot be dealt
// again from their seed. Made by this code.
func TestDealIsStable(t *testing.T) {
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6)}, 7)
	var got []string
	for _, s := range key.Sets {
		line := s.Assessor
		for _, c := range s.Cups {
			line += " " + c.Code + c.Product[5:6]
		}
		got = append(got, line)
	}
	if text := strings.Join(got, "\n"); text != goldenDeal {
		t.Errorf("dealt\n%s", text)
	}
}

func TestPortionsComeFromTheRightPieces(t *testing.T) {
	waves := []Wave{
		{Block: "L01", Pieces: [][]string{{"L01a"}, {"L01b"}}, Portions: 6},
		{Block: "L02", Pieces: [][]string{{"L02a"}, {"L02b"}}, Portions: 6},
	}
	setup := Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6), Waves: waves}
	key := deal(t, setup, 3)
	used := map[string]bool{}
	for _, s := range key.Sets {
		for _, c := range s.Cups {
			id := fmt.Sprint(c.Piece, c.Portion)
			if used[id] || c.Portion < 1 || c.Portion > 6 {
				t.Errorf("portion %s given twice or out of range", id)
			}
			used[id] = true
			wantA := strings.HasSuffix(c.Piece, "a")
			if wantA != (c.Product == "sear-last") || !strings.HasPrefix(c.Piece, waves[s.Wave-1].Block) {
				t.Errorf("tray %d wave %d: %+v", s.Tray, s.Wave, c)
			}
		}
	}
	if key.Sets[len(key.Sets)-1].Wave != 2 {
		t.Error("the second wave was not opened")
	}
	setup.Waves = waves[:1]
	if _, _, err := Deal(setup, key.Seed); fault.As(err) == nil || fault.As(err).Code != "portions-short" {
		t.Errorf("pieces that run out: %v", err)
	}
	// Like samples from one piece, or from two where asked.
	for _, apart := range []bool{false, true} {
		key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6), LikeApart: apart,
			Waves: []Wave{{Block: "L01", Pieces: [][]string{{"a1", "a2"}, {"b1", "b2"}}, Portions: 9}}}, 4)
		for _, s := range key.Sets {
			odd := oddOneOut(s.serving(key.Products).Cups)[0]
			var like []string
			for i, c := range s.Cups {
				if i != odd {
					like = append(like, c.Piece)
				}
			}
			if (like[0] == like[1]) == apart {
				t.Errorf("apart %v: like samples from %v", apart, like)
			}
		}
	}
}

// What server, assessor and reader see before closing is the same whichever
// product is which: swapping the products in the key changes nothing.
func TestBlindViewsDoNotDependOnTheProducts(t *testing.T) {
	for _, name := range []string{"triangle", "duo-trio", "2-afc", "tetrad", "a-not-a", "same-different"} {
		setup := Setup{Method: name, Products: twoWays(), Assessors: panel(12), Rounds: 2,
			Waves: []Wave{{Block: "L01", Pieces: [][]string{{"L01-left"}, {"L01-right"}}, Portions: 200}}}
		key := deal(t, setup, 9)
		swapped := *key
		swapped.Sets = nil
		other := map[string]string{"sear-first": "sear-last", "sear-last": "sear-first", "L01-left": "L01-right", "L01-right": "L01-left"}
		flip := func(c Cup) Cup { c.Product, c.Piece = other[c.Product], other[c.Piece]; return c }
		for _, s := range key.Sets {
			cups := s.Cups
			s.Cups = nil
			for _, c := range cups {
				s.Cups = append(s.Cups, flip(c))
			}
			if s.Reference != nil {
				r := flip(*s.Reference)
				s.Reference = &r
			}
			swapped.Sets = append(swapped.Sets, s)
		}
		a, b := blindJSON(t, key), blindJSON(t, &swapped)
		if !bytes.Equal(a, b) {
			t.Errorf("%s: the blind views tell the two keys apart", name)
		}
		for _, secret := range []string{"sear", "L01", key.Seed, "portion", "product"} {
			if bytes.Contains(a, []byte(secret)) {
				t.Errorf("%s: the blind views contain %q", name, secret)
			}
		}
	}
}

// blindJSON is everything server, assessors and readers are given.
func blindJSON(t *testing.T, key *Key) []byte {
	t.Helper()
	session, err := Open(key, Lock{Tasting: key.Tasting, Commitment: "c"}, time.Unix(0, 0), fixedRandom(1))
	if err != nil {
		t.Fatal(err)
	}
	all := []any{key.ForServer(), session.Server(), session.Reader(), session}
	for i := range 12 {
		forms, err := session.ForAssessor(fmt.Sprintf("P%02d", i+1), nil)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, forms)
	}
	b, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// An adversary with everything on the trays of many tastings: no feature of a
// cup that is in view goes with its product more often than chance.
func TestNothingOnATrayPredictsTheProduct(t *testing.T) {
	features := map[string]func(s Set, i int) string{
		"position":       func(_ Set, i int) string { return fmt.Sprint(i) },
		"first digit":    func(s Set, i int) string { return s.Cups[i].Code[:1] },
		"last digit":     func(s Set, i int) string { return s.Cups[i].Code[2:] },
		"order of codes": func(s Set, i int) string { return fmt.Sprint(rankOfCode(s, i)) },
		"set id":         func(s Set, _ int) string { return s.ID[:1] },
		"tray parity":    func(s Set, _ int) string { return fmt.Sprint(s.Tray % 2) },
		"first half":     func(s Set, _ int) string { return fmt.Sprint(s.Tray <= 12) },
		"assessor":       func(s Set, _ int) string { return s.Assessor },
	}
	counts := map[string]map[string]*[2]int{}
	for f := range features {
		counts[f] = map[string]*[2]int{}
	}
	for seed := range 120 {
		key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(24)}, byte(seed))
		for _, s := range key.Sets {
			for i, c := range s.Cups {
				for f, value := range features {
					v := value(s, i)
					if counts[f][v] == nil {
						counts[f][v] = &[2]int{}
					}
					if c.Product == "sear-first" {
						counts[f][v][1]++
					} else {
						counts[f][v][0]++
					}
				}
			}
		}
	}
	for f, byValue := range counts {
		chi2 := 0.0
		for _, c := range byValue {
			half := float64(c[0]+c[1]) / 2
			chi2 += math.Pow(float64(c[0])-half, 2) / half * 2
		}
		df := float64(len(byValue))
		// Sets are not independent cups, which inflates the statistic a
		// little for features of whole sets; 5 standard deviations.
		if chi2 > df+5*math.Sqrt(2*df)+5 {
			t.Errorf("%s predicts the product: chi-squared %.1f on %.0f", f, chi2, df)
		}
	}
}

func rankOfCode(s Set, i int) int {
	r := 0
	for _, c := range s.Cups {
		if c.Code < s.Cups[i].Code {
			r++
		}
	}
	return r
}

func TestPreparerSheetCoversEveryCupOnce(t *testing.T) {
	setup := Setup{Method: "duo-trio", Products: twoWays(), Assessors: panel(8),
		Waves: []Wave{{Block: "L01", Pieces: [][]string{{"L01a"}, {"L01b"}}, Portions: 20}}}
	key := deal(t, setup, 2)
	sheet := key.ForPreparer()
	cups := map[string]bool{}
	for _, w := range sheet.Waves {
		for _, p := range w.Pieces {
			for _, c := range p.Portions {
				cups[fmt.Sprint(c.Tray, c.Position)] = true
			}
		}
	}
	if len(cups) != 8*3 {
		t.Errorf("%d cups on the sheet, want 24", len(cups))
	}
	b, _ := json.Marshal(sheet)
	if bytes.Contains(b, []byte("sear")) {
		t.Error("the carving sheet names treatments")
	}
}

func TestLockHoldsTheKey(t *testing.T) {
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6)}, 5)
	lock, salt, err := LockKey(key, fixedRandom(6))
	if err != nil {
		t.Fatal(err)
	}
	if err := lock.Verify(key, salt); err != nil {
		t.Error(err)
	}
	// The key as it comes back from a file is the same key.
	b, _ := json.Marshal(key)
	var back Key
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if err := lock.Verify(&back, salt); err != nil {
		t.Error(err)
	}
	changed := *key
	changed.Sets = slices.Clone(key.Sets)
	changed.Sets[0].Cups = slices.Clone(key.Sets[0].Cups)
	changed.Sets[0].Cups[0].Code = "999"
	if err := lock.Verify(&changed, salt); fault.As(err) == nil || fault.As(err).Code != "key-mismatch" {
		t.Errorf("a changed key verifies: %v", err)
	}
	if err := lock.Verify(key, strings.Repeat("0", 64)); err == nil {
		t.Error("another salt verifies")
	}
}

func TestSealedKeyOpensWithItsPassphraseOnly(t *testing.T) {
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(3)}, 5)
	lock, salt, _ := LockKey(key, fixedRandom(6))
	sealed, err := SealKey(lock, key, salt, "four plain kitchen words", fixedRandom(8))
	if err != nil {
		t.Fatal(err)
	}
	b, _ := json.Marshal(sealed)
	if bytes.Contains(b, []byte("sear")) || bytes.Contains(b, []byte(key.Seed)) || bytes.Contains(b, []byte(salt)) {
		t.Error("the sealed key shows its content")
	}
	var back SealedKey
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	k, s, err := back.Open("four plain kitchen words")
	if err != nil || s != salt || lock.Verify(k, s) != nil {
		t.Fatalf("%v", err)
	}
	if _, _, err := back.Open("four plain kitchen wordz"); fault.As(err) == nil || fault.As(err).Code != "key-locked" {
		t.Errorf("wrong passphrase: %v", err)
	}
	back.Lock.Commitment = strings.Repeat("0", 64)
	if _, _, err := back.Open("four plain kitchen words"); err == nil {
		t.Error("opens under another lock")
	}
	back = *sealed
	back.MemoryKiB = 1 << 30
	if _, _, err := back.Open("x"); fault.As(err).Code != "key-corrupt" {
		t.Errorf("a key file that asks for a terabyte: %v", err)
	}
	if _, err := SealKey(lock, key, salt, "short", fixedRandom(8)); err == nil {
		t.Error("a short passphrase is taken")
	}
}

func TestEligible(t *testing.T) {
	people := []Assessor{
		{ID: "a", Consents: true}, {ID: "b", Consents: true, Avoids: []string{"milk"}},
		{ID: "c", Consents: true, NotUndercooked: true}, {ID: "d"}, {ID: "e", Consents: true, Avoids: []string{"egg"}},
	}
	products := []Product{{ID: "x", Allergens: []string{"milk"}}, {ID: "y", Undercooked: true}}
	served, out := Eligible(people, products, nil)
	if len(served) != 2 || served[0].ID != "a" || served[1].ID != "e" {
		t.Errorf("served %+v", served)
	}
	want := map[string]fault.Code{"b": "allergen", "c": "undercooked", "d": "no-consent"}
	for _, e := range out {
		if want[e.Assessor] != e.Code {
			t.Errorf("%+v", e)
		}
	}
}

func TestRolesThatKnowDoNotServeOrTaste(t *testing.T) {
	for _, tc := range []struct {
		a, b Role
		want bool
	}{{Preparer, Server, false}, {Preparer, Taster, false}, {Lead, Taster, false}, {Lead, Preparer, true}, {Reader, Taster, true}} {
		if MayHold(tc.a, tc.b) != tc.want || MayHold(tc.b, tc.a) != tc.want {
			t.Errorf("%s and %s: %v", tc.a, tc.b, !tc.want)
		}
	}
}

func TestBlindingOf(t *testing.T) {
	for _, tc := range []struct {
		people map[string][]Role
		want   Blinding
	}{
		{map[string][]Role{"cook": {Lead, Preparer}, "helper": {Server}, "guest": {Taster}}, DoubleBlind},
		{map[string][]Role{"cook": {Preparer, Server}, "guest": {Taster}}, SingleBlind},
		{map[string][]Role{"cook": {Preparer, Server, Taster}, "guest": {Taster}}, NotBlind},
	} {
		if got := BlindingOf(tc.people); got != tc.want {
			t.Errorf("%v: %s", tc.people, got)
		}
	}
}

const goldenDeal = `P03 167l 843f 532l
P04 897l 917f 207f
P06 846f 254l 341l
P02 325f 527f 496l
P05 795f 381l 206f
P01 769l 372l 418f`

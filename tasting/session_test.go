package tasting

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"trivet/fault"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// openTriangle returns a locked triangle of n assessors with its session.
func openTriangle(t *testing.T, n int) (*Key, string, *Session) {
	t.Helper()
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(n)}, 5)
	lock, salt, err := LockKey(key, fixedRandom(6))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(key, lock, noon, fixedRandom(7))
	if err != nil {
		t.Fatal(err)
	}
	return key, salt, s
}

// answerTo chooses the right cup of a set, or a wrong one.
func answerTo(key *Key, set Set, right bool) Answer {
	odd := oddOneOut(set.serving(key.Products).Cups)[0]
	if !right {
		odd = (odd + 1) % 3
	}
	return Answer{ID: "answer-" + set.ID, Set: set.ID, Assessor: set.Assessor, Choice: []string{set.Cups[odd].Code}, Sureness: 2, Comment: "comment of " + set.Assessor}
}

func TestATastingFromPourToScore(t *testing.T) {
	key, salt, s := openTriangle(t, 24)
	for i, set := range key.Sets {
		if err := s.Receive(answerTo(key, set, i < 13), noon, fixedRandom(byte(i))); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Choices(); fault.As(err) == nil || fault.As(err).Code != "tasting-open" {
		t.Fatalf("scored while open: %v", err)
	}
	notes, err := s.Close(key, salt, noon, fixedRandom(99))
	if err != nil || len(notes) != 0 {
		t.Fatalf("%v %v", notes, err)
	}
	c, err := s.Choices()
	if err != nil {
		t.Fatal(err)
	}
	if c.N != 24 || c.Correct != 13 || c.Assessors != 24 || len(c.Sure) != 1 || c.Sure[0].Correct != 13 {
		t.Errorf("%+v", c)
	}
	m, _ := LookupChoice(s.Method)
	r, err := Score(m, c.Count, Rule{Alpha: .05})
	if err != nil || r.Verdict != Different {
		t.Errorf("%+v %v", r, err)
	}
}

func TestBallotsThatCannotBeTaken(t *testing.T) {
	key, salt, s := openTriangle(t, 6)
	good := answerTo(key, key.Sets[0], true)
	change := func(f func(*Answer)) Answer { a := good; a.ID = "other"; f(&a); return a }
	if err := s.Receive(good, noon, fixedRandom(1)); err != nil {
		t.Fatal(err)
	}
	if err := s.Receive(good, noon, fixedRandom(1)); err != nil || len(s.Answers) != 1 {
		t.Errorf("the same ballot again: %v, %d kept", err, len(s.Answers))
	}
	next := key.Sets[1]
	for _, tc := range []struct {
		name string
		a    Answer
		code fault.Code
	}{
		{"second answer to a set", change(func(a *Answer) { a.Comment = "changed my mind" }), "ballot-duplicate"},
		{"another's set", change(func(a *Answer) { a.Set = next.ID }), "ballot-assessor"},
		{"unknown set", change(func(a *Answer) { a.Set = "nowhere" }), "ballot-unknown"},
		{"unknown code", change(func(a *Answer) { a.Set, a.Assessor, a.Choice = next.ID, next.Assessor, []string{"012"} }), "code-unknown"},
		{"no choice", change(func(a *Answer) { a.Set, a.Assessor, a.Choice = next.ID, next.Assessor, nil }), "answer-incomplete"},
		{"no id", change(func(a *Answer) { a.ID, a.Set, a.Assessor = "", next.ID, next.Assessor }), "answer-incomplete"},
	} {
		err := s.Receive(tc.a, noon, fixedRandom(2))
		if e := fault.As(err); e == nil || e.Code != tc.code || e.Fix == "" {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
	if _, err := s.Close(key, salt, noon, fixedRandom(3)); err != nil {
		t.Fatal(err)
	}
	if err := s.Receive(answerTo(key, next, true), noon, fixedRandom(4)); fault.As(err) == nil || fault.As(err).Code != "ballot-late" {
		t.Errorf("late: %v", err)
	}
	if err := s.History.Verify(); err != nil {
		t.Error(err)
	}
	if n := len(s.History.Entries); n != 1+1+6+1+1 {
		t.Errorf("%d history entries", n)
	}
}

func TestClosingNeedsTheLockedKey(t *testing.T) {
	key, salt, s := openTriangle(t, 6)
	forged := *key
	forged.Sets = append([]Set{}, key.Sets...)
	forged.Sets[0], forged.Sets[1] = forged.Sets[1], forged.Sets[0]
	if _, err := s.Close(&forged, salt, noon, fixedRandom(1)); fault.As(err) == nil || fault.As(err).Code != "key-mismatch" {
		t.Errorf("%v", err)
	}
	notes, err := s.Close(key, salt, noon, fixedRandom(1))
	if err != nil || len(notes) == 0 || notes[0].Code != "ballots-missing" {
		t.Errorf("%v %v", notes, err)
	}
}

func TestWithdrawalRemovesTheAnswersAndKeepsTheChain(t *testing.T) {
	key, salt, s := openTriangle(t, 7)
	for i, set := range key.Sets {
		if err := s.Receive(answerTo(key, set, true), noon, fixedRandom(byte(i))); err != nil {
			t.Fatal(err)
		}
	}
	who := key.Sets[3].Assessor
	if n, err := s.Withdraw(who, noon, fixedRandom(50)); err != nil || n != 1 {
		t.Fatalf("%d %v", n, err)
	}
	b, _ := json.Marshal(struct {
		A []Answer
		H History
	}{s.Answers, s.History})
	if bytes.Contains(b, []byte("comment of "+who)) || bytes.Contains(b, []byte(answerTo(key, key.Sets[3], true).ID)) {
		t.Error("the withdrawn answer is still there")
	}
	if err := s.History.Verify(); err != nil {
		t.Error(err)
	}
	if err := s.Receive(answerTo(key, key.Sets[3], true), noon, fixedRandom(51)); fault.As(err) == nil || fault.As(err).Code != "ballot-withdrawn" {
		t.Errorf("%v", err)
	}
	notes, err := s.Close(key, salt, noon, fixedRandom(52))
	if err != nil {
		t.Fatal(err)
	}
	found := fmt.Sprint(notes)
	for _, want := range []string{"withdrew", "1 of 7 sets", "refused"} {
		if !bytes.Contains([]byte(found), []byte(want)) {
			t.Errorf("no %q in %s", want, found)
		}
	}
	c, _ := s.Choices()
	if c.N != 6 {
		t.Errorf("%d answers scored", c.N)
	}
	s.History.Entries[2].AtUS++
	if s.History.Verify() == nil {
		t.Error("a changed entry verifies")
	}
}

func TestTetradGroupMayBeNamedByEitherHalf(t *testing.T) {
	key := deal(t, Setup{Method: "tetrad", Products: twoWays(), Assessors: panel(3)}, 5)
	lock, salt, _ := LockKey(key, fixedRandom(6))
	s, _ := Open(key, lock, noon, fixedRandom(7))
	pick := func(set Set, product string) []string {
		var out []string
		for _, c := range set.Cups {
			if c.Product == product {
				out = append(out, c.Code)
			}
		}
		return out
	}
	sets := key.Sets
	choices := [][]string{pick(sets[0], "sear-last"), pick(sets[1], "sear-first"), {pick(sets[2], "sear-last")[0], pick(sets[2], "sear-first")[0]}}
	for i, c := range choices {
		if err := s.Receive(Answer{ID: fmt.Sprint(i), Set: sets[i].ID, Assessor: sets[i].Assessor, Choice: c}, noon, fixedRandom(8)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Close(key, salt, noon, fixedRandom(9)); err != nil {
		t.Fatal(err)
	}
	got, err := s.Choices()
	if err != nil || got.Correct != 2 {
		t.Errorf("%+v %v", got, err)
	}
}

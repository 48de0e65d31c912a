package tasting

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
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

func TestDeviationsAreShownAtClosing(t *testing.T) {
	key, salt, s := openTriangle(t, 6)
	if err := s.Deviate(2, "cup 1 spilt and poured again", noon, fixedRandom(1)); err != nil {
		t.Fatal(err)
	}
	if err := s.Deviate(7, "no such tray", noon, fixedRandom(1)); err == nil {
		t.Error("a tray that does not exist deviated")
	}
	notes, err := s.Close(key, salt, noon, fixedRandom(2))
	if err != nil || !strings.Contains(fmt.Sprint(notes), "tray 2: cup 1 spilt") || s.History.Verify() != nil {
		t.Errorf("%v %v", notes, err)
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

// Every method can be served and scored through a session, with ballots typed
// into the table that closing reads.
func TestEveryMethodThroughATable(t *testing.T) {
	for _, m := range Methods() {
		d := m.Describe()
		products := twoWays()
		if d.Kind == KindRank {
			products = append(products, Product{ID: "not-seared"})
		}
		doc, key, salt, _, err := NewDocument(Setup{Method: d.Name, Products: products, Assessors: panel(12), Rounds: 2},
			Rule{Alpha: .05}, []string{LikingAttribute, "salt"}, noon, fixedRandom(3))
		if err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		if err := receiveAll(doc, key, m); err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		if _, err := doc.Score(); fault.As(err) == nil || fault.As(err).Code != "tasting-open" {
			t.Fatalf("%s scored while open: %v", d.Name, err)
		}
		if _, err := doc.Session.Close(key, salt, noon, fixedRandom(4)); err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		if d.Name == "just-about-right" {
			if _, err := doc.Score(); fault.As(err) == nil || fault.As(err).Code != "row-twice" {
				t.Errorf("replicated just-about-right: %v", err)
			}
			continue
		}
		// The document comes back from its file as it was.
		b, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		var back Document
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		s, err := back.Score()
		if err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		switch {
		case s.Choice != nil:
			if s.Choice.N != 24 || s.Choice.Correct != 24 {
				t.Errorf("%s: %d of %d", d.Name, s.Choice.Correct, s.Choice.N)
			}
		case s.Response != nil:
			if s.Response.HitRate != 1 || s.Response.FalseRate != 0 {
				t.Errorf("%s: %+v", d.Name, s.Response.TwoByTwo)
			}
		case s.Report != nil:
			if len(s.Report.Sentences()) == 0 || len(s.Report.Table()) < 2 {
				t.Errorf("%s says nothing", d.Name)
			}
		}
	}
}

// receiveAll fills in every ballot through a table: right where there is a
// right answer, and marks that set the products apart elsewhere.
func receiveAll(doc *Document, key *Key, m Method) error {
	rec := Records{Name: "answers.csv"}
	d := m.Describe()
	for _, s := range key.Sets {
		sv := s.serving(key.Products)
		tray := fmt.Sprint(s.Tray)
		switch d.Kind {
		case KindChoice:
			rec.Columns = []string{"tray", "assessor", "choice", "sureness"}
			var codes []string
			for _, p := range m.(ForcedChoice).Right(sv) {
				codes = append(codes, s.Cups[p].Code)
			}
			rec.Rows = append(rec.Rows, []string{tray, s.Assessor, strings.Join(codes, " "), "2"})
		case KindResponse:
			rec.Columns = []string{"tray", "assessor", "answer", "sureness"}
			w := responseWords(m)
			answer := w[0]
			if (len(sv.Cups) == 1 && sv.Cups[0] == 1) || (len(sv.Cups) == 2 && sv.Cups[0] != sv.Cups[1]) {
				answer = w[1]
			}
			rec.Rows = append(rec.Rows, []string{tray, s.Assessor, answer, "3"})
		default:
			rec.Columns = []string{"tray", "assessor", "code", "attribute", "value", "comment"}
			for i, c := range s.Cups {
				value := fmt.Sprint(sv.Cups[i] + 1)
				if d.Kind == KindScale {
					// Half the tasters find the second product better.
					value = fmt.Sprint(5 + sv.Cups[i]*(len(s.Assessor+s.ID)%2) + s.Tray%2*(1-sv.Cups[i]))
				}
				for _, a := range doc.Attributes {
					if d.Kind == KindRank || d.Kind == KindWords {
						a = ""
					}
					if d.Name == "just-about-right" && a == "salt" {
						value = "3"
					}
					if d.Kind == KindChecks {
						value = fmt.Sprint(sv.Cups[i])
					}
					rec.Rows = append(rec.Rows, []string{tray, s.Assessor, c.Code, a, value, "juicy"})
				}
			}
		}
	}
	answers, err := rec.Answers(doc.Session, fixedRandom(9))
	if err != nil {
		return err
	}
	for _, a := range answers {
		if err := doc.Session.Receive(a, noon, fixedRandom(8)); err != nil {
			return err
		}
	}
	return nil
}

func TestDocumentKeepsNoHealthData(t *testing.T) {
	people := panel(6)
	people[0].Avoids, people[1].NotUndercooked = []string{"egg"}, true
	doc, _, _, _, err := NewDocument(Setup{Method: "triangle", Products: twoWays(), Assessors: people}, Rule{Alpha: .05}, nil, noon, fixedRandom(3))
	if err != nil {
		t.Fatal(err)
	}
	b, _ := json.Marshal(doc)
	if bytes.Contains(b, []byte("egg")) || bytes.Contains(b, []byte("undercooked")) {
		t.Errorf("%s", b)
	}
}

func TestARuleThatCannotBeScoredIsRefusedBeforeDealing(t *testing.T) {
	for _, r := range []Rule{{}, {Alpha: 5}, {Alpha: .05, For: ForSimilarity}, {Alpha: .05, Discriminators: .3, DPrime: 1}} {
		if _, _, _, _, err := NewDocument(Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6)}, r, nil, noon, fixedRandom(3)); err == nil {
			t.Errorf("%+v was taken", r)
		}
	}
}

// R 4.2.2: chisq.test(c(5, 4, 15)).
func TestPositionUse(t *testing.T) {
	if p := newPositionUse([]int{5, 4, 15}); !within(p.P, .00980365503582, 1e-12) {
		t.Errorf("p %v", p.P)
	}
}

func FuzzRecords(f *testing.F) {
	f.Add("assessor", "correct", "P1", "yes")
	f.Add("assessor", "product", "P1", "A")
	f.Add("", "", "", "")
	f.Fuzz(func(t *testing.T, c1, c2, v1, v2 string) {
		r := Records{Name: "f", Columns: []string{c1, c2, "answer", "value", "product", "rank"}, Rows: [][]string{{v1, v2, v1, v2, v1, v2}, {v2, v1, v2, v1, v2, v1}}}
		for _, m := range Methods() {
			var err error
			switch m := m.(type) {
			case ForcedChoice:
				_, err = r.ChoiceTable()
			case ResponseMethod:
				_, err = r.ResponseTable(m)
			case TableMethod:
				var rows []Row
				if rows, err = r.RowTable(m); err == nil {
					_, err = m.ScoreRows(rows, .05)
				}
			}
			if err != nil && fault.As(err) == nil {
				t.Fatalf("%T is not a fault: %v", err, err)
			}
		}
	})
}

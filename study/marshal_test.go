package study

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// TestMarshalWritesWhatParseReads writes the example afresh and reads it
// back: the same study but for line numbers, and the same document the
// second time.
func TestMarshalWritesWhatParseReads(t *testing.T) {
	s, _ := example(t)
	b, err := Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Parse("fresh.yaml", b)
	if err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	if d := cmp.Diff(s, again, cmpopts.IgnoreFields(Question{}, "Line"), cmpopts.IgnoreFields(Cook{}, "Line"),
		cmpopts.EquateApprox(1e-15, 0)); d != "" {
		t.Errorf("(-first +again)\n%s\n%s", d, b)
	}
	twice, err := Marshal(again)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(b), string(twice)); d != "" {
		t.Errorf("not stable:\n%s", d)
	}
	if testing.Verbose() {
		t.Logf("\n%s", b)
	}
}

// TestAnyTextSurvives writes any title, claim and note.
func TestAnyTextSurvives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[ -~°±é"'#:\[\]{}&*!|>%@,\n\\]{1,40}`)
		s := &Study{Title: "T", ID: "t", Format: 1, Claim: Claim{Says: text.Draw(t, "says")},
			Lots: []Lot{{ID: "A", Note: text.Draw(t, "note")}}, Risk: Risk{Alpha: 0.05, Power: 0.8, Mode: "fixed"}}
		b, err := Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse("t", b)
		if err != nil {
			t.Fatalf("%v\n%s", err, b)
		}
		if strings.TrimSpace(s.Claim.Says) != again.Claim.Says || strings.TrimSpace(s.Lots[0].Note) != again.Lots[0].Note {
			t.Fatalf("%q, %q became %q, %q", s.Claim.Says, s.Lots[0].Note, again.Claim.Says, again.Lots[0].Note)
		}
	})
}

package study_test

import (
	"strings"
	"testing"
	"time"

	"trivet/study"
)

// A margin changed after the seal: the sealed one comes back. A question that
// asks something else is another question; new words for it are not.
func TestSealedQuestionsKeepTheSealedMargin(t *testing.T) {
	const doc = `study: T
questions:
  - {id: loss, ask: Is it less?, response: cooking_loss, compare: {treatment: b, against: a}, claim: lower, margin: 2 points}
  - {id: time, ask: Is it longer?, response: time_to_core(60 °C), compare: {treatment: b, against: a}, margin: 10 %}
  - {id: peak, ask: Is it hotter?, response: core_peak, compare: {treatment: b, against: a}, margin: +2 °F}
treatments: [{id: a, control: true}, {id: b}]
`
	read := func(edit ...string) *study.Study {
		s, err := study.Parse("study.yaml", []byte(strings.NewReplacer(edit...).Replace(doc)))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	seal, err := study.SealNow(read(), nil, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name             string
		edit             []string
		question, margin string
		marginChanged    bool
		changed          bool
	}{
		{"nothing changed", nil, "loss", "2 points", false, false},
		{"other words", []string{"Is it less?", "Does it lose less?"}, "loss", "2 points", false, false},
		{"another margin", []string{"2 points", "1 point"}, "loss", "2 points", true, false},
		{"another ratio", []string{"10 %", "5 %"}, "time", "10 %", true, false},
		{"the same margin in kelvins", []string{"+2 °F", "1.1111111111 K"}, "peak", "1.1111111111 K", true, false},
		{"another direction", []string{"claim: lower", "claim: higher"}, "loss", "2 points", false, true},
		{"another target", []string{"60 °C", "55 °C"}, "time", "10 %", false, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := study.SealedQuestions(seal, read(tc.edit...))
			if err != nil {
				t.Fatal(err)
			}
			q := got[tc.question]
			if q.MarginChanged != tc.marginChanged || q.Changed != tc.changed {
				t.Errorf("%+v", q)
			}
			if q.Margin.Text != tc.margin && tc.question != "peak" {
				t.Errorf("margin %q, want %q", q.Margin.Text, tc.margin)
			}
		})
	}
	added := read("  - {id: peak, ask: Is it hotter?", "  - {id: new, ask: Is it hotter?")
	got, err := study.SealedQuestions(seal, added)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := got["new"]; ok {
		t.Error("a question that was never sealed is in the seal")
	}
}

package answer_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"trivet/answer"
	"trivet/fault"
	"trivet/study"
)

// crossedStudy has salt and rest crossed, the question being about salt at
// rest 10; b − a follows d there, and elsewhere at rest 0.
func crossedStudy(d, elsewhere []float64) answer.Input {
	s := plan(len(d))
	s.Treatments = []study.Treatment{
		{ID: "a", Control: true, Set: map[string]string{"salt": "no", "rest": "10"}}, {ID: "b", Set: map[string]string{"salt": "yes", "rest": "10"}},
		{ID: "c", Set: map[string]string{"salt": "no", "rest": "0"}}, {ID: "d", Set: map[string]string{"salt": "yes", "rest": "0"}}}
	cooks := pairs(d)
	for i, c := range pairs(elsewhere) {
		c.Cook.Treatment = map[string]string{"a": "c", "b": "d"}[c.Cook.Treatment]
		c.Cook.Label = fmt.Sprintf("%s-%d", c.Cook.Treatment, i)
		c.Cook.Order += len(cooks)
		cooks = append(cooks, c)
	}
	return answer.Input{Study: s, Seal: seal, Cooks: cooks}
}

// A difference that depends on another setting of the study is not sold as an
// effect of the setting asked about. Differences of differences below: 3.3,
// 2.9, 3.1, 2.7, 3.0, mean 3.0, s = 0.2236, se 0.1, t(0.975, 4) = 2.776, so
// 2.7 to 3.3.
func TestInteractionIsSaid(t *testing.T) {
	d := []float64{4.1, 3.9, 4.0, 3.8, 4.2}
	note := func(in answer.Input) string {
		f := one(t, in)
		i := slices.IndexFunc(f.Notes, func(n fault.Note) bool { return n.Code == "interaction" })
		if i < 0 {
			return ""
		}
		return f.Notes[i].Text
	}
	got := note(crossedStudy(d, []float64{0.8, 1.0, 0.9, 1.1, 1.2}))
	for _, want := range []string{"depends on rest", "4.00 points at 10, 1.00 points at 0", "2.72 points to 3.28 points, 5 blocks", "about salt at rest 10, not about salt in general"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
	if got := note(crossedStudy(d, []float64{4.3, 3.8, 3.9, 4.1, 4.0})); got != "" {
		t.Errorf("the same difference at both levels: %q", got)
	}
	in := crossedStudy(d, []float64{0.8, 1.0, 0.9, 1.1, 1.2})
	in.Study.Treatments[3].Set["cut"] = "thin" // two things differ there: not comparable
	if got := note(in); got != "" {
		t.Errorf("treatments that differ in more: %q", got)
	}
}

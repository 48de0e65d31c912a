package answer_test

import (
	"slices"
	"strings"
	"testing"

	"trivet/answer"
	"trivet/fault"
	"trivet/measure"
)

// A breach holds a verdict back unless it stands without the blocks concerned;
// a doubt is told and holds nothing back; what does not touch the response is
// left out.
func TestDoubtsAboutRecordsEnterTheChecks(t *testing.T) {
	pan := measure.Finding{Code: "pan-off", Severity: measure.QualityBreach, Text: "the pan was off"}
	start := measure.Finding{Code: "start-missing", Severity: measure.QualityDoubt, Text: "the start was not recorded"}
	gap := measure.Finding{Code: "gap", Severity: measure.QualityDoubt, Place: "core", Text: "core has one gap"}
	firm := []float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4}
	for _, tc := range []struct {
		name    string
		diffs   []float64
		finding measure.Finding
		blocks  []string
		verdict answer.Verdict
		state   answer.State // "" for no check
		says    string
	}{
		{"a breach in one cook, the others agree", firm, pan, []string{"02"}, answer.Matters, answer.Doubtful, "02-b: the pan was off; without the blocks concerned the verdict is the same"},
		{"a breach in most cooks", firm, pan, []string{"00", "01", "02", "03", "04"}, answer.Unsettled, answer.Failed, "and so in 2 more cooks; too few blocks are left"},
		{"a breach that the verdict rests on", []float64{2.0, 2.4, 4.5, 4.5, 4.5, 4.5, 2.0, 2.3, 1.9, 2.6, 1.9, 2.4}, pan, []string{"02", "03", "04", "05"}, answer.Unsettled, answer.Failed, "would not be settled"},
		{"a breach where nothing is settled", []float64{4, -1, 5, 0, 3, -2, 6, 1}, pan, []string{"02"}, answer.Unsettled, answer.Failed, "02-b: the pan was off"},
		{"a doubt in most cooks", firm, start, []string{"00", "01", "02", "03", "04"}, answer.Matters, answer.Doubtful, "too few blocks are left"},
		{"a gap, where the reading was typed in", firm, gap, []string{"02"}, answer.Matters, "", ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			cooks := pairs(tc.diffs)
			for i := range cooks {
				if cooks[i].Cook.Treatment == "b" && slices.Contains(tc.blocks, cooks[i].Cook.Block) {
					cooks[i].Findings = []measure.Finding{tc.finding}
				}
			}
			f := one(t, answer.Input{Study: plan(len(tc.diffs)), Seal: seal, Cooks: cooks})
			if f.Verdict == nil || *f.Verdict != tc.verdict {
				t.Errorf("verdict %v, want %s (raw %s)", f.Verdict, tc.verdict, f.RawVerdict)
			}
			i := slices.IndexFunc(f.Checks, func(c answer.Check) bool { return c.Code == tc.finding.Code })
			switch {
			case tc.state == "":
				if i >= 0 {
					t.Errorf("%+v", f.Checks[i])
				}
			case i < 0:
				t.Fatalf("%+v", f.Checks)
			default:
				if c := f.Checks[i]; c.State != tc.state || !strings.Contains(c.Text, tc.says) {
					t.Errorf("%+v", c)
				}
			}
			held := f.RawVerdict.Settled() && tc.state == answer.Failed
			if got := slices.Contains(f.WhyNot, tc.finding.Code); got != held {
				t.Errorf("why not: %v", f.WhyNot)
			}
		})
	}
}

// A cook that lacks a weighing has no value, and its check says so.
func TestMissingWeighingIsACheck(t *testing.T) {
	s := plan(8)
	s.Questions[0].Response = "cooking_loss"
	cooks := pairs([]float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4})
	for i := range cooks {
		cooks[i].Result.Responses[0].Name = "cooking_loss"
	}
	cooks[3].Result.Responses = nil
	cooks[3].Findings = []measure.Finding{{Code: "weighing-missing", Severity: measure.QualityBreach, Responses: []string{"cooking_loss"}, Text: "not weighed off the heat"}}
	f := one(t, answer.Input{Study: s, Seal: seal, Cooks: cooks})
	if !slices.ContainsFunc(f.Checks, func(c answer.Check) bool {
		return c.Code == fault.Code("weighing-missing") && strings.HasPrefix(c.Text, cooks[3].Cook.Label+": not weighed")
	}) {
		t.Errorf("%+v", f.Checks)
	}
	cooks[3].Cook.Treatment = "c" // another comparison's cook
	f = one(t, answer.Input{Study: s, Seal: seal, Cooks: cooks})
	if slices.ContainsFunc(f.Checks, func(c answer.Check) bool { return c.Code == "weighing-missing" }) {
		t.Errorf("%+v", f.Checks)
	}
}

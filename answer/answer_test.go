package answer_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"trivet/answer"
	"trivet/fault"
	"trivet/measure"
	"trivet/quantity"
	"trivet/study"
)

// plan is a sealed study of pairs with one question: does b change y against
// a by at least 2 points?
func plan(blocks int) *study.Study {
	return &study.Study{ID: "s", Title: "S", Risk: study.Risk{Alpha: 0.05, Power: 0.8, Mode: "fixed"},
		Blocks:     study.Blocks{Count: blocks, Pieces: 2},
		Treatments: []study.Treatment{{ID: "a", Control: true}, {ID: "b"}},
		Questions: []study.Question{{ID: "q", Ask: "Does b raise y?", Response: "y", Claim: study.Higher,
			Compare: study.Contrast{Treatment: "b", Against: "a"},
			Margin:  quantity.Margin{MarginKind: quantity.MarginPoints, Value: 2, Text: "2 points"}}},
	}
}

// pairs makes one cook a treatment and block; b − a follows d.
func pairs(d []float64) []answer.CookResult {
	var out []answer.CookResult
	add := func(i int, t string, order int, y float64) {
		out = append(out, answer.CookResult{
			Cook: study.Cook{Label: fmt.Sprintf("%02d-%s", i, t), Block: fmt.Sprintf("%02d", i), Treatment: t, Role: study.Planned, Order: order},
			Result: &measure.Result{Responses: []measure.Response{{Name: "y", Unit: "%", Kind: study.Number, Value: y, StdU: 0.1,
				ResolutionStep: 0.1}}}})
	}
	for i, x := range d {
		base := 20 + float64(i%5) // blocks differ by far more than pieces
		add(i, "a", 2*i+1+i%2, base)
		add(i, "b", 2*i+2-i%2, base+x)
	}
	return out
}

var seal = &study.Seal{Hash: "0123456789abcdef"}

func one(t *testing.T, in answer.Input) *answer.Finding {
	t.Helper()
	a, err := answer.Study(in)
	if err != nil {
		t.Fatal(err)
	}
	return a.Findings[0]
}

func TestVerdictsOfAStudy(t *testing.T) {
	for _, tc := range []struct {
		name    string
		diffs   []float64
		planned int
		change  func(*answer.Input)
		raw     answer.Verdict
		verdict answer.Verdict // "" for null
		why     []string
	}{
		{name: "a difference that matters", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4}, raw: answer.Matters, verdict: answer.Matters},
		{name: "the reverse matters", diffs: []float64{-4, -5, -4.5, -5.5, -4.2, -4.8, -5.1, -4.4}, raw: answer.Opposite, verdict: answer.Opposite},
		{name: "differs, by less than matters", diffs: []float64{1.0, 1.2, 0.8, 1.1, 0.9, 1.0, 1.3, 0.7}, raw: answer.TooSmall, verdict: answer.TooSmall},
		{name: "no difference that matters", diffs: []float64{.3, -.4, .5, -.2, .1, -.3, .2, -.1}, raw: answer.NoDifference, verdict: answer.NoDifference},
		{name: "not settled yet", diffs: []float64{4, -1, 5, 0, 3, -2, 6, 1}, raw: answer.Unsettled, verdict: answer.Unsettled},
		{name: "unsealed: numbers, and what it would be", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) { in.Seal = nil }, raw: answer.Matters, why: []string{"not-sealed"}},
		{name: "three blocks give numbers only", diffs: []float64{4, 4.1, 4.2}, raw: answer.Matters, why: []string{"under-4-blocks", "few-error-df"}},
		{name: "five blocks cannot show an absence", diffs: []float64{.1, -.1, .05, -.05, .02}, raw: answer.NoDifference,
			verdict: answer.Unsettled, why: []string{"few-blocks"}},
		{name: "the plan is not finished", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8}, planned: 8, raw: answer.Matters,
			verdict: answer.Unsettled, why: []string{"planned-number"}},
		{name: "the scale is too coarse", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) {
				for _, c := range in.Cooks {
					c.Result.Responses[0].ResolutionStep = 0.6
				}
			}, raw: answer.Matters, verdict: answer.Unsettled, why: []string{"resolution"}},
		{name: "what is typed in is declared to be read too coarsely", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) {
				in.Study.Readings = []study.ReadingDef{{ID: "y", Kind: study.Number, Unit: "%", Resolution: 1}}
			}, raw: answer.Matters, verdict: answer.Unsettled, why: []string{"resolution"}},
		{name: "a piece weighed more afterwards", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) {
				in.Cooks[0].Result.Responses[0].Notes = []fault.Note{{Code: "mass-gained", Text: "it weighed more"}}
			}, raw: answer.Matters, verdict: answer.Unsettled, why: []string{"weighings"}},
		{name: "a judged reading was not blind", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) { in.Study.Questions[0].Judged = true }, raw: answer.Matters,
			verdict: answer.Unsettled, why: []string{"blind"}},
		{name: "each treatment had a day of its own", diffs: []float64{4, 5, 4.5, 5.5, 4.2, 4.8},
			change: func(in *answer.Input) {
				for i := range in.Cooks {
					in.Cooks[i].Cook.Day = in.Cooks[i].Cook.Treatment
				}
			}, raw: answer.Matters, why: []string{"treatment-is-batch"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := answer.Input{Study: plan(len(tc.diffs)), Seal: seal, Cooks: pairs(tc.diffs)}
			if tc.planned > 0 {
				in.Study.Blocks.Count = tc.planned
			}
			if tc.change != nil {
				tc.change(&in)
			}
			f := one(t, in)
			if f.RawVerdict != tc.raw {
				t.Errorf("raw verdict %q, want %q (%+v)", f.RawVerdict, tc.raw, f.Evidence)
			}
			var got answer.Verdict
			if f.Verdict != nil {
				got = *f.Verdict
			}
			if got != tc.verdict {
				t.Errorf("verdict %q, want %q; why %v", got, tc.verdict, f.WhyNot)
			}
			var why []string
			for _, w := range f.WhyNot {
				why = append(why, string(w))
			}
			if !slices.Equal(why, tc.why) {
				t.Errorf("why not: %v, want %v", why, tc.why)
			}
			if f.Sentence == "" || f.Printed == "" {
				t.Error("nothing is said")
			}
		})
	}
}

// A claim of "lower" turns the codes, not the numbers.
func TestAClaimOfLowerTurnsTheVerdictOnly(t *testing.T) {
	in := answer.Input{Study: plan(8), Seal: seal, Cooks: pairs([]float64{-4, -5, -4.5, -5.5, -4.2, -4.8, -5.1, -4.4})}
	in.Study.Questions[0].Claim = study.Lower
	f := one(t, in)
	if *f.Verdict != answer.Matters || f.Evidence.Estimate > 0 {
		t.Errorf("%v, estimate %v", *f.Verdict, f.Evidence.Estimate)
	}
	if !strings.Contains(f.Sentence, "lower") {
		t.Errorf("sentence: %s", f.Sentence)
	}
}

// One wild block: without it the verdict is another settled one, so none is
// given.
func TestOneBlockThatTurnsTheVerdictHoldsItBack(t *testing.T) {
	d := []float64{.1, .15, .12, .09, .11, .13, .1, .12, .14, .1, .12, 0.75}
	in := answer.Input{Study: plan(len(d)), Seal: seal, Cooks: pairs(d)}
	f := one(t, in)
	if f.Verdict == nil {
		t.Fatal("no verdict")
	}
	turned := false
	for _, l := range f.Evidence.LeaveOneOut {
		turned = turned || l.Raw.Settled() && l.Raw != f.RawVerdict
	}
	if turned != slices.Contains(f.WhyNot, "one-block-turns-it") {
		t.Errorf("turned %v, why %v", turned, f.WhyNot)
	}
	if len(f.Evidence.LeaveOneOut) != len(d) {
		t.Errorf("%d blocks left out, want %d", len(f.Evidence.LeaveOneOut), len(d))
	}
}

func TestVoidCooksAreReplacedBySparesOfTheirBlock(t *testing.T) {
	cooks := pairs([]float64{4, 5, 4.5, 5.5, 4.2, 4.8})
	void := cooks[1]
	void.Cook.Role = study.Void
	void.Cook.Label = "void"
	void.Result = &measure.Result{Responses: []measure.Response{{Name: "y", Unit: "%", Kind: study.Number, Value: 99}}}
	cooks[1].Cook.Role = study.Spare // the spare of block 00, treatment b
	loose := cooks[3]
	loose.Cook.Role, loose.Cook.Label = study.Spare, "loose" // replaces nothing
	pilot := cooks[5]
	pilot.Cook.Role = study.Pilot
	in := answer.Input{Study: plan(6), Seal: seal, Cooks: append(cooks, void, loose, pilot)}
	f := one(t, in)
	if f.Evidence.N != 12 || f.Evidence.Blocks != 6 {
		t.Errorf("%d pieces in %d blocks, want 12 in 6", f.Evidence.N, f.Evidence.Blocks)
	}
	if *f.Verdict != answer.Matters {
		t.Errorf("verdict %q", *f.Verdict)
	}
}

// Sequential plans may stop early: the interval is the confidence sequence.
func TestSequentialPlanMayStopEarly(t *testing.T) {
	in := answer.Input{Study: plan(20), Seal: seal, Cooks: pairs([]float64{6, 6.5, 6.2, 6.4, 6.1, 6.3, 6.6, 6.2})}
	in.Study.Risk.Mode = "sequential"
	f := one(t, in)
	if *f.Verdict != answer.Matters {
		t.Errorf("verdict %q: %v", *f.Verdict, f.WhyNot)
	}
	if w := f.Evidence.Wide; w.High-w.Low <= 0 || f.Evidence.Level != 0.05 {
		t.Errorf("wide %+v at %v", w, f.Evidence.Level)
	}
}

func TestAfterBlockKeepsTheFirstBlocks(t *testing.T) {
	in := answer.Input{Study: plan(8), Seal: seal, Cooks: pairs([]float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4}), AfterBlock: 5}
	if f := one(t, in); f.Evidence.Blocks != 5 {
		t.Errorf("%d blocks", f.Evidence.Blocks)
	}
}

// The published cake experiment, batches as units: breakage angles averaged
// over six temperatures, three recipes in fifteen blocks. Values: R 4.2.2,
// lm(angle ~ factor(replicate) + recipe) on the batch means. Data: Cook
// (1938), in Cochran & Cox (1957) p. 300.
func TestCakeRecipesAgainstR(t *testing.T) {
	f, err := os.Open("../examples/cake/cake.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	values := map[[2]string][]float64{}
	var keys [][2]string
	for _, r := range rows[1:] {
		k := [2]string{r[0], r[1]}
		if values[k] == nil {
			keys = append(keys, k)
		}
		x, _ := strconv.ParseFloat(r[3], 64)
		values[k] = append(values[k], x)
	}
	s := plan(15)
	s.Questions[0].Compare = study.Contrast{Treatment: "B", Against: "A"}
	q := s.Questions[0]
	q.ID, q.Compare.Treatment = "c", "C"
	s.Questions = append(s.Questions, q)
	var cooks []answer.CookResult
	for _, k := range keys {
		c := study.Cook{Label: k[0] + k[1], Block: k[0], Treatment: k[1], Role: study.Planned,
			Readings: []study.Reading{{Response: "y", Kind: study.Number, Values: values[k]}}}
		res, err := measure.Cook(measure.Input{Cook: c}, "y")
		if err != nil {
			t.Fatal(err)
		}
		cooks = append(cooks, answer.CookResult{Cook: c, Result: res})
	}
	a, err := answer.Study(answer.Input{Study: s, Cooks: cooks})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ est, se, df float64 }{
		{-1.47777777778, 0.975276381937, 28},
		{-1.52222222222, 0.975276381937, 28},
	} {
		e := a.Findings[i].Evidence
		near := func(got, want float64) bool { return math.Abs(got-want) < 1e-6*math.Abs(want) }
		if !near(e.Estimate, want.est) || !near(e.SE, want.se) || !near(e.DF, want.df) {
			t.Errorf("%s: estimate %.11f se %.11f df %v, want %+v", a.Findings[i].Treatment, e.Estimate, e.SE, e.DF, want)
		}
		if a.Findings[i].Verdict != nil {
			t.Error("an unsealed study has no verdict")
		}
	}
}

package answer_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"trivet/answer"
	"trivet/measure"
	"trivet/quantity"
	"trivet/study"
)

// withOthers is a study on even_share whose eight blocks differ by own; by
// other definitions they differ by what is given.
func withOthers(own []float64, others map[string][]float64) answer.Input {
	in := answer.Input{Study: plan(len(own)), Seal: seal, Cooks: pairs(own)}
	in.Study.Questions[0].Response = "even_share"
	for i := range in.Cooks {
		r := in.Cooks[i].Result
		r.Responses[0].Name = "even_share"
		for id, d := range others {
			o := measure.Other{Response: "even_share", Definition: id, Value: 50 + float64(i/2)}
			if i%2 == 1 {
				o.Value += d[i/2]
			}
			if math.IsNaN(d[i/2]) {
				o = measure.Other{Response: "even_share", Definition: id, Why: "it was not recorded"}
			}
			r.Others = append(r.Others, o)
		}
	}
	return in
}

func TestOtherDefinitionsOfAResponse(t *testing.T) {
	// By hand: eight differences of mean m, four of them one below and four
	// one above, have SD √(8/7) = 1.0690 and SE 0.37796; with t(0.975, 7) =
	// 2.3646 the interval reaches 0.8937 to either side (the quantile as in
	// any table of Student's t, e.g. NIST/SEMATECH e-Handbook, 1.3.6.7.2).
	// Three of 4, 5 and 6 have SE 0.57735 and t(0.975, 2) = 4.3027.
	about := func(m float64) []float64 { return []float64{m - 1, m - 1, m - 1, m - 1, m + 1, m + 1, m + 1, m + 1} }
	nan := math.NaN()
	in := withOthers(about(5), map[string][]float64{
		"within-3-k": about(4),
		"within-8-k": about(1),
		"sensors":    {nan, nan, nan, nan, nan, 4, 5, 6},
		"at-serving": {nan, nan, nan, nan, nan, nan, nan, nan},
	})
	f := one(t, in)
	if f.Verdict == nil || *f.Verdict != answer.Matters {
		t.Fatalf("verdict %v", f.Verdict)
	}
	w := answer.Words{Study: in.Study}
	for i, want := range []struct {
		id       string
		estimate float64
		low      float64
		raw      answer.Verdict
		same     bool
		missing  int
		says     string
	}{
		{"within-3-k", 4, 3.1063, answer.Matters, true, 0,
			"With the share within 3 K instead of 5 K: 4.00 points higher (95 %: 3.11 to 4.89 points higher); the verdict stays"},
		{"within-8-k", 1, 0.1063, answer.TooSmall, false, 0,
			"With the share within 8 K instead of 5 K: 1.00 points higher (95 %: 0.11 to 1.89 points higher); the verdict would be “differs, by less than matters”"},
		{"sensors", 5, 2.5159, "", false, 10, "too few blocks for a verdict"},
		{"at-serving", nan, nan, "", false, 16, "nothing to compare, 16 cooks cannot be read so (it was not recorded)"},
	} {
		got := f.Evidence.Others[i]
		if got.Definition != want.id || got.Raw != want.raw || got.Same != want.same || got.Missing != want.missing {
			t.Errorf("%s: %+v", want.id, got)
		}
		if !math.IsNaN(want.estimate) && (math.Abs(*got.Estimate-want.estimate) > 1e-9 || math.Abs(got.Wide.Low-want.low) > 1e-4) {
			t.Errorf("%s: %v from %v, want %v from %v", want.id, *got.Estimate, got.Wide.Low, want.estimate, want.low)
		}
		if says := w.Redefined(f, got); !strings.Contains(says, want.says) {
			t.Errorf("%s says %q, want %q", want.id, says, want.says)
		}
	}
	if n := len(f.Evidence.Compared()); n != 3 {
		t.Errorf("%d definitions compared, want 3", n)
	}
}

func TestOtherDefinitionsChangeNoVerdict(t *testing.T) {
	turned := []float64{-9, -9, -8, -8, -9, -9, -8, -8}
	for _, own := range [][]float64{
		{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4}, {.3, -.4, .5, -.2, .1, -.3, .2, -.1}, {4, -1, 5, 0, 3, -2, 6, 1},
	} {
		plain := one(t, withOthers(own, nil))
		with := one(t, withOthers(own, map[string][]float64{"within-3-k": turned}))
		if len(with.Evidence.Others) != 1 || with.Evidence.Others[0].Raw != answer.Opposite {
			t.Fatalf("others %+v", with.Evidence.Others)
		}
		with.Evidence.Others = nil
		a, _ := json.Marshal(plain)
		b, _ := json.Marshal(with)
		if string(a) != string(b) {
			t.Errorf("the finding is another one:\n%s\n%s", a, b)
		}
	}
}

// A ratio margin compares logarithms, by other definitions too, and what has
// none is left out with its reason.
func TestOtherDefinitionsOfARatio(t *testing.T) {
	in := withOthers([]float64{8, 8, 8.1, 8.1, 7.9, 7.9, 8, 8}, map[string][]float64{"within-3-k": {-50, 40, 40, 40, 40, 40, 40, 40}})
	in.Study.Questions[0].Margin = quantity.Margin{MarginKind: quantity.MarginRatio, Value: 0.1, Text: "10 %"}
	f := one(t, in)
	o := f.Evidence.Others[0]
	if o.Missing != 1 || !strings.Contains(o.Why, "logarithms") {
		t.Fatalf("%+v", o)
	}
	// The mean of ln((50+i+40)/(50+i)), i = 1…7.
	want := 0.0
	for i := 1.0; i <= 7; i++ {
		want += math.Log((90+i)/(50+i)) / 7
	}
	if math.Abs(*o.Estimate-want) > 1e-3 {
		t.Errorf("estimate %v, want %v", *o.Estimate, want)
	}
	if o.Raw != answer.Matters || f.Claim != study.Higher {
		t.Errorf("raw %q", o.Raw)
	}
}

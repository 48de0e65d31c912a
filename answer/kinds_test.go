package answer_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"trivet/answer"
	"trivet/fault"
	"trivet/quantity"
	"trivet/stats"
	"trivet/study"
)

// ofKind turns the pairs of a study into another kind of response: control
// and treatment values by block.
func ofKind(kind study.ReadingKind, control, treatment []float64) []answer.CookResult {
	cooks := pairs(make([]float64, len(control)))
	for i := range cooks {
		b := i / 2
		r := &cooks[i].Result.Responses[0]
		r.Kind, r.Unit, r.StdU, r.ResolutionStep = kind, "", 0, 0
		if cooks[i].Cook.Treatment == "a" {
			r.Value = control[b]
		} else {
			r.Value = treatment[b]
		}
	}
	return cooks
}

func repeat(x float64, n int) []float64 { return slices.Repeat([]float64{x}, n) }

// Responses of other kinds end with the same codes, on the margin of their
// scale: points of a share, grades, counts.
func TestOtherKindsAreAnswered(t *testing.T) {
	points := quantity.Margin{MarginKind: quantity.MarginPoints, Value: 20, Text: "20 points"}
	grade := quantity.Margin{MarginKind: quantity.MarginAmount, Value: 1, Text: "1"}
	for _, tc := range []struct {
		name               string
		kind               study.ReadingKind
		margin             quantity.Margin
		control, treatment []float64
		want               answer.Verdict
		unit               string
	}{
		{"all yes against all no", study.YesNo, points, repeat(0, 20), repeat(1, 20), answer.Matters, "%"},
		{"the same answers", study.YesNo, points, repeat(1, 30), repeat(1, 30), answer.NoDifference, "%"},
		{"a few yes", study.YesNo, points, repeat(0, 8), []float64{1, 1, 0, 0, 0, 0, 0, 0}, answer.Unsettled, "%"},
		{"two grades up", study.Grade, grade, []float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2}, []float64{3, 4, 3, 4, 4, 4, 3, 4, 3, 4}, answer.Matters, "grades"},
		{"the same grades", study.Grade, grade, []float64{1, 2, 1, 2, 1, 2, 1, 2, 1, 2}, []float64{1, 2, 1, 2, 2, 2, 1, 2, 1, 1}, answer.NoDifference, "grades"},
		{"many more counted", study.Count, quantity.Margin{MarginKind: quantity.MarginRatio, Value: 0.5, Text: "50 %"},
			[]float64{20, 25, 22, 27, 24, 21, 23, 26}, []float64{60, 70, 66, 80, 71, 65, 70, 77}, answer.Matters, ""},
		{"counts by a number", study.Count, quantity.Margin{MarginKind: quantity.MarginAmount, Value: 10, Text: "10"},
			[]float64{20, 25, 22, 27, 24, 21, 23, 26}, []float64{60, 70, 66, 80, 71, 65, 70, 77}, answer.Matters, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := answer.Input{Study: plan(len(tc.control)), Seal: seal, Cooks: ofKind(tc.kind, tc.control, tc.treatment)}
			in.Study.Questions[0].Margin = tc.margin
			f := one(t, in)
			if f.Verdict == nil || *f.Verdict != tc.want {
				t.Fatalf("verdict %v, raw %q, why %v, notes %v, evidence %+v", f.Verdict, f.RawVerdict, f.WhyNot, f.Notes, f.Evidence)
			}
			if f.Unit != tc.unit || f.Sentence == "" || strings.Contains(f.Sentence, "NaN") || strings.Contains(f.Sentence, "Inf") {
				t.Errorf("unit %q; %s", f.Unit, f.Sentence)
			}
		})
	}
}

// With a yes-no response in pairs the interval is the published score
// interval: 20 pairs of which 7 changed one way and 1 the other.
func TestSharesAreReadInPoints(t *testing.T) {
	control := slices.Concat(repeat(0, 7), repeat(1, 1), repeat(1, 12))
	treatment := slices.Concat(repeat(1, 7), repeat(0, 1), repeat(1, 12))
	in := answer.Input{Study: plan(20), Seal: seal, Cooks: ofKind(study.YesNo, control, treatment)}
	in.Study.Questions[0].Margin = quantity.Margin{MarginKind: quantity.MarginPoints, Value: 20, Text: "20 points"}
	f := one(t, in)
	if math.Abs(f.Evidence.Estimate-30) > 1e-9 {
		t.Errorf("estimate %v points, want 30", f.Evidence.Estimate)
	}
	// Exact McNemar: 2·P(X ≤ 1), X ~ Binomial(8, ½) = 2·9/256.
	if math.Abs(f.Evidence.PValue-18.0/256) > 1e-12 {
		t.Errorf("p %v, want %v", f.Evidence.PValue, 18.0/256)
	}
}

// A group-sequential plan is read at its looks only: what comes after one
// waits for the next.
func TestGroupSequentialPlanIsReadAtItsLooks(t *testing.T) {
	d := []float64{6, 6.5, 6.2, 6.4, 6.1, 6.3, 6.6, 6.2, 6.0, 6.4}
	in := answer.Input{Study: plan(20), Seal: seal, Cooks: pairs(d)}
	in.Study.Risk = study.Risk{Alpha: 0.05, Power: 0.8, Mode: "group-sequential", Looks: []int{8, 14, 20}, Spending: "pocock"}
	a, err := answer.Study(in)
	if err != nil {
		t.Fatal(err)
	}
	f := a.Findings[0]
	if f.Verdict == nil || *f.Verdict != answer.Matters || f.Evidence.Blocks != 8 {
		t.Fatalf("verdict %v on %d blocks; %v", f.Verdict, f.Evidence.Blocks, f.WhyNot)
	}
	if a.Next.Action != "stop" {
		t.Errorf("next: %+v", a.Next)
	}
	// The interval at the look is a t interval at the level that is spent there.
	l, err := stats.GroupSequential(stats.SpendEvenly, 0.05, []float64{0.4, 0.7, 1})
	if err != nil {
		t.Fatal(err)
	}
	want := stats.Contrast{Estimate: f.Evidence.Estimate, SE: f.Evidence.SE, DF: 7}.Interval(1 - l.Nominal[0])
	if math.Abs(f.Evidence.Wide.Low-want.Low) > 1e-12 {
		t.Errorf("interval from %v, want %v", f.Evidence.Wide.Low, want.Low)
	}
	// Before the first look there is none.
	in.Cooks = pairs(d[:6])
	f = one(t, in)
	if f.Verdict == nil || *f.Verdict != answer.Unsettled || !math.IsInf(f.Evidence.Wide.High, 1) {
		t.Errorf("before the first look: %v, %+v", f.Verdict, f.Evidence.Wide)
	}
	if strings.Contains(f.Sentence, "Inf") {
		t.Errorf("sentence %q", f.Sentence)
	}
}

// Thickness drives the response and differs between the pieces of a pair;
// the sealed covariate takes it out.
func TestSealedCovariatesAdjustTheDifference(t *testing.T) {
	n := 16
	in := answer.Input{Study: plan(n), Seal: seal, Cooks: pairs(make([]float64, n))}
	in.Study.Questions[0].Covariates = []string{"thickness"}
	s := stats.NewStream("covariate", "test", 0)
	for i := range in.Cooks {
		c := &in.Cooks[i]
		c.Cook.Piece = fmt.Sprint("p", i)
		thick := 0.030 + 0.001*s.Normal()
		in.Study.Pieces = append(in.Study.Pieces, study.Piece{Label: c.Cook.Piece, ThicknessM: []float64{thick}})
		c.Result.Responses[0].Value += 2000*(thick-0.030) + 0.1*s.Normal()
		if c.Cook.Treatment == "b" {
			c.Result.Responses[0].Value += 3
		}
	}
	f := one(t, in)
	if f.Evidence == nil || f.Evidence.Unadjusted == nil {
		t.Fatalf("no unadjusted estimate: %v %v", f.WhyNot, f.Notes)
	}
	if math.Abs(f.Evidence.Estimate-3) > 0.2 || f.Evidence.SE > 0.2 {
		t.Errorf("adjusted %v ± %v, want 3", f.Evidence.Estimate, f.Evidence.SE)
	}
	in.Study.Pieces[3].ThicknessM = nil
	f = one(t, in)
	if f.Evidence.Unadjusted != nil || !has(f, "covariate-missing") {
		t.Errorf("a missing thickness goes unsaid: %v", f.Notes)
	}
}

func has(f *answer.Finding, code string) bool {
	for _, n := range f.Notes {
		if string(n.Code) == code {
			return true
		}
	}
	return false
}

// Each pitfall prints its plain sentence.
func TestPitfallsAreSaid(t *testing.T) {
	eight := []float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4}
	for _, tc := range []struct {
		code   string
		change func(*answer.Input)
		says   string
	}{
		{"pieces-not-readings", func(in *answer.Input) {
			for _, c := range in.Cooks {
				c.Result.Responses[0].Repeats = 6
			}
		}, "these 96 readings come from 16 pieces; the test counts 16, not 96"},
		{"leans-on-normal", func(in *answer.Input) { in.Cooks = in.Cooks[:10] }, "with 5 pairs no order-free test can reach 5 %"},
		{"always-first", func(in *answer.Input) {
			for i := range in.Cooks {
				in.Cooks[i].Cook.Order = i + 1
			}
		}, "a was cooked first in every block"},
		{"order-drift", func(in *answer.Input) {
			for i := range in.Cooks {
				if i%4 == 1 || i%4 == 2 { // cooked second
					in.Cooks[i].Result.Responses[0].Value += 8
				}
			}
		}, "pieces cooked second"},
		{"not-blind", func(in *answer.Input) {
			in.Study.Readings = []study.ReadingDef{{ID: "y", Kind: study.Number, Unit: "%"}}
		}, "knew the treatment; treat as provisional"},
		{"two-things", func(in *answer.Input) {
			in.Study.Treatments[0].Set = map[string]string{"salt": "none", "resting_time": "0 min"}
			in.Study.Treatments[1].Set = map[string]string{"salt": "1 %", "resting_time": "5 min"}
		}, "resting time and salt differed; this study tests them together"},
		{"imbalance", func(in *answer.Input) { thicknesses(in, 0.002) }, "mm thicker on average"},
		{"one-day", func(in *answer.Input) {
			for i := range in.Cooks {
				in.Cooks[i].Cook.Day = "2026-03-01"
			}
		}, "other days are untested"},
		{"one-lot", func(in *answer.Input) {
			thicknesses(in, 0)
			for i := range in.Study.Pieces {
				in.Study.Pieces[i].Lot = "farm-a"
			}
		}, "all pieces came from one lot (farm-a)"},
		{"dropped", func(in *answer.Input) { in.Cooks = in.Cooks[:15] }, "1 of 8 blocks lack one of the two pieces"},
		{"repeated-some", func(in *answer.Input) { in.Cooks = append(in.Cooks, in.Cooks[3]) }, "block 01 was cooked again and others were not"},
		{"measurement-large", func(in *answer.Input) {
			in.Cooks = pairs([]float64{1, 5, 2, 5.5, 4.2, 8, 9, 4.4}) // a scatter that leaves room for it
			for _, c := range in.Cooks {
				c.Result.Responses[0].StdU = 1.2
			}
		}, "as much as the margin"},
		{"measurement-shared", func(in *answer.Input) {
			for _, c := range in.Cooks {
				c.Result.Responses[0].StdU = 5
			}
		}, "cancels in the difference"},
	} {
		t.Run(tc.code, func(t *testing.T) {
			in := answer.Input{Study: plan(8), Seal: seal, Cooks: pairs(eight)}
			for _, n := range one(t, in).Notes { // the sound study says nothing of the kind
				if string(n.Code) == tc.code {
					t.Errorf("said without cause: %s", n.Text)
				}
			}
			in.Cooks = pairs(eight)
			tc.change(&in)
			f := one(t, in)
			for _, n := range f.Notes {
				if string(n.Code) == tc.code {
					if !strings.Contains(n.Text, tc.says) {
						t.Errorf("says %q, want %q", n.Text, tc.says)
					}
					return
				}
			}
			t.Errorf("nothing is said: %v", f.Notes)
		})
	}
}

// thicknesses gives every cook a piece; those of treatment b are thicker.
func thicknesses(in *answer.Input, more float64) {
	for i := range in.Cooks {
		c := &in.Cooks[i]
		c.Cook.Piece = fmt.Sprint("p", i)
		t := 0.030 + 0.0001*float64(i%3)*more/0.002
		if c.Cook.Treatment == "b" {
			t = 0.030 + more
		}
		in.Study.Pieces = append(in.Study.Pieces, study.Piece{Label: c.Cook.Piece, ThicknessM: []float64{t}})
	}
}

// Readings that no question asks about are exploratory.
func TestBestOfManyResponsesIsSaid(t *testing.T) {
	in := answer.Input{Study: plan(6), Seal: seal, Cooks: pairs([]float64{4, 5, 4.5, 5.5, 4.2, 4.8})}
	in.Study.Readings = []study.ReadingDef{{ID: "x"}, {ID: "z"}}
	a, err := answer.Study(in)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(a.Notes, func(n fault.Note) bool { return n.Code == "exploratory" && strings.Contains(n.Text, "x, z") }) {
		t.Errorf("notes %v", a.Notes)
	}
}

// The scatter of the invented pairs: blocks differ by far more than pieces.
func TestComponentsAddUp(t *testing.T) {
	f := one(t, answer.Input{Study: plan(8), Seal: seal, Cooks: pairs([]float64{4, 5, 4.5, 5.5, 4.2, 4.8, 5.1, 4.4})})
	sum, names := 0.0, []string{}
	for _, c := range f.Evidence.Components {
		sum += c.Share
		names = append(names, c.Name)
	}
	if math.Abs(sum-1) > 1e-12 || !slices.Equal(names, []string{"block", "piece", "measurement"}) {
		t.Errorf("%v sum to %v", names, sum)
	}
	if b := f.Evidence.Components[0]; b.Share < 0.8 {
		t.Errorf("blocks make up %v", b.Share)
	}
	if m := f.Evidence.Components[2]; math.Abs(m.Variance-0.01) > 1e-12 { // u = 0.1
		t.Errorf("measurement variance %v", m.Variance)
	}
}

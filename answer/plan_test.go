package answer

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/measure"
	"trivet/quantity"
	"trivet/stats"
	"trivet/study"
)

func planned(blocks int) (*study.Study, *study.Question) {
	s := &study.Study{ID: "s", Risk: study.Risk{Alpha: 0.05, Power: 0.8, Mode: "fixed"}, Blocks: study.Blocks{Count: blocks, Pieces: 2},
		Treatments: []study.Treatment{{ID: "a", Control: true}, {ID: "b"}}, Design: study.Design{Seed: "1"},
		Questions: []study.Question{{ID: "q", Response: "cooking_loss", Claim: study.Lower, Compare: study.Contrast{Treatment: "b", Against: "a"},
			Margin: quantity.Margin{MarginKind: quantity.MarginPoints, Value: 1, Text: "1 point"}}}}
	return s, &s.Questions[0]
}

// With σ of a difference at 1 and one question the needs are the standard
// sizes (R 4.2.2 and exact integration; stats/testdata/power_reference.csv):
// 10 pairs for a difference of 1, 13 for equivalence at δ/4, 34 and 10 beyond
// the margin by 0.5 and 1.
func TestNeedsOfAPlan(t *testing.T) {
	s, q := planned(10)
	p, err := PlanQuestion(s, q, Spread{SD: 1, Source: "stated"})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int{10, 13, 34, 10} {
		if p.Needs[i].Blocks != want {
			t.Errorf("%s: %d blocks, want %d", p.Needs[i].Aim, p.Needs[i].Blocks, want)
		}
	}
	if p.Says[0] != "With 10 blocks you would miss a difference of 1 point 2 times in 10." {
		t.Errorf("says %q", p.Says[0])
	}
	// Two questions share the error rate.
	s.Questions = append(s.Questions, s.Questions[0])
	two, _ := PlanQuestion(s, &s.Questions[0], Spread{SD: 1})
	if two.Level != 0.025 || two.Needs[0].Blocks <= 10 {
		t.Errorf("level %v, %d blocks", two.Level, two.Needs[0].Blocks)
	}
}

// The chances of the codes are all there is, whatever the plan.
func TestChancesAddUpToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, q := planned(rapid.IntRange(2, 60).Draw(t, "blocks"))
		q.Claim = rapid.SampledFrom([]study.Direction{study.Higher, study.Lower, study.Either}).Draw(t, "claim")
		p, err := PlanQuestion(s, q, Spread{SD: rapid.Float64Range(0.2, 5).Draw(t, "sd")})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range p.Effects {
			c := e.Codes
			sum := c.Settled() + c.Unsettled + c.None
			if math.Abs(sum-1) > 1e-9 || math.Min(math.Min(c.Matters, c.TooSmall), c.NoDifference) < 0 {
				t.Fatalf("%s: %+v sums to %v", e.Label, c, sum)
			}
			if s.Blocks.Count < 6 && c.TooSmall+c.NoDifference > 0 {
				t.Fatalf("%d blocks show an absence", s.Blocks.Count)
			}
			if s.Blocks.Count < 4 && c.None != 1 {
				t.Fatalf("%d blocks give a verdict", s.Blocks.Count)
			}
		}
	})
}

func TestAPlanThatCannotSettleSaysSo(t *testing.T) {
	s, q := planned(6)
	p, err := PlanQuestion(s, q, Spread{SD: 4})
	if err != nil {
		t.Fatal(err)
	}
	if p.Settles >= DoubtfulChance || len(p.Notes) == 0 || p.Notes[0].Code != "cannot-settle" {
		t.Errorf("settles %v, notes %v", p.Settles, p.Notes)
	}
	q.Margin.Value = 0
	if _, err := PlanQuestion(s, q, Spread{SD: 4}); err == nil {
		t.Error("no margin, no complaint")
	}
}

// One look that may be taken at the end only is the fixed plan: simulated and
// exact chances agree within four standard errors.
func TestOneLookIsTheFixedPlan(t *testing.T) {
	s, q := planned(12)
	exact, err := PlanQuestion(s, q, Spread{SD: 1})
	if err != nil {
		t.Fatal(err)
	}
	s.Risk.Mode, s.Risk.Looks, s.Risk.Spending = "group-sequential", []int{12}, "pocock"
	simulated, err := PlanQuestion(s, q, Spread{SD: 1})
	if err != nil {
		t.Fatal(err)
	}
	for i := range exact.Effects {
		a, b := exact.Effects[i].Codes, simulated.Effects[i].Codes
		for _, x := range [][2]float64{{a.Matters, b.Matters}, {a.NoDifference, b.NoDifference}, {a.Unsettled, b.Unsettled}} {
			if math.Abs(x[0]-x[1]) > 4*math.Sqrt(x[0]*(1-x[0])/planSimulations)+1e-3 {
				t.Errorf("%s: exact %+v, simulated %+v", exact.Effects[i].Label, a, b)
			}
		}
		if simulated.Effects[i].Blocks > 12 {
			t.Errorf("%v blocks expected of 12", simulated.Effects[i].Blocks)
		}
	}
}

// Looking any time saves blocks where the difference is large.
func TestSequentialPlansExpectFewerBlocks(t *testing.T) {
	s, q := planned(40)
	s.Risk.Mode = "sequential"
	p, err := PlanQuestion(s, q, Spread{SD: 0.7})
	if err != nil {
		t.Fatal(err)
	}
	if last := p.Effects[5]; !(last.Blocks < 25 && last.Codes.Matters > 0.9) {
		t.Errorf("2 δ: %+v", last)
	}
}

// A pilot's SD comes with its degrees of freedom, and chances fall with them.
func TestPilotSpread(t *testing.T) {
	_, q := planned(10)
	var cooks []CookResult
	d := []float64{1, 2, 4, 3}
	for i, x := range d {
		for _, tr := range []string{"a", "b"} {
			y := 20.0 + float64(i)
			if tr == "b" {
				y += x
			}
			cooks = append(cooks, CookResult{Cook: study.Cook{Block: string(rune('A' + i)), Treatment: tr, Role: study.Pilot},
				Result: &measure.Result{Responses: []measure.Response{{Name: "cooking_loss", Unit: "%", Kind: study.Number, Value: y}}}})
		}
	}
	pilot := func(c study.Cook) bool { return c.Role == study.Pilot }
	sp, err := PilotSpread(cooks, q, "a pilot", pilot)
	if err != nil || math.Abs(sp.SD-stats.SD(d)) > 1e-12 || sp.DF != 3 {
		t.Fatalf("%+v %v", sp, err)
	}
	s, q := planned(12)
	sure, _ := PlanQuestion(s, q, Spread{SD: 0.8})
	unsure, _ := PlanQuestion(s, q, Spread{SD: 0.8, DF: 3})
	if !(unsure.Effects[5].Codes.Matters < sure.Effects[5].Codes.Matters-0.05) {
		t.Errorf("stated %v, from a pilot %v", sure.Effects[5].Codes.Matters, unsure.Effects[5].Codes.Matters)
	}
	if _, err := PilotSpread(cooks[:4], q, "a pilot", pilot); err == nil || !strings.Contains(err.Error(), "too few") {
		t.Errorf("two pairs: %v", err)
	}
	for i := range cooks { // every difference the same
		cooks[i].Result.Responses[0].Value = 20
	}
	if _, err := PilotSpread(cooks, q, "a pilot", pilot); err == nil || !strings.Contains(err.Error(), "equal") {
		t.Errorf("a flat pilot: %v", err)
	}
}

// The power curve of 60 blocks (target: 50 ms).
func BenchmarkPlanCurve(b *testing.B) {
	s, q := planned(12)
	p, err := PlanQuestion(s, q, Spread{SD: 1})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		p.Curve(60)
	}
}

// Every table of pairs has its probability, and the codes are those that the
// answer itself gives: a simulation of pairs through the same interval agrees.
func TestChancesOfSharesAreExact(t *testing.T) {
	for _, tc := range []struct{ p, c float64 }{{0.5, 0.5}, {0.9, 0.3}, {1, 0.5}} {
		x := shareChances(20, tc.p, tc.c, 20, 0.05, study.Higher)
		if sum := x.Settled() + x.Unsettled; math.Abs(sum-1) > 1e-9 {
			t.Errorf("%+v sums to %v", x, sum)
		}
		matters, runs := 0.0, 4000
		for run := range runs {
			s := stats.NewStream("shares", "pairs", uint64(run))
			y := stats.YesNoContrast{Paired: true, Pairs: 20}
			for range 20 {
				a, b := s.Float64() < tc.p, s.Float64() < tc.c
				if a && !b {
					y.TreatmentOnly++
				} else if b && !a {
					y.ControlOnly++
				}
			}
			if y.Interval(0.95).Low >= 0.2 {
				matters++
			}
		}
		if got := matters / float64(runs); math.Abs(got-x.Matters) > 4*math.Sqrt(x.Matters*(1-x.Matters)/float64(runs))+1e-3 {
			t.Errorf("p %v, c %v: matters simulated %v, exact %v", tc.p, tc.c, got, x.Matters)
		}
	}
}

func TestPlanOfAYesNoQuestion(t *testing.T) {
	s, q := planned(24)
	q.Claim, q.Margin = study.Higher, quantity.Margin{MarginKind: quantity.MarginPoints, Value: 20, Text: "20 points"}
	p, err := PlanShares(s, q, 0.3)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Effects) != 6 || len(p.Needs) != 2 || p.Effects[5].Codes.Matters < p.Effects[3].Codes.Matters {
		t.Errorf("%+v", p)
	}
	high, err := PlanShares(s, q, 0.8)
	if err != nil || len(high.Effects) != 4 { // 0.8 leaves room for 20 points
		t.Errorf("%d effects, %v", len(high.Effects), err)
	}
	if _, err := PlanShares(s, q, 0); err == nil {
		t.Error("a baseline of 0 is taken")
	}
}

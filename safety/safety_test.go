package safety_test

import (
	"slices"
	"strings"
	"testing"

	"trivet/safety"
)

func codes(cs []safety.Caution) []string {
	var out []string
	for _, c := range cs {
		out = append(out, c.Code)
	}
	return out
}

func TestCautionsAreShownWhereTheirTriggerHolds(t *testing.T) {
	for _, tc := range []struct {
		name      string
		facts     safety.Facts
		want, not []string
	}{
		{"chops eaten, core below the chart", safety.Facts{Animal: "pork", Form: "intact", Eaten: true, Judged: safety.NotReached},
			[]string{"undercooked", "raw-and-cooked", "local-rules"}, []string{"hot-fat", "allergens"}},
		{"an unknown core counts as doubtful", safety.Facts{Animal: "beef", Eaten: true}, []string{"undercooked"}, nil},
		{"core at the chart", safety.Facts{Animal: "pork", Eaten: true, Judged: safety.Reached}, []string{"raw-and-cooked"}, []string{"undercooked"}},
		{"nobody eats it", safety.Facts{Animal: "pork"}, []string{"raw-and-cooked"}, []string{"undercooked", "allergens"}},
		{"butter spooned", safety.Facts{Animal: "beef", Fat: "butter"}, []string{"hot-fat"}, nil},
		{"a tasting", safety.Facts{Animal: "none", Eaten: true, Tasting: true}, []string{"allergens", "consent"}, []string{"undercooked", "raw-and-cooked"}},
		{"probed and eaten", safety.Facts{Animal: "beef", Eaten: true, Probed: true}, []string{"probed-piece"}, nil},
		{"held warm", safety.Facts{Animal: "beef", Held: true}, []string{"warm-holding"}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got := codes(safety.Cautions(tc.facts))
			for _, w := range tc.want {
				if !slices.Contains(got, w) {
					t.Errorf("caution %q missing from %v", w, got)
				}
			}
			for _, n := range tc.not {
				if slices.Contains(got, n) {
					t.Errorf("caution %q shown without its trigger", n)
				}
			}
		})
	}
}

// "none" is the answer of somebody who looked; it is no allergen, and eaters
// are asked all the same.
func TestAllergensThatWereFoundAbsent(t *testing.T) {
	for _, tc := range []struct {
		declared []string
		says     string
	}{
		{[]string{"none"}, "Ask every eater"},
		{[]string{"milk", "egg"}, "This food contains or may contain milk, egg. Ask every eater"},
	} {
		i := 0
		for _, c := range safety.Cautions(safety.Facts{Eaten: true, Allergens: tc.declared}) {
			if c.Code == "allergens" {
				i++
				if !strings.HasPrefix(c.Text, tc.says) {
					t.Errorf("%v: %s", tc.declared, c.Text)
				}
			}
		}
		if i != 1 {
			t.Errorf("%v: %d cautions", tc.declared, i)
		}
	}
}

func TestNoCautionCallsFoodSafe(t *testing.T) {
	all := safety.Facts{Animal: "chicken", Form: "stuffed", Eaten: true, Tasting: true, Probed: true, Fat: "butter",
		HotFat: true, Allergens: []string{"milk"}, Setting: safety.Public, Held: true}
	for _, judged := range []safety.State{safety.Reached, safety.NotReached, safety.CannotTell} {
		all.Judged = judged
		for _, c := range safety.Cautions(all) {
			for _, word := range []string{" safe", "pasteuris", "compliant", "approved"} {
				if strings.Contains(strings.ToLower(" "+c.Title+" "+c.Text+" "+c.Source), word) {
					t.Errorf("%s uses %q: %s", c.Code, word, c.Text)
				}
			}
			if c.Source == "" || len(c.Where) == 0 {
				t.Errorf("%s has no source or no place", c.Code)
			}
		}
	}
}

// Figures: USDA FSIS, Safe Minimum Internal Temperature Chart (page of April
// 2025, read in transcription).
func TestConsumerMinimumFollowsTheChart(t *testing.T) {
	for _, tc := range []struct {
		animal, form string
		wantF, restS float64
	}{
		{"beef", "intact", 145, 180}, {"pork", "", 145, 180}, {"lamb", "intact", 145, 180},
		{"beef", "ground", 160, 0}, {"pork", "tenderised", 160, 0},
		{"chicken", "intact", 165, 0}, {"turkey", "ground", 165, 0}, {"beef", "stuffed", 165, 0},
		{"egg", "", 160, 0}, {"fish", "", 145, 0},
	} {
		m, ok := safety.ConsumerMinimum(tc.animal, tc.form)
		if !ok || m.TempF != tc.wantF || m.RestS != tc.restS {
			t.Errorf("%s %s: got %+v %v, want %v °F", tc.animal, tc.form, m, ok, tc.wantF)
		}
	}
	if _, ok := safety.ConsumerMinimum("tofu", ""); ok {
		t.Error("tofu is not on the chart")
	}
}

func TestJudgeNeedsKnowledgeToSayReached(t *testing.T) {
	m, _ := safety.ConsumerMinimum("pork", "intact") // 62.78 °C
	for _, tc := range []struct {
		name   string
		peak   float64
		u      float64
		known  bool
		expect safety.State
	}{
		{"well above", 65, 1, true, safety.Reached},
		{"above, within its uncertainty", 63, 1, true, safety.CannotTell},
		{"above, but the coldest point is unknown", 70, 1, false, safety.CannotTell},
		{"below", 58, 1, true, safety.NotReached},
		{"below even with an unknown coldest point", 58, 1, false, safety.NotReached},
	} {
		if got := safety.Judge(m, tc.peak, tc.u, tc.known); got != tc.expect {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.expect)
		}
	}
}

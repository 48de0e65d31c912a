package answer

import (
	"testing"

	"pgregory.net/rapid"

	"trivet/study"
)

// The rules of three-sided testing, one line a case: Goeman, Solari &
// Stijnen, Statistics in Medicine 29:2117 (2010), with the margin 2.
func TestJudgeNamesTheVerdict(t *testing.T) {
	for _, tc := range []struct {
		name         string
		wide, narrow Interval
		claim        study.Direction
		want         Verdict
	}{
		{"wholly beyond, as claimed", Interval{2.5, 6}, Interval{3, 5}, study.Higher, Matters},
		{"touching the margin is beyond", Interval{2, 6}, Interval{2.4, 5.6}, study.Higher, Matters},
		{"wholly beyond the other way", Interval{-6, -2.5}, Interval{-5, -3}, study.Higher, Opposite},
		{"a claim of lower mirrors it", Interval{-6, -2.5}, Interval{-5, -3}, study.Lower, Matters},
		{"either way matters", Interval{-6, -2.5}, Interval{-5, -3}, study.Either, Matters},
		{"inside and not zero", Interval{0.2, 1.9}, Interval{0.4, 1.7}, study.Higher, TooSmall},
		{"inside and zero possible", Interval{-1, 1.5}, Interval{-0.8, 1.3}, study.Higher, NoDifference},
		{"touching the margin is not inside", Interval{-1, 2.3}, Interval{-0.8, 2}, study.Higher, Unsettled},
		{"only the wide interval leaves the margin", Interval{-1, 2.2}, Interval{-0.8, 1.9}, study.Higher, NoDifference},
		{"some increase, size open", Interval{0.5, 4}, Interval{0.8, 3.7}, study.Higher, Unsettled},
		{"all open", Interval{-5, 5}, Interval{-4, 4}, study.Higher, Unsettled},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := Judge(tc.wide, tc.narrow, 2, tc.claim); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

func TestJudgeIsSymmetricInTheSignOfTheClaim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		centre := rapid.Float64Range(-10, 10).Draw(t, "centre")
		half := rapid.Float64Range(0, 10).Draw(t, "half")
		margin := rapid.Float64Range(0.01, 5).Draw(t, "margin")
		wide := Interval{centre - half, centre + half}
		narrow := Interval{centre - 0.8*half, centre + 0.8*half}
		mirror := func(i Interval) Interval { return Interval{-i.High, -i.Low} }
		a := Judge(wide, narrow, margin, study.Higher)
		b := Judge(mirror(wide), mirror(narrow), margin, study.Lower)
		if a != b {
			t.Fatalf("%v claimed higher is %q, mirrored and claimed lower %q", wide, a, b)
		}
	})
}

func TestStepDownRaisesTheLevelAsQuestionsSettle(t *testing.T) {
	// Question 0 settles at any level, 1 needs 0.02, 2 never settles.
	needs := []float64{0, 0.02, 1}
	levels := stepDown(3, 3, 0.05, func(i int, a float64) bool { return a >= needs[i] })
	want := []float64{0.05 / 3, 0.05 / 2, 0.05}
	for i := range want {
		if levels[i] != want[i] {
			t.Errorf("question %d judged at %v, want %v", i, levels[i], want[i])
		}
	}
}

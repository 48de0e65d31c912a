package figure

import (
	"math"
	"strings"
	"testing"

	"trivet/tasting"
)

// Rows give the same numbers in the figure as in the scored result.
func TestFiguresOfATasting(t *testing.T) {
	var rows []tasting.Row
	for i, who := range []string{"1", "2", "3", "4", "5", "6"} {
		for k, p := range []string{"basted", "plain", "brined"} {
			for _, attribute := range []string{"salty", "firm"} {
				rows = append(rows, tasting.Row{Assessor: who, Product: p, Attribute: attribute, Value: float64(2 + (i*(k+1)+k*k+len(attribute))%6)})
			}
		}
	}
	salty := []tasting.Row{}
	for _, r := range rows {
		if r.Attribute == "salty" {
			r.Attribute = ""
			salty = append(salty, r)
		}
	}
	score := func(m tasting.TableMethod, rows []tasting.Row) *tasting.Scored {
		t.Helper()
		r, err := m.ScoreRows(rows, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		return &tasting.Scored{Report: r}
	}

	t.Run("rated: one for each attribute", func(t *testing.T) {
		figs := OfTasting(score(tasting.Rated{}, rows), Head{})
		if len(figs) != 2 || figs[0].Name != "salty" || figs[1].Name != "firm" {
			t.Fatalf("%d figures", len(figs))
		}
		f := figs[1].Figure.(Ratings)
		for k, p := range f.Products {
			sum := 0.0
			for _, a := range f.Assessors {
				sum += a.Scores[k]
			}
			// Balanced and whole: the marginal mean is the plain one.
			if got := sum / 6; math.Abs(got-p.Mean) > 1e-9 || !(p.Interval.Lo < p.Mean && p.Mean < p.Interval.Hi) {
				t.Errorf("%s: scores average %v, mean %v in %v", p.Name, got, p.Mean, p.Interval)
			}
		}
	})
	t.Run("rated: an assessor with a gap is drawn", func(t *testing.T) {
		f := OfTasting(score(tasting.Rated{}, salty[:len(salty)-1]), Head{})[0].Figure.(Ratings)
		if len(f.Assessors) != 6 {
			t.Errorf("%d assessors, want 6", len(f.Assessors))
		}
		if _, err := f.Scene(Phone, Light); err != nil {
			t.Error(err)
		}
	})
	t.Run("hedonic", func(t *testing.T) {
		f := OfTasting(score(tasting.Hedonic{}, salty), Head{})[0].Figure.(Ratings)
		if f.Lo != 1 || f.Hi != 9 || len(f.Assessors) != 6 || len(f.Products) != 3 {
			t.Errorf("%+v", f)
		}
	})
	t.Run("ranking", func(t *testing.T) {
		f := OfTasting(score(tasting.Ranking{}, salty), Head{})[0].Figure.(Ranks)
		for _, p := range f.Products {
			sum := 0.0
			for _, r := range p.Ranks {
				sum += r
			}
			if sum != p.Sum {
				t.Errorf("%s: ranks add to %v, rank sum %v", p.Name, sum, p.Sum)
			}
		}
		if f.LSD <= 0 {
			t.Error("no LSD")
		}
	})
	t.Run("all right: d′ has no upper limit and is not drawn", func(t *testing.T) {
		r, err := tasting.Score(tasting.Triangle{}, tasting.Count{N: 6, Correct: 6}, tasting.Rule{For: tasting.ForDifference, Alpha: 0.05})
		if err != nil {
			t.Fatal(err)
		}
		f := OfTasting(&tasting.Scored{Choice: r}, Head{})[0].Figure.(Chance)
		if _, err := f.Scene(Phone, Light); err != nil || finite(f.DPrime) {
			t.Error(err, f.DPrime)
		}
	})
	t.Run("triangle: two limits of 95 % are a 90 % interval", func(t *testing.T) {
		r, err := tasting.Score(tasting.Triangle{}, tasting.Count{N: 24, Correct: 13}, tasting.Rule{For: tasting.ForDifference, Alpha: 0.05})
		if err != nil {
			t.Fatal(err)
		}
		alt := OfTasting(&tasting.Scored{Choice: r}, Head{})[0].Figure.Alt()
		if !strings.Contains(alt, "d′ = ") || !strings.Contains(alt, "90\u00a0%:") {
			t.Error(alt)
		}
	})
	t.Run("no figure", func(t *testing.T) {
		if figs := OfTasting(&tasting.Scored{Report: &tasting.CommentResult{}}, Head{}); len(figs) != 0 {
			t.Errorf("%d figures of comments", len(figs))
		}
	})
}

func TestPathOfASequentialTest(t *testing.T) {
	q, err := tasting.NewSequential(tasting.Triangle{}, tasting.Goal{For: tasting.ForDifference, Alpha: 0.05, Beta: 0.1, Discriminators: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	right := make([]bool, 20)
	for i := range right {
		right[i] = true
	}
	step, n := q.Follow(right)
	f := OfSequential("triangle", q, &tasting.Choices{Count: tasting.Count{N: 20, Correct: 20}, Right: right}, Head{})
	if step != tasting.StopDiffer || f.At != n || f.Decision != "a difference" {
		t.Errorf("decision %q at %d, want a difference at %d", f.Decision, f.At, n)
	}
	if c := float64(f.At); c < f.Upper+f.Slope*c || c-1 >= f.Upper+f.Slope*(c-1) {
		t.Error("the decision is not where the path first crosses the upper line")
	}
}

// A point of the curve by hand: Φ((1 + 0)/1) = 0.841345 (standard normal
// tables).
func TestFittedCurve(t *testing.T) {
	f := SurenessCurve{Distance: 1, Spread: 1}
	if got := f.hit(0.5); math.Abs(got-0.841345) > 1e-6 {
		t.Errorf("got %v", got)
	}
}

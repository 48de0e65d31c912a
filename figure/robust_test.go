package figure

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"regexp"
	"testing"

	"pgregory.net/rapid"
)

// odd draws the numbers that data go wrong with.
func odd(t *rapid.T, label string) float64 {
	return rapid.OneOf(
		rapid.Float64Range(-50, 50),
		rapid.Float64Range(-1e12, 1e12),
		rapid.SampledFrom([]float64{0, 1e-300, 1e300, -1e300, math.MaxFloat64, math.NaN(), math.Inf(1), math.Inf(-1)}),
	).Draw(t, label)
}

func oddInterval(t *rapid.T) Interval { return Interval{odd(t, "lo"), odd(t, "hi")} }

func oddMeasure(t *rapid.T) Measure {
	return Measure{Name: "x", Kind: Kind(rapid.IntRange(0, int(LogRatio)).Draw(t, "kind")), Unit: "g", Degrees: Degrees(rapid.IntRange(0, 2).Draw(t, "degrees"))}
}

// oddFigure draws a figure with numbers of any size, gaps and open limits.
func oddFigure(t *rapid.T) Figure {
	n := rapid.IntRange(0, 5).Draw(t, "n")
	series := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = odd(t, "v")
		}
		return out
	}
	head := Head{Title: "t"}
	switch rapid.IntRange(0, 12).Draw(t, "figure") {
	case 0:
		f := AnswerLine{Head: head}
		for range n {
			f.Answers = append(f.Answers, Answer{Ask: "?", Measure: oddMeasure(t), Estimate: odd(t, "e"), Outer: oddInterval(t), Inner: oddInterval(t), Level: 0.95, Margin: odd(t, "m")})
		}
		return f
	case 1:
		f := BlockLines{Head: head, Measure: oddMeasure(t), Treatments: []string{"a", "b"}, Margin: odd(t, "m"), Level: 0.95, Effects: []Effect{{"b", odd(t, "e"), oddInterval(t)}}}
		for i := range n {
			f.Blocks = append(f.Blocks, BlockValues{fmt.Sprint(i), series(2)})
		}
		return f
	case 2:
		return Traces{Head: head, Measure: oddMeasure(t), Treatments: []string{"a"}, Lines: []TraceLine{{Cook: "c", Channel: "core", AtS: series(n), Values: series(n)}},
			Marks: []TraceMark{{"turn", odd(t, "mark"), 0}}, Levels: []Level{{"", odd(t, "level"), "target"}},
			Bands: []TraceBand{{Channel: "core", AtS: series(n), Lo: series(n), Hi: series(n)}}}
	case 3:
		f := Losses{Head: head, Parts: []string{"p", "q"}, Treatments: []TreatmentLoss{{Name: "a", Mean: odd(t, "mean"), Interval: oddInterval(t)}}}
		for i := range n {
			f.Treatments[0].Cooks = append(f.Treatments[0].Cooks, CookLoss{fmt.Sprint(i), series(2)})
		}
		return f
	case 4:
		return Chance{Head: head, N: rapid.IntRange(0, 300).Draw(t, "N"), Guess: odd(t, "guess"), Correct: rapid.IntRange(-1, 300).Draw(t, "c"), Critical: rapid.IntRange(0, 400).Draw(t, "k"), DPrime: odd(t, "d"), Interval: oddInterval(t)}
	case 5:
		return Power{Head: head, Measure: oddMeasure(t), X: series(n), Curves: []Curve{{"c", series(n)}}, Margin: odd(t, "m"), Target: odd(t, "target")}
	case 6:
		f := Components{Head: head, Measure: oddMeasure(t)}
		for range n {
			f.Parts = append(f.Parts, Component{"p", math.Abs(odd(t, "var"))})
		}
		return f
	case 7:
		f := LeaveOneOut{Head: head, Measure: oddMeasure(t), Estimate: odd(t, "e"), Interval: oddInterval(t), Margin: odd(t, "m")}
		for i := range n {
			f.Left = append(f.Left, LeftOut{fmt.Sprint(i), odd(t, "e"), oddInterval(t), rapid.SampledFrom([]string{"", "not settled yet"}).Draw(t, "v")})
		}
		return f
	case 8:
		f := Ratings{Head: head, Measure: oddMeasure(t), Lo: odd(t, "lo"), Hi: odd(t, "hi"), Level: 0.95}
		if rapid.Bool().Draw(t, "no scale") {
			f.Lo, f.Hi = 0, 0
		}
		for range 2 {
			f.Products = append(f.Products, RatedProduct{"p", odd(t, "mean"), oddInterval(t)})
		}
		for i := range n {
			f.Assessors = append(f.Assessors, AssessorScores{fmt.Sprint(i), series(2)})
		}
		return f
	case 9:
		f := Ranks{Head: head, LSD: odd(t, "lsd"), Alpha: 0.05, Shown: rapid.Bool().Draw(t, "shown")}
		for range rapid.IntRange(0, 4).Draw(t, "products") {
			p := RankedProduct{Name: "p", Sum: odd(t, "sum")}
			for range n {
				p.Ranks = append(p.Ranks, float64(rapid.IntRange(2, 8).Draw(t, "rank"))/2)
			}
			f.Products = append(f.Products, p)
		}
		return f
	case 10:
		f := SurenessCurve{Head: head, Distance: odd(t, "d"), Spread: odd(t, "spread"), Area: odd(t, "area"), AreaSE: odd(t, "se")}
		for range n {
			f.Points = append(f.Points, RatePoint{rapid.Float64Range(0, 1).Draw(t, "fa"), rapid.Float64Range(0, 1).Draw(t, "hit")})
		}
		return f
	case 11:
		f := SequentialPath{Head: head, Slope: odd(t, "s"), Upper: odd(t, "upper"), Lower: odd(t, "lower"), N: rapid.IntRange(0, 40).Draw(t, "N"), Correct: rapid.IntRange(-1, 40).Draw(t, "x"), Decision: "difference"}
		if rapid.Bool().Draw(t, "plausible") {
			f.Slope, f.Upper, f.Lower = rapid.Float64Range(0.01, 0.99).Draw(t, "s"), rapid.Float64Range(0.01, 1e6).Draw(t, "u"), -rapid.Float64Range(0.01, 1e6).Draw(t, "l")
		}
		if rapid.Bool().Draw(t, "ordered") {
			f.Right = rapid.SliceOfN(rapid.Bool(), 0, 40).Draw(t, "right")
		}
		f.At = rapid.IntRange(0, 40).Draw(t, "at")
		return f
	}
	return Ledger{Head: head, Treatments: []string{"a"}, In: []LedgerItem{{"pan", series(1)}}, Out: []LedgerItem{{"stored", series(1)}}}
}

var notNumber = regexp.MustCompile(`.{0,40}(NaN|Inf).{0,40}`)

// Whatever the numbers, a figure is drawn inside its sheet or refused with
// an error; it never panics.
func TestOddNumbersNeitherPanicNorLeaveTheSheet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := oddFigure(t)
		f.Table()
		f.Alt()
		size := rapid.SampledFrom([]Size{Phone, Page, HD}).Draw(t, "size")
		s, err := f.Scene(size, Light)
		if err != nil {
			return
		}
		var b bytes.Buffer
		if err := s.WriteSVG(&b, SVGOptions{Inline: true}); err != nil {
			t.Fatal(err)
		}
		if bad := notNumber.Find(b.Bytes()); bad != nil {
			t.Fatalf("%T prints %s", f, bad)
		}
		if box := s.Bounds(); !finite(box.W) || box.X < -1 || box.Right() > s.Size.W+1 {
			s.Texts(func(x Text, b Box) {
				if b.X < 0 || b.Right() > s.Size.W {
					t.Logf("outside: %q %+v", x.S, b)
				}
			})
			t.Fatalf("%T covers %+v of a sheet %v wide", f, box, s.Size.W)
		}
	})
}

func TestOddSizesDoNotPanic(t *testing.T) {
	for _, size := range []Size{{}, {W: 10, TextPx: 14}, {W: 100, H: 40, TextPx: 20}, {W: 5000, TextPx: 3, Ratio: 0.1}, {W: 400, H: 300, TextPx: 60, Compact: true}} {
		for _, ex := range examples() {
			s, err := ex.fig.Scene(size, Light)
			if err != nil {
				continue
			}
			if err := s.WriteSVG(io.Discard, SVGOptions{}); err != nil {
				t.Error(err)
			}
		}
	}
}

package figure_test

import (
	"bytes"
	"fmt"
	"log"
	"strings"

	"trivet/figure"
)

// show prints a text with plain spaces: numbers are tied to their units by
// no-break ones.
func show(s string) { fmt.Println(strings.ReplaceAll(s, "\u00a0", " ")) }

// The answer of one question as a picture and in words.
func ExampleAnswerLine() {
	f := figure.AnswerLine{
		Head: figure.Head{Title: "Searing first and the juice"},
		Answers: []figure.Answer{{
			Ask:      "Does searing first lower the cooking loss?",
			Verdict:  "No difference that matters.",
			Settled:  true,
			Measure:  figure.Measure{Name: "cooking loss", Kind: figure.Points},
			Estimate: 0.31,
			Outer:    figure.Interval{Lo: -0.42, Hi: 1.04},
			Inner:    figure.Interval{Lo: -0.29, Hi: 0.91},
			Level:    0.95,
			Margin:   2,
			Claim:    figure.Lower,
		}},
	}
	scene, err := f.Scene(figure.Phone, figure.Dark)
	if err != nil {
		log.Fatal(err)
	}
	var svg bytes.Buffer
	if err := scene.WriteSVG(&svg, figure.SVGOptions{}); err != nil {
		log.Fatal(err)
	}
	fmt.Println(scene.Size.W, "wide")
	show(f.Alt())
	// Output:
	// 360 wide
	// 1 question with the interval of each answer against its margin. Does searing first lower the cooking loss? No difference that matters. Estimate +0.31 points; 95 %: −0.42 to +1.04 points; 90 %: −0.29 to +0.91 points; margin 2 points.
}

// A difference of temperatures has no offset of 32.
func ExampleMeasure() {
	core := figure.Measure{Name: "core", Kind: figure.Temperature, Degrees: figure.Fahrenheit}
	show(core.Text(60, 0))
	show(core.Delta().Signed(5, 0))
	show(core.PlusMinus(60, 0.34))
	// Output:
	// 140 °F
	// +9 °F
	// 140.00 ± 0.61 °F
}

package answer_test

import (
	"testing"

	"trivet/answer"
	"trivet/quantity"
	"trivet/study"
)

// A yes-no question on 60 pairs, each left out in turn (target: 500 ms).
func BenchmarkYesNoAnswer(b *testing.B) {
	control, treatment := repeat(0, 60), repeat(1, 60)
	for i := range control {
		control[i] = float64(i % 3 / 2)
		treatment[i] = float64((i + 1) % 4 / 2)
	}
	in := answer.Input{Study: plan(60), Seal: seal, Cooks: ofKind(study.YesNo, control, treatment)}
	in.Study.Questions[0].Margin = quantity.Margin{MarginKind: quantity.MarginPoints, Value: 20, Text: "20 points"}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := answer.Study(in); err != nil {
			b.Fatal(err)
		}
	}
}

// Grades on 60 blocks: sign flips beyond 20 blocks are drawn, for every block
// left out.
func BenchmarkGradeAnswer(b *testing.B) {
	control, treatment := repeat(0, 60), repeat(0, 60)
	for i := range control {
		control[i] = float64(1 + i%3)
		treatment[i] = float64(1 + (i*7+i/5)%4)
	}
	in := answer.Input{Study: plan(60), Seal: seal, Cooks: ofKind(study.Grade, control, treatment)}
	in.Study.Questions[0].Margin = quantity.Margin{MarginKind: quantity.MarginAmount, Value: 1, Text: "1"}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := answer.Study(in); err != nil {
			b.Fatal(err)
		}
	}
}

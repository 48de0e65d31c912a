package study

import (
	"fmt"
	"strings"
	"testing"
)

// largeStudy is a document of n hand-written cooks.
func largeStudy(n int) []byte {
	var b strings.Builder
	b.WriteString("study: T\ntreatments: [{id: a, control: yes}, {id: b}]\nquestions: [{id: q, response: cooking_loss, margin: 2 points}]\ncooks:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {label: c%d, block: L%d, treatment: %c, order: %d, marks: {turn: [\"2:00\", \"4:00\"], off_heat: \"12:30\"}, weighings: {raw: 250.%d g, off_heat: {mass: 201.3 g, at: \"12:45\"}, resolution: 0.1 g}}\n",
			i, i/2, "ab"[i%2], i+1, i%10)
	}
	return []byte(b.String())
}

func BenchmarkParse(b *testing.B) {
	for _, n := range []int{40, 1000} {
		b.Run(fmt.Sprintf("cooks=%d", n), func(b *testing.B) {
			doc := largeStudy(n)
			b.SetBytes(int64(len(doc)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Parse("study.yaml", doc); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkSeal(b *testing.B) {
	s, _ := example(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := SealNow(s, cookFiles, noon); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSet(b *testing.B) {
	_, doc := example(b)
	b.ReportAllocs()
	for b.Loop() {
		d, err := ReadDocument("study.yaml", doc)
		if err != nil {
			b.Fatal(err)
		}
		if err := d.Set("questions[loss].margin", "1 point"); err != nil {
			b.Fatal(err)
		}
	}
}

package stats

import (
	"fmt"
	"testing"
)

// BenchmarkGradesOf5000Blocks compares grades from 1 to 5 in 5,000 blocks of
// two.
func BenchmarkGradesOf5000Blocks(b *testing.B) {
	var t Table
	for i := range 5000 {
		for j, name := range []string{"usual", "new"} {
			t.Block = append(t.Block, fmt.Sprintf("B%04d", i))
			t.Treatment = append(t.Treatment, name)
			t.Response = append(t.Response, float64(1+(i*7%11+i*j*5%13+j)%5))
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := CompareGrades(t, Options{Control: "usual"}, "1"); err != nil {
			b.Fatal(err)
		}
	}
}

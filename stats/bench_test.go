package stats

import (
	"fmt"
	"testing"
)

// syntheticCooks is a table of invented cooks: blocks of pieces, treatments in
// turn, with block, day and piece scatter.
func syntheticCooks(blocks, perBlock, treatments, days int) (Table, []string) {
	s := NewStream("bench", "cooks", 0)
	var t Table
	var day []string
	for b := range blocks {
		block := 2 * s.Normal()
		dayEffect := make([]float64, days)
		for d := range dayEffect {
			dayEffect[d] = s.Normal()
		}
		for i := range perBlock {
			tr := i % treatments
			d := Bounded(s, uint64(days))
			t.Response = append(t.Response, 20+0.3*float64(tr)+block+dayEffect[d]+s.Normal())
			t.Treatment = append(t.Treatment, fmt.Sprint("t", tr))
			t.Block = append(t.Block, fmt.Sprint(b))
			day = append(day, fmt.Sprint(d))
		}
	}
	return t, day
}

// 10,000 cooks in 1,000 blocks, one random intercept (target: 200 ms).
func BenchmarkMixedOneGrouping(b *testing.B) {
	t, _ := syntheticCooks(1000, 10, 10, 1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Compare(t, Options{Control: "t0", Blocks: BlocksRandom}); err != nil {
			b.Fatal(err)
		}
	}
}

// The same cooks with fixed blocks.
func BenchmarkFixedBlocks(b *testing.B) {
	t, _ := syntheticCooks(1000, 10, 10, 1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Compare(t, Options{Control: "t0"}); err != nil {
			b.Fatal(err)
		}
	}
}

// 10,000 cooks with two random groupings (target: 1 s).
func BenchmarkMixedTwoGroupings(b *testing.B) {
	for _, c := range []struct {
		name   string
		random []string
		days   int
	}{
		{"nested", []string{"block", "block:day"}, 4},
		{"crossed", []string{"block", "day"}, 50},
	} {
		b.Run(c.name, func(b *testing.B) {
			t, day := syntheticCooks(1000, 10, 5, c.days)
			spec := ModelSpec{Response: t.Response, Fixed: []string{"treatment"}, Random: c.random,
				Factors: []Column{{"treatment", t.Treatment}, {"block", t.Block}, {"day", day}}}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := FitModel(spec); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// 100,000 permutations of 20 blocks of three treatments (target: 300 ms).
func BenchmarkPermutation(b *testing.B) {
	t, _ := syntheticCooks(20, 3, 3, 1)
	c := compare(b, t, Options{Control: "t0"})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Permutation("bench"); err != nil {
			b.Fatal(err)
		}
	}
}

// 10,000 resamples of 20 pairs with both intervals (target: 150 ms).
func BenchmarkBootstrap(b *testing.B) {
	s := NewStream("bench", "pairs", 0)
	d := make([]float64, 20)
	for i := range d {
		d[i] = s.Normal()
	}
	b.ReportAllocs()
	for b.Loop() {
		r, err := Bootstrap(d, "bench")
		if err != nil {
			b.Fatal(err)
		}
		r.BCa(0.95)
	}
}

// All 2²⁰ sign patterns of 20 pairs: p and two intervals.
func BenchmarkSignFlipExact(b *testing.B) {
	s := NewStream("bench", "pairs", 0)
	d := make([]float64, 20)
	for i := range d {
		d[i] = 0.5 + s.Normal()
	}
	b.ReportAllocs()
	for b.Loop() {
		f := SignFlip(d, "")
		f.P(Either, 0)
		f.Interval(0.95)
		f.Interval(0.90)
	}
}

// Influence of each of 1,000 blocks of 10,000 cooks.
func BenchmarkLeaveOneOut(b *testing.B) {
	t, _ := syntheticCooks(1000, 10, 10, 1)
	for _, blocks := range []Blocks{BlocksFixed, BlocksRandom} {
		b.Run(string(blocks), func(b *testing.B) {
			c := compare(b, t, Options{Control: "t0", Blocks: blocks})
			b.ReportAllocs()
			for b.Loop() {
				c.LeaveOneOut()
			}
		})
	}
}

// The power of 2 to 60 pairs, difference and equivalence (target: 50 ms).
func BenchmarkPowerCurve(b *testing.B) {
	for _, test := range []Test{TestDifference, TestEquivalence} {
		b.Run(string(test), func(b *testing.B) {
			q := Sizing{Test: test, Design: Paired, SD: 1.3, Margin: 1}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := q.Curve(60); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Boundaries of twenty looks.
func BenchmarkGroupSequential(b *testing.B) {
	var share []float64
	for i := 1; i <= 20; i++ {
		share = append(share, float64(i)/20)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := GroupSequential(SpendLate, 0.05, share); err != nil {
			b.Fatal(err)
		}
	}
}

package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Eight signs at a time give the mean of the same subset as one at a time.
func TestSubsetMeansByGroups(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 200).Draw(t, "differences")
		seed := rapid.String().Draw(t, "seed")
		fast, slow := NewStream(seed, "subset", 0), NewStream(seed, "subset", 0)
		for range 5 {
			got, want := randomSubsetMean(groupSums(d), len(d), fast), oneByOne(d, slow)
			if math.Abs(got-want) > 1e-11 {
				t.Fatalf("mean %v by groups, %v one by one", got, want)
			}
		}
	})
}

func oneByOne(d []float64, s *Stream) float64 {
	for {
		sum, n := 0.0, 0
		for i := 0; i < len(d); i += 64 {
			word := s.Uint64()
			for j := i; j < min(i+64, len(d)); j++ {
				if word>>(j-i)&1 == 1 {
					sum += d[j]
					n++
				}
			}
		}
		if n > 0 {
			return sum / float64(n)
		}
	}
}

func BenchmarkSignFlipOf5000(b *testing.B) {
	d := make([]float64, 5000)
	for i := range d {
		d[i] = float64(i*7%11) - 4
	}
	b.ReportAllocs()
	for b.Loop() {
		SignFlip(d, "seed")
	}
}

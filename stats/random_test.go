package stats

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The golden vectors pin the drawing rules: a change here would break the
// plans and run orders already sealed.
func TestStreamGolden(t *testing.T) {
	// SHA-256 of the documented bytes by Python 3.11 hashlib.
	key := fmt.Sprintf("%x", streamKey("kitchen", "run order", 0))
	if want := "3299027db33c3da255ea8e110084e0c4eed0bd30f4ba4b9654bc0ce5d5318990"; key != want {
		t.Errorf("key %s, want %s", key, want)
	}
	s := NewStream("kitchen", "run order", 0)
	got := fmt.Sprintf("%016x %016x", s.Uint64(), s.Uint64())
	if want := "fb26cb79eb4707b1 171f1908271afdca"; got != want {
		t.Errorf("first draws %s, want %s", got, want)
	}
	items := []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}
	Shuffle(NewStream("kitchen", "run order", 1), items)
	if got, want := fmt.Sprint(items), "[0 5 9 2 3 1 4 8 7 6]"; got != want {
		t.Errorf("shuffle %s, want %s", got, want)
	}
	s = NewStream("kitchen", "run order", 2)
	var draws []uint64
	for range 8 {
		draws = append(draws, Bounded(s, 6))
	}
	if got, want := fmt.Sprint(draws), "[2 2 1 3 2 2 5 3]"; got != want {
		t.Errorf("bounded %s, want %s", got, want)
	}
	s = NewStream("kitchen", "noise", 0)
	if got, want := fmt.Sprintf("%.15g %.15g", s.Float64(), s.Normal()), "0.589841143874408 -1.99435998221499"; got != want {
		t.Errorf("float and normal %s, want %s", got, want)
	}
}

// Seed, purpose and index each separate streams, and moving a letter from one
// to the other does not bring them together.
func TestStreamsAreSeparate(t *testing.T) {
	seen := map[uint64]string{}
	for _, k := range []struct {
		seed, purpose string
		index         uint64
	}{{"a", "b", 0}, {"ab", "", 0}, {"", "ab", 0}, {"a", "b", 1}, {"b", "a", 0}} {
		v := NewStream(k.seed, k.purpose, k.index).Uint64()
		if other, ok := seen[v]; ok {
			t.Errorf("%v and %s share a stream", k, other)
		}
		seen[v] = fmt.Sprint(k)
	}
}

func TestBoundedIsEven(t *testing.T) {
	// Pearson's χ² on 60,000 draws of a die: the 99.9 % point on 5 df is 20.5.
	s := NewStream("die", "test", 0)
	var count [6]float64
	for range 60000 {
		count[Bounded(s, 6)]++
	}
	chi := 0.0
	for _, c := range count {
		chi += (c - 10000) * (c - 10000) / 10000
	}
	if chi > 20.5 {
		t.Errorf("χ² = %.1f on 5 df: %v", chi, count)
	}
	if v := Bounded(s, 0); v != 0 {
		t.Errorf("Bounded(0) = %d", v)
	}
}

func TestShuffleReachesEveryOrder(t *testing.T) {
	s := NewStream("orders", "test", 0)
	count := map[string]float64{}
	for range 24000 {
		p := []int{1, 2, 3, 4}
		Shuffle(s, p)
		count[fmt.Sprint(p)]++
	}
	chi := 0.0
	for _, c := range count {
		chi += (c - 1000) * (c - 1000) / 1000
	}
	// 99.9 % point of χ² on 23 df: 49.7.
	if len(count) != 24 || chi > 49.7 {
		t.Errorf("%d orders, χ² = %.1f", len(count), chi)
	}
}

func TestShuffleKeepsItems(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		items := rapid.SliceOf(rapid.IntRange(0, 5)).Draw(rt, "items")
		sum := map[int]int{}
		for _, i := range items {
			sum[i]++
		}
		Shuffle(NewStream(rapid.String().Draw(rt, "seed"), "p", 0), items)
		for _, i := range items {
			sum[i]--
		}
		for _, c := range sum {
			if c != 0 {
				rt.Fatal("an item was lost or doubled")
			}
		}
	})
}

func TestNormalMoments(t *testing.T) {
	s := NewStream("normal", "test", 0)
	const n = 100000
	var sum, sq, q4 float64
	for range n {
		z := s.Normal()
		sum, sq, q4 = sum+z, sq+z*z, q4+z*z*z*z
	}
	// Five standard errors: 1/√n, √2/√n, √96/√n.
	se := 5 / math.Sqrt(n)
	if math.Abs(sum/n) > se || math.Abs(sq/n-1) > math.Sqrt2*se || math.Abs(q4/n-3) > math.Sqrt(96)*se {
		t.Errorf("moments %.4f %.4f %.4f, want 0 1 3", sum/n, sq/n, q4/n)
	}
}

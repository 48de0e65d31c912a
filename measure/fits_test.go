package measure

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A remembered fit gives what a new one gives, and a cook that differs in a
// mark, a sample or its piece is fitted anew.
func TestFitsAreRemembered(t *testing.T) {
	c := searedCook(t, "first", 1)
	in := c.input(c.probe(0.3, 1, true))
	plain, err := Cook(in, "core_at_pull", "even_share")
	if err != nil {
		t.Fatal(err)
	}
	in.Fits = new(Fits)
	for range 2 {
		got, err := Cook(in, "core_at_pull", "even_share")
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(plain.Responses, got.Responses, cmp.AllowUnexported(Response{}, drawn{}, sourcesRead{})); diff != "" {
			t.Error(diff)
		}
		if !slices.Equal(plain.Notes, got.Notes) {
			t.Errorf("notes %v, want %v", got.Notes, plain.Notes)
		}
	}
	if n := len(in.Fits.order); n != 1 {
		t.Errorf("%d fits are remembered, want 1", n)
	}
	other := in
	other.Piece.ThicknessM = []float64{0.031}
	moved := in
	moved.Cook.Marks = slices.Clone(in.Cook.Marks)
	moved.Cook.Marks[len(moved.Cook.Marks)-1].AtUS -= 30_000_000
	for i, x := range []Input{other, moved} {
		if _, err := Cook(x, "core_at_pull"); err != nil {
			t.Fatal(err)
		}
		if n := len(in.Fits.order); n != i+2 {
			t.Errorf("%d fits are remembered, want %d", n, i+2)
		}
	}
}

func TestFitsForgetTheOldest(t *testing.T) {
	var f Fits
	for i := range 40 {
		f.put([32]byte{byte(i)}, keptFit{profile: &Profile{TimeS: make([]float64, mostTimes/8)}})
	}
	if len(f.by) > 8 || f.times > mostTimes {
		t.Errorf("%d fits of %d times are held", len(f.by), f.times)
	}
	if _, ok := f.get([32]byte{39}); !ok {
		t.Error("the newest is forgotten")
	}
	if _, ok := f.get([32]byte{0}); ok {
		t.Error("the oldest is held")
	}
}

package tasting

import (
	"crypto/rand"
	"testing"
)

// Nothing of a deal shows in the length of its sealed key, although an
// incomplete block holds more of one product than of the other and their
// names differ in length.
func TestSealedKeysOfOneSetupAreEquallyLong(t *testing.T) {
	setup := Setup{Method: "triangle", Products: []Product{{ID: "a"}, {ID: "a much longer \"name\""}}}
	for _, id := range []string{"P1", "P2", "P3", "P4", "P5", "P6", "P7"} {
		setup.Assessors = append(setup.Assessors, Assessor{ID: id, Consents: true})
	}
	setup.Waves = []Wave{{Block: "1", Pieces: [][]string{{"x"}, {"y"}}, Portions: 21}}
	lengths, counts := map[int]bool{}, map[int]bool{}
	for try := 0; try < 6 || len(counts) < 2 && try < 60; try++ {
		_, k, _, _, err := NewDocument(setup, Rule{Alpha: 0.05}, nil, noon, rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		l, salt, err := LockKey(k, rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		s, err := SealKey(l, k, salt, "a passphrase of words", rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		lengths[len(s.Box)] = true
		n := 0
		for _, set := range k.Sets {
			for _, c := range set.Cups {
				if c.Product == "a" {
					n++
				}
			}
		}
		counts[n] = true
		opened, _, err := s.Open("a passphrase of words")
		if err != nil || opened.Seed != k.Seed {
			t.Fatalf("the padded key does not open: %v", err)
		}
	}
	if len(lengths) != 1 {
		t.Errorf("sealed keys of one setup have lengths %v", lengths)
	}
	if len(counts) < 2 {
		t.Error("sixty deals with equal counts of a product: nothing was tried")
	}
}

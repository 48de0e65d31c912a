package safety_test

import (
	"testing"

	"trivet/safety"
)

func TestAllergenListsHaveTheirLegalLength(t *testing.T) {
	for _, tc := range []struct {
		list safety.AllergenList
		n    int
	}{{safety.USAllergens(), 9}, {safety.EUAllergens(), 14}} {
		if len(tc.list.Items) != tc.n {
			t.Errorf("%s: %d entries, the law has %d", tc.list.Name, len(tc.list.Items), tc.n)
		}
		seen := map[string]bool{}
		for _, a := range tc.list.Items {
			if a.Code == "" || a.Name == "" || seen[a.Code] {
				t.Errorf("%s: entry %+v", tc.list.Code, a)
			}
			seen[a.Code] = true
		}
		if tc.list.Source == "" {
			t.Errorf("%s names no law", tc.list.Code)
		}
	}
	if n := len(safety.AllergenCodes()); n != 15 {
		t.Errorf("%d codes in both lists together, want 15 (fourteen and wheat)", n)
	}
}

func TestWheatIsGluten(t *testing.T) {
	for _, tc := range []struct {
		avoids, declared string
		want             bool
	}{{"gluten", "wheat", true}, {"wheat", "gluten", true}, {"milk", "milk", true}, {"milk", "egg", false}} {
		if got := safety.SameAllergen(tc.avoids, tc.declared); got != tc.want {
			t.Errorf("avoids %s, declared %s: %v", tc.avoids, tc.declared, got)
		}
	}
}

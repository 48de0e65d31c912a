package bench

import (
	"testing"

	"pgregory.net/rapid"
)

func TestWhatWasRemovedIsPutBack(t *testing.T) {
	const before = "study: a\nvoid:\n  # about probes\n  - {id: probe, when: it slipped}\n  - {id: power, when: it failed}\nrisk:\n  alpha: 0.05\n"
	const after = "study: a\nvoid:\n  - {id: power, when: it failed}\nrisk:\n  alpha: 0.05\n"
	r := removalOf("plan", []byte(before), []byte(after))
	cases := []struct{ name, now, want string }{
		{"nothing changed since", after, before},
		{"something far away changed", "title: b\n" + after + "licence: CC0-1.0\n", "title: b\n" + before + "licence: CC0-1.0\n"},
		{"its neighbour is gone", "study: a\nvoid:\nrisk:\n  alpha: 0.05\n", ""},
		{"the place is there twice", after + after, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, ok := r.PutBack([]byte(c.now))
			if ok != (c.want != "") || string(got) != c.want {
				t.Errorf("%v\n%s", ok, got)
			}
		})
	}
}

// Whatever two documents are, putting back what the one lacks gives the other.
func TestPuttingBackIsTheReverseOfRemoving(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`([ab]{0,3}\n){0,8}[ab]?`)
		before, after := text.Draw(t, "before"), text.Draw(t, "after")
		r := removalOf("", []byte(before), []byte(after))
		if got, ok := r.PutBack([]byte(after)); ok && string(got) != before {
			t.Fatalf("%q → %q came back as %q", before, after, got)
		} else if !ok && after != "" && len(after) < removalContext && len(before) < removalContext {
			// Short documents are their own context: found once.
			t.Fatalf("%q → %q cannot be put back", before, after)
		}
	})
}

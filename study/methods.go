package study

import (
	"slices"
	"strings"
)

// tastingMethods are the sensory tests a study may plan, by name.
func tastingMethods() []string {
	return []string{
		"triangle", "duo-trio", "2-afc", "3-afc", "tetrad", "a-not-a", "same-different",
		"ranking", "hedonic", "just-about-right", "rated", "check-all",
	}
}

// methodName returns a method's own name for a name as written.
func methodName(written string) (string, bool) {
	plain := func(s string) string {
		return strings.NewReplacer("-", "", " ", "", "_", "").Replace(strings.ToLower(s))
	}
	i := slices.IndexFunc(tastingMethods(), func(m string) bool { return plain(m) == plain(written) })
	if i < 0 {
		return "", false
	}
	return tastingMethods()[i], true
}

package study

import (
	"strings"
	"unicode/utf8"

	"trivet/fault"
)

// nearest returns the one of names closest to name in edits, or "" when none
// is close: at most one edit in three letters, never more than three, and
// none in a name of one or two letters.
// Case and the choice of space, hyphen or underscore do not count.
func nearest(name string, names []string) string {
	fold := strings.NewReplacer(" ", "_", "-", "_")
	plain := func(s string) string { return fold.Replace(strings.ToLower(s)) }
	a := plain(name)
	best, bestEdits := "", min(3, utf8.RuneCountInString(a)/3)+1
	for _, n := range names {
		b := plain(n)
		if d := fault.Edits(a, b); d < bestEdits && d < utf8.RuneCountInString(b) {
			best, bestEdits = n, d
		}
	}
	return best
}

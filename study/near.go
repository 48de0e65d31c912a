package study

import "strings"

// nearest returns the one of names closest to name in edits, or "" when none
// is close: at most one edit in three letters, never more than three, and
// none in a name of one or two letters.
// Case and the choice of space, hyphen or underscore do not count.
func nearest(name string, names []string) string {
	fold := strings.NewReplacer(" ", "_", "-", "_")
	plain := func(s string) []rune { return []rune(fold.Replace(strings.ToLower(s))) }
	a := plain(name)
	best, bestEdits := "", min(3, len(a)/3)+1
	for _, n := range names {
		b := plain(n)
		if d := edits(a, b); d < bestEdits && d < len(b) {
			best, bestEdits = n, d
		}
	}
	return best
}

// edits counts the insertions, deletions, substitutions and swaps of
// neighbouring letters that turn a into b (optimal string alignment).
func edits(a, b []rune) int {
	before := make([]int, len(b)+1)
	last := make([]int, len(b)+1)
	row := make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}

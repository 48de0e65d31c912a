package stats

import (
	"fmt"
	"strings"
)

// suggest says which of the known names was probably meant, or lists them.
func suggest(wrong string, known []string) string {
	best, least := "", 1<<30
	for _, k := range known {
		if d := editDistance(strings.ToLower(wrong), strings.ToLower(k)); d < least {
			best, least = k, d
		}
	}
	if n := len([]rune(wrong)); best != "" && least < n && least <= (n+1)/3 {
		return fmt.Sprintf("did you mean %q?", best)
	}
	const most = 12
	quoted := make([]string, 0, most)
	for i, k := range known {
		if i == most {
			quoted = append(quoted, "…")
			break
		}
		quoted = append(quoted, fmt.Sprintf("%q", k))
	}
	return "use one of " + strings.Join(quoted, ", ")
}

// editDistance counts the single-letter insertions, deletions and changes
// that turn a into b (Levenshtein 1966).
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diagonal := row[0]
		row[0] = i + 1
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			diagonal, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diagonal+cost)
		}
	}
	return row[len(y)]
}

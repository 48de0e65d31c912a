package stats

import (
	"fmt"
	"strings"

	"trivet/fault"
)

// suggest says which of the known names was probably meant, or lists them.
func suggest(wrong string, known []string) string {
	best, least := "", 1<<30
	for _, k := range known {
		if d := fault.Edits(strings.ToLower(wrong), strings.ToLower(k)); d < least {
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

package heat

import (
	"slices"
	"strings"

	"trivet/fault"
)

// nearest returns up to three names that word may have been meant for, the
// closest first: those that hold all its parts, then those a few slips of the
// key away.
func nearest(word string, names []string) []string {
	type hit struct {
		name string
		cost int
	}
	w := strings.ToLower(strings.TrimSpace(word))
	parts := strings.FieldsFunc(w, func(r rune) bool { return r == ' ' || r == ',' || r == '-' || r == '_' })
	var hits []hit
	for i, name := range names {
		n := strings.ToLower(name)
		cost := 100 * fault.Edits(w, n)
		held := 0
		for _, p := range parts {
			if len(p) > 2 && strings.Contains(n, strings.TrimSuffix(p, "s")) {
				held++
			}
		}
		if held > 0 {
			cost = min(cost, 100*(len(parts)-held)*2+50)
		} else if cost > 100*max(1, len([]rune(w))/3) {
			continue
		}
		hits = append(hits, hit{name, cost + min(i, 99)})
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return a.cost - b.cost })
	out := make([]string, 0, 3)
	for _, h := range hits[:min(3, len(hits))] {
		out = append(out, h.name)
	}
	return out
}

// orList renders names as "a", "a or b", "a, b or c".
func orList(names []string) string {
	switch len(names) {
	case 0:
		return ""
	case 1:
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// foodWords splits the name of a food.
func foodWords(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r == ' ' || r == ',' || r == '-' || r == '/' })
}

package fault

// Edits counts the insertions, deletions, substitutions and swaps of
// neighbouring letters that turn a into b (optimal string alignment; F. J.
// Damerau, Communications of the ACM 7:171, 1964). It finds the name that was
// probably meant by a misspelt one. Words of more than 64 letters count as
// wholly different.
func Edits(a, b string) int {
	p, q := []rune(a), []rune(b)
	if len(p) > 64 || len(q) > 64 {
		return max(len(p), len(q))
	}
	before := make([]int, len(q)+1)
	last := make([]int, len(q)+1)
	row := make([]int, len(q)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(p); i++ {
		row[0] = i
		for j := 1; j <= len(q); j++ {
			cost := 1
			if p[i-1] == q[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && p[i-1] == q[j-2] && p[i-2] == q[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(q)]
}

package answer

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// PilotSpread estimates the scatter of a block's difference from cooks that
// were made before: pairs of two treatments within a block. counts says which
// cooks count. Any two treatments serve, the question's own before others.
// The result's degrees of freedom say how little a small pilot knows. Error
// "pilot-small" under 3 pairs.
func PilotSpread(cooks []CookResult, q *study.Question, from string, counts func(study.Cook) bool) (Spread, error) {
	_, ratio := Delta(q)
	type cell struct {
		sum float64
		n   int
	}
	blocks := map[string]map[string]*cell{}
	for _, c := range cooks {
		if !counts(c.Cook) || c.Cook.Block == "" {
			continue
		}
		r, ok := c.Result.Get(q.Response)
		if !ok || r.Kind == study.YesNo {
			continue
		}
		y := r.Value
		if ratio {
			if !(y > 0) {
				continue
			}
			y = math.Log(y)
		}
		if blocks[c.Cook.Block] == nil {
			blocks[c.Cook.Block] = map[string]*cell{}
		}
		at := blocks[c.Cook.Block]
		if at[c.Cook.Treatment] == nil {
			at[c.Cook.Treatment] = &cell{}
		}
		at[c.Cook.Treatment].sum += y
		at[c.Cook.Treatment].n++
	}
	// The pair of treatments that met in most blocks.
	met := map[[2]string][]float64{}
	names := make([]string, 0, len(blocks))
	for b := range blocks {
		names = append(names, b)
	}
	slices.Sort(names)
	for _, b := range names {
		var ts []string
		for t := range blocks[b] {
			ts = append(ts, t)
		}
		slices.Sort(ts)
		for i := range ts {
			for j := range i {
				x, y := blocks[b][ts[i]], blocks[b][ts[j]]
				k := [2]string{ts[j], ts[i]}
				met[k] = append(met[k], x.sum/float64(x.n)-y.sum/float64(y.n))
			}
		}
	}
	var pairs [][2]string
	for k := range met {
		pairs = append(pairs, k)
	}
	own := func(k [2]string) int {
		if slices.Contains(k[:], q.Compare.Treatment) && slices.Contains(k[:], q.Compare.Against) {
			return 0
		}
		return 1
	}
	slices.SortFunc(pairs, func(a, b [2]string) int {
		return cmp.Or(cmp.Compare(own(a), own(b)), cmp.Compare(len(met[b]), len(met[a])), cmp.Compare(strings.Join(a[:], " "), strings.Join(b[:], " ")))
	})
	if len(pairs) == 0 || len(met[pairs[0]]) < 3 {
		n := 0
		if len(pairs) > 0 {
			n = len(met[pairs[0]])
		}
		return Spread{}, fault.New("pilot-small", "%s has %d pairs with %s, too few to estimate a scatter from", from, n, q.Response).
			WithFix("3 pairs are the least and 6 are usual; or state a standard deviation with --sd")
	}
	d := met[pairs[0]]
	sd := stats.SD(d)
	if !(sd > 0) {
		return Spread{}, fault.New("pilot-flat", "all differences of %s in %s are equal, so no scatter can be estimated", q.Response, from).
			WithFix("read %s more finely, or state a standard deviation with --sd", q.Response)
	}
	return Spread{SD: sd, DF: float64(len(d) - 1), Source: fmt.Sprintf("%d pairs of %s (%s − %s)", len(d), from, pairs[0][1], pairs[0][0])}, nil
}

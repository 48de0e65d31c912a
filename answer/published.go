package answer

import (
	"math"
	"strings"

	"trivet/study"
)

// PublishedSpread returns a planning figure for the scatter of a pair's
// difference of a response, from the literature; false when there is none.
// They are rough on purpose: a pilot of one's own replaces them.
//
// Cooking loss: repeatability R (the share of the variance that lies between
// animals) of duplicate longissimus steaks is 0.58 on a belt grill and 0.23 on
// an open-hearth broiler (T. L. Wheeler, S. D. Shackelford & M. Koohmaraie,
// Journal of Animal Science 76:2805 (1998), abstract). With a total SD of 3
// points (common practice, from memory), pairs within an animal differ by √2 ·
// 3 · √(1−R): 2.7 and 3.7 points. The larger is used.
//
// Times and rates: a coefficient of variation of 15 % (from memory: 10–20 %),
// so that logarithms of a pair differ by √2 · 0.15.
func PublishedSpread(q *study.Question) (Spread, bool) {
	_, ratio := Delta(q)
	name, _ := study.SplitResponse(q.Response)
	switch {
	case name == "cooking_loss" && !ratio, name == "total_loss" && !ratio:
		return Spread{SD: math.Sqrt2 * 3 * math.Sqrt(1-0.23), Rough: true,
			Source: "repeatability of duplicate steaks on a broiler, Wheeler et al. 1998; total SD of 3 points from memory"}, true
	case ratio && (strings.HasPrefix(name, "time_") || name == "heating_rate"):
		return Spread{SD: math.Sqrt2 * 0.15, Rough: true, Source: "coefficient of variation of 15 % between pieces, from memory"}, true
	}
	return Spread{}, false
}

package answer

import (
	"maps"
	"math"
	"slices"
	"strings"

	"trivet/stats"
	"trivet/study"
)

// interaction looks at studies that crossed the setting asked about with
// another one: if the difference depends on that other setting, what the
// question finds is the effect at one of its levels and not of the setting as
// such. It needs all four treatments in at least four blocks. Each block
// gives one difference of differences, and their mean is held against zero at
// 95 %.
func (e *evaluation) interaction() {
	if !e.effect.normal {
		return
	}
	byID := map[string]study.Treatment{}
	for _, t := range e.study.Treatments {
		byID[t.ID] = t
	}
	t, c := byID[e.finding.Treatment], byID[e.finding.Control]
	asked, ok := onlySetting(t.Set, c.Set)
	if !ok {
		return
	}
	for _, other := range slices.Sorted(maps.Keys(t.Set)) {
		if other == asked {
			continue
		}
		for _, t2 := range e.study.Treatments {
			if k, ok := onlySetting(t.Set, t2.Set); !ok || k != other {
				continue
			}
			for _, c2 := range e.study.Treatments {
				here, one := onlySetting(c.Set, c2.Set)
				if one && here == other && c2.Set[other] == t2.Set[other] {
					e.crossed(asked, other, t2, c2)
				}
			}
		}
	}
}

// onlySetting is the one setting in which two treatments differ; false when
// they differ in none, in several, or in what they set at all.
func onlySetting(a, b map[string]string) (string, bool) {
	name, n := "", 0
	for k, v := range a {
		w, ok := b[k]
		if !ok {
			return "", false
		}
		if v != w {
			name = k
			n++
		}
	}
	return name, n == 1 && len(a) == len(b)
}

// crossed holds the difference asked about against that of two treatments at
// another level of a setting.
func (e *evaluation) crossed(asked, other string, t2, c2 study.Treatment) {
	ids := []string{e.finding.Treatment, e.finding.Control, t2.ID, c2.ID}
	cells := map[string]*[4][]float64{}
	for _, v := range e.values {
		i := slices.Index(ids, v.cook.Treatment)
		if i < 0 {
			continue
		}
		y := v.response.Value * e.unitScale
		if e.evidence.Ratio {
			y = math.Log(y)
		}
		if cells[v.cook.Block] == nil {
			cells[v.cook.Block] = &[4][]float64{}
		}
		cells[v.cook.Block][i] = append(cells[v.cook.Block][i], y)
	}
	var here, there, apart []float64
	for _, b := range slices.Sorted(maps.Keys(cells)) {
		x := cells[b]
		if len(x[0]) == 0 || len(x[1]) == 0 || len(x[2]) == 0 || len(x[3]) == 0 {
			continue
		}
		a, d := stats.Mean(x[0])-stats.Mean(x[1]), stats.Mean(x[2])-stats.Mean(x[3])
		here, there, apart = append(here, a), append(there, d), append(apart, a-d)
	}
	n := len(apart)
	if n < minBlocksForVerdict {
		return
	}
	se := stats.SD(apart) / math.Sqrt(float64(n))
	i := stats.Contrast{Estimate: stats.Mean(apart), SE: se, DF: float64(n - 1)}.Interval(0.95)
	if !(i.Low > 0 || i.High < 0) {
		return
	}
	words := Words{Study: e.study}
	plain := func(s string) string { return strings.ReplaceAll(s, "_", " ") }
	var at string
	for _, t := range e.study.Treatments {
		if t.ID == e.finding.Treatment {
			at = t.Set[other]
		}
	}
	e.note("interaction", "the difference depends on %s: %s at %s, %s at %s (95 %% interval of what they differ by: %s to %s, %d blocks). The answer is about %s at %s %s, not about %s in general",
		plain(other), words.Difference(e.finding, stats.Mean(here), se), at, words.Difference(e.finding, stats.Mean(there), se), t2.Set[other],
		words.Difference(e.finding, i.Low, se), words.Difference(e.finding, i.High, se), n, plain(asked), plain(other), at, plain(asked))
}

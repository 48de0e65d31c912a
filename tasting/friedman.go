package tasting

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// doubledMidranks ranks a row from 1, ties sharing their mean rank, and
// doubles the ranks so that they are whole numbers.
func doubledMidranks(row []float64) []int {
	order := make([]int, len(row))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(row[a], row[b]) })
	out := make([]int, len(row))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && row[order[j]] == row[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = i + j + 1 // 2 × mean of ranks i+1 … j
		}
		i = j
	}
	return out
}

// friedman is the statistic of rows of doubled ranks,
//
//	F = 12/(J P(P+1)) Σ R² − 3 J (P+1),  F′ = F / (1 − E/(J P(P²−1))),
//
// E = Σ (t³ − t) over groups of t ties. F′ equals the general form
// (P−1) Σ (R − mean)² / Σᵢⱼ (rᵢⱼ − mean)², which is what is computed; it also
// is Cochran's Q when the rows hold zeros and ones. ok is false when every
// row is wholly tied.
//
// References: Friedman M., 1937, J. American Statistical Association
// 32:675-701; ISO 8587.
func friedman(rows [][]int) (stat float64, ok bool) {
	p := len(rows[0])
	sums := make([]float64, p)
	within := 0.0
	for _, r := range rows {
		mean := 0.0
		for j, v := range r {
			sums[j] += float64(v)
			mean += float64(v)
		}
		mean /= float64(p)
		for _, v := range r {
			within += (float64(v) - mean) * (float64(v) - mean)
		}
	}
	if within == 0 {
		return math.NaN(), false
	}
	centre := sum(sums) / float64(p)
	between := 0.0
	for _, s := range sums {
		between += (s - centre) * (s - centre)
	}
	return float64(p-1) * between / within, true
}

// exactFriedmanSize tells for how many assessors the exact distribution is
// worked out.
func exactFriedmanSize(products, assessors int) bool {
	most := map[int]int{2: 100, 3: 30, 4: 12, 5: 7, 6: 4}
	return assessors <= most[products]
}

// friedmanDistribution is the exact null distribution of the sum of squared
// column sums given each row's values: within a row every arrangement is
// equally likely. Products are exchangeable, so sorted column sums are the
// state of a forward recursion over rows.
func friedmanDistribution(rows [][]int) map[int]float64 {
	p := len(rows[0])
	type state [6]int
	current := map[state]float64{{}: 1}
	for _, r := range rows {
		perms := arrangements(r)
		next := make(map[state]float64, len(current)*2)
		weight := 1 / float64(len(perms))
		// Map order must not reach the sums: visit states sorted.
		keys := make([]state, 0, len(current))
		for s := range current {
			keys = append(keys, s)
		}
		slices.SortFunc(keys, func(a, b state) int { return slices.Compare(a[:], b[:]) })
		for _, s := range keys {
			for _, a := range perms {
				t := s
				for j := range p {
					t[j] += a[j]
				}
				slices.Sort(t[:p])
				next[t] += current[s] * weight
			}
		}
		current = next
	}
	out := map[int]float64{}
	keys := make([]state, 0, len(current))
	for s := range current {
		keys = append(keys, s)
	}
	slices.SortFunc(keys, func(a, b state) int { return slices.Compare(a[:], b[:]) })
	for _, s := range keys {
		q := 0
		for _, v := range s[:p] {
			q += v * v
		}
		out[q] += current[s]
	}
	return out
}

// arrangements lists the distinct orders of a row.
func arrangements(r []int) [][]int {
	sorted := slices.Clone(r)
	slices.Sort(sorted)
	var out [][]int
	for {
		out = append(out, slices.Clone(sorted))
		// The next arrangement in lexicographic order.
		i := len(sorted) - 2
		for i >= 0 && sorted[i] >= sorted[i+1] {
			i--
		}
		if i < 0 {
			return out
		}
		j := len(sorted) - 1
		for sorted[j] <= sorted[i] {
			j--
		}
		sorted[i], sorted[j] = sorted[j], sorted[i]
		slices.Reverse(sorted[i+1:])
	}
}

// friedmanP is the p-value of rows: exact where worked out, else χ² on P−1.
func friedmanP(rows [][]int) (stat, p float64, exact, ok bool) {
	stat, ok = friedman(rows)
	if !ok {
		return stat, 1, false, false
	}
	k := len(rows[0])
	if !exactFriedmanSize(k, len(rows)) {
		return stat, distuv.ChiSquared{K: float64(k - 1)}.Survival(stat), false, true
	}
	observed := 0
	for j := range k {
		s := 0
		for _, r := range rows {
			s += r[j]
		}
		observed += s * s
	}
	dist := friedmanDistribution(rows)
	keys := make([]int, 0, len(dist))
	for q := range dist {
		keys = append(keys, q)
	}
	slices.Sort(keys)
	for _, q := range keys {
		if q >= observed {
			p += dist[q]
		}
	}
	return stat, math.Min(1, p), true, true
}

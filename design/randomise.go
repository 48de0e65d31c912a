package design

import (
	"fmt"
	"slices"

	"trivet/stats"
)

// balancedOrders are n orders of t things in which each thing stands at every
// place as nearly equally often as n allows, and follows every other as
// nearly equally often: Williams squares, their rows and names in random
// order. The two halves of a doubled square are Latin squares by themselves
// and are used up one after the other.
func balancedOrders(s *stats.Stream, t, n int) [][]int {
	var out [][]int
	for len(out) < n {
		rows := Williams(t)
		names := identity(t)
		stats.Shuffle(s, names)
		for half := range len(rows) / t {
			square := rows[half*t : (half+1)*t]
			stats.Shuffle(s, square)
			for _, row := range square[:max(0, min(t, n-len(out)))] {
				order := make([]int, t)
				for i, v := range row {
					order[i] = names[v]
				}
				out = append(out, order)
			}
		}
	}
	stats.Shuffle(s, out)
	return out
}

func identity(n int) []int {
	x := make([]int, n)
	for i := range x {
		x[i] = i
	}
	return x
}

// noThreeAlike puts labels in a random order without three equal ones in a
// row, by drawing place after place among the labels that leave a way to the
// end, each in proportion to how many are left. ok is false when there is no
// such order.
//
// A way to the end is left when every label fits: those left of label c are at
// most two for each gap that the others make, less the run already open.
func noThreeAlike(s *stats.Stream, labels []string) (out []string, ok bool) {
	left := map[string]int{}
	var names []string
	for _, l := range labels {
		if left[l] == 0 {
			names = append(names, l)
		}
		left[l]++
	}
	slices.Sort(names)
	run := func() (string, int) {
		n := 0
		for i := len(out) - 1; i >= 0 && out[i] == out[len(out)-1]; i-- {
			n++
		}
		if n == 0 {
			return "", 0
		}
		return out[len(out)-1], n
	}
	fits := func(total int) bool {
		last, n := run()
		for _, c := range names {
			open := 0
			if c == last {
				open = n
			}
			if left[c] > 2*(total-left[c]+1)-open {
				return false
			}
		}
		return true
	}
	if !fits(len(labels)) {
		return nil, false
	}
	for total := len(labels); total > 0; total-- {
		last, n := run()
		var can []string
		weight := 0
		for _, c := range names {
			if left[c] == 0 || c == last && n == 2 {
				continue
			}
			left[c]--
			out = append(out, c)
			good := fits(total - 1)
			out = out[:len(out)-1]
			left[c]++
			if good {
				can = append(can, c)
				weight += left[c]
			}
		}
		if len(can) == 0 {
			return nil, false
		}
		k := int(stats.Bounded(s, uint64(weight)))
		for _, c := range can {
			if k < left[c] {
				left[c]--
				out = append(out, c)
				break
			}
			k -= left[c]
		}
	}
	return out, true
}

// spreadOut orders items at random so that no three in a row have one label.
func spreadOut[T any](s *stats.Stream, items []T, label func(T) string) bool {
	byLabel := map[string][]T{}
	labels := make([]string, len(items))
	for i, x := range items {
		labels[i] = label(x)
		byLabel[labels[i]] = append(byLabel[labels[i]], x)
	}
	order, ok := noThreeAlike(s, labels)
	if !ok {
		return false
	}
	names := slices.Sorted(keys(byLabel))
	for _, n := range names {
		stats.Shuffle(s, byLabel[n])
	}
	for i, n := range order {
		items[i] = byLabel[n][0]
		byLabel[n] = byLabel[n][1:]
	}
	return true
}

func keys[T any](m map[string]T) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// shareOut gives things (burners, probes) to slots so that each serves every
// treatment as nearly equally often as can be, and where there are enough,
// each of a block's pieces another one.
func shareOut(seed, what string, slots []Slot, things []string, set func(*Slot, string)) {
	if len(things) == 0 {
		return
	}
	s := stats.NewStream(seed, "design "+what, 0)
	n := len(things)
	var rounds [][]string // in each, every treatment uses every thing once
	var start, used = map[string]int{}, map[string]int{}
	for i := range slots {
		t := slots[i].Treatment
		if _, ok := start[t]; !ok {
			start[t] = len(start) // another start for each treatment
		}
		round := used[t] / n
		for len(rounds) <= round {
			perm := slices.Clone(things)
			stats.Shuffle(s, perm)
			rounds = append(rounds, perm)
		}
		set(&slots[i], rounds[round][(start[t]+used[t])%n])
		used[t]++
	}
}

// sayShared says how a shared thing meets the treatments.
func (p *Plan) sayShared(what string, things []string) {
	if len(things) == 0 {
		p.say("No %s is named, so the plan does not share any out: should two be used, use both for every treatment.", what)
		return
	}
	if len(things) == 1 {
		p.say("One %s serves every cook.", what)
		return
	}
	low, high := len(p.Slots), 0
	count := map[[2]string]int{}
	for _, s := range p.Slots {
		v := s.Burner
		if what == "probe" {
			v = s.Probe
		}
		count[[2]string{s.Treatment, v}]++
	}
	for _, t := range p.Treatments {
		for _, v := range things {
			n := count[[2]string{t, v}]
			low, high = min(low, n), max(high, n)
		}
	}
	if low == 0 {
		p.say("There are too few cooks for every %s to serve every treatment: the difference may be partly that of the %ss.", what, what)
		return
	}
	times := fmt.Sprintf("%d to %d times", low, high)
	if low == high {
		times = fmt.Sprintf("%d times", low)
	}
	p.say("Every %s serves every treatment %s, so that its own error does not favour one.", what, times)
}

// codes are n different codes that suggest nothing: three different digits
// without a leading zero (648 of them), four beyond that.
func codes(s *stats.Stream, n int) []string {
	var pool []string
	from, to := 102, 988
	if n > 500 {
		from, to = 1023, 9877
	}
	for c := from; c < to; c++ {
		text := fmt.Sprint(c)
		if _, twice := repeated(splitRunes(text)); !twice {
			pool = append(pool, text)
		}
	}
	stats.Shuffle(s, pool)
	out := make([]string, n)
	for i := range out {
		out[i] = pool[i%len(pool)]
		if i >= len(pool) {
			out[i] += fmt.Sprintf("-%d", i/len(pool)+1)
		}
	}
	return out
}

func splitRunes(s string) []string {
	var out []string
	for _, r := range s {
		out = append(out, string(r))
	}
	return out
}

// ShareProbes shares probes out anew over a plan, as [Make] does.
func (p *Plan) ShareProbes(probes []string) {
	shareOut(p.Seed, "probe", p.Slots, probes, func(s *Slot, v string) { s.Probe = v })
	p.sayShared("probe", probes)
}

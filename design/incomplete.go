package design

import (
	"fmt"
	"slices"

	"trivet/fault"
	"trivet/stats"
)

// Incidence is a list of blocks, each the treatments (from 0) it holds.
type Incidence [][]int

// catalogue holds balanced incomplete block designs smaller than all subsets
// of k out of t treatments. Each is checked by counting before it is used, so
// a slip here cannot reach a kitchen; [Balance] does the counting.
//
// The designs of prime order are developed from a difference set or family
// (R. C. Bose, Annals of Eugenics 9:353 (1939)); the others were found by
// exhaustive search. Which parameters exist: Fisher & Yates, Statistical
// Tables, 6th ed. 1963, tables XVII–XIX; Cochran & Cox, Experimental Designs,
// 2nd ed. 1957, plans 11.1–11.
var catalogue = map[[2]int]Incidence{
	{6, 3}: {{0, 1, 2}, {0, 1, 3}, {0, 2, 4}, {0, 3, 5}, {0, 4, 5}, {1, 2, 5}, {1, 3, 4}, {1, 4, 5}, {2, 3, 4}, {2, 3, 5}},
	{7, 3}: develop(7, []int{0, 1, 3}),
	{7, 4}: develop(7, []int{2, 4, 5, 6}),
	{8, 4}: {{0, 1, 2, 3}, {0, 1, 2, 4}, {0, 1, 5, 6}, {0, 2, 5, 7}, {0, 3, 4, 5}, {0, 3, 6, 7}, {0, 4, 6, 7},
		{1, 2, 6, 7}, {1, 3, 4, 6}, {1, 3, 5, 7}, {1, 4, 5, 7}, {2, 3, 4, 7}, {2, 3, 5, 6}, {2, 4, 5, 6}},
	{9, 3}: {{0, 1, 2}, {0, 3, 4}, {0, 5, 6}, {0, 7, 8}, {1, 3, 5}, {1, 4, 7}, {1, 6, 8}, {2, 3, 8}, {2, 4, 6}, {2, 5, 7}, {3, 6, 7}, {4, 5, 8}},
	{10, 4}: {{0, 1, 2, 3}, {0, 1, 4, 5}, {0, 2, 4, 6}, {0, 3, 7, 8}, {0, 5, 7, 9}, {0, 6, 8, 9}, {1, 2, 7, 8}, {1, 3, 6, 9},
		{1, 4, 7, 9}, {1, 5, 6, 8}, {2, 3, 5, 9}, {2, 4, 8, 9}, {2, 5, 6, 7}, {3, 4, 5, 8}, {3, 4, 6, 7}},
	{11, 5}: develop(11, []int{1, 3, 4, 5, 9}),
	{13, 3}: develop(13, []int{0, 1, 4}, []int{0, 2, 7}),
	{13, 4}: develop(13, []int{0, 1, 3, 9}),
}

// develop adds 0, 1, …, t−1 modulo t to every base block.
func develop(t int, base ...[]int) Incidence {
	var out Incidence
	for _, b := range base {
		for shift := range t {
			block := make([]int, len(b))
			for i, v := range b {
				block[i] = (v + shift) % t
			}
			slices.Sort(block)
			out = append(out, block)
		}
	}
	return out
}

// subsets are all blocks of k out of t treatments: always balanced.
func subsets(t, k int) Incidence {
	var out Incidence
	pick := identity(k)
	for {
		out = append(out, slices.Clone(pick))
		i := k - 1
		for i >= 0 && pick[i] == t-k+i {
			i--
		}
		if i < 0 {
			return out
		}
		pick[i]++
		for j := i + 1; j < k; j++ {
			pick[j] = pick[j-1] + 1
		}
	}
}

// Counted is what counting an incidence finds.
type Counted struct {
	Treatments, Blocks, BlockSize int
	Replicates                    [2]int // fewest and most blocks a treatment is in
	Concurrence                   [2]int // fewest and most blocks a pair of treatments meets in
}

// Balanced reports whether it is a balanced incomplete block design.
func (c Counted) Balanced() bool {
	return c.BlockSize >= 2 && c.BlockSize < c.Treatments && c.Replicates[0] == c.Replicates[1] && c.Concurrence[0] == c.Concurrence[1] && c.Concurrence[0] > 0 &&
		c.Blocks*c.BlockSize == c.Replicates[0]*c.Treatments && // bk = rt
		c.Concurrence[0]*(c.Treatments-1) == c.Replicates[0]*(c.BlockSize-1) && // λ(t−1) = r(k−1)
		c.Blocks >= c.Treatments // Fisher's inequality
}

// Balance counts an incidence of t treatments. Error "incidence" when a block
// repeats a treatment, has another size, or names one that does not exist.
func Balance(t int, blocks Incidence) (Counted, error) {
	c := Counted{Treatments: t, Blocks: len(blocks)}
	replicates := make([]int, t)
	meets := make([][]int, t)
	for i := range meets {
		meets[i] = make([]int, t)
	}
	for i, b := range blocks {
		if i == 0 {
			c.BlockSize = len(b)
		}
		seen := map[int]bool{}
		for _, v := range b {
			if v < 0 || v >= t || seen[v] || len(b) != c.BlockSize {
				return c, fault.New("incidence", "block %d does not hold %d different treatments", i+1, c.BlockSize)
			}
			seen[v] = true
			replicates[v]++
			for w := range seen {
				if w != v {
					meets[v][w]++
					meets[w][v]++
				}
			}
		}
	}
	if len(blocks) == 0 {
		return c, fault.New("incidence", "there are no blocks")
	}
	c.Replicates = [2]int{slices.Min(replicates), slices.Max(replicates)}
	c.Concurrence = [2]int{len(blocks), 0}
	for i := range t {
		for j := range i {
			c.Concurrence[0] = min(c.Concurrence[0], meets[i][j])
			c.Concurrence[1] = max(c.Concurrence[1], meets[i][j])
		}
	}
	return c, nil
}

// BalancedIncidence returns the smallest balanced design known here for t
// treatments in blocks of k pieces. Error "incomplete-size" when k is not
// between 2 and t−1, or the design is larger than trivet deals.
func BalancedIncidence(t, k int) (Incidence, error) {
	if k < 2 || k >= t {
		e := fault.New("incomplete-size", "blocks of %d pieces for %d treatments are no incomplete blocks", k, t).On("pieces", fmt.Sprint(k))
		if k >= t {
			return nil, e.WithFix("take complete blocks")
		}
		return nil, e.WithFix("2 pieces of a block are the least: with one, block and treatment cannot be told apart")
	}
	d, ok := catalogue[[2]int{t, k}]
	if !ok {
		n := 1
		for i := range k {
			n = n * (t - i) / (i + 1)
			if n > mostCooks/k {
				return nil, fault.New("incomplete-size", "no balanced design of %d treatments in blocks of %d is listed here, and all %d-piece subsets are too many", t, k, k).
					WithFix("fewer treatments, or larger blocks")
			}
		}
		d = subsets(t, k)
	}
	c, err := Balance(t, d)
	if err != nil {
		return nil, err
	}
	if !c.Balanced() {
		return nil, fault.New("incomplete-unbalanced", "the listed design of %d treatments in blocks of %d is not balanced", t, k)
	}
	return d, nil
}

// incompleteBlocks deals a balanced incomplete block design, or a nearly
// balanced one when that is asked for. Which block gets which set of
// treatments is drawn: the information between blocks can be used only then.
func incompleteBlocks(r Request) (*Plan, error) {
	t, k := len(r.Treatments), r.Pieces
	if k == 0 {
		return nil, fault.New("pieces-missing", "incomplete blocks need the number of pieces of a block").WithFix("say how many pieces a block gives, such as 2 or 3")
	}
	unit, err := BalancedIncidence(t, k)
	if err != nil {
		return nil, err
	}
	if err := r.enoughPieces(k); err != nil {
		return nil, err
	}
	if r.Blocks%len(unit) != 0 && !r.Nearly {
		next := (r.Blocks/len(unit) + 1) * len(unit)
		return nil, fault.New("incomplete-blocks", "%d treatments in blocks of %d balance with %d blocks or a multiple of that, not with %d", t, k, len(unit), r.Blocks).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d blocks work next; or ask for a nearly balanced design", next)
	}
	s := stats.NewStream(r.Seed, "design sets", 0)
	var sets Incidence
	for len(sets) < r.Blocks {
		part := slices.Clone(unit)
		stats.Shuffle(s, part)
		sets = append(sets, part[:min(len(part), r.Blocks-len(sets))]...)
	}
	letters := shuffled(s, t)
	stats.Shuffle(s, sets)
	c, err := Balance(t, sets)
	if err != nil {
		return nil, err
	}
	if c.Concurrence[0] == 0 {
		return nil, fault.New("incomplete-blocks", "with %d blocks some treatments would never meet in a block", r.Blocks).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d blocks balance", len(unit))
	}
	lambda := float64(c.Concurrence[0])
	p := &Plan{Treatments: r.Treatments, Blocks: r.Blocks, PerBlock: k,
		ErrorDF:    float64(r.Blocks*k - r.Blocks - t + 1),
		Efficiency: lambda * float64(t) / (float64(c.Replicates[1]) * float64(k))}
	if p.ErrorDF < minErrorDF {
		return nil, fault.New("incomplete-df", "%d blocks leave %g degrees of freedom for the error", r.Blocks, p.ErrorDF).WithFix("%d blocks work next", r.Blocks+len(unit))
	}
	orders := balancedOrders(stats.NewStream(r.Seed, "design run order", 0), k, r.Blocks)
	pieces := balancedOrders(stats.NewStream(r.Seed, "design pieces", 0), k, r.Blocks)
	bs := stats.NewStream(r.Seed, "design block order", 0)
	runs := shuffled(bs, r.Blocks)
	first := func(b int) string { return fmt.Sprint(sets[b][orders[b][0]]) }
	if r.NoThreeAlike && !spreadOut(bs, runs, first) {
		return nil, tooAlike()
	}
	for _, b := range runs {
		for place, i := range orders[b] {
			p.Slots = append(p.Slots, Slot{Order: len(p.Slots) + 1, Block: r.block(b), Piece: r.piece(b, pieces[b][place]),
				Treatment: r.Treatments[letters[sets[b][i]]], Place: place + 1})
		}
	}
	if c.Balanced() {
		p.say("Each of %d treatments is in %d of %d blocks, and every pair of them meets in %d.", t, c.Replicates[0], r.Blocks, c.Concurrence[0])
	} else {
		p.say("This design is only nearly balanced: treatments are in %d to %d blocks and pairs of them meet in %d to %d, so some comparisons are less sure than others.",
			c.Replicates[0], c.Replicates[1], c.Concurrence[0], c.Concurrence[1])
	}
	p.say("Within blocks it gives %.0f %% of the information that as many pieces in complete blocks would: the price of small blocks. %g degrees of freedom judge a difference.", 100*p.Efficiency, p.ErrorDF)
	p.say("Treatment means must not be compared as they stand: treatments met different blocks. The analysis adjusts for that.")
	return p, nil
}

package stats

import (
	"math"
	"runtime"
	"slices"
	"sync"

	"trivet/fault"
)

const (
	exactPermutations = 200_000 // up to this many arrangements all are listed
	permutationDraws  = 100_000
	permutationChunk  = 2_000 // draws per substream
	mostDraws         = 10_000_000
)

// Permutation is the randomisation test that re-uses the design: treatment
// labels change places inside their block only.
type Permutation struct {
	P            float64   // of "no treatment differs from any other"
	ContrastP    []float64 // two-sided, of each contrast, same null
	Exact        bool
	Arrangements float64 // counted: all, or the draws plus the observed one
}

// Permutation tests the comparison by shuffling treatment labels inside
// blocks (over everything without blocks). The statistic is Σ Q²/r over
// treatments, Q the total of a treatment's responses after block means are
// taken off and r their number; in complete blocks it rises with F. When the
// design has at most 200,000 arrangements all are listed; otherwise 100,000
// are drawn from the stream ("permutation") of seed and the observed one
// counts among them: p = (1+k)/(B+1) (Phipson & Smyth 2010, SAGMB 9:39).
//
// Effects of further factors and covariates are not taken out: it is an error
// for a comparison that has any, and for treatments that differ only between
// blocks.
func (c *Comparison) Permutation(seed string) (*Permutation, error) {
	return c.PermutationDraws(seed, permutationDraws)
}

// PermutationDraws is [Comparison.Permutation] with so many draws where not
// all arrangements are listed, rounded up to whole thousands of two.
func (c *Comparison) PermutationDraws(seed string, draws int) (*Permutation, error) {
	if draws < 1 || draws > mostDraws {
		return nil, fault.BadUsage("draws-range", "the number of permutations must lie between 1 and %d", mostDraws).WithFix("100000 are usual")
	}
	if len(c.opt.Also)+len(c.opt.Covariates) > 0 {
		return nil, fault.BadUsage("permutation-effects", "shuffling inside blocks cannot take out further factors or covariates").
			WithFix("compare without them, or average to blocks and treatments first")
	}
	p := newPermuter(c)
	if p == nil {
		return nil, fault.New("permutation-nothing", "no block has two treatments, so there is nothing to shuffle").
			WithFix("leave the block out if whole blocks were assigned at random")
	}
	if total := p.arrangements(); total <= exactPermutations {
		return p.enumerate(total), nil
	}
	return p.draw(seed, draws), nil
}

// permuter holds block-centred responses and what a label order is worth.
type permuter struct {
	blocks  [][]float64 // centred responses, block by block
	labels  [][]int     // observed treatments in the same order
	size    []float64   // units per treatment
	pairs   [][2]int    // contrasts
	overall float64     // observed statistics
	each    []float64
	tol     float64
}

func newPermuter(c *Comparison) *permuter {
	u := c.units
	groups := [][]int{seq(len(u.response))}
	if u.block != nil {
		groups = make([][]int, len(u.block.levels))
		for i, b := range u.block.index {
			groups[b] = append(groups[b], i)
		}
	}
	p := &permuter{size: make([]float64, len(c.Treatments))}
	for _, rows := range groups {
		y := make([]float64, len(rows))
		label := make([]int, len(rows))
		for k, i := range rows {
			y[k], label[k] = u.response[i], u.treatment.index[i]
		}
		if slices.Min(label) == slices.Max(label) {
			continue // says nothing about treatments
		}
		p.blocks = append(p.blocks, centred(y))
		p.labels = append(p.labels, label)
		for _, l := range label {
			p.size[l]++
		}
	}
	if len(p.blocks) == 0 {
		return nil
	}
	for _, k := range c.Contrasts {
		p.pairs = append(p.pairs, [2]int{slices.Index(c.Treatments, k.Treatment), slices.Index(c.Treatments, k.Control)})
	}
	totals := make([]float64, len(p.size))
	for b, y := range p.blocks {
		for k, l := range p.labels[b] {
			totals[l] += y[k]
		}
	}
	p.each = make([]float64, len(p.pairs))
	p.overall = p.statistic(totals, p.each)
	for b := range p.blocks {
		p.tol += dot(p.blocks[b], p.blocks[b])
	}
	p.tol *= flipTol
	return p
}

// statistic returns Σ Q²/r and fills the squared contrasts.
func (p *permuter) statistic(totals, each []float64) float64 {
	s := 0.0
	for j, q := range totals {
		if p.size[j] > 0 {
			s += q * q / p.size[j]
		}
	}
	for i, pr := range p.pairs {
		d := totals[pr[0]]/p.size[pr[0]] - totals[pr[1]]/p.size[pr[1]]
		each[i] = d * d
	}
	return s
}

// arrangements is the number of distinct label orders: the product over
// blocks of the multinomials.
func (p *permuter) arrangements() float64 {
	logs := 0.0
	for _, label := range p.labels {
		lg, _ := math.Lgamma(float64(len(label) + 1))
		logs += lg
		count := map[int]int{}
		for _, l := range label {
			count[l]++
		}
		for l := range p.size {
			lg, _ := math.Lgamma(float64(count[l] + 1))
			logs -= lg
		}
	}
	return math.Round(math.Exp(logs))
}

// tally counts arrangements at least as extreme as the observed one.
type tally struct {
	overall float64
	each    []float64
}

func (p *permuter) count(t *tally, totals, each []float64) {
	if p.statistic(totals, each) >= p.overall-p.tol {
		t.overall++
	}
	for i, v := range each {
		if v >= p.each[i]*(1-2*flipTol)-p.tol*1e-3 {
			t.each[i]++
		}
	}
}

func (p *permuter) result(t tally, total float64, exact bool) *Permutation {
	out := &Permutation{P: t.overall / total, Exact: exact, Arrangements: total}
	for _, v := range t.each {
		out.ContrastP = append(out.ContrastP, v/total)
	}
	return out
}

// enumerate walks through all distinct label orders.
func (p *permuter) enumerate(total float64) *Permutation {
	t := tally{each: make([]float64, len(p.pairs))}
	each := make([]float64, len(p.pairs))
	totals := make([]float64, len(p.size))
	left := make([]int, len(p.size))
	var walk func(block, place int)
	walk = func(block, place int) {
		if place == len(p.blocks[block]) {
			if block++; block == len(p.blocks) {
				p.count(&t, totals, each)
				return
			}
			mine := slices.Clone(left)
			clear(left)
			for _, l := range p.labels[block] {
				left[l]++
			}
			walk(block, 0)
			copy(left, mine)
			return
		}
		y := p.blocks[block][place]
		for l := range left {
			if left[l] == 0 {
				continue
			}
			before := totals[l]
			left[l]--
			totals[l] += y
			walk(block, place+1)
			totals[l] = before
			left[l]++
		}
	}
	for _, l := range p.labels[0] {
		left[l]++
	}
	walk(0, 0)
	return p.result(t, total, true)
}

// draw shuffles labels at random, in chunks that each have their own
// substream, so the answer does not depend on the number of workers.
func (p *permuter) draw(seed string, draws int) *Permutation {
	chunks := (draws + permutationChunk - 1) / permutationChunk
	tallies := make([]tally, chunks)
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(chunks, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for k := range next {
				tallies[k] = p.chunk(seed, k)
			}
		})
	}
	for k := range chunks {
		next <- k
	}
	close(next)
	wg.Wait()
	sum := tally{overall: 1, each: make([]float64, len(p.pairs))}
	for i := range sum.each {
		sum.each[i] = 1
	}
	for _, t := range tallies {
		sum.overall += t.overall
		axpy(sum.each, t.each, 1)
	}
	return p.result(sum, float64(chunks*permutationChunk+1), false)
}

func (p *permuter) chunk(seed string, index int) tally {
	s := NewStream(seed, "permutation", uint64(index))
	t := tally{each: make([]float64, len(p.pairs))}
	each := make([]float64, len(p.pairs))
	totals := make([]float64, len(p.size))
	labels := make([][]int, len(p.labels))
	for b := range labels {
		labels[b] = slices.Clone(p.labels[b])
	}
	for range permutationChunk {
		clear(totals)
		for b, y := range p.blocks {
			Shuffle(s, labels[b])
			for k, l := range labels[b] {
				totals[l] += y[k]
			}
		}
		p.count(&t, totals, each)
	}
	return t
}

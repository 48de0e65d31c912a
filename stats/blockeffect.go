package stats

import (
	"math"
	"slices"
	"sync"

	"trivet/fault"
)

// BlockEffect is the mean over blocks of treatment minus control, judged by
// sign flips alone. It serves responses that are no smooth measurements:
// shares of yes, grades, counts.
type BlockEffect struct {
	Treatment, Control string
	Blocks             int // that have both
	Estimate           float64

	d    []float64
	seed string
	once *flipOnce
}

// flipOnce holds the sign-flip test of a block effect, drawn when it is first
// asked for: 100,000 patterns of many blocks are work that pairs of yes and
// no, which have a test of their own, never need.
type flipOnce struct {
	sync.Once
	test *SignFlipTest
}

// flips is the sign-flip test of the block differences.
func (e BlockEffect) flips() *SignFlipTest {
	if e.once == nil {
		return SignFlip(e.d, e.seed)
	}
	e.once.Do(func() { e.once.test = SignFlip(e.d, e.seed) })
	return e.once.test
}

// Interval is the sign-flip interval at a level; infinite when the blocks are
// too few for it ([LeastPairs]).
func (e BlockEffect) Interval(level float64) Interval { return e.flips().Interval(level) }

// P is the sign-flip p-value against the difference bound.
func (e BlockEffect) P(claim Claim, bound float64) float64 { return e.flips().P(claim, bound) }

// EquivalenceP is the larger one-sided p of the two tests against ±margin;
// NaN for a margin that is not positive.
func (e BlockEffect) EquivalenceP(margin float64) float64 {
	if !(margin > 0) {
		return math.NaN()
	}
	return math.Max(e.P(Higher, -margin), e.P(Lower, margin))
}

// Estimator is an estimated difference with an interval at any level, to be
// held against a margin.
type Estimator interface {
	Interval(level float64) Interval
	EquivalenceP(margin float64) float64
}

var (
	_ Estimator = Contrast{}
	_ Estimator = BlockEffect{}
	_ Estimator = YesNoContrast{}
	_ Estimator = RateContrast{}
)

// blocked is a table reduced to blocks, for responses of their own kind.
type blocked struct {
	u          units
	treatments []string
	control    int
	notes      []fault.Note
}

// gatherBlocked checks a table that must have blocks and finds its control.
func gatherBlocked(t Table, o *Options, kind string) (*blocked, error) {
	if err := o.normalise(); err != nil {
		return nil, err
	}
	if o.LogScale {
		return nil, fault.BadUsage("scale-kind", "%s responses have no log scale", kind).WithFix("leave the scale out")
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	if t.Block == nil {
		return nil, fault.BadUsage("block-missing", "%s responses are compared inside blocks, and no block column was given", kind).
			WithFix("name the block column")
	}
	u, err := gather(t, o)
	if err != nil {
		return nil, err
	}
	c := &Comparison{Treatments: u.treatment.levels}
	if len(c.Treatments) < 2 {
		return nil, fault.New("one-level", "there is only one treatment, %q", c.Treatments[0]).WithFix("give rows of at least two treatments")
	}
	if len(u.block.levels) < 2 {
		return nil, fault.New("single-block", "all rows come from one block, %q, so nothing is repeated", u.block.levels[0]).
			WithFix("repeat the experiment in more blocks")
	}
	control, err := c.pickControl(o.Control)
	if err != nil {
		return nil, err
	}
	return &blocked{u: u, treatments: c.Treatments, control: control, notes: append(u.notes, c.Notes...)}, nil
}

// others are the treatments that are not the control, by index.
func (b *blocked) others() []int {
	var out []int
	for i := range b.treatments {
		if i != b.control {
			out = append(out, i)
		}
	}
	return out
}

// differences of a treatment and the control by block.
func (b *blocked) differences(treatment int, response []float64) []float64 {
	u := b.u
	u.response = response
	c := &Comparison{Treatments: b.treatments, units: u,
		Contrasts: []Contrast{{Treatment: b.treatments[treatment], Control: b.treatments[b.control]}}}
	return c.DifferenceValues(0)
}

// effect is the block effect of a treatment on some response of the units.
func (b *blocked) effect(treatment int, response []float64, seed string) (BlockEffect, error) {
	d := b.differences(treatment, response)
	if len(d) == 0 {
		return BlockEffect{}, fault.New("not-estimable", "no block has both %q and %q", b.treatments[treatment], b.treatments[b.control]).
			WithFix("compare treatments inside the same blocks")
	}
	return BlockEffect{Treatment: b.treatments[treatment], Control: b.treatments[b.control],
		Blocks: len(d), Estimate: Mean(d), d: d, seed: seed, once: &flipOnce{}}, nil
}

// rows are the columns of a table a stratified likelihood needs: one line of
// codes per row (treatments but the control, then levels but the first of
// further factors, then covariates), and the stratum of each.
func (b *blocked) rows(t Table, o Options) (x [][]float64, stratum []int, strata int, err error) {
	also, values, err := pick(t, &o)
	if err != nil {
		return nil, nil, 0, err
	}
	tr, bl := newFactor(t.Treatment), newFactor(t.Block)
	x = make([][]float64, t.Len())
	for i := range x {
		for _, j := range b.others() {
			x[i] = append(x[i], indicator(tr.index[i] == j))
		}
	}
	for _, labels := range also {
		f := newFactor(labels)
		for i, l := range f.index {
			for j := 1; j < len(f.levels); j++ {
				x[i] = append(x[i], indicator(l == j))
			}
		}
	}
	for _, v := range values {
		c := centred(v)
		for i := range x {
			x[i] = append(x[i], c[i])
		}
	}
	return x, bl.index, len(bl.levels), nil
}

func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// byStratum lists the rows of every stratum.
func byStratum(stratum []int, strata int) [][]int {
	out := make([][]int, strata)
	for i, s := range stratum {
		out[s] = append(out[s], i)
	}
	return out
}

// newton maximises a concave log-likelihood of p parameters from zero. eval
// returns value, gradient and the negative Hessian. It reports false when the
// maximum lies at infinity or the information is singular.
func newton(p int, eval func(beta []float64) (float64, []float64, *symmetric)) (beta []float64, cov *symmetric, ok bool) {
	beta = make([]float64, p)
	value, grad, info := eval(beta)
	for range 60 {
		chol := info.clone()
		if !chol.cholesky() {
			return beta, nil, false
		}
		inv := chol.inverse()
		step := multiply(inv.a, grad)
		moved := 0.0
		for share := 1.0; ; share /= 2 {
			next := slices.Clone(beta)
			axpy(next, step, share)
			v, g, h := eval(next)
			if v >= value-1e-12*math.Abs(value) || share < 1e-6 {
				for i := range step {
					moved = math.Max(moved, math.Abs(share*step[i]))
				}
				beta, value, grad, info = next, v, g, h
				break
			}
		}
		if norm(beta) > 30 {
			return beta, nil, false
		}
		if moved < 1e-12 {
			break
		}
	}
	chol := info.clone()
	if !chol.cholesky() {
		return beta, nil, false
	}
	return beta, chol.inverse(), true
}

package stats

import (
	"math"
	"slices"

	"trivet/fault"
)

// BlockDifference is treatment minus control in one block, both averaged over
// their units of that block.
type BlockDifference struct {
	Block      string
	Difference float64
}

// Differences returns treatment minus control in every block that has both,
// in the order of the sorted blocks, for contrast i. Nil without blocks.
func (c *Comparison) Differences(i int) []BlockDifference {
	u := c.units
	if u.block == nil {
		return nil
	}
	k := c.Contrasts[i]
	a, b := slices.Index(c.Treatments, k.Treatment), slices.Index(c.Treatments, k.Control)
	type side struct{ values []float64 }
	both := make([][2]side, len(u.block.levels))
	for r, y := range u.response {
		switch blk := u.block.index[r]; u.treatment.index[r] {
		case a:
			both[blk][0].values = append(both[blk][0].values, y)
		case b:
			both[blk][1].values = append(both[blk][1].values, y)
		}
	}
	var out []BlockDifference
	for l, s := range both {
		if len(s[0].values) > 0 && len(s[1].values) > 0 {
			out = append(out, BlockDifference{Block: u.block.levels[l], Difference: Mean(s[0].values) - Mean(s[1].values)})
		}
	}
	return out
}

// DifferenceValues is [Comparison.Differences] without the block names.
func (c *Comparison) DifferenceValues(i int) []float64 {
	var out []float64
	for _, d := range c.Differences(i) {
		out = append(out, d.Difference)
	}
	return out
}

// SignFlip prepares the sign-flip test of contrast i on its block
// differences; nil when no block has both treatments.
func (c *Comparison) SignFlip(i int, seed string) *SignFlipTest {
	d := c.DifferenceValues(i)
	if len(d) == 0 {
		return nil
	}
	return SignFlip(d, seed)
}

// Influence is the comparison as it would stand without one block.
type Influence struct {
	Block string
	// Contrasts in the order of the whole comparison, not adjusted for one
	// another; NaN where a contrast cannot be told without the block.
	Contrasts []Contrast
	// Err says why nothing could be fitted without the block.
	Err error
}

// LeaveOneOut repeats the same analysis without each block in turn. A
// complete table keeps its fixed blocks, a mixed model stays one and its
// variances are estimated anew. Without blocks it returns nil.
func (c *Comparison) LeaveOneOut() []Influence {
	if c.units.block == nil {
		return nil
	}
	fast := c.downdate()
	out := make([]Influence, c.NBlocks)
	for b, block := range c.units.block.levels {
		out[b] = Influence{Block: block, Contrasts: fast(b)}
		if out[b].Contrasts == nil {
			out[b].Contrasts, out[b].Err = c.refitWithout(b)
		}
	}
	return out
}

// refitWithout drops a block from the table and compares again.
func (c *Comparison) refitWithout(block int) ([]Contrast, error) {
	o := c.opt
	o.Control = c.Control
	if o.Blocks == BlocksAuto && !c.Complete {
		o.Blocks = BlocksRandom // the design stays incomplete, whichever block is left out
	}
	nan := math.NaN()
	out := make([]Contrast, len(c.Contrasts))
	for i, k := range c.Contrasts {
		out[i] = Contrast{Treatment: k.Treatment, Control: k.Control, Estimate: nan, SE: nan, DF: nan,
			CILow: nan, CIHigh: nan, T: nan, P: nan, PAdjusted: nan, EquivP: nan}
	}
	without, err := compareUnits(c.units.withoutBlock(block), o)
	if err != nil {
		return out, err
	}
	for i, k := range out {
		j := slices.IndexFunc(without.Contrasts, func(w Contrast) bool {
			return w.Treatment == k.Treatment && w.Control == k.Control
		})
		if j >= 0 {
			out[i] = without.Contrasts[j]
			out[i].PAdjusted = nan
		}
	}
	return out, nil
}

// withoutBlock drops the units of one block.
func (u units) withoutBlock(block int) units {
	var keep []int
	for i, b := range u.block.index {
		if b != block {
			keep = append(keep, i)
		}
	}
	at := func(f factor) factor {
		labels := make([]string, len(keep))
		for k, i := range keep {
			labels[k] = f.levels[f.index[i]]
		}
		return newFactor(labels)
	}
	values := func(x []float64) []float64 {
		out := make([]float64, len(keep))
		for k, i := range keep {
			out[k] = x[i]
		}
		return out
	}
	out := units{rows: u.rows, pieces: u.pieces, response: values(u.response), treatment: at(u.treatment)}
	b := at(*u.block)
	out.block = &b
	for _, f := range u.also {
		out.also = append(out.also, at(f))
	}
	for _, x := range u.covariates {
		out.covariates = append(out.covariates, values(x))
	}
	return out
}

// OutlyingBlocks names the blocks whose difference in contrast i lies far
// from the others ([Outliers]). They stay in.
func (c *Comparison) OutlyingBlocks(i int) []string {
	d := c.Differences(i)
	values := c.DifferenceValues(i)
	var out []string
	for _, k := range Outliers(values) {
		out = append(out, d[k].Block)
	}
	return out
}

// NonAdditivity is Tukey's test with one degree of freedom for treatment
// effects that grow with the level of the block; a small p suggests the log
// scale (Tukey 1949, Biometrics 5:232):
//
//	SS = [ΣΣ y_ij (ȳ_i.−ȳ..)(ȳ_.j−ȳ..)]² / [Σ(ȳ_i.−ȳ..)² Σ(ȳ_.j−ȳ..)²].
//
// It needs one unit per block and treatment.
func (c *Comparison) NonAdditivity() (FTest, error) {
	u := c.units
	if u.block == nil || !c.Complete || c.N != c.NBlocks*len(c.Treatments) || len(c.opt.Also)+len(c.opt.Covariates) > 0 {
		return FTest{}, fault.BadUsage("non-additivity-table", "the test of non-additivity needs a complete table of blocks and treatments, one unit each, without further effects")
	}
	y := make([][]float64, c.NBlocks)
	for b := range y {
		y[b] = make([]float64, len(c.Treatments))
	}
	grand := Mean(u.response)
	for i, v := range u.response {
		y[u.block.index[i]][u.treatment.index[i]] = v - grand
	}
	rows, columns := make([]float64, c.NBlocks), make([]float64, len(c.Treatments))
	for b := range y {
		for j, v := range y[b] {
			rows[b] += v / float64(len(columns))
			columns[j] += v / float64(len(rows))
		}
	}
	cross := 0.0
	for b := range y {
		for j, v := range y[b] {
			cross += v * rows[b] * columns[j]
		}
	}
	ss := cross * cross / (dot(rows, rows) * dot(columns, columns))
	df := float64(c.DFResidual - 1)
	if df < 1 {
		return FTest{}, fault.New("no-error-df", "too few blocks and treatments for a test of non-additivity").WithFix("cook in more blocks")
	}
	f := FTest{Term: "non-additivity", NumDF: 1, DenDF: df}
	f.F = ss / ((c.model.rss - ss) / df)
	f.P = fUpper(f.F, 1, df)
	return f, nil
}

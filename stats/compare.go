package stats

import (
	"encoding/json"
	"math"
	"slices"
	"strings"

	"trivet/fault"
)

// CompareFormat names the JSON form of a [Comparison].
const CompareFormat = "trivet/compare/1"

// Comparison is the answer of [Compare]. NaN numbers become null in JSON.
type Comparison struct {
	Method  string // the analysis in words
	N       int    // units analysed, after averaging
	Rows    int    // rows of the table
	NBlocks int
	// BlockVariance is the estimated variance between blocks; NaN when blocks
	// are fixed or absent.
	BlockVariance    float64
	ResidualVariance float64
	DFResidual       int
	Complete         bool // every block has every treatment equally often
	LogScale         bool
	Alpha            float64
	Margin           float64 // 0 for none
	Claim            Claim
	Control          string
	Treatments       []string // sorted
	Contrasts        []Contrast
	Notes            []fault.Note

	model *Model
	units units
	opt   Options
}

// MarshalJSON writes the contract of a comparison.
func (c Comparison) MarshalJSON() ([]byte, error) {
	scale := "identity"
	if c.LogScale {
		scale = "log"
	}
	return json.Marshal(struct {
		Format           string       `json:"format"`
		Method           string       `json:"method"`
		N                int          `json:"n"`
		NBlocks          int          `json:"n_blocks"`
		BlockVariance    *float64     `json:"block_variance"`
		ResidualVariance *float64     `json:"residual_variance"`
		Alpha            float64      `json:"alpha"`
		Margin           *float64     `json:"margin"`
		Scale            string       `json:"scale"`
		Contrasts        []Contrast   `json:"contrasts"`
		Notes            []fault.Note `json:"notes"`
	}{CompareFormat, c.Method, c.N, c.NBlocks, finite(c.BlockVariance), finite(c.ResidualVariance),
		c.Alpha, positive(c.Margin), scale, nonNil(c.Contrasts), nonNil(c.Notes)})
}

// Model returns the fitted model behind the comparison, for marginal means
// and tests of terms. Its factors are called "treatment" and "block", others
// by their own names.
func (c *Comparison) Model() *Model { return c.model }

// Names of the treatment and block factors in the model of a comparison.
const (
	TreatmentTerm = "treatment"
	BlockTerm     = "block"
)

// Compare estimates every treatment minus the control.
//
// With blocks, rows are first averaged to one unit per block × treatment (and
// level of the factors of [Options.Also]), or per piece when the table names
// pieces. A complete table is analysed with fixed blocks, an incomplete one
// by a mixed model with a random intercept of block, REML and Satterthwaite
// degrees of freedom. Without blocks it is an ordinary linear model.
//
// When the block variance of a mixed model is estimated as zero, the degrees
// of freedom are the smaller of Satterthwaite's and those inside blocks: a
// zero estimate never makes an answer surer than its design.
//
// Errors are Usage for a wrong option or name, Content for data that cannot
// be compared.
func Compare(t Table, o Options) (*Comparison, error) {
	if err := o.normalise(); err != nil {
		return nil, err
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	u, err := gather(t, &o)
	if err != nil {
		return nil, err
	}
	return compareUnits(u, o)
}

// compareUnits analyses units that were gathered and checked.
func compareUnits(u units, o Options) (*Comparison, error) {
	c := &Comparison{
		N: len(u.response), Rows: u.rows, LogScale: o.LogScale, Alpha: o.Alpha, Margin: o.Margin, Claim: o.Claim,
		Treatments: u.treatment.levels, BlockVariance: math.NaN(), Notes: slices.Clone(u.notes), units: u, opt: o,
	}
	if len(c.Treatments) < 2 {
		return nil, fault.New("one-level", "there is only one treatment, %q", c.Treatments[0]).
			WithFix("give rows of at least two treatments")
	}
	control, err := c.pickControl(o.Control)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(u.response, func(y float64) bool { return y != u.response[0] }); i < 0 {
		return nil, fault.New("all-equal", "every response is %g, so there is no scatter to compare with", u.response[0]).
			WithFix("record the response to a finer step")
	}
	if u.block != nil {
		c.NBlocks = len(u.block.levels)
		if c.NBlocks == 1 {
			return nil, fault.New("single-block", "all rows come from one block, %q, so nothing is repeated", u.block.levels[0]).
				WithFix("repeat the experiment in more blocks; if the rows are independent pieces, leave the block out")
		}
		c.Complete = u.complete()
	} else if o.Blocks == BlocksRandom {
		return nil, fault.BadUsage("block-missing", "random blocks were asked for, but no block column was given").
			WithFix("name the block column")
	}
	if err := c.fit(); err != nil {
		return nil, err
	}
	if err := c.contrast(control); err != nil {
		return nil, err
	}
	if err := c.cellLevel(control); err != nil {
		return nil, err
	}
	c.unadjusted(control)
	for _, k := range c.Contrasts {
		if finite(k.SE) == nil || finite(k.DF) == nil || finite(k.P) == nil {
			c.Notes = append(c.Notes, fault.Notef("not-finite",
				"%s − %s has no usable standard error or degrees of freedom; numbers that do not exist are left empty.", k.Treatment, k.Control))
		}
	}
	return c, nil
}

// pickControl finds the control among the treatments.
func (c *Comparison) pickControl(wanted string) (int, error) {
	if wanted == "" {
		c.Control = c.Treatments[0]
		c.Notes = append(c.Notes, fault.Notef("control-assumed", "No control was named; %q, the first in order, is used.", c.Control))
		return 0, nil
	}
	i := slices.Index(c.Treatments, wanted)
	if i < 0 {
		return 0, fault.BadUsage("control-unknown", "no row has the control treatment %q", wanted).
			On("control", wanted).WithFix("%s", suggest(wanted, c.Treatments))
	}
	c.Control = wanted
	return i, nil
}

// spec is the model of the units without their blocks.
func (c *Comparison) spec() (ModelSpec, map[string]factor, map[string][]float64) {
	u := c.units
	factors := map[string]factor{TreatmentTerm: u.treatment}
	spec := ModelSpec{Response: u.response}
	if u.block != nil {
		factors[BlockTerm] = *u.block
	}
	covariates := map[string][]float64{}
	for i, name := range c.opt.Covariates {
		name = termName(name, factors, covariates)
		covariates[name] = u.covariates[i]
		spec.Fixed = append(spec.Fixed, name)
	}
	for i, name := range c.opt.Also {
		name = termName(name, factors, covariates)
		factors[name] = u.also[i]
		spec.Fixed = append(spec.Fixed, name)
	}
	spec.Fixed = append(spec.Fixed, TreatmentTerm)
	return spec, factors, covariates
}

// termName makes a column name usable as a term: no colon, which would read
// as an interaction, and unlike the names already there.
func termName(column string, factors map[string]factor, covariates map[string][]float64) string {
	name := strings.ReplaceAll(column, ":", "/")
	for {
		_, f := factors[name]
		_, c := covariates[name]
		if !f && !c {
			return name
		}
		name += "′"
	}
}

// fit chooses the analysis and fits it.
func (c *Comparison) fit() error {
	spec, factors, covariates := c.spec()
	u := c.units
	random := false
	switch {
	case u.block == nil:
		c.Method = "linear model, one-way"
		if len(c.Treatments) == 2 {
			c.Method = "linear model, two independent groups"
		}
	case u.nested():
		// Every block has one treatment: blocks are then the units, and their
		// scatter is the error.
		if u.unitsPerBlock() > 1 {
			random = true
			c.Method = "mixed model, treatments between blocks, random blocks, REML, Satterthwaite degrees of freedom"
		} else {
			c.Method = "linear model, blocks as units"
		}
		c.Notes = append(c.Notes, fault.Notef("treatment-between-blocks",
			"Each block had one treatment only, so blocks, not pieces, are what was repeated: %d of them.", c.NBlocks))
	case c.opt.Blocks == BlocksRandom || c.opt.Blocks == BlocksAuto && !c.Complete:
		random = true
		c.Method = "mixed model, random blocks, REML, Satterthwaite degrees of freedom"
	default:
		spec.Blocks = BlockTerm
		switch {
		case c.Complete && len(c.Treatments) == 2 && c.N == 2*c.NBlocks && len(spec.Fixed) == 1:
			c.Method = "paired comparison, fixed blocks"
		case c.Complete:
			c.Method = "randomised complete blocks, fixed blocks"
		default:
			c.Method = "incomplete blocks, fixed blocks"
		}
	}
	if random {
		spec.Random = []string{BlockTerm}
	}
	model, err := fitModel(spec, factors, covariates)
	if err != nil {
		if e := fault.As(err); e != nil && (e.Code == "no-error-df" || e.Code == "confounded") && u.block != nil && u.nested() {
			return fault.New("treatment-is-batch", "each treatment was cooked in one batch, so treatment and batch cannot be told apart").
				WithFix("cook every treatment in several batches")
		}
		return err
	}
	c.model = model
	c.ResidualVariance = model.Sigma2
	c.DFResidual = model.DFResidual
	if random {
		c.BlockVariance = model.Components[0].Variance
	}
	for _, n := range model.Notes {
		if n.Code != "singular-fit" { // said below with what was done about it
			c.Notes = append(c.Notes, n)
		}
	}
	if u.block != nil && !c.Complete && !u.nested() {
		c.Notes = append(c.Notes, fault.Notef("incomplete-blocks",
			"Some blocks lack a treatment or have it more often; the answer assumes that what is missing has nothing to do with its result."))
	}
	if u.block == nil {
		sd := math.Sqrt(model.Sigma2)
		c.Notes = append(c.Notes, fault.Notef("no-blocks",
			"Without blocks all scatter between pieces (SD %.3g) counts as error. If half of its variance lies between lots, comparing inside lots would shrink the standard error by a factor 0.71 and need half the pieces.", sd))
	}
	return nil
}

// contrast fills the contrasts and what is adjusted over them.
func (c *Comparison) contrast(control int) error {
	var pairs [][2]int
	for b := range c.Treatments {
		for a := b + 1; a < len(c.Treatments); a++ {
			switch {
			case b == control:
				pairs = append(pairs, [2]int{a, b})
			case a == control:
				pairs = append(pairs, [2]int{b, a})
			case c.opt.Adjust == AdjustTukey:
				pairs = append(pairs, [2]int{a, b})
			}
		}
	}
	dfCap := math.Inf(1)
	if c.BlockVariance == 0 || c.model.dfUnknown() {
		if df := c.designDF(); df >= 1 {
			dfCap = float64(df)
		}
	}
	if c.BlockVariance == 0 {
		c.Notes = append(c.Notes, fault.Notef("block-variance-zero",
			"The variance between blocks is estimated as zero; the degrees of freedom are held at those the blocks leave where these are fewer."))
	}
	contrasts, notes, err := c.model.contrasts(TreatmentTerm, pairs, c.opt.Adjust, dfCap, c.Alpha, c.Margin)
	if err != nil {
		return err
	}
	c.Contrasts = contrasts
	c.Notes = append(c.Notes, notes...)
	return nil
}

// designDF is what the blocks leave for error whatever their variance: rows
// inside blocks, or the blocks themselves where each had one treatment only.
func (c *Comparison) designDF() int {
	switch {
	case c.units.block == nil:
		return c.DFResidual
	case c.units.nested():
		return c.NBlocks - len(c.Treatments)
	}
	spec, factors, covariates := c.spec()
	coding, err := newCoding(len(spec.Response), factors, covariates, spec.Fixed)
	if err != nil {
		return 0
	}
	b := newBasis(len(spec.Response), coding.columns, c.units.block)
	return len(spec.Response) - b.qr.rank() - c.NBlocks
}

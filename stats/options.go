package stats

import (
	"math"
	"slices"
	"strconv"

	"trivet/fault"
)

// Blocks says how block differences enter a comparison.
type Blocks string

// Ways to treat blocks. The empty Blocks means BlocksAuto.
const (
	// BlocksAuto takes fixed blocks when every block has every treatment
	// equally often, and random ones when runs are missing.
	BlocksAuto   Blocks = "auto"
	BlocksFixed  Blocks = "fixed"
	BlocksRandom Blocks = "random"
)

// Options of a comparison. The zero value compares every treatment with the
// first one (in sorted order), either direction, 95 % intervals, no margin.
type Options struct {
	Control string // control treatment; empty takes the first in sorted order and notes it
	// Margin is the smallest difference that matters, on the analysis scale:
	// for a ratio r with LogScale it is ln(1+r). 0 means none.
	Margin     float64
	Claim      Claim    // direction of the claim; empty means Either. It changes no number of a contrast.
	Alpha      float64  // 1 − confidence level; 0 means 0.05
	LogScale   bool     // compare natural logarithms, for ratios
	Blocks     Blocks   // empty means BlocksAuto
	Also       []string // factors of the table added as fixed effects
	Covariates []string // covariates of the table added as fixed effects
	// Adjust is how p-values allow for several contrasts; empty means
	// AdjustHolm. AdjustTukey compares all pairs instead of each treatment with
	// the control: the later in sorted order minus the earlier, the control
	// always last.
	Adjust Adjust
	// DifferencesOnly leaves out the models of odds that stand beside the
	// differences of yes-no responses and grades: for repeats that only ask
	// what one block does to the difference.
	DifferencesOnly bool
}

// normalise fills defaults and refuses what makes no sense.
func (o *Options) normalise() error {
	if o.Alpha == 0 {
		o.Alpha = 0.05
	}
	if !(o.Alpha > 0 && o.Alpha < 0.5) {
		return fault.BadUsage("alpha-range", "alpha must lie between 0 and 0.5").
			On("alpha", strconv.FormatFloat(o.Alpha, 'g', -1, 64)).WithFix("0.05 is usual")
	}
	if math.IsNaN(o.Margin) || math.IsInf(o.Margin, 0) || o.Margin < 0 {
		return fault.BadUsage("margin-range", "the margin must be a positive number").
			On("margin", strconv.FormatFloat(o.Margin, 'g', -1, 64)).WithFix("give the smallest difference that matters")
	}
	if o.Claim == "" {
		o.Claim = Either
	}
	if o.Blocks == "" {
		o.Blocks = BlocksAuto
	}
	if o.Adjust == "" {
		o.Adjust = AdjustHolm
	}
	choice := func(flag, value string, allowed ...string) error {
		if slices.Contains(allowed, value) {
			return nil
		}
		return fault.BadUsage("option-unknown", "%s cannot be %q", flag, value).On(flag, value).WithFix("%s", suggest(value, allowed))
	}
	if err := choice("claim", string(o.Claim), "higher", "lower", "either"); err != nil {
		return err
	}
	if err := choice("blocks", string(o.Blocks), "auto", "fixed", "random"); err != nil {
		return err
	}
	return choice("adjust", string(o.Adjust), "holm", "tukey", "dunnett", "none")
}

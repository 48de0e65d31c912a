package stats

import (
	"fmt"
	"strings"

	"trivet/fault"
)

// cellLevel adds the test on cell means when several rows of a batch were
// fitted as if they were independent of it.
func (c *Comparison) cellLevel(control int) error {
	u := c.units
	if u.block == nil || len(c.opt.Also) == 0 || u.pieces || !u.repeatedCells() {
		return nil
	}
	cells := u.toCells()
	o := c.opt
	o.Also, o.Covariates = nil, nil
	o.Control = c.Treatments[control]
	low, err := compareUnits(cells, o)
	if err != nil {
		c.Notes = append(c.Notes, fault.Notef("rows-inside-batch",
			"Rows of one block and treatment were fitted as if independent; if they came from one batch they are not, and the averages of the batches cannot be tested (%s).", err))
		return nil
	}
	for _, k := range low.Contrasts {
		c.Notes = append(c.Notes, fault.Notef("rows-inside-batch",
			"Rows of one block and treatment were fitted as if independent of it; if they came from one batch, the test on batch averages decides: %s − %s = %s, standard error %s, %s degrees of freedom, p = %s.",
			k.Treatment, k.Control, short(k.Estimate), short(k.SE), short(k.DF), short(k.P)))
	}
	return nil
}

// unadjusted says what the comparison would be without its covariates, and
// when they are many for the data.
func (c *Comparison) unadjusted(control int) {
	if len(c.opt.Covariates) == 0 {
		return
	}
	// At most one covariate per six degrees of freedom: common practice, no
	// source.
	if c.DFResidual < 6*len(c.opt.Covariates) {
		c.Notes = append(c.Notes, fault.Notef("many-covariates",
			"%d covariates on %d degrees of freedom: the adjustment is about as uncertain as what it corrects.", len(c.opt.Covariates), c.DFResidual))
	}
	o := c.opt
	o.Covariates = nil
	o.Control = c.Treatments[control]
	plain, err := compareUnits(c.units.withoutCovariates(), o)
	if err != nil {
		return
	}
	for i, k := range plain.Contrasts {
		c.Notes = append(c.Notes, fault.Notef("unadjusted",
			"%s − %s is %s at equal %s; without that adjustment %s (standard error %s, p = %s).",
			k.Treatment, k.Control, short(c.Contrasts[i].Estimate), strings.Join(c.opt.Covariates, ", "), short(k.Estimate), short(k.SE), short(k.P)))
	}
}

func short(x float64) string { return fmt.Sprintf("%.4g", x) }

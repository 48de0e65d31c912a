package stats

import (
	"math"

	"trivet/fault"
)

// RateContrast compares counts of a treatment with the control inside blocks.
// LogRatio is ln(rate of treatment / rate of control); its interval is on
// that scale, to be held against a margin ln(1+r). Blocks holds the plain
// difference of counts, judged by sign flips.
type RateContrast struct {
	Treatment, Control string
	LogRatio, SE, DF   float64 // standard error widened by the dispersion where that exceeds 1
	Blocks             BlockEffect
}

// Interval is the interval of the log rate ratio.
func (c RateContrast) Interval(level float64) Interval {
	return Linear{c.LogRatio, c.SE, c.DF}.Interval(level)
}

// P is the p-value against the log rate ratio bound.
func (c RateContrast) P(claim Claim, bound float64) float64 {
	return Contrast{Estimate: c.LogRatio, SE: c.SE, DF: c.DF}.OneSidedP(claim, bound)
}

// EquivalenceP is the larger one-sided p against ±margin on the log scale.
func (c RateContrast) EquivalenceP(margin float64) float64 {
	return Contrast{Estimate: c.LogRatio, SE: c.SE, DF: c.DF}.EquivalenceP(margin)
}

// CountComparison is the answer of [CompareCounts].
type CountComparison struct {
	Method string
	// Dispersion is Pearson's χ² over its degrees of freedom: 1 for counts
	// that scatter as Poisson counts do, more when pieces differ beyond that.
	Dispersion float64
	DF         float64
	Contrasts  []RateContrast
	Notes      []fault.Note
}

// CompareCounts compares counts inside blocks: a Poisson model conditional on
// the block totals, ln rate = block + treatment, whose treatment effects are
// those of fixed blocks (Palmgren 1981, Biometrika 68:563). Standard errors
// are multiplied by the root of the dispersion where that exceeds 1 (McCullagh
// & Nelder 1989, §6.2.3) and go with t on the residual degrees of freedom.
func CompareCounts(t Table, o Options, seed string) (*CountComparison, error) {
	for i, y := range t.Response {
		if y < 0 || y != math.Trunc(y) {
			return nil, fault.New("not-a-count", "a count must be a whole number, 0 or more").AtRow(i+1).
				On(name(t.ResponseName, "response"), short(y)).WithFix("compare it as a number instead")
		}
	}
	b, err := gatherBlocked(t, &o, "count")
	if err != nil {
		return nil, err
	}
	out := &CountComparison{Method: "counts inside blocks, conditional Poisson", Notes: b.notes}
	x, stratum, strata, err := b.rows(t, o)
	if err != nil {
		return nil, err
	}
	groups := byStratum(stratum, strata)
	beta, cov, ok := conditionalPoisson(t.Response, x, groups)
	out.dispersion(t.Response, x, groups, beta)
	if !ok {
		out.Notes = append(out.Notes, fault.Notef("rates-infinite", "No finite rate ratio fits: some treatment counted nothing at all in every block."))
	}
	if t.Piece != nil || b.u.repeatedCells() || len(b.u.response) < t.Len() {
		out.Notes = append(out.Notes, fault.Notef("rates-of-rows", "The rate ratio counts every row; several rows of a piece make it look surer than it is. The differences by blocks do not."))
	}
	if out.Dispersion > 1 {
		out.Notes = append(out.Notes, fault.Notef("overdispersed",
			"The counts scatter %.2g times as much as chance counts would; standard errors are widened by its root.", out.Dispersion))
	}
	for k, j := range b.others() {
		c := RateContrast{Treatment: b.treatments[j], Control: b.treatments[b.control], LogRatio: math.NaN(), SE: math.NaN(), DF: out.DF}
		if c.Blocks, err = b.effect(j, b.u.response, seed); err != nil {
			return nil, err
		}
		if ok {
			c.LogRatio = beta[k]
			c.SE = math.Sqrt(cov.a[k*cov.n+k])
			if out.Dispersion > 1 {
				c.SE *= math.Sqrt(out.Dispersion)
			}
		}
		out.Contrasts = append(out.Contrasts, c)
	}
	return out, nil
}

// conditionalPoisson maximises Σ y·xβ − n_b ln Σ exp(xβ) over blocks.
func conditionalPoisson(y []float64, x [][]float64, groups [][]int) ([]float64, *symmetric, bool) {
	p := len(x[0])
	return newton(p, func(beta []float64) (float64, []float64, *symmetric) {
		value, grad, info := 0.0, make([]float64, p), newSymmetric(p)
		for _, rows := range groups {
			share, total, logSum := shares(y, x, rows, beta)
			if total == 0 {
				continue
			}
			mean := make([]float64, p)
			for k, i := range rows {
				value += y[i] * dot(x[i], beta)
				axpy(grad, x[i], y[i]-total*share[k])
				axpy(mean, x[i], share[k])
				addOuter(info.a, x[i], x[i], total*share[k])
			}
			addOuter(info.a, mean, mean, -total)
			value -= total * logSum
		}
		return value, grad, info
	})
}

// shares are the expected parts of the rows of a block in its total.
func shares(y []float64, x [][]float64, rows []int, beta []float64) (share []float64, total, logSum float64) {
	shift := math.Inf(-1)
	for _, i := range rows {
		shift = math.Max(shift, dot(x[i], beta))
	}
	sum := 0.0
	share = make([]float64, len(rows))
	for k, i := range rows {
		share[k] = math.Exp(dot(x[i], beta) - shift)
		sum += share[k]
		total += y[i]
	}
	scale(share, 1/sum)
	return share, total, shift + math.Log(sum)
}

// dispersion is Pearson's χ² over its degrees of freedom; blocks that counted
// nothing say nothing.
func (c *CountComparison) dispersion(y []float64, x [][]float64, groups [][]int, beta []float64) {
	chi, df := 0.0, -float64(len(beta))
	for _, rows := range groups {
		share, total, _ := shares(y, x, rows, beta)
		if total == 0 {
			continue
		}
		df += float64(len(rows) - 1)
		for k, i := range rows {
			mu := total * share[k]
			chi += (y[i] - mu) * (y[i] - mu) / mu
		}
	}
	c.DF, c.Dispersion = df, chi/df
	if df < 1 {
		c.DF, c.Dispersion = math.Inf(1), math.NaN()
		c.Notes = append(c.Notes, fault.Notef("dispersion-unknown", "Too few counts to see whether they scatter more than chance; the Poisson model is taken on trust."))
	}
}

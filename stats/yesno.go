package stats

import (
	"math"

	"trivet/fault"
)

// YesNoContrast compares a yes/no response of a treatment with the control
// inside blocks. Shares run from 0 to 1; a margin of 15 points is 0.15.
type YesNoContrast struct {
	Treatment, Control string
	// Pairs and the table of pairs; all zero when some block has several
	// units of a treatment, which Paired tells.
	Paired                       bool
	Pairs                        int
	Both, TreatmentOnly          int
	ControlOnly, Neither         int
	Difference                   float64 // share of yes, treatment − control
	McNemarP                     float64 // exact, two-sided; NaN unless Paired
	LogOdds, LogOddsSE, LogOddsP float64 // conditional logit; NaN when the maximum lies at infinity
	blocks                       BlockEffect
}

// YesNoComparison is the answer of [CompareYesNo].
type YesNoComparison struct {
	Method    string
	Contrasts []YesNoContrast
	Notes     []fault.Note
}

// CompareYesNo compares yes/no responses (1 and 0) inside blocks. With one
// unit per block and treatment it gives the exact McNemar test (McNemar 1947,
// Psychometrika 12:153) and a score interval for the paired difference of
// shares (Tango 1998, Stat Med 17:891); with several, the mean over blocks of
// the difference of shares with its sign-flip interval. Beside it stands the
// conditional logit model of all rows, blocks as strata.
func CompareYesNo(t Table, o Options, seed string) (*YesNoComparison, error) {
	for i, y := range t.Response {
		if y != 0 && y != 1 {
			return nil, fault.New("not-yes-no", "a yes/no response must be 1 or 0").AtRow(i+1).
				On(name(t.ResponseName, "response"), short(y)).WithFix("write 1 for yes and 0 for no")
		}
	}
	b, err := gatherBlocked(t, &o, "yes/no")
	if err != nil {
		return nil, err
	}
	out := &YesNoComparison{Method: "pairs of yes and no inside blocks", Notes: b.notes}
	var odds []float64
	var cov *symmetric
	ok := false
	if !o.DifferencesOnly {
		odds, cov, ok = b.conditionalLogit(t, o, out)
	}
	counts := b.u.counts()
	for k, j := range b.others() {
		c := YesNoContrast{Treatment: b.treatments[j], Control: b.treatments[b.control], Paired: true,
			McNemarP: math.NaN(), LogOdds: math.NaN(), LogOddsSE: math.NaN(), LogOddsP: math.NaN()}
		if c.blocks, err = b.effect(j, b.u.response, seed); err != nil {
			return nil, err
		}
		c.Difference = c.blocks.Estimate
		for _, n := range counts {
			c.Paired = c.Paired && n[j] <= 1 && n[b.control] <= 1
		}
		for _, y := range b.u.response {
			c.Paired = c.Paired && (y == 0 || y == 1)
		}
		if c.Paired {
			c.table(b, j)
		} else {
			out.Method = "shares of yes inside blocks, sign flips"
		}
		if ok {
			c.LogOdds, c.LogOddsSE = odds[k], math.Sqrt(cov.a[k*cov.n+k])
			c.LogOddsP = 2 * bigPhi(-math.Abs(c.LogOdds/c.LogOddsSE))
		}
		out.Contrasts = append(out.Contrasts, c)
	}
	return out, nil
}

// table counts the pairs.
func (c *YesNoContrast) table(b *blocked, treatment int) {
	yes := make([][2]float64, len(b.u.block.levels)) // 0 absent, 1 no, 2 yes
	for i, blk := range b.u.block.index {
		switch b.u.treatment.index[i] {
		case treatment:
			yes[blk][0] = 1 + b.u.response[i]
		case b.control:
			yes[blk][1] = 1 + b.u.response[i]
		}
	}
	for _, y := range yes {
		switch y {
		case [2]float64{2, 2}:
			c.Both++
		case [2]float64{2, 1}:
			c.TreatmentOnly++
		case [2]float64{1, 2}:
			c.ControlOnly++
		case [2]float64{1, 1}:
			c.Neither++
		}
	}
	c.Pairs = c.Both + c.TreatmentOnly + c.ControlOnly + c.Neither
	c.McNemarP = fairTwoSided(c.TreatmentOnly, c.TreatmentOnly+c.ControlOnly)
}

// tangoZ is the score statistic of "the difference of shares is delta" from n
// pairs with b yes under the treatment only and c under the control only:
//
//	(b − c − nΔ) / √(n(2q + Δ(1−Δ))),
//
// q the maximum-likelihood share of "control only" under that hypothesis, the
// root of 2n q² + (−b − c + (2n − b + c)Δ) q − cΔ(1−Δ) = 0.
func tangoZ(b, c, n, delta float64) float64 {
	p := -b - c + (2*n-b+c)*delta
	q := (math.Sqrt(math.Max(0, p*p+8*n*c*delta*(1-delta))) - p) / (4 * n)
	above := b - c - n*delta
	v := n * (2*q + delta*(1-delta))
	if v <= 1e-14*n {
		if math.Abs(above) <= 1e-12*n {
			return 0
		}
		return math.Inf(sign(above))
	}
	return above / math.Sqrt(v)
}

// P is the p-value against the difference of shares bound: by the score
// statistic for pairs, by sign flips otherwise.
func (c YesNoContrast) P(claim Claim, bound float64) float64 {
	if !c.Paired {
		return c.blocks.P(claim, bound)
	}
	z := tangoZ(float64(c.TreatmentOnly), float64(c.ControlOnly), float64(c.Pairs), bound)
	switch claim {
	case Higher:
		return bigPhi(-z)
	case Lower:
		return bigPhi(z)
	}
	return math.Min(1, 2*bigPhi(-math.Abs(z)))
}

// EquivalenceP is the larger one-sided p of the two tests against ±margin
// (a share: 0.15 for 15 points); NaN for a margin that is not positive.
func (c YesNoContrast) EquivalenceP(margin float64) float64 {
	if !(margin > 0) {
		return math.NaN()
	}
	return math.Max(c.P(Higher, -margin), c.P(Lower, margin))
}

// Interval is the interval of the difference of shares.
func (c YesNoContrast) Interval(level float64) Interval {
	if !c.Paired {
		return c.blocks.Interval(level)
	}
	n, b, k := float64(c.Pairs), float64(c.TreatmentOnly), float64(c.ControlOnly)
	z := -stdQuantile((1 - level) / 2)
	out := Interval{Low: -1, High: 1, Level: level}
	est := (b - k) / n
	if est > -1 {
		out.Low = bisect(func(d float64) float64 { return z - tangoZ(b, k, n, d) }, -1, est)
	}
	if est < 1 {
		out.High = bisect(func(d float64) float64 { return -z - tangoZ(b, k, n, d) }, est, 1)
	}
	return out
}

// conditionalLogit fits ln odds = block + treatment given the number of yes
// in each block (Breslow & Day 1980, vol. 1, ch. 7), the denominators by the
// recursion of Gail, Lubin & Rubinstein 1981 (Biometrika 68:703).
func (b *blocked) conditionalLogit(t Table, o Options, out *YesNoComparison) ([]float64, *symmetric, bool) {
	x, stratum, strata, err := b.rows(t, o)
	if err != nil {
		return nil, nil, false
	}
	p := len(x[0])
	groups := byStratum(stratum, strata)
	if t.Piece != nil {
		out.Notes = append(out.Notes, fault.Notef("odds-of-rows", "The odds ratio counts every row; several rows of a piece make it look surer than it is."))
	}
	beta, cov, ok := newton(p, func(beta []float64) (float64, []float64, *symmetric) {
		value, grad, info := 0.0, make([]float64, p), newSymmetric(p)
		for _, rows := range groups {
			v := strataTerm(rows, x, t.Response, beta, grad, info)
			value += v
		}
		return value, grad, info
	})
	if !ok {
		out.Notes = append(out.Notes, fault.Notef("odds-infinite",
			"No finite odds ratio fits: within blocks some treatment has only yes or only no."))
	}
	return beta, cov, ok
}

// strataTerm adds one block to log-likelihood, gradient and information.
func strataTerm(rows []int, x [][]float64, y, beta, grad []float64, info *symmetric) float64 {
	p := len(beta)
	cases := 0
	value := 0.0
	for _, i := range rows {
		if y[i] == 1 {
			cases++
			value += dot(x[i], beta)
			axpy(grad, x[i], 1)
		}
	}
	if cases == 0 || cases == len(rows) {
		for _, i := range rows { // nothing to tell: undo
			if y[i] == 1 {
				axpy(grad, x[i], -1)
			}
		}
		return 0
	}
	// sums[m]: over subsets of m rows, the weight, weight·s and weight·ssᵀ
	// with s the sum of x, weight = exp(βᵀs).
	width := 1 + p + p*p
	sums := make([][]float64, cases+1)
	for m := range sums {
		sums[m] = make([]float64, width)
	}
	sums[0][0] = 1
	shift := math.Inf(-1)
	for _, i := range rows {
		shift = math.Max(shift, dot(x[i], beta))
	}
	for _, i := range rows {
		w := math.Exp(dot(x[i], beta) - shift)
		for m := cases; m > 0; m-- {
			from, to := sums[m-1], sums[m]
			to[0] += w * from[0]
			for a := range p {
				to[1+a] += w * (from[1+a] + from[0]*x[i][a])
				for c := range p {
					to[1+p+a*p+c] += w * (from[1+p+a*p+c] + from[1+a]*x[i][c] + from[1+c]*x[i][a] + from[0]*x[i][a]*x[i][c])
				}
			}
		}
	}
	all := sums[cases]
	value -= math.Log(all[0]) + float64(cases)*shift
	for a := range p {
		mean := all[1+a] / all[0]
		grad[a] -= mean
		for c := range p {
			info.add(a, c, all[1+p+a*p+c]/all[0]-mean*all[1+c]/all[0])
		}
	}
	return value
}

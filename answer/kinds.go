package answer

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// effect is a difference of treatment − control as its kind of response is
// analysed: a contrast of a linear model, a difference of shares, of grades,
// or a ratio of counts.
type effect struct {
	estimate, se, df float64
	// normal says that the interval is a t interval on se.
	normal          bool
	p, equivalenceP float64
	interval        func(level float64) stats.Interval
}

// comparer compares a table by one kind of response. Of a repeat without some
// block, which is not whole, only estimate and interval are asked for: its
// p-values stay NaN and are not worked out.
type comparer func(t stats.Table, whole bool) (x *effect, method string, notes []fault.Note, err error)

// scaled multiplies an effect's numbers: shares become points.
func (x effect) scaled(k float64) effect {
	inner := x.interval
	x.estimate, x.se = x.estimate*k, x.se*k
	x.interval = func(level float64) stats.Interval {
		i := inner(level)
		return stats.Interval{Low: i.Low * k, High: i.High * k}
	}
	return x
}

// tested fills in the p-values of a whole comparison.
func (x *effect) tested(whole bool, p func() float64, by stats.Estimator, margin float64) {
	x.p, x.equivalenceP = math.NaN(), math.NaN()
	if whole {
		x.p, x.equivalenceP = p(), by.EquivalenceP(margin)
	}
}

// estimate fills in the effect, its leave-one-out repeats and the evidence.
func (e *evaluation) estimate(kind study.ReadingKind, ratio bool) error {
	opt := stats.Options{Control: e.finding.Control, Margin: e.delta, LogScale: ratio, Claim: stats.Claim(e.question.Claim), Alpha: e.alpha}
	if kind == study.Number || kind == "" {
		return e.estimateNumber(opt)
	}
	var compare comparer
	seed := e.study.Design.Seed
	switch kind {
	case study.YesNo:
		e.unitScale = 100
		e.finding.Unit = "%"
		compare = e.shares(opt, seed)
	case study.Grade:
		e.finding.Unit = "grades"
		compare = e.grades(opt, seed)
	default:
		compare = e.counts(opt, seed, ratio)
	}
	table := e.table()
	x, method, notes, err := compare(table, true)
	if err != nil || x == nil {
		return err
	}
	e.effect = x
	e.finding.Notes = append(e.finding.Notes, notes...)
	blocks := labels(table.Block)
	e.evidence = &Evidence{Method: method, Ratio: ratio, MarginValue: e.delta, N: table.Len(), Blocks: len(blocks),
		Estimate: x.estimate, SE: x.se, DF: x.df, PValue: x.p, Equivalence: x.equivalenceP,
		Pairs: []Pair{}, LeaveOneOut: []LeftOut{}, Components: []Component{}}
	if len(blocks) < 3 {
		return nil
	}
	e.compared = table
	e.compareAgain = func(t stats.Table) *effect {
		y, _, _, err := compare(t, false)
		if err != nil {
			return nil
		}
		return y
	}
	// To leave out one of several blocks with the same values is the same
	// comparison: yes and no on thousands of blocks take four of them.
	done := map[string]*effect{}
	contents := contentsOf(table)
	for _, b := range blocks {
		y, known := done[contents[b]]
		if !known {
			if y = e.compareAgain(without(table, func(x string) bool { return x == b })); y != nil {
				y.interval = remembered(y.interval)
			}
			done[contents[b]] = y
		}
		if y != nil {
			e.left = append(e.left, leftOut{b, *y})
		}
	}
	return nil
}

// contentsOf writes out what each block holds.
func contentsOf(t stats.Table) map[string]string {
	rows := map[string][]string{}
	for i, b := range t.Block {
		rows[b] = append(rows[b], t.Treatment[i]+"\x00"+strconv.FormatFloat(t.Response[i], 'g', -1, 64))
	}
	out := make(map[string]string, len(rows))
	for b, r := range rows {
		slices.Sort(r)
		out[b] = strings.Join(r, "\x01")
	}
	return out
}

// remembered works out the interval of a level once.
func remembered(interval func(level float64) stats.Interval) func(level float64) stats.Interval {
	known := map[float64]stats.Interval{}
	return func(level float64) stats.Interval {
		i, ok := known[level]
		if !ok {
			i = interval(level)
			known[level] = i
		}
		return i
	}
}

// estimateNumber is the linear model, with the question's covariates and
// beside it without them.
func (e *evaluation) estimateNumber(opt stats.Options) error {
	table := e.table()
	plain, err := stats.Compare(table, opt)
	if err != nil {
		return err
	}
	c := plain
	if names := e.covariates(&table); len(names) > 0 {
		with := opt
		with.Covariates = names
		adjusted, err := stats.Compare(table, with)
		switch f := fault.As(err); {
		case err == nil:
			c, opt = adjusted, with
		case f != nil && f.Kind != fault.Internal:
			e.finding.Notes = append(e.finding.Notes, fault.Notef("covariate-not-fitted", "the sealed covariates could not be fitted: %s", f.Message))
		default:
			return err
		}
	}
	e.finding.Notes = append(e.finding.Notes, c.Notes...)
	at := -1
	for i := range c.Contrasts {
		if c.Contrasts[i].Treatment == e.finding.Treatment {
			at = i
		}
	}
	if at < 0 {
		return nil
	}
	x := ofContrast(c.Contrasts[at])
	e.effect = &x
	if c != plain {
		bare := ofContrast(plain.Contrasts[at])
		e.bare = &bare
		if max := int(plain.Contrasts[at].DF) / residualPerCovariate; len(e.question.Covariates) > max {
			e.check("covariates-many", Failed, "%d covariates are too many for %.0f degrees of freedom: one for every %d", len(e.question.Covariates), plain.Contrasts[at].DF, residualPerCovariate)
		}
	}
	e.evidence = &Evidence{Method: c.Method, Ratio: c.LogScale, MarginValue: e.delta, N: c.N, Blocks: c.NBlocks,
		Estimate: x.estimate, SE: x.se, DF: x.df, PValue: x.p, Equivalence: x.equivalenceP,
		Pairs: []Pair{}, LeaveOneOut: []LeftOut{}, Components: []Component{}}
	if e.bare != nil {
		e.evidence.Unadjusted = &e.bare.estimate
	}
	if c.NBlocks < 3 {
		return nil
	}
	e.compared = table
	e.compareAgain = func(t stats.Table) *effect { return contrastWith(t, opt, e.finding.Treatment) }
	for _, l := range c.LeaveOneOut() {
		if l.Err == nil && at < len(l.Contrasts) && !math.IsNaN(l.Contrasts[at].Estimate+l.Contrasts[at].SE) {
			e.left = append(e.left, leftOut{l.Block, ofContrast(l.Contrasts[at])})
		}
	}
	return nil
}

// contrastWith compares a table anew; nil where it holds no such contrast.
func contrastWith(t stats.Table, opt stats.Options, treatment string) *effect {
	c, err := stats.Compare(t, opt)
	if err != nil {
		return nil
	}
	for _, k := range c.Contrasts {
		if k.Treatment == treatment && !math.IsNaN(k.Estimate+k.SE) {
			x := ofContrast(k)
			return &x
		}
	}
	return nil
}

// residualPerCovariate is how many error degrees of freedom one covariate
// asks for.
const residualPerCovariate = 6

func ofContrast(c stats.Contrast) effect {
	return effect{estimate: c.Estimate, se: c.SE, df: c.DF, normal: true, p: c.P, equivalenceP: c.EquivP, interval: c.Interval}
}

// covariates adds the question's covariates to a table, from the pieces. One
// that some piece lacks is left out, and that is said.
func (e *evaluation) covariates(t *stats.Table) []string {
	var names []string
	pieces := map[string]study.Piece{}
	for _, p := range e.study.Pieces {
		pieces[p.Label] = p
	}
	for _, name := range e.question.Covariates {
		column := stats.Covariate{Name: name}
		missing := 0
		for _, v := range e.values {
			x, ok := baseline(pieces[v.cook.Piece], name)
			if !ok {
				missing++
			}
			column.Values = append(column.Values, x)
		}
		if missing > 0 {
			e.finding.Notes = append(e.finding.Notes, fault.Notef("covariate-missing",
				"the difference is not adjusted for %s: %d of %d pieces have no value", name, missing, len(e.values)))
			continue
		}
		t.Covariates = append(t.Covariates, column)
		names = append(names, name)
	}
	return names
}

// baseline is a piece's value before any treatment: mm, g, °C.
func baseline(p study.Piece, name string) (float64, bool) {
	switch name {
	case "thickness":
		return 1000 * stats.Mean(p.ThicknessM), len(p.ThicknessM) > 0
	case "mass":
		return 1000 * p.MassKg, p.MassKg > 0
	case "start":
		if p.StartC != nil {
			return *p.StartC, true
		}
	}
	return 0, false
}

// shares compares yes and no: shares in %, the margin in points.
func (e *evaluation) shares(opt stats.Options, seed string) comparer {
	opt.Margin /= 100
	return func(t stats.Table, whole bool) (*effect, string, []fault.Note, error) {
		opt := opt
		opt.DifferencesOnly = !whole
		c, err := stats.CompareYesNo(t, opt, seed)
		if err != nil {
			return nil, "", nil, err
		}
		for _, x := range c.Contrasts {
			if x.Treatment == e.finding.Treatment {
				y := effect{estimate: x.Difference, se: spreadOfMean(t, e.finding), df: float64(len(labels(t.Block)) - 1), interval: x.Interval}.scaled(100)
				y.tested(whole, func() float64 {
					if math.IsNaN(x.McNemarP) {
						return x.P(stats.Either, 0)
					}
					return x.McNemarP
				}, x, opt.Margin)
				return &y, c.Method, c.Notes, nil
			}
		}
		return nil, "", nil, nil
	}
}

// grades compares ordered grades in steps.
func (e *evaluation) grades(opt stats.Options, seed string) comparer {
	return func(t stats.Table, whole bool) (*effect, string, []fault.Note, error) {
		opt := opt
		opt.DifferencesOnly = !whole
		c, err := stats.CompareGrades(t, opt, seed)
		if err != nil {
			return nil, "", nil, err
		}
		for _, x := range c.Contrasts {
			if x.Treatment == e.finding.Treatment {
				y := effect{estimate: x.Estimate, se: spreadOfMean(t, e.finding), df: float64(x.Blocks - 1), interval: x.Interval}
				// The p-value on ranks does not depend on the steps being equal.
				y.tested(whole, func() float64 { return x.Ranks.P(stats.Either, 0) }, x, opt.Margin)
				return &y, c.Method, c.Notes, nil
			}
		}
		return nil, "", nil, nil
	}
}

// counts compares counts: rates for a ratio margin, else plain differences.
func (e *evaluation) counts(opt stats.Options, seed string, ratio bool) comparer {
	opt.LogScale = false // counts have their own model; a count of 0 has no logarithm
	return func(t stats.Table, whole bool) (*effect, string, []fault.Note, error) {
		opt := opt
		opt.DifferencesOnly = !whole
		c, err := stats.CompareCounts(t, opt, seed)
		if err != nil {
			return nil, "", nil, err
		}
		for _, x := range c.Contrasts {
			if x.Treatment != e.finding.Treatment {
				continue
			}
			notes := append(c.Notes, fault.Notef("dispersion", "the counts scatter %.2g times as much as Poisson counts do", c.Dispersion))
			if ratio {
				y := effect{estimate: x.LogRatio, se: x.SE, df: x.DF, interval: x.Interval}
				y.tested(whole, func() float64 { return x.P(stats.Either, 0) }, x, opt.Margin)
				return &y, c.Method, notes, nil
			}
			y := effect{estimate: x.Blocks.Estimate, se: spreadOfMean(t, e.finding), df: float64(x.Blocks.Blocks - 1), interval: x.Blocks.Interval}
			y.tested(whole, func() float64 { return x.Blocks.P(stats.Either, 0) }, x.Blocks, opt.Margin)
			return &y, c.Method, notes, nil
		}
		return nil, "", nil, nil
	}
}

// spreadOfMean is the standard error of the mean block difference, to round
// by and to plan on; the interval does not rest on it.
func spreadOfMean(t stats.Table, f *Finding) float64 {
	type cell struct {
		sum [2]float64
		n   [2]int
	}
	blocks := map[string]*cell{}
	for i, b := range t.Block {
		c := blocks[b]
		if c == nil {
			c = &cell{}
			blocks[b] = c
		}
		switch t.Treatment[i] {
		case f.Treatment:
			c.sum[0] += t.Response[i]
			c.n[0]++
		case f.Control:
			c.sum[1] += t.Response[i]
			c.n[1]++
		}
	}
	var d []float64
	for _, b := range labels(t.Block) {
		if c := blocks[b]; c.n[0] > 0 && c.n[1] > 0 {
			d = append(d, c.sum[0]/float64(c.n[0])-c.sum[1]/float64(c.n[1]))
		}
	}
	if len(d) < 2 {
		return 0
	}
	return stats.SD(d) / math.Sqrt(float64(len(d)))
}

// labels are the different values of a column, in order of appearance.
func labels(column []string) []string {
	seen := map[string]bool{}
	var out []string
	for _, v := range column {
		if !seen[v] {
			seen[v] = true
			out = append(out, v)
		}
	}
	return out
}

func (e *evaluation) differences() []float64 {
	out := make([]float64, len(e.cells))
	for i, c := range e.cells {
		out[i] = c.difference
	}
	return out
}

// checkCovariates holds a code that the unadjusted difference does not share.
func (e *evaluation) checkCovariates(verdict Verdict, a float64, hold, pass func(fault.Code, string, ...any)) {
	if e.bare == nil || !verdict.Settled() {
		return
	}
	wide, narrow := e.intervals(*e.bare, e.evidence.Blocks, a)
	if got := Judge(wide, narrow, e.delta, e.finding.Claim); got != verdict && !(inside(got) && inside(verdict)) {
		hold("covariate-turns-it", "without the covariates the verdict would be “%s”", got.Printed())
	} else {
		pass("covariate-agrees", "the verdict is the same without the covariates")
	}
}

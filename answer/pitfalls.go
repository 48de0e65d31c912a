package answer

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

// pitfalls looks for the ways in which kitchen experiments fool people, and
// says each in a plain sentence. Those that forbid a verdict are checks; see
// fixedChecks.
func (e *evaluation) pitfalls() {
	e.pseudoReplication()
	e.fewBlocks()
	e.orderDrift()
	e.unblinded()
	e.twoThings()
	e.interaction()
	e.repeatedSome()
	e.imbalance()
	e.oneSource()
	e.dropped()
	e.measurement()
}

// pitfallsWithoutNumbers are those that explain why nothing can be compared.
func (e *evaluation) pitfallsWithoutNumbers() {
	blocks := map[string]bool{}
	for _, v := range e.values {
		blocks[v.cook.Block] = true
	}
	if len(blocks) == 1 {
		e.note("one-pair", "one block shows what happened once; it can't show what happens")
	}
}

func (e *evaluation) note(code fault.Code, format string, args ...any) {
	e.finding.Notes = append(e.finding.Notes, fault.Notef(code, format, args...))
}

// pseudoReplication: slices or readings of one piece are not pieces.
func (e *evaluation) pseudoReplication() {
	readings := 0
	for _, v := range e.values {
		readings += max(1, v.response.Repeats)
	}
	if pieces := len(e.values); readings > pieces {
		e.note("pieces-not-readings", "these %d readings come from %d pieces; the test counts %d, not %d", readings, pieces, pieces, readings)
	}
}

func (e *evaluation) fewBlocks() {
	n := len(e.cells)
	switch {
	case n == 1:
		e.note("one-pair", "one pair shows what happened once; it can't show what happens")
	case n >= 2 && n < stats.LeastPairs(0.05) && e.effect.normal:
		e.note("leans-on-normal", "with %d pairs no order-free test can reach 5 %%; the result leans on the bell-curve assumption", n)
	}
}

// orderDrift: half the mean difference between pairs with the treatment
// first and pairs with the control first is what the second place adds.
func (e *evaluation) orderDrift() {
	var first, second []float64
	for _, c := range e.cells {
		if c.treatmentFirst {
			first = append(first, c.difference)
		} else {
			second = append(second, c.difference)
		}
	}
	if len(first) < 2 || len(second) < 2 || !e.effect.normal {
		return
	}
	w, err := stats.Welch(first, second)
	if err != nil || !(w.SE > 0) {
		return
	}
	drift := effect{estimate: w.Estimate, se: w.SE, df: w.DF, interval: w.Interval}
	if i := drift.interval(0.95); i.Low > 0 || i.High < 0 {
		words := Words{Study: e.study}
		e.note("order-drift", "pieces cooked second in a block differ from those cooked first by about %s, whatever the treatment; both treatments came first (%d and %d times), so the answer stands and its scatter is larger for it",
			words.Difference(e.finding, math.Abs(w.Estimate/2), w.SE/2), len(first), len(second))
	}
}

// unblinded: a typed reading by someone who knew the treatment. Judged ones
// are held back by a check; the rest is said.
func (e *evaluation) unblinded() {
	if e.question.Judged || e.question.Blind {
		return
	}
	typed := slices.ContainsFunc(e.study.Readings, func(d study.ReadingDef) bool { return d.ID == e.question.Response })
	if typed && slices.ContainsFunc(e.values, func(v value) bool { return !v.response.Blind }) {
		e.note("not-blind", "read by someone who knew the treatment; treat as provisional")
	}
}

// twoThings: treatments that differ in more than one setting.
func (e *evaluation) twoThings() {
	set := map[string]map[string]string{}
	for _, t := range e.study.Treatments {
		set[t.ID] = t.Set
	}
	a, b := set[e.finding.Treatment], set[e.finding.Control]
	all := maps.Clone(a)
	if all == nil {
		all = map[string]string{}
	}
	maps.Copy(all, b)
	var differ []string
	for _, k := range slices.Sorted(maps.Keys(all)) {
		x, inA := a[k]
		y, inB := b[k]
		if inA && inB && x != y {
			differ = append(differ, strings.ReplaceAll(k, "_", " "))
		}
	}
	if len(differ) > 1 {
		e.note("two-things", "%s differed; this study tests them together", strings.Join(differ, " and "))
	}
}

// repeatedSome: some cells were cooked again and others not.
func (e *evaluation) repeatedSome() {
	count := map[[2]string]int{}
	for _, v := range e.values {
		count[[2]string{v.cook.Block, v.cook.Treatment}]++
	}
	var again []string
	once := false
	for k, n := range count {
		if n > 1 {
			again = append(again, k[0])
		} else {
			once = true
		}
	}
	if len(again) == 0 || !once {
		return
	}
	slices.Sort(again)
	again = slices.Compact(again)
	e.note("repeated-some", "block %s was cooked again and others were not: repeats are added to the first result and never replace it; if it was chosen because it was extreme, expect the repeat to be smaller", strings.Join(again, ", "))
}

// imbalance: pieces of one treatment were thicker, heavier or warmer on
// average than the tolerance allows for, or than chance would.
func (e *evaluation) imbalance() {
	pieces := map[string]study.Piece{}
	for _, p := range e.study.Pieces {
		pieces[p.Label] = p
	}
	units := map[string]string{"thickness": "mm", "mass": "g", "start": "°C"}
	more := map[string]string{"thickness": "thicker", "mass": "heavier", "start": "warmer"}
	less := map[string]string{"thickness": "thinner", "mass": "lighter", "start": "colder"}
	for _, name := range study.Covariates() {
		type two struct{ t, c []float64 }
		blocks := map[string]*two{}
		for _, v := range e.values {
			x, ok := baseline(pieces[v.cook.Piece], name)
			if !ok {
				continue
			}
			b := blocks[v.cook.Block]
			if b == nil {
				b = &two{}
				blocks[v.cook.Block] = b
			}
			switch v.cook.Treatment {
			case e.finding.Treatment:
				b.t = append(b.t, x)
			case e.finding.Control:
				b.c = append(b.c, x)
			}
		}
		var d []float64
		for _, b := range slices.Sorted(maps.Keys(blocks)) {
			if x := blocks[b]; len(x.t) > 0 && len(x.c) > 0 {
				d = append(d, stats.Mean(x.t)-stats.Mean(x.c))
			}
		}
		if len(d) < 4 {
			continue
		}
		m, se := stats.Mean(d), stats.SD(d)/math.Sqrt(float64(len(d)))
		limit := 2.5 * se
		for _, c := range e.study.Controlled {
			if c.Name == name && c.Tolerance > 0 {
				tol := c.Tolerance
				if name != "start" {
					tol *= 1000
				}
				limit = math.Min(limit, tol/2)
			}
		}
		if math.Abs(m) <= limit || math.Abs(m) < 1e-9 {
			continue
		}
		way := more[name]
		if m < 0 {
			way = less[name]
		}
		text := "the difference is not adjusted for it: name it under covariates before the next study"
		if slices.Contains(e.question.Covariates, name) {
			text = "the adjusted difference is shown"
		}
		e.note("imbalance", "%s pieces were %s %s %s on average; %s", e.finding.Treatment, round(math.Abs(m), se), units[name], way, text)
	}
}

// oneSource: what all pieces share limits what the answer is about.
func (e *evaluation) oneSource() {
	lots, days := map[string]bool{}, map[string]bool{}
	of := map[string]string{}
	for _, p := range e.study.Pieces {
		of[p.Label] = p.Lot
	}
	for _, v := range e.values {
		lots[of[v.cook.Piece]] = true
		days[v.cook.Day] = true
	}
	one := func(m map[string]bool) string {
		for k := range m {
			if len(m) == 1 {
				return k
			}
		}
		return ""
	}
	if lot := one(lots); lot != "" {
		e.note("one-lot", "all pieces came from one lot (%s): true for it; others are untested", lot)
	}
	if day := one(days); day != "" && len(e.values) > 2 {
		e.note("one-day", "all pieces were cooked on one day (%s): other days are untested", day)
	}
}

// dropped: blocks that lack one of the two pieces, and whether the verdict
// would hold in the worst case: every missing difference as large as the
// largest seen, or as small as the smallest.
func (e *evaluation) dropped() {
	missing := 0
	for _, p := range e.evidence.Pairs {
		if (p.Treatment == nil) != (p.Control == nil) {
			missing++
		}
	}
	if missing == 0 || len(e.cells) < 3 || !e.effect.normal {
		return
	}
	d := e.differences()
	raw := func(fill float64) Verdict {
		all := slices.Clone(d)
		for range missing {
			all = append(all, fill)
		}
		n := float64(len(all))
		c := stats.Contrast{Estimate: stats.Mean(all), SE: stats.SD(all) / math.Sqrt(n), DF: n - 1}
		w, r := c.Interval(1-e.alpha), c.Interval(1-2*e.alpha)
		return Judge(Interval{w.Low, w.High}, Interval{r.Low, r.High}, e.delta, e.finding.Claim)
	}
	now := stats.Contrast{Estimate: e.effect.estimate, SE: e.effect.se, DF: e.effect.df}
	w, r := now.Interval(1-e.alpha), now.Interval(1-2*e.alpha)
	seen := Judge(Interval{w.Low, w.High}, Interval{r.Low, r.High}, e.delta, e.finding.Claim)
	holds := "holds"
	if raw(slices.Max(d)) != seen || raw(slices.Min(d)) != seen {
		holds = "does not hold"
	}
	e.note("dropped", "%d of %d blocks lack one of the two pieces; what the intervals say %s in the worst case. If the reason had to do with the treatment (burnt, dried out), it cannot be trusted", missing, len(e.evidence.Pairs), holds)
}

// measurement warns when the uncertainty of single values is large against
// the margin or drowns what is looked for.
func (e *evaluation) measurement() {
	u := e.evidence.MeasurementU
	if e.evidence.Ratio && e.evidence.ControlMean > 0 {
		u /= e.evidence.ControlMean
	}
	if !(u > 0) || !(e.delta > 0) {
		return
	}
	words := Words{Study: e.study}
	if e.shared > 0 {
		e.note("measurement-shared", "a single value is stated to be uncertain by %s (k = 2), more than pieces of a block differ: most of that is shared by all cooks and cancels in the difference, as long as both treatments use the same instruments",
			words.Difference(e.finding, 2*u, u))
		return
	}
	if 2*u >= e.delta {
		e.note("measurement-large", "a single value is uncertain by %s (k = 2), as much as the margin: what is random in it stands in the scatter already; what all cooks share cancels only if the same instrument serves both treatments",
			words.Difference(e.finding, 2*u, u))
	}
	for _, c := range e.evidence.Components {
		if c.Name == "measurement" && c.Share > 0.5 {
			e.note("attenuation", "measurement makes up %.0f %% of the scatter between pieces of a block: a finer instrument would save more blocks than more pieces would, and any relation with other responses looks weaker than it is", 100*c.Share)
		}
	}
}

// components splits the scatter of single values into blocks, days, pieces
// and measurement, by REML with random blocks (and days within them, where
// days are known and cross blocks).
func (e *evaluation) components(kind study.ReadingKind) {
	if kind != study.Number && kind != "" || e.evidence.Blocks < 3 {
		return
	}
	t := e.table()
	y := slices.Clone(t.Response)
	if e.evidence.Ratio {
		for i := range y {
			y[i] = math.Log(y[i])
		}
	}
	days := make([]string, len(e.values))
	distinct := map[string]bool{}
	for i, v := range e.values {
		days[i] = v.cook.Day
		distinct[v.cook.Day] = true
	}
	spec := stats.ModelSpec{Response: y, Fixed: []string{"treatment"}, Random: []string{"block"},
		Factors: []stats.Column{{Name: "treatment", Labels: t.Treatment}, {Name: "block", Labels: t.Block}}}
	// A day that is the same as its block, or the only one, adds nothing.
	if len(distinct) >= minLevelsForComponent && !distinct[""] && len(distinct) != e.evidence.Blocks {
		spec.Random = []string{"day", "block"}
		spec.Factors = append(spec.Factors, stats.Column{Name: "day", Labels: days})
	}
	m, err := stats.FitModel(spec)
	if err != nil && len(spec.Random) == 2 {
		spec.Random = []string{"block"}
		m, err = stats.FitModel(spec)
	}
	if err != nil {
		return
	}
	u := e.evidence.MeasurementU
	if e.evidence.Ratio && e.evidence.ControlMean > 0 {
		u /= e.evidence.ControlMean
	}
	residual := m.Sigma2
	measured := math.Min(u*u, residual)
	if u*u > residual {
		e.shared = u*u - residual
	}
	add := func(name string, v float64) {
		e.evidence.Components = append(e.evidence.Components, Component{Name: name, Variance: v})
	}
	for _, c := range m.Components {
		add(c.Grouping, c.Variance)
	}
	slices.SortStableFunc(e.evidence.Components, func(a, b Component) int { return cmp.Compare(a.Name, b.Name) })
	add("piece", residual-measured)
	if u > 0 {
		add("measurement", measured)
	}
	total := 0.0
	for _, c := range e.evidence.Components {
		total += c.Variance
	}
	for i := range e.evidence.Components {
		if total > 0 {
			e.evidence.Components[i].Share = e.evidence.Components[i].Variance / total
		}
	}
	if e.evidence.Blocks < minLevelsForComponent {
		e.note("components-few", "with %d blocks the shares of the scatter are a rough guide: %d levels are the least for a component", e.evidence.Blocks, minLevelsForComponent)
	}
}

// minLevelsForComponent is how many blocks or days a variance component asks
// for.
const minLevelsForComponent = 5

package study

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"trivet/quantity"
)

func (c *checker) control(name string) (Control, bool) {
	for _, k := range c.study.Controlled {
		if k.Name == name {
			return k, true
		}
	}
	return Control{}, false
}

// pieces holds each piece against the tolerances.
func (c *checker) pieces() {
	// Of several values of a piece the farthest off is told.
	outside := func(x Piece, name string, values ...float64) {
		k, ok := c.control(name)
		if !ok || len(values) == 0 {
			return
		}
		v := slices.MaxFunc(values, func(a, b float64) int { return cmp.Compare(math.Abs(a-k.Value), math.Abs(b-k.Value)) })
		// A hair's breadth for the rounding of unit conversions.
		if math.Abs(v-k.Value) > k.Tolerance*(1+1e-9)+1e-12 {
			c.add(Wrong, "out-of-tolerance", "pieces["+x.Label+"]."+name, 0, "piece %s has %s %s, outside %s; use a spare from its block, or set the tolerance before the seal",
				x.Label, name, strings.TrimSpace(amountText(k.Kind, v, "")), k.Text)
		}
	}
	for _, x := range c.study.Pieces {
		outside(x, "thickness", x.ThicknessM...)
		if x.StartC != nil {
			outside(x, "start", *x.StartC)
		}
		if x.MassKg > 0 {
			outside(x, "mass", x.MassKg)
		}
	}
	c.origins()
}

// origins looks at where the pieces of a block, and all pieces, came from.
func (c *checker) origins() {
	lots := map[string]map[string]bool{} // block → lots
	all := map[string]bool{}
	for _, x := range c.study.Pieces {
		if x.Lot == "" {
			continue
		}
		all[x.Lot] = true
		if lots[x.Block] == nil {
			lots[x.Block] = map[string]bool{}
		}
		lots[x.Block][x.Lot] = true
	}
	for _, b := range slices.Sorted(maps.Keys(lots)) {
		if b != "" && len(lots[b]) > 1 {
			c.add(Doubt, "mixed-block", "pieces", 0, "block %s has pieces from lots %s, so its pieces are not alike by origin; give each lot blocks of its own",
				b, strings.Join(slices.Sorted(maps.Keys(lots[b])), " and "))
		}
	}
	if len(all) == 1 && len(lots) > 1 {
		c.add(Doubt, "one-lot", "lots", 0, "all pieces come from lot %s, so the answer holds for it and others are untested; take blocks from several lots, or say so in the claim's scope", slices.Sorted(maps.Keys(all))[0])
	}
}

// counted are the cooks a verdict may rest on.
func (c *checker) counted() []Cook {
	var out []Cook
	for _, k := range c.study.Cooks {
		if k.Role == Planned || k.Role == Spare {
			out = append(out, k)
		}
	}
	return out
}

func (c *checker) cooks() {
	for _, k := range c.study.Cooks {
		c.cook(k)
	}
	cooks := c.counted()
	if len(cooks) == 0 {
		return
	}
	c.twicePieces()
	c.replicates(cooks)
	c.batches(cooks)
	c.balance(cooks)
	c.readingUnits(cooks)
	c.readingLimits(cooks)
	for _, q := range c.study.Questions {
		c.needed(q, cooks)
	}
}

// cook looks at one cook by itself.
func (c *checker) cook(k Cook) {
	at := "cooks[" + k.Label + "]"
	mass := map[Stage]float64{}
	for _, w := range k.Weighings {
		if w.Stage != DuringCook {
			mass[w.Stage] = w.MassG
		}
	}
	raw, hasRaw := mass[Raw]
	last, lastStage := raw, Raw
	for _, stage := range []Stage{AtPull, AfterRest, AfterCut} {
		m, ok := mass[stage]
		if !ok {
			continue
		}
		if last > 0 && m > last {
			c.add(Doubt, "mass-gain", at+".weighings", k.Line, "cook %s weighs more %s (%s g) than %s (%s g); check both weighings, the tare, and fat that was taken up",
				k.Label, inWords(stage), decimal(m), inWords(lastStage), decimal(last))
		}
		last, lastStage = m, stage
	}
	if hasRaw && last < raw*0.4 {
		c.add(Doubt, "great-loss", at+".weighings", k.Line, "cook %s lost %s %% of its mass; check the weighings and their units", k.Label, decimal(math.Round(1000*(1-last/raw))/10))
	}
	if !hasRaw && len(k.Weighings) > 0 {
		c.add(Missing, "no-raw-mass", at+".weighings.raw", k.Line, "cook %s has no raw mass, and every loss is a share of it; weigh before heat", k.Label)
	}
	c.markOrder(k, at)
	if k.Block == "" && k.Role != Pilot {
		c.add(Missing, "no-block", at+".block", k.Line, "cook %s is in no block; write its block, or its piece where the piece has one", k.Label)
	}
	if k.Role == Void && k.VoidWhy == "" {
		c.add(Missing, "void-why", at+".void.why", k.Line, "cook %s is void and nothing says what happened; write why", k.Label)
	}
	if k.Role == Void && len(k.Readings) > 0 && k.VoidedAt.IsZero() {
		c.add(Doubt, "void-after-reading", at+".void.at", k.Line, "cook %s is void and has readings, and nothing says that it was removed before they were seen; write when", k.Label)
	}
	for _, x := range c.study.Pieces {
		if x.Label == k.Piece && x.Spare && k.Role == Planned {
			c.add(Doubt, "spare-as-planned", at+".role", k.Line, "cook %s uses the spare piece %s but is not marked as a spare; write role: spare", k.Label, k.Piece)
		}
	}
}

func (c *checker) markOrder(k Cook, at string) {
	first := map[MarkKind]int64{}
	last := map[MarkKind]int64{}
	for _, m := range k.Marks {
		if _, seen := first[m.Kind]; !seen {
			first[m.Kind] = m.AtUS
		}
		last[m.Kind] = m.AtUS
	}
	for _, o := range []struct {
		before, after MarkKind
		what          string
	}{
		{HeatOn, OffHeat, "left the heat before heat on"},
		{Turn, OffHeat, "was turned after it left the heat"},
		{OffHeat, Cut, "was cut before it left the heat"},
		{OffHeat, Served, "was served before it left the heat"},
		{HeatOn, Turn, "was turned before heat on"},
	} {
		b, okB := last[o.before]
		a, okA := first[o.after]
		if o.before == HeatOn {
			b, okB = 0, true // every time counts from it
		}
		if okA && okB && a < b {
			c.add(Doubt, "marks-order", at+".marks", k.Line, "cook %s %s; check the times", k.Label, o.what)
		}
	}
}

// twicePieces finds a piece that was cooked more than once.
func (c *checker) twicePieces() {
	by := map[string]string{}
	for _, k := range c.study.Cooks {
		if k.Piece == "" {
			continue
		}
		if other, twice := by[k.Piece]; twice {
			c.add(Wrong, "piece-twice", "cooks["+k.Label+"].piece", k.Line, "piece %s is cooked twice, in %s and %s; one piece is one cook", k.Piece, other, k.Label)
		}
		by[k.Piece] = k.Label
	}
}

// replicates finds cells with several cooks and treatments with one.
func (c *checker) replicates(cooks []Cook) {
	type cell struct{ block, treatment string }
	n := map[cell]int{}
	blocks := map[string]map[string]bool{}
	for _, k := range cooks {
		n[cell{k.Block, k.Treatment}]++
		if blocks[k.Treatment] == nil {
			blocks[k.Treatment] = map[string]bool{}
		}
		blocks[k.Treatment][k.Block] = true
	}
	for _, x := range slices.SortedFunc(maps.Keys(n), func(a, b cell) int {
		return cmp.Or(cmp.Compare(a.block, b.block), cmp.Compare(a.treatment, b.treatment))
	}) {
		if x.block != "" && n[x] > 1 {
			c.add(Doubt, "cell-twice", "cooks", 0, "block %s has %d cooks under %s, which count as one (their mean); if they are pieces of their own, give each a block or a void rule", x.block, n[x], x.treatment)
		}
	}
	var once []string
	for _, t := range slices.Sorted(maps.Keys(blocks)) {
		if len(blocks[t]) == 1 && c.study.Blocks.Count != 1 {
			once = append(once, t)
		}
	}
	if len(once) > 0 {
		c.add(Doubt, "one-piece", "cooks", 0, "there are cooks from one block only of %s, and one pair shows what happened once, not what happens; cook the blocks that are still planned", strings.Join(once, " and "))
	}
}

// batches finds treatments that cannot be told apart from the day they were
// cooked on.
func (c *checker) batches(cooks []Cook) {
	days := map[string]map[string]bool{} // treatment → days
	for _, k := range cooks {
		if k.Day == "" {
			return // unknown days say nothing
		}
		if days[k.Treatment] == nil {
			days[k.Treatment] = map[string]bool{}
		}
		days[k.Treatment][k.Day] = true
	}
	told := map[Contrast]bool{}
	for _, q := range c.study.Questions {
		a, b := days[q.Compare.Treatment], days[q.Compare.Against]
		if len(a) == 0 || len(b) == 0 || told[q.Compare] {
			continue
		}
		told[q.Compare] = true
		shared := false
		for d := range a {
			shared = shared || b[d]
		}
		if !shared {
			c.add(Wrong, "batch-confounded", "cooks", 0, "all %s pieces were cooked on other days than the %s pieces, so treatment and day cannot be told apart and there is no verdict; cook both within each day", q.Compare.Treatment, q.Compare.Against)
		}
	}
}

// runOrder holds the drawn order against the planned blocks.
func (c *checker) runOrder() {
	runs := c.study.Design.RunOrder
	c.unlisted(runs)
	blocks := map[string]map[string]bool{}
	for _, r := range runs {
		if r.Block == "" {
			return
		}
		if blocks[r.Block] == nil {
			blocks[r.Block] = map[string]bool{}
		}
		blocks[r.Block][r.Treatment] = true
	}
	if n := c.study.Blocks.Count; len(runs) > 0 && n > 0 && len(blocks) != n {
		c.add(Doubt, "run-order-blocks", "design.run_order", 0, "the run order has %d of the %d planned blocks; draw it again with \"trivet plan\"", len(blocks), n)
	}
	if k := c.study.Blocks.Pieces; k > 0 && k < len(c.study.Treatments) {
		return // incomplete blocks are meant
	}
	for _, b := range slices.Sorted(maps.Keys(blocks)) {
		for _, t := range c.study.Treatments {
			if !blocks[b][t.ID] {
				c.add(Doubt, "run-order-gap", "design.run_order", 0, "the run order has no cook of block %s under %s; draw it again with \"trivet plan\"", b, t.ID)
			}
		}
	}
}

// unlisted finds pieces that the run order names and a list of pieces lacks. A
// study that lists none (they come with the plan) is not held to it.
func (c *checker) unlisted(runs []RunSlot) {
	if len(c.study.Pieces) == 0 {
		return
	}
	known := idsOf(c.study.Pieces, func(x Piece) string { return x.Label })
	listed := map[string]bool{"": true}
	for _, label := range known {
		listed[label] = true
	}
	var missing []string
	for _, r := range runs {
		if !listed[r.Piece] {
			listed[r.Piece] = true
			missing = append(missing, r.Piece)
		}
	}
	switch len(missing) {
	case 0:
	case 1:
		fix := "list it, or draw the order again"
		if near := nearest(missing[0], known); near != "" {
			fix = fmt.Sprintf("list it, or write %s if that is meant", near)
		}
		c.add(Missing, "order-piece-unlisted", "design.run_order", 0, "the run order names piece %s, which is not under pieces; %s", missing[0], fix)
	default:
		c.add(Missing, "order-piece-unlisted", "design.run_order", 0, "the run order names %d pieces that are not under pieces (%s); list them, or draw the order again", len(missing), clipNames(missing, 4))
	}
}

// alwaysFirst finds a treatment that always comes first in its block.
func (c *checker) alwaysFirst() {
	type run struct {
		order            int
		block, treatment string
	}
	var runs []run
	for _, r := range c.study.Design.RunOrder {
		runs = append(runs, run{r.Order, r.Block, r.Treatment})
	}
	where := "design.run_order"
	if len(runs) == 0 {
		where = "cooks"
		for _, k := range c.counted() {
			if k.Order > 0 {
				runs = append(runs, run{k.Order, k.Block, k.Treatment})
			}
		}
	}
	slices.SortStableFunc(runs, func(a, b run) int { return cmp.Compare(a.order, b.order) })
	first, size := map[string]string{}, map[string]int{}
	for _, r := range runs {
		if r.block == "" {
			continue
		}
		if size[r.block]++; size[r.block] == 1 {
			first[r.block] = r.treatment
		}
	}
	var always string
	blocks := 0
	for b, t := range first {
		if size[b] < 2 {
			continue
		}
		if blocks++; blocks > 1 && t != always {
			return
		}
		always = t
	}
	if blocks >= 3 {
		c.add(Doubt, "always-first", where, 0, "%s is cooked first in every block, so the difference may be the pan or the hour; draw the order at random", always)
	}
}

// balance compares the thickness of the treatments' pieces.
func (c *checker) balance(cooks []Cook) {
	thick := map[string]float64{}
	for _, x := range c.study.Pieces {
		if len(x.ThicknessM) == 0 {
			continue
		}
		sum := 0.0
		for _, m := range x.ThicknessM {
			sum += m
		}
		thick[x.Label] = sum / float64(len(x.ThicknessM))
	}
	sum, n := map[string]float64{}, map[string]int{}
	for _, k := range cooks {
		if m, ok := thick[k.Piece]; ok {
			sum[k.Treatment] += m
			n[k.Treatment]++
		}
	}
	k, controlled := c.control("thickness")
	told := map[Contrast]bool{}
	for _, q := range c.study.Questions {
		a, b := q.Compare.Treatment, q.Compare.Against
		if !controlled || told[q.Compare] || n[a] < 2 || n[b] < 2 {
			continue
		}
		told[q.Compare] = true
		if d := sum[a]/float64(n[a]) - sum[b]/float64(n[b]); math.Abs(d) > k.Tolerance {
			more := "thicker"
			if d < 0 {
				more = "thinner"
			}
			c.add(Doubt, "unbalanced", "pieces", 0, "the %s pieces are %s %s than the %s pieces on average, so the difference found may be thickness; swap in spares, or say it beside the answer", a, amountText(quantity.KindLength, math.Round(math.Abs(d)*1e5)/1e5, ""), more, b)
		}
	}
}

// readingLimits finds values beyond the limits that were declared after them.
func (c *checker) readingLimits(cooks []Cook) {
	for _, k := range cooks {
		for _, r := range k.Readings {
			d, _ := c.study.reading(r.Response)
			if v, out := d.outside(r.Values); out && d.Unit == r.Unit {
				c.add(Doubt, "outside-limits", "cooks["+k.Label+"].readings."+r.Response, k.Line, "%s of cook %s is %s, beyond its limits of %s; check the value", r.Response, k.Label, strings.TrimSpace(exact(v)+" "+r.Unit), d.limitsText())
			}
		}
	}
}

// readingUnits finds a reading that was typed in different units or scales.
func (c *checker) readingUnits(cooks []Cook) {
	first := map[string]Reading{}
	for _, k := range cooks {
		for _, r := range k.Readings {
			f, seen := first[r.Response]
			if !seen {
				first[r.Response] = r
				continue
			}
			if f.Kind != r.Kind || f.Unit != r.Unit || !slices.Equal(f.Grades, r.Grades) {
				c.add(Wrong, "reading-scales", "cooks["+k.Label+"].readings."+r.Response, k.Line, "%s is in %s here and in %s before; declare it once under \"readings\"", r.Response, scaleOf(r), scaleOf(f))
			}
		}
	}
}

func scaleOf(r Reading) string {
	switch r.Kind {
	case YesNo:
		return "yes or no"
	case Count:
		return "counts"
	case Grade:
		return "grades " + strings.Join(r.Grades, " < ")
	}
	return r.Unit
}

// needed tells which cooks cannot answer a question, and when the scale's
// step is coarse against the margin.
func (c *checker) needed(q Question, cooks []Cook) {
	if q.Response == "" {
		return
	}
	r, isBuiltIn := LookupResponse(q.Response)
	var without []string
	var missing []string
	coarse := 0.0
	for _, k := range cooks {
		if k.Treatment != q.Compare.Treatment && k.Treatment != q.Compare.Against {
			continue
		}
		if !isBuiltIn {
			if !slices.ContainsFunc(k.Readings, func(x Reading) bool { return x.Response == q.Response }) {
				without = append(without, k.Label)
				missing = []string{"no reading of " + q.Response}
			}
			continue
		}
		lacks := cookLacks(k, r)
		if len(lacks) > 0 {
			without = append(without, k.Label)
			for _, l := range lacks {
				if !slices.Contains(missing, l) {
					missing = append(missing, l)
				}
			}
		}
		if r.Kind == quantity.KindPercent && q.Margin.MarginKind == quantity.MarginPoints {
			coarse = max(coarse, lossStep(k))
		}
	}
	at := "questions[" + q.ID + "]"
	if len(without) > 0 {
		c.add(Missing, "needs", at, q.Line, "question %s cannot use %s (%s); add what is missing, or void the cook by a rule", q.ID, clipNames(without, 4), strings.Join(missing, ", "))
	}
	if coarse > q.Margin.Value/4 && q.Margin.Value > 0 {
		c.add(Doubt, "coarse-scale", at+".margin", q.Line, "the scale steps by %s points of the raw mass, more than a quarter of the margin of question %s; use a finer scale", decimal(math.Round(coarse*100)/100), q.ID)
	}
}

// lossStep is one step of the scale in points of the raw mass.
func lossStep(k Cook) float64 {
	raw, step := 0.0, 0.0
	for _, w := range k.Weighings {
		if w.Stage == Raw {
			raw = w.MassG
		}
		step = max(step, w.ResG)
	}
	if raw <= 0 {
		return 0
	}
	return 100 * step / raw
}

// cookLacks names what a built-in response needs and a cook has not.
func cookLacks(k Cook, r Response) []string {
	weighed := func(s Stage) bool {
		return slices.ContainsFunc(k.Weighings, func(w Weighing) bool { return w.Stage == s })
	}
	marked := func(m MarkKind) bool {
		return slices.ContainsFunc(k.Marks, func(x Mark) bool { return x.Kind == m })
	}
	massResponse := r.Kind == quantity.KindPercent && slices.Contains(r.Needs, "raw")
	var out []string
	for _, need := range r.Needs {
		switch {
		case need == "raw" && !weighed(Raw):
			out = append(out, "no raw weighing")
		case need == "off_heat" && massResponse && !weighed(AtPull):
			out = append(out, "no weighing off the heat")
		case need == "rested" && massResponse && !weighed(AfterRest) && !weighed(AfterCut):
			out = append(out, "no weighing after the rest")
		case need == "drip" && !weighed(Drip):
			out = append(out, "no weighing of the drip")
		case need == "served" && !marked(Served):
			out = append(out, "no time of serving")
		case slices.Contains([]string{"core", "surface", "pan", "depths"}, need) && len(k.Logs) == 0:
			if note := fmt.Sprintf("no log with a %s sensor", strings.TrimSuffix(need, "s")); !slices.Contains(out, note) {
				out = append(out, note)
			}
		}
	}
	return out
}

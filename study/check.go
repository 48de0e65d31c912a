package study

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/quantity"
)

// Severity is how much a finding weighs.
type Severity string

// Severities, the gravest first.
const (
	Wrong   Severity = "error"   // a question cannot be answered like this
	Missing Severity = "missing" // something a sound plan says is not said
	Doubt   Severity = "doubt"   // it can be answered, but a reader will ask
)

// Finding is one thing to settle in a study, in plain words.
type Finding struct {
	Severity Severity   `json:"severity"`
	Code     fault.Code `json:"code"`
	Where    string     `json:"where,omitempty"` // path in the document: questions[loss].margin
	Line     int        `json:"line,omitempty"`  // 0 when not known
	What     string     `json:"what"`            // one sentence without a full stop
	Fix      string     `json:"fix,omitempty"`   // what to do
}

// Text renders a finding as one line.
func (f Finding) Text() string {
	var b strings.Builder
	b.WriteString(string(f.Severity) + ": ")
	if f.Where != "" {
		b.WriteString(f.Where)
		if f.Line > 0 {
			fmt.Fprintf(&b, " (line %d)", f.Line)
		}
		b.WriteString(": ")
	}
	b.WriteString(f.What)
	if f.Fix != "" {
		b.WriteString("; " + f.Fix)
	}
	return b.String()
}

// Numbers of blocks that verdicts rest on: below leastBlocks no verdict is
// given, below fairBlocks "no difference that matters" and "differs, by less
// than matters" stay unsettled.
const (
	leastBlocks = 4
	fairBlocks  = 6
)

// Check lists what is missing or doubtful in a study that Parse accepts, the
// gravest first: in the plan, between the treatments, in the pieces and in
// the cooks written so far. cookFiles holds the files that
// [Study.CookFiles] names; nil leaves them unread. [Document.Locate] adds
// the lines.
func Check(s *Study, cookFiles map[string][]byte) []Finding {
	c := &checker{study: s}
	c.claim()
	c.questions()
	c.treatments(cookFiles)
	c.plan()
	c.pieces()
	c.cooks()
	c.handling()
	c.instruments()
	slices.SortStableFunc(c.out, func(a, b Finding) int {
		return cmp.Compare(weight(a.Severity), weight(b.Severity))
	})
	return c.out
}

func weight(s Severity) int { return slices.Index([]Severity{Wrong, Missing, Doubt}, s) }

type checker struct {
	study *Study
	out   []Finding
}

// add lists a finding. The format is split at its first "; ": what is so, and
// what to do. A "; " inside a value splits nothing.
func (c *checker) add(severity Severity, code fault.Code, where string, line int, format string, args ...any) {
	whatForm, fixForm, _ := strings.Cut(format, "; ")
	n := strings.Count(whatForm, "%") - 2*strings.Count(whatForm, "%%")
	f := Finding{Severity: severity, Code: code, Where: where, Line: line, What: fmt.Sprintf(whatForm, args[:n]...)}
	if fixForm != "" {
		f.Fix = fmt.Sprintf(fixForm, args[n:]...)
	}
	c.out = append(c.out, f)
}

func (c *checker) claim() {
	claim := c.study.Claim
	for _, m := range []struct{ key, text, what, fix string }{
		{"says", claim.Says, "the claim is not written down", "write the sentence under test in one line"},
		{"scope", claim.Scope, "the claim's scope is open", "name the food, the cut and the method it is about"},
		{"fair", claim.Fair, "nothing says why this contrast is a fair test", "name what is the same in both treatments"},
		{"against", claim.Against, "nothing says what would count against the claim", "decide it before any data"},
	} {
		if m.text == "" {
			c.add(Missing, "claim-"+fault.Code(m.key), "claim."+m.key, 0, "%s; %s", m.what, m.fix)
		}
	}
}

func (c *checker) questions() {
	if len(c.study.Questions) == 0 {
		c.add(Missing, "no-questions", "questions", 0, "the study asks no question; add one with a response, a comparison and a margin")
	}
	responses := 0
	for _, q := range c.study.Questions {
		c.question(q)
		if q.Response != "" {
			responses++
		}
	}
	if responses > 4 {
		c.add(Doubt, "many-questions", "questions", 0, "%d questions on responses share the risk, so each needs more blocks to settle; keep those that the claim is about", responses)
	}
}

func (c *checker) question(q Question) {
	at := "questions[" + q.ID + "]"
	if q.Compare.Treatment == "" || q.Compare.Against == "" {
		c.add(Missing, "no-comparison", at+".compare", q.Line,
			"question %s does not say which treatments it compares; add compare: {treatment: …, against: …}, or mark one of two treatments with control: yes", q.ID)
	}
	if t := q.Tasting; t != nil {
		if t.Discriminators == 0 && t.DPrime == 0 {
			c.add(Missing, "no-tasting-size", at+".tasting", q.Line,
				"tasting %s has no size to look for; add discriminators: 30 %% (the share of people who can tell), or dprime", q.ID)
		}
		return
	}
	r, isBuiltIn := LookupResponse(q.Response)
	d, isReading := c.study.reading(q.Response)
	if !isBuiltIn && !isReading {
		known := ResponseNames()
		for _, d := range c.study.Readings {
			known = append(known, d.ID)
		}
		fix := "trivet computes " + strings.Join(ResponseNames(), ", ") + `; for a reading you type in, declare it under "readings"`
		if near := nearest(q.Response, known); near != "" {
			fix = fmt.Sprintf("did you mean %q? For a reading you type in, declare it under \"readings\"", near)
		}
		c.add(Wrong, "unknown-response", at+".response", q.Line, "nothing is known of the response %s; %s", q.Response, fix)
	}
	if q.Margin.MarginKind == "" {
		example := "a margin in the unit of the reading"
		if isBuiltIn {
			example = "margin: " + r.Margins()
		}
		c.add(Missing, "no-margin", at+".margin", q.Line,
			"question %s has no margin, so no difference can be called too small to matter; decide the smallest difference that matters to whoever eats or cooks and write it, such as %s", q.ID, example)
	}
	if m := q.Margin; isReading && m.MarginKind == quantity.MarginAmount && m.Unit == d.Unit && d.Resolution > m.Value/4 {
		c.add(Doubt, "coarse-reading", at+".margin", q.Line, "%s is read in steps of %s %s, more than a quarter of the margin of question %s; read it more finely", d.ID, exact(d.Resolution), d.Unit, q.ID)
	}
	if (q.Judged || isReading && d.Judged) && !q.Blind {
		c.add(Doubt, "judged-not-blind", at+".blind", q.Line,
			"question %s rests on a person's judgement and is not blind, so its verdict stays unsettled; have it read from coded pieces and write blind: yes", q.ID)
	}
	c.notJuiciness(q, at)
}

// notJuiciness catches a question in eating words that a balance cannot
// answer.
func (c *checker) notJuiciness(q Question, at string) {
	name, _ := SplitResponse(q.Response)
	if name != "cooking_loss" && name != "rest_loss" && name != "total_loss" {
		return
	}
	text := strings.ToLower(q.Ask + " " + c.study.Claim.Says)
	hasTasting := slices.ContainsFunc(c.study.Questions, func(q Question) bool { return q.Tasting != nil })
	for _, word := range []string{"juic", "moist", "succulen"} {
		if strings.Contains(text, word) && !hasTasting {
			c.add(Doubt, "loss-is-not-juiciness", at+".response", q.Line,
				"loss is not juiciness, and question %s measures loss; add a tasting, or claim loss only", q.ID)
			return
		}
	}
}

// plan looks at blocks, tolerances, rules and the order of the cooks.
func (c *checker) plan() {
	s := c.study
	responses := slices.ContainsFunc(s.Questions, func(q Question) bool { return q.Response != "" })
	n := s.Blocks.Count
	switch {
	case n == 0:
		c.add(Missing, "no-blocks", "blocks.count", 0, "the plan does not say how many blocks there are; \"trivet plan\" says how many a verdict needs")
	case n == 1 && responses:
		c.add(Wrong, "one-block", "blocks.count", 0, "one pair shows what happened once, not what happens, and gives no verdict; plan at least %d blocks, better %d", leastBlocks, fairBlocks)
	case n < leastBlocks && responses:
		c.add(Wrong, "few-blocks", "blocks.count", 0, "%d blocks give numbers but no verdict; plan at least %d, better %d", n, leastBlocks, fairBlocks)
	case n < fairBlocks && responses:
		c.add(Doubt, "few-blocks", "blocks.count", 0, "with %d blocks a difference too small to matter cannot be settled; plan at least %d", n, fairBlocks)
	}
	if s.Blocks.What == "" && n > 0 {
		c.add(Missing, "no-block-kind", "blocks.what", 0, "nothing says what a block is; name what its pieces have in common, such as one loin")
	}
	if k := s.Blocks.Pieces; k > 0 && len(s.Treatments) > k {
		c.add(Doubt, "incomplete-blocks", "blocks.pieces", 0, "a block has %d pieces for %d treatments, so no block holds them all; take more pieces a block, or fewer treatments", k, len(s.Treatments))
	}
	if n > 0 && s.Blocks.Spares == 0 && len(s.Cooks) == 0 {
		c.add(Doubt, "no-spares", "blocks.spares", 0, "no spares are planned, so a void cook costs its whole block; keep a spare piece from each block")
	}
	if len(s.VoidRules) == 0 {
		c.add(Missing, "no-void-rules", "void", 0, "no void rules are set, so no cook can be left out later; write now when a cook does not count, such as a probe that slipped out")
	}
	if !slices.ContainsFunc(s.Controlled, func(k Control) bool { return k.Name == "thickness" }) && s.Foods.Form != "ground" && s.Foods.Animal != "none" && responses {
		c.add(Missing, "no-thickness", "controlled.thickness", 0, "thickness is not controlled, and heating time goes with about its square; write thickness: 30 mm ± 1 mm")
	}
	if n > 0 && len(s.Design.RunOrder) == 0 && len(s.Cooks) == 0 {
		c.add(Missing, "no-run-order", "design.run_order", 0, "no run order is drawn yet; \"trivet plan\" draws one from a seed and keeps both")
	}
	c.runOrder()
	c.alwaysFirst()
	if s.Licence == "" {
		c.add(Doubt, "no-licence", "licence", 0, "no licence is named, so nobody may use the data; write licence: CC-BY-4.0, or another SPDX id")
	}
}

// handling looks at what the cautions need to know.
func (c *checker) handling() {
	s := c.study
	tasting := slices.ContainsFunc(s.Questions, func(q Question) bool { return q.Tasting != nil })
	if s.Foods.Animal == "" {
		c.add(Missing, "no-food", "foods.animal", 0, "nothing says which food is handled, so no cautions can be chosen; write animal: pork, or none")
	} else if s.Foods.Animal != "none" && s.Foods.Form == "" {
		c.add(Missing, "no-form", "foods.form", 0, "nothing says whether the food is intact, ground, tenderised, injected or stuffed, and the cautions differ; write form: intact")
	}
	if tasting && !s.Foods.Eaten {
		c.add(Missing, "tasted-not-eaten", "foods.eaten", 0, "people taste it, but nothing says that it is eaten; write eaten: yes, so that the cautions for tasters are shown")
	}
	c.twins(tasting)
	if (tasting || s.Foods.Eaten) && len(s.Foods.Allergens) == 0 {
		c.add(Missing, "no-allergens", "foods.allergens", 0, "people eat it, and no allergens are listed; list those in the food, the fat and the seasoning, or write [none]")
	}
}

// twins looks for tasters served from probed pieces: a probe pushed into
// intact meat can carry what is on its surface to the core.
func (c *checker) twins(tasting bool) {
	s := c.study
	if !tasting || s.Foods.Form != "intact" || s.Foods.Animal == "none" || s.Foods.Animal == "egg" {
		return
	}
	var probed []string
	for _, t := range s.Tastings {
		for _, label := range t.Cooks {
			for _, k := range s.Cooks {
				isTwin := slices.ContainsFunc(s.Pieces, func(x Piece) bool { return x.Label == k.Piece && x.Twin != "" })
				if k.Label == label && len(k.Logs) > 0 && !isTwin && !slices.Contains(probed, label) {
					probed = append(probed, label)
				}
			}
		}
	}
	hasTwins := slices.ContainsFunc(s.Pieces, func(x Piece) bool { return x.Twin != "" })
	switch {
	case len(probed) > 0:
		c.add(Doubt, "tasters-probed", "tastings", 0, "tasters were served from probed pieces (%s), and a probe can carry surface bacteria to the core of intact meat; serve unprobed twins cooked beside them where possible", clipNames(probed, 4))
	case len(s.Pieces) > 0 && len(s.Tastings) == 0 && !hasTwins:
		c.add(Doubt, "no-twins", "pieces", 0, "people taste it and no piece is an unprobed twin, and a probe can carry surface bacteria to the core of intact meat; cook a twin beside each probed piece where possible and name it with twin: and the probed piece's label")
	}
}

package cli

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/fault"
	"trivet/figure"
	"trivet/stats"
	"trivet/study"
)

type planOptions struct {
	margin, sd, trueEffect string
	alpha, power           float64
	design, test           string
	treatments             string // a number of them, or of a deal their names
	blocks                 int

	deal dealOptions // a design without a study

	// of a study
	spread        spreadOptions
	baseline      float64
	write         bool
	seed, kind    string
	burners       []string
	probes        []string
	noThree       bool
	nearly        bool
	sheets, paper string
	figure        string
	question      string
}

func newPlan(env *Env) *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "plan [STUDY]",
		Short: "How many blocks answer the question, and what to do with them",
		Long: `With a STUDY: the chance of each verdict for stated true differences, the blocks
each question needs, the design in words, and on request the run order
(--write), run sheets (--sheets) and the power curve (--figure). The scatter
comes from --sd, from pilot cooks, from --pilot STUDY, from --published figures
or from the heat model (--heat N).

Without one: finds the smallest number of blocks with which a test has the power
wanted, or with --deal draws a design: run order, pieces, burners and codes, what
it is worth and what it cannot tell apart.

The standard deviation is that of the differences of a pair (--design paired),
of a piece (two-sample; the number is then pieces of each treatment), or of a
piece within its block (rcb, with --treatments).

  difference      shows some difference from zero when the true one is the
                  margin, two-sided at alpha
  equivalence     shows a difference inside the margin, alpha on each side, when
                  the true one is a quarter of the margin
  minimum-effect  shows a difference beyond the margin, one-sided at alpha/2;
                  --true-effect says how far beyond it truly lies`,
		Example: `  trivet plan sear-first-or-sear-last --sd loss="2.6 points"
  trivet plan . --pilot pilots --write --sheets sheets.pdf --burners left,right --probes A,B
  trivet plan --margin 2 --sd 2.6 --power 0.8 --design paired --test difference
  trivet plan --margin "2 points" --sd "1.5 points" --test equivalence --json
  trivet plan --margin 2 --sd 1.5 --design rcb --treatments 4 --test minimum-effect --true-effect 4
  trivet plan --deal factorial --factors salt=low,high --factors rest=0,10 --replicates 4 --seed loin
  trivet plan --deal latin-square --treatments A,B,C --blocks 6 --burners left,middle,right
  trivet plan --deal incomplete-blocks --treatments 4 --pieces 2 --blocks 12 --csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.check(cmd, len(args) > 0); err != nil {
				return err
			}
			if o.deal.kind != "" {
				return runDeal(env, o)
			}
			if len(args) > 0 {
				return runStudyPlan(cmd.Context(), env, args[0], o)
			}
			if len(o.spread.sd) > 0 {
				o.sd = o.spread.sd[0]
			}
			return runQuickPlan(env, o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.margin, "margin", "", "smallest difference that matters")
	f.StringArrayVar(&o.spread.sd, "sd", nil, "standard deviation, in the unit of the margin; of a study's question: ID=SD (repeatable)")
	f.StringVar(&o.trueEffect, "true-effect", "", "the true difference the power is for")
	f.Float64Var(&o.alpha, "alpha", 0.05, "error rate")
	f.Float64Var(&o.power, "power", 0.8, "wanted chance of success")
	f.StringVar(&o.design, "design", "paired", "paired, rcb or two-sample")
	f.StringVar(&o.test, "test", "difference", "difference, equivalence or minimum-effect")
	f.StringVar(&o.treatments, "treatments", "", "number of treatments of a complete block design (default 2); with --deal their names: A,B,C")
	f.IntVar(&o.blocks, "blocks", 0, "what this number of blocks would do, instead of searching for one; with --deal the number to deal")
	f.StringVar(&o.spread.pilot, "pilot", "", "a study whose cooks say how much pairs scatter")
	f.BoolVar(&o.spread.published, "published", false, "take the scatter from published planning figures")
	f.IntVar(&o.spread.heat, "heat", 0, "take the scatter from so many sampled cooks of the heat model")
	f.Float64Var(&o.baseline, "baseline", 0.5, "share of yes under the control, for yes-no readings")
	f.BoolVar(&o.write, "write", false, "write the design, its seed and the run order into the study document")
	f.StringVar(&o.seed, "seed", "", "seed of the draw (default: the document's, else a new one, which is shown)")
	f.StringVar(&o.kind, "kind", "", "kind of design: pairs, blocks, incomplete-blocks, latin-square, crossover, unblocked")
	f.StringSliceVar(&o.burners, "burners", nil, "burners or pans to share out between treatments")
	f.StringSliceVar(&o.probes, "probes", nil, "probes to swap between treatments")
	f.BoolVar(&o.noThree, "no-three-alike", false, "no three blocks in a row open with one treatment")
	f.BoolVar(&o.nearly, "nearly", false, "allow incomplete blocks that are only nearly balanced")
	f.StringVar(&o.sheets, "sheets", "", "run sheets to write: out.html or out.pdf")
	f.StringVar(&o.paper, "paper", "A4", "paper of a PDF: A4 or Letter")
	f.StringVar(&o.figure, "figure", "", "power curve to write: out.svg, out.png or out.pdf")
	f.StringVar(&o.question, "question", "", "the question the figure shows (default: the first)")
	o.deal.flags(c)
	return c
}

// check refuses flags that belong to the other form of the command.
func (o planOptions) check(cmd *cobra.Command, study bool) error {
	if o.blocks < 0 || o.spread.heat < 0 {
		return fault.BadUsage("blocks-range", "a number of blocks or samples cannot be negative").WithFix("write a positive number")
	}
	if cmd.Flags().Changed("deal") {
		return o.checkDeal(cmd, study)
	}
	for _, name := range dealFlags {
		if cmd.Flags().Changed(name) {
			return fault.BadUsage("flag-form", "--%s belongs to --deal", name).WithFix("add --deal KIND, or leave --%s out", name)
		}
	}
	quick := []string{"margin", "true-effect", "alpha", "power", "design", "test", "treatments"}
	whole := []string{"pilot", "published", "heat", "baseline", "write", "seed", "kind", "burners", "probes", "no-three-alike", "nearly", "sheets", "paper", "question"}
	wrong, why := whole, "belongs to the plan of a study"
	fix := "name the study, or leave the flag out"
	if study {
		wrong, why, fix = quick, "belongs to the quick form, without a study", "the study document says it: leave the flag out"
	}
	for _, name := range wrong {
		if cmd.Flags().Changed(name) {
			return fault.BadUsage("flag-form", "--%s %s", name, why).WithFix("%s", fix)
		}
	}
	if !study && len(o.spread.sd) > 1 {
		return fault.BadUsage("flag-twice", "--sd is given twice").WithFix("give one standard deviation")
	}
	if o.paper != "A4" && o.paper != "Letter" {
		return fault.BadUsage("paper", "this paper is not known").On("--paper", o.paper).WithFix("write A4 or Letter")
	}
	if o.sheets != "" {
		if ext := strings.ToLower(filepath.Ext(o.sheets)); ext != ".html" && ext != ".pdf" {
			return fault.BadUsage("sheets-kind", "run sheets are HTML or PDF").On("--sheets", o.sheets).WithFix("name the file .html or .pdf")
		}
	}
	return nil
}

// amountFlag is a number with an optional unit, as a flag takes it.
type amountFlag struct {
	value float64
	unit  string
}

func parseAmountFlag(flag, s string) (amountFlag, error) {
	text := strings.TrimSpace(s)
	end := 0
	for end < len(text) && strings.ContainsRune("+-.0123456789eE", rune(text[end])) {
		end++
	}
	v, err := strconv.ParseFloat(text[:end], 64)
	if err != nil || math.IsInf(v, 0) {
		return amountFlag{}, fault.BadUsage("number", "not a number").On("--"+flag, s).
			WithFix("write a number, with its unit if you like: --%s 2, --%s \"2 points\"", flag, flag)
	}
	return amountFlag{v, strings.TrimSpace(text[end:])}, nil
}

// quickPlan is the answer to a plan without a study.
type quickPlan struct {
	Format      int                `json:"format"`
	Blocks      int                `json:"blocks"`
	Power       float64            `json:"power"`
	Design      stats.Arrangement  `json:"design"`
	Test        stats.Test         `json:"test"`
	Alpha       float64            `json:"alpha"`
	SD          float64            `json:"sd"`
	Margin      float64            `json:"margin"`
	TrueEffect  float64            `json:"true_effect"`
	Unit        string             `json:"unit,omitempty"`
	Treatments  int                `json:"treatments"`
	PowerWanted float64            `json:"power_wanted"`
	DF          float64            `json:"df"`
	SE          float64            `json:"se"`
	Codes       answer.CodeChances `json:"chance_of_codes"` // at the true effect, a claim of higher
	Notes       []fault.Note       `json:"notes"`
}

func runQuickPlan(env *Env, o planOptions) error {
	for flag, v := range map[string]string{"--margin": o.margin, "--sd": o.sd} {
		if v == "" {
			return fault.BadUsage("flag-missing", "%s is needed", flag).
				WithFix("give --margin and --sd in one unit")
		}
	}
	margin, err := parseAmountFlag("margin", o.margin)
	if err != nil {
		return err
	}
	sd, err := parseAmountFlag("sd", o.sd)
	if err != nil {
		return err
	}
	treatments := 2
	if o.treatments != "" {
		if treatments, err = strconv.Atoi(o.treatments); err != nil {
			return fault.BadUsage("treatments-count", "the size of a plan takes a number of treatments").On("--treatments", o.treatments).WithFix("write --treatments 3; to deal named treatments add --deal blocks")
		}
	}
	q := stats.Sizing{Test: stats.Test(o.test), Design: stats.Arrangement(o.design), Treatments: treatments,
		SD: sd.value, Margin: margin.value, Alpha: o.alpha, Power: o.power}
	units := []amountFlag{margin, sd}
	if o.trueEffect != "" {
		x, err := parseAmountFlag("true-effect", o.trueEffect)
		if err != nil {
			return err
		}
		q.TrueEffect = &x.value
		units = append(units, x)
	}
	unit := ""
	for _, a := range units {
		if a.unit != "" && unit != "" && a.unit != unit {
			return fault.BadUsage("units-differ", "the margin, the standard deviation and the true effect are in different units").
				On("unit", a.unit).WithFix("write all of them in %s", unit)
		}
		if a.unit != "" {
			unit = a.unit
		}
	}
	var size stats.Size
	if o.blocks > 0 {
		size, err = q.At(o.blocks)
	} else {
		size, err = q.Smallest()
	}
	if err != nil {
		return err
	}
	out := quickPlan{Format: 1, Blocks: size.Blocks, Power: size.Power, Design: q.Design, Test: q.Test, Alpha: o.alpha, SD: sd.value,
		Margin: margin.value, TrueEffect: size.TrueEffect, Unit: unit, Treatments: treatments, PowerWanted: o.power, DF: size.DF, SE: size.SE,
		Codes: answer.Chances(math.Abs(size.TrueEffect), margin.value, size.SE, size.DF, o.alpha, size.Blocks, study.Higher)}
	out.Notes = quickNotes(q, out)
	if o.figure != "" {
		if err := quickFigure(o.figure, q, out); err != nil {
			return err
		}
	}
	if env.JSON {
		return env.PrintJSON(out)
	}
	printQuickPlan(env, q, out)
	return nil
}

func (p quickPlan) amount(x float64) string {
	s := strconv.FormatFloat(x, 'g', 4, 64)
	if p.Unit != "" {
		s += " " + p.Unit
	}
	return s
}

// things names what is counted: pairs, blocks, or pieces of each treatment.
func (p quickPlan) things(n int) string {
	switch p.Design {
	case stats.TwoSample:
		return plural(n, "piece", "pieces") + " of each treatment"
	case stats.RCB:
		return plural(n, "block", "blocks")
	}
	return plural(n, "pair", "pairs")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// quickNotes are what must be said beside a number of blocks.
func quickNotes(q stats.Sizing, p quickPlan) []fault.Note {
	notes := []fault.Note{}
	if p.Test == stats.TestDifference {
		notes = append(notes, fault.Notef("not-matters",
			"this is the chance of showing some difference from zero; this is not the chance of “matters”, which needs the whole interval at or beyond the margin: that chance is %s here", percentChance(p.Codes.Matters)))
	}
	if p.Test == stats.TestEquivalence {
		notes = append(notes, fault.Notef("true-effect-assumed",
			"the power holds if the true difference is %s; if it is larger, more blocks are needed", p.amount(p.TrueEffect)))
	}
	floor := ""
	switch {
	case p.Blocks < 4:
		floor = fmt.Sprintf("; so plan 4 rather than %d, or no verdict can be given", p.Blocks)
		if p.Test == stats.TestEquivalence {
			floor = fmt.Sprintf("; so plan 6 rather than %d", p.Blocks)
		}
	case p.Blocks < 6 && p.Test == stats.TestEquivalence:
		floor = fmt.Sprintf("; so plan 6 rather than %d", p.Blocks)
	}
	notes = append(notes, fault.Notef("floors", "%s is the exact answer for the power; beside it stand the floors of the verdict rules: %s%s", p.things(p.Blocks), answer.Floors, floor))
	if n := stats.LeastPairs(p.Alpha); p.Design == stats.Paired && p.Blocks < n {
		notes = append(notes, fault.Notef("leans-on-normal", "with fewer than %d pairs no test that does without the bell-curve assumption can reach %s", n, percentOf(p.Alpha)))
	}
	few := 4
	if p.Blocks <= few {
		few = p.Blocks
	}
	if s, err := q.At(few); err == nil {
		notes = append(notes, fault.Notef("would-miss", "%s", p.wouldMiss(s)))
	}
	notes = append(notes, fault.Notef("sd-uncertain", "a standard deviation from a small pilot is itself uncertain: 5 pairs can hide one half as large again (upper 80 %% limit of %s: %s)",
		p.amount(p.SD), p.amount(stats.UpperSD(p.SD, 4, 0.8))))
	return notes
}

// wouldMiss says the chance of missing in a cook's words.
func (p quickPlan) wouldMiss(s stats.Size) string {
	miss := answer.TimesInTen(1 - s.Power)
	switch p.Test {
	case stats.TestEquivalence:
		return fmt.Sprintf("With %s you would fail to show that a true difference of %s is smaller than %s, %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), p.amount(p.Margin), miss)
	case stats.TestMinimumEffect:
		return fmt.Sprintf("With %s you would fail to show that a true difference of %s is more than %s, %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), p.amount(p.Margin), miss)
	}
	return fmt.Sprintf("With %s you would miss a %s difference %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), miss)
}

func percentChance(p float64) string {
	switch {
	case p <= 0:
		return "0 %"
	case p < 0.001:
		return "under 0.1 %"
	case p < 0.1:
		return fmt.Sprintf("%.1f %%", 100*p)
	case p > 0.999:
		return "over 99.9 %"
	case p > 0.99:
		return fmt.Sprintf("%.1f %%", 100*p)
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

func printQuickPlan(env *Env, q stats.Sizing, p quickPlan) {
	what := map[stats.Test]string{
		stats.TestDifference:    fmt.Sprintf("some difference from zero, when the true one is %s", p.amount(math.Abs(p.TrueEffect))),
		stats.TestEquivalence:   fmt.Sprintf("a difference smaller than %s, when the true one is %s", p.amount(p.Margin), p.amount(math.Abs(p.TrueEffect))),
		stats.TestMinimumEffect: fmt.Sprintf("a difference beyond %s, when the true one is %s", p.amount(p.Margin), p.amount(math.Abs(p.TrueEffect))),
	}[p.Test]
	env.Printf("%s show %s, with power %.3f\n(standard deviation %s, alpha %g, %g degrees of freedom).\n\n", p.things(p.Blocks), what, p.Power, p.amount(p.SD), p.Alpha, p.DF)
	env.Printf("  %-9s power\n", strings.Fields(p.things(2))[1])
	for _, n := range curvePoints(p.Blocks) {
		s, err := q.At(n)
		if err != nil {
			continue
		}
		mark := ""
		if n == p.Blocks {
			mark = "  ←"
		}
		env.Printf("  %-9d %.3f%s\n", n, s.Power, mark)
	}
	for _, n := range p.Notes {
		env.Printf("%s", wrapped("", "· "+n.Text, 78))
	}
}

// curvePoints are about ten numbers of blocks around n.
func curvePoints(n int) []int {
	step := max(1, n/6)
	var out []int
	for k := max(2, n-6*step); k <= n+4*step; k += step {
		out = append(out, k)
	}
	return out
}

// quickFigure draws the power of every number of blocks up to half as many
// again.
func quickFigure(path string, q stats.Sizing, p quickPlan) error {
	all, err := q.Curve(max(12, p.Blocks*3/2))
	if err != nil {
		return err
	}
	f := figure.Power{Target: p.PowerWanted, Curves: []figure.Curve{{Label: string(p.Test) + " at " + p.amount(p.TrueEffect)}}}
	f.Measure = figure.Measure{Name: strings.Fields(p.things(2))[1]}
	for _, s := range all {
		f.X = append(f.X, float64(s.Blocks))
		f.Curves[0].Chance = append(f.Curves[0].Chance, s.Power)
	}
	return drawPower(path, "Power by number of "+f.Measure.Name, f, false)
}

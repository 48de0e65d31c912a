package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/fault"
	"trivet/stats"
	"trivet/study"
)

type planOptions struct {
	margin, sd, trueEffect string
	alpha, power           float64
	design, test           string
	treatments, blocks     int
}

func newPlan(env *Env) *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "plan --margin M --sd SD",
		Short: "How many blocks answer the question, and what to do with them",
		Long: `Finds the smallest number of blocks with which a test has the power wanted.

The standard deviation is that of the differences of a pair (--design paired),
of a piece (two-sample; the number is then pieces of each treatment), or of a
piece within its block (rcb, with --treatments).

  difference      shows some difference from zero when the true one is the
                  margin, two-sided at alpha
  equivalence     shows a difference inside the margin, alpha on each side, when
                  the true one is a quarter of the margin
  minimum-effect  shows a difference beyond the margin, one-sided at alpha/2;
                  --true-effect says how far beyond it truly lies`,
		Example: `  trivet plan --margin 2 --sd 2.6 --power 0.8 --design paired --test difference
  trivet plan --margin "2 points" --sd "1.5 points" --test equivalence --json
  trivet plan --margin 2 --sd 1.5 --design rcb --treatments 4 --test minimum-effect --true-effect 4`,
		Args: cobra.NoArgs,
		RunE: func(_ *cobra.Command, _ []string) error { return runQuickPlan(env, o) },
	}
	f := c.Flags()
	f.StringVar(&o.margin, "margin", "", "smallest difference that matters")
	f.StringVar(&o.sd, "sd", "", "standard deviation, in the unit of the margin")
	f.StringVar(&o.trueEffect, "true-effect", "", "the true difference the power is for")
	f.Float64Var(&o.alpha, "alpha", 0.05, "error rate")
	f.Float64Var(&o.power, "power", 0.8, "wanted chance of success")
	f.StringVar(&o.design, "design", "paired", "paired, rcb or two-sample")
	f.StringVar(&o.test, "test", "difference", "difference, equivalence or minimum-effect")
	f.IntVar(&o.treatments, "treatments", 2, "treatments of a complete block design")
	f.IntVar(&o.blocks, "blocks", 0, "what this number of blocks would do, instead of searching for one")
	return c
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
	q := stats.Sizing{Test: stats.Test(o.test), Design: stats.Arrangement(o.design), Treatments: o.treatments,
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
		Margin: margin.value, TrueEffect: size.TrueEffect, Unit: unit, Treatments: o.treatments, PowerWanted: o.power, DF: size.DF, SE: size.SE,
		Codes: answer.Chances(math.Abs(size.TrueEffect), margin.value, size.SE, size.DF, o.alpha, size.Blocks, study.Higher)}
	out.Notes = quickNotes(q, out)
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
	miss := oftenIn(1 - s.Power)
	switch p.Test {
	case stats.TestEquivalence:
		return fmt.Sprintf("With %s you would fail to show that a true difference of %s is smaller than %s, %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), p.amount(p.Margin), miss)
	case stats.TestMinimumEffect:
		return fmt.Sprintf("With %s you would fail to show that a true difference of %s is more than %s, %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), p.amount(p.Margin), miss)
	}
	return fmt.Sprintf("With %s you would miss a %s difference %s.", p.things(s.Blocks), p.amount(math.Abs(s.TrueEffect)), miss)
}

// oftenIn says a chance as times in 10, or in 100 where that would be 0 or
// 10.
func oftenIn(p float64) string {
	tens := int(math.Round(10 * p))
	if p < 0.001 {
		return "less than once in 1000"
	}
	if p < 0.01 {
		return "less than once in 100"
	}
	if tens == 0 || tens == 10 {
		h := int(math.Round(100 * p))
		switch {
		case h == 1:
			return "once in 100"
		case h >= 100:
			return "nearly every time"
		}
		return fmt.Sprintf("%d times in 100", h)
	}
	if tens == 1 {
		return "once in 10"
	}
	return fmt.Sprintf("%d times in 10", tens)
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

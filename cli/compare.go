package cli

import (
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/quantity"
	"trivet/stats"
)

type compareOptions struct {
	fields bench.Fields
	where  []string
	stats.Options
	margin, scale  string
	claim          string
	blocks, adjust string

	random             []string
	permute, bootstrap int
	seed               string

	model modelOptions
	ranks rankOptions
}

func newCompare(env *Env) *cobra.Command {
	var o compareOptions
	c := &cobra.Command{
		Use:   "compare TABLE.csv --response COL --treatment COL",
		Short: "Compare treatments on any table",
		Long: `Compares treatments on a table with one row a measurement, with or without
blocks. Complete tables use fixed blocks, tables with missing cells a mixed
model; rows of one block and treatment are averaged first, since they are no
independent pieces. A bare table has no seal, so the verdict is printed as
what it would be.`,
		Example: `  trivet compare examples/cake/cake.csv --response angle --treatment recipe \
      --block replicate --control A --margin 2 --also temp
  trivet compare losses.csv --response loss --treatment method --block loin --margin 2 --claim lower
  trivet compare times.csv --response minutes --treatment pan --scale log --margin 10%
  trivet compare examples/cake/cake.csv --response angle --treatment temp --block replicate \
      --trend --means --interaction recipe --random recipe:replicate
  trivet compare losses.csv --response loss --treatment method --block loin --wilcoxon --influence`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runCompare(env, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.fields.Response, "response", "", "column of the measured value (required)")
	f.StringVar(&o.fields.Treatment, "treatment", "", "column of the treatment (required)")
	f.StringVar(&o.fields.Block, "block", "", "column of the block (lot, animal, batch, day)")
	f.StringVar(&o.fields.Piece, "piece", "", "column of the piece: rows inside a piece are averaged")
	f.StringVar(&o.Control, "control", "", "the treatment compared with (default: the first in order)")
	f.StringVar(&o.margin, "margin", "", "smallest difference that matters, in the column's unit, or a ratio such as 10% with --scale log")
	f.StringVar(&o.claim, "claim", "higher", "direction claimed: higher, lower or either")
	f.StringArrayVar(&o.where, "where", nil, "keep rows where column=value (repeatable)")
	f.StringArrayVar(&o.fields.Also, "also", nil, "a further categorical effect, or a:b for an interaction (repeatable)")
	f.StringArrayVar(&o.fields.Covariates, "covariate", nil, "a numeric column measured before treatment (repeatable)")
	f.StringVar(&o.scale, "scale", "identity", "identity or log")
	f.StringVar(&o.blocks, "blocks", "auto", "auto, fixed or random")
	f.StringVar(&o.adjust, "adjust", "holm", "for several treatments: holm, tukey, dunnett or none")
	f.Float64Var(&o.Alpha, "alpha", 0.05, "error rate")
	f.StringArrayVar(&o.random, "random", nil, "a column whose levels scatter at random (a day), beside or within blocks (block:day); up to two groupings in all")
	f.IntVar(&o.permute, "permute", 0, "test by so many permutations within blocks (all, where they are few)")
	f.IntVar(&o.bootstrap, "bootstrap", 0, "intervals from so many resampled sets of blocks (all, where they are few)")
	f.StringVar(&o.seed, "seed", "1", "seed of --permute and --bootstrap")
	f.BoolVar(&o.model.trend, "trend", false, "linear and quadratic trend over the treatment's levels, read as numbers")
	f.StringSliceVar(&o.model.scores, "scores", nil, "places of the levels in the trend: low=1,middle=2,high=3")
	f.StringArrayVar(&o.model.interactions, "interaction", nil, "a factor whose levels may change the difference: F test and difference at each level (repeatable)")
	f.BoolVar(&o.model.means, "means", false, "mean of every treatment with its interval, other factors at equal weights")
	f.BoolVar(&o.model.anova, "anova", false, "analysis of variance; of a mixed model the F tests of its effects")
	f.BoolVar(&o.ranks.wilcoxon, "wilcoxon", false, "with blocks: exact signed-rank test and Hodges-Lehmann interval of the block differences")
	f.BoolVar(&o.ranks.welch, "welch", false, "without blocks: compare without assuming equal scatter (Welch)")
	f.BoolVar(&o.ranks.influence, "influence", false, "what the answer would be without each block, and blocks that stand apart (none is dropped)")
	return c
}

func runCompare(env *Env, path string, o compareOptions) error {
	for flag, v := range map[string]string{"--response": o.fields.Response, "--treatment": o.fields.Treatment} {
		if v == "" {
			return fault.BadUsage("flag-missing", "%s is needed", flag).WithFix("name the column: %s COL", flag)
		}
	}
	switch o.scale {
	case "identity":
	case "log":
		o.LogScale = true
	default:
		return fault.BadUsage("scale", "unknown scale").On("--scale", o.scale).WithFix("write identity or log")
	}
	var err error
	if o.Margin, err = compareMargin(o.margin, o.LogScale); err != nil {
		return err
	}
	o.Options.Claim, o.Options.Blocks, o.Options.Adjust = stats.Claim(o.claim), stats.Blocks(o.blocks), stats.Adjust(o.adjust)
	products, err := o.products()
	if err != nil {
		return err
	}
	if len(o.model.scores) > 0 && !o.model.trend {
		return fault.BadUsage("flag-form", "--scores place the levels of a trend").WithFix("add --trend, or leave --scores out")
	}
	o.Options.Also, o.Options.Covariates = o.fields.Also, o.fields.Covariates
	table, err := readTableFile(env, path)
	if err != nil {
		return err
	}
	for _, w := range o.where {
		if table, err = table.Keep(w); err != nil {
			return err
		}
	}
	fields := o.fields
	fields.Also = append(slices.Clone(fields.Also), randomColumns(o)...)
	st, notes, err := table.Stats(fields)
	if err != nil {
		return err
	}
	c, err := stats.Compare(st, o.Options)
	if err != nil {
		if f := fault.As(err); f != nil {
			return f.In(path)
		}
		return err
	}
	c.Notes = append(notes, c.Notes...)
	answer.Bare(c)
	more, err := compareMore(c, st, o, products)
	if err != nil {
		return err
	}
	if env.JSON {
		return more.printJSON(env, c)
	}
	printComparison(env, c, o)
	more.print(env, c, o.fields.Treatment)
	return nil
}

// compareMargin reads --margin: a plain number in the column's unit, or a
// ratio such as 10% on the log scale.
func compareMargin(s string, log bool) (float64, error) {
	if s == "" {
		return 0, nil
	}
	percent := strings.HasSuffix(strings.TrimSpace(s), "%")
	if percent != log {
		if log {
			return 0, fault.BadUsage("margin", "on the log scale a margin is a ratio").On("--margin", s).WithFix("write a percentage, such as 10%%")
		}
		return 0, fault.BadUsage("margin", "a ratio needs the log scale").On("--margin", s).WithFix("add --scale log, or give the margin in the column's unit")
	}
	if percent {
		p, err := quantity.ParsePercent(s)
		if err != nil || !(p > 0) {
			return 0, fault.BadUsage("margin", "the margin must be a positive number").On("--margin", s)
		}
		return math.Log1p(p / 100), nil
	}
	m, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || !(m > 0) || math.IsInf(m, 0) {
		return 0, fault.BadUsage("margin", "the margin must be a positive number").On("--margin", s).WithFix("write it in the column's unit, without the unit")
	}
	return m, nil
}

func readTableFile(env *Env, path string) (*bench.DataTable, error) {
	if path == "-" {
		return bench.ReadTable("stdin", env.Stdin)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.BadUsage("table-missing", "there is no such table").In(path).WithFix("name a CSV file")
	}
	defer f.Close()
	return bench.ReadTable(path, f)
}

func printComparison(env *Env, c *stats.Comparison, o compareOptions) {
	env.Printf("%s: %d pieces", c.Method, c.N)
	if c.NBlocks > 0 {
		env.Printf(" in %d blocks", c.NBlocks)
	}
	env.Printf(", residual SD %.3g", math.Sqrt(c.ResidualVariance))
	if !math.IsNaN(c.BlockVariance) {
		env.Printf(", block SD %.3g", math.Sqrt(c.BlockVariance))
	}
	env.Printf("\n\n")
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	what := "difference"
	show := func(x float64) float64 { return x }
	unit, se := "", "se"
	if c.LogScale {
		what, unit, se = "change", " %", "se of log"
		show = func(x float64) float64 { return 100 * math.Expm1(x) }
	}
	head := "treatment\tminus\t" + what + "\t" + percentOf(1-c.Alpha) + " interval\t" + se + "\tdf\tp\tadjusted p"
	if c.Margin > 0 {
		head += "\tp inside the margin"
	}
	t.Write([]byte(head + "\n"))
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', 4, 64) }
	for _, x := range c.Contrasts {
		// Two digits of the standard error, as shown, set the decimals.
		shownSE := x.SE
		if c.LogScale {
			shownSE = 100 * math.Exp(x.Estimate) * x.SE
		}
		value := func(x float64) string { return decimals(show(x), shownSE) }
		row := []string{x.Treatment, x.Control, value(x.Estimate) + unit, value(x.CILow) + " to " + value(x.CIHigh) + unit,
			num(x.SE), num(x.DF), num(x.P), num(x.PAdjusted)}
		if c.Margin > 0 {
			row = append(row, num(x.EquivP))
		}
		t.Write([]byte(strings.Join(row, "\t") + "\n"))
	}
	t.Flush()
	env.Printf("\n")
	for _, x := range c.Contrasts {
		env.Printf("%s against %s: %s.\n", x.Treatment, x.Control, answer.WouldBe(x))
	}
	env.PrintNotes(c.Notes)
}

// decimals prints x to two digits of its uncertainty u, with a minus sign
// rather than a hyphen.
func decimals(x, u float64) string {
	n := max(0, quantity.Decimals(u))
	s := strconv.FormatFloat(x, 'f', n, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

func percentOf(level float64) string {
	return strconv.FormatFloat(math.Round(1e4*level)/100, 'g', -1, 64) + " %"
}

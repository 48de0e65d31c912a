package cli

import (
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/tasting"
)

func newTaste(env *Env) *cobra.Command {
	c := &cobra.Command{
		Use:   "taste",
		Short: "Plan, serve and score a blind tasting",
		Long: `Plans, serves and scores blind tastings: how many assessors, who gets which
cup, sheets for the preparer, the server and the assessors, and what the
answers may and may not claim.

The methods are ` + strings.Join(methodNames(), ", ") + `.`,
		Example: `  trivet taste size --method triangle --alpha 0.05 --beta 0.10 --pd 0.30
  trivet taste orders --method triangle --products sear-last,sear-first --assessors 24 --out tasting
  trivet taste ballots tasting --for server
  trivet taste close tasting --answers answers.csv
  trivet taste score --method triangle --n 24 --correct 13`,
	}
	c.AddCommand(newTasteSize(env), newTasteOrders(env), newTasteBallots(env), newTasteScore(env), newTasteClose(env))
	return c
}

func methodNames() []string {
	var out []string
	for _, m := range tasting.Methods() {
		out = append(out, m.Describe().Name)
	}
	return out
}

// shareFlag is a probability or share: 0.05 or 5%.
type shareFlag struct {
	value float64
	set   bool
}

func (s *shareFlag) String() string { return strconv.FormatFloat(s.value, 'g', -1, 64) }
func (s *shareFlag) Type() string   { return "share" }

// Set implements pflag.Value.
func (s *shareFlag) Set(text string) error {
	t, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(t), 64)
	if err != nil {
		return fault.BadUsage("share", "this is not a share").On("share", text).WithFix("write 0.30 or 30%%")
	}
	if percent {
		// Through the decimal point, so that 5% is the same number as 0.05.
		if w, err := strconv.ParseFloat(strings.TrimSpace(t)+"e-2", 64); err == nil {
			v = w
		}
	}
	s.value, s.set = v, true
	return nil
}

// goalFlags are shared by size, score and orders.
type goalFlags struct {
	method      string
	alpha, beta shareFlag
	pd          shareFlag
	dPrime      float64
	aim         string
}

func (g *goalFlags) register(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&g.method, "method", "", "the method (required): "+strings.Join(methodNames(), ", "))
	g.alpha.value = 0.05
	f.Var(&g.alpha, "alpha", "risk of claiming a difference that is not there")
	f.Var(&g.beta, "beta", "risk of missing a difference of the size given")
	f.Var(&g.pd, "pd", "share of discriminators that matters, such as 0.30")
	f.Float64Var(&g.dPrime, "dprime", 0, "or d′, the distance that matters, such as 1.0")
	f.StringVar(&g.aim, "for", string(tasting.ForDifference), "difference or similarity")
}

// check refuses what no method could mean.
func (g *goalFlags) check(c *cobra.Command) error {
	if g.method == "" {
		return fault.BadUsage("flag-missing", "--method is needed").WithFix("one of %s", strings.Join(methodNames(), ", "))
	}
	if g.pd.set && c.Flags().Changed("dprime") {
		return fault.BadUsage("effect-twice", "the size of the difference is given twice, as --pd and as --dprime").
			On("--dprime", strconv.FormatFloat(g.dPrime, 'g', -1, 64)).WithFix("give one of them")
	}
	if a := tasting.Aim(g.aim); a != tasting.ForDifference && a != tasting.ForSimilarity {
		return fault.BadUsage("aim-unknown", "a test is for difference or for similarity").On("--for", g.aim).WithFix("write difference or similarity")
	}
	if c.Flags().Changed("dprime") && !(g.dPrime > 0) {
		return fault.BadUsage("dprime-range", "d′ must lie above 0").On("--dprime", strconv.FormatFloat(g.dPrime, 'g', -1, 64)).WithFix("for example 1.0")
	}
	if g.pd.set && !(g.pd.value > 0 && g.pd.value <= 1) {
		return fault.BadUsage("pd-range", "the share of discriminators must lie above 0 and at most 1").On("--pd", g.pd.String()).WithFix("write 30 %% as 0.30")
	}
	return nil
}

func (g *goalFlags) goal() tasting.Goal {
	return tasting.Goal{For: tasting.Aim(g.aim), Alpha: g.alpha.value, Beta: g.beta.value, Discriminators: g.pd.value, DPrime: g.dPrime}
}

func (g *goalFlags) rule() tasting.Rule {
	return tasting.Rule{For: tasting.Aim(g.aim), Alpha: g.alpha.value, Beta: g.beta.value, Discriminators: g.pd.value, DPrime: g.dPrime}
}

// printRows prints a table with a header row.
func (e *Env) printRows(rows [][]string) {
	w := tabwriter.NewWriter(e, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		for i, cell := range r {
			if i > 0 {
				w.Write([]byte("\t"))
			}
			w.Write([]byte(cell))
		}
		w.Write([]byte("\n"))
	}
	w.Flush()
}

// printSays prints sentences, one a paragraph line.
func (e *Env) printSays(says []string) {
	for _, s := range says {
		e.Printf("%s", wrapped("", s, 78))
	}
}

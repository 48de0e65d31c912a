package cli

import (
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/tasting"
)

type tasteSizeOptions struct {
	goalFlags
	compare    bool
	assessors  int
	curve      bool
	sequential bool
	difference float64
	sd         float64
	sets       int
	gamma      float64
	supply     tasting.Supply
}

func newTasteSize(env *Env) *cobra.Command {
	var o tasteSizeOptions
	c := &cobra.Command{
		Use:   "size --method METHOD (--pd SHARE | --dprime D)",
		Short: "How many assessors a tasting needs",
		Long: `Finds the number of assessors, one answer each, that meets the risks for the
difference that matters. Power is saw-toothed in the number of assessors, so
the first number that will do and the one from which every number will do are
both given.

pd is the share of assessors who truly tell the products apart; it depends on
the method. d′ is the distance itself: 0.5 is faint, at 1 a paired comparison
is 76 % right, 2 is plain. Methods can be compared at the same d′ only.`,
		Example: `  trivet taste size --method triangle --alpha 0.05 --beta 0.10 --pd 0.30
  trivet taste size --method tetrad --dprime 1 --beta 0.2 --compare
  trivet taste size --method triangle --pd 0.3 --for similarity
  trivet taste size --method hedonic --difference 0.5 --sd 1.8`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(cmd); err != nil {
				return err
			}
			return runTasteSize(env, o)
		},
	}
	o.register(c)
	o.beta.value = 0.10
	f := c.Flags()
	f.BoolVar(&o.compare, "compare", false, "list every choice method for the same d′, fewest assessors first")
	f.IntVar(&o.assessors, "assessors", 0, "people on hand: what they could find")
	f.BoolVar(&o.curve, "curve", false, "the power of every number around the answer")
	f.BoolVar(&o.sequential, "sequential", false, "lines of a sequential test for the same risks")
	f.IntVar(&o.sets, "sets", 1, "sets for each assessor: how many assessors are then needed")
	f.Float64Var(&o.gamma, "gamma", 0.2, "with --sets: how alike one assessor's answers are, 0 to 1")
	f.IntVar(&o.supply.PortionsAPiece, "portions", 0, "portions one piece gives: what has to be cooked")
	f.Float64Var(&o.supply.Spare, "spare", 0.1, "with --portions: share lost to end cuts and spills")
	f.BoolVar(&o.supply.LikeApart, "like-apart", false, "with --portions: like samples of a set from two pieces")
	f.Float64Var(&o.supply.HoldMinutes, "hold", 0, "with --portions: minutes a portion may wait from the knife to the mouth")
	f.Float64Var(&o.supply.CarveMinutes, "carve", 5, "with --hold: minutes to carve and plate a wave")
	f.Float64Var(&o.supply.ServeMinutes, "serve", 6, "with --hold: minutes from one group of assessors to the next")
	f.IntVar(&o.supply.AtOnce, "at-once", 1, "with --hold: assessors served together")
	f.StringSliceVar(&o.supply.Before, "before", nil, "with --portions: measurements to finish before the knife")
	f.Float64Var(&o.difference, "difference", 0, "for hedonic: points of liking that matter")
	f.Float64Var(&o.sd, "sd", 0, "for hedonic: standard deviation of a taster's difference, points")
	return c
}

// sizeOutput is the JSON of a choice plan with what else was asked.
type sizeOutput struct {
	*tasting.Plan
	Compare    []tasting.Needs      `json:"compare,omitempty"`
	OnHand     *onHand              `json:"on_hand,omitempty"`
	Curve      []tasting.PowerPoint `json:"curve,omitempty"`
	Sequential *sequentialOutput    `json:"sequential,omitempty"`
	Replicated *replicatedOutput    `json:"replicated,omitempty"`
	Budget     *tasting.Budget      `json:"budget,omitempty"`
}

type replicatedOutput struct {
	Sets      int     `json:"sets"`
	Gamma     float64 `json:"gamma"`
	Assessors int     `json:"assessors"`
}

type onHand struct {
	tasting.PowerPoint
	DetectableDPrime *float64 `json:"detectable_d_prime"` // with power 1 − beta
}

type sequentialOutput struct {
	*tasting.Sequential
	Risks  tasting.Risks `json:"risks"`
	Capped tasting.Risks `json:"risks_capped"` // stopped at the fixed number
}

func runTasteSize(env *Env, o tasteSizeOptions) error {
	m, err := tasting.Lookup(o.method)
	if err != nil {
		return err
	}
	switch m := m.(type) {
	case tasting.ForcedChoice:
		return sizeChoice(env, m, o)
	case tasting.ResponseMethod:
		if o.dPrime == 0 {
			return fault.BadUsage("effect-missing", "%s has no share of discriminators", m.Describe().Title).On("--pd", o.pd.String()).WithFix("give --dprime, such as 1.5")
		}
		p, err := tasting.SizeResponses(m, o.dPrime, o.alpha.value, o.beta.value)
		if err != nil {
			return err
		}
		if env.JSON {
			return env.PrintJSON(p)
		}
		env.Printf("%d judgements, %d of each kind, every one from another assessor: power %.3f at d′ = %g\n(risk run %.4f; rates %.2f and %.2f with a fair criterion).\n", p.N, p.PerKind, p.Power, p.DPrime, p.Size, p.HitRate, p.FalseAlarm)
		return nil
	case tasting.Hedonic:
		p, err := tasting.SizeHedonic(o.difference, o.sd, o.alpha.value, o.beta.value)
		if err != nil {
			return err
		}
		if env.JSON {
			return env.PrintJSON(p)
		}
		env.Printf("%d tasters, each scoring both products: power %.3f for %g points with a standard\ndeviation of %g.\n", p.N, p.Power, p.Difference, p.SD)
		return nil
	}
	return fault.BadUsage("method-no-size", "trivet has no size for %s", m.Describe().Title).On("--method", o.method).
		WithFix("size the choice or hedonic test that asks your main question")
}

func sizeChoice(env *Env, m tasting.ForcedChoice, o tasteSizeOptions) error {
	if o.assessors < 0 || o.assessors > 1_000_000 {
		return fault.BadUsage("assessors-range", "the number of assessors must be at least 1").On("--assessors", strconv.Itoa(o.assessors))
	}
	goal := o.goal()
	p, err := tasting.Size(m, goal)
	if err != nil {
		return err
	}
	out := sizeOutput{Plan: p}
	if o.compare {
		if o.dPrime == 0 {
			return fault.BadUsage("effect-missing", "methods can be compared at the same d′ only").On("--pd", o.pd.String()).WithFix("give --dprime instead of --pd")
		}
		if out.Compare, err = tasting.Fewest(o.dPrime, goal.Alpha, goal.Beta); err != nil {
			return err
		}
	}
	if o.assessors > 0 {
		h := onHand{PowerPoint: tasting.PointAt(m, goal, o.assessors)}
		if v := tasting.Detectable(m, o.assessors, goal.Alpha, 1-goal.Beta); !math.IsInf(v, 1) {
			h.DetectableDPrime = &v
		}
		out.OnHand = &h
	}
	if o.curve {
		out.Curve = tasting.PowerCurve(m, goal, max(1, p.N-12), p.NForGood+12)
	}
	if o.sequential {
		q, err := tasting.NewSequential(m, goal)
		if err != nil {
			return err
		}
		out.Sequential = &sequentialOutput{q, q.Risks(0), q.Risks(p.N)}
	}
	people := p.NBalanced
	if o.sets != 1 {
		if o.sets < 1 || o.sets > 50 || !(o.gamma >= 0 && o.gamma <= 1) {
			return fault.BadUsage("sets-range", "sets run from 1 to 50 and gamma from 0 to 1").On("--sets", strconv.Itoa(o.sets)).WithFix("for example --sets 3 --gamma 0.2")
		}
		people = tasting.AssessorsFor(p.NForGood, o.sets, o.gamma)
		people = (people + p.Block - 1) / p.Block * p.Block
		out.Replicated = &replicatedOutput{o.sets, o.gamma, people}
	}
	if o.supply.PortionsAPiece != 0 {
		o.supply.Method, o.supply.Assessors, o.supply.Rounds = m, people, o.sets
		if o.supply.LikeApart {
			o.supply.PiecesABlock = 2
		}
		if out.Budget, err = o.supply.Budget(); err != nil {
			return err
		}
	}
	if env.JSON {
		return env.PrintJSON(out)
	}
	printSize(env, m, out)
	return nil
}

func printSize(env *Env, m tasting.ForcedChoice, out sizeOutput) {
	p := out.Plan
	d := m.Describe()
	verb := fmt.Sprintf("%d or more right show a difference", p.Critical)
	if p.For == tasting.ForSimilarity {
		verb = fmt.Sprintf("%d or fewer right show similarity", p.Critical)
	}
	env.Printf("%s (%s), for %s\n", d.Title, d.Standard, p.For)
	env.Printf("%d assessors: %s.\n", p.N, verb)
	dPrime := "∞"
	if p.DPrime != nil {
		dPrime = fmt.Sprintf("%.3g", *p.DPrime)
	}
	env.Printf("Power %.4f, risk of a wrong claim %.4f, at pd = %.3g (d′ = %s, %.3g right).\n", p.Power, p.Size, p.PD, dPrime, p.Correct)
	env.Printf("From %d assessors every number will do; %d fill whole blocks of %d orders.\n", p.NForGood, p.NBalanced, p.Block)
	if h := out.OnHand; h != nil {
		env.Printf("\nWith %d assessors: critical count %d, power %.3f.", h.N, h.Critical, h.Power)
		if h.DetectableDPrime != nil {
			env.Printf(" They find d′ = %.2f with power %.2f.", *h.DetectableDPrime, 1-p.Beta)
		}
		env.Printf("\n")
	}
	if len(out.Compare) > 0 {
		env.Printf("\nThe same d′ by every choice method:\n")
		rows := [][]string{{"method", "assessors", "every number from", "cups", "attribute named"}}
		for _, n := range out.Compare {
			named := ""
			if n.Names {
				named = "yes"
			}
			rows = append(rows, []string{n.Method, strconv.Itoa(n.N), strconv.Itoa(n.NForGood), strconv.Itoa(n.Cups), named})
		}
		env.printRows(rows)
	}
	if len(out.Curve) > 0 {
		env.Printf("\n")
		rows := [][]string{{"assessors", "critical", "risk", "power"}}
		for _, c := range out.Curve {
			rows = append(rows, []string{strconv.Itoa(c.N), strconv.Itoa(c.Critical), fmt.Sprintf("%.4f", c.Size), fmt.Sprintf("%.4f", c.Power)})
		}
		env.printRows(rows)
	}
	if q := out.Sequential; q != nil {
		env.Printf("\nSequential: after n answers claim a difference at %.4f + %.6f n right or more, give up\nat −%.4f + %.6f n or fewer. True risks %.4f and %.4f; %.0f answers on average when the\nproducts are alike, %.0f when they differ.\n",
			q.H1, q.S, q.H0, q.S, q.Risks.Alpha, q.Risks.Beta, q.Risks.MeanN0, q.Risks.MeanN1)
	}
	if r := out.Replicated; r != nil {
		env.Printf("\nWith %d sets each, whole blocks: %d assessors, if their answers are alike by gamma = %g.\nThe tasting then speaks for these assessors first.\n", r.Sets, r.Assessors, r.Gamma)
	}
	if b := out.Budget; b != nil {
		env.Printf("\nTo cook: %d pieces of each product, %d blocks cut one after the other, %d sets from each\nblock; %d portions of each product a block, spare included; like samples from %s.\n", b.PiecesAProduct, b.Waves, b.SetsAWave, b.PortionsAWave, b.LikeSamplesFrom)
		env.PrintNotes(b.Notes)
	}
	env.PrintNotes(p.Notes)
}

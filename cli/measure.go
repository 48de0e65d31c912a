package cli

import (
	"context"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/study"
)

func newMeasure(env *Env) *cobra.Command {
	var opt measureOptions
	c := &cobra.Command{
		Use:   "measure STUDY [RESPONSE…]",
		Short: "Responses of each cook, with uncertainty",
		Long: `Computes responses from the traces, marks and weighings of every cook, each
with its expanded uncertainty (95.45 %, k about 2). Without names: those that
the study's questions ask for, and all others that the records allow. A
target stands in brackets: "time_to_core(60 °C)".

--budget shows where each uncertainty comes from and what would halve it,
--quality what is doubtful in each cook, --marks the events that the traces
tell and nobody marked.`,
		Example: `  trivet measure sear-first-or-sear-last
  trivet measure sear-first-or-sear-last cooking_loss 'time_to_core(55 °C)'
  trivet measure sear-first-or-sear-last --cook L01-a --budget
  trivet measure sear-first-or-sear-last --quality
  trivet measure sear-first-or-sear-last --cook L01-a --accept-marks`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.names = args[1:]
			return runMeasure(cmd.Context(), env, args[0], opt)
		},
	}
	c.Flags().StringVar(&opt.cook, "cook", "", "only this cook, by label")
	c.Flags().BoolVar(&opt.budget, "budget", false, "show where each uncertainty comes from")
	c.Flags().BoolVar(&opt.quality, "quality", false, "report gaps, flat lines, spikes, a pan off its set point and other doubts")
	c.Flags().BoolVar(&opt.marks, "marks", false, "offer the marks that the traces tell")
	c.Flags().BoolVar(&opt.accept, "accept-marks", false, "take the offered marks into the notebook")
	c.Flags().BoolVar(&opt.list, "list", false, "list the built-in responses and stop")
	return c
}

type measureOptions struct {
	names  []string
	cook   string
	budget bool
	list   bool

	quality, marks, accept bool
}

func runMeasure(ctx context.Context, env *Env, arg string, o measureOptions) error {
	if o.list {
		return listResponses(env)
	}
	src, err := env.openStudy(ctx, arg)
	if err != nil {
		return err
	}
	defer src.Close()
	rec, err := src.record(ctx)
	if err != nil {
		return err
	}
	if o.cook != "" {
		c, err := findCook(rec, o.cook)
		if err != nil {
			return err
		}
		rec.Cooks = []study.Cook{*c}
	}
	switch {
	case o.quality:
		return qualityReport(ctx, env, src.reader, rec)
	case o.marks || o.accept:
		return offeredMarks(ctx, env, src.reader, rec, o.accept)
	}
	if err := knownResponses(rec, o.names); err != nil {
		return err
	}
	progress, done := env.progress("measuring cooks")
	results, err := bench.Measure(ctx, src.reader, rec, progress, o.names...)
	done()
	if err != nil {
		return err
	}
	if env.JSON {
		return measureJSON(env, rec, results)
	}
	measureText(env, results, o.budget)
	return nil
}

// knownResponses refuses a name that is neither built in nor read anywhere.
func knownResponses(rec *bench.Record, names []string) error {
	known := study.ResponseNames()
	for _, c := range rec.Cooks {
		for _, r := range c.Readings {
			if !slices.Contains(known, r.Response) {
				known = append(known, r.Response)
			}
		}
	}
	for _, n := range names {
		id, _ := study.SplitResponse(n)
		if !slices.Contains(known, id) {
			return fault.BadUsage("response-unknown", "no response is called %q", n).On("RESPONSE", n).
				WithFix("one of: %s", clipList(known, 40))
		}
	}
	return nil
}

func listResponses(env *Env) error {
	if env.JSON {
		return env.PrintJSON(study.Responses())
	}
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, r := range study.Responses() {
		name := r.ID
		if r.Target {
			name += "(60 °C)"
		}
		t.Write([]byte(name + "\t" + r.Unit + "\t" + r.What + "\n"))
	}
	return t.Flush()
}

func measureJSON(env *Env, rec *bench.Record, results []answer.CookResult) error {
	type cook struct {
		Label     string             `json:"cook"`
		Block     string             `json:"block"`
		Treatment string             `json:"treatment"`
		Role      study.Role         `json:"role"`
		Responses []measure.Response `json:"responses"`
		Absent    []measure.Absent   `json:"absent"`
		Notes     []fault.Note       `json:"notes"`
	}
	out := struct {
		Format int    `json:"format"`
		Study  string `json:"study"`
		Method int    `json:"method_version"`
		Cooks  []cook `json:"cooks"`
	}{1, rec.Study.ID, measure.MethodVersion, []cook{}}
	for _, r := range results {
		out.Cooks = append(out.Cooks, cook{r.Cook.Label, r.Cook.Block, r.Cook.Treatment, r.Cook.Role,
			append([]measure.Response{}, r.Result.Responses...), append([]measure.Absent{}, r.Result.Absent...), append([]fault.Note{}, r.Result.Notes...)})
	}
	return env.PrintJSON(out)
}

func measureText(env *Env, results []answer.CookResult, budget bool) {
	own, shared := remarks(results)
	for i, r := range results {
		if i > 0 {
			env.Printf("\n")
		}
		env.Printf("%s  (%s, block %s, %s)\n", r.Cook.Label, r.Cook.Treatment, r.Cook.Block, r.Cook.Role)
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		for _, x := range r.Result.Responses {
			t.Write([]byte("  " + x.Name + "\t" + env.value(x) + "\n"))
			if budget {
				for _, s := range x.Table() {
					t.Write([]byte("    " + s.Name + "\t" + env.budgetLine(x, s) + "\n"))
				}
				if h := x.Halving(); h != "" {
					t.Write([]byte("    → " + h + "\n"))
				}
			}
		}
		t.Flush()
		for _, a := range r.Result.Absent {
			line := "  " + a.Name + ": " + a.Why
			if a.Fix != "" {
				line += "; " + a.Fix
			}
			env.Printf("%s\n", line)
		}
		env.PrintNotes(own[i])
	}
	if len(shared) > 0 {
		env.Printf("\nOf every cook:\n")
		for _, n := range shared {
			env.Printf("· %s\n", n.Text)
		}
	}
	if len(results) == 0 {
		env.Printf("The study has no cooks yet.\n")
	}
}

// remarks parts the notes on each cook from those that are the same of all.
func remarks(results []answer.CookResult) (own [][]fault.Note, shared []fault.Note) {
	count := map[fault.Note]int{}
	for _, r := range results {
		notes := r.Result.Remarks()
		own = append(own, notes)
		for _, n := range notes {
			count[n]++
		}
	}
	if len(results) < 2 {
		return own, nil
	}
	everywhere := func(n fault.Note) bool { return count[n] == len(results) }
	for i := range own {
		if i == 0 {
			for _, n := range own[i] {
				if everywhere(n) {
					shared = append(shared, n)
				}
			}
		}
		own[i] = slices.DeleteFunc(own[i], everywhere)
	}
	return own, shared
}

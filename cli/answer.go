package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
)

func newAnswer(env *Env) *cobra.Command {
	var after int
	c := &cobra.Command{
		Use:   "answer STUDY",
		Short: "Answer a study's questions, with their evidence",
		Long: `Measures the cooks of a study and answers its questions: a verdict each, the
estimate with its intervals, the checks a verdict must pass, and what is
still open. STUDY is a study's id in the notebook, a package, or a folder
with a study.yaml.`,
		Example: `  trivet answer sear-first-or-sear-last
  trivet answer examples/cake
  trivet answer sear-first-or-sear-last --after-block 8 --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAnswer(cmd.Context(), env, args[0], after)
		},
	}
	c.Flags().IntVar(&after, "after-block", 0, "use only the first so many blocks, in run order")
	return c
}

func runAnswer(ctx context.Context, env *Env, arg string, after int) error {
	if after < 0 {
		return fault.BadUsage("after-block", "the number of blocks must be positive").On("--after-block", fmt.Sprint(after))
	}
	src, err := env.openStudy(ctx, arg)
	if err != nil {
		return err
	}
	defer src.Close()
	progress, done := env.progress("measuring cooks")
	got, err := bench.Answer(ctx, src.reader, src.id, bench.AnswerOptions{AfterBlock: after, Now: env.Now(), Progress: progress})
	done()
	if err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(got.Answer)
	}
	printAnswer(env, got)
	return nil
}

func printAnswer(env *Env, got *bench.Answered) {
	a := got.Answer
	w := answer.Words{Study: got.Record.Study, Fahrenheit: env.Fahrenheit()}
	env.Printf("%s\n", a.Title)
	if a.Invented {
		env.Printf("(invented data)\n")
	}
	if got.Record.Study.Claim.Says != "" {
		env.Printf("Claim: %s\n", got.Record.Study.Claim.Says)
	}
	switch {
	case !a.Sealed:
		env.Printf("The plan was not sealed before the data, so no verdict is given.\n")
	case len(a.Changes) > 0:
		env.Printf("Sealed %s, CHANGED SINCE: %s\n", a.SealHash[:12], strings.Join(a.Changes, "; "))
	default:
		env.Printf("Sealed %s on %s, unchanged.\n", a.SealHash[:12], got.Record.Seal.At.Format("2006-01-02 15:04 MST"))
	}
	for _, f := range a.Findings {
		env.Printf("\n%s\n", f.Ask)
		env.Printf("  → %s\n", f.Printed)
		env.Printf("%s", wrapped("  ", w.Sentence(f), 78))
		printComponents(env, f)
		printOthers(env, w, f)
		for _, c := range f.Checks {
			if c.State != answer.Passed {
				env.Printf("%s", wrapped("    ", "check "+string(c.State)+" ("+strings.ReplaceAll(string(c.Code), "-", " ")+"): "+c.Text, 78))
			}
		}
		for _, n := range f.Notes {
			env.Printf("%s", wrapped("    ", "· "+n.Text, 78))
		}
	}
	if a.Next.Text != "" {
		env.Printf("\n%s", wrapped("", map[string]string{"stop": "Stop: ", "go-on": "Go on: "}[a.Next.Action]+a.Next.Text+".", 78))
	}
	env.PrintNotes(a.Notes)
}

// printOthers shows what the response's other definitions would give.
func printOthers(env *Env, w answer.Words, f *answer.Finding) {
	if f.Evidence == nil {
		return
	}
	others := f.Evidence.Compared()
	if len(others) > 0 {
		env.Printf("    by other definitions:\n")
	}
	for _, r := range others {
		env.Printf("%s", wrapped("      ", answer.Capital(w.Redefined(f, r)), 78))
	}
}

// printComponents shows where the scatter of single values comes from.
func printComponents(env *Env, f *answer.Finding) {
	if f.Evidence == nil || len(f.Evidence.Components) == 0 {
		return
	}
	env.Printf("    scatter of single values:")
	for i, c := range f.Evidence.Components {
		if i > 0 {
			env.Printf(",")
		}
		env.Printf(" %s %.0f %%", c.Name, 100*c.Share)
	}
	env.Printf("\n")
}

package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"trivet/store"
)

// flagValues are the words a flag takes, for completion in the shell.
var flagValues = map[string][]string{
	"units":  {"metric", "us"},
	"claim":  {"higher", "lower", "either"},
	"scale":  {"identity", "log"},
	"blocks": {"auto", "fixed", "random"},
	"adjust": {"holm", "tukey", "dunnett", "none"},
	"design": {"paired", "rcb", "two-sample"},
	"test":   {"difference", "equivalence", "minimum-effect"},
}

// withCompletion lets the shell complete the values of flags and, where a
// command takes a STUDY, the studies of the notebook beside files and folders.
func withCompletion(env *Env, c *cobra.Command) {
	for name, values := range flagValues {
		f := c.Flags().Lookup(name)
		if f == nil {
			f = c.PersistentFlags().Lookup(name)
		}
		// A flag of the same name elsewhere may take a number, as --blocks of plan does.
		if f != nil && f.Value.Type() == "string" {
			_ = c.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp))
		}
	}
	if c.Flags().Lookup("study") != nil {
		_ = c.RegisterFlagCompletionFunc("study", func(cmd *cobra.Command, _ []string, begun string) ([]string, cobra.ShellCompDirective) {
			return studyIDs(env, cmd, begun), cobra.ShellCompDirectiveNoFileComp
		})
	}
	if words := strings.Fields(c.Use); len(words) > 1 && words[1] == "STUDY" && c.ValidArgsFunction == nil {
		c.ValidArgsFunction = func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return studyIDs(env, cmd, begun), cobra.ShellCompDirectiveDefault
		}
	}
	for _, sub := range c.Commands() {
		withCompletion(env, sub)
	}
}

// studyIDs lists the studies of the notebook that begin as the word begun; a
// notebook that cannot be read offers none.
func studyIDs(env *Env, cmd *cobra.Command, begun string) []string {
	nb, err := store.Open(cmd.Context(), env.NotebookPath, store.Options{Now: env.Now, ReadOnly: true})
	if err != nil {
		return nil
	}
	defer nb.Close()
	all, err := nb.Studies(cmd.Context())
	if err != nil {
		return nil
	}
	var out []string
	for _, s := range all {
		if strings.HasPrefix(s.ID, begun) {
			out = append(out, s.ID+"\t"+s.Title)
		}
	}
	return out
}

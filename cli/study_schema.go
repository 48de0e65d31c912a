package cli

import (
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/study"
)

func newStudySchema(env *Env) *cobra.Command {
	var responses bool
	c := &cobra.Command{
		Use:   "schema",
		Short: "Print the JSON Schema of the study document, or its responses",
		Long: `Prints the JSON Schema (draft 2020-12) of study.yaml. Editors use it to
complete keys and mark mistakes while you type: save it beside your studies
and begin a document with

  # yaml-language-server: $schema=study.schema.json`,
		Example: `  trivet study schema > study.schema.json
  trivet study schema --responses`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			switch {
			case responses && env.JSON:
				type row struct {
					ID     string `json:"id"`
					Unit   string `json:"unit"`
					Target bool   `json:"takes_target"`
					Margin string `json:"margin_example"`
					What   string `json:"what"`
				}
				rows := []row{}
				for _, r := range study.Responses() {
					rows = append(rows, row{r.ID, r.Unit, r.Target, r.Margins(), r.What})
				}
				return env.PrintJSON(map[string]any{"format": 1, "responses": rows})
			case responses:
				t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
				fmt.Fprintln(t, "response\tunit\tmargin\tmeaning")
				for _, r := range study.Responses() {
					name := r.ID
					if r.Target {
						name += "(60 °C)"
					}
					fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", name, r.Unit, r.Margins(), r.What)
				}
				return t.Flush()
			case env.JSON:
				return env.PrintJSON(json.RawMessage(study.Schema()))
			}
			_, err := env.Write(study.Schema())
			return err
		},
	}
	c.Flags().BoolVar(&responses, "responses", false, "list the responses that trivet computes instead")
	return c
}

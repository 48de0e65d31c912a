package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/bundle"
	"trivet/fault"
	"trivet/study"
)

func newStudy(env *Env) *cobra.Command {
	c := &cobra.Command{
		Use:   "study",
		Short: "Write, check, seal, list, export and import studies",
	}
	c.AddCommand(newStudyNew(env), newStudyCheck(env), newStudySchema(env), newStudySeal(env),
		newStudyList(env), newStudyImport(env), newStudyExport(env), newStudyVerify(env))
	return c
}

func newStudyList(env *Env) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the studies of the notebook",
		Example: "  trivet study list\n  trivet study list --notebook kitchen.trivet --json",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			nb, err := env.openNotebook(cmd.Context(), false)
			if err != nil {
				return err
			}
			defer nb.Close()
			all, err := nb.Studies(cmd.Context())
			if err != nil {
				return err
			}
			if env.JSON {
				type row struct {
					ID      string `json:"id"`
					Title   string `json:"title"`
					Cooks   int    `json:"cooks"`
					Sealed  bool   `json:"sealed"`
					Updated string `json:"updated"`
				}
				rows := []row{}
				for _, s := range all {
					rows = append(rows, row{s.ID, s.Title, s.Cooks, s.Sealed, s.Updated.Format("2006-01-02T15:04:05Z07:00")})
				}
				return env.PrintJSON(map[string]any{"format": 1, "studies": rows})
			}
			if len(all) == 0 {
				env.Printf("No studies yet. Write one with \"trivet study new\" and import it.\n")
				return nil
			}
			t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
			for _, s := range all {
				state := "not sealed"
				if s.Sealed {
					state = "sealed"
				}
				fmt.Fprintf(t, "%s\t%s\t%d cooks\t%s\n", s.ID, s.Title, s.Cooks, state)
			}
			return t.Flush()
		},
	}
}

func newStudySeal(env *Env) *cobra.Command {
	var yes bool
	c := &cobra.Command{
		Use:   "seal STUDY",
		Short: "Seal the plan before the first planned cook",
		Long: `Seals the plan: the hash of claim, questions, margins, treatments, blocks,
controlled quantities, void rules, risk, design, seed and run order enters the
notebook's history. What is changed later is shown beside every answer.`,
		Example: "  trivet study seal sear-first-or-sear-last",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			if _, err := os.Stat(args[0]); err == nil {
				return fault.BadUsage("seal-path", "a seal is set in the notebook, on a study's id").On("STUDY", args[0]).
					WithFix("take the folder into the notebook with \"trivet study import\" and seal the id it prints")
			}
			nb, err := env.openNotebook(ctx, false)
			if err != nil {
				return err
			}
			defer nb.Close()
			rec, err := nb.Record(ctx, args[0])
			if err != nil {
				return err
			}
			if !yes {
				open := []string{}
				for _, d := range sealDoubts(rec) {
					open = append(open, d.Text())
				}
				open = append(open, env.cannotSettle(ctx, &source{reader: nb, id: args[0], name: args[0]}, rec)...)
				if len(open) > 0 {
					for _, d := range open {
						env.Tell("%s", d)
					}
					return fault.New("seal-doubts", "the plan has %d open points; a seal is set once", len(open)).
						WithFix("mend them, or seal all the same with --yes")
				}
			}
			seal, err := bench.Seal(ctx, nb, args[0], env.Now())
			if err != nil {
				return err
			}
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": args[0], "seal_hash": seal.Hash, "at": seal.At})
			}
			env.Printf("Sealed %s\n%s\non %s by this machine's clock.\n", args[0], seal.Hash, seal.At.Format("2006-01-02 15:04:05 MST"))
			return nil
		},
	}
	c.Flags().BoolVar(&yes, "yes", false, "seal in spite of open points")
	return c
}

// sealDoubts are the findings of a check that a person should settle before
// sealing.
func sealDoubts(rec *bench.Record) []study.Finding {
	var out []study.Finding
	for _, f := range study.Check(rec.Study, rec.CookFiles) {
		if f.Severity != study.Doubt {
			out = append(out, f)
		}
	}
	return out
}

func newStudyImport(env *Env) *cobra.Command {
	return &cobra.Command{
		Use:   "import FOLDER",
		Short: "Take a study into the notebook, from a package or a plain folder",
		Long: `Takes a study into the notebook. FOLDER is a data package that "trivet study
export" wrote (taken over as it is, history and seal included), or a plain
folder with a study.yaml, its cook files and logs. Importing the same thing
again does nothing; a changed document of a plain folder replaces the old
one, what was loaded or recorded beside it stays, and the history says so.`,
		Example: "  trivet study import .\n  trivet study import packages/sear-first-or-sear-last",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			dir := args[0]
			if st, err := os.Stat(dir); err == nil && !st.IsDir() && !strings.EqualFold(filepath.Ext(dir), ".zip") {
				dir = filepath.Dir(dir)
			}
			src, err := env.openFolder(ctx, dir)
			if err != nil {
				return err
			}
			defer src.Close()
			nb, err := env.openNotebook(ctx, true)
			if err != nil {
				return err
			}
			defer nb.Close()
			progress, done := env.progress("importing cooks")
			var got *bench.Imported
			if bundle.IsPackage(dir) {
				got, err = bench.ImportPackage(ctx, src.reader, src.id, nb, progress)
			} else {
				got, err = bench.ImportFolder(ctx, src.reader, src.id, nb, env.Now(), progress)
			}
			done()
			if err != nil {
				return err
			}
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": got.Study, "cooks": got.Cooks, "logs": got.Logs, "already": got.Already})
			}
			if got.Already {
				env.Printf("%s is in the notebook as it stands here; nothing was changed.\n", got.Study)
				return nil
			}
			env.Printf("Imported %s: %d cooks, %d logs.\n", got.Study, got.Cooks, got.Logs)
			return nil
		},
	}
}

func newStudyExport(env *Env) *cobra.Command {
	var out string
	var force bool
	c := &cobra.Command{
		Use:   "export STUDY",
		Short: "Write a study as a data package that anyone can re-run",
		Long: `Writes a data package: a folder with a Frictionless descriptor, CSV tables,
the study document, seal, history, findings and the raw logs, each with its
checksum. "trivet answer FOLDER" answers it again; "trivet study import
FOLDER" takes it into another notebook unchanged.`,
		Example: "  trivet study export sear-first-or-sear-last --out package",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			src, err := env.openStudy(ctx, args[0])
			if err != nil {
				return err
			}
			defer src.Close()
			if out == "" {
				out = src.id
			}
			progress, done := env.progress("writing cooks")
			err = exportPackage(ctx, env, src, out, force, progress)
			done()
			if err != nil {
				return err
			}
			// The package holds the answer, so writing it is a look; it is noted
			// afterwards, so that an export imported elsewhere exports the same.
			rec, err := src.record(ctx)
			if err != nil {
				return err
			}
			if err := bench.NoteLook(ctx, src.reader, rec, env.Now()); err != nil {
				return err
			}
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": src.id, "folder": out})
			}
			env.Printf("Wrote %s. Answer it again with: trivet answer %s\n", out, out)
			return nil
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "", "folder to write (default: the study's id)")
	c.Flags().BoolVar(&force, "force", false, "replace the folder if it exists")
	return c
}

func newStudyVerify(env *Env) *cobra.Command {
	return &cobra.Command{
		Use:   "verify STUDY",
		Short: "Check hashes, history and seal of a study",
		Long: `Checks that every file of a package has the hash its manifest says, that the
history chains unbroken, and which sealed parts differ today.`,
		Example: "  trivet study verify package\n  trivet study verify sear-first-or-sear-last",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			src, err := env.openStudy(ctx, args[0])
			if err != nil {
				return err
			}
			defer src.Close()
			rec, err := src.record(ctx)
			if err != nil {
				return err
			}
			if err := study.VerifyChain(rec.Events); err != nil {
				return err
			}
			changes, err := bench.SealChanges(rec)
			if err != nil {
				return err
			}
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": src.id, "history_entries": len(rec.Events),
					"sealed": rec.Seal != nil, "changes_since_seal": changes})
			}
			env.Printf("%s: %d history entries, chain unbroken.\n", src.id, len(rec.Events))
			switch {
			case rec.Seal == nil:
				env.Printf("The plan is not sealed.\n")
			case len(changes) == 0:
				env.Printf("Sealed %s, unchanged since.\n", rec.Seal.Hash)
			default:
				env.Printf("Sealed %s. Changed since:\n", rec.Seal.Hash)
				for _, c := range changes {
					env.Printf("  %s\n", c)
				}
			}
			return nil
		},
	}
}

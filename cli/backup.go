package cli

import (
	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/store"
)

func newBackup(env *Env) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the notebook to a new file and verify the copy",
		Long: `Writes a compact copy of the notebook while others may go on using it, reads it
back and compares every row, and puts its checksum beside it (FILE.sha256).
An existing file is never overwritten.`,
		Example: "  trivet backup notebook-2026-03-07.trivet",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			nb, err := env.openNotebook(cmd.Context(), false)
			if err != nil {
				return err
			}
			defer nb.Close()
			c, err := nb.Backup(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return printCopy(env, "Backed up to", c)
		},
	}
}

func newRestore(env *Env) *cobra.Command {
	var replace bool
	c := &cobra.Command{
		Use:   "restore BACKUP",
		Short: "Verify a backup and put it in the notebook's place",
		Long: `Verifies a backup and copies it to the notebook's path. A notebook that is there
is only replaced with --replace, and then kept beside it under a dated name.`,
		Example: "  trivet restore notebook-2026-03-07.trivet --notebook notebook.trivet --replace",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if args[0] == env.NotebookPath {
				return fault.BadUsage("restore", "the backup and the notebook are one file").On("BACKUP", args[0])
			}
			c, err := store.Restore(cmd.Context(), args[0], env.NotebookPath, replace, env.Now())
			if err != nil {
				return err
			}
			return printCopy(env, "Restored to", c)
		},
	}
	c.Flags().BoolVar(&replace, "replace", false, "replace the notebook that is there; it is kept under a dated name")
	return c
}

func printCopy(env *Env, did string, c store.Copy) error {
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "path": c.Path, "bytes": c.Bytes, "sha256": c.SHA256, "rows": c.Rows})
	}
	rows := int64(0)
	for _, n := range c.Rows {
		rows += n
	}
	env.Printf("%s %s: %d bytes, %d rows, every one compared.\nsha256 %s\n", did, c.Path, c.Bytes, rows, c.SHA256)
	return nil
}

package cli

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/study"
)

func newStudyNew(env *Env) *cobra.Command {
	var out string
	var force bool
	c := &cobra.Command{
		Use:   "new [TITLE]",
		Short: "Write a commented study document to fill in",
		Long: `Writes a study document with every field explained in a line. It can be read
as it stands; "trivet study check" then says what is still to decide, in the
order in which a plan is made.`,
		Example: `  trivet study new "Sear first or sear last"
  trivet study new "Salt early or late" --out salt/study.yaml`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			title := ""
			if len(args) > 0 {
				title = args[0]
			}
			b := study.Starter(title)
			s, err := study.Parse(out, b)
			if err != nil {
				return err
			}
			if out == "-" {
				_, err := env.Write(b)
				return err
			}
			if err := writeNew(out, b, force); err != nil {
				return err
			}
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": s.ID, "title": s.Title, "file": out})
			}
			env.Printf("Wrote %s. Fill it in from the top, then run: trivet study check %s\n", out, out)
			return nil
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "study.yaml", `file to write, or "-" for stdout`)
	c.Flags().BoolVar(&force, "force", false, "replace the file if it exists")
	return c
}

// writeNew writes a file whole: into a new file beside it that then takes its
// name. Without force an existing file is left alone.
func writeNew(path string, b []byte, force bool) (err error) {
	taken := fault.BadUsage("file-exists", "there is a file of this name already").In(path).
		WithFix("choose another with --out, or replace it with --force")
	if _, err := os.Lstat(path); err == nil && !force {
		return taken
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".trivet-*.tmp")
	if err != nil {
		return cannotWrite(path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err := f.Write(b); err != nil {
		return cannotWrite(path, err)
	}
	if err := errors.Join(f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return cannotWrite(path, err)
	}
	if force {
		err = os.Rename(f.Name(), path)
	} else if err = os.Link(f.Name(), path); err == nil { // refuses a name taken meanwhile
		os.Remove(f.Name())
	} else if !errors.Is(err, fs.ErrExist) { // a file system without links
		err = os.Rename(f.Name(), path)
	}
	if errors.Is(err, fs.ErrExist) {
		return taken
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

func cannotWrite(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fault.BadUsage("folder-missing", "there is no such folder").In(filepath.Dir(path)).WithFix("make it first")
	}
	return fault.New("write", "the file could not be written").In(path).Wrap(err)
}

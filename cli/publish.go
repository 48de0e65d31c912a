package cli

import (
	"archive/zip"
	"context"
	"encoding/json"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"

	"trivet/answer"
	"trivet/bench"
	"trivet/bundle"
	"trivet/cells"
	"trivet/publish"
)

func newPublish(env *Env) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "publish STUDY",
		Short: "Write the report, its figures and the data",
		Long: `Writes a folder with a report that needs no network (index.html), its figures
as SVG, PNG and PDF, the measured responses, the answer, and the data package
as one zip file that "trivet answer" reads. A report written there before is
replaced; a folder that holds anything else is left alone.`,
		Example: `  trivet publish sear-first-or-sear-last --out report
  trivet publish examples/cake --out cake-report --units us`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			src, err := env.openStudy(ctx, args[0])
			if err != nil {
				return err
			}
			defer src.Close()
			if out == "" {
				out = src.id + "-report"
			}
			progress, done := env.progress("writing the report")
			_, err = publishStudy(ctx, env, src, out, progress)
			done()
			if err != nil {
				return err
			}
			page := filepath.Join(out, "index.html")
			if env.JSON {
				return env.PrintJSON(map[string]any{"format": 1, "study": src.id, "folder": out, "report": page})
			}
			env.Printf("Wrote %s\n", page)
			return nil
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "", "folder to write (default: the study's id with -report)")
	return c
}

// publishStudy answers a study and writes its report folder.
func publishStudy(ctx context.Context, env *Env, src *source, out string, progress bench.Progress) (*bench.Answered, error) {
	got, err := bench.Answer(ctx, src.reader, src.id, bench.AnswerOptions{Now: env.Now(), Progress: progress})
	if err != nil {
		return nil, err
	}
	all, err := bench.Measure(ctx, src.reader, got.Record, nil)
	if err != nil {
		return nil, err
	}
	zipName := src.id + ".zip"
	r, err := publish.Assemble(ctx, src.reader, got, publish.AssembleOptions{Results: all, Made: env.Now(), Fahrenheit: env.Fahrenheit(),
		Version: Version, Rerun: "trivet answer data/" + zipName, Progress: progress})
	if err != nil {
		return nil, err
	}
	extras := []publish.Extra{
		{Path: "data/responses.csv", What: "every measured response of every cook, with its uncertainty",
			Write: func(w io.Writer) error { return writeResponses(w, all) }},
		{Path: "data/answer.json", What: "the answer as the answer command prints it", Write: func(w io.Writer) error {
			enc := json.NewEncoder(w)
			enc.SetIndent("", "  ")
			return enc.Encode(got.Answer)
		}},
		{Path: "data/" + zipName, What: "the data package: plan, seal, history, tables and raw logs",
			Write: func(w io.Writer) error { return zipPackage(ctx, env, src, w) }},
	}
	return got, publish.WriteFolder(ctx, out, *r, extras)
}

// responseHeader names the columns of responses.csv.
var responseHeader = []string{"cook", "block", "treatment", "role", "response", "unit", "value", "std_u", "repeats", "k", "expanded_u"}

func responseRows(all []answer.CookResult) [][]string {
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	var rows [][]string
	for _, c := range all {
		for _, r := range c.Result.Responses {
			u, k := r.Expanded()
			rows = append(rows, []string{c.Cook.Label, c.Cook.Block, c.Cook.Treatment, string(c.Cook.Role),
				r.Name, r.Unit, num(r.Value), num(r.StdU), strconv.Itoa(r.Repeats), num(k), num(u)})
		}
	}
	return rows
}

func writeResponses(w io.Writer, all []answer.CookResult) error {
	return cells.NewWriter(w).WriteAll(responseHeader, responseRows(all))
}

// exportPackage writes a study as a data package folder, its answer and
// responses among it.
func exportPackage(ctx context.Context, env *Env, src *source, dir string, replace bool, progress bench.Progress) error {
	got, err := bench.Answer(ctx, src.reader, src.id, bench.AnswerOptions{Now: env.Now(), NoLook: true})
	if err != nil {
		return err
	}
	findings, err := json.MarshalIndent(got.Answer, "", "  ")
	if err != nil {
		return err
	}
	return bundle.Export(ctx, dir, src.reader, src.id, bundle.Extras{Findings: findings, Replace: replace}, progress)
}

// zipPackage writes the data package as one zip file with fixed times, so
// that the same study gives the same bytes.
func zipPackage(ctx context.Context, env *Env, src *source, w io.Writer) error {
	return inTempFolder(func(tmp string) error {
		dir := filepath.Join(tmp, src.id)
		if err := exportPackage(ctx, env, src, dir, false, nil); err != nil {
			return err
		}
		return zipFolder(dir, w)
	})
}

// zipFolder writes what a folder holds as one zip file with fixed times.
func zipFolder(dir string, w io.Writer) error {
	z := zip.NewWriter(w)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		f, err := z.CreateHeader(&zip.FileHeader{Name: filepath.ToSlash(rel), Method: zip.Deflate})
		if err != nil {
			return err
		}
		in, err := os.Open(path)
		if err != nil {
			return err
		}
		defer in.Close()
		_, err = io.Copy(f, in)
		return err
	})
	if err != nil {
		return err
	}
	return z.Close()
}

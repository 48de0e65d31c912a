package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/study"
)

func newStudyCheck(env *Env) *cobra.Command {
	var strict bool
	c := &cobra.Command{
		Use:   "check STUDY",
		Short: "Say what is wrong, missing or doubtful in a study document",
		Long: `Reads a study document and its cook files. What cannot be read is listed with
its line and column (exit status 1). Otherwise it lists, the gravest first,
what a question cannot be answered with (error), what a sound plan says and
this one does not (missing), and what a reader will ask about (doubt).

STUDY is a study document, the folder that holds a study.yaml, or the id of a
study in the notebook (its document is checked).`,
		Example: `  trivet study check study.yaml
  trivet study check . --strict`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := env.studyToCheck(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			s := f.study
			findings := f.document.Locate(study.Check(s, f.cookFiles))
			if strict {
				if err := strictFindings(f.path, findings); err != nil {
					return err
				}
			}
			if env.JSON {
				if findings == nil {
					findings = []study.Finding{}
				}
				return env.PrintJSON(map[string]any{"format": 1, "study": s.ID, "title": s.Title, "findings": findings})
			}
			printFindings(env, s, findings)
			return nil
		},
	}
	c.Flags().BoolVar(&strict, "strict", false, "exit with 1 when something is wrong or missing")
	return c
}

// studyToCheck finds a study document on disk or, by its id, in the notebook.
func (e *Env) studyToCheck(ctx context.Context, arg string) (*studyFile, error) {
	if _, err := os.Stat(arg); err == nil || study.NewID(arg) != arg {
		return readStudyFile(arg)
	}
	src, err := e.openStudy(ctx, arg)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	rec, err := src.record(ctx)
	if err != nil {
		return nil, err
	}
	document, err := study.ReadDocument(arg, rec.Document)
	if err != nil {
		return nil, err
	}
	return &studyFile{arg, document, rec.Study, rec.CookFiles}, nil
}

// studyFile is a study document with the cook files it names.
type studyFile struct {
	path      string
	document  *study.Document
	study     *study.Study
	cookFiles map[string][]byte
}

// readStudyFile reads a study document, named itself or by its folder. Cook
// files that are not there are left out: the check says so.
func readStudyFile(path string) (*studyFile, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.BadUsage("study-missing", "there is no such file or folder").In(path).
			WithFix("name a study document, or the folder that holds study.yaml")
	}
	if err == nil && info.IsDir() {
		path = filepath.Join(path, "study.yaml")
	}
	b, err := readAtMost(path, mostDocumentBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.BadUsage("study-missing", "there is no study.yaml in this folder").In(filepath.Dir(path)).
			WithFix("write one with: trivet study new")
	}
	if err != nil {
		return nil, fault.New("read", "the file could not be read").In(path).Wrap(err)
	}
	s, err := study.Parse(path, b)
	if err != nil {
		return nil, err
	}
	document, err := study.ReadDocument(path, b)
	if err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, fault.New("read", "the folder could not be read").In(filepath.Dir(path)).Wrap(err)
	}
	defer root.Close()
	cookFiles := map[string][]byte{}
	for _, name := range s.CookFiles() {
		cook, err := root.ReadFile(filepath.FromSlash(name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fault.New("read", "the cook file could not be read").In(name).Wrap(err)
		}
		cookFiles[name] = cook
	}
	return &studyFile{path, document, s, cookFiles}, nil
}

// mostDocumentBytes is more than a study document may have; reading stops
// there, and the parser refuses what was read.
const mostDocumentBytes = 16<<20 + 1

// readAtMost reads a file up to its first n bytes.
func readAtMost(path string, n int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, n))
}

// strictFindings turns what is wrong or missing into an error.
func strictFindings(path string, findings []study.Finding) error {
	var list fault.List
	for _, f := range findings {
		if f.Severity != study.Doubt {
			e := fault.New(f.Code, "%s", f.What).In(path).At(f.Line, 0).On(f.Where, "")
			e.Fix = f.Fix
			list = append(list, e)
		}
	}
	return list.Err()
}

func printFindings(env *Env, s *study.Study, findings []study.Finding) {
	if len(findings) == 0 {
		env.Printf("%s: nothing to settle.\n", s.Title)
		return
	}
	count := map[study.Severity]int{}
	for _, f := range findings {
		count[f.Severity]++
	}
	var parts []string
	for _, k := range []struct {
		severity  study.Severity
		one, many string
	}{{study.Wrong, "error", "errors"}, {study.Missing, "missing", "missing"}, {study.Doubt, "doubt", "doubts"}} {
		switch n := count[k.severity]; n {
		case 0:
		case 1:
			parts = append(parts, "1 "+k.one)
		default:
			parts = append(parts, fmt.Sprintf("%d %s", n, k.many))
		}
	}
	env.Printf("%s: %s\n", s.Title, strings.Join(parts, ", "))
	var last study.Severity
	for _, f := range findings {
		if f.Severity != last {
			env.Printf("\n%s\n", f.Severity)
			last = f.Severity
		}
		where := f.Where
		if f.Line > 0 {
			where += fmt.Sprintf(", line %d", f.Line)
		}
		env.Printf("  %s\n%s", where, indented(f.What+".", 4))
		if f.Fix != "" {
			env.Printf("%s", indented("→ "+f.Fix, 4))
		}
	}
}

// indented breaks text into lines of at most 88 characters behind a margin.
func indented(text string, margin int) string {
	const width = 88
	var b strings.Builder
	pad := strings.Repeat(" ", margin)
	line := pad
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+len([]rune(word)) >= width && line != pad {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = pad
		}
		line += word + " "
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
	return b.String()
}

package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"trivet/bench"
	"trivet/bundle"
	"trivet/fault"
	"trivet/logfile"
	"trivet/store"
	"trivet/study"
	"trivet/trace"
)

// openNotebook opens the notebook for writing, making a new one when create
// is set and there is none.
func (e *Env) openNotebook(ctx context.Context, create bool) (*store.Notebook, error) {
	opt := store.Options{Now: e.Now}
	nb, err := store.Open(ctx, e.NotebookPath, opt)
	if f := fault.As(err); f != nil && f.Code == "notebook-missing" && create {
		e.Tell("made a new notebook: %s", e.NotebookPath)
		nb, err = store.Create(ctx, e.NotebookPath, opt)
	}
	if err != nil {
		return nil, err
	}
	for _, n := range nb.Notes() {
		e.Tell("· %s", n.Text)
	}
	return nb, nil
}

// source is where a study is read from. The reader is a field, not embedded:
// a use case must be handed the reader itself, on which it sees what a
// notebook can do beyond reading (keep results, note a look).
type source struct {
	reader bench.Reader
	id     string
	// command names the source as the user would write it again.
	name string
}

// record reads the study.
func (s *source) record(ctx context.Context) (*bench.Record, error) {
	return s.reader.Record(ctx, s.id)
}

// Close lets the notebook or package go.
func (s *source) Close() error { return s.reader.Close() }

// openStudy finds the study an argument names: a package or plain folder, a
// study.yaml, or a study's id in the notebook.
func (e *Env) openStudy(ctx context.Context, arg string) (*source, error) {
	if st, err := os.Stat(arg); err == nil {
		dir := arg
		if !st.IsDir() {
			if ext := strings.ToLower(filepath.Ext(arg)); ext != ".yaml" && ext != ".yml" && ext != ".zip" {
				return nil, fault.BadUsage("study-path", "this file is not a study").In(arg).
					WithFix("name a folder with a study.yaml, the study.yaml itself, a package, or a study's id")
			}
			if !strings.EqualFold(filepath.Ext(arg), ".zip") {
				if filepath.Base(arg) != "study.yaml" { // the folder's study.yaml would be read in its place
					return nil, fault.BadUsage("study-path", "a study's document is called study.yaml").In(arg).
						WithFix("give it a folder of its own and that name")
				}
				dir = filepath.Dir(arg)
			}
		}
		return e.openFolder(ctx, dir)
	} else if strings.ContainsAny(arg, `/\`) || !errors.Is(err, fs.ErrNotExist) {
		return nil, fault.BadUsage("study-missing", "there is no such folder or file").On("STUDY", arg).
			WithFix("name a folder with a study.yaml, or a study's id in the notebook")
	}
	nb, err := store.Open(ctx, e.NotebookPath, store.Options{Now: e.Now})
	if f := fault.As(err); f != nil && f.Code == "notebook-readonly" {
		nb, err = store.Open(ctx, e.NotebookPath, store.Options{Now: e.Now, ReadOnly: true})
	}
	if f := fault.As(err); f != nil && f.Code == "notebook-missing" {
		return nil, fault.BadUsage("study-missing", "%q is no folder here, and there is no notebook %s", arg, e.NotebookPath).
			WithFix("import it with \"trivet study import\", or name the notebook with --notebook")
	}
	if err != nil {
		return nil, err
	}
	return &source{reader: nb, id: arg, name: arg}, nil
}

// openFolder opens a data package or a plain folder with a study.yaml.
func (e *Env) openFolder(ctx context.Context, dir string) (*source, error) {
	rd, err := bundle.Open(dir, bundle.Options{LoadLog: loadLog})
	if err != nil {
		return nil, err
	}
	all, err := rd.Studies(ctx)
	if err != nil || len(all) == 0 {
		rd.Close()
		if err == nil {
			err = fault.New("study-missing", "the folder holds no study").In(dir)
		}
		return nil, err
	}
	return &source{reader: rd, id: all[0].ID, name: dir}, nil
}

// loadLog reads a log beside a plain study document.
func loadLog(_ string, r io.Reader, mapYAML []byte) ([]trace.Trace, []fault.Note, error) {
	var opt logfile.LoadOptions
	if len(mapYAML) > 0 {
		m, err := logfile.ReadMap(bytes.NewReader(mapYAML))
		if err != nil {
			return nil, nil, err
		}
		opt.Map = m
	}
	log, err := logfile.Load(r, opt)
	if err != nil {
		return nil, nil, err
	}
	traces := make([]trace.Trace, len(log.Traces))
	for i, t := range log.Traces {
		traces[i] = *t
	}
	notes := log.Account.Notes
	if n := len(log.Account.Problems); n > 0 {
		notes = append(notes, fault.Notef("log-problems", "%d cells or rows of the log were not as they should be; \"trivet load --dry-run\" lists them", n))
	}
	return traces, notes, nil
}

// findCook finds a cook of a record by its label or id.
func findCook(rec *bench.Record, name string) (*study.Cook, error) {
	var labels []string
	for i := range rec.Cooks {
		c := &rec.Cooks[i]
		if c.Label == name || c.ID == name {
			return c, nil
		}
		labels = append(labels, c.Label)
	}
	return nil, fault.BadUsage("cook-unknown", "the study has no cook %q", name).
		WithFix("one of: %s", clipList(labels, 12))
}

func clipList(all []string, n int) string {
	if len(all) == 0 {
		return "(none yet)"
	}
	if len(all) > n {
		return strings.Join(all[:n], ", ") + ", …"
	}
	return strings.Join(all, ", ")
}

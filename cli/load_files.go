package cli

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/store"
	"trivet/study"
)

// logFiles puts the files of a folder in its place, in order of name. Hidden
// files and those that are no logs by their ending (maps, notes, pictures, notebooks)
// are passed over.
func logFiles(args []string) ([]string, error) {
	var out []string
	for _, a := range args {
		info, err := os.Stat(a)
		if err != nil || !info.IsDir() {
			out = append(out, a) // a missing file is told where it is opened
			continue
		}
		entries, err := os.ReadDir(a)
		if err != nil {
			return nil, fault.BadUsage("folder-unreadable", "the folder cannot be read").In(a).Wrap(err)
		}
		n := len(out)
		for _, e := range entries {
			ending := strings.ToLower(filepath.Ext(e.Name()))
			if !e.Type().IsRegular() || strings.HasPrefix(e.Name(), ".") ||
				slices.Contains([]string{".yaml", ".yml", ".md", ".pdf", ".png", ".jpg", ".jpeg", ".html", ".trivet", ".trivet-wal", ".trivet-shm"}, ending) {
				continue
			}
			out = append(out, filepath.Join(a, e.Name()))
		}
		if len(out) == n {
			return nil, fault.BadUsage("folder-empty", "the folder holds no logs").In(a)
		}
	}
	return out, nil
}

// mapsFolder is where column maps are kept.
func (o loadOptions) mapsFolder(env *Env) string {
	if o.maps != "" {
		return o.maps
	}
	return filepath.Join(filepath.Dir(env.NotebookPath), "maps")
}

// mapPath is where --save-map writes: a bare name goes into the maps folder.
func (o loadOptions) mapPath(env *Env) string {
	if strings.ContainsAny(o.saveMap, "/\\") || filepath.Ext(o.saveMap) != "" {
		return o.saveMap
	}
	dir := o.mapsFolder(env)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return o.saveMap // writing there says what is wrong
	}
	return filepath.Join(dir, o.saveMap+".map.yaml")
}

// scratchIn gives room beside the notebook for what does not fit the memory.
func scratchIn(env *Env) func() (logfile.Scratch, error) {
	return func() (logfile.Scratch, error) { return store.Scratch(filepath.Dir(env.NotebookPath)) }
}

// keptMaps are the saved column maps and the files they stand in.
type keptMaps struct {
	all   []*logfile.Map
	names []string
}

// name is the file of a map, "" for one that is not among them.
func (k keptMaps) name(m *logfile.Map) string {
	if i := slices.Index(k.all, m); i >= 0 {
		return k.names[i]
	}
	return ""
}

// savedMaps reads the maps folder; none is no mistake unless it was named.
func (o loadOptions) savedMaps(env *Env) (keptMaps, error) {
	var out keptMaps
	dir := o.mapsFolder(env)
	names, err := filepath.Glob(filepath.Join(dir, "*.map.yaml"))
	if err != nil {
		return out, fault.BadUsage("maps-folder", "the folder of column maps cannot be searched").In(dir).Wrap(err)
	}
	if info, err := os.Stat(dir); o.maps != "" && (err != nil || !info.IsDir()) {
		return out, fault.BadUsage("maps-folder", "there is no such folder of column maps").In(dir)
	}
	for _, name := range names {
		f, err := os.Open(name)
		if err != nil {
			return out, fault.BadUsage("map-missing", "the column map cannot be opened").In(name).Wrap(err)
		}
		m, err := logfile.ReadMap(f)
		f.Close()
		if err != nil {
			if x := fault.As(err); x != nil {
				return out, x.In(name)
			}
			return out, err
		}
		out.all, out.names = append(out.all, m), append(out.names, name)
	}
	return out, nil
}

// assignment is the cook a file goes to, and what told it.
type assignment struct{ cook, by string }

// assign finds the cook of every file before any is loaded. What neither name
// nor time tells is asked at a terminal.
func (o loadOptions) assign(env *Env, rec *bench.Record, files []string, maps keptMaps) ([]assignment, error) {
	if o.cook != "" {
		return []assignment{{o.cook, "flag"}}, nil
	}
	m, err := o.columnMap()
	if err != nil {
		return nil, err
	}
	var out []assignment
	var unknown fault.List
	var in *bufio.Reader
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return nil, fault.BadUsage("log-missing", "there is no such log").In(name)
		}
		label, by, err := bench.AssignLog(rec, filepath.Base(name), f, logfile.LoadOptions{Map: m, Maps: maps.all, Sheet: o.sheet, Range: o.cells, Session: o.session, DateOrder: logfile.DateOrder(o.dates), Scratch: scratchIn(env)})
		f.Close()
		if x := fault.As(err); x != nil {
			told := x.Code == "assign-none" || x.Code == "assign-tie"
			if told && env.Interactive && !env.JSON {
				if in == nil {
					in = bufio.NewReader(env.Stdin)
				}
				if label = askCook(env, in, name, bench.Labels(rec)); label != "" {
					out = append(out, assignment{label, "answer"})
					continue
				}
			}
			unknown = append(unknown, x.In(name))
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, assignment{label, by})
	}
	return out, unknown.Err()
}

// askCook asks the person which cook a log belongs to; an empty answer leaves
// it open.
func askCook(env *Env, in *bufio.Reader, name string, labels []string) string {
	fmt.Fprintf(env.Stderr, "%s: which cook does this log belong to? (%s)\n> ", name, clipList(labels, 12))
	for range 3 {
		line, err := in.ReadString('\n')
		answer := strings.TrimSpace(line)
		if answer == "" || slices.Contains(labels, answer) {
			return answer
		}
		if i := slices.IndexFunc(labels, func(l string) bool { return strings.EqualFold(l, answer) }); i >= 0 {
			return labels[i]
		}
		if err == io.EOF {
			return ""
		}
		fmt.Fprintf(env.Stderr, "there is no cook %q\n> ", answer)
	}
	return ""
}

// offer reads the marks of the cooks just loaded.
func (o loadOptions) offer(ctx context.Context, env *Env, nb bench.Notebook, labels []string) ([]offeredCook, error) {
	rec, err := nb.Record(ctx, o.study)
	if err != nil {
		return nil, err
	}
	rec.Cooks = slices.DeleteFunc(slices.Clone(rec.Cooks), func(c study.Cook) bool { return !slices.Contains(labels, c.Label) })
	all, err := bench.OfferMarks(ctx, nb, rec, nil)
	if err != nil {
		return nil, err
	}
	var into bench.Notebook
	if o.accept {
		into = nb
	}
	return offersOf(ctx, env, into, rec.Study.ID, all)
}

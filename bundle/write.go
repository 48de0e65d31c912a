package bundle

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"golang.org/x/sync/errgroup"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Extras go into a package beside the record.
type Extras struct {
	// Findings is findings.json: the answers, as the answer command prints
	// them.
	Findings []byte
	// Tables are further CSV files, such as computed responses.
	Tables []Table
	// Files are further files by path, such as a report and its figures.
	Files map[string][]byte
	// Replace allows a package that is there to be replaced. Anything else
	// that is there is never replaced.
	Replace bool
}

// Table is a CSV file that a caller computes.
type Table struct {
	Name        string // of the file, without ".csv": lower case, digits, hyphens
	Title       string
	Description string
	Fields      []Field
	PrimaryKey  []string
	Rows        [][]string // cells as text; text columns are guarded here
}

// Write writes a record with its samples, by cook id, and its logs as a
// package in a new folder. The folder appears whole or not at all: it is
// built beside its place, synced and renamed. Nothing but the record and the
// extras goes in, so the same record gives the same bytes.
func Write(ctx context.Context, dir string, rec *bench.Record, traces map[string][]trace.Trace, raw []bench.RawFile, extra Extras) error {
	return write(ctx, dir, sourceOf(rec, traces, raw), extra)
}

// Export writes a study of a notebook, or of another package, as [Write]
// does, reading one cook at a time. progress may be nil.
func Export(ctx context.Context, dir string, from bench.Reader, studyID string, extra Extras, progress func(done, total int)) error {
	s, err := sourceIn(ctx, from, studyID, progress)
	if err != nil {
		return err
	}
	return write(ctx, dir, s, extra)
}

// source is where a package's content comes from. hashes are the logs that
// are known before the cooks are read.
type source struct {
	rec      *bench.Record
	sections func(cookID string, f func([]bench.LongTrace) error) error
	hashes   []string
	raw      func(sha256 string) (*bench.RawFile, error)
	log      func(sha256 string) (*rawLog, error) // nil where it is not there
}

// heldTraces are traces in memory.
func heldTraces(traces []trace.Trace) []bench.LongTrace {
	out := make([]bench.LongTrace, len(traces))
	for i := range traces {
		out[i] = bench.Held(&traces[i])
	}
	return out
}

// rawLog is a log that is copied without being held whole.
type rawLog struct {
	name string
	copy func(io.Writer) error
}

// rawCopier is a reader that copies a log block by block.
type rawCopier interface {
	RawName(ctx context.Context, sha256 string) (string, error)
	CopyRaw(ctx context.Context, sha256 string, to io.Writer) (name string, err error)
}

// held is a log that is in memory.
func held(f *bench.RawFile, err error) (*rawLog, error) {
	if err != nil || f == nil {
		return nil, err
	}
	return &rawLog{f.Name, func(w io.Writer) error {
		_, err := w.Write(f.Bytes)
		return err
	}}, nil
}

// sourceOf is a record in memory.
func sourceOf(rec *bench.Record, traces map[string][]trace.Trace, raw []bench.RawFile) source {
	s := source{rec: rec, sections: func(id string, f func([]bench.LongTrace) error) error { return f(heldTraces(traces[id])) }}
	byHash := map[string]*bench.RawFile{}
	pictures := map[string]bool{}
	for _, k := range rec.Cooks {
		for _, p := range k.Photos {
			pictures[p.SHA256] = true
		}
	}
	for i := range raw {
		if !pictures[raw[i].SHA256] {
			s.hashes = append(s.hashes, raw[i].SHA256)
		}
		byHash[raw[i].SHA256] = &raw[i]
	}
	s.raw = func(sha256 string) (*bench.RawFile, error) { return byHash[sha256], nil }
	s.log = func(sha256 string) (*rawLog, error) { return held(s.raw(sha256)) }
	return s
}

// sourceIn is a study of a notebook or package.
func sourceIn(ctx context.Context, from bench.Reader, studyID string, progress func(done, total int)) (s source, err error) {
	if s.rec, err = from.Record(ctx, studyID); err != nil {
		return s, err
	}
	if all, ok := from.(interface {
		RawOf(ctx context.Context, studyID string) ([]string, error)
	}); ok {
		if s.hashes, err = all.RawOf(ctx, studyID); err != nil {
			return s, err
		}
	}
	done := 0
	s.sections = func(id string, f func([]bench.LongTrace) error) error {
		if done++; progress != nil {
			progress(done, len(s.rec.Cooks))
		}
		if long, ok := from.(bench.SectionReader); ok {
			return long.Sections(ctx, studyID, id, f)
		}
		traces, err := from.Traces(ctx, studyID, id)
		if err != nil {
			return err
		}
		return f(heldTraces(traces))
	}
	s.raw = func(sha256 string) (*bench.RawFile, error) { return from.Raw(ctx, sha256) }
	s.log = func(sha256 string) (*rawLog, error) {
		logs, ok := from.(rawCopier)
		if !ok {
			return held(s.raw(sha256))
		}
		name, err := logs.RawName(ctx, sha256)
		return &rawLog{name, func(w io.Writer) error {
			_, err := logs.CopyRaw(ctx, sha256, w)
			return err
		}}, err
	}
	return s, nil
}

func write(ctx context.Context, dir string, from source, extra Extras) (err error) {
	if from.rec == nil || from.rec.Study == nil || from.rec.Study.ID == "" {
		return fault.New("missing-id", "a package needs a study with an id")
	}
	dir = filepath.Clean(dir)
	if err := mayReplace(dir, extra.Replace); err != nil {
		return err
	}
	temp, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+".part-*")
	if err != nil {
		return diskFault(dir, err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	if err := os.Chmod(temp, 0o755); err != nil {
		return diskFault(dir, err)
	}
	err = writeFiles(from, extra, func(path string) (io.WriteCloser, error) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		name := filepath.Join(temp, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return nil, err
		}
		return os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644) // made durable by syncTree
	})
	if err != nil {
		return err
	}
	return moveInPlace(temp, dir)
}

// writer makes the files of a package and keeps their checksums.
type writer struct {
	create    func(path string) (io.WriteCloser, error)
	sums      map[string]string // by path
	lower     map[string]bool   // paths in lower case: some file systems do not tell them apart
	resources []Resource
}

// writeFiles makes all files of a package.
func writeFiles(from source, extra Extras, create func(path string) (io.WriteCloser, error)) error {
	w := &writer{create: create, sums: map[string]string{}, lower: map[string]bool{}}
	return w.all(from, extra)
}

func (w *writer) put(path string, b []byte) error {
	_, err := w.stream(path, func(to io.Writer) error {
		_, err := to.Write(b)
		return err
	})
	return err
}

// stream makes a file of what fill writes, and returns its length.
func (w *writer) stream(path string, fill func(io.Writer) error) (size int, err error) {
	if !isSafePath(path) {
		return 0, fault.New("package-path", "a file of a package must have a plain path below its folder").On("path", path).
			WithFix("use a relative path with forward slashes and without ..")
	}
	if w.lower[strings.ToLower(path)] {
		return 0, fault.New("package-path", "two files of the package would have the same name").On("path", path).
			WithFix("rename one of them")
	}
	w.lower[strings.ToLower(path)] = true
	f, err := w.create(path)
	if err != nil {
		return 0, diskFault(path, err)
	}
	to := &measured{to: f, sum: sha256.New()}
	if err := errors.Join(fill(to), f.Close()); err != nil {
		return 0, diskFault(path, err)
	}
	w.sums[path] = hex.EncodeToString(to.sum.Sum(nil))
	return to.size, nil
}

// measured counts and hashes what is written.
type measured struct {
	to   io.Writer
	sum  hash.Hash
	size int
}

func (m *measured) Write(b []byte) (int, error) {
	n, err := m.to.Write(b)
	m.sum.Write(b[:n]) // never fails
	m.size += n
	return n, err
}

func (w *writer) all(from source, extra Extras) error {
	rec := from.rec
	if err := w.put("study.yaml", rec.Document); err != nil {
		return err
	}
	for _, path := range slices.Sorted(maps.Keys(rec.CookFiles)) {
		if err := w.put(path, rec.CookFiles[path]); err != nil {
			return err
		}
	}
	if err := w.seal(rec.Seal); err != nil {
		return err
	}
	if err := errors.Join(
		putTable(w, &lotTable, rec.Study.Lots), putTable(w, &pieceTable, rec.Study.Pieces),
		putTable(w, &treatmentTable, rec.Study.Treatments), putTable(w, &tastingTable, rec.Study.Tastings),
		putTable(w, &cookTable, rec.Cooks), putTable(w, &markTable, partsOf(rec, func(k *study.Cook) []study.Mark { return k.Marks })),
		putTable(w, &weighingTable, partsOf(rec, func(k *study.Cook) []study.Weighing { return k.Weighings })),
		putTable(w, &readingTable, partsOf(rec, valuesOf)),
		putTable(w, &deviationTable, partsOf(rec, func(k *study.Cook) []study.Deviation { return k.Deviations })),
		putTable(w, &logTable, partsOf(rec, func(k *study.Cook) []study.LogRef { return k.Logs })),
		putTable(w, &historyTable, rec.Events),
	); err != nil {
		return err
	}
	if err := w.samplesAndLogs(from); err != nil {
		return err
	}
	if err := w.photos(from); err != nil {
		return err
	}
	if err := w.clocks(from); err != nil {
		return err
	}
	for _, t := range extra.Tables {
		if err := w.table(t); err != nil {
			return err
		}
	}
	if extra.Findings != nil {
		if !json.Valid(extra.Findings) {
			return fault.New("findings-json", "the findings are not JSON").In("findings.json")
		}
		if err := w.put("findings.json", extra.Findings); err != nil {
			return err
		}
	}
	for _, path := range slices.Sorted(maps.Keys(extra.Files)) {
		if err := w.put(path, extra.Files[path]); err != nil {
			return err
		}
	}
	d, err := marshalJSON(describe(rec, w.resources))
	if err != nil {
		return err
	}
	if err := errors.Join(
		w.put("datapackage.json", d), w.put("README.txt", readme(rec, w.resources, extra)), w.put("CITATION.cff", citation(rec)),
	); err != nil {
		return err
	}
	return w.put(manifestPath, manifest(w.sums))
}

// seal writes what was sealed byte for byte, so that its SHA-256, by any
// program, is the seal's hash.
func (w *writer) seal(s *study.Seal) error {
	if s == nil {
		return nil
	}
	b, err := marshalJSON(sealFile{formatWithoutClocks, s.Hash, formatTime(s.At), sealedPath})
	if err != nil {
		return err
	}
	return errors.Join(w.put(sealedPath, s.Canonical), w.put("seal.json", b))
}

const sealedPath = "sealed.json"

type sealFile struct {
	Format int    `json:"format"`
	Hash   string `json:"hash"` // SHA-256 of the file, hex
	At     string `json:"at"`
	File   string `json:"file"`
}

func putTable[T any](w *writer, t *table[T], rows []T) error {
	b, err := t.write(rows)
	if err != nil {
		return err
	}
	w.resources = append(w.resources, t.resource(b))
	return w.put(t.path(), b)
}

func partsOf[T any](rec *bench.Record, of func(*study.Cook) []T) []part[T] {
	var out []part[T]
	for i := range rec.Cooks {
		k := &rec.Cooks[i]
		for _, x := range of(k) {
			out = append(out, part[T]{k.ID, k.Label, x})
		}
	}
	return out
}

// valuesOf gives every value of a cook's readings a row.
func valuesOf(k *study.Cook) []value {
	var out []value
	for _, r := range k.Readings {
		if len(r.Values) == 0 {
			out = append(out, value{Reading: r})
		}
		for i := range r.Values {
			out = append(out, value{Reading: r, repeat: i + 1, value: &r.Values[i]})
		}
	}
	return out
}

// samplesAndLogs writes the samples of every cook and every log they, or the
// cooks, name.
func (w *writer) samplesAndLogs(from source) error {
	var channels []part[channel]
	hashes := map[string]bool{} // the logs of the study
	for _, h := range from.hashes {
		hashes[h] = true
	}
	var sampleResources []Resource
	names := map[string]bool{}
	allKnown := true
	for i := range from.rec.Cooks {
		k := &from.rec.Cooks[i]
		name := fileName(k, i+1, names)
		if err := from.sections(k.ID, func(traces []bench.LongTrace) error {
			where, resources, err := w.samples(name, traces, k)
			for t := range where {
				channels = append(channels, part[channel]{k.ID, k.Label, where[t]})
				hashes[traces[t].Source] = true
			}
			sampleResources = append(sampleResources, resources...)
			return err
		}); err != nil {
			return err
		}
		for _, l := range k.Logs {
			hashes[l.SHA256] = true
		}
	}
	delete(hashes, "")
	var raws []rawRow
	for _, sha := range slices.Sorted(maps.Keys(hashes)) {
		log, err := from.log(sha)
		if e := fault.As(err); e != nil && e.Code == "raw-unknown" {
			log, err = nil, nil // the notebook never had it
		}
		if err != nil {
			return err
		}
		if log == nil {
			allKnown = false
			continue
		}
		row := rawRow{sha256: sha, name: log.name, file: "raw/" + sha + extension(log.name)}
		if row.bytes, err = w.stream(row.file, log.copy); err != nil {
			return err
		}
		if got := w.sums[row.file]; got != sha {
			return fault.New("raw-hash", "the log %q is not what its hash says", log.name).On("sha256", sha).WithFix("its SHA-256 is %s", got)
		}
		raws = append(raws, row)
	}
	t := channelTable
	if !allKnown {
		t.foreignKeys = ofCook // not every log is here
	}
	err := errors.Join(putTable(w, &t, channels), putTable(w, &rawTable, raws))
	w.resources = append(w.resources, sampleResources...)
	return err
}

// samples writes the tables of a cook and tells where each trace stands.
func (w *writer) samples(name string, traces []bench.LongTrace, k *study.Cook) ([]channel, []Resource, error) {
	files, err := sampleFiles(name, traces, k)
	if err != nil {
		return nil, nil, err
	}
	where := make([]channel, len(traces))
	var resources []Resource
	for n, f := range files {
		size, err := w.stream(f.path, func(to io.Writer) error { return writeSamples(to, f, traces, k) })
		if err != nil {
			return nil, nil, err
		}
		resource := "samples-" + strings.ToLower(name)
		if n > 0 {
			resource += fmt.Sprintf(".%d", n+1)
		}
		title := "Samples of cook " + k.Label
		resources = append(resources, newResource(resource, f.path, title, "", sampleSchema(f, traces), size, w.sums[f.path]))
		for j, t := range f.traces {
			where[t] = channel{traces[t].Trace, t + 1, f.path, f.columns[j], traces[t].Samples}
		}
	}
	return where, resources, nil
}

// extension keeps a log's ending, so that it opens in what wrote it.
func extension(name string) string {
	e := strings.ToLower(filepath.Ext(name))
	if len(e) > 1 && len(e) <= 8 && isPlainName(e[1:]) {
		return e
	}
	return ""
}

func (w *writer) table(t Table) error {
	if !isPlainName(t.Name) || strings.ToLower(t.Name) != t.Name {
		return fault.New("package-path", "a table needs a plain name").On("table", t.Name).WithFix("use lower case letters, digits and hyphens")
	}
	var header []string
	for _, f := range t.Fields {
		header = append(header, f.Name)
	}
	b := appendRecord(nil, header)
	for r, row := range t.Rows {
		if len(row) != len(t.Fields) {
			return fault.New("csv-cells", "the row has %d cells, and the table has %d columns", len(row), len(t.Fields)).In(t.Name + ".csv").AtRow(r + 1)
		}
		cells := slices.Clone(row)
		for i, f := range t.Fields {
			if f.Type == "string" {
				cells[i] = guard(cells[i])
			}
		}
		b = appendRecord(b, cells)
	}
	w.resources = append(w.resources, newResource(t.Name, t.Name+".csv", t.Title, t.Description,
		Schema{Fields: t.Fields, MissingValues: []string{""}, PrimaryKey: t.PrimaryKey}, len(b), hashOf(b)))
	return w.put(t.Name+".csv", b)
}

// mayReplace refuses to write where something is.
func mayReplace(dir string, replace bool) error {
	info, err := os.Lstat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return diskFault(dir, err)
	case !replace || !info.IsDir():
		return fault.BadUsage("package-exists", "there already is something here").In(dir).
			WithFix("choose another folder, or say that the package is to be replaced")
	case !IsPackage(dir):
		return fault.BadUsage("package-exists", "this folder is not a package, so it is not replaced").In(dir).
			WithFix("choose another folder")
	}
	return nil
}

// moveInPlace gives a finished folder its name. A package that has the name
// is put aside first and removed when the new one is in place.
func moveInPlace(temp, dir string) error {
	if err := syncTree(temp); err != nil {
		return diskFault(dir, err)
	}
	old := ""
	if _, err := os.Lstat(dir); err == nil {
		old = temp + ".old"
		if err := os.Rename(dir, old); err != nil {
			return diskFault(dir, err)
		}
	}
	if err := os.Rename(temp, dir); err != nil {
		if old != "" {
			err = errors.Join(err, os.Rename(old, dir))
		}
		return diskFault(dir, err)
	}
	if err := syncDir(filepath.Dir(dir)); err != nil {
		return diskFault(dir, err)
	}
	if old != "" {
		return diskFault(old, os.RemoveAll(old))
	}
	return nil
}

// syncTree makes a folder survive a power cut: its files, then the names in
// it. Files are synced several at a time, which a journaling file system
// does together.
func syncTree(root string) error {
	var files, dirs []string
	if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			dirs = append(dirs, path)
		} else if err == nil {
			files = append(files, path)
		}
		return err
	}); err != nil {
		return err
	}
	var g errgroup.Group
	g.SetLimit(32)
	for _, path := range files {
		g.Go(func() error {
			f, err := os.OpenFile(path, os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			return errors.Join(f.Sync(), f.Close())
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for _, dir := range dirs {
		if err := syncDir(dir); err != nil {
			return err
		}
	}
	return nil
}

func diskFault(path string, err error) error {
	if err == nil || fault.As(err) != nil {
		return err
	}
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return fault.New("disk-full", "no room left on the disk; nothing of the package was kept").In(path).
			WithFix("free some space and try again").Wrap(err)
	case errors.Is(err, fs.ErrNotExist):
		return fault.BadUsage("package-missing", "the folder to write in does not exist").In(path).WithFix("make it first").Wrap(err)
	case errors.Is(err, fs.ErrPermission):
		return fault.New("package-readonly", "the folder cannot be written").In(path).
			WithFix("give yourself write permission, or choose another folder").Wrap(err)
	}
	return fault.New("package-io", "the disk refused").In(path).Wrap(err)
}

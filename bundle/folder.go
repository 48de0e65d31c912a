package bundle

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"sync"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Folder is a plain folder: a study.yaml whose cooks are written in it, with
// cook files and logs beside it. It is read anew each time.
type Folder struct {
	path   string
	files  fs.FS
	closer io.Closer
	opt    Options
	name   string // of the document

	mu       sync.Mutex
	notes    []fault.Note
	document []byte // last parsed
	parsed   *study.Study
}

var _ Reader = (*Folder)(nil)

func openFolder(path string, files fs.FS, closer io.Closer, opt Options) (f *Folder, err error) {
	f = &Folder{path: path, files: files, closer: closer, opt: opt}
	for _, name := range []string{"study.yaml", "study.yml"} {
		if _, err := fs.Stat(files, name); err == nil {
			f.name = name
			break
		}
	}
	if f.name == "" {
		return nil, fault.BadUsage("study-missing", "the folder holds neither a data package nor a study").In(path).
			WithFix("name a folder with a datapackage.json or a study.yaml")
	}
	_, err = f.record()
	return f, err
}

// Notes says what was noticed while reading, each thing once.
func (f *Folder) Notes() []fault.Note {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.notes)
}

func (f *Folder) note(notes ...fault.Note) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, n := range notes {
		if !slices.Contains(f.notes, n) {
			f.notes = append(f.notes, n)
		}
	}
}

// Close lets go of the folder.
func (f *Folder) Close() error { return f.closer.Close() }

// Studies lists the one study of the folder.
func (f *Folder) Studies(context.Context) ([]bench.Summary, error) {
	rec, err := f.record()
	if err != nil {
		return nil, err
	}
	return []bench.Summary{{ID: rec.Study.ID, Title: rec.Study.Title, Cooks: len(rec.Cooks), Updated: rec.Updated}}, nil
}

// Record reads the study; its cooks are those written in the document.
func (f *Folder) Record(_ context.Context, studyID string) (*bench.Record, error) {
	rec, err := f.record()
	if err != nil {
		return nil, err
	}
	if rec.Study.ID != studyID {
		return nil, unknownStudy(studyID, rec.Study.ID)
	}
	return rec, nil
}

func (f *Folder) record() (rec *bench.Record, err error) {
	defer func() { err = within(f.path, err) }()
	rec = &bench.Record{CookFiles: map[string][]byte{}}
	if rec.Document, err = readAtMost(f.files, f.name, mostDocumentBytes); err != nil {
		return nil, f.unreadable(err)
	}
	if info, err := fs.Stat(f.files, f.name); err == nil {
		rec.Updated = info.ModTime()
	}
	if rec.Study, err = f.parse(rec.Document); err != nil {
		return nil, err
	}
	for _, t := range rec.Study.Treatments {
		if t.Cook == "" || !isSafePath(t.Cook) {
			continue
		}
		b, err := fs.ReadFile(f.files, t.Cook)
		if errors.Is(err, fs.ErrNotExist) {
			f.note(fault.Notef("cook-file-missing", "the cook file %s of treatment %s is not in the folder", t.Cook, t.ID))
			continue
		}
		if err != nil {
			return nil, fault.New("cook-file", "the cook file cannot be read").In(t.Cook).Wrap(err)
		}
		rec.CookFiles[t.Cook] = b
	}
	s := *rec.Study // a caller may change its record
	rec.Study = &s
	rec.Cooks = slices.Clone(rec.Study.Cooks)
	for i := range rec.Cooks {
		k := &rec.Cooks[i]
		k.Logs = slices.Clone(k.Logs)
		for j := range k.Logs {
			l := &k.Logs[j]
			if b, err := f.log(k, *l); err == nil && l.SHA256 == "" {
				l.SHA256 = hashOf(b)
			}
		}
	}
	return rec, nil
}

func (f *Folder) unreadable(err error) error {
	return fault.BadUsage("study-missing", "the study document cannot be read").In(f.name).Wrap(err)
}

// mostDocumentBytes is more than a study document may have; reading stops
// there, and the parser refuses what was read.
const mostDocumentBytes = 16<<20 + 1

// readAtMost reads a file up to its first n bytes.
func readAtMost(files fs.FS, name string, n int64) ([]byte, error) {
	f, err := files.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, n))
}

// parse parses the document unless it is the one parsed last. What it
// returns is shared, and must not be changed.
func (f *Folder) parse(document []byte) (*study.Study, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.parsed != nil && bytes.Equal(f.document, document) {
		return f.parsed, nil
	}
	s, err := study.Parse(f.name, document)
	if err != nil {
		return nil, err
	}
	f.document, f.parsed = document, s
	return s, nil
}

// log reads a log that a cook names.
func (f *Folder) log(k *study.Cook, l study.LogRef) ([]byte, error) {
	bad := func(code fault.Code, fix, says string, args ...any) *fault.Error {
		return fault.New(code, says, args...).In(f.name).At(k.Line, 0).On("logs", l.File).WithFix("%s", fix)
	}
	if !isSafePath(l.File) {
		return nil, bad("package-path", "write a path below the study's folder, with forward slashes", "cook %s names a log outside the folder", k.Label)
	}
	b, err := fs.ReadFile(f.files, l.File)
	if err != nil {
		return nil, bad("log-missing", "put the file there, or correct the path", "cook %s names a log that cannot be read", k.Label).Wrap(err)
	}
	if got := hashOf(b); l.SHA256 != "" && l.SHA256 != got {
		return nil, bad("log-changed", fmt.Sprintf("its SHA-256 is %s: get the right file, or correct the document", got),
			"the log of cook %s is not the one the document means", k.Label)
	}
	return b, nil
}

// Traces reads the logs of a cook.
func (f *Folder) Traces(_ context.Context, studyID, cookID string) (out []trace.Trace, err error) {
	defer func() { err = within(f.path, err) }()
	document, err := readAtMost(f.files, f.name, mostDocumentBytes)
	if err != nil {
		return nil, f.unreadable(err)
	}
	s, err := f.parse(document)
	if err != nil {
		return nil, err
	}
	if s.ID != studyID {
		return nil, unknownStudy(studyID, s.ID)
	}
	i := slices.IndexFunc(s.Cooks, func(k study.Cook) bool { return k.ID == cookID })
	if i < 0 {
		return nil, fault.BadUsage("cook-unknown", "no cook %q in study %q", cookID, studyID).On("cook", cookID)
	}
	k := &s.Cooks[i]
	for _, l := range k.Logs {
		b, err := f.log(k, l)
		if err != nil {
			return nil, err
		}
		if f.opt.LoadLog == nil {
			return nil, &fault.Error{Kind: fault.Internal, Code: "log-loader", Message: "this program cannot read logs", File: l.File}
		}
		columns, err := f.columnMap(k, l)
		if err != nil {
			return nil, err
		}
		traces, notes, err := f.opt.LoadLog(l.File, bytes.NewReader(b), columns)
		if err != nil {
			return nil, err
		}
		f.note(notes...)
		for _, t := range traces {
			if t.Source == "" {
				t.Source = hashOf(b)
			}
			out = append(out, t)
		}
	}
	return out, nil
}

// columnMap reads the map of a log, named by its path, with or without the
// ending .yaml.
func (f *Folder) columnMap(k *study.Cook, l study.LogRef) ([]byte, error) {
	if l.Map == "" {
		return nil, nil
	}
	for _, name := range []string{l.Map, l.Map + ".yaml"} {
		if isSafePath(name) {
			if b, err := fs.ReadFile(f.files, name); err == nil {
				return b, nil
			}
		}
	}
	return nil, fault.New("log-map-missing", "cook %s names a column map that is not in the folder", k.Label).
		In(f.name).At(k.Line, 0).On("logs.map", l.Map).WithFix("save the map under this path, or leave it out to have the columns guessed")
}

// Raw reads a log of the folder by its hash.
func (f *Folder) Raw(_ context.Context, sha256Hex string) (*bench.RawFile, error) {
	rec, err := f.record()
	if err != nil {
		return nil, err
	}
	for i := range rec.Cooks {
		for _, l := range rec.Cooks[i].Logs {
			if l.SHA256 != sha256Hex {
				continue
			}
			b, err := f.log(&rec.Cooks[i], l)
			if err != nil {
				return nil, within(f.path, err)
			}
			return &bench.RawFile{SHA256: sha256Hex, Name: l.File, Bytes: b}, nil
		}
	}
	return nil, unknownRaw(sha256Hex)
}

// RawOf lists the SHA-256 of the logs of the study.
func (f *Folder) RawOf(ctx context.Context, studyID string) (out []string, err error) {
	rec, err := f.Record(ctx, studyID)
	if err != nil {
		return nil, err
	}
	for _, k := range rec.Cooks {
		for _, l := range k.Logs {
			if l.SHA256 != "" && !slices.Contains(out, l.SHA256) {
				out = append(out, l.SHA256)
			}
		}
	}
	return out, nil
}

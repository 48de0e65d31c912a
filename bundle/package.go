package bundle

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Package is an open data package.
type Package struct {
	path     string
	files    fs.FS
	closer   io.Closer
	sums     map[string]string // by path
	about    Descriptor
	study    *study.Study
	cookRows map[string]study.Cook // by id, without marks and other parts
	raws     map[string]rawRow
	pictures map[string]string // path by hash
	order    []string          // of the raw logs
	channels map[string][]channel
	notes    []fault.Note
}

var _ Reader = (*Package)(nil)

func openPackage(path string, files fs.FS, closer io.Closer) (p *Package, err error) {
	defer func() { err = within(path, err) }()
	p = &Package{path: path, files: files, closer: closer}
	b, err := fs.ReadFile(files, manifestPath)
	if err != nil {
		return nil, missingFile(manifestPath).WithFix("a package without checksums cannot be trusted: get it again")
	}
	if p.sums, err = parseManifest(b); err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(p.sums)) {
		if err := p.verify(name); err != nil {
			return nil, err
		}
	}
	if err := p.unlisted(); err != nil {
		return nil, err
	}
	if b, err = p.file("datapackage.json"); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &p.about); err != nil {
		return nil, fault.New("package-descriptor", "the descriptor is not the JSON of a data package").In("datapackage.json").Wrap(err)
	}
	if f := p.about.Trivet.Format; f > FormatVersion {
		return nil, fault.New("package-newer", "the package has format %d, and this trivet reads up to %d", f, FormatVersion).
			In("datapackage.json").WithFix("read it with a newer trivet")
	} else if f < 1 {
		return nil, fault.New("package-descriptor", "this data package is not one of a kitchen experiment").
			In("datapackage.json").On("trivet.format", fmt.Sprint(f)).
			WithFix("name a package that \"trivet study export\" wrote; other tables are read with \"trivet compare\"")
	}
	if err := p.checkResources(); err != nil {
		return nil, err
	}
	doc, err := p.file("study.yaml")
	if err != nil {
		return nil, err
	}
	if p.study, err = study.Parse("study.yaml", doc); err != nil {
		return nil, err
	}
	return p, p.index()
}

// checkResources compares what the descriptor says of its files.
func (p *Package) checkResources() error {
	for _, r := range p.about.Resources {
		bad := func(says string) error {
			return fault.New("package-descriptor", "resource %q: %s", r.Name, says).In("datapackage.json").On("path", r.Path).
				WithFix("get the package again")
		}
		switch {
		case !isSafePath(r.Path):
			return bad("its path leads out of the package")
		case p.sums[r.Path] == "":
			return bad("its file is not among those of the package")
		case r.Hash != "sha256:"+p.sums[r.Path]:
			return bad("its hash is not that of the file")
		}
	}
	return nil
}

// index reads the tables that say where samples and logs are.
func (p *Package) index() error {
	cooks, err := readTable(p, &cookTable)
	if err != nil {
		return err
	}
	p.cookRows = map[string]study.Cook{}
	for _, k := range cooks {
		p.cookRows[k.ID] = k
	}
	raws, err := readTable(p, &rawTable)
	if err != nil {
		return err
	}
	p.raws = map[string]rawRow{}
	for i, r := range raws {
		if !isSafePath(r.file) || p.sums[r.file] == "" {
			return rawTable.bad(i+1, "file", r.file, errors.New("there is no such file in the package"))
		}
		if p.sums[r.file] != r.sha256 {
			return rawTable.bad(i+1, "sha256", r.sha256, errors.New("this is not the hash of the file"))
		}
		p.raws[r.sha256] = r
		p.order = append(p.order, r.sha256)
	}
	if err := p.indexPhotos(); err != nil {
		return err
	}
	channels, err := readTable(p, &channelTable)
	if err != nil {
		return err
	}
	p.channels = map[string][]channel{}
	for i, c := range channels {
		_, known := p.cookRows[c.cook]
		switch have := p.channels[c.cook]; {
		case !known:
			return channelTable.bad(i+1, "cook_id", c.cook, errors.New("no cook has this id"))
		case !isSafePath(c.is.file) || p.sums[c.is.file] == "":
			return channelTable.bad(i+1, "file", c.is.file, errors.New("there is no such file in the package"))
		case c.is.number != len(have)+1:
			return channelTable.bad(i+1, "number", fmt.Sprint(c.is.number), errors.New("the channels of a cook count 1, 2, 3 …"))
		case !(c.is.Quantum > 0):
			return channelTable.bad(i+1, "quantum", fmt.Sprint(c.is.Quantum), errors.New("it must be above zero"))
		}
		p.channels[c.cook] = append(p.channels[c.cook], c.is)
	}
	return nil
}

// Descriptor is what datapackage.json says.
func (p *Package) Descriptor() Descriptor { return p.about }

// Notes says what whoever uses the package must know.
func (p *Package) Notes() []fault.Note { return p.notes }

// Close lets go of the package.
func (p *Package) Close() error { return p.closer.Close() }

// Studies lists the one study of the package.
func (p *Package) Studies(ctx context.Context) ([]bench.Summary, error) {
	rec, err := p.Record(ctx, p.study.ID)
	if err != nil {
		return nil, err
	}
	return []bench.Summary{{ID: p.study.ID, Title: p.study.Title, Cooks: len(rec.Cooks), Sealed: rec.Seal != nil, Updated: rec.Updated}}, nil
}

// Record reads the study without its samples.
func (p *Package) Record(_ context.Context, studyID string) (rec *bench.Record, err error) {
	defer func() { err = within(p.path, err) }()
	if studyID != p.study.ID {
		return nil, unknownStudy(studyID, p.study.ID)
	}
	rec = &bench.Record{CookFiles: map[string][]byte{}}
	if rec.Document, err = p.file("study.yaml"); err != nil {
		return nil, err
	}
	if rec.Study, err = study.Parse("study.yaml", rec.Document); err != nil {
		return nil, err
	}
	for _, name := range p.about.Trivet.CookFiles {
		if rec.CookFiles[name], err = p.file(name); err != nil {
			return nil, err
		}
	}
	if rec.Created, err = parseTime(p.about.Trivet.Created); err == nil {
		rec.Updated, err = parseTime(p.about.Trivet.Updated)
	}
	if err != nil {
		return nil, fault.New("package-descriptor", "%s", err).In("datapackage.json").On("trivet.created", p.about.Trivet.Created)
	}
	if rec.Seal, err = p.seal(); err != nil {
		return nil, err
	}
	if rec.Cooks, err = p.cooks(); err != nil {
		return nil, err
	}
	if rec.Events, err = readTable(p, &historyTable); err != nil {
		return nil, err
	}
	return rec, nil
}

func (p *Package) seal() (*study.Seal, error) {
	if p.sums["seal.json"] == "" {
		return nil, nil
	}
	b, err := p.file("seal.json")
	if err != nil {
		return nil, err
	}
	bad := func(says string) *fault.Error {
		return fault.New("package-seal", "%s", says).In("seal.json").WithFix("get the package again")
	}
	var f sealFile
	if err := json.Unmarshal(b, &f); err != nil {
		return nil, bad("the seal cannot be read").Wrap(err)
	}
	s := &study.Seal{Hash: f.Hash}
	if s.At, err = parseTime(f.At); err != nil {
		return nil, bad(err.Error()).On("at", f.At)
	}
	if s.Canonical, err = p.file(sealedPath); err != nil {
		return nil, err
	}
	if got := hashOf(s.Canonical); got != s.Hash {
		return nil, bad("the seal is not the hash of the sealed plan").On("hash", s.Hash)
	}
	return s, nil
}

func (p *Package) cooks() ([]study.Cook, error) {
	cooks, err := readTable(p, &cookTable)
	if err != nil {
		return nil, err
	}
	byID := map[string]*study.Cook{}
	for i := range cooks {
		byID[cooks[i].ID] = &cooks[i]
	}
	err = errors.Join(
		eachPart(p, &markTable, byID, func(k *study.Cook, m study.Mark) { k.Marks = append(k.Marks, m) }),
		eachPart(p, &weighingTable, byID, func(k *study.Cook, w study.Weighing) { k.Weighings = append(k.Weighings, w) }),
		eachPart(p, &deviationTable, byID, func(k *study.Cook, d study.Deviation) { k.Deviations = append(k.Deviations, d) }),
		eachPart(p, &logTable, byID, func(k *study.Cook, l study.LogRef) { k.Logs = append(k.Logs, l) }),
		eachPart(p, &readingTable, byID, addValue),
		p.photos(byID),
		p.clocks(byID),
	)
	return cooks, err
}

// addValue adds a value to the reading it repeats, or begins a new one.
func addValue(k *study.Cook, v value) {
	if v.repeat <= 1 {
		k.Readings = append(k.Readings, v.Reading)
	}
	if v.value != nil && len(k.Readings) > 0 {
		r := &k.Readings[len(k.Readings)-1]
		r.Values = append(r.Values, *v.value)
	}
}

func readTable[T any](p *Package, t *table[T]) ([]T, error) {
	b, err := p.file(t.path())
	if err != nil {
		return nil, err
	}
	return t.read(b)
}

// eachPart deals the rows of a table to their cooks.
func eachPart[T any](p *Package, t *table[part[T]], cooks map[string]*study.Cook, add func(*study.Cook, T)) error {
	rows, err := readTable(p, t)
	if err != nil {
		return err
	}
	for i, r := range rows {
		k := cooks[r.cook]
		if k == nil {
			return t.bad(i+1, "cook_id", r.cook, errors.New("no cook has this id"))
		}
		add(k, r.is)
	}
	return nil
}

// Traces reads the samples of a cook.
func (p *Package) Traces(_ context.Context, studyID, cookID string) (out []trace.Trace, err error) {
	defer func() { err = within(p.path, err) }()
	if studyID != p.study.ID {
		return nil, unknownStudy(studyID, p.study.ID)
	}
	k, ok := p.cookRows[cookID]
	if !ok {
		return nil, fault.BadUsage("cook-unknown", "no cook %q in study %q", cookID, studyID).On("cook", cookID)
	}
	channels := p.channels[cookID]
	out = make([]trace.Trace, len(channels))
	var files []string
	for i, c := range channels {
		out[i] = c.Trace
		if !slices.Contains(files, c.file) {
			files = append(files, c.file)
		}
	}
	for _, file := range files {
		b, err := p.file(file)
		if err != nil {
			return nil, err
		}
		var columns []string
		var into []*trace.Trace
		for j, c := range channels {
			if c.file == file {
				columns = append(columns, c.column)
				into = append(into, &out[j])
			}
		}
		if err := readSamples(file, b, columns, into, &k); err != nil {
			return nil, err
		}
	}
	for j, c := range channels {
		if len(out[j].TimesUS) != c.samples {
			return nil, fault.New("package-samples", "the file has %d rows, and channels.csv says %d samples", len(out[j].TimesUS), c.samples).
				In(c.file).On("channel", c.Channel.ID).WithFix("get the package again")
		}
	}
	return out, nil
}

// Raw reads a log exactly as it came.
func (p *Package) Raw(_ context.Context, sha256Hex string) (f *bench.RawFile, err error) {
	defer func() { err = within(p.path, err) }()
	if path, ok := p.pictures[sha256Hex]; ok {
		b, err := p.file(path)
		return &bench.RawFile{SHA256: sha256Hex, Name: "photo", Bytes: b}, err
	}
	r, ok := p.raws[sha256Hex]
	if !ok {
		return nil, unknownRaw(sha256Hex)
	}
	b, err := p.file(r.file)
	if err != nil {
		return nil, err
	}
	return &bench.RawFile{SHA256: sha256Hex, Name: r.name, Bytes: b}, nil
}

// RawOf lists the SHA-256 of the logs of the study.
func (p *Package) RawOf(_ context.Context, studyID string) ([]string, error) {
	if studyID != p.study.ID {
		return nil, unknownStudy(studyID, p.study.ID)
	}
	return slices.Clone(p.order), nil
}

// Findings are the answers the package was published with, nil when there
// are none.
func (p *Package) Findings() ([]byte, error) {
	if p.sums["findings.json"] == "" {
		return nil, nil
	}
	return p.file("findings.json")
}

// file reads a file of the package and checks it once more: it may have
// changed since the package was opened.
func (p *Package) file(name string) ([]byte, error) {
	want := p.sums[name]
	if want == "" {
		return nil, missingFile(name)
	}
	b, err := fs.ReadFile(p.files, name)
	if err != nil {
		return nil, missingFile(name).Wrap(err)
	}
	if hashOf(b) != want {
		return nil, changedFile(name, want)
	}
	return b, nil
}

// verify checks a file's hash without keeping it.
func (p *Package) verify(name string) error {
	f, err := p.files.Open(name)
	if err != nil {
		return missingFile(name).Wrap(err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return missingFile(name).Wrap(err)
	}
	if hex.EncodeToString(h.Sum(nil)) != p.sums[name] {
		return changedFile(name, p.sums[name])
	}
	return nil
}

// unlisted notes files that nobody vouches for. They are never read.
func (p *Package) unlisted() error {
	var names []string
	err := fs.WalkDir(p.files, ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && p.sums[path] == "" && path != manifestPath {
			names = append(names, path)
		}
		return err
	})
	if err != nil {
		return fault.New("package-missing", "the folder cannot be read").Wrap(err)
	}
	if len(names) > 0 {
		more := ""
		if len(names) > 3 {
			more = fmt.Sprintf(" and %d more", len(names)-3)
			names = names[:3]
		}
		p.notes = append(p.notes, fault.Notef("package-unlisted", "the folder holds files that are not of the package and were not read: %s%s", strings.Join(names, ", "), more))
	}
	return nil
}

func missingFile(name string) *fault.Error {
	return fault.New("package-file-missing", "the file is missing from the package").In(name).WithFix("get the package again")
}

func changedFile(name, want string) *fault.Error {
	return fault.New("package-changed", "the file was changed after the package was written").In(name).
		WithFix("its SHA-256 should be %s: get the package again, or work on a copy", want)
}

func unknownStudy(id, have string) *fault.Error {
	return fault.BadUsage("study-unknown", "no study %q here", id).On("study", id).WithFix("the study here is %q", have)
}

func unknownRaw(sha256Hex string) *fault.Error {
	return fault.BadUsage("raw-unknown", "no log with this hash is here").On("sha256", sha256Hex)
}

// within says in which package an error's file is.
func within(path string, err error) error {
	e := fault.As(err)
	if e == nil || strings.HasPrefix(e.File, path) {
		return err
	}
	c := *e
	c.File = path
	if e.File != "" {
		c.File = path + "/" + e.File
	}
	if list, ok := err.(fault.List); ok {
		out := slices.Clone(list)
		for i, e := range out {
			d := *e
			d.File = path + "/" + e.File
			out[i] = &d
		}
		return out
	}
	return &c
}

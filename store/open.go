package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"trivet/bench"
	"trivet/fault"
)

// applicationID marks an SQLite file as a notebook: "TRVT", big-endian, at
// offset 68 of the file (https://www.sqlite.org/fileformat2.html §1.3.12).
const applicationID = 'T'<<24 | 'R'<<16 | 'V'<<8 | 'T'

// Options say how a notebook is opened. The zero value opens it for writing.
type Options struct {
	// Now gives the time of records that carry none. Nil means time.Now.
	Now func() time.Time
	// ReadOnly promises not to write, and so opens a notebook on a medium
	// or in a folder that cannot be written.
	ReadOnly bool
	// BusyTimeout is how long to wait for another process. 0 means 5 s.
	BusyTimeout time.Duration
	// NoWAL uses a rollback journal in place of a write-ahead log, as is
	// done by itself on a network drive where the system can tell.
	NoWAL bool
}

// Notebook is an open notebook. It may be used from several goroutines.
type Notebook struct {
	path  string
	now   func() time.Time
	notes []fault.Note
	write *sql.DB // one connection; nil when read-only
	read  *sql.DB

	recent recentCooks
}

var _ bench.Notebook = (*Notebook)(nil)

// Writable reports whether the notebook was opened for writing.
func (n *Notebook) Writable() bool { return n.write != nil }

// Create makes a new, empty notebook at a path and opens it. It is built
// beside the path and put in place whole, so that a path never holds half a
// notebook. Its file is readable by its owner alone: it may hold answers of
// tasters.
func Create(ctx context.Context, path string, opt Options) (*Notebook, error) {
	if opt.ReadOnly {
		return nil, fault.BadUsage("notebook-readonly", "a new notebook cannot be read-only").In(path)
	}
	if _, err := os.Lstat(path); err == nil {
		return nil, notebookExists(path)
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".new-*")
	if err != nil {
		return nil, folderFault(path, dir, err)
	}
	temp := f.Name()
	f.Close() // no connection is open yet, so no lock is lost
	defer removeDatabase(temp)

	if err := migrate(ctx, temp, migrations, opt.busy()); err != nil {
		return nil, renamed(err, temp, path)
	}
	if err := putInPlace(temp, path); err != nil {
		return nil, err
	}
	return Open(ctx, path, opt)
}

// Open opens a notebook. One written by an older trivet is first copied to
// "<path>.v<version>-<time>" and then migrated; one written by a newer
// trivet is refused.
func Open(ctx context.Context, path string, opt Options) (*Notebook, error) {
	if err := checkPath(path, opt); err != nil {
		return nil, err
	}
	n := &Notebook{path: path, now: opt.Now}
	if n.now == nil {
		n.now = time.Now
	}
	version, how, err := probe(ctx, path, opt)
	if err != nil {
		return nil, err
	}
	switch {
	case version > SchemaVersion:
		return nil, newerFault(path, version)
	case version < SchemaVersion && opt.ReadOnly:
		return nil, fault.New("notebook-older",
			"the notebook has schema version %d and needs a migration to %d", version, SchemaVersion).
			In(path).WithFix("open it once for writing: a dated copy is made first")
	case version < SchemaVersion:
		copied, err := upgrade(ctx, path, version, n.now(), opt.busy())
		if err != nil {
			return nil, err
		}
		if copied != "" {
			n.notes = append(n.notes, fault.Notef("notebook-migrated",
				"the notebook was migrated from schema version %d to %d; the notebook as it was is kept in %s",
				version, SchemaVersion, copied))
		}
	}

	if !opt.ReadOnly {
		if err := n.openWriter(ctx, opt); err != nil {
			return nil, err
		}
		how = reading
	}
	n.read, err = sql.Open(driverName, dsn(path, how, opt.busy()))
	if err != nil {
		return nil, errors.Join(n.fail(err), n.Close())
	}
	readers := max(4, min(8, runtime.GOMAXPROCS(0)))
	n.read.SetMaxOpenConns(readers)
	n.read.SetMaxIdleConns(readers)
	return n, nil
}

// openWriter opens the one writing connection and settles the journal mode.
func (n *Notebook) openWriter(ctx context.Context, opt Options) error {
	db, err := sql.Open(driverName, dsn(n.path, writing, opt.busy()))
	if err != nil {
		return n.fail(err)
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	n.write = db

	want := "wal"
	drive := networkDrive(n.path)
	switch {
	case drive != "":
		want = "truncate"
		n.notes = append(n.notes, fault.Notef("notebook-network-drive",
			"the notebook lies on a %s drive, where a write-ahead log is not safe: a rollback journal is used, and writing is slower; keep the notebook on a local disk and back it up to the drive", drive))
	case opt.NoWAL:
		want = "truncate"
	case !knowsDrives:
		n.notes = append(n.notes, fault.Notef("notebook-drive-unknown",
			"this system does not tell a network drive from a local disk; keep the notebook on a local disk"))
	}
	var got string
	if err := db.QueryRowContext(ctx, "PRAGMA journal_mode = "+want).Scan(&got); err != nil {
		return errors.Join(n.fail(err), n.Close())
	}
	if got != want {
		n.notes = append(n.notes, fault.Notef("notebook-journal",
			"the notebook uses journal mode %q where %q was asked for", got, want))
	}
	return nil
}

// Notes says what whoever uses the notebook must know of how it was opened.
func (n *Notebook) Notes() []fault.Note { return n.notes }

// Path is the file of the notebook.
func (n *Notebook) Path() string { return n.path }

// Close lets go of the notebook.
func (n *Notebook) Close() error {
	var errs []error
	if n.read != nil {
		errs = append(errs, n.read.Close())
	}
	if n.write != nil {
		errs = append(errs, n.write.Close()) // last, and so checkpoints the log
	}
	return n.fail(errors.Join(errs...))
}

func (o Options) busy() time.Duration {
	if o.BusyTimeout <= 0 {
		return 5 * time.Second
	}
	return o.BusyTimeout
}

// checkPath finds what can be told of a path without opening it.
func checkPath(path string, opt Options) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fault.BadUsage("notebook-missing", "no notebook here").In(path).
			WithFix("check the path; \"trivet study import\" makes a notebook when there is none")
	case err != nil:
		return fault.BadUsage("notebook-missing", "the notebook cannot be reached").In(path).Wrap(err)
	case info.IsDir():
		return fault.BadUsage("notebook-missing", "this is a folder, not a notebook").In(path).
			WithFix("name the notebook file; a folder with a study is read as a data package")
	case info.Size() == 0:
		return fault.New("notebook-corrupt", "the file is empty").In(path).
			WithFix("restore a backup, or remove the file and make a new notebook")
	case opt.ReadOnly:
		return nil
	case !mayWrite(path):
		return readOnlyFault(path, "the file cannot be written")
	case !mayWrite(filepath.Dir(path)):
		return readOnlyFault(path, "the notebook's folder cannot be written, and a notebook keeps its journal there")
	}
	return nil
}

// probe reads a notebook's version without changing the file, and finds how
// it can be read.
func probe(ctx context.Context, path string, opt Options) (version int, how access, err error) {
	how = reading
	if opt.ReadOnly {
		how = readOnly
	}
	id, version, err := readIDs(ctx, path, how, opt.busy())
	if err != nil && opt.ReadOnly && !mayWrite(filepath.Dir(path)) && !hasJournal(path) {
		// A write-ahead log needs an index file beside it. Where none can be
		// made nobody writes either, so the file may be read as it stands.
		how = immutable
		id, version, err = readIDs(ctx, path, how, opt.busy())
	}
	if err != nil {
		f := failAt(path, err)
		if e := fault.As(f); e != nil && e.Code == "notebook-corrupt" {
			e.Message = "this is not a notebook, or it was cut short: " + firstBytes(path)
		}
		return 0, how, f
	}
	if id != applicationID {
		return 0, how, fault.New("notebook-corrupt", "this SQLite file is not a notebook: its application id is 0x%08x", uint32(id)).
			In(path).WithFix("name a notebook that trivet made")
	}
	return version, how, nil
}

func readIDs(ctx context.Context, path string, how access, busy time.Duration) (id int64, version int, err error) {
	db, err := sql.Open(driverName, dsn(path, how, busy))
	if err != nil {
		return 0, 0, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, 0, err
	}
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return 0, 0, err
	}
	var tables int // reads the schema, and so finds a file that was cut short
	err = db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables)
	return id, version, err
}

// hasJournal reports whether changes wait beside the file.
func hasJournal(path string) bool {
	for _, suffix := range []string{"-wal", "-journal"} {
		if info, err := os.Stat(path + suffix); err == nil && info.Size() > 0 {
			return true
		}
	}
	return false
}

// firstBytes describes how a file begins. It is called only for files that
// SQLite refused, so that no lock of a live notebook can be lost by it.
func firstBytes(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return "it cannot be read"
	}
	defer f.Close()
	head := make([]byte, 16)
	k, _ := f.Read(head)
	if string(head[:k]) == "SQLite format 3\x00" {
		return "its header is right but its pages are not"
	}
	return fmt.Sprintf("it begins with %q", head[:k])
}

func readOnlyFault(path, why string) *fault.Error {
	return fault.New("notebook-readonly", "%s", why).In(path).
		WithFix("give yourself write permission, or open a copy")
}

func newerFault(path string, version int) *fault.Error {
	return fault.New("notebook-newer",
		"the notebook has schema version %d, and this trivet knows versions up to %d", version, SchemaVersion).
		In(path).WithFix("open it with the trivet that wrote it, or a newer one; it was not touched")
}

func notebookExists(path string) *fault.Error {
	return fault.BadUsage("notebook-exists", "there already is a file here").In(path).
		WithFix("open it, or choose another name; nothing is overwritten")
}

func folderFault(path, dir string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fault.BadUsage("notebook-missing", "the folder does not exist").In(path).On("folder", dir).
			WithFix("make the folder first").Wrap(err)
	case errors.Is(err, fs.ErrPermission):
		return readOnlyFault(path, "the folder cannot be written").On("folder", dir).Wrap(err)
	}
	return failAt(path, diskFault(path, err))
}

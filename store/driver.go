package store

import (
	"errors"
	"net/url"
	"strconv"
	"strings"
	"time"

	"modernc.org/sqlite" // registers the driver "sqlite"; nothing else imports it
	sqlite3 "modernc.org/sqlite/lib"
)

// driverName is the name database/sql knows the SQLite driver by.
const driverName = "sqlite"

// access is what a connection may do.
type access int

const (
	reading   access = iota // of a notebook open for writing
	writing                 // the one writer
	exclusive               // a migration: nobody else reads or writes
	readOnly                // of a notebook opened read-only
	immutable               // of a notebook on a medium that cannot be written
)

// dsn builds the connection string for a path.
//
// The driver runs busy_timeout before every other pragma, so that a pragma
// that needs a lock waits for it. The journal mode is a property of the file
// and set once, in open: connecting must not change a file that may turn out
// to belong to another program.
func dsn(path string, a access, busy time.Duration) string {
	q := url.Values{}
	pragma := func(s string) { q.Add("_pragma", s) }
	pragma("busy_timeout(" + strconv.FormatInt(busy.Milliseconds(), 10) + ")")
	pragma("foreign_keys(1)")
	pragma("trusted_schema(0)") // a notebook may come from someone else
	pragma("cell_size_check(1)")
	pragma("cache_size(-4096)") // KiB, of each connection; the system keeps the file in memory besides
	switch a {
	case writing:
		pragma("synchronous(FULL)") // a commit is on disk before it returns
		pragma("secure_delete(1)")  // a withdrawn ballot leaves no trace in free pages
		q.Set("_txlock", "immediate")
		q.Set("mode", "rw")
	case exclusive:
		pragma("synchronous(FULL)")
		pragma("locking_mode(EXCLUSIVE)")
		q.Set("_txlock", "exclusive")
		q.Set("mode", "rw")
	case reading:
		pragma("query_only(1)")
		q.Set("mode", "rw") // readers of a WAL share its index file
	case readOnly:
		pragma("query_only(1)")
		q.Set("mode", "ro")
	case immutable:
		pragma("query_only(1)")
		q.Set("mode", "ro")
		q.Set("immutable", "1")
	}
	// A path may hold '?', '#' and '%', which mean something in a URI.
	escaped := (&url.URL{Path: strings.ReplaceAll(path, `\`, `/`)}).EscapedPath()
	return "file:" + escaped + "?" + q.Encode()
}

// failure is a class of SQLite result codes.
type failure int

const (
	failOther failure = iota
	failBusy
	failReadOnly
	failCorrupt
	failFull
	failCantOpen
	failIO
	failUnique
	failConstraint
)

// failureOf classifies an error of the driver.
//
// Result codes: https://www.sqlite.org/rescode.html
func failureOf(err error) failure {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return failOther
	}
	switch e.Code() {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return failUnique
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return failBusy
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return failReadOnly
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return failCorrupt
	case sqlite3.SQLITE_FULL:
		return failFull
	case sqlite3.SQLITE_CANTOPEN:
		return failCantOpen
	case sqlite3.SQLITE_IOERR:
		return failIO
	case sqlite3.SQLITE_CONSTRAINT:
		return failConstraint
	}
	return failOther
}

package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
)

// SchemaVersion is the version of the notebook this package reads and writes.
// It is the user_version of the file.
const SchemaVersion = 4

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migrations holds one file per schema version, each of which sets
// user_version to its own number.
var migrations = func() fs.FS {
	sub, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}()

// upgrade copies a notebook and then migrates it. It returns the path of the
// copy, or "" when another process migrated first.
func upgrade(ctx context.Context, path string, version int, now time.Time, busy time.Duration) (copied string, err error) {
	return upgradeWith(ctx, path, migrations, version, SchemaVersion, now, busy)
}

func upgradeWith(ctx context.Context, path string, set fs.FS, from, to int, now time.Time, busy time.Duration) (copied string, err error) {
	copied = fmt.Sprintf("%s.v%d-%s", path, from, now.UTC().Format("20060102T150405Z"))
	err = locked(ctx, path, busy, func(db *sql.DB) error {
		var current int
		if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&current); err != nil {
			return err
		}
		if current == to {
			copied = ""
			return nil
		}
		if err := copyTo(ctx, db, copied); err != nil {
			return err
		}
		return runMigrations(ctx, db, set)
	})
	return copied, err
}

// migrate brings a database to the newest version of a set of migrations.
func migrate(ctx context.Context, path string, set fs.FS, busy time.Duration) error {
	return locked(ctx, path, busy, func(db *sql.DB) error { return runMigrations(ctx, db, set) })
}

// locked runs f on a connection that nobody else can read or write beside.
// In locking_mode EXCLUSIVE the lock that the first transaction takes is held
// until the connection closes.
func locked(ctx context.Context, path string, busy time.Duration, f func(*sql.DB) error) (err error) {
	db, err := sql.Open(driverName, dsn(path, exclusive, busy))
	if err != nil {
		return failAt(path, err)
	}
	defer func() { err = failAt(path, errors.Join(err, db.Close())) }()
	db.SetMaxOpenConns(1)
	db.SetConnMaxIdleTime(0)
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	return f(db)
}

func runMigrations(ctx context.Context, db *sql.DB, set fs.FS) error {
	p, err := goose.NewProvider(goose.DialectSQLite3, db, set,
		goose.WithTableName("schema_migration"),
		goose.WithDisableGlobalRegistry(true),
		goose.WithLogger(goose.NopLogger()))
	if err != nil {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		var partial *goose.PartialError
		if errors.As(err, &partial) {
			err = partial.Err
		}
		return err
	}
	return nil
}

// copyTo writes a compact copy of a database to a new file, durably.
func copyTo(ctx context.Context, db executor, to string) error {
	if _, err := os.Lstat(to); err == nil {
		return notebookExists(to)
	}
	temp, err := copyBeside(ctx, db, to)
	if err != nil {
		return err
	}
	defer removeDatabase(temp)
	return putInPlace(temp, to)
}

type executor interface {
	ExecContext(ctx context.Context, text string, args ...any) (sql.Result, error)
}

// copyBeside writes a compact copy of a database to a temporary file in the
// folder of to. The caller removes it.
func copyBeside(ctx context.Context, db executor, to string) (temp string, err error) {
	dir := filepath.Dir(to)
	f, err := os.CreateTemp(dir, "."+filepath.Base(to)+".part-*")
	if err != nil {
		return "", folderFault(to, dir, err)
	}
	temp = f.Name()
	f.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", temp); err != nil {
		removeDatabase(temp)
		return "", renamed(failAt(temp, err), temp, to)
	}
	return temp, nil
}

package store

import (
	"bufio"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"trivet/fault"
)

// Copy says what a verified copy of a notebook holds.
type Copy struct {
	Path    string
	Bytes   int64
	SHA256  string           // of the file, hex; also in Path + ".sha256"
	Rows    map[string]int64 // by table
	Content string           // SHA-256 of all rows of all tables, hex
}

// Backup writes a compact copy of the notebook to a new file while others
// may go on using it, reads the copy back and checks it: SQLite's integrity
// check, foreign keys, and every row of every table against the original.
// Beside it goes "<to>.sha256", a line that sha256sum -c reads. An existing
// file is never overwritten.
//
// Keys of open tastings are in the copy as they are in the notebook:
// encrypted to the lead's passphrase.
func (n *Notebook) Backup(ctx context.Context, to string) (Copy, error) {
	db := n.read
	if n.write != nil {
		db = n.write // no other change of this process comes in between
	}
	// The copy is compared with the notebook, and a third process may write
	// between copying and comparing: then the copy is made again.
	for attempt := 0; ; attempt++ {
		c, changed, err := n.backupOnce(ctx, db, to)
		switch {
		case err != nil:
			return Copy{}, n.fail(err)
		case !changed:
			return c, nil
		case attempt == 9:
			return Copy{}, fault.New("notebook-locked", "the notebook changed each time it was copied").In(n.path).
				WithFix("make the backup when less is being written")
		}
	}
}

func (n *Notebook) backupOnce(ctx context.Context, db *sql.DB, to string) (c Copy, changed bool, err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return c, false, err
	}
	defer conn.Close()
	if _, err := os.Lstat(to); err == nil {
		return c, false, notebookExists(to)
	}
	var before, after int64
	if err := conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&before); err != nil {
		return c, false, err
	}
	own, err := contentOf(ctx, conn)
	if err != nil {
		return c, false, err
	}
	temp, err := copyBeside(ctx, conn, to)
	if err != nil {
		return c, false, err
	}
	defer removeDatabase(temp)
	if err := conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&after); err != nil {
		return c, false, err
	}
	if before != after {
		return c, true, nil
	}
	c, err = verify(ctx, temp)
	if err != nil {
		return c, false, renamed(err, temp, to)
	}
	if c.Content != own.hash {
		return c, false, fault.New("backup-differs", "the copy is not what the notebook holds").In(to).
			WithFix("check the disk, and make the backup again")
	}
	if err := putInPlace(temp, to); err != nil {
		return c, false, err
	}
	c.Path = to
	line := c.SHA256 + "  " + filepath.Base(to) + "\n"
	return c, false, diskFault(to, writeSynced(to+".sha256", line))
}

// Verify reads a notebook file through and says what it holds. The file is
// not changed. An error has code "notebook-corrupt", or "backup-hash" when
// the ".sha256" beside it names another content.
func Verify(ctx context.Context, path string) (Copy, error) {
	if err := checkPath(path, Options{ReadOnly: true}); err != nil {
		return Copy{}, err
	}
	c, err := verify(ctx, path)
	if err != nil {
		return c, err
	}
	line, err := os.ReadFile(path + ".sha256")
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err != nil {
		return c, diskFault(path+".sha256", err)
	}
	want, _, _ := strings.Cut(strings.TrimSpace(string(line)), " ")
	if want != c.SHA256 {
		return c, fault.New("backup-hash", "the file is not the one that was backed up: its SHA-256 is %s", c.SHA256).
			In(path).On("sha256", want).WithFix("use another backup")
	}
	return c, nil
}

// Restore puts a verified backup in the place of a notebook that no process
// has open. With replace, a notebook that is there is kept beside it as
// "<to>.before-<time>"; without, an existing file is refused.
func Restore(ctx context.Context, backup, to string, replace bool, now time.Time) (Copy, error) {
	want, err := Verify(ctx, backup)
	if err != nil {
		return Copy{}, err
	}
	if _, err := os.Lstat(to); err == nil && !replace {
		return Copy{}, notebookExists(to).WithFix("say that it is to be replaced; the present one is then kept beside it")
	}
	dir := filepath.Dir(to)
	f, err := os.CreateTemp(dir, "."+filepath.Base(to)+".part-*")
	if err != nil {
		return Copy{}, folderFault(to, dir, err)
	}
	temp := f.Name()
	defer removeDatabase(temp)
	if err := copyFile(f, backup); err != nil {
		return Copy{}, diskFault(to, err)
	}
	got, err := verify(ctx, temp)
	if err != nil {
		return Copy{}, renamed(err, temp, to)
	}
	if got.SHA256 != want.SHA256 {
		return Copy{}, fault.New("backup-hash", "the copy came out different from the backup").In(to).
			WithFix("check the disk, and restore again")
	}
	if _, err := os.Lstat(to); err == nil {
		if err := setAside(ctx, to, now); err != nil {
			return Copy{}, err
		}
	}
	if err := putInPlace(temp, to); err != nil {
		return Copy{}, err
	}
	got.Path = to
	return got, nil
}

// setAside renames a notebook, with all its journal holds inside it.
func setAside(ctx context.Context, path string, now time.Time) error {
	aside := path + ".before-" + now.UTC().Format("20060102T150405Z")
	if _, err := os.Lstat(aside); err == nil {
		return notebookExists(aside)
	}
	// Taking the file for itself fails while another process has it, and
	// moves the write-ahead log into the file. A file too damaged for that
	// is set aside with its journals.
	err := locked(ctx, path, time.Second, func(db *sql.DB) error {
		_, err := db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
		return err
	})
	if e := fault.As(err); e != nil && e.Code == "notebook-locked" {
		return err
	}
	for _, suffix := range []string{"-journal", "-wal", "-shm", ""} {
		if err := os.Rename(path+suffix, aside+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return diskFault(path, err)
		}
	}
	return syncDir(filepath.Dir(path))
}

// verify reads a whole notebook file that no one else writes.
func verify(ctx context.Context, path string) (Copy, error) {
	id, version, err := readIDs(ctx, path, readOnly, 5*time.Second)
	if err != nil {
		return Copy{}, failAt(path, err)
	}
	switch {
	case id != applicationID:
		return Copy{}, fault.New("notebook-corrupt", "this file is not a notebook").In(path).
			WithFix("name a backup that trivet made")
	case version > SchemaVersion:
		return Copy{}, newerFault(path, version)
	}
	db, err := sql.Open(driverName, dsn(path, readOnly, 5*time.Second))
	if err != nil {
		return Copy{}, failAt(path, err)
	}
	defer db.Close()
	conn, err := db.Conn(ctx)
	if err != nil {
		return Copy{}, failAt(path, err)
	}
	defer conn.Close()
	for _, check := range []string{"PRAGMA integrity_check(1)", "SELECT 'row ' || rowid || ' of ' || \"table\" FROM pragma_foreign_key_check"} {
		var said string
		switch err := conn.QueryRowContext(ctx, check).Scan(&said); {
		case errors.Is(err, sql.ErrNoRows):
		case err != nil:
			return Copy{}, failAt(path, err)
		case said != "ok":
			return Copy{}, fault.New("notebook-corrupt", "the notebook is damaged: %s", said).In(path).
				WithFix("keep the file as it is and use another backup")
		}
	}
	content, err := contentOf(ctx, conn)
	if err != nil {
		return Copy{}, failAt(path, err)
	}
	c := Copy{Path: path, Rows: content.rows, Content: content.hash}
	c.SHA256, c.Bytes, err = fileHash(path)
	return c, diskFault(path, err)
}

// content is what a database holds, whatever the layout of its pages.
type content struct {
	rows map[string]int64
	hash string
}

// contentOf reads every row of every table, in the order of its key, from
// one state of the database.
func contentOf(ctx context.Context, conn *sql.Conn) (content, error) {
	out := content{rows: map[string]int64{}}
	tx, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return out, err
	}
	defer tx.Rollback()
	var tables []string
	if err := eachRow(ctx, tx, `SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite\_%' ESCAPE '\' ORDER BY name`, func(v []any) {
		tables = append(tables, v[0].(string))
	}); err != nil {
		return out, err
	}
	sum := sha256.New()
	w := bufio.NewWriter(sum)
	for _, table := range tables {
		var keys, columns []string
		if err := eachRow(ctx, tx, `SELECT name, pk FROM pragma_table_info('`+table+`') ORDER BY cid`, func(v []any) {
			column := `"` + v[0].(string) + `"`
			columns = append(columns, column)
			if v[1].(int64) > 0 {
				keys = append(keys, column)
			}
		}); err != nil {
			return out, err
		}
		if len(keys) == 0 {
			keys = columns
		}
		fmt.Fprintf(w, "table %q %q\n", table, columns)
		if err := eachRow(ctx, tx, `SELECT `+strings.Join(columns, ", ")+` FROM "`+table+`" ORDER BY `+strings.Join(keys, ", "), func(v []any) {
			out.rows[table]++
			for _, x := range v {
				hashValue(w, x)
			}
		}); err != nil {
			return out, err
		}
	}
	if err := w.Flush(); err != nil {
		return out, err
	}
	out.hash = hex.EncodeToString(sum.Sum(nil))
	return out, nil
}

func eachRow(ctx context.Context, tx *sql.Tx, text string, row func([]any)) error {
	rows, err := tx.QueryContext(ctx, text)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	values := make([]any, len(columns))
	into := make([]any, len(columns))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		row(values)
	}
	return rows.Err()
}

// hashValue writes a value so that no two lists of values are written alike.
func hashValue(w *bufio.Writer, v any) {
	var b [9]byte
	sized := func(kind byte, n int64) {
		b[0] = kind
		binary.BigEndian.PutUint64(b[1:], uint64(n))
		w.Write(b[:])
	}
	switch v := v.(type) {
	case nil:
		w.WriteByte('n')
	case int64:
		sized('i', v)
	case float64:
		b[0] = 'f'
		binary.BigEndian.PutUint64(b[1:], math.Float64bits(v))
		w.Write(b[:])
	case string:
		sized('t', int64(len(v)))
		w.WriteString(v)
	case []byte:
		sized('b', int64(len(v)))
		w.Write(v)
	default: // a time column of the migration table
		s := fmt.Sprint(v)
		sized('v', int64(len(s)))
		w.WriteString(s)
	}
}

func fileHash(path string) (sum string, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	size, err = io.Copy(h, f)
	return hex.EncodeToString(h.Sum(nil)), size, err
}

func copyFile(to *os.File, from string) error {
	f, err := os.Open(from)
	if err != nil {
		return errors.Join(err, to.Close())
	}
	_, err = io.Copy(to, f)
	return errors.Join(err, f.Close(), to.Sync(), to.Close())
}

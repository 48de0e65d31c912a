package store

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

func TestOpenRefusesWhatIsNoNotebook(t *testing.T) {
	ctx := context.Background()
	foreign := func(t *testing.T, path string) {
		db, err := sql.Open(driverName, path)
		must(t, err)
		_, err = db.Exec("CREATE TABLE t (a); PRAGMA application_id = 7")
		must(t, err)
		must(t, db.Close())
	}
	// whole writes a notebook of a few dozen pages, with no log beside it.
	whole := func(t *testing.T, path string) []byte {
		n, err := Create(ctx, path, Options{Now: clock})
		must(t, err)
		for i := range 50 {
			must(t, n.PutStudy(ctx, &study.Study{ID: fmt.Sprint("s", i)}, bytes.Repeat([]byte{'x'}, 3000), nil))
		}
		must(t, n.Close())
		b, err := os.ReadFile(path)
		must(t, err)
		return b
	}
	write := func(t *testing.T, path string, b []byte) { must(t, os.WriteFile(path, b, 0o600)) }
	for _, c := range []struct {
		name string
		code fault.Code
		says string // part of the message
		make func(t *testing.T, path string)
	}{
		{"nothing there", "notebook-missing", "no notebook here", func(*testing.T, string) {}},
		{"a folder", "notebook-missing", "folder", func(t *testing.T, path string) { must(t, os.Mkdir(path, 0o700)) }},
		{"an empty file", "notebook-corrupt", "empty", func(t *testing.T, path string) { write(t, path, nil) }},
		{"a text file", "notebook-corrupt", `begins with "study: a title`, func(t *testing.T, path string) { write(t, path, []byte("study: a title and more\n")) }},
		{"another program's database", "notebook-corrupt", "application id is 0x00000007", foreign},
		{"a damaged header", "notebook-corrupt", "begins with", func(t *testing.T, path string) {
			b := whole(t, path)
			copy(b, "SQLite formal 3")
			write(t, path, b)
		}},
		{"cut off inside the first page", "notebook-corrupt", "cut short", func(t *testing.T, path string) { write(t, path, whole(t, path)[:700]) }},
		{"cut off in the middle", "notebook-corrupt", "cut short", func(t *testing.T, path string) {
			b := whole(t, path)
			write(t, path, b[:len(b)/2/4096*4096])
		}},
		{"a newer schema", "notebook-newer", "schema version 999", func(t *testing.T, path string) {
			whole(t, path)
			db, err := sql.Open(driverName, path)
			must(t, err)
			_, err = db.Exec("PRAGMA user_version = 999")
			must(t, err)
			must(t, db.Close())
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "notebook")
			c.make(t, path)
			before, _ := os.ReadFile(path)
			for _, opt := range []Options{{}, {ReadOnly: true}} {
				_, err := Open(ctx, path, opt)
				wantCode(t, err, c.code)
				e := fault.As(err)
				if !strings.Contains(e.Message, c.says) {
					t.Errorf("message %q does not say %q", e.Message, c.says)
				}
				if e.File != path || (e.Fix == "") {
					t.Errorf("file %q, fix %q", e.File, e.Fix)
				}
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
				t.Error("the refused file was changed")
			}
		})
	}
}

// A page damaged deep inside is met when it is read, and found by Verify.
func TestDamagedPageIsReported(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, bytes.Repeat([]byte("food "), 20000), nil))
	path := n.Path()
	must(t, n.Close())
	b, err := os.ReadFile(path)
	must(t, err)
	for i := 40 * 4096; i < len(b); i++ {
		b[i] = 0xA5
	}
	must(t, os.WriteFile(path, b, 0o600))
	_, err = Verify(ctx, path)
	wantCode(t, err, "notebook-corrupt")
}

func TestCreateRefuses(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	t.Run("a folder that is not there", func(t *testing.T) {
		_, err := Create(ctx, filepath.Join(dir, "no", "notebook"), Options{})
		wantCode(t, err, "notebook-missing")
	})
	t.Run("a file that is there", func(t *testing.T) {
		path := filepath.Join(dir, "mine")
		must(t, os.WriteFile(path, []byte("mine"), 0o600))
		_, err := Create(ctx, path, Options{})
		wantCode(t, err, "notebook-exists")
		if b, _ := os.ReadFile(path); string(b) != "mine" {
			t.Errorf("file is now %q", b)
		}
	})
	t.Run("and leaves nothing behind", func(t *testing.T) {
		left, err := os.ReadDir(dir)
		must(t, err)
		if len(left) != 1 {
			t.Errorf("left %v", left)
		}
	})
}

// A full disk, by SQLite's own bound on the pages of a file, which fails in
// the same way (SQLITE_FULL) and needs no special disk.
func TestFullDiskKeepsWhatWasThere(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("first"), nil, study.Event{What: "made"}))
	var pages int
	must(t, n.write.QueryRow("PRAGMA page_count").Scan(&pages))
	_, err := n.write.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages+3))
	must(t, err)
	checkFull(t, n)
	_, err = n.write.Exec("PRAGMA max_page_count = 1000000")
	must(t, err)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("second"), nil))
}

// checkFull writes more than fits and sees that nothing of it stays.
func checkFull(t *testing.T, n *Notebook) {
	t.Helper()
	ctx := context.Background()
	big := bytes.Repeat([]byte{'x'}, 1<<20)
	err := n.PutStudy(ctx, &study.Study{ID: "s"}, big, nil, study.Event{What: "changed"})
	wantCode(t, err, "disk-full")
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if string(rec.Document) != "first" || len(rec.Events) != 1 {
		t.Errorf("after a full disk: document %.20q, %d events", rec.Document, len(rec.Events))
	}
	must(t, n.VerifyHistory(ctx, "s"))
}

// A disk that really is full: a memory disk of one megabyte, where the system
// lets the test mount one.
func TestRealFullDisk(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("mounting a small disk is done on Linux only")
	}
	dir := t.TempDir()
	if err := mountSmall(dir); err != nil {
		t.Skipf("no small disk can be mounted here: %v", err)
	}
	t.Cleanup(func() { unmount(dir) })
	ctx := context.Background()
	n, err := Create(ctx, filepath.Join(dir, "notebook"), Options{Now: clock})
	must(t, err)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("first"), nil, study.Event{What: "made"}))
	checkFull(t, n)
	_, err = n.Backup(ctx, filepath.Join(dir, "copy"))
	for i := 0; err == nil && i < 20; i++ { // copies until the disk is full
		_, err = n.Backup(ctx, filepath.Join(dir, fmt.Sprint("copy", i)))
	}
	wantCode(t, err, "disk-full")
	must(t, n.Close())
	n, err = Open(ctx, filepath.Join(dir, "notebook"), Options{ReadOnly: true})
	must(t, err)
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if string(rec.Document) != "first" {
		t.Errorf("document is %.20q", rec.Document)
	}
	must(t, n.Close())
	filler, err := os.Create(filepath.Join(dir, "filler"))
	must(t, err)
	for err == nil {
		_, err = filler.Write(make([]byte, 4096))
	}
	must(t, filler.Close())
	_, err = Create(ctx, filepath.Join(dir, "another"), Options{})
	wantCode(t, err, "disk-full")
}

// A notebook, or its folder, that this user may not write. The superuser may
// write anything, so the test runs as somebody else where it is run as that.
func TestReadOnlyPlaces(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("permissions are set otherwise on Windows")
	}
	ctx := context.Background()
	for _, c := range []struct {
		name               string
		fileMode, dirMode  os.FileMode
		writing, readingIs string
	}{
		{"file", 0o444, 0o777, "notebook-readonly", "ok"},
		{"folder", 0o666, 0o555, "notebook-readonly", "ok"},
		{"both", 0o444, 0o555, "notebook-readonly", "ok"},
		{"unreadable", 0o000, 0o777, "notebook-readonly", "notebook-unreadable"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, err := os.MkdirTemp("", "readonly-*")
			must(t, err)
			t.Cleanup(func() { _ = os.Chmod(dir, 0o700); _ = os.RemoveAll(dir) })
			path := filepath.Join(dir, "notebook")
			n, err := Create(ctx, path, Options{Now: clock})
			must(t, err)
			must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
			must(t, n.Close())
			must(t, os.Chmod(path, c.fileMode))
			must(t, os.Chmod(dir, c.dirMode))
			for _, how := range []struct{ arg, want string }{{"write", c.writing}, {"read-only", c.readingIs}} {
				cmd := child(t, "open-and-report", path, how.arg)
				if os.Geteuid() == 0 {
					asNobody(t, cmd)
				}
				out, err := cmd.Output()
				must(t, err)
				if string(out) != how.want {
					t.Errorf("%s: %s, want %s", how.arg, out, how.want)
				}
			}
		})
	}
}

func TestReadOnlyNotebookRefusesWriting(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	path := n.Path()
	must(t, n.Close())
	n, err := Open(ctx, path, Options{ReadOnly: true})
	must(t, err)
	defer n.Close()
	wantCode(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil), "notebook-readonly")
}

func TestUnknownNames(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	_, err := n.Record(ctx, "other")
	wantCode(t, err, "study-unknown")
	_, err = n.Traces(ctx, "other", "k")
	wantCode(t, err, "study-unknown")
	_, err = n.Traces(ctx, "s", "k")
	wantCode(t, err, "cook-unknown")
	_, err = n.Raw(ctx, strings.Repeat("0", 64))
	wantCode(t, err, "raw-unknown")
	wantCode(t, n.AppendEvents(ctx, "other", study.Event{}), "study-unknown")
	wantCode(t, n.PutResponses(ctx, "s", []bench.StoredResponse{{CookID: "k"}}), "cook-unknown")
}

func TestCancelledWriteKeepsNothing(t *testing.T) {
	n := newNotebook(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil); err == nil {
		t.Fatal("a cancelled write succeeded")
	}
	got, err := n.Studies(context.Background())
	must(t, err)
	if len(got) != 0 {
		t.Errorf("kept %v", got)
	}
}

// Migrating keeps a dated copy of the notebook as it was; a migration that
// fails leaves the notebook as it was.
func TestUpgradeCopiesFirst(t *testing.T) {
	ctx := context.Background()
	set := func(next string) fstest.MapFS {
		out := fstest.MapFS{}
		files, err := fs.ReadDir(migrations, ".")
		must(t, err)
		for _, f := range files {
			b, err := fs.ReadFile(migrations, f.Name())
			must(t, err)
			out[f.Name()] = &fstest.MapFile{Data: b}
		}
		out[fmt.Sprintf("%05d_next.sql", SchemaVersion+1)] = &fstest.MapFile{
			Data: fmt.Appendf(nil, "-- +goose Up\n%s\nPRAGMA user_version = %d;\n", next, SchemaVersion+1)}
		return out
	}
	now := time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC)
	t.Run("done", func(t *testing.T) {
		n := newNotebook(t)
		must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("doc"), nil))
		must(t, n.Close())
		copied, err := upgradeWith(ctx, n.Path(), set("CREATE TABLE added (a);"), SchemaVersion, SchemaVersion+1, now, time.Second)
		must(t, err)
		if want := fmt.Sprintf("%s.v%d-20260501T100000Z", n.Path(), SchemaVersion); copied != want {
			t.Errorf("copy is %s, want %s", copied, want)
		}
		old, err := Open(ctx, copied, Options{ReadOnly: true})
		must(t, err)
		defer old.Close()
		rec, err := old.Record(ctx, "s")
		must(t, err)
		if string(rec.Document) != "doc" {
			t.Errorf("the copy holds %q", rec.Document)
		}
		_, err = Open(ctx, n.Path(), Options{}) // newer than this package
		wantCode(t, err, "notebook-newer")
	})
	t.Run("failed", func(t *testing.T) {
		n := newNotebook(t)
		must(t, n.Close())
		if _, err := upgradeWith(ctx, n.Path(), set("CREATE TABLE added (a); CREATE TABLE study (a);"), SchemaVersion, SchemaVersion+1, now, time.Second); err == nil {
			t.Fatal("a failing migration succeeded")
		}
		n, err := Open(ctx, n.Path(), Options{})
		must(t, err)
		var tables int
		must(t, n.read.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = 'added'").Scan(&tables))
		if tables != 0 {
			t.Error("half a migration stayed")
		}
		must(t, n.Close())
	})
	t.Run("locked", func(t *testing.T) {
		n := newNotebook(t)
		tx, err := n.read.Begin()
		must(t, err)
		defer tx.Rollback()
		var k int
		must(t, tx.QueryRow("SELECT count(*) FROM study").Scan(&k))
		_, err = upgradeWith(ctx, n.Path(), set(""), SchemaVersion, SchemaVersion+1, now, 50*time.Millisecond)
		wantCode(t, err, "notebook-locked")
	})
}

package cli_test

import (
	"archive/zip"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"trivet/cells"
)

// tableCommands are what scripts need to look at exported tables.
var tableCommands = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	"guarded": guarded,
	"unzip":   unzip,
}

// guarded fails if a cell of a CSV file below the folders begins as a formula
// and is no number.
func guarded(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: guarded folder…")
	}
	tables, texts := 0, 0
	for _, dir := range args {
		ts.Check(filepath.WalkDir(ts.MkAbs(dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".csv") {
				return err
			}
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			tables++
			for line := range strings.Lines(string(b)) {
				for _, cell := range strings.FieldsFunc(line, func(r rune) bool { return r == ',' || r == '\r' || r == '\n' }) {
					if cell = strings.TrimPrefix(cell, `"`); strings.HasPrefix(cell, "'") {
						texts++
					}
					if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") && !cells.IsNumber(cell) {
						ts.Fatalf("%s: a cell begins as a formula: %s", path, line)
					}
				}
			}
			return nil
		}))
	}
	if tables == 0 || texts == 0 {
		ts.Fatalf("%d tables with %d guarded texts: nothing was shown", tables, texts)
	}
}

// unzip unpacks an archive into a folder.
func unzip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: unzip archive folder")
	}
	z, err := zip.OpenReader(ts.MkAbs(args[0]))
	ts.Check(err)
	defer z.Close()
	for _, f := range z.File {
		if f.FileInfo().IsDir() {
			continue
		}
		to := filepath.Join(ts.MkAbs(args[1]), filepath.FromSlash(f.Name))
		ts.Check(os.MkdirAll(filepath.Dir(to), 0o777))
		in, err := f.Open()
		ts.Check(err)
		b, err := io.ReadAll(in)
		in.Close()
		ts.Check(err)
		ts.Check(os.WriteFile(to, b, 0o666))
	}
}

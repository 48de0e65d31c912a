package trivet_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// Tables for spreadsheets are written in two places, and both guard against
// formulas: package cells, and the tables of a data package (bundle). No other
// package makes a CSV writer or a workbook of its own.
func TestTablesAreWrittenGuarded(t *testing.T) {
	writers := map[string]string{"encoding/csv": "NewWriter", "github.com/xuri/excelize/v2": "NewFile"}
	seen := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "node_modules" || d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && path != ".") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		seen++
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		made := map[string]string{} // package name → the function that makes a writer
		for _, imp := range f.Imports {
			p := strings.Trim(imp.Path.Value, `"`)
			if fn, ok := writers[p]; ok {
				name := filepath.Base(strings.TrimSuffix(p, "/v2"))
				if imp.Name != nil {
					name = imp.Name.Name
				}
				made[name] = fn
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if x, ok := sel.X.(*ast.Ident); ok && made[x.Name] == sel.Sel.Name && filepath.Dir(path) != "cells" {
				t.Errorf("%s calls %s.%s: write the table with package cells", path, x.Name, sel.Sel.Name)
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 100 {
		t.Errorf("saw only %d files", seen)
	}
}

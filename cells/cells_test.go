package cells_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/cells"
)

func TestGuard(t *testing.T) {
	for _, c := range []struct{ text, cell string }{
		{"=HYPERLINK(\"http://x\")", "'=HYPERLINK(\"http://x\")"},
		{"+1+1", "'+1+1"},
		{"-1+1", "'-1+1"},
		{"@SUM(A1)", "'@SUM(A1)"},
		{"\t=1", "'\t=1"},
		{"\r=1", "'\r=1"},
		{"'quoted", "''quoted"},
		{"-Inf", "'-Inf"},
		{"-5.2", "-5.2"},
		{"+3e-4", "+3e-4"},
		{"loin 3", "loin 3"},
		{"", ""},
	} {
		if got := cells.Row([]string{c.text})[0]; got != c.cell {
			t.Errorf("%q became %q, want %q", c.text, got, c.cell)
		}
		if got := cells.Unguard(c.cell); got != c.text {
			t.Errorf("%q read back as %q, want %q", c.cell, got, c.text)
		}
	}
	if got := cells.Unguard("'tis"); got != "'tis" {
		t.Errorf("a text of someone else's became %q", got)
	}
}

// Whatever stands in a table, no cell of the file begins a formula, and the
// table reads back as it was. A return followed by a line feed inside a cell
// becomes a line feed: encoding/csv reads it so.
func TestEveryTableReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(2, 5).Draw(rt, "columns")
		word := rapid.OneOf(rapid.String(), rapid.StringMatching(`[=+\-@\t'][a-z0-9=+\-'",]{0,4}`), rapid.StringMatching(`-?[0-9]{1,3}(\.[0-9]+)?`))
		var rows [][]string
		for range rapid.IntRange(1, 5).Draw(rt, "rows") {
			var row []string
			for range n {
				row = append(row, strings.NewReplacer("\r", "", "\n", " ").Replace(word.Draw(rt, "cell")))
			}
			rows = append(rows, row)
		}
		var b bytes.Buffer
		if err := cells.NewWriter(&b).WriteAll(nil, rows); err != nil {
			rt.Fatal(err)
		}
		got, err := cells.ReadAll(bytes.NewReader(b.Bytes()))
		if err != nil {
			rt.Fatal(err)
		}
		if d := cmp.Diff(rows, got); d != "" {
			rt.Fatal(d)
		}
	})
}

func ExampleWriter() {
	var b strings.Builder
	err := cells.NewWriter(&b).WriteAll([]string{"cook", "loss"}, [][]string{{"=1+1", "-2.5"}, {"P1-a", "3"}})
	fmt.Print(strings.ReplaceAll(b.String(), "\r", ""), err)
	// Output:
	// cook,loss
	// '=1+1,-2.5
	// P1-a,3
	// <nil>
}

func FuzzGuard(f *testing.F) {
	for _, s := range []string{"=1", "'=1", "''", "-5", "-a", "\t", "'tis", "", "@", "é"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		cell := cells.Row([]string{s})[0]
		if cell != "" && strings.IndexByte("=+-@\t\r", cell[0]) >= 0 && !cells.IsNumber(cell) {
			t.Fatalf("%q stands unguarded as %q", s, cell)
		}
		if back := cells.Unguard(cell); back != s {
			t.Fatalf("%q became %q and then %q", s, cell, back)
		}
	})
}

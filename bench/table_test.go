package bench

import (
	"io"
	"strings"
	"testing"

	"trivet/fault"
)

func TestReadTable(t *testing.T) {
	for _, tc := range []struct {
		name, text string
		columns    string
		rows       int
	}{
		{"comma", "a,b\n1,2\n3,4\n", "a b", 2},
		{"semicolon with a decimal comma", "a;b\n1,5;2\n", "a b", 1},
		{"tab", "a\tb\n1\t2\n", "a b", 1},
		{"byte order mark, spaces and remarks", "\ufeff# made up\na, b\n1, 2\n", "a b", 1},
		{"quoted line end", "a,b\n\"1\n2\",3\n", "a b", 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := ReadTable("t.csv", strings.NewReader(tc.text))
			if err != nil {
				t.Fatal(err)
			}
			if c := strings.Join(got.Columns, " "); c != tc.columns || len(got.Rows) != tc.rows {
				t.Errorf("columns %q and %d rows, want %q and %d", c, len(got.Rows), tc.columns, tc.rows)
			}
		})
	}
}

// endless gives the same byte without end and counts what was taken.
type endless struct{ taken int }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '1'
	}
	e.taken += len(p)
	return len(p), nil
}

func TestReadTableRefusesAnEndlessRow(t *testing.T) {
	for _, tc := range []struct {
		name, head string
		row        int
	}{
		{"no line end", "a,b\n1,2\n", 2},
		{"open quote", "a,b\n1,\"2", 1},
		{"header", "a", 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			e := &endless{}
			_, err := ReadTable("t.csv", io.MultiReader(strings.NewReader(tc.head), e))
			f := fault.As(err)
			if f == nil || f.Code != "row-too-long" || f.Row != tc.row {
				t.Fatalf("got %v", err)
			}
			if e.taken > 2*mostRowBytes {
				t.Errorf("%d bytes were read before it was refused", e.taken)
			}
		})
	}
}

// Rows that are each short never add up to one that is too long.
func TestReadTableLimitsRowsNotTables(t *testing.T) {
	row := strings.Repeat("1", 1000) + ",2\n"
	got, err := ReadTable("t.csv", strings.NewReader("a,b\n"+strings.Repeat(row, 3000)))
	if err != nil || len(got.Rows) != 3000 {
		t.Fatalf("%v", err)
	}
}

package stats

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readCSV returns the rows of a file in testdata without its header, and the
// place of each column.
func readCSV(t testing.TB, path string) (rows [][]string, column map[string]int) {
	t.Helper()
	f, err := os.Open("testdata/" + path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err = csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column = map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	return rows[1:], column
}

// dataset is one published table: text columns by name.
type dataset map[string][]string

func load(t testing.TB, file string) dataset {
	t.Helper()
	rows, column := readCSV(t, file)
	d := dataset{}
	for name, i := range column {
		for _, row := range rows {
			d[name] = append(d[name], row[i])
		}
	}
	return d
}

func (d dataset) numbers(t testing.TB, column string) []float64 {
	t.Helper()
	out := make([]float64, len(d[column]))
	for i, s := range d[column] {
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// where keeps the rows whose column has the value.
func (d dataset) where(column, value string) dataset {
	out := dataset{}
	for name, cells := range d {
		for i, c := range cells {
			if d[column][i] == value {
				out[name] = append(out[name], c)
			}
		}
	}
	return out
}

// without drops rows by number, counted from 1.
func (d dataset) without(rows ...int) dataset {
	drop := map[int]bool{}
	for _, r := range rows {
		drop[r] = true
	}
	out := dataset{}
	for name, cells := range d {
		for i, c := range cells {
			if !drop[i+1] {
				out[name] = append(out[name], c)
			}
		}
	}
	return out
}

// factors turns text columns into model factors.
func (d dataset) factors(names ...string) []Column {
	var out []Column
	for _, n := range names {
		out = append(out, Column{Name: n, Labels: d[n]})
	}
	return out
}

// refs are the reference values of one case, keyed "method|term|quantity"
// where method is cut to what follows the last part given.
type refs struct {
	t    testing.TB
	rows [][]string
}

func references(t testing.TB, caseID string) refs {
	t.Helper()
	rows, _ := readCSV(t, "analysis_reference.csv")
	r := refs{t: t}
	for _, row := range rows {
		if row[0] == caseID {
			r.rows = append(r.rows, row)
		}
	}
	if len(r.rows) == 0 {
		t.Fatalf("no reference values for %s", caseID)
	}
	return r
}

// value finds the number whose method ends in method, for a term and quantity.
func (r refs) value(method, term, quantity string) float64 {
	r.t.Helper()
	for _, row := range r.rows {
		if strings.HasSuffix(row[2], method) && row[3] == term && row[4] == quantity {
			v, err := strconv.ParseFloat(row[5], 64)
			if err != nil {
				r.t.Fatal(err)
			}
			return v
		}
	}
	r.t.Fatalf("no reference value for method %q, term %q, quantity %q", method, term, quantity)
	return math.NaN()
}

// near fails unless got is within a relative tolerance of want (absolute
// below 1e-9 of magnitude).
func near(t testing.TB, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) <= rel*math.Max(math.Abs(want), 1e-9) {
		return
	}
	t.Errorf("%s = %.12g, want %.12g (relative difference %.2g)", what, got, want, math.Abs(got-want)/math.Abs(want))
}

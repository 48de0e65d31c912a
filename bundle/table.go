package bundle

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/fault"
)

// Field describes a column as Frictionless Table Schema v1 does. Unit is
// UCUM, an addition that the standard allows.
type Field struct {
	Name        string       `json:"name"`
	Type        string       `json:"type"`
	Format      string       `json:"format,omitempty"`
	Description string       `json:"description,omitempty"`
	Unit        string       `json:"unit,omitempty"`
	Constraints *Constraints `json:"constraints,omitempty"`
}

// Constraints of a column's values.
type Constraints struct {
	Required bool     `json:"required,omitempty"`
	Unique   bool     `json:"unique,omitempty"`
	Minimum  *float64 `json:"minimum,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

// column is one column of a table whose rows are T: one declaration gives
// the schema, the writer and the reader.
type column[T any] struct {
	Field
	get func(*T) (string, error)
	set func(*T, string) error
}

func (c column[T]) unit(ucum string) column[T] { c.Unit = ucum; return c }

func (c column[T]) constrained(change func(*Constraints)) column[T] {
	k := Constraints{}
	if c.Constraints != nil {
		k = *c.Constraints
	}
	change(&k)
	c.Constraints = &k
	return c
}

func (c column[T]) required() column[T] {
	return c.constrained(func(k *Constraints) { k.Required = true })
}

func (c column[T]) unique() column[T] {
	return c.constrained(func(k *Constraints) { k.Unique = true })
}

func (c column[T]) least(v float64) column[T] {
	return c.constrained(func(k *Constraints) { k.Minimum = &v })
}

func oneOf[T any, S ~string](c column[T], words ...S) column[T] {
	return c.constrained(func(k *Constraints) {
		for _, w := range words {
			k.Enum = append(k.Enum, string(w))
		}
	})
}

// check tells what is wrong with a cell by the constraints.
func (c *column[T]) check(cell string) error {
	k := c.Constraints
	switch {
	case k == nil:
	case cell == "" && k.Required:
		return errors.New("a value is needed here")
	case cell != "" && k.Enum != nil && !slices.Contains(k.Enum, cell):
		return fmt.Errorf("it must be one of %q", k.Enum)
	case cell != "" && k.Minimum != nil:
		if v, err := strconv.ParseFloat(cell, 64); err == nil && v < *k.Minimum {
			return fmt.Errorf("it must not be below %v", *k.Minimum)
		}
	}
	return nil
}

func text[T any, S ~string](name, about string, at func(*T) *S) column[T] {
	return column[T]{Field{Name: name, Type: "string", Description: about},
		func(row *T) (string, error) { return guard(string(*at(row))), nil },
		func(row *T, cell string) error { *at(row) = S(strings.Clone(unguard(cell))); return nil }}
}

func integer[T any, I ~int | ~int64](name, about string, at func(*T) *I) column[T] {
	return column[T]{Field{Name: name, Type: "integer", Description: about},
		func(row *T) (string, error) { return strconv.FormatInt(int64(*at(row)), 10), nil },
		func(row *T, cell string) error {
			v, err := strconv.ParseInt(cell, 10, 64)
			if err != nil {
				return errors.New("expected a whole number")
			}
			if int64(I(v)) != v {
				return errors.New("the number is too large")
			}
			*at(row) = I(v)
			return nil
		}}
}

func number[T any](name, about string, at func(*T) *float64) column[T] {
	return column[T]{Field{Name: name, Type: "number", Description: about},
		func(row *T) (string, error) { return formatNumber(*at(row)) },
		func(row *T, cell string) (err error) { *at(row), err = parseNumber(cell); return err }}
}

// maybeNumber is a number that may be unknown: an empty cell.
func maybeNumber[T any](name, about string, at func(*T) **float64) column[T] {
	return column[T]{Field{Name: name, Type: "number", Description: about},
		func(row *T) (string, error) {
			if *at(row) == nil {
				return "", nil
			}
			return formatNumber(**at(row))
		},
		func(row *T, cell string) error {
			if cell == "" {
				return nil
			}
			v, err := parseNumber(cell)
			*at(row) = &v
			return err
		}}
}

func formatNumber(v float64) (string, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "", errors.New("the number is not finite")
	}
	return strconv.FormatFloat(v, 'g', -1, 64), nil
}

func parseNumber(cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, errors.New("expected a number, with a decimal point")
	}
	return v, nil
}

func yesNo[T any](name, about string, at func(*T) *bool) column[T] {
	return column[T]{Field{Name: name, Type: "boolean", Description: about},
		func(row *T) (string, error) { return strconv.FormatBool(*at(row)), nil },
		func(row *T, cell string) error {
			switch cell {
			case "true", "True", "TRUE", "1": // the standard's true values
				*at(row) = true
			case "false", "False", "FALSE", "0":
				*at(row) = false
			default:
				return errors.New("expected true or false")
			}
			return nil
		}}
}

// instant is a time with its offset from UTC, RFC 3339. The standard's
// default datetime is UTC only, hence format "any".
func instant[T any](name, about string, at func(*T) *time.Time) column[T] {
	return column[T]{Field{Name: name, Type: "datetime", Format: "any", Description: about + " (RFC 3339)"},
		func(row *T) (string, error) { return formatTime(*at(row)), nil },
		func(row *T, cell string) (err error) { *at(row), err = parseTime(cell); return err }}
}

// list is a JSON array in a cell.
func list[T, E any](name, about string, at func(*T) *[]E) column[T] {
	return column[T]{Field{Name: name, Type: "array", Description: about + " (JSON array)"},
		func(row *T) (string, error) {
			if len(*at(row)) == 0 {
				return "", nil
			}
			b, err := json.Marshal(*at(row))
			return string(b), err
		},
		func(row *T, cell string) error {
			if cell == "" {
				return nil
			}
			if err := json.Unmarshal([]byte(cell), at(row)); err != nil {
				return errors.New("expected a JSON array")
			}
			return nil
		}}
}

func formatTime(t time.Time) string {
	switch {
	case t.IsZero():
		return ""
	case t.Nanosecond()%1000 == 0:
		return t.Format("2006-01-02T15:04:05.000000Z07:00")
	}
	return t.Format(time.RFC3339Nano)
}

func parseTime(cell string) (time.Time, error) {
	if cell == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, cell)
	if err != nil {
		return t, errors.New("expected a time such as 2026-05-01T14:03:07.250000+02:00")
	}
	if _, offset := t.Zone(); offset == 0 {
		t = t.UTC()
	}
	return t, nil
}

// table is the declaration of a CSV file of a package.
type table[T any] struct {
	name, title, about string
	columns            []column[T]
	primaryKey         []string
	foreignKeys        []ForeignKey
}

func (t *table[T]) path() string { return t.name + ".csv" }

// write returns the file of some rows.
func (t *table[T]) write(rows []T) ([]byte, error) {
	cells := make([]string, len(t.columns))
	for i, c := range t.columns {
		cells[i] = c.Name
	}
	b := appendRecord(nil, cells)
	for r := range rows {
		for i := range t.columns {
			c := &t.columns[i]
			cell, err := c.get(&rows[r])
			if err == nil {
				err = c.check(cell)
			}
			if err != nil {
				return nil, t.bad(r+1, c.Name, cell, err)
			}
			cells[i] = cell
		}
		b = appendRecord(b, cells)
	}
	return b, nil
}

// read returns the rows of a file. Columns may stand in any order; one that
// this version does not know is left alone.
func (t *table[T]) read(b []byte) ([]T, error) {
	r := newCSVReader(t.path(), b)
	header, err := r.next(nil)
	if err != nil {
		return nil, err
	}
	header = slices.Clone(header)
	at := make([]int, len(t.columns))
	for i, c := range t.columns {
		if at[i] = slices.Index(header, c.Name); at[i] < 0 {
			return nil, fault.New("csv-column", "the table has no column %q", c.Name).In(t.path()).On(c.Name, "").
				WithFix("the first row must name the columns %s", t.columnNames())
		}
	}
	seen := make([]map[string]bool, len(t.columns))
	var rows []T
	var cells []string
	for n := 1; ; n++ {
		line := r.line
		if cells, err = r.next(cells); err != nil {
			return nil, err
		}
		if cells == nil {
			return rows, nil
		}
		if len(cells) != len(header) {
			return nil, fault.New("csv-cells", "the row has %d cells, and the table has %d columns", len(cells), len(header)).
				In(t.path()).At(line, 0).AtRow(n).WithFix("give every row a cell for each column")
		}
		var row T
		for i := range t.columns {
			c := &t.columns[i]
			cell := cells[at[i]]
			err := c.check(cell)
			if err == nil {
				err = c.set(&row, cell)
			}
			if err == nil && c.Constraints != nil && c.Constraints.Unique && cell != "" {
				if seen[i] == nil {
					seen[i] = map[string]bool{}
				}
				if seen[i][cell] {
					err = errors.New("another row has this value already")
				}
				seen[i][cell] = true
			}
			if err != nil {
				return nil, t.bad(n, c.Name, cell, err).At(line, 0)
			}
		}
		rows = append(rows, row)
	}
}

func (t *table[T]) bad(row int, column, cell string, err error) *fault.Error {
	return fault.New("csv-value", "%s", err).In(t.path()).AtRow(row).On(column, cell).
		WithFix("the column's type and limits stand in datapackage.json")
}

func (t *table[T]) columnNames() []string {
	out := make([]string, len(t.columns))
	for i, c := range t.columns {
		out[i] = c.Name
	}
	return out
}

func (t *table[T]) schema() Schema {
	s := Schema{MissingValues: []string{""}, PrimaryKey: t.primaryKey, ForeignKeys: t.foreignKeys}
	for _, c := range t.columns {
		s.Fields = append(s.Fields, c.Field)
	}
	return s
}

func (t *table[T]) resource(b []byte) Resource {
	return newResource(t.name, t.path(), t.title, t.about, t.schema(), len(b), hashOf(b))
}

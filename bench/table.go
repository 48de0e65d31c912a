package bench

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/stats"
)

// DataTable is a rectangular text table with a header, as a spreadsheet
// saves it.
type DataTable struct {
	Name    string // file name, for messages
	Columns []string
	Rows    [][]string
	Lines   []int // line of each row in the file
	Comma   rune
}

// ReadTable reads a CSV table: comma, semicolon or tab, told from its first
// line; lines that begin with # are comments.
func ReadTable(name string, r io.Reader) (*DataTable, error) {
	limit := &rowLimit{r: r, left: mostRowBytes}
	br := bufio.NewReaderSize(limit, 64<<10)
	head, _ := br.Peek(64 << 10)
	if bytes.HasPrefix(head, []byte("\xef\xbb\xbf")) {
		br.Discard(3)
		head = head[3:]
	}
	if bytes.IndexByte(head, 0) >= 0 {
		return nil, fault.New("table-binary", "this is not a text table").In(name).WithFix("save it as CSV")
	}
	t := &DataTable{Name: name, Comma: sniffComma(head)}
	cr := csv.NewReader(br)
	cr.Comma, cr.Comment, cr.TrimLeadingSpace = t.Comma, '#', true
	cr.ReuseRecord = false
	for {
		limit.left = mostRowBytes
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var pe *csv.ParseError
			if errors.As(err, &pe) {
				f := fault.New("table-shape", "%s", pe.Err).In(name).At(pe.Line, pe.Column)
				if errors.Is(pe.Err, csv.ErrFieldCount) {
					f = fault.New("table-shape", "this row has another number of columns than the header (%d)", len(t.Columns)).
						In(name).At(pe.Line, 0).WithFix("complete the row, or quote the cell that contains the separator")
				}
				return nil, f
			}
			if errors.Is(err, errLongRow) {
				return nil, fault.New("row-too-long", "a row is longer than %d MiB", mostRowBytes>>20).In(name).AtRow(len(t.Rows) + 1).
					WithFix("look for a quote that does not close, or a file without line ends")
			}
			return nil, fault.New("table-read", "the table could not be read").In(name).Wrap(err)
		}
		for i := range rec {
			rec[i] = strings.TrimSpace(rec[i])
		}
		line, _ := cr.FieldPos(0)
		if t.Columns == nil {
			t.Columns = rec
			continue
		}
		t.Rows, t.Lines = append(t.Rows, rec), append(t.Lines, line)
	}
	if len(t.Columns) == 0 || len(t.Rows) == 0 {
		return nil, fault.New("table-empty", "the table has no rows").In(name).WithFix("give a header line and one row a measurement")
	}
	for i, c := range t.Columns {
		if slices.Contains(t.Columns[:i], c) {
			return nil, fault.New("column-twice", "two columns are called %q", c).In(name).At(1, 0).WithFix("give each column its own name")
		}
	}
	return t, nil
}

// mostRowBytes bounds what is held of one row, so that a file without line
// ends, or with a quote that never closes, is refused before it fills memory.
const mostRowBytes = 1 << 20

var errLongRow = errors.New("row too long")

// rowLimit ends a reader that gives more than left bytes; whoever reads rows
// sets left anew before each.
type rowLimit struct {
	r    io.Reader
	left int
}

func (l *rowLimit) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errLongRow
	}
	n, err := l.r.Read(p[:min(len(p), l.left)])
	l.left -= n
	return n, err
}

// sniffComma takes the separator that occurs most often in the first line
// that is no comment.
func sniffComma(head []byte) rune {
	for line := range bytes.Lines(head) {
		if len(bytes.TrimSpace(line)) == 0 || line[0] == '#' {
			continue
		}
		best, most := ',', 0
		for _, c := range []rune{',', ';', '\t'} {
			if n := bytes.Count(line, []byte(string(c))); n > most {
				best, most = c, n
			}
		}
		return best
	}
	return ','
}

// Column returns the index of a column.
func (t *DataTable) Column(flag, name string) (int, error) {
	if i := slices.Index(t.Columns, name); i >= 0 {
		return i, nil
	}
	for i, c := range t.Columns {
		if strings.EqualFold(c, name) {
			return i, nil
		}
	}
	return 0, fault.BadUsage("column-unknown", "the table has no column %q", name).In(t.Name).On(flag, name).
		WithFix("it has %s", strings.Join(t.Columns, ", "))
}

// Keep returns the rows whose column equals the value: "temp=205".
func (t *DataTable) Keep(condition string) (*DataTable, error) {
	name, value, ok := strings.Cut(condition, "=")
	if !ok {
		return nil, fault.BadUsage("where", "a condition is written column=value").On("--where", condition)
	}
	col, err := t.Column("--where", strings.TrimSpace(name))
	if err != nil {
		return nil, err
	}
	value = strings.TrimSpace(value)
	out := &DataTable{Name: t.Name, Columns: t.Columns, Comma: t.Comma}
	var levels []string
	for i, r := range t.Rows {
		if r[col] == value || sameNumber(r[col], value) {
			out.Rows, out.Lines = append(out.Rows, r), append(out.Lines, t.Lines[i])
		}
		if len(levels) < 20 && !slices.Contains(levels, r[col]) {
			levels = append(levels, r[col])
		}
	}
	if len(out.Rows) == 0 {
		return nil, fault.BadUsage("where", "no row has %s = %s", name, value).In(t.Name).On("--where", condition).
			WithFix("the column has %s", strings.Join(levels, ", "))
	}
	return out, nil
}

func sameNumber(a, b string) bool {
	x, err := strconv.ParseFloat(a, 64)
	if err != nil {
		return false
	}
	y, err := strconv.ParseFloat(b, 64)
	return err == nil && x == y
}

// Fields names the columns of a comparison.
type Fields struct {
	Response, Treatment, Block, Piece string
	Also, Covariates                  []string
}

// missing tells a cell that stands for no measurement.
func missing(s string) bool {
	switch strings.ToLower(s) {
	case "", "na", "n/a", "nan", "null", "-", "--", ".":
		return true
	}
	return false
}

// Stats turns the named columns into a table for comparison. Rows without a
// response are left out and counted; a response that is no number is an
// error.
func (t *DataTable) Stats(f Fields) (stats.Table, []fault.Note, error) {
	var out stats.Table
	out.ResponseName, out.TreatmentName, out.BlockName, out.PieceName = f.Response, f.Treatment, f.Block, f.Piece
	cols := map[string]int{}
	need := func(flag, name string) error {
		if name == "" {
			return nil
		}
		i, err := t.Column(flag, name)
		cols[name] = i
		return err
	}
	for _, x := range [][2]string{{"--response", f.Response}, {"--treatment", f.Treatment}, {"--block", f.Block}, {"--piece", f.Piece}} {
		if err := need(x[0], x[1]); err != nil {
			return out, nil, err
		}
	}
	for _, n := range f.Also {
		if err := need("--also", n); err != nil {
			return out, nil, err
		}
		out.Factors = append(out.Factors, stats.Column{Name: n})
	}
	for _, n := range f.Covariates {
		if err := need("--covariate", n); err != nil {
			return out, nil, err
		}
		out.Covariates = append(out.Covariates, stats.Covariate{Name: n})
	}
	left := 0
	for i, r := range t.Rows {
		cell := r[cols[f.Response]]
		if missing(cell) {
			left++
			continue
		}
		y, err := t.number(cell, f.Response, i)
		if err != nil {
			return out, nil, err
		}
		out.Response = append(out.Response, y)
		out.Treatment = append(out.Treatment, r[cols[f.Treatment]])
		if f.Block != "" {
			out.Block = append(out.Block, r[cols[f.Block]])
		}
		if f.Piece != "" {
			out.Piece = append(out.Piece, r[cols[f.Piece]])
		}
		for k := range out.Factors {
			out.Factors[k].Labels = append(out.Factors[k].Labels, r[cols[f.Also[k]]])
		}
		for k := range out.Covariates {
			x, err := t.number(r[cols[f.Covariates[k]]], f.Covariates[k], i)
			if err != nil {
				return out, nil, err
			}
			out.Covariates[k].Values = append(out.Covariates[k].Values, x)
		}
	}
	var notes []fault.Note
	if left > 0 {
		notes = append(notes, fault.Notef("rows-without-response", "%d of %d rows have no %s and are left out", left, len(t.Rows), f.Response))
	}
	return out, notes, nil
}

// number reads a cell as a finite number; a decimal comma is understood
// where the comma does not separate columns.
func (t *DataTable) number(cell, column string, row int) (float64, error) {
	s := cell
	if t.Comma != ',' && strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	y, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(y, 0) || math.IsNaN(y) {
		return 0, fault.New("not-a-number", "this is not a number").In(t.Name).At(t.Lines[row], 0).AtRow(row+1).On(column, cell).
			WithFix("write a plain number, or leave the cell empty if there was no measurement")
	}
	return y, nil
}

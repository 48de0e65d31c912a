package logfile

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/fault"
)

// openDocument writes a sheet of an OpenDocument spreadsheet (OASIS
// OpenDocument 1.3, part 3, sections 9 and 19: table:table-row,
// table:table-cell, office:value) as CSV. Only content.xml is read, as a
// stream; what the archive claims to unpack to is not trusted.
func openDocument(z *archive, want part, w io.Writer, limits Limits, account *Account) error {
	bad := func(err error) error {
		return fault.New("log-workbook", "the spreadsheet cannot be read").WithFix("save the sheet as CSV").Wrap(err)
	}
	block, err := want.window()
	if err != nil {
		return err
	}
	d, err := z.xml("content.xml")
	if err != nil {
		return bad(err)
	}
	defer d.Close()
	s := &odsSheet{out: bufio.NewWriterSize(w, 64<<10), limits: limits, block: block}
	var names []string
	found := false
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			if fault.As(err) != nil {
				return err
			}
			return bad(err)
		}
		start, ok := t.(xml.StartElement)
		if !ok || start.Name.Local != "table" || !strings.Contains(start.Name.Space, ":table:") {
			continue
		}
		name := xmlAttr(start, "name")
		names = append(names, name)
		if found || want.sheet != "" && name != want.sheet {
			if err := d.Skip(); err != nil {
				if fault.As(err) != nil {
					return err
				}
				return bad(err)
			}
			continue
		}
		s.name = name
		if err := s.read(d); err != nil {
			if fault.As(err) != nil {
				return err
			}
			return bad(err)
		}
		found = s.rows > 0 || want.sheet != ""
		if found {
			want.sheet = name
		}
	}
	switch {
	case !found && want.sheet != "":
		return noSheet(want.sheet, names)
	case s.rows == 0:
		return fault.New("log-empty", "the spreadsheet has no sheet with cells")
	}
	if others := slices.DeleteFunc(names, func(n string) bool { return n == want.sheet }); len(others) > 0 {
		account.note("log-sheet", "sheet %q was read, the others (%s) were not", want.sheet, strings.Join(others, ", "))
	}
	return s.out.Flush()
}

// odsSheet writes the rows of one table.
type odsSheet struct {
	name   string
	out    *bufio.Writer
	limits Limits
	block  window
	row    int // of the sheet, from 1
	rows   int // written
	cells  []string
}

// mostRepeats bounds a row that is written many times over: a sheet of one
// repeated row is a bomb, or a format painted down to its end.
const mostRepeats = 1 << 20

func (s *odsSheet) read(d *xmlReader) error {
	for {
		t, err := d.Token()
		if err != nil {
			return err
		}
		switch e := t.(type) {
		case xml.EndElement:
			if e.Name.Local == "table" {
				return nil
			}
		case xml.StartElement:
			if e.Name.Local != "table-row" {
				continue // row groups and header rows are passed through
			}
			n := repeats(xmlAttr(e, "number-rows-repeated"))
			if err := s.readRow(d); err != nil {
				return err
			}
			if len(s.cells) == 0 {
				s.row += n
				continue
			}
			if n > mostRepeats {
				return fault.New("log-size", "one row of the spreadsheet is repeated %d times", n).WithFix("save the sheet as CSV")
			}
			for range n {
				s.row++
				if in, _ := s.block.holds(s.row); !in {
					continue
				}
				if cells := s.block.cut(s.cells); len(cells) > 0 {
					if err := writeRow(s.out, cells); err != nil {
						return err
					}
					s.rows++
				}
			}
		}
	}
}

func repeats(s string) int {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		return 1
	}
	return n
}

// readRow collects the cells of a row; empty ones at its end are left out.
func (s *odsSheet) readRow(d *xmlReader) error {
	s.cells = s.cells[:0]
	empty, size := 0, 0
	for {
		t, err := d.Token()
		if err != nil {
			return err
		}
		switch e := t.(type) {
		case xml.EndElement:
			if e.Name.Local == "table-row" {
				return nil
			}
		case xml.StartElement:
			if e.Name.Local != "table-cell" && e.Name.Local != "covered-table-cell" {
				if err := d.Skip(); err != nil {
					return err
				}
				continue
			}
			n := repeats(xmlAttr(e, "number-columns-repeated"))
			text, err := odsText(d)
			if err != nil {
				return err
			}
			v := odsValue(e, text)
			if v == "" {
				empty = min(empty+n, s.limits.MaxColumns)
				continue
			}
			if len(s.cells)+empty+n > s.limits.MaxColumns {
				return fault.New("log-columns", "a row of the sheet has more than %d columns", s.limits.MaxColumns)
			}
			if size += n * len(v); size > s.limits.MaxLine {
				return longRow(s.name, s.row+1, s.limits.MaxLine)
			}
			for range empty {
				s.cells = append(s.cells, "")
			}
			empty = 0
			for range n {
				s.cells = append(s.cells, v)
			}
		}
	}
}

// odsText gathers the paragraphs of a cell, up to its end.
func odsText(d *xmlReader) (string, error) {
	var b strings.Builder
	depth := 0
	for {
		t, err := d.Token()
		if err != nil {
			return "", err
		}
		switch e := t.(type) {
		case xml.StartElement:
			if e.Name.Local == "annotation" {
				if err := d.Skip(); err != nil {
					return "", err
				}
				continue
			}
			if e.Name.Local == "p" && b.Len() > 0 {
				b.WriteByte('\n')
			}
			depth++
		case xml.EndElement:
			if depth == 0 {
				return b.String(), nil
			}
			depth--
		case xml.CharData:
			if depth > 0 {
				b.Write(bytes.TrimRight(e, "\r\n"))
			}
			if b.Len() > mostCellBytes {
				return "", longCell()
			}
		}
	}
}

// odsValue is a cell's value as text: numbers as stored, times in forms that
// the table reader knows, else what the cell shows.
func odsValue(e xml.StartElement, shown string) string {
	switch xmlAttr(e, "value-type") {
	case "float", "currency", "percentage":
		return sheetNumber(xmlAttr(e, "value"))
	case "date":
		return strings.Replace(xmlAttr(e, "date-value"), "T", " ", 1)
	case "time":
		if t := strings.TrimPrefix(xmlAttr(e, "time-value"), "PT"); t != "" {
			x, err := time.ParseDuration(strings.ToLower(strings.ReplaceAll(t, ",", ".")))
			if err == nil {
				ms := x.Milliseconds()
				out := pad(ms/3600000) + ":" + pad(ms/60000%60) + ":" + pad(ms/1000%60)
				if ms%1000 != 0 {
					out += "." + strconv.FormatInt(1000+ms%1000, 10)[1:]
				}
				return out
			}
		}
	}
	return shown
}

func pad(v int64) string {
	if v < 10 {
		return "0" + strconv.FormatInt(v, 10)
	}
	return strconv.FormatInt(v, 10)
}

package bundle

import (
	"strings"

	"trivet/cells"
	"trivet/fault"
)

// The tables of a package are RFC 4180 CSV: comma, CRLF, quotes doubled, a
// header row, UTF-8 without a byte order mark. encoding/csv is not used to
// read them because it turns a CR LF inside a quoted cell into LF.

// appendRecord writes one record.
func appendRecord(b []byte, cells []string) []byte {
	for i, c := range cells {
		if i > 0 {
			b = append(b, ',')
		}
		if !strings.ContainsAny(c, "\",\r\n") && (c != "" || len(cells) > 1) {
			b = append(b, c...)
			continue
		}
		b = append(b, '"')
		for {
			k := strings.IndexByte(c, '"')
			if k < 0 {
				break
			}
			b = append(append(b, c[:k+1]...), '"')
			c = c[k+1:]
		}
		b = append(append(b, c...), '"')
	}
	return append(b, '\r', '\n')
}

// csvReader reads records strictly. Cells share the memory of the file.
type csvReader struct {
	file string
	rest string
	line int // of the record read next, from 1
	row  int // records read, the header included
	cell strings.Builder
}

func newCSVReader(file string, b []byte) *csvReader {
	return &csvReader{file: file, rest: string(b), line: 1}
}

// next reads one record into cells, which is reused. It returns nil at the
// end. A last record without a line end is accepted, and LF for CRLF: a
// spreadsheet or an editor may have written the file.
func (r *csvReader) next(cells []string) ([]string, error) {
	if len(r.rest) == 0 {
		return nil, nil
	}
	cells = cells[:0]
	bad := func(says, fix string) ([]string, error) {
		return nil, fault.New("csv-form", "%s", says).In(r.file).At(r.line, 0).AtRow(r.row).WithFix("%s", fix)
	}
	lines := 0
	for {
		var ended bool
		if len(r.rest) > 0 && r.rest[0] == '"' {
			r.cell.Reset()
			i := 1
			for {
				k := i
				for k < len(r.rest) && r.rest[k] != '"' {
					if r.rest[k] == '\n' {
						lines++
					}
					k++
				}
				if k == len(r.rest) {
					return bad("a quoted cell does not end", `close it with "`)
				}
				r.cell.WriteString(r.rest[i:k])
				if k+1 < len(r.rest) && r.rest[k+1] == '"' {
					r.cell.WriteByte('"')
					i = k + 2
					continue
				}
				r.rest = r.rest[k+1:]
				break
			}
			cells = append(cells, r.cell.String())
			switch {
			case len(r.rest) == 0 || r.rest[0] == '\n':
				ended = true
			case r.rest[0] == ',':
			case len(r.rest) > 1 && r.rest[0] == '\r' && r.rest[1] == '\n':
				r.rest = r.rest[1:]
				ended = true
			default:
				return bad("something follows the closing quote of a cell", `double the quotes inside a quoted cell`)
			}
		} else {
			k := 0
			for k < len(r.rest) && r.rest[k] != ',' && r.rest[k] != '\n' {
				if r.rest[k] == '"' {
					return bad("a quote stands in a cell that is not quoted", `quote the whole cell and double the quotes inside`)
				}
				k++
			}
			ended = k == len(r.rest) || r.rest[k] == '\n'
			c := r.rest[:k]
			if ended && k > 0 && c[k-1] == '\r' && k < len(r.rest) {
				c = c[:k-1]
			}
			cells = append(cells, c)
			r.rest = r.rest[k:]
		}
		if len(r.rest) > 0 {
			r.rest = r.rest[1:] // the comma or the line feed
		}
		if ended {
			r.line += lines + 1
			r.row++
			return cells, nil
		}
	}
}

// guard and unguard keep a spreadsheet from taking a text cell for a formula.
// Numbers are never guarded.
func guard(text string) string { return cells.Guard(text) }

func unguard(cell string) string { return cells.Unguard(cell) }

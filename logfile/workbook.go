package logfile

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"trivet/fault"
)

// workbook writes a sheet as CSV, the first that has cells unless one is
// named. Its rows are written as they come; dates stay spreadsheet days.
func (s *source) workbook(text io.Reader, w io.Writer, limits Limits, want part) error {
	at, size, done, err := s.random(text, "workbook", limits)
	defer done()
	if err != nil {
		return err
	}
	z, err := openArchive(at, size, limits)
	if err != nil {
		return err
	}
	if z.has(func(name string) bool { return name == "content.xml" }) {
		return openDocument(z, want, w, limits, s.account)
	}
	block, err := want.window()
	if err != nil {
		return err
	}
	if !z.has(func(name string) bool { return strings.HasPrefix(name, "xl/") }) {
		return fault.New("log-packed", "this is a zip archive, and a text table or a workbook is read here").WithFix("unpack the archive")
	}
	book, err := openXLSX(z, s.scratch)
	if err != nil {
		return bookFault(err, "the workbook cannot be read")
	}
	defer book.texts.close()
	var names []string
	for _, s := range book.sheets {
		names = append(names, s.name)
	}
	if want.sheet != "" && !slices.Contains(names, want.sheet) {
		return noSheet(want.sheet, names)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	for i, sheet := range book.sheets {
		if want.sheet != "" && sheet.name != want.sheet {
			continue
		}
		any := false
		err := book.rows(sheet, limits, func(row int, cells []string) (bool, error) {
			in, after := block.holds(row)
			if cells = block.cut(cells); in && len(cells) > 0 {
				any = true
				if err := writeRow(out, cells); err != nil {
					return false, err
				}
			}
			return !after, nil
		})
		if err != nil {
			return bookFault(err, fmt.Sprintf("sheet %q of the workbook cannot be read", sheet.name))
		}
		if any {
			if i+1 < len(names) && want.sheet == "" {
				s.account.note("log-sheet", "sheet %q was read, the others (%s) were not", sheet.name, strings.Join(names[i+1:], ", "))
			}
			if book.from904 {
				s.account.note("log-1904", "the workbook counts its days from 1904: dates in it are read 1462 days early; export the log as CSV, or move the times")
			}
			return out.Flush()
		}
	}
	return fault.New("log-empty", "the workbook has no sheet with cells")
}

// bookFault keeps an error of ours and says of any other what cannot be read.
func bookFault(err error, says string) error {
	if fault.As(err) != nil {
		return err
	}
	return fault.New("log-workbook", "%s", says).WithFix("save the sheet as CSV").Wrap(err)
}

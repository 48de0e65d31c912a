package logfile

import (
	"archive/zip"
	"bufio"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"trivet/fault"
)

// mostWorkbookBytes bounds a workbook, which is read into memory whole.
const mostWorkbookBytes = 64 << 20

// mostUnpackedBytes bounds what a workbook unpacks to.
const mostUnpackedBytes = 512 << 20

// workbook writes a sheet as CSV, the first that has cells unless one is
// named. Numbers are written
// to 15 digits, as spreadsheets show them; dates stay spreadsheet days.
func workbook(r io.Reader, w io.Writer, limits Limits, want part, account *Account) error {
	most := min(limits.MaxBytes, mostWorkbookBytes)
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return readFault(err)
	}
	if int64(len(b)) > most {
		return fault.New("log-size", "the workbook has more than %d bytes", most).WithFix("save the sheet as CSV")
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil && !bytes.Contains(b, []byte("xl/")) && !bytes.Contains(b, []byte("content.xml")) {
		return fault.New("log-packed", "this is a zip archive, and a text table or a workbook is read here").WithFix("unpack the archive")
	}
	if err != nil {
		return fault.New("log-workbook", "the file begins as a workbook (a zip archive) and cannot be unpacked").WithFix("save the sheet as CSV").Wrap(err)
	}
	if slices.ContainsFunc(z.File, func(f *zip.File) bool { return f.Name == "content.xml" }) {
		return openDocument(z, want, w, limits, account)
	}
	block, err := want.window()
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(z.File, func(f *zip.File) bool { return strings.HasPrefix(f.Name, "xl/") }) {
		return fault.New("log-packed", "this is a zip archive, and a text table or a workbook is read here").WithFix("unpack the archive")
	}
	book, err := openXLSX(z, min(limits.MaxBytes, mostUnpackedBytes))
	if err != nil {
		return bookFault(err, "the workbook cannot be read")
	}
	var names []string
	for _, s := range book.sheets {
		names = append(names, s.name)
	}
	if want.sheet != "" && !slices.Contains(names, want.sheet) {
		return noSheet(want.sheet, names)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	for i, s := range book.sheets {
		if want.sheet != "" && s.name != want.sheet {
			continue
		}
		any := false
		err := book.rows(s, limits.MaxColumns, func(row int, cells []string) (bool, error) {
			in, after := block.holds(row)
			if cells = block.cut(cells); in && len(cells) > 0 {
				any = true
				writeRow(out, cells)
			}
			return !after, nil
		})
		if err != nil {
			return bookFault(err, fmt.Sprintf("sheet %q of the workbook cannot be read", s.name))
		}
		if any {
			if i+1 < len(names) && want.sheet == "" {
				account.note("log-sheet", "sheet %q was read, the others (%s) were not", s.name, strings.Join(names[i+1:], ", "))
			}
			if book.from904 {
				account.note("log-1904", "the workbook counts its days from 1904: dates in it are read 1462 days early; export the log as CSV, or move the times")
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

package logfile

import (
	"archive/zip"
	"bufio"
	"bytes"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

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
	// Both limits alike keep the library from unpacking to temporary files.
	unpacked := min(limits.MaxBytes, mostUnpackedBytes)
	f, err := excelize.OpenReader(bytes.NewReader(b), excelize.Options{RawCellValue: true, UnzipSizeLimit: unpacked, UnzipXMLSizeLimit: unpacked})
	if err != nil {
		return fault.New("log-workbook", "the workbook cannot be read").WithFix("save the sheet as CSV").Wrap(err)
	}
	defer f.Close()
	out := bufio.NewWriterSize(w, 64<<10)
	sheets := f.GetSheetList()
	if want.sheet != "" && !slices.Contains(sheets, want.sheet) {
		return noSheet(want.sheet, sheets)
	}
	for i, name := range sheets {
		if want.sheet != "" && name != want.sheet {
			continue
		}
		any, err := sheet(f, name, out, limits, block)
		if err != nil {
			return err
		}
		if any {
			if i+1 < len(sheets) && want.sheet == "" {
				account.note("log-sheet", "sheet %q was read, the others (%s) were not", name, strings.Join(sheets[i+1:], ", "))
			}
			return out.Flush()
		}
	}
	return fault.New("log-empty", "the workbook has no sheet with cells")
}

// sheet writes the rows of a sheet and tells whether it had any.
func sheet(f *excelize.File, name string, out *bufio.Writer, limits Limits, block window) (bool, error) {
	bad := func(err error) error {
		return fault.New("log-workbook", "sheet %q of the workbook cannot be read", name).WithFix("save the sheet as CSV").Wrap(err)
	}
	rows, err := f.Rows(name)
	if err != nil {
		return false, bad(err)
	}
	defer rows.Close()
	any, row := false, 0
	for rows.Next() {
		row++
		in, after := block.holds(row)
		if after {
			break
		}
		cells, err := rows.Columns()
		if err != nil {
			return any, bad(err)
		}
		if len(cells) > limits.MaxColumns {
			return any, fault.New("log-columns", "the sheet has %d columns, at most %d are read", len(cells), limits.MaxColumns)
		}
		if cells = block.cut(cells); !in || len(cells) == 0 {
			continue
		}
		any = true
		for i, c := range cells {
			// 21.300000000000001 in the file is 21.3 in the sheet.
			if v, err := strconv.ParseFloat(c, 64); err == nil && len(c) > 15 {
				cells[i] = strconv.FormatFloat(v, 'g', 15, 64)
			}
		}
		writeRow(out, cells)
	}
	if err := rows.Error(); err != nil {
		return any, bad(err)
	}
	return any, nil
}

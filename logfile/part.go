package logfile

import (
	"strings"

	"github.com/xuri/excelize/v2"

	"trivet/fault"
)

// part is what of a workbook is read: a sheet by name ("" the first with
// cells) and a block of cells such as "B3:F900" ("" all).
type part struct{ sheet, cells string }

// window is a block of cells, counted from 1; a zero end is open.
type window struct{ fromCol, fromRow, toCol, toRow int }

// window reads the block; "B3:" is open below and to the right.
func (p part) window() (window, error) {
	w := window{1, 1, 0, 0}
	if p.cells == "" {
		return w, nil
	}
	bad := func() error {
		return fault.BadUsage("log-range", "this is no block of cells").On("range", p.cells).WithFix(`write it as "B3:F900", or "B3:" for all below and right of B3`)
	}
	from, to, _ := strings.Cut(strings.ToUpper(strings.ReplaceAll(p.cells, "$", "")), ":")
	var err error
	if w.fromCol, w.fromRow, err = excelize.CellNameToCoordinates(from); err != nil {
		return w, bad()
	}
	if to != "" {
		if w.toCol, w.toRow, err = excelize.CellNameToCoordinates(to); err != nil || w.toCol < w.fromCol || w.toRow < w.fromRow {
			return w, bad()
		}
	}
	return w, nil
}

// holds tells whether a row, counted from 1, is in the block; after is true
// behind its end.
func (w window) holds(row int) (in, after bool) {
	after = w.toRow > 0 && row > w.toRow
	return row >= w.fromRow && !after, after
}

// cut takes the block's cells of a row.
func (w window) cut(cells []string) []string {
	if w.fromCol > 1 {
		if len(cells) < w.fromCol {
			return nil
		}
		cells = cells[w.fromCol-1:]
	}
	if n := w.toCol - w.fromCol + 1; w.toCol > 0 && len(cells) > n {
		cells = cells[:n]
	}
	return cells
}

// noSheet says that a sheet is not there.
func noSheet(name string, have []string) error {
	return fault.BadUsage("log-sheet", "the workbook has no sheet %q", name).On("sheet", name).WithFix("its sheets are: %s", strings.Join(have, ", "))
}

// Package cells writes the cells of tables for people who open them in a
// spreadsheet. A spreadsheet takes a cell that begins with =, +, - or @ (or
// hides one behind a tab or a return) for a formula, and a formula can fetch,
// send or run things (common practice, no source). Everything trivet exports
// as a table goes through [Guard], and what was guarded reads back as it was.
//
// Begin with [NewWriter]; [ReadAll] reads its tables back.
package cells

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"trivet/fault"
)

// dangerous are the first characters that Guard answers, the apostrophe among
// them so that taking one away always gives the text back.
const dangerous = "=+-@\t\r\n'"

// Guard keeps a spreadsheet from taking a text for a formula: it gets an
// apostrophe in front, which spreadsheets take as the sign of a text.
func Guard(text string) string {
	if text != "" && strings.IndexByte(dangerous, text[0]) >= 0 {
		return "'" + text
	}
	return text
}

// Unguard takes the apostrophe of Guard away. Other texts, such as 'tis, are
// left as they are.
func Unguard(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && strings.IndexByte(dangerous, cell[1]) >= 0 {
		return cell[1:]
	}
	return cell
}

// IsNumber tells a plain decimal number, which needs no guard: "-5.2" is no
// formula.
func IsNumber(cell string) bool {
	if cell == "" || strings.Trim(cell, "0123456789+-.eE") != "" {
		return false
	}
	_, err := strconv.ParseFloat(cell, 64)
	return err == nil
}

// Row guards the cells of a row that are no numbers.
func Row(row []string) []string {
	out := make([]string, len(row))
	for i, c := range row {
		if out[i] = c; !IsNumber(c) {
			out[i] = Guard(c)
		}
	}
	return out
}

// Writer writes CSV with guarded cells.
type Writer struct {
	// LF ends lines with a line feed alone, for pipes and terminals; without
	// it they end as RFC 4180, section 2, rule 1 has it.
	LF bool
	w  *csv.Writer
}

// NewWriter returns a writer to w.
func NewWriter(w io.Writer) *Writer { return &Writer{w: csv.NewWriter(w)} }

// WriteAll writes a header and rows and flushes. The error, if any, is the
// underlying writer's.
func (w *Writer) WriteAll(header []string, rows [][]string) error {
	w.w.UseCRLF = !w.LF
	if len(header) > 0 {
		w.w.Write(Row(header)) // an error stays with the writer until Flush
	}
	for _, r := range rows {
		w.w.Write(Row(r))
	}
	w.w.Flush()
	if err := w.w.Error(); err != nil {
		return fault.New("csv", "the table could not be written as CSV").Wrap(err)
	}
	return nil
}

// ReadAll reads a table that a Writer wrote, header and all, and takes the
// guards away.
func ReadAll(r io.Reader) ([][]string, error) {
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, fault.New("csv", "the table cannot be read as CSV").Wrap(err)
	}
	for _, row := range rows {
		for i, c := range row {
			row[i] = Unguard(c)
		}
	}
	return rows, nil
}

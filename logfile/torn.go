package logfile

import (
	"bytes"
	"math"
	"slices"
)

// dropTorn keeps out a last row that has no line end and too few cells: the
// log was cut off while it was written. It tells whether there was one.
func (t *Table) dropTorn() bool {
	last := t.Account.Rows
	for i, p := range t.Account.Problems {
		if p.Kind != ShortRow || p.LastRow != last {
			continue
		}
		if p.Row == p.LastRow {
			t.Account.Problems = slices.Delete(t.Account.Problems, i, i+1)
		} else {
			t.Account.Problems[i].LastRow--
		}
		t.Account.count(ShortRow, p.Column, -1)
		t.Account.add(Problem{Kind: CutOff, Row: last, Line: p.Line, Column: p.Column, Detail: "the file ends inside this row"})
		t.out = append(t.out, last)
		t.Rows--
		for i := range t.Columns {
			c := &t.Columns[i]
			c.Numbers = c.Numbers[:min(len(c.Numbers), t.Rows)]
			c.Times = c.Times[:min(len(c.Times), t.Rows)]
			c.Codes = c.Codes[:min(len(c.Codes), t.Rows)]
		}
		return true
	}
	return false
}

// lastRow copies the last row of a block that has no line end behind it.
func lastRow(block []byte, comma byte) []byte {
	return bytes.Clone(block[lastRowEnd(block, comma):])
}

// doubtTorn accounts for a last row that is whole but has no line end: its
// last cell may lack digits. A number that ends in its decimal sign surely
// does, and is missing; any other is kept.
func (t *Table) doubtTorn(row []byte, p *plan, line int) {
	last := t.Account.Rows
	if last == 0 || t.Rows == 0 || len(t.out) > 0 && t.out[len(t.out)-1] == last {
		return
	}
	cells, _, _, _ := splitRow(nil, row, p.comma)
	at := len(cells) - 1
	if at < 0 || at >= len(t.Columns) || t.Columns[at].Type == Skip {
		return
	}
	c, cell := &t.Columns[at], trimSpace(cells[at])
	doubt := Problem{Kind: MayBeCut, Row: last, Line: line, Column: c.Name, Value: toUTF8(cell),
		Detail: "the file ends without a line end"}
	if n := len(cell); n > 0 && cell[n-1] == p.columns[at].decimal && c.Type == Number {
		c.Numbers[t.Rows-1] = math.NaN()
		doubt.Detail += " behind a decimal sign; counted as missing"
	}
	t.Account.add(doubt)
	t.Account.note("log-may-be-cut", "the file ends without a line end: row %d may be cut off, its last cell (column %q) reads %q", last, c.Name, clip(toUTF8(cell)))
}

package logfile

import (
	"bytes"
	"math"

	"trivet/cells"
)

// plan is how the rows of a table are read: what was guessed or asked for.
type plan struct {
	comma   byte
	columns []columnPlan
	header  []byte // the header row, to know it when it is repeated
	maxLine int
	quoted  bool // a column's decimal sign is the delimiter: its cells are in quotes
	sparse  bool // empty cells at the end of a row are left out, as of a sheet
}

type columnPlan struct {
	name    string
	typ     Type
	form    TimeForm
	decimal byte
	unit    cellUnit // unit written behind the numbers of the column

	otherForm TimeForm // of dates whose order is not yet known; see settleOrder
}

// segment is what one worker made of one block of whole rows.
type segment struct {
	numbers   [][]float64
	times     [][]int64
	codes     [][]uint32
	levels    [][]string
	decimals  []int
	rows      int   // rows kept
	records   int   // rows read
	out       []int // records kept out, from 1 within the block
	empty     int
	account   Account // of problems; rows and lines counted within the block
	lines     int     // line ends in the block
	offset    int     // minutes from UTC, of the last time that told it
	hasOff    bool
	longest   int // record longer than the limit, 0 if none
	openQuote int // record whose quote does not close, 0 if none
}

// worker reads blocks by a plan. Its memory is reused between blocks.
type worker struct {
	*plan
	kinds  []byte // first letter of each column's type, for the inner loop
	points []byte // decimal sign of each column
	stops  [256]bool
	times  []timeParser
	others []timeParser // of the other order of day and month
	intern []map[string]uint32
	cells  [][]byte
	// Where lines were last counted to in the block.
	linePos, line int
}

func newWorker(p *plan) *worker {
	w := &worker{plan: p, times: make([]timeParser, len(p.columns)), others: make([]timeParser, len(p.columns)), intern: make([]map[string]uint32, len(p.columns))}
	w.stops[p.comma], w.stops['\n'], w.stops['\r'] = true, true, true
	for i, c := range p.columns {
		w.times[i] = timeParser{form: c.form, decimal: c.decimal}
		w.others[i] = timeParser{form: c.otherForm, decimal: c.decimal}
		w.kinds = append(w.kinds, c.typ[0])
		w.points = append(w.points, c.decimal)
	}
	return w
}

// block reads the rows of b, which ends with a line end.
func (w *worker) block(b []byte) *segment {
	n := len(w.columns)
	s := &segment{numbers: make([][]float64, n), times: make([][]int64, n), codes: make([][]uint32, n), levels: make([][]string, n), decimals: make([]int, n)}
	s.lines = bytes.Count(b, []byte{'\n'})
	for i, c := range w.columns { // as many rows as lines at most
		switch c.typ {
		case Number:
			s.numbers[i] = make([]float64, s.lines)
		case Time:
			s.times[i] = make([]int64, s.lines)
		case Text:
			s.codes[i] = make([]uint32, s.lines)
			w.intern[i] = map[string]uint32{}
		}
	}
	w.linePos, w.line = 0, 1
	hasQuotes := w.quoted || bytes.IndexByte(b, '"') >= 0
	for i := 0; i < len(b); {
		switch b[i] {
		case '\n':
			i++
			continue
		case '\r', ' ', '\t':
			if end := blankLine(b[i:], w.comma); end > 0 {
				i += end
				continue
			}
		}
		s.records++
		from := i
		if hasQuotes {
			i = w.quotedRow(s, b, i)
		} else {
			i = w.plainRow(s, b, i)
		}
		if i-from > w.maxLine && s.longest == 0 {
			s.longest = s.records
		}
	}
	for c := range w.columns {
		s.numbers[c] = s.numbers[c][:min(len(s.numbers[c]), s.rows)]
		s.times[c] = s.times[c][:min(len(s.times[c]), s.rows)]
		s.codes[c] = s.codes[c][:min(len(s.codes[c]), s.rows)]
	}
	return s
}

// plainRow reads a row without quotes at b[i] and returns the index of the
// next.
func (w *worker) plainRow(s *segment, b []byte, i int) int {
	row := i
	last := len(w.columns) - 1
	for c, kind := range w.kinds {
		switch kind {
		case 'n':
			v, next, decimals, ok := scanNumber(b, i, w.points[c])
			if ok && w.stops[b[next]] {
				s.numbers[c][s.rows] = v
				if decimals > s.decimals[c] {
					s.decimals[c] = decimals
				}
				i = next
			} else {
				end := w.cellEnd(b, i)
				if !w.slowNumber(s, c, b[i:end], b, row) {
					return w.dropHeader(s, b, row)
				}
				i = end
			}
		case 't': // time and text
			end := w.cellEnd(b, i)
			if !w.readCell(s, c, b[i:end], b, row) {
				return w.dropHeader(s, b, row)
			}
			i = end
		default:
			i = w.cellEnd(b, i)
		}
		if b[i] == '\r' && b[i+1] == '\n' {
			i++
		}
		if b[i] == w.comma {
			if c < last {
				i++
				continue
			}
			return w.longRow(s, b, i, row)
		}
		if c < last {
			w.shortRow(s, c+1, b, row)
		}
		break
	}
	if b[i] != '\n' { // a lone carriage return inside the row
		from := i
		for b[i] != '\n' {
			i++
		}
		if extra := trimSpace(b[from+1 : i]); len(extra) > 0 {
			w.problem(s, LongRow, -1, extra, b, row)
		}
	}
	s.rows++
	return i + 1
}

// cellEnd is the index of the delimiter or line end behind b[i].
func (w *worker) cellEnd(b []byte, i int) int {
	for b[i] != w.comma && b[i] != '\n' && !(b[i] == '\r' && b[i+1] == '\n') {
		i++
	}
	return i
}

// longRow ends a row that has more cells than columns; one empty cell more is
// a habit of some loggers and no problem.
func (w *worker) longRow(s *segment, b []byte, i, row int) int {
	end := i + bytes.IndexByte(b[i:], '\n')
	if extra := trimSpace(b[i+1 : end]); len(extra) > 0 {
		w.problem(s, LongRow, -1, extra, b, row)
	}
	s.rows++
	return end + 1
}

// quotedRow reads a row at b[i] by the full rules and returns the index of
// the next.
func (w *worker) quotedRow(s *segment, b []byte, i int) int {
	row := i
	cells, n, open, junk := splitRow(w.cells[:0], b[i:], w.comma)
	w.cells = cells
	if open && s.openQuote == 0 {
		s.openQuote = s.records
	}
	for c := range w.columns {
		if c >= len(cells) {
			w.shortRow(s, c, b, row)
			break
		}
		cell := cells[c]
		if !w.readCell(s, c, cell, b, row) {
			return w.dropHeader(s, b, row)
		}
	}
	if extra := len(cells) - len(w.columns); extra > 1 || extra == 1 && len(trimSpace(cells[len(cells)-1])) > 0 {
		w.problem(s, LongRow, -1, cells[len(w.columns)], b, row)
	}
	if junk {
		w.problem(s, BadQuote, -1, b[i:i+n], b, row)
	}
	s.rows++
	return i + n
}

// shortRow fills the columns from c on.
func (w *worker) shortRow(s *segment, c int, b []byte, row int) {
	if !w.sparse {
		w.problem(s, ShortRow, c, nil, b, row)
	}
	for ; c < len(w.columns); c++ {
		switch w.columns[c].typ {
		case Number:
			if s.numbers[c][s.rows] = math.NaN(); w.sparse {
				s.empty++
			}
		case Time:
			s.times[c][s.rows] = NoTime
			w.problem(s, NotATime, c, nil, b, row)
		case Text:
			w.text(s, c, nil)
		}
	}
}

// readCell reads a cell by the type of its column; false where the row turns
// out to be the header again.
func (w *worker) readCell(s *segment, c int, cell, b []byte, row int) bool {
	switch w.columns[c].typ {
	case Number:
		return w.slowNumber(s, c, cell, b, row)
	case Time:
		return w.time(s, c, cell, b, row)
	case Text:
		w.text(s, c, cell)
	}
	return true
}

// slowNumber reads a cell that is no plain number: padded, with an exponent,
// empty, with a unit, or nothing of the kind. It is false where the row turns
// out to be the header again.
func (w *worker) slowNumber(s *segment, c int, cell, b []byte, row int) bool {
	cell = trimSpace(cell)
	if len(cell) == 0 {
		s.empty++
		s.numbers[c][s.rows] = math.NaN()
		return true
	}
	v, decimals, ok := parseCell(cell, w.points[c])
	if !ok {
		if bare, unit := splitUnit(cell); unit != "" {
			if v, decimals, ok = parseCell(bare, w.points[c]); ok && unit != w.columns[c].unit {
				w.problem(s, MixedUnit, c, cell, b, row)
				s.numbers[c][s.rows] = math.NaN()
				return true
			}
		}
	}
	if !ok {
		if w.isHeader(b, row) {
			return false
		}
		kind := NotANumber
		if bytes.IndexByte(cell, 0) >= 0 {
			kind = NULBytes
		}
		w.problem(s, kind, c, cell, b, row)
		v = math.NaN()
	} else {
		s.decimals[c] = max(s.decimals[c], decimals)
		if decimals < 0 {
			s.decimals[c] = max(s.decimals[c], decimalsOf(v))
		}
	}
	s.numbers[c][s.rows] = v
	return true
}

// time reads a cell as a time; false where the row is the header again.
func (w *worker) time(s *segment, c int, cell, b []byte, row int) bool {
	p := &w.times[c]
	us, ok := p.parse(cell)
	if !ok && w.columns[c].otherForm != "" {
		us, ok = w.others[c].parse(cell)
		us += otherwise
	}
	if !ok {
		if w.isHeader(b, row) {
			return false
		}
		us = NoTime
		w.problem(s, NotATime, c, cell, b, row)
	}
	if p.hasOffset {
		s.offset, s.hasOff = p.offsetMin, true
	}
	s.times[c][s.rows] = us
	return true
}

func (w *worker) text(s *segment, c int, cell []byte) {
	code, ok := w.intern[c][string(cell)]
	if !ok {
		code = uint32(len(s.levels[c]))
		text := cells.Unguard(toUTF8(cell))
		w.intern[c][string(cell)] = code
		s.levels[c] = append(s.levels[c], text)
	}
	s.codes[c][s.rows] = code
}

func (w *worker) isHeader(b []byte, row int) bool {
	if len(w.header) == 0 || !bytes.HasPrefix(b[row:], w.header) {
		return false
	}
	rest := b[row+len(w.header):]
	return rest[0] == '\n' || rest[0] == '\r'
}

// dropHeader passes over a repeated header: what was read of it is not
// counted and so written over by the next row.
func (w *worker) dropHeader(s *segment, b []byte, row int) int {
	s.out = append(s.out, s.records)
	w.problem(s, RepeatedHeader, -1, nil, b, row)
	n, _ := rowLen(b[row:], w.comma)
	return row + n
}

// problem records a problem of the current record.
func (w *worker) problem(s *segment, kind ProblemKind, c int, cell, b []byte, row int) {
	w.line += bytes.Count(b[w.linePos:row], []byte{'\n'})
	w.linePos = row
	p := Problem{Kind: kind, Row: s.records, Line: w.line, Value: toUTF8(cell[:min(len(cell), 200)])}
	if c >= 0 && c < len(w.columns) {
		p.Column = w.columns[c].name
	}
	s.account.add(p)
}

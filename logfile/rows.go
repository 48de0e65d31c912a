package logfile

import "bytes"

// splitRow cuts the row at the start of b into cells by RFC 4180, section 2:
// a cell in double quotes may hold the delimiter, line ends and doubled
// quotes. A quote inside an unquoted cell is text. It returns the index
// behind the row's line end. Open is true where a quoted cell does not end in
// b, junk where text stands behind a closing quote (it is kept). Cells are
// appended to dst and may point into b or into fresh memory.
func splitRow(dst [][]byte, b []byte, comma byte) (cells [][]byte, next int, open, junk bool) {
	i := 0
	for {
		if i < len(b) && b[i] == '"' {
			cell, n, closed, extra := quoted(b[i:], comma)
			dst = append(dst, cell)
			i += n
			if !closed {
				return dst, i, true, junk
			}
			junk = junk || extra
		} else {
			from := i
			for i < len(b) && b[i] != comma && b[i] != '\n' {
				i++
			}
			cell := b[from:i]
			if n := len(cell); n > 0 && cell[n-1] == '\r' && (i == len(b) || b[i] == '\n') {
				cell = cell[:n-1]
			}
			dst = append(dst, cell)
		}
		if i >= len(b) {
			return dst, i, false, junk
		}
		if b[i] == '\n' {
			return dst, i + 1, false, junk
		}
		i++
	}
}

// quoted reads a cell that begins with a quote; n is the index of the
// delimiter or line end behind it.
func quoted(b []byte, comma byte) (cell []byte, n int, closed, junk bool) {
	i := 1
	from := i
	for {
		q := bytes.IndexByte(b[i:], '"')
		if q < 0 {
			return append(cell, b[from:]...), len(b), false, false
		}
		i += q + 1
		if i < len(b) && b[i] == '"' { // a doubled quote
			cell = append(cell, b[from:i]...)
			i++
			from = i
			continue
		}
		if cell == nil {
			cell = b[from : i-1 : i-1]
		} else {
			cell = append(cell, b[from:i-1]...)
		}
		break
	}
	tail := i
	for i < len(b) && b[i] != comma && b[i] != '\n' {
		i++
	}
	if extra := bytes.TrimRight(b[tail:i], " \t\r"); len(extra) > 0 {
		return append(cell[:len(cell):len(cell)], extra...), i, true, true
	}
	return cell, i, true, false
}

// blankLine is the length of the line at the start of b, which ends there,
// where it holds nothing but spaces and tabs that are no delimiters; else 0.
func blankLine(b []byte, comma byte) int {
	for i, c := range b {
		switch {
		case c == '\n':
			return i + 1
		case c == ' ' || c == '\t' && comma != '\t' || c == '\r' && i+1 < len(b) && b[i+1] == '\n':
		default:
			return 0
		}
	}
	return 0
}

// lastRowEnd is the index behind the last row of b that surely ends, 0 if
// there is none. Without quotes that is the last line end.
func lastRowEnd(b []byte, comma byte) int {
	if bytes.IndexByte(b, '"') < 0 {
		return bytes.LastIndexByte(b, '\n') + 1
	}
	end := 0
	for i := 0; i < len(b); {
		n, ended := rowLen(b[i:], comma)
		if !ended {
			break
		}
		i += n
		end = i
	}
	return end
}

// rowLen is the length of the row at the start of b, and whether it ends
// there.
func rowLen(b []byte, comma byte) (n int, ended bool) {
	i := 0
	for {
		if i < len(b) && b[i] == '"' {
			for i++; ; {
				q := bytes.IndexByte(b[i:], '"')
				if q < 0 {
					return len(b), false
				}
				if i += q + 1; i < len(b) && b[i] == '"' {
					i++
					continue
				}
				break
			}
		}
		for i < len(b) && b[i] != comma && b[i] != '\n' {
			i++
		}
		if i >= len(b) {
			return len(b), false
		}
		if b[i] == '\n' {
			return i + 1, true
		}
		i++
	}
}

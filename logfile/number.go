package logfile

import (
	"math"
	"strconv"
	"unsafe"
)

// pow10 are the powers of ten a float64 holds exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// scanNumber reads a plain decimal number at b[i] and returns it, the index
// behind it and its decimals. It is false where there is none, or one that
// needs the slow way: an exponent, or more digits than a float64 holds
// exactly. The caller looks at what stands behind. b must end in a byte that
// is no part of a number.
//
// A whole number below 2⁵³ divided by a power of ten up to 10²² rounds once
// and so is the nearest float64: Clinger 1990, How to read floating point
// numbers accurately, ACM SIGPLAN Notices 25(6), 92–101.
func scanNumber(b []byte, i int, decimal byte) (v float64, next, decimals int, ok bool) {
	negative := false
	switch b[i] {
	case '-':
		negative = true
		i++
	case '+':
		i++
	}
	start := i
	var m uint64
	for {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		m = m*10 + uint64(d)
		i++
	}
	digits := i - start
	if b[i] == decimal {
		i++
		point := i
		for {
			d := b[i] - '0'
			if d > 9 {
				break
			}
			m = m*10 + uint64(d)
			i++
		}
		decimals = i - point
		digits += decimals
	}
	if digits == 0 || digits > 18 || m >= 1<<53 {
		return 0, i, 0, false
	}
	v = float64(m)
	if decimals > 0 {
		v /= pow10[decimals]
	}
	if negative {
		v = -v
	}
	return v, i, decimals, true
}

// parseNumber reads a whole cell as a number, exponents and any number of
// digits too. It refuses hexadecimal, underscores, infinities and NaN.
func parseNumber(cell []byte, decimal byte) (v float64, decimals int, ok bool) {
	cell = trimSpace(cell)
	if len(cell) == 0 || len(cell) > 400 {
		return 0, 0, false
	}
	var buf [64]byte
	text := append(buf[:0], cell...)
	point, exp := -1, false
	for i, c := range text {
		switch {
		case c >= '0' && c <= '9':
		case c == decimal && point < 0 && !exp:
			text[i] = '.'
			point = i
		case (c == 'e' || c == 'E') && !exp && i > 0:
			exp = true
			if point >= 0 {
				decimals = i - point - 1
			}
		case (c == '-' || c == '+') && (i == 0 || text[i-1] == 'e' || text[i-1] == 'E'):
		default:
			return 0, 0, false
		}
	}
	if point >= 0 && !exp {
		decimals = len(text) - point - 1
	}
	v, err := strconv.ParseFloat(unsafe.String(unsafe.SliceData(text), len(text)), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, 0, false
	}
	if exp {
		decimals = -1 // not told by the digits
	}
	return v, decimals, true
}

func trimSpace(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == '\r') {
		b = b[:len(b)-1]
	}
	// A no-break space, as spreadsheets put before units.
	for len(b) > 1 && b[0] == 0xc2 && b[1] == 0xa0 {
		b = b[2:]
	}
	return b
}

// parseGrouped reads a number whose thousands are set apart: "1,234.5",
// "1.234,5", "1 234,5", "1'234.5". The sign that is the decimal sign sets
// nothing apart, so that each text has one reading.
func parseGrouped(cell []byte, decimal byte) (v float64, decimals int, ok bool) {
	cell = trimSpace(cell)
	if len(cell) < 5 || len(cell) > 64 {
		return 0, 0, false
	}
	var buf [64]byte
	out := buf[:0]
	i := 0
	if cell[0] == '-' || cell[0] == '+' {
		out = append(out, cell[0])
		i++
	}
	var group []byte // the separator, once seen
	digits, first := 0, true
	for i < len(cell) && cell[i] != decimal {
		c := cell[i]
		if c >= '0' && c <= '9' {
			digits++
			out = append(out, c)
			i++
			continue
		}
		sep := separator(cell[i:])
		if sep == nil || group != nil && string(sep) != string(group) {
			return 0, 0, false
		}
		if first && (digits < 1 || digits > 3) || !first && digits != 3 {
			return 0, 0, false
		}
		group, first, digits = sep, false, 0
		i += len(sep)
	}
	if group == nil || digits != 3 {
		return 0, 0, false
	}
	return parseNumber(append(out, cell[i:]...), decimal)
}

// separator is the sign at the start of b that may set thousands apart.
func separator(b []byte) []byte {
	switch b[0] {
	case ',', '.', ' ', '\'':
		return b[:1]
	}
	for _, s := range []string{"\u00a0", "\u202f", "\u2009", "\u2019"} {
		if len(b) >= len(s) && string(b[:len(s)]) == s {
			return b[:len(s)]
		}
	}
	if b[0] == 0xa0 { // a no-break space of an 8-bit code
		return b[:1]
	}
	return nil
}

// parseCell reads a cell as a number, with thousands set apart or not.
func parseCell(cell []byte, decimal byte) (v float64, decimals int, ok bool) {
	if v, decimals, ok = parseNumber(cell, decimal); ok {
		return v, decimals, ok
	}
	return parseGrouped(cell, decimal)
}

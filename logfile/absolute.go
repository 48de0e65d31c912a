package logfile

import (
	"fmt"
	"strconv"
	"strings"

	"trivet/trace"
)

// absoluteZero is the lowest temperature there is, in each unit a channel may
// have: 0 K = −273.15 °C = −459.67 °F (BIPM, The International System of
// Units, 9th edition, 2019, section 2.3.1; NIST SP 811, 2008, B.8).
var absoluteZero = map[trace.Unit]float64{trace.DegC: -273.15, trace.DegF: -459.67, trace.Kelvin: 0}

// belowAbsoluteZero tells a reading that is no temperature: loggers write
// numbers such as −999 for a sensor that is open (common practice, no
// source).
func (c MapChannel) belowAbsoluteZero(v float64) bool {
	zero, temperature := absoluteZero[c.Unit]
	return temperature && v < zero
}

// impossible gathers what a channel read below absolute zero.
type impossible struct {
	count, first, last int
	values             []string
}

func (x *impossible) add(a *Account, c MapChannel, row int, v float64) {
	if x.count == 0 {
		x.first = row
	}
	x.count, x.last = x.count+1, row
	written := strconv.FormatFloat(v, 'f', -1, 64)
	const most = 4
	known := false
	for _, s := range x.values {
		known = known || s == written
	}
	if !known && len(x.values) <= most {
		if len(x.values) == most {
			written = "…"
		}
		x.values = append(x.values, written)
	}
	a.add(Problem{Kind: BelowAbsoluteZero, Row: row, Column: c.Column, Value: strconv.FormatFloat(v, 'f', -1, 64), Detail: "counted as missing"})
}

// note says once for a channel what became of such readings.
func (x *impossible) note(a *Account, c MapChannel) {
	if x.count == 0 {
		return
	}
	rows := fmt.Sprintf("row %d", x.first)
	if x.count > 1 {
		rows = fmt.Sprintf("%d of the rows %d to %d", x.count, x.first, x.last)
	}
	a.note("log-below-absolute-zero", "column %q is below absolute zero in %s (%s): no temperature, counted as missing; loggers write such numbers for a sensor that is open or absent",
		c.Column, rows, strings.Join(x.values, ", "))
}

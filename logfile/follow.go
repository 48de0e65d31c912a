package logfile

import (
	"bytes"
	"math"
	"regexp"
	"strconv"

	"trivet/fault"
)

// Row is one record of a log that is still being written. Values stand in the
// order of the map's channels, in the units the map says they are written in;
// NaN is missing. Kept is false where [Load] would keep the row out; its
// problems say why.
type Row struct {
	Record   int // from 1, header not counted
	US       int64
	Values   []float64
	Kept     bool
	Problems []Problem
}

// Follower reads a wide log as it grows, by a map: write the bytes to it as
// they come, in pieces of any length, and it hands on each row once its line
// has ended. The text must be UTF-8 or an 8-bit code, not packed.
type Follower struct {
	m        *Map
	sink     func(Row) error
	limits   Limits
	buf      []byte
	place    map[string]int // of the mapped columns in a row; nil before the header
	unitsDue bool           // the line after the header may hold units
	time     timeParser
	clock    timeParser
	record   int
	line     int
	last     int64
	addDay   int64
	offsetUS int64
	cells    [][]byte
}

var numberedColumn = regexp.MustCompile(`^column (\d+)$`)

// NewFollower returns a follower that hands rows to sink. An error of sink
// ends the Write it came from.
func NewFollower(m *Map, limits Limits, sink func(Row) error) (*Follower, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	if m.Shape != Wide {
		return nil, fault.New("follow-shape", "only logs with a column for each channel can be followed as they grow").On("shape", string(m.Shape))
	}
	f := &Follower{m: m, sink: sink, limits: limits.filled(), last: NoTime}
	f.time = timeParser{form: m.Time.Form, decimal: m.Decimal[0]}
	f.clock = timeParser{form: Clock}
	if m.Time.Form.Local() {
		min, err := m.Time.offsetMin()
		if err != nil {
			return nil, err
		}
		f.offsetUS = int64(min) * 60e6
	}
	// A log without a header has columns named by their number.
	place := map[string]int{}
	for _, name := range f.names() {
		if d := numberedColumn.FindStringSubmatch(name); d != nil {
			place[name], _ = strconv.Atoi(d[1])
			place[name]--
		}
	}
	if len(place) == len(f.names()) {
		f.place = place
	}
	return f, nil
}

// names are the columns the map needs, without repeats.
func (f *Follower) names() []string {
	seen := map[string]bool{"": true}
	var out []string
	add := func(s string) {
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	add(f.m.Time.Column)
	add(f.m.Time.Clock)
	for _, c := range f.m.Channels {
		add(c.Column)
	}
	return out
}

// Write takes the next bytes of the log.
func (f *Follower) Write(p []byte) (int, error) {
	f.buf = append(f.buf, p...)
	at := 0
	for {
		n, ended := rowLen(f.buf[at:], f.m.Delimiter[0])
		if !ended {
			break
		}
		if n > f.limits.MaxLine {
			return len(p), f.tooLong()
		}
		if err := f.row(f.buf[at : at+n]); err != nil {
			return len(p), err
		}
		at += n
	}
	f.buf = append(f.buf[:0], f.buf[at:]...)
	if len(f.buf) > f.limits.MaxLine {
		return len(p), f.tooLong()
	}
	return len(p), nil
}

func (f *Follower) tooLong() error {
	return fault.New("log-line", "a row is longer than %d bytes", f.limits.MaxLine).AtRow(f.record + 1).
		WithFix("check for a quote that does not close")
}

// row reads one line.
func (f *Follower) row(b []byte) error {
	f.line++
	start := f.line
	f.line += bytes.Count(b, []byte{'\n'}) - 1
	if blankLine(b, f.m.Delimiter[0]) > 0 {
		return nil
	}
	cells, _, _, _ := splitRow(f.cells[:0], b, f.m.Delimiter[0])
	f.cells = cells
	if f.place == nil {
		f.header(cells)
		return nil
	}
	if f.repeatsHeader(cells) {
		f.record++
		return f.sink(Row{Record: f.record, US: NoTime, Problems: []Problem{{Kind: RepeatedHeader, Row: f.record, LastRow: f.record, Line: start}}})
	}
	us, ok := f.readTime(cells)
	if !ok && f.unitsDue {
		f.unitsDue = false
		return nil
	}
	f.unitsDue = false
	f.record++
	row := Row{Record: f.record, US: us, Kept: ok, Values: make([]float64, len(f.m.Channels))}
	problem := func(kind ProblemKind, column string, value []byte) {
		row.Problems = append(row.Problems, Problem{Kind: kind, Row: f.record, LastRow: f.record, Line: start, Column: column, Value: clip(toUTF8(value))})
	}
	switch {
	case !ok:
		problem(NotATime, f.m.Time.Column, f.cell(cells, f.m.Time.Column))
	case f.last != NoTime && us == f.last:
		row.Kept = false
		problem(DuplicateTime, "", nil)
	case f.last != NoTime && us < f.last:
		row.Kept = false
		problem(OutOfOrder, "", nil)
	default:
		f.last = us
	}
	for i, c := range f.m.Channels {
		cell := f.cell(cells, c.Column)
		v, kind := f.value(c, cell)
		if kind != "" {
			problem(kind, c.Column, cell)
		}
		row.Values[i] = v
	}
	return f.sink(row)
}

// cell is the cell of a column, nil where the row is too short.
func (f *Follower) cell(cells [][]byte, column string) []byte {
	if i := f.place[column]; i < len(cells) {
		return trimSpace(cells[i])
	}
	return nil
}

// header looks for the mapped columns in a line; other lines above the header
// are passed over.
func (f *Follower) header(cells [][]byte) {
	at := map[string]int{}
	used := map[string]int{}
	for i, c := range cells {
		name := toUTF8(bytes.TrimPrefix(trimSpace(c), []byte("\ufeff")))
		if name == "" {
			name = "column " + strconv.Itoa(i+1)
		}
		if used[name]++; used[name] > 1 {
			name += " (" + strconv.Itoa(used[name]) + ")"
		}
		at[name] = i
	}
	place := map[string]int{}
	for _, name := range f.names() {
		i, ok := at[name]
		if !ok {
			return
		}
		place[name] = i
	}
	f.place, f.unitsDue = place, true
}

func (f *Follower) repeatsHeader(cells [][]byte) bool {
	for name, i := range f.place {
		if i >= len(cells) || string(trimSpace(cells[i])) != name {
			return false
		}
	}
	return true
}

func (f *Follower) readTime(cells [][]byte) (int64, bool) {
	us, ok := f.time.parse(f.cell(cells, f.m.Time.Column))
	if ok && f.m.Time.Clock != "" {
		var day int64
		day, ok = f.clock.parse(f.cell(cells, f.m.Time.Clock))
		us += day
	}
	if !ok {
		return NoTime, false
	}
	if f.m.Time.Form == Clock {
		if f.last != NoTime && us+f.addDay < f.last-86400e6/2 {
			f.addDay += 86400e6
		}
		us += f.addDay
	}
	return us - f.offsetUS, true
}

// value reads a channel's cell; a kind of problem where it cannot.
func (f *Follower) value(c MapChannel, cell []byte) (float64, ProblemKind) {
	if len(cell) == 0 {
		return math.NaN(), ""
	}
	decimal := f.m.Decimal[0]
	if c.Decimal != "" {
		decimal = c.Decimal[0]
	}
	if v, _, ok := parseCell(cell, decimal); ok {
		if v, kind := possible(c, v); kind != "" || !eitherSign(cell, decimal) {
			return v, kind
		}
		return v, MayBeDecimal
	}
	bare, unit := splitUnit(cell)
	if v, _, ok := parseCell(bare, decimal); ok && unit != "" {
		want := c.Written
		if want == "" {
			want = string(c.Unit)
		}
		if string(unit) == want {
			if v, kind := possible(c, v); kind != "" || !eitherSign(bare, decimal) {
				return v, kind
			}
			return v, MayBeDecimal
		}
		return math.NaN(), MixedUnit
	}
	if bytes.IndexByte(cell, 0) >= 0 {
		return math.NaN(), NULBytes
	}
	return math.NaN(), NotANumber
}

// eitherSign tells a number whose only sign sets thousands apart if the log's
// decimal sign stands, and is the decimal sign if it does not: "1.234" where
// commas are decimal. The column could tell; one row cannot.
func eitherSign(cell []byte, decimal byte) bool {
	other := byte('.')
	if decimal == '.' {
		other = ','
	}
	return bytes.Count(cell, []byte{other}) == 1 && bytes.IndexByte(cell, decimal) < 0
}

// possible passes a reading on, unless no temperature can be so low.
func possible(c MapChannel, v float64) (float64, ProblemKind) {
	if c.belowAbsoluteZero(v) {
		return math.NaN(), BelowAbsoluteZero
	}
	return v, ""
}

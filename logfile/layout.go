package logfile

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
)

// Type is what a column holds.
type Type string

// Types of column.
const (
	Number Type = "number"
	Time   Type = "time"
	Text   Type = "text"
	Skip   Type = "skip" // not read
)

// Layout is how a table is written, as guessed from its first rows.
type Layout struct {
	Kind        string         `json:"kind"` // "table", "JSON Lines" or "workbook"
	Encoding    string         `json:"encoding"`
	Compression string         `json:"compression,omitempty"`
	Delimiter   string         `json:"delimiter"`
	Decimal     string         `json:"decimal"`     // "." or ","
	HeaderLine  int            `json:"header_line"` // from 1; 0 without a header
	DataLine    int            `json:"data_line"`   // line of the first record
	Above       []string       `json:"above,omitempty"`
	Columns     []ColumnLayout `json:"columns"`
	FirstRows   [][]string     `json:"first_rows"`

	rows   [][]string // sampled records
	header []byte     // the header as it stands
	data   int        // index of the first record

	eightBit bool // the first rows are no UTF-8
}

// ColumnLayout is one column as guessed. Why says what told it; Sure is false
// where another reading is as good.
type ColumnLayout struct {
	Name     string   `json:"name"`
	UnitRow  string   `json:"unit_row,omitempty"` // second header line
	Type     Type     `json:"type"`
	Form     TimeForm `json:"form,omitempty"` // of a time
	Sure     bool     `json:"sure"`
	Why      string   `json:"why"`
	cellUnit cellUnit // written behind most numbers

	decimal   byte // of the column's numbers where it is not the table's, else 0
	twoOrders bool // of dates: the first rows allow day and month in both orders
}

// noValue are cells that stand for a reading that was not taken. They are
// accounted for like any non-number; here they only keep a column numeric.
var noValue = map[string]bool{
	"": true, "-": true, "--": true, "---": true, "----": true, "na": true, "n/a": true, "#n/a": true, "nan": true, "null": true, "none": true,
	"open": true, "err": true, "error": true, "ol": true, "inf": true, "-inf": true, "fault": true, "disconnected": true, "?": true,
}

func isNoValue(s string) bool { return noValue[strings.ToLower(strings.TrimSpace(s))] }

const sampleRows = 400

// sniff guesses the layout from the first bytes of a table. Whole tells that
// b is all of it.
func sniff(b []byte, whole bool, limits Limits) (*Layout, error) {
	var best *Layout
	var bestScore float64
	var wide int
	for _, comma := range []byte{',', ';', '\t', '|'} {
		rows := sample(b, comma, whole)
		n, share := modeWidth(rows)
		wide = max(wide, n)
		if n < 2 || n > limits.MaxColumns {
			continue
		}
		for _, decimal := range []byte{'.', ','} {
			if decimal == comma {
				continue
			}
			score := share * (0.3 + 0.7*readable(rows, n, decimal))
			if score > bestScore+1e-9 {
				bestScore = score
				best = &Layout{Delimiter: string(comma), Decimal: string(decimal), rows: rows}
			}
		}
	}
	if wide > limits.MaxColumns {
		return nil, fault.New("log-columns", "the table has %d columns, at most %d are read", wide, limits.MaxColumns).
			WithFix("leave out columns, or raise the limit")
	}
	if best == nil || bestScore < 0.15 {
		rows := sample(b, ',', whole)
		single := &Layout{Delimiter: ",", Decimal: ".", rows: rows}
		if len(rows) < 2 || readable(rows, 1, '.') < 0.5 {
			return nil, fault.New("log-no-table", "no table was found: no delimiter (comma, semicolon, tab, bar) cuts the lines into equal rows").
				WithFix("check the file, or export it as CSV")
		}
		best = single
	}
	return best, best.describe(b)
}

// sample cuts the first rows of b; blank rows count as rows without cells, so
// that lines stay countable.
func sample(b []byte, comma byte, whole bool) [][]string {
	var rows [][]string
	var cells [][]byte
	for i := 0; i < len(b) && len(rows) < sampleRows; {
		var n int
		var open bool
		cells, n, open, _ = splitRow(cells[:0], b[i:], comma)
		if !whole && (open || i+n >= len(b)) {
			break
		}
		i += n
		if len(cells) == 1 && len(trimSpace(cells[0])) == 0 {
			rows = append(rows, nil)
			continue
		}
		row := make([]string, len(cells))
		for k, c := range cells {
			row[k] = strings.TrimSpace(toUTF8(trimSpace(c)))
		}
		rows = append(rows, row)
	}
	return trimLast(rows)
}

// trimLast takes away the last cell of every full row where it is empty in
// all of them: some loggers end each row with a delimiter.
func trimLast(rows [][]string) [][]string {
	n, _ := modeWidth(rows)
	for _, r := range rows {
		if len(r) == n && (n < 2 || r[n-1] != "") {
			return rows
		}
	}
	for i, r := range rows {
		if len(r) == n {
			rows[i] = r[:n-1]
		}
	}
	return rows
}

// modeWidth is the most common number of cells (of many rows, in their later
// half) and its share of all rows that are not blank.
func modeWidth(rows [][]string) (n int, share float64) {
	var full [][]string
	for _, r := range rows {
		if r != nil {
			full = append(full, r)
		}
	}
	later := full
	if len(full) >= 20 { // past the lines above the header
		later = full[len(full)/2:]
	}
	seen := map[int]int{}
	for _, r := range later {
		seen[len(r)]++
	}
	most := 0
	for w, k := range seen {
		if k > most || k == most && w > n {
			n, most = w, k
		}
	}
	same := 0
	for _, r := range full {
		if len(r) == n {
			same++
		}
	}
	return n, float64(same) / float64(max(len(full), 1))
}

// readable is the share of cells in the later half that are numbers or times.
func readable(rows [][]string, n int, decimal byte) float64 {
	good, all := 0, 0
	for _, r := range rows[len(rows)/2:] {
		if len(r) != n {
			continue
		}
		for _, c := range r[:n] {
			if isNoValue(c) {
				continue
			}
			all++
			if isNumber(c, decimal) || timeForms(c) != nil {
				good++
			} else if _, _, ok := parseGrouped([]byte(c), decimal); ok && strings.IndexByte(c, decimal) >= 0 {
				good++ // both signs in one number tell which is which
			}
		}
	}
	return float64(good) / float64(max(all, 1))
}

func isNumber(s string, decimal byte) bool {
	if _, _, ok := parseNumber([]byte(s), decimal); ok {
		return true
	}
	bare, unit := splitUnit([]byte(s))
	if unit == "" {
		return false
	}
	_, _, ok := parseNumber(bare, decimal)
	return ok
}

// isCell tells a number in a column whose decimal sign is known: thousands may
// be set apart, which is no evidence for a decimal sign.
func isCell(s string, decimal byte) bool {
	if isNumber(s, decimal) {
		return true
	}
	bare, _ := splitUnit([]byte(s))
	_, _, ok := parseGrouped(bare, decimal)
	if !ok {
		_, _, ok = parseGrouped([]byte(s), decimal)
	}
	return ok
}

// isAnyCell tells a number with either decimal sign.
func isAnyCell(s string) bool { return isCell(s, '.') || isCell(s, ',') }

// countNumbers counts the cells that are numbers and the units behind them.
func countNumbers(cells []string, decimal byte) (numbers int, units map[cellUnit]int) {
	units = map[cellUnit]int{}
	for _, s := range cells {
		if isCell(s, decimal) {
			numbers++
			_, u := splitUnit([]byte(s))
			units[u]++
		}
	}
	return numbers, units
}

// decimalOf is the decimal sign of column c.
func (l *Layout) decimalOf(c int) byte {
	if c >= 0 && c < len(l.Columns) && l.Columns[c].decimal != 0 {
		return l.Columns[c].decimal
	}
	return l.Decimal[0]
}

// describe finds the header and the columns of the sampled rows.
func (l *Layout) describe(b []byte) error {
	n, _ := modeWidth(l.rows)
	n = max(n, 1)
	first := 0
	for first < len(l.rows) && len(l.rows[first]) != n {
		first++
	}
	if first == len(l.rows) {
		return fault.New("log-no-table", "no table was found").WithFix("check the file, or export it as CSV")
	}
	headers := l.headerRows(first, n)
	l.data = first + headers
	for _, r := range l.rows[:first] {
		if r != nil {
			l.Above = append(l.Above, clip(strings.Join(r, l.Delimiter)))
		}
	}
	var header, units []string
	if headers > 0 {
		header = l.rows[first]
	}
	if headers > 1 {
		units = l.rows[first+1]
	}
	// The header again further down says nothing of its columns.
	body := slices.DeleteFunc(slices.Clone(l.rows[l.data:]), func(r []string) bool { return r == nil || slices.Equal(r, header) })
	used := map[string]int{}
	for c := range max(n, len(header)) {
		if c >= n && (c >= len(header) || header[c] == "") {
			break
		}
		var col ColumnLayout
		if c < len(header) {
			col.Name = header[c]
		}
		if c < len(units) {
			col.UnitRow = units[c]
		}
		if col.Name == "" {
			col.Name = fmt.Sprintf("column %d", c+1)
		}
		if used[col.Name]++; used[col.Name] > 1 {
			col.Name = fmt.Sprintf("%s (%d)", col.Name, used[col.Name])
		}
		l.typeColumn(&col, body, c)
		l.Columns = append(l.Columns, col)
	}
	l.FirstRows = body[:min(len(body), 5)]
	// Where the records begin, and the header as it stands, in bytes.
	at, comma := 0, l.Delimiter[0]
	for i := range l.data {
		_, k, _, _ := splitRow(nil, b[at:], comma)
		if i == first && headers > 0 {
			l.header = bytes.Clone(bytes.TrimRight(b[at:at+k], "\r\n"))
			l.HeaderLine = bytes.Count(b[:at], []byte{'\n'}) + 1
		}
		at += k
	}
	l.DataLine = bytes.Count(b[:at], []byte{'\n'}) + 1
	l.data, l.rows = at, body
	return nil
}

// headerRows is how many header lines stand at row first: 0, 1 or 2.
func (l *Layout) headerRows(first, n int) int {
	body := func(from int) (numeric []bool) {
		numeric = make([]bool, n)
		for c := range numeric {
			good, all := 0, 0
			for _, r := range l.rows[min(from, len(l.rows)):] {
				if c >= len(r) || isNoValue(r[c]) {
					continue
				}
				all++
				if isAnyCell(r[c]) || timeForms(r[c]) != nil {
					good++
				}
			}
			numeric[c] = all > 0 && good*5 >= all*4
		}
		return numeric
	}
	isHead := func(row []string, numeric []bool) bool {
		for c := range numeric {
			if c < len(row) && numeric[c] && row[c] != "" && !isAnyCell(row[c]) && timeForms(row[c]) == nil && !isNoValue(row[c]) {
				return true
			}
		}
		return false
	}
	row := l.rows[first]
	if first+1 >= len(l.rows) {
		for _, c := range row { // a header alone, or one record alone
			if isAnyCell(c) {
				return 0
			}
		}
		return 1
	}
	records := body(min(first+2, len(l.rows)-1)) // surely below a header of two lines
	if isHead(row, records) {
		if first+2 < len(l.rows) && len(l.rows[first+1]) == n && isHead(l.rows[first+1], records) && !l.hasNumber(l.rows[first+1]) {
			return 2
		}
		return 1
	}
	numeric := body(first)
	for _, yes := range numeric {
		if yes {
			return 0
		}
	}
	// Text alone: distinct, filled cells above are taken as names.
	seen := map[string]bool{}
	for _, c := range row {
		if c == "" || seen[c] {
			return 0
		}
		seen[c] = true
	}
	return 1
}

// hasNumber tells whether a cell of the row is a number or a time.
func (l *Layout) hasNumber(row []string) bool {
	for _, c := range row {
		if isAnyCell(c) || timeForms(c) != nil {
			return true
		}
	}
	return false
}

// typeColumn guesses what column c holds from the sampled records.
func (l *Layout) typeColumn(col *ColumnLayout, rows [][]string, c int) {
	var cells []string
	blank := 0
	for _, r := range rows {
		switch {
		case c >= len(r):
		case isNoValue(r[c]):
			blank++
		default:
			cells = append(cells, r[c])
		}
	}
	col.Sure = true
	if len(cells) == 0 {
		col.Type, col.Why = Number, "no value in the first rows"
		col.Sure = false
		return
	}
	numbers, units := countNumbers(cells, l.Decimal[0])
	// Quotes let a column have a decimal sign of its own, and so do workbooks
	// and JSON where a program stored text beside numbers.
	if other := byte('.' + ',' - l.Decimal[0]); numbers < len(cells) {
		if n, u := countNumbers(cells, other); n > numbers && n*5 >= len(cells)*4 {
			numbers, units, col.decimal = n, u, other
		}
	}
	if numbers*5 >= len(cells)*4 {
		col.Type, col.Why = Number, "numbers"
		for _, u := range []cellUnit{"degC", "degF", "K", "g", "kg", "oz", "lb", "pct", "W"} {
			if units[u]*2 > len(cells) {
				col.cellUnit, col.Why = u, "numbers, the unit behind each"
			}
		}
		if col.decimal != 0 {
			col.Why += map[byte]string{'.': ", with a decimal point", ',': ", with a decimal comma"}[col.decimal]
		}
		if numbers < len(cells) {
			col.Why = fmt.Sprintf("numbers in %d of the first %d filled cells", numbers, len(cells))
			col.Sure = false
		}
		return
	}
	if form, sure, why := guessTimeForm(cells, col.Name+" "+col.UnitRow); form != "" {
		col.Type, col.Form, col.Sure, col.Why = Time, form, sure, why
		col.twoOrders = !sure && otherOrder(form) != ""
		return
	}
	col.Type, col.Why = Text, "text"
}

// textForms are the forms of time that are not plain numbers, in the order
// they are tried.
var textForms = []TimeForm{RFC3339, LocalYMD, LocalDMY, LocalMDY, Clock, ElapsedHMS, ElapsedMS}

// timeForms lists the forms that read s.
func timeForms(s string) []TimeForm {
	if len(s) < 4 || len(s) > 40 || s[0] < '0' || s[0] > '9' || !strings.ContainsAny(s, ":-/.") {
		return nil
	}
	var out []TimeForm
	for _, f := range textForms {
		p := timeParser{form: f, decimal: '.'}
		if _, ok := p.parse([]byte(s)); ok {
			out = append(out, f)
		}
	}
	return out
}

// guessTimeForm picks the form that reads the most cells; sure is false where
// two read them equally well.
func guessTimeForm(cells []string, name string) (form TimeForm, sure bool, why string) {
	reads := map[TimeForm]int{}
	for _, s := range cells {
		for _, f := range timeForms(s) {
			reads[f]++
		}
	}
	enough := func(f TimeForm) bool { return reads[f]*5 >= len(cells)*4 }
	name = strings.ToLower(name)
	half := strings.Contains(strings.ToLower(cells[0]), "m") && !strings.Contains(cells[0], "T")
	switch {
	case enough(RFC3339):
		return RFC3339, true, "date and time with an offset from UTC"
	case enough(LocalYMD):
		return LocalYMD, true, "year, month, day"
	case enough(LocalDMY) && reads[LocalDMY] > reads[LocalMDY]:
		return LocalDMY, true, "day before month: a first number above 12 was seen"
	case enough(LocalMDY) && reads[LocalMDY] > reads[LocalDMY]:
		return LocalMDY, true, "month before day: a second number above 12 was seen"
	case enough(LocalDMY) && (strings.Contains(cells[0], ".") && !strings.Contains(cells[0], "/")):
		return LocalDMY, false, "day before month, as is usual with points; the dates allow both"
	case enough(LocalMDY) && half:
		return LocalMDY, false, "month before day, as is usual with am and pm; the dates allow both"
	case enough(LocalDMY):
		return LocalDMY, false, "day before month is taken; the dates allow both"
	}
	return guessClock(cells, name, enough, half)
}

// guessClock tells times of day from times since the start.
func guessClock(cells []string, name string, enough func(TimeForm) bool, half bool) (TimeForm, bool, string) {
	us := func(f TimeForm, s string) int64 {
		p := timeParser{form: f}
		v, _ := p.parse([]byte(s))
		return v
	}
	mentions := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(name, w) {
				return true
			}
		}
		return false
	}
	switch {
	case enough(Clock) && half:
		return Clock, true, "times of day with am or pm"
	case enough(ElapsedHMS) && (mentions("elapsed", "since", "duration", "dauer") || !enough(Clock)):
		return ElapsedHMS, true, "hours, minutes and seconds since the start"
	case enough(ElapsedHMS) && enough(Clock):
		if us(ElapsedHMS, cells[0]) < 600e6 {
			return ElapsedHMS, false, "hours, minutes and seconds since the start, since they begin near zero"
		}
		return Clock, false, "times of day, since they do not begin near zero"
	case enough(ElapsedMS) && (mentions("mm:ss", "m:s", "min:s") || !enough(Clock)):
		return ElapsedMS, true, "minutes and seconds since the start"
	case enough(ElapsedMS) && mentions("hh:mm", "h:m", "clock", "uhr"):
		return Clock, true, "times of day, hours and minutes"
	case enough(ElapsedMS):
		if us(ElapsedMS, cells[0]) < 120e6 {
			return ElapsedMS, false, "minutes and seconds since the start, since they begin near zero"
		}
		return Clock, false, "times of day, hours and minutes, since they do not begin near zero"
	case enough(Clock):
		return Clock, true, "times of day"
	}
	return "", false, ""
}

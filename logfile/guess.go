package logfile

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/trace"
)

// Role is what a column of a log is for.
type Role string

// Roles of a column. A long log has one row for each channel and time: a
// column names the channel, one holds its value, one may hold its unit.
const (
	RoleTime    Role = "time"    // time, or date and time
	RoleClock   Role = "clock"   // time of day beside a column of dates
	RoleChannel Role = "channel" // values of one channel
	RoleName    Role = "name"    // long: which channel
	RoleValue   Role = "value"   // long: its value
	RoleUnit    Role = "unit"    // long: its unit
	RoleIgnore  Role = "ignore"
)

// Shape is how a log lays out its channels.
type Shape string

// Shapes of a log.
const (
	Wide Shape = "wide" // a column for each channel
	Long Shape = "long" // a row for each channel and time
)

// Guess is what a log seems to be: shown to the user before anything is
// loaded, and saved as a [Map] once it is right.
type Guess struct {
	Layout   *Layout       `json:"layout"`
	Shape    Shape         `json:"shape"`
	Time     TimeGuess     `json:"time"`
	Columns  []ColumnGuess `json:"columns"`
	Channels []ColumnGuess `json:"channels,omitempty"` // long: one for each name in the first rows
	// PeriodS is the median step in the first rows: of a wide log the step of
	// its rows, of a long one that of its channel with the most rows. Each
	// channel has its own.
	PeriodS     float64      `json:"period_s,omitempty"`
	Gaps        []RowGap     `json:"gaps,omitempty"` // in the first rows
	Fingerprint string       `json:"fingerprint"`
	Notes       []fault.Note `json:"notes,omitempty"`

	sheet, cells string // of a workbook, as asked for
}

// TimeGuess is where and how the log tells time.
type TimeGuess struct {
	Column string   `json:"column"`
	Clock  string   `json:"clock,omitempty"` // column of the time of day beside dates
	Form   TimeForm `json:"form"`
	Sure   bool     `json:"sure"`
	Why    string   `json:"why"`
}

// ColumnGuess is one column and what it is for.
type ColumnGuess struct {
	Name    string        `json:"name"`
	Role    Role          `json:"role"`
	Channel trace.Channel `json:"channel,omitzero"`
	Factor  float64       `json:"factor,omitempty"`   // from the written unit to the channel's
	PeriodS float64       `json:"period_s,omitempty"` // median step between its values in the first rows
	Sure    bool          `json:"sure"`
	Why     string        `json:"why"`
}

// Inspect guesses a log from its first block and reads nothing else: the dry
// run of [Load].
func Inspect(r io.Reader, opt Options) (*Guess, error) {
	l, err := Peek(r, opt)
	if err != nil {
		return nil, err
	}
	g, err := guess(l)
	if g != nil {
		g.sheet, g.cells = opt.Sheet, opt.Range
	}
	return g, err
}

// guess gives every column its role.
func guess(l *Layout) (*Guess, error) {
	g := &Guess{Layout: l, Shape: Wide, Fingerprint: Fingerprint(l)}
	if err := g.guessTime(); err != nil {
		return nil, err
	}
	name, value, unit := g.guessLong()
	used := map[string]bool{}
	for i, c := range l.Columns {
		cg := ColumnGuess{Name: c.Name, Role: RoleIgnore, Sure: c.Sure, Why: c.Why}
		switch {
		case c.Name == g.Time.Column:
			cg.Role, cg.Sure, cg.Why = RoleTime, g.Time.Sure, g.Time.Why
		case c.Name == g.Time.Clock:
			cg.Role, cg.Why = RoleClock, "time of day beside the date"
		case name >= 0 && i == name:
			cg.Role, cg.Why = RoleName, "few texts that come again and again"
		case name >= 0 && i == value:
			cg.Role, cg.Why = RoleValue, "the only numbers beside the time"
		case name >= 0 && i == unit:
			cg.Role, cg.Why = RoleUnit, "units"
		case c.Type == Number && name < 0 && c.Name == fmt.Sprintf("column %d", i+1) && len(l.numbers(i)) == 0:
			cg.Why = "it has neither a name nor values"
		case c.Type == Number && name < 0 && isCounter(c.Name, l.numbers(i)):
			cg.Why = "it only counts rows"
		case c.Type == Number && name < 0:
			ch, factor, sure, why := guessChannel(c.Name, c.UnitRow, c.cellUnit, spanOf(l.numbers(i)))
			_, _, bare, _ := nameUnit(c.Name, c.UnitRow)
			ch.ID = channelID(ch, bare, used)
			cg = ColumnGuess{Name: c.Name, Role: RoleChannel, Channel: ch, Factor: factor, Sure: sure && c.Sure, Why: why}
		case c.Type == Time:
			cg.Why = "another column tells the time"
		}
		g.Columns = append(g.Columns, cg)
	}
	if name >= 0 {
		g.Shape = Long
		g.guessLongChannels(name, value, unit, used)
	}
	g.rates(name, value)
	g.note()
	return g, nil
}

// note says what was only guessed.
func (g *Guess) note() {
	g.Notes = nil
	for _, c := range append(slices.Clone(g.Columns), g.Channels...) {
		if !c.Sure && c.Role != RoleIgnore && c.Role != RoleTime {
			g.Notes = append(g.Notes, fault.Notef("log-guess", "column %q: %s", c.Name, c.Why))
		}
	}
	if !g.Time.Sure {
		text := fmt.Sprintf("times are read as %s: %s", g.Time.Form, g.Time.Why)
		if g.twoOrders() {
			text += "; say --date-order dmy or mdy, or write the form into a column map"
		}
		g.Notes = append(g.Notes, fault.Note{Code: "log-time-guess", Text: text})
	}
	if g.Time.Form.Local() {
		g.Notes = append(g.Notes, fault.Notef("log-no-offset", "the times have no offset from UTC and are read as UTC unless the map gives one"))
	}
}

// twoOrders tells whether the dates allow day and month in both orders.
func (g *Guess) twoOrders() bool {
	return slices.ContainsFunc(g.Layout.Columns, func(c ColumnLayout) bool { return c.Name == g.Time.Column && c.twoOrders })
}

// settle takes over what the whole column told of the order of its dates.
func (g *Guess) settle() {
	for _, c := range g.Layout.Columns {
		if c.Name == g.Time.Column && c.Type == Time && otherOrder(c.Form) != "" {
			g.Time.Form, g.Time.Sure, g.Time.Why = c.Form, c.Sure, c.Why
			if g.Time.Clock != "" {
				g.Time.Why = besideClock(c.Why)
			}
		}
	}
	for i := range g.Columns {
		if g.Columns[i].Role == RoleTime {
			g.Columns[i].Sure, g.Columns[i].Why = g.Time.Sure, g.Time.Why
		}
	}
	g.note()
}

func besideClock(why string) string { return "a column of dates (" + why + ") and one of times of day" }

// guessTime finds the time column.
func (g *Guess) guessTime() error {
	l := g.Layout
	date, clock, number := -1, -1, -1
	for i, c := range l.Columns {
		switch {
		case c.Type == Time && c.Form.Absolute() && date < 0:
			date = i
		case c.Type == Time && !c.Form.Absolute() && clock < 0:
			clock = i
		case c.Type == Number && number < 0 && namesTime(c.Name, c.UnitRow):
			number = i
		}
	}
	switch {
	case date >= 0 && clock >= 0 && l.Columns[date].Form.Local() && l.dateAlone(date):
		c := l.Columns[date]
		if l.Columns[clock].Form != Clock { // beside a date, h:m:s is a time of day
			l.Columns[clock].Form, l.Columns[clock].Why = Clock, "time of day beside a date"
		}
		g.Time = TimeGuess{c.Name, l.Columns[clock].Name, c.Form, c.Sure, besideClock(c.Why)}
	case date >= 0:
		c := l.Columns[date]
		g.Time = TimeGuess{c.Name, "", c.Form, c.Sure, c.Why}
	case clock >= 0:
		c := l.Columns[clock]
		g.Time = TimeGuess{c.Name, "", c.Form, c.Sure, c.Why}
	case number >= 0:
		c := l.Columns[number]
		form, sure, why := guessNumberForm(c.Name, c.UnitRow, l.numbers(number))
		g.Time = TimeGuess{c.Name, "", form, sure, why}
	default:
		// The first column of numbers that only rise may be the time.
		for i, c := range l.Columns {
			if v := l.numbers(i); c.Type == Number && len(v) > 2 && rises(v) {
				form, _, why := guessNumberForm(c.Name, c.UnitRow, v)
				g.Time = TimeGuess{c.Name, "", form, false, "its numbers only rise; " + why}
				return nil
			}
		}
		return fault.New("log-no-time", "no column tells the time").
			WithFix("say in a column map which one does; the columns are: %s", columnNames(l))
	}
	return nil
}

// dateAlone tells whether the cells of a column hold a date and no time.
func (l *Layout) dateAlone(c int) bool {
	for _, r := range l.rows {
		if c < len(r) && strings.Contains(r[c], ":") {
			return false
		}
	}
	return true
}

// numbers are the sampled numbers of a column.
func (l *Layout) numbers(c int) []float64 {
	var out []float64
	for _, r := range l.rows {
		if c >= len(r) {
			continue
		}
		bare, _ := splitUnit([]byte(r[c]))
		if v, _, ok := parseCell(bare, l.decimalOf(c)); ok {
			out = append(out, v)
		}
	}
	return out
}

func spanOf(v []float64) span {
	s := span{math.Inf(1), math.Inf(-1)}
	for _, x := range v {
		s = span{min(s.lo, x), max(s.hi, x)}
	}
	return s
}

func rises(v []float64) bool {
	for i := 1; i < len(v); i++ {
		if v[i] <= v[i-1] {
			return false
		}
	}
	return true
}

// isCounter tells a column that only numbers the rows.
func isCounter(name string, v []float64) bool {
	switch strings.Trim(strings.ToLower(name), " .:") {
	case "#", "no", "nr", "n", "index", "row", "sample", "record", "scan", "id", "seq", "count", "column 1":
	default:
		return false
	}
	for i := 1; i < len(v); i++ {
		if v[i]-v[i-1] != 1 {
			return false
		}
	}
	return len(v) > 1
}

func namesTime(name, unitRow string) bool {
	lower := strings.ToLower(name)
	for _, w := range wordSplit.Split(lower, -1) {
		switch w {
		case "time", "times", "timestamp", "elapsed", "zeit", "datum", "date", "datetime", "uptime", "millis", "seconds", "secs", "epoch", "laufzeit":
			return true
		}
	}
	_, form, bare, _ := nameUnit(name, unitRow)
	return name == "t" || form != "" && (bare == "t" || bare == "T" || bare == "") || timeUnits[lower] != "" && lower != "d" && lower != "h"
}

// guessNumberForm tells what a column of numbers counts.
func guessNumberForm(name, unitRow string, v []float64) (TimeForm, bool, string) {
	_, form, _, how := nameUnit(name, unitRow)
	if form == "" {
		form = timeUnits[strings.ToLower(strings.TrimSpace(name))]
		how = "its name"
	}
	s := spanOf(v)
	switch {
	case len(v) == 0:
	case s.lo > 1e14 && s.hi < 1e16:
		return UnixUS, true, "microseconds since 1970, from their size"
	case s.lo > 1e11 && s.hi < 1e13:
		return UnixMS, true, "milliseconds since 1970, from their size"
	case s.lo > 3e8 && s.hi < 1e10:
		return UnixS, true, "seconds since 1970, from their size"
	case s.lo > 20000 && s.hi < 80000 && s.hi-s.lo < 10 && fractional(v):
		return SerialDays, false, "spreadsheet days, from their size"
	}
	if form != "" {
		return form, true, fmt.Sprintf("%s from %s", form, how)
	}
	step := medianStep(v)
	switch {
	case len(v) > 2 && s.hi <= 2 && step > 0 && step < 0.005:
		return DayFraction, false, "fractions of a day, since the steps are so small"
	case step >= 90 && !fractional(v) && math.Mod(step, 60) != 0:
		return Milliseconds, false, fmt.Sprintf("milliseconds, since they step by %g", step)
	}
	return Seconds, false, "seconds are taken"
}

func fractional(v []float64) bool {
	for _, x := range v {
		if x != math.Trunc(x) {
			return true
		}
	}
	return false
}

func medianStep(v []float64) float64 {
	if len(v) < 2 {
		return 0
	}
	d := make([]float64, len(v)-1)
	for i := range d {
		d[i] = v[i+1] - v[i]
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// guessLong tells whether the log has a row for each channel and time.
func (g *Guess) guessLong() (name, value, unit int) {
	name, value, unit = -1, -1, -1
	l := g.Layout
	numbers := 0
	for i, c := range l.Columns {
		if c.Name == g.Time.Column || c.Name == g.Time.Clock {
			continue
		}
		switch c.Type {
		case Number:
			if isCounter(c.Name, l.numbers(i)) {
				continue
			}
			numbers++
			value = i
		case Text:
			levels := l.levels(i)
			units := len(levels) > 0
			for _, s := range levels {
				units = units && unitNames[strings.ToLower(s)] != ""
			}
			switch {
			case units && unit < 0:
				unit = i
			case len(levels) >= 1 && len(levels) <= 64 && len(levels)*3 <= len(l.rows) && name < 0:
				name = i
			}
		}
	}
	// One value column, and a name that changes while the time stands still
	// or the same time comes again under another name.
	if numbers != 1 || name < 0 || len(l.levels(name)) < 2 {
		return -1, -1, -1
	}
	return name, value, unit
}

// levels are the distinct filled cells of a column in the first rows.
func (l *Layout) levels(c int) []string {
	var out []string
	for _, r := range l.rows {
		if c < len(r) && r[c] != "" && !slices.Contains(out, r[c]) {
			out = append(out, r[c])
			if len(out) > 65 {
				break
			}
		}
	}
	return out
}

// guessLongChannels guesses a channel for each name of a long log.
func (g *Guess) guessLongChannels(name, value, unit int, used map[string]bool) {
	l := g.Layout
	_, _, _, how := nameUnit(l.Columns[value].Name, l.Columns[value].UnitRow)
	for _, level := range l.levels(name) {
		var v []float64
		var u string
		for _, r := range l.rows {
			if name >= len(r) || value >= len(r) || r[name] != level {
				continue
			}
			if x, _, ok := parseCell([]byte(r[value]), l.decimalOf(value)); ok {
				v = append(v, x)
			}
			if unit >= 0 && unit < len(r) && u == "" {
				u = r[unit]
			}
		}
		if u == "" && how != "" {
			vu, _, _, _ := nameUnit(l.Columns[value].Name, l.Columns[value].UnitRow)
			u = string(vu)
		}
		ch, factor, sure, why := guessChannel(level, u, l.Columns[value].cellUnit, spanOf(v))
		_, _, bare, _ := nameUnit(level, u)
		ch.ID = channelID(ch, bare, used)
		g.Channels = append(g.Channels, ColumnGuess{Name: level, Role: RoleChannel, Channel: ch, Factor: factor, Sure: sure, Why: why})
	}
}

// Fingerprint names the shape of a log: the hash of its delimiter and header,
// whatever the capitals and spaces. Files of one program share it.
func Fingerprint(l *Layout) string {
	var b strings.Builder
	b.WriteString(l.Delimiter)
	for _, c := range l.Columns {
		b.WriteByte(0x1f)
		if l.HeaderLine > 0 {
			b.WriteString(strings.Join(strings.Fields(strings.ToLower(c.Name+" "+c.UnitRow)), " "))
		} else {
			b.WriteString(string(c.Type) + string(c.Form))
		}
	}
	if l.HeaderLine == 0 {
		b.WriteString("\x1fno header " + strconv.Itoa(len(l.Columns)))
	}
	sum := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(sum[:8])
}

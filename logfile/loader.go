package logfile

import (
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/trace"
)

// loader turns the windows of a table into traces by a map. What it keeps of
// a log does not grow with its rows.
type loader struct {
	log  *Log
	own  bool // the map is the guess's own
	sink Sink
	most int // cells that may be kept; 0 any number

	account Account // of times and names, joined to the log's at the end
	begun   bool
	rows    int
	win     *Table
	times   []int64 // of the window's rows, NoTime where one has none
	clock   wrapping

	session  int // that is asked for, 0 the longest
	starts   startFinder
	sessions int
	kept     *session // the best of those before
	now      *session
	others   Account
	told     []string // the first sessions

	value    *Column // of a long log, of the window
	units    *Column
	codes    []int // channel of each name, −1 if the map has none
	decimals []int // of each channel, so far
}

// mostNames bounds how many texts the names and the units of a long log may
// be.
const mostNames = 1 << 16

// buffered is how many samples of all channels are gathered before they go to
// the sink, and pieceSamples how many of one.
const (
	buffered     = 1 << 20
	pieceSamples = 1 << 16
)

// pieceLen is how many samples of a channel make a piece.
func (l *loader) pieceLen() int {
	return min(pieceSamples, max(256, buffered/max(1, len(l.log.Map.Channels))))
}

// begin checks the columns that the map names.
func (l *loader) begin(t *Table) error {
	if l.begun {
		return nil
	}
	l.begun = true
	m := l.log.Map
	if m.Time.Form.Absolute() && l.session > 1 {
		return noSession(l.session, 1)
	}
	want := Time
	if numberForms[m.Time.Form] > 0 {
		want = Number
	}
	if _, err := columnOf(t, "time.column", m.Time.Column, want); err != nil {
		return err
	}
	if m.Time.Clock != "" {
		if _, err := columnOf(t, "time.clock", m.Time.Clock, Time); err != nil {
			return err
		}
	}
	if m.Time.Form.Local() {
		if _, err := m.Time.offsetMin(); err != nil {
			return err
		}
	}
	if m.Shape == Long {
		if _, err := columnOf(t, "long.name", m.Long.Name, Text); err != nil {
			return err
		}
		if _, err := columnOf(t, "long.value", m.Long.Value, Number); err != nil {
			return err
		}
	} else {
		for _, mc := range m.Channels {
			if _, err := columnOf(t, "channels.column", mc.Column, Number); err != nil {
				return err
			}
		}
	}
	l.starts = startFinder{first: NoTime, last: NoTime}
	l.clock.last = NoTime
	l.sessions = 1
	l.now = l.newSession()
	return nil
}

// columnOf finds a column the map names.
func columnOf(t *Table, field, name string, want Type) (*Column, error) {
	c := t.Column(name)
	if c == nil {
		return nil, fault.BadUsage("log-column", "the file has no column %q, which the column map names", name).On(field, name).
			WithFix("the columns are: %s", columnNames(t.Layout))
	}
	if c.Type != want {
		return nil, fault.New("log-column-type", "column %q holds %s where the column map wants %s", name, c.Type, want).On(field, name).
			WithFix("correct the column map")
	}
	return c, nil
}

// window reads the rows of a window; next is the one behind it.
func (l *loader) window(w, next *Table) error {
	if err := l.begin(w); err != nil {
		return err
	}
	if l.rows += w.Rows; l.most > 0 && l.rows*len(w.Columns) > l.most {
		return tooManyCells(l.most, w)
	}
	l.win = w
	m := l.log.Map
	if m.Shape == Long {
		if err := l.names(next); err != nil {
			return err
		}
	}
	l.readTimes()
	l.countDecimals()
	return l.cutSessions()
}

// countDecimals takes over how finely each channel is written so far.
func (l *loader) countDecimals() {
	m := l.log.Map
	l.decimals = slices.Grow(l.decimals[:0], len(m.Channels))[:len(m.Channels)]
	for i, mc := range m.Channels {
		name := mc.Column
		if m.Shape == Long {
			name = m.Long.Value
		}
		if c := l.win.Column(name); c != nil {
			l.decimals[i] = min(c.Decimals, trace.MostDecimals)
		}
	}
}

// place puts the rows from … to−1 of the window into the channels of the
// session.
func (l *loader) place(from, to int) error {
	s := l.now
	if s.rows == 0 && to > from {
		s.from = l.win.Record(from)
	}
	s.rows += to - from
	m := l.log.Map
	if m.Shape != Long {
		n := s.lane(l, 0, len(m.Channels), "")
		n.records = slices.Grow(n.records, to-from)
		for i := from; i < to; i++ {
			n.records = append(n.records, l.win.Record(i))
		}
		n.times = append(n.times, l.times[from:to]...)
		for c, mc := range m.Channels {
			cells := l.win.Column(mc.Column).Numbers[from:to:to]
			if len(n.cells[c]) > 0 { // a run of one time is carried over
				cells = append(n.cells[c], cells...)
			}
			n.cells[c] = cells
		}
		return n.settle(l, false)
	}
	codes := l.win.Column(m.Long.Name).Codes
	for i := from; i < to; i++ {
		c := l.codes[codes[i]]
		if c < 0 {
			continue
		}
		mc := m.Channels[c]
		n := s.lane(l, c, 1, mc.Column)
		v := l.value.Numbers[i]
		if l.units != nil && n.otherUnit(l, i) {
			v = math.NaN()
		}
		n.records, n.times, n.cells[0] = append(n.records, l.win.Record(i)), append(n.times, l.times[i]), append(n.cells[0], v)
	}
	for _, n := range s.lanes {
		if n != nil && len(n.times) > 0 {
			if err := n.settle(l, false); err != nil {
				return err
			}
		}
	}
	return nil
}

// finish ends the last session, tells the sink what the traces are and joins
// the accounts.
func (l *loader) finish(t *Table) error {
	if err := l.begin(t); err != nil { // of a table without records
		return err
	}
	if err := l.endSession(); err != nil {
		return err
	}
	if l.session > l.sessions {
		return noSession(l.session, l.sessions)
	}
	log, m := l.log, l.log.Map
	a := &log.Account
	joinWhole(a, &l.account)
	l.clock.note(a)
	l.tellSessions(a)
	joinWhole(a, &l.others)

	var numbers []int
	kept := 0
	for i, mc := range m.Channels {
		decimals := 0
		name := mc.Column
		if m.Shape == Long {
			name = m.Long.Value
			if !slices.Contains(l.codes, i) {
				a.note("log-channel-absent", "no row names the channel %q of the column map", mc.Column)
				continue
			}
		}
		decimals = min(t.Column(name).Decimals, trace.MostDecimals)
		head := &trace.Trace{Channel: mc.Channel, Elapsed: !m.Time.Form.Absolute(), Quantum: mc.factor() / math.Pow10(decimals), Source: log.SHA256}
		if head.Channel.SourceName == "" {
			head.Channel.SourceName = mc.Column
		}
		if t.HasOffset && m.Time.Form == RFC3339 {
			head.OffsetMin = t.OffsetMin
		} else if m.Time.Form.Local() {
			head.OffsetMin, _ = m.Time.offsetMin()
		}
		log.Traces, numbers = append(log.Traces, head), append(numbers, i)
		e := Extent{}
		if n := l.now.laneOf(m, i); n != nil {
			if n.first == i {
				n.tell(a)
				kept += n.kept
			}
			e = n.channels[i-n.first].end(n, a, decimals)
		}
		log.Extents = append(log.Extents, e)
	}
	if n := l.now.laneOf(m, 0); n != nil && m.Shape != Long && len(m.Channels) == 0 {
		n.tell(a) // no channel: the rows were read all the same
		kept = n.kept
	}
	a.Kept = kept
	return l.sink.Done(log.Traces, numbers)
}

// joinWhole joins an account whose rows are those of the file.
func joinWhole(a, b *Account) {
	if a.Counts == nil {
		a.Counts = map[ProblemKind]int{}
	}
	a.join(b, 0, 0)
	a.Notes = append(a.Notes, b.Notes...)
}

// names gives each name of a long log its channel and sets the window's
// columns.
func (l *loader) names(next *Table) error {
	m, w := l.log.Map, l.win
	names := w.Column(m.Long.Name)
	l.value, l.units = w.Column(m.Long.Value), w.Column(m.Long.Unit)
	if l.units != nil && l.units.Type != Text {
		l.units = nil
	}
	if n := len(names.Levels); n > mostNames || l.units != nil && len(l.units.Levels) > mostNames {
		return fault.New("log-names", "column %q holds more than %d names", m.Long.Name, mostNames).
			WithFix("check which column names the channels, or split the log")
	}
	for code := len(l.codes); code < len(names.Levels); code++ {
		level := names.Levels[code]
		channel := slices.IndexFunc(m.Channels, func(c MapChannel) bool { return c.Column == level })
		if channel < 0 && l.own && level != "" {
			channel = l.lateName(uint32(code), level, next)
		}
		l.codes = append(l.codes, channel)
	}
	for i, v := range names.Codes {
		if l.codes[v] < 0 {
			l.account.add(Problem{Kind: UnmappedName, Row: w.Record(i), Column: names.Name, Value: names.Levels[v]})
		}
	}
	return nil
}

// lateName adds a channel for a name that comes after the rows the guess was
// made from, by what it tells in this window and the next.
func (l *loader) lateName(code uint32, level string, next *Table) int {
	m := l.log.Map
	used := map[string]bool{}
	for _, c := range m.Channels {
		used[c.ID] = true
	}
	var unit string
	var seen []float64
	for _, w := range []*Table{l.win, next} {
		if w == nil {
			continue
		}
		names, values, units := w.Column(m.Long.Name), w.Column(m.Long.Value), w.Column(m.Long.Unit)
		for i, v := range names.Codes {
			if v != code {
				continue
			}
			if unit == "" && units != nil && units.Type == Text {
				unit = units.Text(i)
			}
			if x := values.Numbers[i]; !math.IsNaN(x) {
				seen = append(seen, x)
			}
		}
	}
	ch, factor, _, why := guessChannel(level, unit, l.value.Layout.cellUnit, spanOf(seen))
	_, _, bare, _ := nameUnit(level, unit)
	ch.ID = channelID(ch, bare, used)
	m.Channels = append(m.Channels, ColumnGuess{Name: level, Channel: ch, Factor: factor}.channel())
	l.account.note("log-guess", "channel %q, which comes late: %s", level, why)
	return len(m.Channels) - 1
}

// otherUnit tells, and accounts for, a row of a long log in another unit than
// its channel's.
func (n *lane) otherUnit(l *loader, i int) bool {
	c := &n.channels[0]
	want := c.Written
	if want == "" {
		want = string(c.Unit)
	}
	u := l.units.Text(i)
	if u == "" || string(unitNames[strings.ToLower(u)]) == want {
		return false
	}
	n.account.add(Problem{Kind: MixedUnit, Row: l.win.Record(i), Column: l.log.Map.Long.Unit, Value: u, Detail: c.Column + " is in " + want})
	return true
}

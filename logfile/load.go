package logfile

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/trace"
)

// LoadOptions say how a log is loaded. The zero value guesses everything.
type LoadOptions struct {
	Map *Map // what the columns are; nil takes the guess
	// Sheet and Range say what of a workbook is read where no map says it;
	// see [Options].
	Sheet, Range string
	// Session picks one of several logs glued into one file, from 1; 0 takes
	// the one with the most rows.
	Session int
	// DateOrder says which of day and month comes first where no map says it
	// and the dates allow both.
	DateOrder DateOrder
	Maps      []*Map // saved maps: the first that fits the file stands instead of the guess
	Limits    Limits
	Raw       io.Writer // receives every byte of the file as it was read
}

// Log is a loaded log: one trace for each channel, and what became of every
// row. Traces of a wide log share their times' memory.
type Log struct {
	Traces  []*trace.Trace
	Map     *Map   // as it was followed
	Guess   *Guess // nil when a map was given
	Account Account
	SHA256  string // of the raw file, hex
}

// Load reads a log into traces. Without a map it follows the guess that
// [Inspect] shows. A cell that is no number is a missing sample; a row whose
// time cannot be read, is not later than the one before, or repeats it is kept
// out; all of them stand in the account with their row.
func Load(r io.Reader, opt LoadOptions) (*Log, error) {
	log := &Log{Map: opt.Map}
	read := Options{Limits: opt.Limits, Raw: opt.Raw, Sheet: opt.Sheet, Range: opt.Range, DateOrder: opt.DateOrder}
	if log.Map != nil {
		if err := log.Map.check(); err != nil {
			return nil, err
		}
		log.Map.options(&read)
	}
	own := false // the map is the guess's own
	t, err := readTable(r, read, func(l *Layout, o *Options) error {
		if log.Map != nil {
			return nil
		}
		g, err := guess(l)
		if err != nil {
			return err
		}
		g.sheet, g.cells = opt.Sheet, opt.Range
		log.Guess = g
		if log.Map = Match(opt.Maps, g); log.Map == nil {
			log.Map, own = g.Map(), true
		} else if err := log.Map.check(); err != nil {
			return err
		}
		log.Map.options(o)
		if own { // the whole column may still tell the order of its dates
			delete(o.Forms, log.Map.Time.Column)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	log.SHA256, log.Account = t.SHA256, t.Account
	if own {
		log.Guess.settle()
		log.Map.Time.Form = log.Guess.Time.Form
		log.Account.Notes = append(log.Account.Notes, log.Guess.Notes...)
	}
	l := &loader{log: log, table: t, m: log.Map, session: opt.Session}
	if own && log.Map.Shape == Long {
		l.addLateNames()
	}
	if err := l.run(); err != nil {
		return nil, err
	}
	log.Account.sort()
	return log, nil
}

// options tells the table reader what the map knows.
func (m *Map) options(o *Options) {
	o.Delimiter, o.Decimal = m.Delimiter[0], m.Decimal[0]
	if m.Sheet != "" {
		o.Sheet = m.Sheet
	}
	if m.Range != "" {
		o.Range = m.Range
	}
	o.Types, o.Forms = map[string]Type{}, map[string]TimeForm{}
	o.Only = []string{m.Time.Column}
	if numberForms[m.Time.Form] > 0 {
		o.Types[m.Time.Column] = Number
	} else {
		o.Forms[m.Time.Column] = m.Time.Form
	}
	if m.Time.Clock != "" {
		o.Forms[m.Time.Clock] = Clock
		o.Only = append(o.Only, m.Time.Clock)
	}
	if m.Shape == Long {
		o.Types[m.Long.Name], o.Types[m.Long.Value] = Text, Number
		o.Only = append(o.Only, m.Long.Name, m.Long.Value)
		if m.Long.Unit != "" {
			o.Types[m.Long.Unit] = Text
			o.Only = append(o.Only, m.Long.Unit)
		}
		return
	}
	for _, c := range m.Channels {
		o.Types[c.Column] = Number
		o.Only = append(o.Only, c.Column)
	}
}

// loader turns a table into traces by a map.
type loader struct {
	log   *Log
	table *Table
	m     *Map
	times []int64 // of every row, NoTime where it has none

	session int
}

func (l *loader) run() error {
	if err := l.readTimes(); err != nil {
		return err
	}
	if err := l.sessions(); err != nil {
		return err
	}
	if l.m.Shape == Long {
		return l.long()
	}
	return l.wide()
}

// column finds a column the map names.
func (l *loader) column(field, name string, want Type) (*Column, error) {
	c := l.table.Column(name)
	if c == nil {
		return nil, fault.BadUsage("log-column", "the file has no column %q, which the column map names", name).On(field, name).
			WithFix("the columns are: %s", columnNames(l.table.Layout))
	}
	if c.Type != want {
		return nil, fault.New("log-column-type", "column %q holds %s where the column map wants %s", name, c.Type, want).On(field, name).
			WithFix("correct the column map")
	}
	return c, nil
}

// readTimes makes one time in µs of every row.
func (l *loader) readTimes() error {
	t, form := l.table, l.m.Time.Form
	if scale := numberForms[form]; scale > 0 {
		c, err := l.column("time.column", l.m.Time.Column, Number)
		if err != nil {
			return err
		}
		l.times = make([]int64, len(c.Numbers))
		for i, v := range c.Numbers {
			if form == SerialDays {
				v -= 25569
			}
			us := math.Round(v * scale)
			if !(math.Abs(us) < 1e17) { // NaN too
				l.times[i] = NoTime
				l.log.Account.add(Problem{Kind: NotATime, Row: t.Record(i), Column: c.Name, Detail: "row kept out"})
				continue
			}
			l.times[i] = int64(us)
		}
		c.Numbers = nil
	} else {
		c, err := l.column("time.column", l.m.Time.Column, Time)
		if err != nil {
			return err
		}
		l.times, c.Times = c.Times, nil
	}
	if l.m.Time.Clock != "" {
		c, err := l.column("time.clock", l.m.Time.Clock, Time)
		if err != nil {
			return err
		}
		for i, us := range c.Times {
			if us == NoTime || l.times[i] == NoTime {
				l.times[i] = NoTime
				continue
			}
			l.times[i] += us
		}
	}
	if form == Clock {
		l.unwrap()
	}
	if form.Local() {
		min, err := l.m.Time.offsetMin()
		if err != nil {
			return err
		}
		for i, us := range l.times {
			if us != NoTime {
				l.times[i] = us - int64(min)*60e6
			}
		}
	}
	return nil
}

// unwrap carries times of day across midnight.
func (l *loader) unwrap() {
	const day = 86400e6
	add, last := int64(0), int64(NoTime)
	for i, us := range l.times {
		if us == NoTime {
			continue
		}
		if last != NoTime && us+add < last-day/2 {
			add += day
			l.log.Account.note("log-midnight", "row %d is past midnight: the times of day begin again", l.table.Record(i))
		}
		last = us + add
		l.times[i] = last
	}
}

// wide makes a trace of each column.
func (l *loader) wide() error {
	rows := make([]int, len(l.times))
	for i := range rows {
		rows[i] = i
	}
	if l.m.Time.Spread {
		l.spread(rows)
	}
	rows = l.inOrder(rows, "")
	times := l.pick(rows)
	l.gaps(rows, times, "")
	for _, mc := range l.m.Channels {
		c, err := l.column("channels.column", mc.Column, Number)
		if err != nil {
			return err
		}
		l.add(mc, c, rows, times)
		c.Numbers = nil
	}
	l.log.Account.Kept = len(rows)
	return nil
}

// long makes a trace of the rows of each name.
func (l *loader) long() error {
	names, err := l.column("long.name", l.m.Long.Name, Text)
	if err != nil {
		return err
	}
	values, err := l.column("long.value", l.m.Long.Value, Number)
	if err != nil {
		return err
	}
	units := l.table.Column(l.m.Long.Unit)
	kept := 0
	known := map[string]bool{}
	for _, mc := range l.m.Channels {
		known[mc.Column] = true
		code := slices.Index(names.Levels, mc.Column)
		if code < 0 {
			l.log.Account.note("log-channel-absent", "no row names the channel %q of the column map", mc.Column)
			continue
		}
		var rows []int
		for i, v := range names.Codes {
			if v == uint32(code) {
				rows = append(rows, i)
			}
		}
		if l.m.Time.Spread {
			l.spread(rows)
		}
		rows = l.inOrder(rows, mc.Column)
		if units != nil && units.Type == Text {
			l.otherUnits(mc, units, values, rows)
		}
		times := l.pick(rows)
		l.gaps(rows, times, mc.Column)
		l.add(mc, values, rows, times)
		kept += len(rows)
	}
	for i, v := range names.Codes {
		if level := names.Levels[v]; !known[level] {
			l.log.Account.add(Problem{Kind: UnmappedName, Row: l.table.Record(i), Column: names.Name, Value: level})
		}
	}
	l.log.Account.Kept = kept
	return nil
}

// addLateNames adds a channel for each name that comes after the rows the
// guess was made from.
func (l *loader) addLateNames() {
	names, values := l.table.Column(l.m.Long.Name), l.table.Column(l.m.Long.Value)
	if names == nil || values == nil || names.Type != Text || values.Type != Number {
		return // told by long
	}
	used, known := map[string]bool{}, map[string]bool{"": true}
	for _, c := range l.m.Channels {
		used[c.ID], known[c.Column] = true, true
	}
	for code, level := range names.Levels {
		if known[level] {
			continue
		}
		var unit string
		var seen []float64
		for i, v := range names.Codes {
			if v != uint32(code) {
				continue
			}
			if c := l.table.Column(l.m.Long.Unit); unit == "" && c != nil && c.Type == Text {
				unit = c.Text(i)
			}
			if v := values.Numbers[i]; !math.IsNaN(v) {
				seen = append(seen, v)
			}
		}
		ch, factor, _, why := guessChannel(level, unit, values.Layout.cellUnit, spanOf(seen))
		_, _, bare, _ := nameUnit(level, unit)
		ch.ID = channelID(ch, bare, used)
		l.m.Channels = append(l.m.Channels, ColumnGuess{Name: level, Channel: ch, Factor: factor}.channel())
		l.log.Account.note("log-guess", "channel %q, which comes late: %s", level, why)
	}
}

// otherUnits makes missing what a long log wrote in another unit than the
// channel's.
func (l *loader) otherUnits(mc MapChannel, units, values *Column, rows []int) {
	want := mc.Written
	if want == "" {
		want = string(mc.Unit)
	}
	for _, i := range rows {
		u := units.Text(i)
		if got := unitNames[strings.ToLower(u)]; u != "" && string(got) != want {
			l.log.Account.add(Problem{Kind: MixedUnit, Row: l.table.Record(i), Column: l.m.Long.Unit, Value: u, Detail: fmt.Sprintf("%s is in %s", mc.Column, want)})
			values.Numbers[i] = math.NaN()
		}
	}
}

// pick takes the times of the rows.
func (l *loader) pick(rows []int) []int64 {
	out := make([]int64, len(rows))
	for k, i := range rows {
		out[k] = l.times[i]
	}
	return out
}

// spread shares out runs of one time evenly up to the next time; the last run
// takes the step of the run before.
func (l *loader) spread(rows []int) {
	step := int64(0)
	for a := 0; a < len(rows); {
		us := l.times[rows[a]]
		b := a + 1
		for b < len(rows) && l.times[rows[b]] == us {
			b++
		}
		if n := int64(b - a); us != NoTime && n > 1 {
			if b < len(rows) && l.times[rows[b]] > us {
				step = (l.times[rows[b]] - us) / n
			}
			for k := a; k < b; k++ {
				l.times[rows[k]] = us + int64(k-a)*step
			}
		}
		a = b
	}
}

// inOrder keeps the rows whose time is later than that of every row kept
// before, and accounts for the others.
func (l *loader) inOrder(rows []int, channel string) []int {
	kept := rows[:0]
	last := int64(NoTime)
	back, run := 0, 0 // first row and length of a run of earlier rows
	var by, before int64
	flush := func() {
		if run >= 5 {
			l.log.Account.add(Problem{Kind: ClockJump, Row: l.table.Record(back), Column: channel,
				Detail: fmt.Sprintf("the clock went back by %.6g s; %d rows are kept out until it passes the time before", float64(by)/1e6, run)})
		}
		run = 0
	}
	duplicates := 0
	for _, i := range rows {
		us := l.times[i]
		switch {
		case us == NoTime: // in the account already
		case last == NoTime || us > last:
			flush()
			kept, last = append(kept, i), us
		case us == last && run == 0:
			duplicates++
			l.log.Account.add(Problem{Kind: DuplicateTime, Row: l.table.Record(i), Column: channel})
		default:
			if run == 0 || us < before {
				flush()
				back, by = i, last-us
			}
			run++
			before = us
			l.log.Account.add(Problem{Kind: OutOfOrder, Row: l.table.Record(i), Column: channel})
		}
	}
	flush()
	if duplicates > 2 && duplicates*10 > len(rows) {
		l.log.Account.note("log-coarse-stamps", "%d of %d rows repeat the time stamp before them: if the stamps are coarser than the rate, set spread: true in the column map", duplicates, len(rows))
	}
	return kept
}

// gaps lists steps longer than five times the median and two seconds.
func (l *loader) gaps(rows []int, times []int64, channel string) {
	if len(times) < 3 {
		return
	}
	steps := make([]int64, len(times)-1)
	for i := range steps {
		steps[i] = times[i+1] - times[i]
	}
	slices.Sort(steps)
	limit := max(5*steps[len(steps)/2], 2e6)
	const most = 1000
	for i := 1; i < len(times) && len(l.log.Account.Gaps) < most; i++ {
		if d := times[i] - times[i-1]; d > limit {
			l.log.Account.Gaps = append(l.log.Account.Gaps, RowGap{Row: l.table.Record(rows[i]), Seconds: float64(d) / 1e6, Channel: channel})
		}
	}
}

// add makes a trace of a column's numbers in the rows.
func (l *loader) add(mc MapChannel, c *Column, rows []int, times []int64) {
	decimals := min(c.Decimals, trace.MostDecimals)
	scale := math.Pow10(decimals)
	t := &trace.Trace{
		Channel: mc.Channel, Elapsed: !l.m.Time.Form.Absolute(), TimesUS: times, Counts: make([]int64, len(rows)),
		Quantum: mc.factor() / scale, Source: l.log.SHA256,
	}
	if t.Channel.SourceName == "" {
		t.Channel.SourceName = mc.Column
	}
	if l.table.HasOffset && l.m.Time.Form == RFC3339 {
		t.OffsetMin = l.table.OffsetMin
	} else if l.m.Time.Form.Local() {
		t.OffsetMin, _ = l.m.Time.offsetMin()
	}
	var below impossible
	for k, i := range rows {
		v := c.Numbers[i]
		if math.IsNaN(v) {
			t.Missing.Set(k)
			continue
		}
		if mc.belowAbsoluteZero(v) {
			t.Missing.Set(k)
			below.add(&l.log.Account, mc, l.table.Record(i), v)
			continue
		}
		count := math.Round(v * scale)
		if math.Abs(count) >= 1<<53 {
			t.Missing.Set(k)
			l.log.Account.add(Problem{Kind: NotANumber, Row: l.table.Record(i), Column: c.Name, Value: fmt.Sprint(v), Detail: "too large for a reading"})
			continue
		}
		t.Counts[k] = int64(count)
	}
	below.note(&l.log.Account, mc)
	l.log.Traces = append(l.log.Traces, t)
}

package logfile

import (
	"fmt"
	"io"
	"math"
	"time"

	"trivet/fault"
)

// Dates such as 5/6/2026 can be read in two orders. The order is decided from
// the whole column, in this sequence: what the caller says; a number above 12
// anywhere; dates that go on day by day in one order only. Where nothing of
// this tells, the order that is usual for the way the dates are written is
// taken and the guess is not sure.

// DateOrder says which of day and month is written first.
type DateOrder string

// Orders of a date. The zero value lets the column tell.
const (
	DayFirst   DateOrder = "dmy"
	MonthFirst DateOrder = "mdy"
)

func (o DateOrder) form() TimeForm {
	return map[DateOrder]TimeForm{DayFirst: LocalDMY, MonthFirst: LocalMDY}[o]
}

// otherOrder is the form with day and month the other way round, "" for
// forms that have no such twin.
func otherOrder(f TimeForm) TimeForm {
	switch f {
	case LocalDMY:
		return LocalMDY
	case LocalMDY:
		return LocalDMY
	}
	return ""
}

// follow applies an order that the caller states to the columns of dates.
func (o DateOrder) follow(l *Layout) error {
	if o == "" {
		return nil
	}
	want := o.form()
	if want == "" {
		return fault.BadUsage("log-date-order", "this is no order of day and month").On("date-order", string(o)).WithFix("write dmy or mdy")
	}
	for i := range l.Columns {
		c := &l.Columns[i]
		switch {
		case c.Type != Time || otherOrder(c.Form) == "":
		case c.twoOrders:
			c.Form, c.Sure, c.Why, c.twoOrders = want, true, "the order of day and month as told", false
		case c.Form != want:
			return fault.BadUsage("log-date-order", "column %q cannot be read in this order: %s", c.Name, c.Why).On("date-order", string(o)).
				WithFix("leave the order to the file, or write %s", map[TimeForm]DateOrder{LocalDMY: DayFirst, LocalMDY: MonthFirst}[c.Form])
		}
	}
	return nil
}

// otherwise marks the time of a cell that only the other order reads: it
// stands in the column moved by this much, far beyond any time, until the
// whole column has been seen.
const otherwise = 1 << 61

func isOtherwise(us int64) bool { return us > 1<<60 }

// turned reads the date of a time with day and month the other way round;
// false where the date does not exist.
func turned(us int64) (int64, bool) {
	t := time.UnixMicro(us).UTC()
	y, m, d := t.Date()
	if d > 12 {
		return us, false
	}
	midnight := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).UnixMicro()
	return time.Date(y, time.Month(d), int(m), 0, 0, 0, 0, time.UTC).UnixMicro() + us - midnight, true
}

// datesSeen is what a column of dates tells of the order of day and month.
type datesSeen struct {
	name              string
	first, firstOther int   // records that only this order and only the other reads; 0 none
	firstUS           int64 // the first date, in this order
	seen              bool  // there is one
	days              dayByDay
	layout            ColumnLayout // as decided
	form, other       TimeForm     // before
	contradicts       bool
}

// add looks at more times of the column, which are rows of t.
func (x *datesSeen) add(t *Table, times []int64) {
	for i, us := range times {
		switch {
		case us == NoTime:
		case isOtherwise(us):
			if x.firstOther == 0 {
				x.firstOther = t.Record(i)
			}
		default:
			if !x.seen {
				x.firstUS, x.seen = us, true
			}
			if !x.days.add(us) && x.first == 0 {
				x.first = t.Record(i)
			}
		}
	}
}

var orderSays = map[TimeForm]string{LocalDMY: "day before month", LocalMDY: "month before day"}

// decide settles the order of a column that the first rows left open.
func (x *datesSeen) decide(layout *ColumnLayout) {
	x.form, x.other = layout.Form, otherOrder(layout.Form)
	told := func(f TimeForm, why string, args ...any) {
		layout.Form, layout.Sure, layout.twoOrders = f, true, false
		layout.Why = orderSays[f] + ": " + fmt.Sprintf(why, args...)
	}
	switch {
	case x.first > 0 && x.firstOther > 0:
		x.contradicts = true
		told(x.form, "row %d tells so, and row %d tells the opposite", x.first, x.firstOther)
	case x.first > 0:
		told(x.form, "a number above 12 stands in row %d", x.first)
	case x.firstOther > 0:
		told(x.other, "a number above 12 stands in row %d", x.firstOther)
	default:
		switch here, there := x.days.tell(); {
		case there && !here:
			told(x.other, "so the dates go on day by day")
		case here && !there:
			told(x.form, "so the dates go on day by day")
		}
	}
	x.name, x.layout = layout.Name, *layout
}

// note says that a column has dates in both orders.
func (x *datesSeen) note(a *Account) {
	if x != nil && x.contradicts {
		a.note("log-date-orders", "column %q has dates in both orders: %s is taken as in row %d; rows such as %d, which only %s reads, have no time",
			x.name, orderSays[x.form], x.first, x.firstOther, orderSays[x.other])
	}
}

// settleOrder decides the order of a column that the first rows left open.
func (t *Table) settleOrder(c *Column, layout *ColumnLayout) {
	var x datesSeen
	x.add(t, c.Times)
	x.decide(layout)
	x.note(&t.Account)
	if layout.Form != x.form {
		t.turn(c)
	}
	for i, us := range c.Times {
		if us != NoTime && isOtherwise(us) { // against the rest of the column
			c.Times[i] = NoTime
			t.Account.add(Problem{Kind: NotATime, Row: t.Record(i), Column: c.Name,
				Value: time.UnixMicro(us - otherwise).UTC().Format("2006-01-02 15:04:05"), Detail: "as " + orderSays[x.other] + " reads it, against the rest of the column"})
		}
	}
	c.Layout = *layout
}

// scanDates reads the dates of a log that is loaded into a sink, where only
// the whole column tells their order; nil where that is not needed or the log
// cannot be read twice. The log is left at its beginning.
func scanDates(r io.Reader, opt Options, maps []*Map) (*datesSeen, error) {
	s, ok := r.(io.Seeker)
	if !ok {
		return nil, nil
	}
	start, err := s.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil, nil // a pipe has a Seek that fails
	}
	opt.Raw = nil
	g, err := Inspect(r, opt)
	if _, e := s.Seek(start, io.SeekStart); e != nil {
		return nil, readFault(e)
	}
	if err != nil || Match(maps, g) != nil || !g.twoOrders() {
		return nil, nil // what is wrong with the log is told when it is loaded
	}
	x := &datesSeen{}
	opt.Only = []string{g.Time.Column}
	opt.Delimiter, opt.Decimal = g.Layout.Delimiter[0], g.Layout.Decimal[0]
	t, err := readTable(r, opt, func(*Layout, *Options) error { return nil }, func(w, _ *Table) error {
		x.add(w, w.Column(g.Time.Column).Times)
		return nil
	})
	if _, e := s.Seek(start, io.SeekStart); e != nil {
		return nil, readFault(e)
	}
	if err != nil {
		return nil, err
	}
	for i := range t.Layout.Columns {
		if c := &t.Layout.Columns[i]; c.Name == g.Time.Column {
			x.decide(c)
		}
	}
	return x, nil
}

// tell gives the column the order that the whole of it told.
func (x *datesSeen) tell(l *Layout) {
	if x == nil {
		return
	}
	for i := range l.Columns {
		if c := &l.Columns[i]; c.Name == x.name {
			c.Form, c.Sure, c.Why, c.twoOrders = x.layout.Form, x.layout.Sure, x.layout.Why, x.layout.twoOrders
		}
	}
}

// turn reads every time of a column in the other order.
func (t *Table) turn(c *Column) {
	var lastDay, by int64 = math.MinInt64, 0
	for i, us := range c.Times {
		switch {
		case us == NoTime:
		case isOtherwise(us):
			c.Times[i] = us - otherwise
		default:
			if day := floorDay(us); day != lastDay {
				to, _ := turned(us)
				lastDay, by = day, to-us
			}
			c.Times[i] = us + by
		}
	}
}

func floorDay(us int64) int64 {
	const day = 86400e6
	if us < 0 {
		return (us - day + 1) / day
	}
	return us / day
}

// dayByDay tells whether the dates follow each other within three days as
// they were read, and with day and month the other way round.
type dayByDay struct {
	lastUS, lastTo, lastDay int64
	changes                 int
	gapHere, gapThere       bool
	any                     bool
}

// add takes the next time; false where it does not exist in the other order.
func (x *dayByDay) add(us int64) (both bool) {
	day := floorDay(us)
	if x.any && day == x.lastDay {
		return true
	}
	to, both := turned(us)
	if !both {
		return false
	}
	const most = 3
	near := func(a, b int64) bool { d := floorDay(b) - floorDay(a); return 0 <= d && d <= most }
	if x.any {
		x.changes++
		x.gapHere, x.gapThere = x.gapHere || !near(x.lastUS, us), x.gapThere || !near(x.lastTo, to)
	}
	x.lastUS, x.lastTo, x.lastDay, x.any = us, to, day, true
	return true
}

// tell is false twice for a single date.
func (x *dayByDay) tell() (here, there bool) {
	return !x.gapHere && x.changes > 0, !x.gapThere && x.changes > 0
}

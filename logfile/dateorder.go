package logfile

import (
	"fmt"
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

// settleOrder decides the order of a column that the first rows left open.
func (t *Table) settleOrder(c *Column, layout *ColumnLayout) {
	first, firstOther := -1, -1 // rows that only this order and only the other reads
	for i, us := range c.Times {
		switch {
		case us == NoTime:
		case isOtherwise(us):
			if firstOther < 0 {
				firstOther = i
			}
		case first < 0:
			if _, both := turned(us); !both {
				first = i
			}
		}
		if first >= 0 && firstOther >= 0 {
			break
		}
	}
	says := map[TimeForm]string{LocalDMY: "day before month", LocalMDY: "month before day"}
	form, other := layout.Form, otherOrder(layout.Form)
	told := func(f TimeForm, why string, args ...any) {
		layout.Form, layout.Sure, layout.twoOrders = f, true, false
		layout.Why = says[f] + ": " + fmt.Sprintf(why, args...)
	}
	switch {
	case first >= 0 && firstOther >= 0:
		told(form, "row %d tells so, and row %d tells the opposite", t.Record(first), t.Record(firstOther))
		t.Account.note("log-date-orders", "column %q has dates in both orders: %s is taken as in row %d; rows such as %d, which only %s reads, have no time",
			c.Name, says[form], t.Record(first), t.Record(firstOther), says[other])
		for i, us := range c.Times {
			if us != NoTime && isOtherwise(us) {
				c.Times[i] = NoTime
				t.Account.add(Problem{Kind: NotATime, Row: t.Record(i), Column: c.Name,
					Value: time.UnixMicro(us - otherwise).UTC().Format("2006-01-02 15:04:05"), Detail: "as " + says[other] + " reads it, against the rest of the column"})
			}
		}
	case first >= 0:
		told(form, "a number above 12 stands in row %d", t.Record(first))
	case firstOther >= 0:
		t.turn(c)
		told(other, "a number above 12 stands in row %d", t.Record(firstOther))
	default:
		switch here, there := goesOn(c.Times); {
		case there && !here:
			t.turn(c)
			told(other, "so the dates go on day by day")
		case here && !there:
			told(form, "so the dates go on day by day")
		}
	}
	c.Layout = *layout
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

// goesOn tells whether the dates follow each other within three days as they
// were read, and with day and month the other way round. Both are false for
// a single date.
func goesOn(times []int64) (here, there bool) {
	var lastUS, lastTo int64
	lastDay, changes := int64(math.MinInt64), 0
	here, there = true, true
	const most = 3
	near := func(a, b int64) bool { d := floorDay(b) - floorDay(a); return 0 <= d && d <= most }
	for _, us := range times {
		if us == NoTime || isOtherwise(us) || floorDay(us) == lastDay {
			continue
		}
		to, both := turned(us)
		if !both {
			return true, false
		}
		if lastDay != math.MinInt64 {
			changes++
			here, there = here && near(lastUS, us), there && near(lastTo, to)
		}
		lastUS, lastTo, lastDay = us, to, floorDay(us)
	}
	return here && changes > 0, there && changes > 0
}

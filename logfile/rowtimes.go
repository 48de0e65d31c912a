package logfile

import "math"

// serialDayUS is how far, in µs, a time that is written as a spreadsheet's day
// may be off: many write 15 digits, 46143.5855092593, of which the last is
// 8.6 µs. A time that lies so near to a whole millisecond is taken to be that.
const serialDayUS = 5

// readTimes makes one time in µs of every row of the window.
func (l *loader) readTimes() {
	w, m := l.win, l.log.Map
	form := m.Time.Form
	c := w.Column(m.Time.Column)
	if scale := numberForms[form]; scale > 0 {
		l.times = l.times[:0]
		for i, v := range c.Numbers {
			if form == SerialDays {
				v -= 25569
			}
			us := math.Round(v * scale)
			if ms := math.Round(us/1e3) * 1e3; form == SerialDays && math.Abs(us-ms) <= serialDayUS {
				us = ms
			}
			if !(math.Abs(us) < 1e17) { // NaN too
				l.times = append(l.times, NoTime)
				l.account.add(Problem{Kind: NotATime, Row: w.Record(i), Column: c.Name, Detail: "row kept out"})
				continue
			}
			l.times = append(l.times, int64(us))
		}
	} else {
		l.times = append(l.times[:0], c.Times...)
	}
	if m.Time.Clock != "" {
		for i, us := range w.Column(m.Time.Clock).Times {
			if us == NoTime || l.times[i] == NoTime {
				l.times[i] = NoTime
				continue
			}
			l.times[i] += us
		}
	}
	if form == Clock {
		l.clock.unwrap(l.times, w)
	}
	if form.Local() {
		min, _ := m.Time.offsetMin() // checked in begin
		for i, us := range l.times {
			if us != NoTime {
				l.times[i] = us - int64(min)*60e6
			}
		}
	}
}

// wrapping carries times of day across midnight.
type wrapping struct {
	add, last int64
	midnights []int // the first records behind one
	more      int
}

func (c *wrapping) unwrap(times []int64, w *Table) {
	const day = 86400e6
	const told = 20
	for i, us := range times {
		if us == NoTime {
			continue
		}
		if c.last != NoTime && us+c.add < c.last-day/2 {
			c.add += day
			if len(c.midnights) < told {
				c.midnights = append(c.midnights, w.Record(i))
			} else {
				c.more++
			}
		}
		c.last = us + c.add
		times[i] = c.last
	}
}

func (c *wrapping) note(a *Account) {
	for _, row := range c.midnights {
		a.note("log-midnight", "row %d is past midnight: the times of day begin again", row)
	}
	if c.more > 0 {
		a.note("log-midnight", "%d more rows are past midnight", c.more)
	}
}

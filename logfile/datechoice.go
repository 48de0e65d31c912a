package logfile

import (
	"io"
	"time"
)

// DateChoice is what the dates of a log leave open: whether day or month is
// written first. Guess and its map follow the order that is taken.
type DateChoice struct {
	Column string
	First  string // the first date, as it is written
	// DayFirst and MonthFirst are that date in both orders.
	DayFirst, MonthFirst time.Time
}

// ChooseDates reads the dates of a log to their end, where its first rows
// allow day and month in both orders, and takes into the guess what the whole
// column tells. Where nothing in it tells, it returns the choice that is open;
// else nil. The log is left at its beginning. Errors: those of [Load].
func ChooseDates(r io.ReadSeeker, g *Guess, opt Options) (*DateChoice, error) {
	if !g.twoOrders() {
		return nil, nil
	}
	x, err := scanDates(r, opt, nil)
	if x == nil || err != nil {
		return nil, err
	}
	x.tell(g.Layout)
	g.settle()
	if x.layout.Sure || !x.seen {
		return nil, nil
	}
	there, _ := turned(x.firstUS)
	c := &DateChoice{Column: g.Time.Column, DayFirst: time.UnixMicro(x.firstUS).UTC(), MonthFirst: time.UnixMicro(there).UTC()}
	if x.form == LocalMDY {
		c.DayFirst, c.MonthFirst = c.MonthFirst, c.DayFirst
	}
	if c.DayFirst.Equal(c.MonthFirst) {
		return nil, nil // the 5th of May, both ways, to the end
	}
	c.First = g.firstCell(g.Time.Column)
	return c, nil
}

// firstCell is the first cell of a column that holds anything.
func (g *Guess) firstCell(name string) string {
	for i, c := range g.Layout.Columns {
		if c.Name != name {
			continue
		}
		for _, row := range g.Layout.FirstRows {
			if i < len(row) && row[i] != "" {
				return row[i]
			}
		}
	}
	return ""
}

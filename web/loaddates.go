package web

import (
	"trivet/logfile"
)

// datesView asks whether day or month comes first in the dates of a log,
// where nothing in the log tells.
type datesView struct {
	First string // as it is written
	Reads []dateReading
}

// dateReading is the first date in one order.
type dateReading struct {
	Form, Order, Day string
	Chosen           bool
}

// datesOf asks only where the guess is followed: a saved map has the order.
func datesOf(read readLog, in map[string]string) *datesView {
	if read.dates == nil {
		return nil
	}
	v := &datesView{First: read.dates.First, Reads: []dateReading{
		{Form: string(logfile.LocalDMY), Order: say("day-first"), Day: dateWords(read.dates.DayFirst, true)},
		{Form: string(logfile.LocalMDY), Order: say("month-first"), Day: dateWords(read.dates.MonthFirst, true)}}}
	for i := range v.Reads {
		v.Reads[i].Chosen = in["date-order"] == v.Reads[i].Form
	}
	return v
}

// open tells that nobody has chosen yet.
func (v *datesView) open() bool { return v != nil && !v.Reads[0].Chosen && !v.Reads[1].Chosen }

// dateForm tells the forms that differ in the order of day and month alone.
func dateForm(f logfile.TimeForm) bool { return f == logfile.LocalDMY || f == logfile.LocalMDY }

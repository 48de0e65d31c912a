package logfile_test

import (
	"strings"
	"testing"
	"time"

	"trivet/logfile"
)

// What the dates of a column leave open, and what a person is to choose from.
func TestChooseDates(t *testing.T) {
	day := func(y int, m time.Month, d, h int) time.Time { return time.Date(y, m, d, h, 0, 0, 0, time.UTC) }
	rows := func(dates ...string) string {
		var b strings.Builder
		b.WriteString("when,core (°C)\n")
		for _, d := range dates {
			b.WriteString(d + ",20.5\n")
		}
		return b.String()
	}
	slow := make([]string, 0, 500) // more than the rows that are looked at first
	for i := range 500 {
		slow = append(slow, time.Date(2026, 6, 5, 9, 0, i, 0, time.UTC).Format("02/01/2006 15:04:05"))
	}
	for _, c := range []struct {
		name string
		log  string
		want *logfile.DateChoice
		form logfile.TimeForm
	}{
		{"one day, both orders", rows("05/06/2026 10:00:00", "05/06/2026 10:00:01", "05/06/2026 10:00:02"),
			&logfile.DateChoice{Column: "when", First: "05/06/2026 10:00:00", DayFirst: day(2026, 6, 5, 10), MonthFirst: day(2026, 5, 6, 10)}, logfile.LocalDMY},
		{"with am and pm the guess is the other, the choice the same", rows("05/06/2026 10:00:00 AM", "05/06/2026 10:00:01 AM", "05/06/2026 10:00:02 AM"),
			&logfile.DateChoice{Column: "when", First: "05/06/2026 10:00:00 AM", DayFirst: day(2026, 6, 5, 10), MonthFirst: day(2026, 5, 6, 10)}, logfile.LocalMDY},
		{"the same day both ways", rows("05/05/2026 10:00:00", "05/05/2026 10:00:01", "05/05/2026 10:00:02"), nil, logfile.LocalDMY},
		{"a number above 12 at the very end", rows(append(slow, "06/13/2026 09:00:00")...), nil, logfile.LocalMDY},
		{"days that go on in one order", rows("05/06/2026 23:59:59", "06/06/2026 00:00:00", "07/06/2026 00:00:01"), nil, logfile.LocalDMY},
		{"year first", rows("2026-06-05 10:00:00", "2026-06-05 10:00:01", "2026-06-05 10:00:02"), nil, logfile.LocalYMD},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := strings.NewReader(c.log)
			g, err := logfile.Inspect(r, logfile.Options{})
			if err != nil {
				t.Fatal(err)
			}
			r.Reset(c.log)
			got, err := logfile.ChooseDates(r, g, logfile.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if (got == nil) != (c.want == nil) || got != nil && *got != *c.want {
				t.Errorf("the choice is %+v, want %+v", got, c.want)
			}
			if g.Time.Form != c.form || g.Map().Time.Form != c.form {
				t.Errorf("read as %s, want %s", g.Time.Form, c.form)
			}
			if r.Len() != len(c.log) {
				t.Errorf("the log is left with %d of %d bytes to read", r.Len(), len(c.log))
			}
		})
	}
}

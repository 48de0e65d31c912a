package logfile

import (
	"fmt"
	"strings"

	"trivet/fault"
)

// Several logs glued into one file each begin with their own header or lines
// of metadata, and their times since the start begin again. Such a file is
// cut where rows that are no records stand before a time that goes back to
// what a log begins with; one session is loaded, the others are accounted
// for. Clock times simply go on and need no cut.

// mostSessionTold is how many sessions a note names.
const mostSessionTold = 8

// sessions keeps the rows of one session.
func (l *loader) sessions() error {
	if l.m.Time.Form.Absolute() {
		if l.session > 1 {
			return noSession(l.session, 1)
		}
		return nil
	}
	bounds := []int{0}
	first, last, lastRow := int64(NoTime), int64(NoTime), 0
	for i, us := range l.times {
		if us == NoTime {
			continue
		}
		if first == NoTime {
			first = us
		}
		// The header again, or lines that are no records, stand between.
		between := l.table.Record(i)-l.table.Record(lastRow) > 1 && last != NoTime
		if between && us < last && us <= first+max(1e6, (last-first)/100) {
			bounds = append(bounds, i)
		}
		last, lastRow = us, i
	}
	n := len(bounds)
	if l.session > n {
		return noSession(l.session, n)
	}
	if n == 1 {
		return nil
	}
	bounds = append(bounds, len(l.times))
	pick := l.session - 1
	var told []string
	for k := range n {
		rows := bounds[k+1] - bounds[k]
		if l.session == 0 && (pick < 0 || rows > bounds[pick+1]-bounds[pick]) {
			pick = k
		}
		if k < mostSessionTold {
			told = append(told, fmt.Sprintf("%d with %d rows from row %d", k+1, rows, l.table.Record(bounds[k])))
		}
	}
	for i, us := range l.times {
		if (i < bounds[pick] || i >= bounds[pick+1]) && us != NoTime {
			l.times[i] = NoTime
			l.log.Account.add(Problem{Kind: OtherSession, Row: l.table.Record(i)})
		}
	}
	l.log.Account.note("log-sessions", "the file holds %d logs that begin anew (%s): number %d was read", n, strings.Join(told, "; "), pick+1)
	return nil
}

func noSession(want, have int) error {
	return fault.BadUsage("log-session", "the file holds %d logs, and number %d was asked for", have, want).On("session", fmt.Sprint(want))
}

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

// session is what was read of one session.
type session struct {
	number  int
	from    int // its first record
	rows    int
	records recordRuns // that have a time
	lanes   []*lane    // by the number of their first channel
}

func (l *loader) newSession() *session { return &session{number: l.sessions} }

// lane finds or makes the lane of n channels from number first on.
func (s *session) lane(l *loader, first, n int, name string) *lane {
	for len(s.lanes) <= first {
		s.lanes = append(s.lanes, nil)
	}
	if s.lanes[first] == nil {
		s.lanes[first] = newLane(l.log.Map, first, n, name)
	}
	return s.lanes[first]
}

// laneOf finds the lane of a channel, nil where the session has none.
func (s *session) laneOf(m *Map, channel int) *lane {
	if m.Shape != Long {
		channel = 0
	}
	if channel >= len(s.lanes) {
		return nil
	}
	return s.lanes[channel]
}

// startFinder sees where a session begins.
type startFinder struct {
	first, last int64
	lastRecord  int
}

// begins tells whether the next time with its record is the first of another
// session.
func (f *startFinder) begins(us int64, record int) bool {
	if f.first == NoTime {
		f.first = us
	}
	// The header again, or lines that are no records, stand between.
	between := record-f.lastRecord > 1 && f.last != NoTime
	yes := between && us < f.last && us <= f.first+max(1e6, (f.last-f.first)/100)
	f.last, f.lastRecord = us, record
	return yes
}

// cutSessions places the rows of the window, each in its session.
func (l *loader) cutSessions() error {
	from := 0
	if !l.log.Map.Time.Form.Absolute() {
		for i, us := range l.times {
			if us == NoTime {
				continue
			}
			record := l.win.Record(i)
			if l.starts.begins(us, record) {
				if err := l.place(from, i); err != nil {
					return err
				}
				if err := l.endSession(); err != nil {
					return err
				}
				if err := l.sink.Session(); err != nil {
					return err
				}
				from = i
				l.sessions++
				l.kept, l.now = l.now, l.newSession()
			}
			l.now.records.add(record)
		}
	}
	return l.place(from, len(l.times))
}

// endSession ends the session that is read and keeps it or the one kept
// before.
func (l *loader) endSession() error {
	for _, n := range l.now.lanes {
		if n != nil {
			if err := n.end(l); err != nil {
				return err
			}
		}
	}
	if l.sessions <= mostSessionTold {
		l.told = append(l.told, fmt.Sprintf("%d with %d rows from row %d", l.now.number, l.now.rows, l.now.from))
	}
	if l.kept == nil {
		return nil
	}
	latest := l.now.rows > l.kept.rows
	if l.session > 0 {
		latest = l.kept.number != l.session
	}
	lost := l.now
	if latest {
		lost = l.kept
	} else {
		l.now = l.kept
	}
	lost.records.tell(&l.others)
	l.kept = nil
	return l.sink.Settle(latest)
}

// tellSessions notes which session was read.
func (l *loader) tellSessions(a *Account) {
	if l.sessions > 1 {
		a.note("log-sessions", "the file holds %d logs that begin anew (%s): number %d was read", l.sessions, strings.Join(l.told, "; "), l.now.number)
	}
}

func noSession(want, have int) error {
	return fault.BadUsage("log-session", "the file holds %d logs, and number %d was asked for", have, want).On("session", fmt.Sprint(want))
}

// recordRuns are records in runs of neighbours.
type recordRuns struct {
	runs [][2]int // first and last
	more int      // records not listed
}

func (r *recordRuns) add(record int) {
	if n := len(r.runs); n > 0 && r.runs[n-1][1]+1 == record {
		r.runs[n-1][1] = record
	} else if n < MostProblems {
		r.runs = append(r.runs, [2]int{record, record})
	} else {
		r.more++
	}
}

// tell accounts for the records as being of another session.
func (r *recordRuns) tell(a *Account) {
	for _, x := range r.runs {
		a.add(Problem{Kind: OtherSession, Row: x[0], LastRow: x[1]})
	}
	if r.more > 0 {
		a.Counts[OtherSession] += r.more
		a.Unlisted += r.more
	}
}

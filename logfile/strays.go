package logfile

// A clock that shows a time far ahead for a row or a few, and then the right
// one again, would keep out every row behind it as earlier than one before.
// So rows wait until those behind them are seen: where a short run of rows is
// followed by a longer one whose times lie before it and behind what came
// earlier, it is the short run that is wrong.
const (
	mostStray  = 8  // rows in a run of strays
	mostLookup = 64 // rows that are looked through, with those without a time

	// The last rows of a log have none behind them that tell. They are strays
	// where they lie both this far off and so many times the length of all that
	// came before, of so many rows at least.
	leapUS    = 30 * 86400e6
	leapSpans = 100
	leapRows  = 16
)

// strays tells which rows stand ahead of the rows behind them.
type strays struct {
	last    int64 // latest time before the rows that are not yet looked at
	checked int   // rows that were looked at
	first   int64 // earliest time, once there are rows
	rows    int   // rows that were believed
}

// mark takes the time from strays, accounts for them, and returns how many
// rows are looked at: the last few wait for what follows unless it is the end.
func (s *strays) mark(n *lane, spread, end bool) int {
	for i := s.checked; i < len(n.times); i++ {
		us := n.times[i]
		if us != NoTime && (s.last == NoTime || us > s.last) {
			stray, known := s.isStray(n.times[i:], spread)
			switch {
			case !known && !end:
				s.checked = i
				return i
			case stray:
				n.times[i] = NoTime
				n.account.add(Problem{Kind: StrayTime, Row: n.records[i], Column: n.name, Detail: "later than the rows behind it"})
			case !known && s.leaps(us):
				n.times[i] = NoTime
				n.account.add(Problem{Kind: StrayTime, Row: n.records[i], Column: n.name, Detail: "a month and more behind all rows before it"})
			default:
				if s.rows == 0 {
					s.first = us
				}
				s.last = us
				s.rows++
			}
		}
		s.checked = i + 1
	}
	return s.checked
}

// leaps tells whether a time lies absurdly far behind all that came before.
func (s *strays) leaps(us int64) bool {
	return s.rows >= leapRows && us-s.last > leapUS && us-s.last > leapSpans*(s.last-s.first)
}

// isStray tells whether the first of the times is a stray, and whether enough
// of them are there to know. Times that are spread out may repeat.
func (s *strays) isStray(times []int64, spread bool) (stray, known bool) {
	us, ahead, behind, before := times[0], 1, 0, s.last
	for k, t := range times[1:] {
		switch {
		case k == mostLookup:
			return false, true
		case t == NoTime:
			continue
		case behind == 0 && t >= us:
			if ahead++; ahead > mostStray {
				return false, true
			}
			continue
		case t >= us, t < before, t == before && !spread && before != NoTime:
			return false, true
		}
		before = t
		if behind++; behind > ahead {
			return true, true
		}
	}
	return false, false
}

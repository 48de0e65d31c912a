package logfile

import (
	"math"
	"time"
)

// TimeForm is how a column writes its times.
type TimeForm string

// Forms of time. Local forms have no offset from UTC; their name gives the
// order of year, month and day.
const (
	RFC3339      TimeForm = "rfc3339"           // 2026-05-01T14:03:07.25-04:00
	LocalYMD     TimeForm = "local-ymd"         // 2026-05-01 14:03:07
	LocalDMY     TimeForm = "local-dmy"         // 01.05.2026 14:03:07
	LocalMDY     TimeForm = "local-mdy"         // 5/1/2026 2:03:07 PM
	Clock        TimeForm = "clock"             // 14:03:07 or 2:03:07 pm, no date
	ElapsedHMS   TimeForm = "h:m:s"             // 0:03:07 since the start
	ElapsedMS    TimeForm = "min:s"             // 3:07 since the start
	Seconds      TimeForm = "seconds"           // since the start, as the next ones
	Milliseconds TimeForm = "milliseconds"      //
	Microseconds TimeForm = "microseconds"      //
	Minutes      TimeForm = "minutes"           //
	Hours        TimeForm = "hours"             //
	DayFraction  TimeForm = "day-fraction"      // 0.0021644 of a day since the start
	UnixS        TimeForm = "unix-seconds"      // since 1970-01-01T00:00:00Z
	UnixMS       TimeForm = "unix-milliseconds" //
	UnixUS       TimeForm = "unix-microseconds" //
	SerialDays   TimeForm = "serial-days"       // spreadsheet days, 25569 = 1970-01-01
)

// numberForms are the forms written as a plain number, with the µs of one
// unit.
var numberForms = map[TimeForm]float64{
	Seconds: 1e6, Milliseconds: 1e3, Microseconds: 1, Minutes: 60e6, Hours: 3600e6, DayFraction: 86400e6,
	UnixS: 1e6, UnixMS: 1e3, UnixUS: 1, SerialDays: 86400e6,
}

// Known tells whether the form is one this package reads.
func (f TimeForm) Known() bool {
	switch f {
	case RFC3339, LocalYMD, LocalDMY, LocalMDY, Clock, ElapsedHMS, ElapsedMS:
		return true
	}
	return numberForms[f] > 0
}

// Absolute tells whether a time of the form has a date.
func (f TimeForm) Absolute() bool {
	switch f {
	case RFC3339, LocalYMD, LocalDMY, LocalMDY, UnixS, UnixMS, UnixUS, SerialDays:
		return true
	}
	return false
}

// Local tells whether a time of the form has a date and no offset from UTC.
func (f TimeForm) Local() bool {
	return f == LocalYMD || f == LocalDMY || f == LocalMDY || f == SerialDays
}

// NoTime stands for a time that is missing or could not be read.
const NoTime = math.MinInt64

// timeParser reads cells of one form. It keeps the last date, since
// neighbouring rows mostly share it.
type timeParser struct {
	form      TimeForm
	decimal   byte
	date      [32]byte
	dateLen   int
	dayUS     int64
	offsetMin int // of the last cell that had one
	hasOffset bool
}

// parse returns the time in µs: since the Unix epoch in UTC for RFC 3339 and
// Unix forms, since the epoch on the local clock for local forms, since
// midnight for a clock, since the start otherwise. Digits beyond the
// microsecond are cut.
func (p *timeParser) parse(b []byte) (int64, bool) {
	b = trimSpace(b)
	if len(b) == 0 || len(b) > 64 {
		return 0, false
	}
	switch p.form {
	case RFC3339:
		return p.rfc3339(b)
	case LocalYMD, LocalDMY, LocalMDY:
		return p.local(b)
	case Clock:
		us, rest, ok := clockPart(b, 24)
		if !ok {
			return 0, false
		}
		us, rest, ok = halfDay(us, rest)
		return us, ok && len(rest) == 0
	case ElapsedHMS, ElapsedMS:
		return elapsed(b, p.form == ElapsedMS)
	}
	v, _, ok := parseNumber(b, p.decimal)
	scale := numberForms[p.form]
	if p.form == SerialDays {
		v -= 25569
	}
	if us := math.Round(v * scale); ok && scale > 0 && math.Abs(us) < 1e17 {
		return int64(us), true
	}
	return 0, false
}

// rfc3339 reads the date-time of RFC 3339, section 5.6; a space may stand for
// the T (its note). Second 60 counts as the first of the next minute.
func (p *timeParser) rfc3339(b []byte) (int64, bool) {
	if len(b) < 20 || b[10] != 'T' && b[10] != 't' && b[10] != ' ' {
		return 0, false
	}
	if p.dateLen != 10 || string(p.date[:10]) != string(b[:10]) {
		y, m, d := four(b), two(b[5:]), two(b[8:])
		if b[4] != '-' || b[7] != '-' || !p.setDate(b[:10], y, m, d) {
			return 0, false
		}
	}
	h, min, s := two(b[11:]), two(b[14:]), two(b[17:])
	if b[13] != ':' || b[16] != ':' || h < 0 || h > 23 || min < 0 || min > 59 || s < 0 || s > 60 {
		return 0, false
	}
	us := p.dayUS + (int64(h*3600+min*60+s))*1e6
	b = b[19:]
	if b[0] == '.' {
		frac, n := fraction(b[1:])
		if n == 0 {
			return 0, false
		}
		us += frac
		b = b[1+n:]
	}
	off, rest, ok := offset(b)
	if !ok || len(rest) > 0 {
		return 0, false
	}
	p.offsetMin, p.hasOffset = off, true
	return us - int64(off)*60e6, true
}

// setDate makes the date current if it exists.
func (p *timeParser) setDate(text []byte, y, m, d int) bool {
	if y < 0 || m < 1 || m > 12 || d < 1 || len(text) > len(p.date) {
		return false
	}
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if t.Day() != d {
		return false
	}
	p.dayUS = t.UnixMicro()
	p.dateLen = copy(p.date[:], text)
	return true
}

// local reads a date in the form's order, then a time of day if there is one.
func (p *timeParser) local(b []byte) (int64, bool) {
	n := 0
	for n < len(b) && b[n] != ' ' && b[n] != 'T' && b[n] != 't' {
		n++
	}
	date := b[:n]
	if p.dateLen != n || string(p.date[:n]) != string(date) {
		y, m, d, ok := splitDate(date, p.form)
		if !ok || !p.setDate(date, y, m, d) {
			return 0, false
		}
	}
	rest := b[n:]
	if len(rest) == 0 {
		return p.dayUS, true
	}
	us, rest, ok := clockPart(trimSpace(rest[1:]), 24)
	if !ok {
		return 0, false
	}
	us, rest, ok = halfDay(us, rest)
	return p.dayUS + us, ok && len(rest) == 0
}

// splitDate reads three numbers around -, / or . in the order of the form. A
// year of two digits is of this century.
func splitDate(b []byte, form TimeForm) (y, m, d int, ok bool) {
	var v, width [3]int
	k := 0
	var sep byte
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
			v[k] = v[k]*10 + int(c-'0')
			if width[k]++; width[k] > 4 {
				return 0, 0, 0, false
			}
		case (c == '-' || c == '/' || c == '.') && (sep == 0 || c == sep) && k < 2 && i > 0:
			sep = c
			k++
		default:
			return 0, 0, 0, false
		}
	}
	if k != 2 || width[0] == 0 || width[1] == 0 || width[2] == 0 {
		return 0, 0, 0, false
	}
	year := 2
	switch form {
	case LocalYMD:
		y, m, d, year = v[0], v[1], v[2], 0
	case LocalDMY:
		d, m, y = v[0], v[1], v[2]
	case LocalMDY:
		m, d, y = v[0], v[1], v[2]
	default:
		return 0, 0, 0, false
	}
	for i, w := range width {
		if i != year && w > 2 || i == year && w != 4 && w != 2 {
			return 0, 0, 0, false
		}
	}
	if width[year] == 2 {
		if form == LocalYMD {
			return 0, 0, 0, false
		}
		y += 2000
	}
	return y, m, d, true
}

// clockPart reads h:m or h:m:s with a fraction; hours below the limit.
func clockPart(b []byte, hours int64) (us int64, rest []byte, ok bool) {
	h, n := number(b)
	if n == 0 || n > 9 || h >= hours || n >= len(b) || b[n] != ':' {
		return 0, nil, false
	}
	b = b[n+1:]
	m := two(b)
	if m < 0 || m > 59 {
		return 0, nil, false
	}
	us, b = (h*60+int64(m))*60e6, b[2:]
	if len(b) == 0 || b[0] != ':' {
		return us, b, true
	}
	s := two(b[1:])
	if s < 0 || s > 60 {
		return 0, nil, false
	}
	us, b = us+int64(s)*1e6, b[3:]
	if len(b) > 0 && (b[0] == '.' || b[0] == ',' || b[0] == ':') {
		frac, n := fraction(b[1:])
		if n == 0 {
			return 0, nil, false
		}
		us, b = us+frac, b[1+n:]
	}
	return us, b, true
}

// halfDay applies am or pm.
func halfDay(us int64, b []byte) (int64, []byte, bool) {
	b = trimSpace(b)
	if len(b) < 2 || b[1]|0x20 != 'm' {
		return us, b, true
	}
	hour := us / 3600e6
	if hour < 1 || hour > 12 {
		return 0, nil, false
	}
	if hour == 12 {
		us -= 12 * 3600e6
	}
	switch b[0] | 0x20 {
	case 'p':
		us += 12 * 3600e6
	case 'a':
	default:
		return 0, nil, false
	}
	return us, b[2:], true
}

// elapsed reads h:m:s or min:s of any length, with a fraction.
func elapsed(b []byte, minutes bool) (int64, bool) {
	v, n := number(b)
	if n == 0 || n > 9 || n >= len(b) || b[n] != ':' {
		return 0, false
	}
	b = b[n+1:]
	if !minutes {
		m := two(b)
		if m < 0 || m > 59 || len(b) < 3 || b[2] != ':' {
			return 0, false
		}
		v, b = v*60+int64(m), b[3:]
	}
	s := two(b)
	if s < 0 || s > 59 {
		return 0, false
	}
	us := (v*60 + int64(s)) * 1e6
	b = b[2:]
	if len(b) > 0 && (b[0] == '.' || b[0] == ',') {
		frac, n := fraction(b[1:])
		if n == 0 {
			return 0, false
		}
		us, b = us+frac, b[1+n:]
	}
	return us, len(b) == 0
}

// offset reads Z or ±hh:mm.
func offset(b []byte) (minutes int, rest []byte, ok bool) {
	if len(b) > 0 && b[0]|0x20 == 'z' {
		return 0, b[1:], true
	}
	if len(b) < 6 || b[0] != '+' && b[0] != '-' || b[3] != ':' {
		return 0, nil, false
	}
	h, m := two(b[1:]), two(b[4:])
	if h < 0 || h > 23 || m < 0 || m > 59 {
		return 0, nil, false
	}
	minutes = h*60 + m
	if b[0] == '-' {
		minutes = -minutes
	}
	return minutes, b[6:], true
}

// fraction reads digits behind a point as µs and says how many it took.
func fraction(b []byte) (us int64, n int) {
	scale := int64(100_000)
	for n < len(b) && b[n] >= '0' && b[n] <= '9' {
		us += scale * int64(b[n]-'0')
		scale /= 10
		n++
	}
	return us, n
}

// number reads up to nine digits.
func number(b []byte) (v int64, n int) {
	for n < len(b) && n < 10 && b[n] >= '0' && b[n] <= '9' {
		v = v*10 + int64(b[n]-'0')
		n++
	}
	return v, n
}

// two reads two digits, −1 if there are none.
func two(b []byte) int {
	if len(b) < 2 || b[0]-'0' > 9 || b[1]-'0' > 9 {
		return -1
	}
	return int(b[0]-'0')*10 + int(b[1]-'0')
}

// four reads four digits, −1 if there are none.
func four(b []byte) int {
	h, l := two(b), -1
	if len(b) >= 4 {
		l = two(b[2:])
	}
	if h < 0 || l < 0 {
		return -1
	}
	return h*100 + l
}

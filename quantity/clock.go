package quantity

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"trivet/fault"
)

// Clock is a time of day, with a date and an offset from UTC where they were
// written.
type Clock struct {
	Year, Month, Day int // 0 without a date
	Hour, Minute     int
	Second           float64
	HasDate          bool
	HasOffset        bool
	OffsetMin        int // minutes east of UTC
}

var clockForm = regexp.MustCompile(`^(?:(\d{4})-(\d{2})-(\d{2})(?:[Tt]| +))?(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d{1,9})?))? ?([AaPp]\.?[Mm]\.?)? ?([Zz]|[+-]\d{2}:\d{2})?$`)

// ParseClock reads a time of day: "2:05 pm", "11:58:30 am",
// "2026-05-01 14:03", or an RFC 3339 time. Without a date it needs am or pm,
// since "12:30" alone is a span of 12 minutes 30 seconds.
func ParseClock(s string) (Clock, error) {
	text := strings.TrimSpace(s)
	bad := func(code fault.Code, msg string) (Clock, error) {
		return Clock{}, fault.New(code, "%s", msg).On("", text).WithFix(`write a time of day as 2:05 pm, or with its date as 2026-05-01 14:05`)
	}
	if len(text) > longest {
		return bad("clock-form", "this is too long for a time of day")
	}
	m := clockForm.FindStringSubmatch(plain.Replace(text))
	if m == nil {
		return bad("clock-form", "this is no time of day")
	}
	num := func(s string) int { n, _ := strconv.Atoi(s); return n }
	c := Clock{Year: num(m[1]), Month: num(m[2]), Day: num(m[3]), Hour: num(m[4]), Minute: num(m[5]), HasDate: m[1] != ""}
	c.Second, _ = strconv.ParseFloat("0"+m[6], 64)
	if half := strings.ToLower(strings.ReplaceAll(m[7], ".", "")); half != "" {
		if c.Hour < 1 || c.Hour > 12 {
			return bad("clock-range", "with am or pm the hour runs from 1 to 12")
		}
		c.Hour %= 12
		if half == "pm" {
			c.Hour += 12
		}
	} else if !c.HasDate {
		return bad("span-not-clock", "this is a span of time, and a time of day is wanted")
	}
	if c.Hour > 23 || c.Minute > 59 || c.Second >= 60 {
		return bad("clock-range", "there is no such time of day")
	}
	if c.HasDate {
		d := time.Date(c.Year, time.Month(c.Month), c.Day, 0, 0, 0, 0, time.UTC)
		if d.Day() != c.Day || int(d.Month()) != c.Month {
			return bad("clock-date", "there is no such date")
		}
	}
	switch z := m[8]; {
	case z == "":
	case !c.HasDate:
		return bad("clock-form", "an offset from UTC needs a date")
	case z == "z" || z == "Z":
		c.HasOffset = true
	default:
		h, min := num(z[1:3]), num(z[4:6])
		if h > 23 || min > 59 {
			return bad("clock-range", "there is no such offset from UTC")
		}
		c.HasOffset, c.OffsetMin = true, h*60+min
		if z[0] == '-' {
			c.OffsetMin = -c.OffsetMin
		}
	}
	return c, nil
}

// SinceMidnight is the span from midnight to the time of day.
func (c Clock) SinceMidnight() Duration {
	return Duration{float64(c.Hour)*3600 + float64(c.Minute)*60 + c.Second}
}

// UnixMicro is the moment in µs since the Unix epoch; the offset given is
// used where none was written. Without a date it is not a moment: ok is
// false.
func (c Clock) UnixMicro(offsetMin int) (us int64, ok bool) {
	if !c.HasDate {
		return 0, false
	}
	if c.HasOffset {
		offsetMin = c.OffsetMin
	}
	t := time.Date(c.Year, time.Month(c.Month), c.Day, c.Hour, c.Minute-offsetMin, 0, 0, time.UTC)
	return t.UnixMicro() + int64(c.Second*1e6+0.5), true
}

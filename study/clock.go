package study

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// A clock time as a cook writes it: an optional date, hours and minutes,
// optional seconds with fraction, optional am/pm, optional offset from UTC.
var clockForm = regexp.MustCompile(`(?i)^(?:(\d{4}-\d{2}-\d{2})[T ]\s*)?(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d{1,6})?))?\s*(am|pm|a\.m\.|p\.m\.)?\s*(z|utc|[+-]\d{2}:?\d{2})?$`)

// isClock tells a clock time from a span: it has a date, am or pm, or an
// offset from UTC. "12:30" alone is twelve and a half minutes.
func isClock(text string) bool {
	m := clockForm.FindStringSubmatch(strings.TrimSpace(text))
	return m != nil && (m[1] != "" || m[5] != "" || m[6] != "")
}

// hasDate tells whether a clock time is written with its date.
func hasDate(text string) bool {
	m := clockForm.FindStringSubmatch(strings.TrimSpace(text))
	return m != nil && m[1] != ""
}

// parseClock reads a clock time. day ("2026-03-01") stands in for a date that
// is not written, and offset (minutes east of UTC) for an offset; both may be
// missing.
func parseClock(text, day string, offset int, hasOffset bool) (time.Time, error) {
	m := clockForm.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return time.Time{}, fmt.Errorf("not a clock time")
	}
	if m[1] != "" {
		day = m[1]
	}
	if day == "" {
		return time.Time{}, fmt.Errorf("a clock time needs a date")
	}
	date, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return time.Time{}, fmt.Errorf("no such date: %s", day)
	}
	hour, _ := strconv.Atoi(m[2])
	minute, _ := strconv.Atoi(m[3])
	second := 0.0
	if m[4] != "" {
		second, _ = strconv.ParseFloat(m[4], 64)
	}
	switch half := strings.ToLower(strings.ReplaceAll(m[5], ".", "")); {
	case half != "" && (hour < 1 || hour > 12):
		return time.Time{}, fmt.Errorf("hours run from 1 to 12 with am and pm")
	case half == "am" && hour == 12:
		hour = 0
	case half == "pm" && hour < 12:
		hour += 12
	}
	if hour > 23 || minute > 59 || second >= 60 {
		return time.Time{}, fmt.Errorf("no such time of day")
	}
	if m[6] != "" {
		offset, hasOffset = parseOffset(m[6])
	}
	if !hasOffset {
		return time.Time{}, fmt.Errorf("a clock time needs its offset from UTC")
	}
	micro := int64(second*1e6 + 0.5)
	return date.Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute +
		time.Duration(micro)*time.Microsecond - time.Duration(offset)*time.Minute), nil
}

// parseOffset reads "Z", "UTC", "+02:00" or "-0500" as minutes east of UTC.
func parseOffset(text string) (minutes int, ok bool) {
	text = strings.ReplaceAll(strings.TrimSpace(text), "−", "-")
	if strings.EqualFold(text, "z") || strings.EqualFold(text, "utc") {
		return 0, true
	}
	digits := strings.ReplaceAll(text, ":", "")
	if len(digits) != 5 || (digits[0] != '+' && digits[0] != '-') {
		return 0, false
	}
	hh, err1 := strconv.Atoi(digits[1:3])
	mm, err2 := strconv.Atoi(digits[3:5])
	if err1 != nil || err2 != nil || hh > 14 || mm > 59 {
		return 0, false
	}
	minutes = hh*60 + mm
	if digits[0] == '-' {
		minutes = -minutes
	}
	return minutes, true
}

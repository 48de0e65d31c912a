package web

import "time"

// dateWords writes a day with the words of the catalogue, "Friday, 5 June
// 2026" or without the day of the week.
func dateWords(t time.Time, ofWeek bool) string {
	day := say("day-words", t.Day(), say("month-"+t.Format("1")), t.Year())
	if ofWeek {
		return say("day-of-week", say("weekday-"+t.Format("Mon")), day)
	}
	return day
}

// momentWords writes a day and the time of day on it.
func momentWords(t time.Time) string {
	return say("moment-words", dateWords(t, false), t.Format("15:04"))
}

// shortMoment is momentWords without the year, for lists of what is recent.
func shortMoment(t time.Time) string {
	return say("moment-short", t.Day(), say("month-short-"+t.Format("1")), t.Format("15:04"))
}

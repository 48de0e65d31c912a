package web

import "maps"

func init() { maps.Copy(english, loadingEnglish) }

// loadingEnglish is the share of the catalogue on logs on their way in: sent,
// read, asked about, compared; and the words of days and times.
var loadingEnglish = map[string]string{
	// Sending, word for word as the script shows it.
	"send-waits":   "waits",
	"send-sending": "is being sent",
	"send-kept":    "is here",
	"send-of":      "{n} of {of} sent",
	"send-failed":  "The server could not take it. The file is still chosen: try again.",
	"send-lost":    "The server does not answer. The files that are not sent yet are still chosen, and are sent when it is back.",
	"send-again":   "Try again",
	"send-drop":    "Leave it out",

	"reading-log":  "Reading %s",
	"reading-logs": "Reading all of them",

	// Dates that allow two orders.
	"date-order-h":        "Day or month first?",
	"date-order-is":       "The dates of this log can be read both ways, and nothing in it tells which. Its first is written “%s”. Which day was it?",
	"day-first":           "Day first",
	"month-first":         "Month first",
	"date-order-open":     "It is not said whether day or month comes first in the dates of this log",
	"date-order-open-fix": "choose which day its first date is, then load it again; later logs of the same shape are read alike",

	// Clocks.
	"clock-offer":      "Cook %s has several logs now.",
	"clock-offer-not":  "The clock of %s could not be compared with the others of cook %s. %s",
	"clock-offer-lead": "Nothing is corrected yet: the lead can take this on the cook's page, under Clocks.",
	"clock-look":       "Look at the clocks first",

	// Marks.
	"mark-is-heat-on":        "heat on",
	"mark-is-turn":           "turn",
	"mark-is-fat-in":         "fat in",
	"mark-is-spooning-start": "spooning start",
	"mark-is-spooning-stop":  "spooning stop",
	"mark-is-off-heat":       "off heat",
	"mark-is-cut":            "cut",
	"mark-is-served":         "served",
	"mark-is-note":           "note",
	"mark-is-sync":           "sync",

	// Channels of all cooks.
	"overlay-depth":   "depth %s",
	"overlay-surface": "surface %s",

	// Days and times.
	"day-words":      "%d %s %d",
	"day-of-week":    "%s, %s",
	"moment-words":   "%s, %s",
	"moment-short":   "%d %s %s",
	"month-1":        "January",
	"month-2":        "February",
	"month-3":        "March",
	"month-4":        "April",
	"month-5":        "May",
	"month-6":        "June",
	"month-7":        "July",
	"month-8":        "August",
	"month-9":        "September",
	"month-10":       "October",
	"month-11":       "November",
	"month-12":       "December",
	"month-short-1":  "Jan",
	"month-short-2":  "Feb",
	"month-short-3":  "Mar",
	"month-short-4":  "Apr",
	"month-short-5":  "May",
	"month-short-6":  "Jun",
	"month-short-7":  "Jul",
	"month-short-8":  "Aug",
	"month-short-9":  "Sep",
	"month-short-10": "Oct",
	"month-short-11": "Nov",
	"month-short-12": "Dec",
	"weekday-Mon":    "Monday",
	"weekday-Tue":    "Tuesday",
	"weekday-Wed":    "Wednesday",
	"weekday-Thu":    "Thursday",
	"weekday-Fri":    "Friday",
	"weekday-Sat":    "Saturday",
	"weekday-Sun":    "Sunday",
}

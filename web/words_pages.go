package web

import "maps"

func init() { maps.Copy(english, pagesEnglish) }

// pagesEnglish are the words of what comes late, of long lists and of edits.
var pagesEnglish = map[string]string{
	"coming-study":     "The study is being read.",
	"coming-again":     "Ask again",
	"coming-part":      "This is being worked out from the cooks; it will stand here in a moment.",
	"coming-line":      "How it stands is being worked out.",
	"long-report":      "The report of %s",
	"long-report-lead": "It tells of %d cooks one by one and is a document of many megabytes. It takes some seconds to be made and to be read by the browser.",
	"long-report-open": "Open the whole report",
	"long-sheets":      "The run sheets of %s",
	"long-sheets-lead": "There are %d cooks, each with a sheet of its own. The files are made for printing; the page takes some seconds to open.",
	"long-sheets-open": "Open all sheets as a page",
	"find-cooks":       "Find cooks",
	"find-order":       "Find in the order",
	"find-history":     "Find in the history",
	"stretch":          "%d to %d of %d",
	"stretch-none":     "Nothing fits “%s”.",
	"turn-back":        "The ones before",
	"turn-on":          "The next ones",
	"saving":           "Being saved:",
	"save-lost":        "The server cannot be reached, so nothing was saved. What you typed stands in the form: save it again when the server is back.",
	"table-cut":        "The first %d of %d rows; the CSV file has all of them.",
}

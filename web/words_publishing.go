package web

import "maps"

func init() { maps.Copy(english, publishingEnglish) }

// publishingEnglish is the share of the catalogue of what leaves the desk.
var publishingEnglish = map[string]string{
	"part-publish":        "Publish",
	"publish-lead":        "What is written here is written from the records as they stand. Whoever has the data package can run the whole answer again.",
	"publish-report":      "Read the report",
	"publish-report-is":   "The page as it would be published: answers, figures, plan, cooks, changes.",
	"publish-folder":      "Save the report",
	"publish-folder-is":   "A zip file: the page, which needs no network, its figures as SVG, PNG and PDF, the measured responses, the answer, and the data package.",
	"publish-package":     "Save the data package",
	"publish-package-is":  "A zip file: plan, seal, history, tables and raw logs. Another trivet imports it and gives the same answer.",
	"publish-early":       "The plan is sealed and its cooks are not finished, so its answer has not been looked at and there is no report yet.",
	"publish-early-fix":   "Finish the cooks, or take an early look on the study's page: the look is recorded.",
	"publish-nothing":     "There is no cook yet, so there is nothing to report.",
	"publish-nothing-fix": "Load the first log.",
	"sheets-open":         "Run sheets, to print",
	"sheets-a4":           "PDF, A4",
	"sheets-letter":       "PDF, Letter",
	"sheets-undrawn":      "The run sheets follow the run order, and none is drawn yet.",
	"sheets-undrawn-fix":  "Draw the run order on the study's page.",
	"notebook-copy":       "Save a copy of the notebook",
}

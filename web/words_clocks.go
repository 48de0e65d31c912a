package web

import "maps"

func init() { maps.Copy(english, clockEnglish) }

// clockEnglish is the share of the catalogue on the clocks of a cook.
var clockEnglish = map[string]string{
	"clocks-h":           "Clocks",
	"clocks-lead":        "Each log has a clock of its own. A correction stands beside what was recorded, is applied whenever it is read, and can be undone.",
	"col-clock":          "Clock",
	"col-begins":         "Begins, by itself",
	"col-correction":     "Correction (k = 2)",
	"col-residual":       "Residual",
	"col-known":          "Known to, at worst (k = 2)",
	"clock-none":         "none",
	"clock-onto":         "onto %s, %s",
	"clock-set-at":       "set %s",
	"clock-undone":       "undone %s",
	"clock-undo-what":    "Undo the correction of %s",
	"clock-earlier":      "Earlier corrections of %s (%d)",
	"clock-marks":        "marks: %d",
	"clock-from-heat-on": "counted from heat on",
	"clock-elapsed":      "counts from its start",
	"clock-by-best":      "whatever tells best",
	"clock-by-signal":    "by signal",
	"clock-by-turns":     "by turns",
	"clock-by-marks":     "by marks",
	"clock-by-set":       "set by hand",
	"clock-compare-h":    "Compare two clocks",
	"clock-which":        "Clock to correct",
	"clock-what-onto":    "Onto",
	"clock-how":          "How",
	"clock-compare":      "Compare",
	"clock-compared":     "%s onto %s: %s",
	"clock-compared-fit": "%d points, residual %s; known to %s at worst (k = 2).",
	"clock-compared-one": "One comparison, so nothing tells a residual; known to %s at worst (k = 2).",
	"clock-agrees":       "The clocks agree within that.",
	"clock-apply":        "Apply this correction",
	"clock-hand-h":       "Set a clock by hand",
	"clock-hand":         "What to add",
	"clock-hand-hint":    "Such as +2.4 s, or −1:00 ± 0.3 s with its standard uncertainty",
	"clock-hand-go":      "Set it",
	"clock-unknown":      "The cook has no such clock",
	"clock-lead":         "lead",
}

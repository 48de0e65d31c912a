package web

import "maps"

func init() { maps.Copy(english, overlayEnglish) }

// overlayEnglish is the share of the catalogue on the traces of all cooks of
// a study, and on stretches of a plot.
var overlayEnglish = map[string]string{
	"stretch-unknown":     "No such stretch of a plot",
	"stretch-unknown-fix": "give from and to in seconds from heat on, the later one last",
	"channel-none":        "No cook of this study has that channel",
	"channel-none-fix":    "choose one of those that the page offers",

	"overlay-h":         "Traces of all cooks",
	"overlay-title":     "%s: traces of all cooks",
	"overlay-open":      "Traces of all cooks as a figure, a table and files",
	"overlay-label":     "Traces of all cooks, in step at heat on. Arrow keys left and right move the cursor, up and down take one cook after the other.",
	"overlay-how":       "Drag across to zoom; with touch, drag to move along and pinch to zoom. Control or Shift with the wheel zooms too. With the keyboard, left and right move the cursor (with Shift ten times as far), up and down take the next cook, Home and End go to the edges, plus and minus zoom, 0 shows all.",
	"overlay-channel":   "Channel",
	"overlay-show":      "Show it",
	"overlay-lines":     "Thin: one cook each. Thick: the median of the cooks that were still recorded, where at least half were; shaded, where there are four cooks or more: the middle half of them.",
	"overlay-together":  "The plan is sealed and not finished, so the treatments are not told apart here until it is, or until somebody asks to look at the findings.",
	"overlay-left-out":  "Left out: %s of pilots and cooks declared void.",
	"overlay-none":      "No cook has a temperature trace yet.",
	"overlay-all":       "all cooks",
	"overlay-median":    "%s: median",
	"overlay-middle":    "middle half",
	"overlay-of":        "{n} cooks",
	"overlay-cook":      "Cook",
	"overlay-figure":    "%s of all cooks",
	"overlay-band":      "middle half of the cooks",
	"overlay-coming":    "The finer traces of this stretch are coming …",
	"overlay-failed":    "The traces could not be fetched; is the server still there?",
	"overlay-try-again": "Try again",
	"plot-keys":         "Mouse, touch and keys",
}

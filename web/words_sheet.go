package web

import "maps"

func init() { maps.Copy(english, sheetEnglish) }

// sheetEnglish is the share of the catalogue of a cook's sheet and of what a
// cook counts as.
var sheetEnglish = map[string]string{
	"sheet-open":           "Type in the whole sheet",
	"sheet-is":             "What was noted on paper, in one go; what is left empty adds nothing. Each becomes an entry of its own below.",
	"sheet-times":          "When things happened",
	"sheet-times-hint":     "Minutes and seconds from heat on, such as 4:30. Several between semicolons. A few words behind the time become its note.",
	"sheet-turn":           "Turned",
	"sheet-fat-in":         "Fat in",
	"sheet-spooning-start": "Spooning began",
	"sheet-spooning-stop":  "Spooning ended",
	"sheet-off-heat":       "Off the heat",
	"sheet-cut":            "Cut",
	"sheet-served":         "Served",
	"sheet-notes":          "What else was noted",
	"sheet-notes-hint":     "A line each, the time first, such as: 7:30 moved: from the pan to the oven",
	"sheet-mass":           "Mass, %s",
	"sheet-at":             "When (min:s), %s",
	"sheet-go":             "Save the sheet",
	"sheet-done":           "the sheet was typed in: %s",
	"sheet-empty":          "The sheet says nothing new",
	"sheet-empty-fix":      "write down what was noted",
	"sheet-time-bad":       "This begins with no time",
	"sheet-time-fix":       "write minutes and seconds from heat on, such as 4:30, and what it was behind it",
	"sheet-note-bad":       "This time has no note",
	"sheet-note-fix":       "write what happened behind it",

	"role-h":                "What it counts as",
	"role-is":               "It counts as %s.",
	"role-open":             "Change what it counts as",
	"role-as":               "It counts as",
	"role-as-hint":          "What counts is decided before anybody sees the result. The change enters the history.",
	"role-if-void":          "Where it is void",
	"role-go":               "Save what it counts as",
	"role-as-planned":       "a planned cook",
	"role-as-spare":         "a spare, in the place of a void cook",
	"role-as-pilot":         "a pilot, made to try things out",
	"role-as-void":          "void, by a rule of the plan",
	"role-changed":          "cook %s counts as %s now, no longer as %s",
	"role-cook-unknown":     "A cook cannot count as that",
	"role-cook-unknown-fix": "choose one from the list",
	"role-sealed":           "The sealed plan counts on cook %s",
	"role-sealed-fix":       "if it must not count, make it void by a rule of the plan",

	"add-cook":               "Add a cook that the run order does not name",
	"add-cook-is":            "A pilot, as a rule, made to try things out before the seal. Cooks of the run order come by themselves when their logs are loaded.",
	"add-cook-sealed":        "The plan is sealed. A planned cook that is added now will be seen in the history and in the report.",
	"add-cook-label":         "Label",
	"cook-added":             "cook %s was added as %s",
	"cook-label-bad":         "A cook needs a label of letters, digits and hyphens",
	"cook-label-bad-fix":     "write one such as pilot-1",
	"cook-label-taken":       "Another cook has this label, or the run order names it",
	"cook-label-taken-fix":   "give it its own",
	"cook-treatment-bad":     "A cook needs its treatment",
	"cook-treatment-bad-fix": "choose one from the list",
	"cook-piece-bad":         "No piece has this label",
	"cook-piece-bad-fix":     "choose one from the list, or leave it open",
}

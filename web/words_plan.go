package web

import "maps"

func init() { maps.Copy(english, planEnglish) }

// planEnglish is the share of the catalogue of what a plan says of its
// treatments, its looks and its data.
var planEnglish = map[string]string{
	// Treatments.
	"field-treatment-name-hint": "A word or two, such as salt early.",
	"treatment-taken":           "There is a treatment called %s already",
	"treatment-taken-fix":       "give this one another name",
	"field-is-control":          "Is it what the others are compared with?",
	"change-control":            "Say what the others are compared with",
	"field-which-control":       "The others are compared with",
	"field-which-control-hint":  "The usual way, as a rule. One treatment alone.",
	"field-setting":             "What is set",
	"field-setting-hint":        "Such as salt or oven. What a cook file says need not be said again.",
	"field-setting-value":       "To what",
	"field-setting-value-hint":  "In words or with a unit, such as 1 h before or 175 °C.",
	"add-setting":               "Say what is set",
	"change-setting":            "Change %s",
	"remove-setting":            "Remove %s",
	"removed-settings":          "the setting %s was removed",
	"setting-name-bad":          "A setting needs a name of letters, digits, spaces or hyphens",
	"setting-name-fix":          "write what is set, such as salt or oven",
	"setting-value-bad":         "Nothing is said of what it is set to",
	"setting-value-fix":         "write it in words or with a unit, such as 175 °C",
	"setting-taken":             "%s is set already",
	"setting-taken-fix":         "change that one",

	"open-control":   "Choose it under “Say what the others are compared with”.",
	"open-treatment": "Write its cook file, or what is set for it under “Say what is set”.",
	"open-unlisted":  "List them on the page of the pieces, or draw the order again.",

	// Looks planned beforehand.
	"mode-group":              "at a few looks that are planned beforehand",
	"field-looks":             "After how many blocks",
	"field-looks-hint":        "For planned looks alone: the numbers of blocks between commas, such as 6, 12, 20. The last is the planned number.",
	"field-spending":          "How the looks share the error rate",
	"field-spending-hint":     "For planned looks alone.",
	"spending-obrien-fleming": "little of it early, nearly all at the end (O’Brien and Fleming)",
	"spending-pocock":         "evenly over the looks (Pocock)",

	// Pieces of the plan.
	"pieces-from-plan":      "List the pieces of the plan",
	"pieces-from-plan-is":   "The plan has %s of %s and %s each; %d of these are not listed yet.",
	"field-prefix":          "What the blocks are called",
	"field-prefix-hint":     "L makes blocks L01, L02 … with pieces L01-a, L01-b … Write these on the tags.",
	"field-twins":           "With an unprobed twin of each, for tasters?",
	"field-twins-hint":      "A twin is cooked beside the probed piece; L01-ta is that of L01-a.",
	"prefix-bad":            "Blocks need a name of letters, digits and hyphens",
	"prefix-fix":            "write one such as L, or loin-",
	"pieces-all-listed":     "All pieces of the plan are listed",
	"pieces-all-listed-fix": "add others one by one, or change the plan",
	"measure-pieces":        "Type in what was measured",

	// Rules and data.
	"field-rule-name":      "A short name for it",
	"field-rule-name-hint": "One word or two joined by a hyphen, such as probe-slip. Left empty, one is made.",
	"rule-taken":           "Another rule has this name",
	"rule-taken-fix":       "give each its own, or leave it empty",
	"field-invented":       "Are the data invented?",
	"field-invented-hint":  "For trying things out or teaching. Every page, figure and report then says so.",
}

package web

import (
	"strings"

	"trivet/study"
)

// onListPage says what to do about an open point that a form of these lists,
// or of what few questions need, settles; "" where none does.
func onListPage(f study.Finding) string {
	id := ""
	if _, rest, ok := strings.Cut(f.Where, "["); ok {
		id, _, _ = strings.Cut(rest, "]")
	}
	switch f.Code {
	case "not-checked", "boil-low", "mass-half", "ice-far":
		return say("open-checks", id)
	case "class-unknown":
		return say("open-class", id)
	case "pan-how":
		return say("open-pan-how")
	case "no-margin":
		return say("open-margin")
	case "judged-not-blind":
		return say("open-blind")
	case "unknown-response":
		return say("open-response")
	case "no-tasting-size":
		return say("open-tasting-size")
	case "reading-scales":
		return say("open-reading-scales")
	}
	return ""
}

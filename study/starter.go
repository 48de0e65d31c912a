package study

import (
	_ "embed"
	"strings"
)

//go:embed starter.yaml
var starter string

// Starter returns a commented study document to fill in. It passes [Parse],
// and [Check] then names what is still to decide, in the order in which a
// plan is made. An empty title gives "Untitled study".
func Starter(title string) []byte {
	title = words(title)
	if title == "" {
		title = "Untitled study"
	}
	id := ""
	if NewID(title) == "" {
		id = "\nid: study"
	}
	return []byte(strings.Replace(starter, "TITLE", quoted(title)+id, 1))
}

package cli

import "strings"

// wrapped breaks text into lines of at most width columns, each indented.
func wrapped(indent, text string, width int) string {
	var b strings.Builder
	line := indent
	for word := range strings.FieldsSeq(text) {
		if len([]rune(line))+1+len([]rune(word)) > width && strings.TrimSpace(line) != "" {
			b.WriteString(line + "\n")
			line = indent
		}
		if line != indent {
			line += " "
		}
		line += word
	}
	b.WriteString(line + "\n")
	return b.String()
}

package web

import "maps"

func init() { maps.Copy(english, knownEnglish) }

// knownEnglish is the share of the catalogue that says how numbers are known.
var knownEnglish = map[string]string{
	"other-ways": "By other definitions of the response",
}

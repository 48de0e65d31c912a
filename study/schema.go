package study

import (
	"bytes"
	_ "embed"
)

//go:embed schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of the study document, for
// editors. It knows every key and the shape of every value; names that point
// from one part to another, margins that do not fit their response and the
// like are for [Parse] and [Check] to find.
func Schema() []byte { return bytes.Clone(schema) }

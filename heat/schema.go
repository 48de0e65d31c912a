package heat

import _ "embed" // for the schema below

// CookSchema is the JSON Schema (draft 2020-12) of cook files, for editors.
// [ParseCook] checks more than a schema can: units, bounds and how values fit
// each other.
//
//go:embed cook.schema.json
var CookSchema []byte

package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"
)

// rulesOfTheStandard compiles the rules of Data Package v1 that a JSON Schema
// can say; they are written in testdata from the text of the standard.
func rulesOfTheStandard(t testing.TB) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile("testdata/data-package-1.schema.json")
	must(t, err)
	return s
}

// checkDescriptor checks a descriptor by the rules of the standard: those of
// the JSON Schema, then those between parts, then the tables against their
// schemas.
func checkDescriptor(t tester, rules *jsonschema.Schema, m memory) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(m["datapackage.json"]))
	must(t, err)
	if err := rules.Validate(v); err != nil {
		t.Errorf("%v\n%s", err, m["datapackage.json"])
	}
	var d Descriptor
	must(t, json.Unmarshal(m["datapackage.json"], &d))
	schemas := map[string]Schema{}
	rows := map[string][][]string{}
	for _, r := range d.Resources {
		if _, twice := schemas[r.Name]; twice {
			t.Errorf("two resources are called %s", r.Name) // Data Resource: "name … MUST be unique"
		}
		schemas[r.Name] = r.Schema
		file := m[r.Path]
		if len(file) != r.Bytes || "sha256:"+hashOf(file) != r.Hash {
			t.Errorf("%s: %d bytes of hash %s, and the descriptor says %d, %s", r.Path, len(file), hashOf(file), r.Bytes, r.Hash)
		}
		all, err := readAll(file)
		must(t, err)
		var names []string
		for _, f := range r.Schema.Fields {
			if slices.Contains(names, f.Name) {
				t.Errorf("%s: two fields are called %q", r.Name, f.Name)
			}
			names = append(names, f.Name)
		}
		if !slices.Equal(names, all[0]) { // Table Schema: fields in the order of the columns
			t.Errorf("%s: fields %q, columns %q", r.Name, names, all[0])
		}
		rows[r.Name] = all[1:]
		for n, row := range all[1:] {
			checkRow(t, r, n+1, row)
		}
		if key := r.Schema.PrimaryKey; key != nil {
			seen := map[string]bool{}
			for n, row := range all[1:] {
				k := cellsOf(t, r.Schema, key, row)
				if seen[k] || strings.Contains("\x00"+k+"\x00", "\x00\x00") {
					t.Errorf("%s row %d: the primary key %v is empty or not unique", r.Name, n+1, key)
				}
				seen[k] = true
			}
		}
	}
	for _, r := range d.Resources {
		for _, f := range r.Schema.ForeignKeys {
			target, ok := schemas[f.Reference.Resource]
			if !ok {
				t.Errorf("%s points to %s, which is not there", r.Name, f.Reference.Resource)
				continue
			}
			keys := map[string]bool{"": true}
			for _, row := range rows[f.Reference.Resource] {
				keys[cellsOf(t, target, f.Reference.Fields, row)] = true
			}
			for n, row := range rows[r.Name] {
				if k := cellsOf(t, r.Schema, f.Fields, row); !keys[k] {
					t.Errorf("%s row %d: %v is no %v of %s", r.Name, n+1, k, f.Reference.Fields, f.Reference.Resource)
				}
			}
		}
	}
}

// cellsOf joins the cells of some fields.
func cellsOf(t tester, s Schema, fields, row []string) string {
	var out []string
	for _, name := range fields {
		i := slices.IndexFunc(s.Fields, func(f Field) bool { return f.Name == name })
		if i < 0 {
			t.Fatalf("a key names the field %q, which is not there", name)
		}
		out = append(out, row[i])
	}
	return strings.Join(out, "\x00")
}

// checkRow checks cells by the lexical forms of Table Schema v1.
func checkRow(t tester, r Resource, n int, row []string) {
	for i, f := range r.Schema.Fields {
		cell := row[i]
		k := f.Constraints
		if cell == "" {
			if k != nil && k.Required {
				t.Errorf("%s row %d: %s is required", r.Name, n, f.Name)
			}
			continue
		}
		var err error
		switch f.Type {
		case "integer":
			_, err = strconv.ParseInt(cell, 10, 64)
		case "number":
			var v float64
			v, err = strconv.ParseFloat(cell, 64)
			if errors.Is(err, strconv.ErrRange) {
				err = nil // a number all the same: XML Schema's decimal has no bounds
			}
			if err == nil && k != nil && k.Minimum != nil && v < *k.Minimum {
				t.Errorf("%s row %d: %s is %s, below the minimum", r.Name, n, f.Name, cell)
			}
		case "boolean":
			if !slices.Contains([]string{"true", "True", "TRUE", "1", "false", "False", "FALSE", "0"}, cell) {
				t.Errorf("%s row %d: %s is %q", r.Name, n, f.Name, cell)
			}
		case "datetime":
			_, err = time.Parse(time.RFC3339, cell)
		case "array":
			var a []any
			err = json.Unmarshal([]byte(cell), &a)
		}
		if err != nil {
			t.Errorf("%s row %d: %s: %v", r.Name, n, f.Name, err)
		}
		if k != nil && k.Enum != nil && !slices.Contains(k.Enum, cell) {
			t.Errorf("%s row %d: %s is %q, not one of %q", r.Name, n, f.Name, cell, k.Enum)
		}
	}
}

func TestDescriptorKeepsTheStandard(t *testing.T) {
	rules := rulesOfTheStandard(t)
	checkDescriptor(t, rules, inMemory(t))
	s := parsed(t)
	rapid.Check(t, func(rt *rapid.T) {
		rec, traces, raw := anyRecord(rt, s)
		m := memory{}
		if err := writeFiles(sourceOf(rec, traces, raw), Extras{Tables: []Table{{
			Name: "responses", Title: "Responses", PrimaryKey: []string{"cook_id"},
			Fields: []Field{{Name: "cook_id", Type: "string"}, {Name: "cooking_loss", Type: "number", Unit: "%"}},
			Rows:   [][]string{{"=k", "21.44"}},
		}}}, m.create); err != nil {
			rt.Fatal(err)
		}
		checkDescriptor(rt, rules, m)
	})
}

// The check can fail: each of these breaks one rule.
func TestDescriptorRulesAreStrict(t *testing.T) {
	rules := rulesOfTheStandard(t)
	for _, c := range []struct{ old, now string }{
		{`"profile": "tabular-data-package"`, `"profile": "data-package"`},
		{`"name": "sear-first-or-sear-last"`, `"name": "Sear First"`},
		{`"name": "lots"`, `"name": "Lots Of"`},
		{`"path": "lots.csv"`, `"path": "../lots.csv"`},
		{`"path": "lots.csv"`, `"path": "/lots.csv"`},
		{`"type": "integer"`, `"type": "int"`},
		{`"bytes": `, `"bytes": -`},
		{`"hash": "sha256:`, `"hash": "`},
		{`"created": "2026-05-01T`, `"created": "2026-05-01 `},
		{`"title": "Somebody`, `"name": "Somebody`},
		{`"name": "CC-BY-4.0"`, `"name": "CC BY 4"`},
		{`"mediatype": "text/csv"`, `"mediatype": "csv"`},
		{`"minimum": 0`, `"minimum": "0"`},
	} {
		b := string(inMemory(t)["datapackage.json"])
		spoilt := strings.Replace(b, c.old, c.now, 1)
		if spoilt == b {
			t.Fatalf("nothing to replace: %s", c.old)
		}
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(spoilt))
		must(t, err)
		if rules.Validate(v) == nil {
			t.Errorf("%s was accepted", c.now)
		}
	}
}

package heat

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

func cookSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(CookSchema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	const at = "https://trivet.invalid/schema/cook.schema.json"
	if err := c.AddResource(at, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(at)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func asJSON(t *testing.T, src []byte) any {
	t.Helper()
	b, err := yaml.YAMLToJSON(src)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The schema takes the files the parser takes, those shipped as examples
// included, and refuses the plain mistakes of form.
func TestSchemaTakesWhatTheParserTakes(t *testing.T) {
	s := cookSchema(t)
	files, err := filepath.Glob("../examples/simulate/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range append(files, "testdata/every-key.yaml") {
		src, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ParseCook(file, src); err != nil {
			t.Error(err)
		}
		if err := s.Validate(asJSON(t, src)); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
	if err := s.Validate(asJSON(t, []byte(chopFile))); err != nil {
		t.Error(err)
	}
	for name, change := range map[string][2]string{
		"unknown key": {"thickness:", "thickess:"}, "bare number": {"thickness: 40 mm", "thickness: 40"},
		"two turning rules": {"{core_rise: +10 °F}", "{core_rise: +10 °F, every: 1 min}"}, "unknown face": {"{pan: 200 °C, contact: 400}", "{pann: 200 °C}"},
		"no food": {"  food: pork top loin chop, lean\n", ""}, "missing face": {"    bottom: {pan: 200 °C, contact: 400}\n", ""},
	} {
		src := strings.Replace(chopFile, change[0], change[1], 1)
		if s.Validate(asJSON(t, []byte(src))) == nil {
			t.Errorf("%s passes the schema", name)
		}
		if _, err := ParseCook(name, []byte(src)); err == nil {
			t.Errorf("%s passes the parser", name)
		}
	}
}

// The keys of the schema are those of the parser, everywhere.
func TestSchemaNamesTheParsersKeys(t *testing.T) {
	var root map[string]any
	if err := json.Unmarshal(CookSchema, &root); err != nil {
		t.Fatal(err)
	}
	at := func(path ...string) map[string]any {
		m := root
		for _, p := range path {
			m = m[p].(map[string]any)
		}
		return m
	}
	same := func(what string, m map[string]any, keys []string) {
		t.Helper()
		want := slices.Sorted(slices.Values(keys))
		if d := cmp.Diff(want, slices.Sorted(maps.Keys(m))); d != "" {
			t.Errorf("%s: %s", what, d)
		}
	}
	same("cook", at("properties"), cookKeys)
	same("piece", at("properties", "piece", "properties"), pieceKeys)
	same("composition", at("properties", "piece", "properties", "composition", "properties"), compositionKeys)
	same("material", at("properties", "piece", "properties", "material", "properties"), materialKeys)
	same("output", at("properties", "output", "properties"), outputKeys)
	same("leg", at("$defs", "leg", "properties"), legKeys)
	same("turn", at("$defs", "leg", "properties", "turn", "properties"), turnKeys)
	same("ends_when", at("$defs", "leg", "properties", "ends_when", "properties"), endKeys)
	same("action", at("$defs", "action", "properties"), actionKeys)
	moisture := at("properties", "moisture")["anyOf"].([]any)[1].(map[string]any)["properties"].(map[string]any)
	same("moisture", moisture, moistureKeys)
	same("release", moisture["release"].(map[string]any)["properties"].(map[string]any), releaseKeys)
	seen := map[string]bool{}
	for _, f := range at("$defs", "face")["anyOf"].([]any) {
		face := f.(map[string]any)
		if face["const"] != nil {
			continue
		}
		key := face["required"].([]any)[0].(string)
		seen[key] = true
		k := kindOfFace(key)
		if k == nil {
			t.Errorf("the schema has a face %q", key)
			continue
		}
		keys := []string{key}
		for _, field := range k.fields {
			keys = append(keys, field.key)
		}
		if key == "fat" {
			keys = append(keys, "under")
		}
		same("face "+key, face["properties"].(map[string]any), keys)
		if key == "plate" {
			same("plate", face["properties"].(map[string]any)["plate"].(map[string]any)["properties"].(map[string]any), plateKeys)
		}
	}
	for _, k := range faceKinds {
		if !seen[k.key] {
			t.Errorf("the schema lacks the face %q", k.key)
		}
	}
}

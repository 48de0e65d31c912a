package study

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"trivet/fault"
)

func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("study.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("study.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON reads YAML as an editor does.
func asJSON(t testing.TB, b []byte) (any, error) {
	t.Helper()
	j, err := yaml.YAMLToJSON(b)
	if err != nil {
		return nil, err
	}
	return jsonschema.UnmarshalJSON(bytes.NewReader(j))
}

func TestSchemaAcceptsWhatParses(t *testing.T) {
	s := compiled(t)
	_, whole := example(t)
	first, _ := Parse("sear.yaml", whole)
	fresh, err := Marshal(first)
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"example": whole, "starter": Starter("T"), "fresh": fresh} {
		v, err := asJSON(t, b)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, doubts := badDocuments(t, "testdata/doubts.txt")
	for _, c := range doubts {
		doc, _, _ := strings.Cut(c.document, "@file")
		v, err := asJSON(t, []byte(doc))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// TestSchemaRejectsBrokenDocuments holds the schema against the broken
// documents. Those it cannot see, because they need the whole document or
// the size of a number, are listed by name.
func TestSchemaRejectsBrokenDocuments(t *testing.T) {
	beyond := map[string]string{
		"two-documents": "editors check each document by itself", "title-without-letters": "ids are made from titles",
		"anchor": "lost in JSON", "merge-key": "lost in JSON",
		"unknown-treatment": "names", "no-treatments": "names", "itself": "names", "question-id-twice": "names", "treatment-twice": "names",
		"cook-names": "names", "cook-void-without-rule": "names", "cook-void-rule-unknown": "names", "cook-void-but-planned": "names",
		"tasting-method": "methods are tasting's", "run-order": "names", "tastings": "names",
		"margin-without-unit": "depends on the response", "margin-percent-of-temperature": "depends on the response",
		"margin-percent-of-percent": "depends on the response", "margin-points-of-time": "depends on the response",
		"margin-temperature": "depends on the response", "margin-length-of-time": "depends on the response", "margin-of-rate": "depends on the response",
		"margin-of-lethality": "depends on the response", "margin-of-reading-bare": "depends on the response", "margin-of-yes-no": "depends on the response",
		"margin-of-reading-other-unit": "depends on the response", "margin-of-undeclared-reading": "depends on the response", "margin-zero": "sizes",
		"tasting-size-twice": "two sizes", "tasting-margin": "a margin of a tasting", "readings": "units may be declared elsewhere",
		"mark-clock-without-offset": "clocks", "mark-clock-without-day": "clocks",
		"mark-clock-without-zero": "clocks", "mark-hour": "clocks", "weighings-out-of-order": "times", "readings-declared": "names",
	}
	s := compiled(t)
	_, bad := badDocuments(t, "testdata/bad.txt")
	seen := map[string]bool{}
	for _, c := range bad {
		v, err := asJSON(t, []byte(c.document))
		if err != nil {
			continue
		}
		_, excused := beyond[c.name]
		seen[c.name] = true
		if err := s.Validate(v); (err == nil) != excused {
			t.Errorf("%s: excused %v, error %v", c.name, excused, err)
		}
	}
	for name := range beyond {
		if !seen[name] {
			t.Errorf("%s is excused but was not checked", name)
		}
	}
}

// TestSchemaAndParserKnowTheSameKeys asks the parser which keys it knows, by
// giving each object a key that nobody knows.
func TestSchemaAndParserKnowTheSameKeys(t *testing.T) {
	var root map[string]any
	if err := json.Unmarshal(Schema(), &root); err != nil {
		t.Fatal(err)
	}
	props := func(path ...string) []string {
		n := any(root)
		for _, p := range path {
			switch x := n.(type) {
			case map[string]any:
				n = x[p]
			case []any:
				n = x[int(p[0]-'0')]
			}
		}
		return slices.Sorted(maps.Keys(n.(map[string]any)))
	}
	const cook = "cooks: [{label: c, treatment: t, %s}]"
	for document, path := range map[string][]string{
		"zzzzzz: 1":                                        {"properties"},
		"claim: {zzzzzz: 1}":                               {"properties", "claim", "properties"},
		"questions: [{zzzzzz: 1}]":                         {"properties", "questions", "items", "properties"},
		"questions: [{compare: {zzzzzz: 1}}]":              {"properties", "questions", "items", "properties", "compare", "properties"},
		"questions: [{tasting: {zzzzzz: 1}}]":              {"properties", "questions", "items", "properties", "tasting", "properties"},
		"treatments: [{zzzzzz: 1}]":                        {"properties", "treatments", "items", "properties"},
		"blocks: {zzzzzz: 1}":                              {"properties", "blocks", "properties"},
		"void: [{zzzzzz: 1}]":                              {"properties", "void", "items", "properties"},
		"readings: [{zzzzzz: 1}]":                          {"properties", "readings", "items", "properties"},
		"risk: {zzzzzz: 1}":                                {"properties", "risk", "properties"},
		"design: {zzzzzz: 1}":                              {"properties", "design", "properties"},
		"design: {run_order: [{zzzzzz: 1}]}":               {"properties", "design", "properties", "run_order", "items", "properties"},
		"foods: {zzzzzz: 1}":                               {"properties", "foods", "properties"},
		"lots: [{zzzzzz: 1}]":                              {"properties", "lots", "items", "properties"},
		"pieces: [{zzzzzz: 1}]":                            {"properties", "pieces", "items", "properties"},
		"tastings: [{zzzzzz: 1}]":                          {"properties", "tastings", "items", "properties"},
		fmt.Sprintf(cook, "zzzzzz: 1"):                     {"properties", "cooks", "items", "properties"},
		fmt.Sprintf(cook, "void: {zzzzzz: 1}"):             {"properties", "cooks", "items", "properties", "void", "properties"},
		fmt.Sprintf(cook, "logs: [{zzzzzz: 1}]"):           {"properties", "cooks", "items", "properties", "logs", "anyOf", "0", "anyOf", "1", "properties"},
		fmt.Sprintf(cook, "marks: {zzzzzz: 1}"):            {"properties", "cooks", "items", "properties", "marks", "properties"},
		fmt.Sprintf(cook, "marks: {cut: {zzzzzz: 1}}"):     {"properties", "cooks", "items", "properties", "marks", "properties", "cut", "anyOf", "0", "anyOf", "1", "properties"},
		fmt.Sprintf(cook, "weighings: {zzzzzz: 1}"):        {"properties", "cooks", "items", "properties", "weighings", "properties"},
		fmt.Sprintf(cook, "weighings: {raw: {zzzzzz: 1}}"): {"properties", "cooks", "items", "properties", "weighings", "properties", "raw", "anyOf", "1", "properties"},
		fmt.Sprintf(cook, "readings: {w: {zzzzzz: 1}}"):    {"properties", "cooks", "items", "properties", "readings", "additionalProperties", "anyOf", "1", "properties"},
		fmt.Sprintf(cook, "deviations: [{zzzzzz: 1}]"):     {"properties", "cooks", "items", "properties", "deviations", "anyOf", "0", "anyOf", "1", "properties"},
	} {
		_, err := Parse("t", []byte("study: T\n"+document+"\n"))
		var list fault.List
		if !errors.As(err, &list) {
			t.Errorf("%s: %v", document, err)
			continue
		}
		var known []string
		for _, e := range list {
			if e.Code == "unknown-key" {
				known = strings.Split(strings.TrimPrefix(e.Fix, "known here: "), ", ")
			}
		}
		if d := cmp.Diff(props(path...), known); d != "" {
			t.Errorf("%s: (-schema +parser)\n%s", document, d)
		}
	}
}

// TestStarterNamesEveryResponse keeps the starter and the schema true to the
// list of responses.
func TestStarterNamesEveryResponse(t *testing.T) {
	text := string(Starter("T"))
	readme, err := os.ReadFile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range ResponseNames() {
		if !strings.Contains(text, name) || !strings.Contains(string(readme), name) {
			t.Errorf("%s is not named", name)
		}
	}
}

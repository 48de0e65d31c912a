package web

import (
	"encoding/json"
	"html"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"trivet/bench"
	"trivet/study"
)

// elsewhere is what the schema of the study document has and no field of the
// pages' forms carries, and how it comes into the document by clicks instead;
// "text" is what is changed in the text alone.
var elsewhere = map[string]string{
	"id": "made when the study is begun, and kept", "format": "there is one",
	"questions[].id": "named when it is added", "treatments[].id": "named when it is added", "void[].id": "named when it is added",
	"readings[].id": "named when it is added", "instruments[].id": "named when it is added", "lots[].id": "named when it is added",
	"pieces[].label": "named when it is added", "tastings[].id": "named when it is added",
	"treatments[].control": "one choice for all treatments", "treatments[].cook": "the page of the cook file",
	"tastings[].question": "the question under which it is written down", "tastings[].method": "that of its question", "tastings[].closed": "what is counted is closed",
	"tastings[].cooks": "text",
	"design.kind":      orderPage, "design.seed": orderPage, "design.run_order[].order": orderPage, "design.run_order[].block": orderPage, "design.run_order[].piece": orderPage,
	"design.run_order[].treatment": orderPage, "design.run_order[].burner": orderPage, "design.run_order[].code": orderPage,
}

const orderPage = "the page of the run order"

// Every key of the study document has a form, or is written by the pages in
// another way that is said here. Cooks have pages of their own.
func TestEveryKeyOfTheDocumentHasAForm(t *testing.T) {
	var schema map[string]any
	if err := json.Unmarshal(study.Schema(), &schema); err != nil {
		t.Fatal(err)
	}
	delete(schema["properties"].(map[string]any), "cooks")
	var keys []string
	leavesOfSchema(schema, "", &keys)
	if len(keys) < 70 {
		t.Fatalf("only %d keys: %v", len(keys), keys)
	}

	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"Salt"}})
	rec := d.record("salt")
	text := string(rec.Document) + `
readings: [{id: crust, what: browning, kind: count}]
instruments: [{id: T-1}]
lots: [{id: A}]
pieces: [{label: L01-a, block: L01}]
tastings: [{id: paper, question: taste, method: triangle, n: 24, correct: 12, closed: yes}]
`
	text = strings.Replace(text, "questions:\n", "questions:\n  - {id: taste, ask: Can people tell?, tasting: {method: triangle, discriminators: 30 %}}\n", 1)
	d.accepts(saltAt+"/text", url.Values{"text": {text}, "base": {bench.HashOf(rec.Document)}})
	treatment := d.record("salt").Study.Treatments[0].ID
	d.accepts(saltAt+"/edit", edit("x", "treatments["+treatment+"].set.method", d.record("salt").Study.Treatments[0].Set["method"], "as usual"))
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "2", "blocks.pieces", someCount(d.record("salt").Study.Blocks.Pieces), "2"))
	fields := map[string]bool{}
	entryName := regexp.MustCompile(`\[[^\]]*\]`)
	for _, page := range []string{"", "/pieces", "/instruments"} {
		code, body := d.get(saltAt + page)
		if code != 200 {
			t.Fatalf("%s: %d", page, code)
		}
		for _, m := range regexp.MustCompile(`name="(?:set:)?([^"]+)"`).FindAllStringSubmatch(body, -1) {
			fields[entryName.ReplaceAllString(html.UnescapeString(m[1]), "[]")] = true
		}
	}
	seen := map[string]bool{}
	for _, k := range keys {
		seen[k] = true
		free := strings.TrimSuffix(k, "*")
		has := fields[k] || free != k && slices.ContainsFunc(slices.Collect(maps.Keys(fields)), func(f string) bool { return strings.HasPrefix(f, free) })
		switch why, ok := elsewhere[k]; {
		case ok && has && why == "text":
			t.Errorf("%s has a form now: take it out of the list", k)
		case !ok && !has:
			t.Errorf("%s has no form", k)
		}
	}
	for k := range elsewhere {
		if !seen[k] {
			t.Errorf("%s is no key of the document", k)
		}
	}
}

// leavesOfSchema lists the keys that hold a value, "[]" for the entries of a
// list and "*" for keys that people name.
func leavesOfSchema(s map[string]any, at string, out *[]string) {
	if props, ok := s["properties"].(map[string]any); ok {
		for _, k := range slices.Sorted(maps.Keys(props)) {
			leavesOfSchema(props[k].(map[string]any), strings.TrimPrefix(at+"."+k, "."), out)
		}
		return
	}
	if items, ok := s["items"].(map[string]any); ok {
		if _, group := items["properties"]; group {
			leavesOfSchema(items, at+"[]", out)
			return
		}
	}
	if _, free := s["additionalProperties"].(map[string]any); free {
		at += ".*"
	}
	*out = append(*out, at)
}

package study

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestTheManualIsTrue reads the worked example of docs/study-document.md,
// finds nothing to settle in it, and keeps its table of responses.
func TestTheManualIsTrue(t *testing.T) {
	const file = "../docs/study-document.md"
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(b), "```yaml\n")
	example, _, ok := strings.Cut(rest, "```\n")
	if !ok {
		t.Fatal("no example")
	}
	s, err := Parse("study.yaml", []byte(example))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Questions) != 4 || len(s.Cooks) != 2 || len(s.Cooks[0].Marks) != 6 {
		t.Errorf("not all was read: %+v", s)
	}
	for _, f := range Check(s, nil) {
		// One block is shown of the twelve that are planned.
		if f.Code != "one-piece" && f.Code != "run-order-blocks" {
			t.Error(f.Text())
		}
	}

	var table strings.Builder
	for _, r := range Responses() {
		name := r.ID
		if r.Target {
			name += "(60 °C)"
		}
		fmt.Fprintf(&table, "| `%s` | %s | %s | %s |\n", name, r.Unit, strings.ReplaceAll(r.Margins(), `"`, "`"), r.What)
	}
	before, rest, ok1 := strings.Cut(string(b), "|---|---|---|---|\n")
	written, after, ok2 := strings.Cut(rest, "<!-- end -->")
	if !ok1 || !ok2 {
		t.Fatal("no table of responses")
	}
	if written == table.String() {
		return
	}
	if *update {
		text := before + "|---|---|---|---|\n" + table.String() + "<!-- end -->" + after
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Errorf("the table of responses differs:\n%s", table.String())
}

// TestExamplesAreRead reads every study of the examples, and holds it against
// the schema.
func TestExamplesAreRead(t *testing.T) {
	files, err := filepath.Glob("../examples/*/study.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal("no examples", err)
	}
	schema := compiled(t)
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Parse(file, b); err != nil {
			t.Error(err)
		}
		v, err := asJSON(t, b)
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(v); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
}

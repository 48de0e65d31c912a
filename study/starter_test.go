package study

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// TestStarterTeaches writes a starter and shows what a beginner is told.
func TestStarterTeaches(t *testing.T) {
	s, err := Parse("study.yaml", Starter("Does salting early help?"))
	if err != nil {
		t.Fatal(err)
	}
	if s.ID != "does-salting-early-help" || s.Title != "Does salting early help?" {
		t.Errorf("%q %q", s.ID, s.Title)
	}
	var codes []string
	for _, f := range Check(s, nil) {
		codes = append(codes, string(f.Severity)+" "+string(f.Code))
	}
	want := []string{
		"missing claim-says", "missing claim-scope", "missing claim-fair", "missing claim-against",
		"missing no-margin", "missing no-blocks", "missing no-void-rules", "missing no-food", "missing no-allergens",
	}
	if d := cmp.Diff(want, codes); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

// TestStarterCommentsAreTrue takes the # from every key that is commented
// out: what the starter teaches can be read.
func TestStarterCommentsAreTrue(t *testing.T) {
	var b strings.Builder
	for line := range strings.Lines(string(Starter("T"))) {
		if len(line) > 1 && line[0] == '#' && (line[1] != ' ' || strings.HasPrefix(line, "#  ")) {
			line = line[1:]
		}
		b.WriteString(line)
	}
	s, err := Parse("study.yaml", []byte(b.String()))
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	if len(s.Questions) != 3 || len(s.VoidRules) != 1 || len(s.Readings) != 2 || len(s.Pieces) != 1 || len(s.Cooks) != 1 ||
		len(s.Cooks[0].Marks) != 5 || len(s.Cooks[0].Weighings) != 3 || s.Treatments[0].Cook == "" {
		t.Errorf("not all was read: %+v", s)
	}
}

func TestStarterTakesAnyTitle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		title := rapid.String().Draw(t, "title")
		s, err := Parse("study.yaml", Starter(title))
		if err != nil {
			t.Fatalf("%q: %v", title, err)
		}
		if want := words(title); want != "" && s.Title != want || s.ID == "" {
			t.Fatalf("%q became %q, id %q", title, s.Title, s.ID)
		}
	})
}

func TestNewID(t *testing.T) {
	for title, want := range map[string]string{
		"Sear first or sear last?":  "sear-first-or-sear-last",
		"Don't rest—it's fine":      "dont-rest-its-fine",
		"Sauté à la minute":         "saute-a-la-minute",
		"  30 mm, 5 °C  ":           "30-mm-5-c",
		"???":                       "",
		"肉":                         "",
		strings.Repeat("word ", 30): "word-word-word-word-word-word-word-word-word",
		strings.Repeat("x", 100):    strings.Repeat("x", 48),
	} {
		got := NewID(title)
		if got != want || got != "" && !isSlug(got) {
			t.Errorf("%q: got %q, want %q", title, got, want)
		}
	}
}

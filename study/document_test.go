package study

import (
	"bytes"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// TestEditsTouchOnlyWhatTheyMust shows each kind of edit on a small document.
func TestEditsTouchOnlyWhatTheyMust(t *testing.T) {
	set := func(path string, v any) func(*Document) error {
		return func(d *Document) error { return d.Set(path, v) }
	}
	add := func(path string, v any) func(*Document) error {
		return func(d *Document) error { return d.Append(path, v) }
	}
	for _, c := range []struct {
		name, before string
		edit         func(*Document) error
		after        string
	}{
		{"a scalar", "study: A   # title\nid: x\n", set("study", "B"), "study: B   # title\nid: x\n"},
		{"a quoted scalar", "study: 'it''s'\nid: x\n", set("study", "a: b"), "study: \"a: b\"\nid: x\n"},
		{"inside flow", "blocks: {what: loin, count: 20} # bought\n", set("blocks.count", 12), "blocks: {what: loin, count: 12} # bought\n"},
		{"a key added to flow", "risk: {alpha: 0.05}\n", set("risk.mode", "sequential"), "risk: {alpha: 0.05, mode: sequential}\n"},
		{"a key added to empty flow", "risk: {}\n", set("risk.mode", "fixed"), "risk: {mode: fixed}\n"},
		{"a key added to a block", "claim:\n  says: x # why\n# end\n", set("claim.scope", "chops"), "claim:\n  says: x # why\n  scope: chops\n# end\n"},
		{"a group added", "study: A\n# end\n", set("risk.alpha", 0.1), "study: A\nrisk:\n  alpha: 0.1\n# end\n"},
		{"an empty value filled", "claim:\n  says:\n  scope:   # food\n", set("claim.scope", "chops"), "claim:\n  says:\n  scope: chops   # food\n"},
		{"an empty group filled", "risk:\nstudy: A\n", set("risk.alpha", 0.1), "risk: {alpha: 0.1}\nstudy: A\n"},
		{"by id", "questions:\n  - id: a\n    margin: 1 point\n  - id: b\n    margin: 1 point # small\n", set("questions[b].margin", "2 points"),
			"questions:\n  - id: a\n    margin: 1 point\n  - id: b\n    margin: 2 points # small\n"},
		{"by place", "pieces: [{mass: 1 g}, {mass: 2 g}]\n", set("pieces[2].mass", "3 g"), "pieces: [{mass: 1 g}, {mass: 3 g}]\n"},
		{"a folded scalar", "claim:\n  says: one\n    two\n  scope: x\n", set("claim.says", "three"), "claim:\n  says: three\n  scope: x\n"},
		{"a block scalar", "claim:\n  says: |\n    one\n    two\n\n  scope: x\n", set("claim.says", "three"), "claim:\n  says: three\n\n  scope: x\n"},
		{"a degree sign before it", "a: {t: 5 °C, u: 6 °C}\n", set("a.u", "7 °C"), "a: {t: 5 °C, u: 7 °C}\n"},
		{"Windows line ends", "study: A\r\nclaim:\r\n  says: x\r\nid: b\r\n", set("claim.scope", "z"), "study: A\r\nclaim:\r\n  says: x\r\n  scope: z\r\nid: b\r\n"},
		{"a byte order mark", "\uFEFFstudy: A\nid: b\n", set("study", "B"), "\uFEFFstudy: B\nid: b\n"},
		{"Windows line ends behind a comment", "# c\r\nstudy: A # t\r\nid: b\r\n", set("study", "B"), "# c\r\nstudy: B # t\r\nid: b\r\n"},
		{"no last newline", "study: A", set("id", "b"), "study: A\nid: b"},
		{"an empty document", "# nothing yet\n", set("study", "A"), "# nothing yet\nstudy: A\n"},
		{"append to a block list", "lots:\n  - {id: A} # first\n# pieces follow\npieces: []\n", add("lots", Fields{{"id", "B"}}), "lots:\n  - {id: A} # first\n  - {id: B}\n# pieces follow\npieces: []\n"},
		{"append to a flow list", "authors: [a, b]\n", add("authors", "c d"), "authors: [a, b, c d]\n"},
		{"append to an empty list", "authors: []\n", add("authors", "c"), "authors: [c]\n"},
		{"append where there is no list", "study: A\n", add("lots", Fields{{"id", "B"}}), "study: A\nlots:\n  - {id: B}\n"},
		{"a number as text", "design: {seed: x}\n", set("design.seed", "007"), "design: {seed: \"007\"}\n"},
		{"a list", "pieces:\n  - label: a\n    thickness:\n      - 1 mm\n      - 2 mm\n    mass: 3 g\n", set("pieces[a].thickness", []string{"4 mm", "5 mm"}),
			"pieces:\n  - label: a\n    thickness: [4 mm, 5 mm]\n    mass: 3 g\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d, err := ReadDocument("study.yaml", []byte(c.before))
			if err != nil {
				t.Fatal(err)
			}
			if err := c.edit(d); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.after, string(d.Bytes())); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
		})
	}
}

func TestEditsThatCannotBeMade(t *testing.T) {
	const doc = "study: A\nlots: [{id: a}]\n"
	d, _ := ReadDocument("study.yaml", []byte(doc))
	for _, c := range []struct {
		path  string
		value any
		says  string
	}{
		{"lots[b].what", "x", `study.yaml, lots[b].what: no such entry in the list (got "b")`},
		{"study.title", "x", `study.yaml, study.title: this is not a group of keys (got "title")`},
		{"study[1]", "x", `study.yaml, study[1]: this is not a list (got "1")`},
		{"a..b", "x", `path: not a path in a study document (got "a..b"); write it like questions[loss].margin`},
		{"study", 1 / zero, "+Inf cannot be written in a study"},
		{"study", struct{}{}, "a struct {} cannot be written in a study"},
	} {
		err := d.Set(c.path, c.value)
		if err == nil || err.Error() != c.says {
			t.Errorf("%s: got %v, want %s", c.path, err, c.says)
		}
	}
	if err := d.Append("study", "x"); err == nil || string(d.Bytes()) != doc {
		t.Error("appending to a scalar went through")
	}
}

var zero float64

// TestDocumentKeepsEveryByte reads and writes every document of the tests.
func TestDocumentKeepsEveryByte(t *testing.T) {
	whole, err := os.ReadFile("testdata/sear.yaml")
	if err != nil {
		t.Fatal(err)
	}
	documents := [][]byte{whole, bytes.ReplaceAll(whole, []byte("\n"), []byte("\r\n"))}
	_, bad := badDocuments(t, "testdata/bad.txt")
	for _, c := range bad {
		documents = append(documents, []byte(c.document))
	}
	for _, b := range documents {
		d, err := ReadDocument("d.yaml", b)
		if err != nil {
			continue // not YAML at all
		}
		if !bytes.Equal(d.Bytes(), b) {
			t.Errorf("changed:\n%s", b)
		}
	}
}

// TestAnyScalarCanBeSet sets any scalar of the example to any text: one line
// changes, every comment stays, and setting the old text again gives back
// the same study.
func TestAnyScalarCanBeSet(t *testing.T) {
	_, source := example(t)
	top, err := parseTree("sear.yaml", source)
	if err != nil {
		t.Fatal(err)
	}
	places := map[string]string{}
	flatten(top, "", places)
	var scalars []string
	for p, v := range places {
		if strings.HasPrefix(v, "=") {
			scalars = append(scalars, p)
		}
	}
	slices.Sort(scalars)
	text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
		"", " ", "null", "~", "yes", "- a", "#x", "a #b", "a: b", "[", "}", "\n", "a\nb", "'", `"`, "\\", "1e3", "0x1", "2 points", "-5:00", "é ± °", "---", "!x", "&a", "*a", "? a", "%x", "@", "`",
	}))
	rapid.Check(t, func(t *rapid.T) {
		place := rapid.SampledFrom(scalars).Draw(t, "place")
		value := text.Draw(t, "text")
		source := source
		if rapid.Bool().Draw(t, "Windows line ends") {
			source = bytes.ReplaceAll(source, []byte("\n"), []byte("\r\n"))
		}
		d, err := ReadDocument("sear.yaml", source)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.Set(byPlace(place), value); err != nil {
			t.Fatalf("%s = %q: %v", place, value, err)
		}
		a, b := strings.Split(string(source), "\n"), strings.Split(string(d.Bytes()), "\n")
		changed := 0
		for i := range a {
			if len(a) != len(b) || a[i] != b[i] {
				changed++
			}
		}
		if changed > 1 {
			t.Fatalf("%d lines changed", changed)
		}
		if err := d.Set(byPlace(place), places[place][1:]); err != nil {
			t.Fatalf("setting back %s: %v", place, err)
		}
		x, err := d.Study()
		if err != nil {
			t.Fatal(err)
		}
		y, _ := Parse("sear.yaml", source)
		if diff := cmp.Diff(y, x); diff != "" {
			t.Fatalf("not the same study: %s", diff)
		}
	})
}

// byPlace turns a flattened place, whose entries count from 0, into a path,
// whose entries count from 1.
func byPlace(place string) string {
	var b strings.Builder
	for _, part := range strings.SplitAfter(place, "[") {
		if digits, rest, ok := strings.Cut(part, "]"); ok {
			n := 0
			for _, c := range digits {
				n = n*10 + int(c-'0')
			}
			part = itoa(n+1) + "]" + rest
		}
		b.WriteString(part)
	}
	return b.String()
}

func itoa(n int) string { s, _ := inline(n); return s }

func TestLinesOfPaths(t *testing.T) {
	d, err := ReadDocument("study.yaml", []byte("study: A\nclaim:\n  says: x\nlots:\n  - id: a\n    what: loins\n  - {id: b}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]int{
		"study": 1, "claim.says": 3, "claim.scope": 2, "lots[a].what": 6, "lots[a]": 5, "lots[b].what": 7, "lots[c]": 0, "risk.alpha": 0, "": 0,
	} {
		if got := d.Line(path); got != want {
			t.Errorf("%s: line %d, want %d", path, got, want)
		}
	}
	for _, f := range d.Locate([]Finding{{Where: "claim.says"}, {Where: "risk", Line: 9}}) {
		if want := map[string]int{"claim.says": 3, "risk": 9}[f.Where]; f.Line != want {
			t.Errorf("%s: line %d", f.Where, f.Line)
		}
	}
}

// FuzzSet edits any document at any path: what comes back is either refused
// or reads as the old document with this one change.
func FuzzSet(f *testing.F) {
	_, bad := badDocuments(f, "testdata/bad.txt")
	for _, c := range bad {
		f.Add([]byte(c.document), "claim.says", "x: y", false)
	}
	f.Add([]byte("lots:\n- id: a\n\n- id: b # c\n"), "lots", "z", true)
	f.Fuzz(func(t *testing.T, b []byte, path, value string, appending bool) {
		d, err := ReadDocument("d.yaml", b)
		if err != nil {
			return
		}
		if appending {
			err = d.Append(path, value)
		} else {
			err = d.Set(path, value)
		}
		if err != nil && !bytes.Equal(d.Bytes(), b) {
			t.Fatal("a refused edit changed the document")
		}
	})
}

package web

import (
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strings"
	"testing"
	"unicode"

	"trivet/bench"
	"trivet/measure"
	"trivet/study"
)

// The rule: a section of a page prints computed numbers when a digit stands
// in its text outside of what was typed or only names things (forms, headings,
// links, times, code, labels, navigation, and the notes themselves), or when
// it holds a figure. Such a section has a note "How is this known?" in it,
// unless it holds nothing but what a person entered or what a published
// source states beside the number.

// enteredAlone are the sections that print only what was entered, and why
// they need no note.
var enteredAlone = map[string]string{
	"claim":      "typed by the lead",
	"marks":      "entered by the cook",
	"weighings":  "entered by the cook",
	"readings":   "entered by the cook",
	"deviations": "entered by the cook",
	"photos":     "captions and times of the camera",
	"void":       "a form",
	"history":    "the entries of the history, with their times",
	"publish":    "names of files",
	"pieces":     "measured and typed by the lead",
	"cautions":   "published figures with their source in the text",
}

// notNumbers are elements whose digits are typed or name something.
var notNumbers = []string{"form", "nav", "time", "code", "h1", "h2", "h3", "h4", "a", "label", "blockquote", "summary", "script", "style", "title", "caption", "pre", "datalist"}

// section is what was found of one section of a page.
type section struct {
	id             string
	numbers, notes bool
	first          string // of the numbers
}

// sectionsOf reads a page; the outermost is the page itself.
func sectionsOf(t testing.TB, page string) []section {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	type open struct {
		name          string
		skips, starts bool
	}
	var stack []open
	var within, out []section
	within = []section{{id: "(page)"}}
	skipping := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("the page cannot be read: %v", err)
		}
		now := &within[len(within)-1]
		switch x := token.(type) {
		case xml.StartElement:
			attr := map[string]string{}
			for _, a := range x.Attr {
				attr[a.Name.Local] = a.Value
			}
			o := open{name: x.Name.Local, skips: slices.Contains(notNumbers, x.Name.Local)}
			switch {
			case o.name == "details" && attr["class"] == "how":
				for i := range within {
					within[i].notes = true
				}
				o.skips = true
			case o.name == "section":
				o.starts = true
				id := attr["id"]
				if id == "" {
					id = attr["aria-labelledby"]
				}
				within = append(within, section{id: id})
			case o.name == "figure" && skipping == 0 && !now.numbers:
				now.numbers, now.first = true, "a figure"
			}
			if o.skips {
				skipping++
			}
			stack = append(stack, o)
		case xml.EndElement:
			if len(stack) == 0 {
				continue
			}
			o := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if o.skips {
				skipping--
			}
			if o.starts {
				out = append(out, within[len(within)-1])
				within = within[:len(within)-1]
			}
		case xml.CharData:
			if text := strings.TrimSpace(string(x)); skipping == 0 && !now.numbers && strings.ContainsFunc(text, unicode.IsDigit) {
				now.numbers, now.first = true, text
			}
		}
	}
	return append(out, within[0])
}

// without lists the sections that print numbers and have no note.
func without(all []section) []section {
	return slices.DeleteFunc(slices.Clone(all), func(s section) bool {
		return !s.numbers || s.notes || enteredAlone[s.id] != "" || s.id == "(page)"
	})
}

func TestTheRuleFindsNumbersWithoutNotes(t *testing.T) {
	for _, tc := range []struct {
		name, page, want string
	}{
		{"a number alone", `<main><section id="a"><h2>A 1</h2><p>12 g</p></section></main>`, "a"},
		{"a figure alone", `<main><section id="a"><figure><img src="x"></figure></section></main>`, "a"},
		{"with its note", `<main><section id="a"><p>12 g</p><details class="how"><summary>how</summary></details></section></main>`, ""},
		{"inside one that has it in another", `<main><section id="a"><section id="b"><p>3</p></section><details class="how"></details></section></main>`, "b"},
		{"typed", `<main><section id="a"><form><input value="3"> 3 g</form><code>9</code></section></main>`, ""},
		{"no number", `<main><section id="a"><p>none yet</p></section></main>`, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var got []string
			for _, s := range without(sectionsOf(t, tc.page)) {
				got = append(got, s.id)
			}
			if strings.Join(got, " ") != tc.want {
				t.Errorf("without notes: %v, want %q", got, tc.want)
			}
		})
	}
}

func TestEveryNumberSaysHowItIsKnown(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	const id = "sear-first-or-sear-last"
	const at = "/studies/" + id
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Tasted, false))
	d.upload(at+"/load", demo.Cooks[2].LogName, demo.Cooks[2].Log)
	_, waiting := d.get(at + "/load")
	for _, c := range demo.Cooks[:12] {
		if err := d.nb.PutCook(context.Background(), id, c.Cook); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range demo.Cooks[:2] {
		d.upload(at+"/load", c.LogName, c.Log)
		d.post(at+"/load/"+bench.HashOf(c.Log), url.Values{"cook": {c.Cook.Label}})
	}
	seen := map[string]bool{}
	check := func(name, page string) {
		for _, s := range without(sectionsOf(t, page)) {
			t.Errorf("%s: section %s prints %q and does not say how it is known", name, s.id, s.first)
		}
		for _, s := range sectionsOf(t, page) {
			if s.notes {
				seen[s.id] = true
			}
		}
		if strings.Contains(page, "<dd>known-") || strings.Contains(page, "%!") || strings.Contains(page, "<dd></dd>") {
			t.Errorf("%s: a note misses its words", name)
		}
	}
	check("loading", waiting)
	cook := at + "/cooks/" + demo.Cooks[0].Cook.Label
	for _, path := range []string{"/", at, cook, at + "/treatments/sear-first", at + "/power?question=loss&margin=2+points", at + "/cooks", "/trash", "/tastings"} {
		code, page := d.get(path)
		if code != 200 {
			t.Errorf("%s: status %d", path, code)
		}
		check(path, page)
		if path == "/" { // how each study stands
			wants(t, page, `class="how"`)
		}
	}
	d.post(at+"/look", nil)
	_, page := d.get(at)
	check("findings", page)
	_, page = d.get(cook)
	check("responses", page)
	wants(t, page, "100 (m0 − m1)/m0", "the weighing raw, ", "the mark off heat at ", "The fit: C. Canuto")
	for _, want := range []string{"(page)", "questions", "treatments", "plan", "cooks", "tastings", "findings", "finding-loss", "finding-taste", "traces-h", "quality", "responses", "predicted-h", "log-0"} {
		if !seen[want] {
			t.Errorf("no section %s with a note was seen", want)
		}
	}
}

// Every built-in response has a formula and a source of its own, and so have
// typed readings.
func TestEveryResponseHasItsOwnNote(t *testing.T) {
	formulas := map[string]string{}
	for _, r := range append(study.Responses(), study.Response{ID: "shear_force"}) {
		name := r.ID
		if r.Target {
			name += "(60 °C)"
		}
		formula, source := responseFormula(name)
		if strings.Contains(formula+source, "known-") || formula == "" {
			t.Errorf("%s: %q, %q", name, formula, source)
		}
		if other := formulas[formula]; other != "" {
			t.Errorf("%s and %s have one formula", name, other)
		}
		formulas[formula] = name
	}
}

func TestTheNoteOfATypedReading(t *testing.T) {
	n := knownResponse("loss", measure.Response{Name: "cooking_loss", Unit: "%", Typed: true, Repeats: 6,
		Budget: []measure.Source{{Name: "scatter of repeats inside the piece", Type: "A", StdU: 0.31}}}, units{})
	if got, want := fmt.Sprint(n.Data), "Typed in by a person: 6 values. Uncertainty: scatter of repeats inside the piece (type A, 0.31 %)."; got != want {
		t.Errorf("data %q, want %q", got, want)
	}
}

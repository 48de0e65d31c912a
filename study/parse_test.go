package study

import (
	"errors"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func example(t testing.TB) (*Study, []byte) {
	t.Helper()
	b, err := os.ReadFile("testdata/sear.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := Parse("sear.yaml", b)
	if err != nil {
		t.Fatal(err)
	}
	return s, b
}

func TestParseReadsAWholeStudy(t *testing.T) {
	s, _ := example(t)
	type row struct {
		what      string
		got, want any
	}
	near := func(got, want float64) bool { return got > want-1e-9 && got < want+1e-9 }
	first, last := s.Cooks[0], s.Cooks[1]
	for _, r := range []row{
		{"id from title", s.ID, "sear-first-or-sear-last"},
		{"claim", s.Claim.Scope, "pork loin chops about 30 mm thick"},
		{"margin in points", s.Questions[0].Margin.Value, 2.0},
		{"question line", s.Questions[0].Line, 16},
		{"control filled in", s.Questions[1].Compare, Contrast{"sear-first", "sear-last"}},
		{"both filled in", s.Questions[2].Compare, Contrast{"sear-first", "sear-last"}},
		{"direction not written", s.Questions[1].Claim, Higher},
		{"ratio margin", s.Questions[1].Margin.Value, 0.1},
		{"method's own name", s.Questions[4].Tasting.Method, "triangle"},
		{"discriminators", s.Questions[4].Tasting.Discriminators, 0.3},
		{"path cleaned", s.Treatments[1].Cook, "cooks/sear-first.yaml"},
		{"alpha in percent", s.Risk.Alpha, 0.05},
		{"controlled in order", s.Controlled[2].Name, "pan"},
		{"pan 400 °F", near(s.Controlled[2].Value, 1840.0/9), true},
		{"± 9 °F is 5 K", near(s.Controlled[2].Tolerance, 5), true},
		{"thickness in metres", near(s.Pieces[0].ThicknessM[2], 0.03048), true},
		{"41 °F", near(*s.Pieces[1].StartC, 5), true},
		{"twin", s.Pieces[3].Twin, "L01-a"},
		{"block from piece", first.Block, "L01"},
		{"heat on, 17:02:10 −05:00, in µs", first.ZeroUS, int64(1772402530_000000)},
		{"second turn", first.Marks[2].AtUS, int64(240e6)},
		{"off heat from clock", first.Marks[3].AtUS, int64(750e6)},
		{"served note", first.Marks[4].Note, "on a warm plate"},
		{"raw weighed before heat", first.Weighings[0].AtUS, int64(-300e6)},
		{"scale resolution", near(first.Weighings[1].ResG, 0.1), true},
		{"three cores, one reading", first.Readings[0].Values, []float64{38, 41.5, 40}},
		{"grade as its place", first.Readings[1].Values, []float64{2}},
		{"count", first.Readings[2].Kind, Count},
		{"no", first.Readings[3].Values, []float64{0}},
		{"void by a rule", last.VoidRule, "probe-slip"},
		{"elapsed heat on", last.ZeroUS, int64(30e6)},
		{"tasting", s.Tastings[0].Correct, 27},
		{"cook id is named", len(first.ID), 36},
	} {
		if d := cmp.Diff(r.want, r.got); d != "" {
			t.Errorf("%s: (-want +got)\n%s", r.what, d)
		}
	}
	again, _ := example(t)
	if d := cmp.Diff(s, again); d != "" {
		t.Errorf("reading twice differs:\n%s", d)
	}
}

// TestParseSaysWhatIsWrong holds one broken document a case and the exact
// text a person sees.
func TestParseSaysWhatIsWrong(t *testing.T) {
	const file = "testdata/bad.txt"
	head, cases := badDocuments(t, file)
	for i := range cases {
		c := &cases[i]
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse("study.yaml", []byte(c.document))
			if err == nil {
				t.Fatal("accepted")
			}
			var list fault.List
			if !errors.As(err, &list) {
				t.Fatalf("not a fault.List: %T", err)
			}
			got := err.Error() + "\n"
			if *update {
				c.says = got
			} else if d := cmp.Diff(c.says, got); d != "" {
				t.Errorf("(-want +got)\n%s", d)
			}
			for _, e := range list {
				if e.Code == "" || e.File == "" {
					t.Errorf("incomplete: %#v", e)
				}
			}
		})
	}
	if *update {
		writeCases(t, file, head, cases)
	}
}

type badDocument struct{ name, document, says string }

// badDocuments reads the cases: "=== name", the document, "=== says", the
// text.
func badDocuments(t testing.TB, file string) (head string, cases []badDocument) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, _ := strings.Cut(string(b), "=== ")
	for _, section := range strings.Split(rest, "\n=== ") {
		title, body, _ := strings.Cut(section, "\n")
		body = strings.TrimSuffix(body, "\n") + "\n"
		if title == "says" {
			cases[len(cases)-1].says = body
		} else {
			cases = append(cases, badDocument{name: title, document: body})
		}
	}
	if len(cases) == 0 {
		t.Fatal("no cases")
	}
	return head, cases
}

func FuzzParse(f *testing.F) {
	for _, file := range []string{"testdata/sear.yaml"} {
		if b, err := os.ReadFile(file); err == nil {
			f.Add(b)
		}
	}
	_, cases := badDocuments(f, "testdata/bad.txt")
	for _, c := range cases {
		f.Add([]byte(c.document))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := Parse("f.yaml", b)
		if s == nil {
			t.Fatal("no study")
		}
		var list fault.List
		if err != nil && !errors.As(err, &list) {
			t.Fatalf("not a fault.List: %v", err)
		}
		for _, e := range list {
			if e.Error() == "" {
				t.Fatal("silent error")
			}
		}
	})
}

// TestMarginsAreReadInTheUnitOfTheirResponse covers each kind of response.
func TestMarginsAreReadInTheUnitOfTheirResponse(t *testing.T) {
	for _, c := range []struct {
		response, margin string
		value            float64
		unit             string
	}{
		{"cooking_loss", "2 points", 2, "points"},
		{"time_to_core(140 °F)", "1:30", 90, ""},
		{"time_to_peak", "10 %", 0.1, "%"},
		{"carryover", "+3.6 °F", 2, "°F"},
		{"core_peak", "2 K", 2, "K"},
		{"heating_rate", "0.5 °C/min", 0.5, "K/min"},
		{"heating_rate", "1.8 °F/min", 1, "K/min"},
		{"steam_rate", "2 g/min", 2, "g/min"},
		{"steam_heat", "0.1 kW", 100, "W"},
		{"lethality", "0.5 log10", 0.5, "log10"},
		{"width", "0.5 cm", 5, "mm"},
		{"mass", "1 oz", 28.349523125, "g"},
		{"crumb", "+2 °C", 3.6, "°F"},
		{"shear", "5 N", 5, "N"},
		{"wait", "1:30", 1.5, "min"},
		{"moisture", "2 points", 2, "points"},
		{"cracks", "2", 2, ""},
	} {
		doc := "study: T\nquestions: [{id: q, response: " + c.response + ", margin: \"" + c.margin + "\"}]\n" +
			"readings: [{id: width, unit: mm}, {id: mass, unit: g}, {id: crumb, unit: °F}, {id: shear, unit: N}, {id: wait, unit: min}, {id: moisture, unit: \"%\"}, {id: cracks, kind: count}]\n"
		s, err := Parse("t", []byte(doc))
		if err != nil {
			t.Errorf("%s, %s: %v", c.response, c.margin, err)
			continue
		}
		m := s.Questions[0].Margin
		if d := m.Value - c.value; d > 1e-12 || d < -1e-12 || c.unit != "" && m.Unit != c.unit {
			t.Errorf("%s, %s: got %v %q, want %v %q", c.response, c.margin, m.Value, m.Unit, c.value, c.unit)
		}
	}
}

// TestClockTimesPastMidnight reads a cook that begins at ten to midnight.
func TestClockTimesPastMidnight(t *testing.T) {
	s, err := Parse("t", []byte(`study: T
utc_offset: "+01:00"
treatments: [{id: a}]
cooks:
  - label: c
    treatment: a
    day: 2026-03-01
    weighings: {raw: {mass: 250 g, at: 11:40 pm}}
    marks: {heat_on: 11:50 pm, turn: 11:55 pm, off_heat: 12:10 am, served: 2026-03-02 00:20}
`))
	if err != nil {
		t.Fatal(err)
	}
	c := s.Cooks[0]
	var minutes []int64
	for _, m := range c.Marks {
		minutes = append(minutes, m.AtUS/60e6)
	}
	if d := cmp.Diff([]int64{0, 5, 20, 30}, minutes); d != "" {
		t.Error(d)
	}
	if c.Weighings[0].AtUS != -600e6 {
		t.Errorf("raw weighed at %d µs", c.Weighings[0].AtUS)
	}
}

// TestFilesThatAreNotText covers what cannot stand in the table of broken
// documents.
func TestFilesThatAreNotText(t *testing.T) {
	for _, c := range []struct{ name, document, says string }{
		{"UTF-16", "\xff\xfes\x00t\x00", "f: not UTF-8 text; save the file as UTF-8 in your editor"},
		{"old line ends", "study: T\nid: t\rformat: 1\r", "f:2:1: a carriage return stands without a line feed; save the file with Unix or Windows line ends"},
		{"deep brackets", "study: T\na: " + strings.Repeat("[", 5000), "f:2:1: nested more than 100 levels deep"},
		{"deep dashes", "study:\n" + strings.Repeat("- ", 5000) + "x", "f:2:1: nested more than 100 levels deep"},
		{"large", strings.Repeat("# x\n", 5<<20), "f: the file is larger than 16 MiB"},
	} {
		if _, err := Parse("f", []byte(c.document)); err == nil || err.Error() != c.says {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestGroupSequentialPlansNameTheirLooks(t *testing.T) {
	parse := func(risk string) (*Study, error) {
		return Parse("s.yaml", []byte("study: S\nblocks: {count: 20}\nrisk: "+risk+"\n"))
	}
	s, err := parse("{mode: group-sequential, looks: [6, 12, 20]}")
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Risk.Looks) != 3 || s.Risk.Looks[1] != 12 || s.Risk.Spending != "obrien-fleming" {
		t.Errorf("%+v", s.Risk)
	}
	for risk, code := range map[string]string{
		"{mode: group-sequential}":                            "no-looks",
		"{mode: group-sequential, looks: [12, 6]}":            "looks-order",
		"{mode: group-sequential, looks: [6, 12]}":            "looks-end",
		"{mode: fixed, looks: [6, 20]}":                       "looks-unused",
		"{mode: group-sequential, looks: [1, 20]}":            "not-whole-number",
		"{mode: group-sequential, looks: [20], spending: no}": "unknown-word",
	} {
		_, err := parse(risk)
		if err == nil || !strings.Contains(codesOf(err), code) {
			t.Errorf("%s: %v, want %s", risk, codesOf(err), code)
		}
	}
}

func codesOf(err error) string {
	var out []string
	for _, f := range members(err) {
		out = append(out, string(f.Code))
	}
	return strings.Join(out, " ")
}

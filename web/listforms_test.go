package web

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/study"
)

// paged is a form that stands on a page of its own.
func paged(page string, v url.Values) url.Values {
	v.Set("page", page)
	return v
}

func TestReadingsByForm(t *testing.T) {
	d, s := saltDesk(t)
	began := string(d.record("salt").Document)
	d.refuses(saltAt+"/entries", entry("readings", "new-reading", "what", " … ", "unit", "N"), 422, "A reading needs to say what is read", `value="N"`)
	d.refuses(saltAt+"/entries", entry("readings", "new-reading", "what", "peak force", "kind", "number"), 422, "A number needs its unit", `value="peak force"`, `aria-invalid="true"`)
	d.refuses(saltAt+"/entries", entry("readings", "new-reading", "what", "browning", "id", "crust", "kind", "grade", "scale", "brown"), 422, "A grade needs its ordered scale", `value="brown" autocomplete="off" aria-invalid="true"`)
	d.refuses(saltAt+"/entries", entry("readings", "new-reading", "what", "loss", "id", "cooking_loss", "kind", "number", "unit", "%"), 422, "computes a response of this name itself", `aria-invalid="true"`)
	body := d.accepts(saltAt+"/entries", entry("readings", "new-reading", "what", "browning of the crust", "id", "crust", "kind", "grade", "scale", "pale, golden, brown", "judged", "yes", "unit", ""))
	wants(t, body, "One of pale, golden, brown, lowest first, judged.", "No question asks about it yet", "The reading crust was added.", "Take it back", `<option value="crust"`)
	d.refuses(saltAt+"/entries", entry("readings", "new-reading", "what", "the crust again", "id", "crust", "kind", "count"), 422, "Another reading has this name", `value="the crust again"`)
	wants(t, d.accepts(saltAt+"/entries", entry("readings", "new-reading", "what", "peak force of a core", "kind", "number", "unit", "N")), "A number in N, measured.")
	want := []study.ReadingDef{{ID: "crust", What: "browning of the crust", Kind: study.Grade, Scale: []string{"pale", "golden", "brown"}, Judged: true}, {ID: "peak-force-of-a-core", What: "peak force of a core", Kind: study.Number, Unit: "N"}}
	for i, x := range s().Readings {
		if stampOf(x) != stampOf(want[i]) {
			t.Errorf("%+v, want %+v", x, want[i])
		}
	}

	const force = "peak-force-of-a-core"
	change := func(fields ...string) url.Values {
		for i := 0; i+2 < len(fields); i += 3 {
			fields[i] = "readings[" + force + "]." + fields[i]
		}
		return edit("reading-"+force, fields...)
	}
	d.refuses(saltAt+"/edit", change("limits", "", "200; 0"), 422, "Limits are two numbers that rise", `value="200; 0"`, `aria-invalid="true"`)
	d.refuses(saltAt+"/edit", change("resolution", "", "fine"), 422, "Not a step in which this is read", `value="fine"`)
	plain := string(d.record("salt").Document)
	wants(t, d.accepts(saltAt+"/edit", change("limits", "", "0; 200", "resolution", "", "0.5")), "A number in N, measured, in steps of 0.5 N, between 0 and 200 N.", `value="0; 200"`)
	if x := s().Readings[1]; x.Resolution != 0.5 || *x.Least != 0 || *x.Most != 200 || !strings.Contains(string(d.record("salt").Document), "limits: [0, 200]") {
		t.Errorf("%+v\n%s", x, d.record("salt").Document)
	}
	d.accepts(saltAt+"/edit", change("limits", "0; 200", "", "resolution", "0.5", ""))
	if now := string(d.record("salt").Document); now != plain {
		t.Errorf("emptied again:\n%s\nwant\n%s", now, plain)
	}

	// Changing: wrong at its field, stale as a clash, told in the history and
	// taken back.
	d.refuses(saltAt+"/edit", edit("reading-crust", "readings[crust].kind", "grade", "number"), 422, "A number needs its unit", `aria-invalid="true"`)
	d.refuses(saltAt+"/edit", edit("reading-crust", "readings[crust].unit", "", "N"), 422, "takes no unit", `value="N"`)
	before := string(d.record("salt").Document)
	body = d.accepts(saltAt+"/edit", edit("reading-crust", "readings[crust].scale", "pale, golden, brown", "pale, golden, brown, dark", "readings[crust].judged", "yes", "no"))
	wants(t, body, "The reading crust was changed: Does it rest on somebody’s judgement from “yes” to “no”; Grades, lowest first from “pale, golden, brown” to “pale, golden, brown, dark”.", "One of pale, golden, brown, dark, lowest first, measured.")
	d.refuses(saltAt+"/edit", edit("reading-crust", "readings[crust].scale", "pale, golden, brown", "pale, brown"), http.StatusConflict, "pale, golden, brown, dark", "pale, brown", "Keep mine")
	d.backAgain()
	if now := string(d.record("salt").Document); now != before {
		t.Errorf("taken back:\n%s\nwant\n%s", now, before)
	}
	d.accepts(saltAt+"/edit", edit("reading-crust", "readings[crust].what", "browning of the crust", ""))
	if x := s().Readings[0]; x.What != "" || strings.Contains(string(d.record("salt").Document), "what: null") {
		t.Errorf("emptied: %+v\n%s", x, d.record("salt").Document)
	}
	d.refuses(saltAt+"/edit", edit("reading-crust", "readings[crust].colour", "", "red"), 422, "not one that the page edits")

	// Removing: not what a question asks about.
	d.accepts(saltAt+"/questions", url.Values{"ask": {"Does it brown less?"}, "name": {"brown"}, "response": {"crust"}, "claim": {"lower"}, "margin": {"1"}})
	d.refuses(saltAt+"/entries", d.taking("readings", "crust"), 422, "Question brown still needs it")
	d.accepts(saltAt+"/entries", d.taking("questions", "brown"))
	stale := d.taking("readings", "crust")
	d.accepts(saltAt+"/edit", edit("reading-crust", "readings[crust].what", "", "the crust"))
	d.refuses(saltAt+"/entries", stale, http.StatusConflict, "One of pale, golden, brown")
	d.accepts(saltAt+"/entries", d.taking("readings", "crust"))
	wants(t, d.accepts(saltAt+"/entries", d.taking("readings", "peak-force-of-a-core")), "The reading peak-force-of-a-core was removed.", "Put it back")
	if now := string(d.record("salt").Document); strings.TrimSpace(now) != strings.TrimSpace(began) {
		t.Errorf("all taken out again:\n%s\nwant\n%s", now, began)
	}
	d.backAgain()
	if x := s().Readings; len(x) != 1 || x[0].Unit != "N" {
		t.Errorf("put back: %+v", x)
	}
}

// A reading that cooks have keeps its scale, and one that the sealed plan asks
// about says so before it is changed.
func TestReadingsThatAreUsedOrSealed(t *testing.T) {
	d := openDemo(t, 2)
	const at = "/studies/" + demoID
	rec := d.record(demoID)
	d.accepts(at+"/entries", entry("readings", "new-reading", "what", "browning", "id", "browning", "kind", "count"))
	label := rec.Cooks[0].Label
	d.accepts(at+"/cooks/"+label+"/readings", url.Values{"response": {"browning"}, "values": {"3"}})
	code, body := d.post(at+"/edit", edit("reading-browning", "readings[browning].kind", "count", "yes-no"))
	if code != 422 {
		t.Errorf("another kind under the values: %d", code)
	}
	wants(t, body, "1 cook has a value of it already", `aria-invalid="true"`)
	d.accepts(at+"/edit", edit("reading-browning", "readings[browning].what", "browning", "spots on the crust", "readings[browning].limits", "", "0; 40"))
	other := d.record(demoID).Cooks[1].Label
	if code, body := d.post(at+"/cooks/"+other+"/readings", url.Values{"response": {"browning"}, "values": {"400"}}); code != 422 || !strings.Contains(body, "it is declared to be 0 to 40") && !strings.Contains(body, "It is declared to be 0 to 40") {
		t.Errorf("a slip of the pen: %d", code)
	}
	out := url.Values{"list": {"readings"}, "entry": {"browning"}, "form": {"remove-readings-browning"}, "do": {"remove"}, "sure": {"yes"}, "seen": {stampOf(entryIn(d.record(demoID).Study, "readings", "browning"))}}
	if code, body := d.post(at+"/entries", out); code != 422 || !strings.Contains(body, label+" still needs it") {
		t.Errorf("removed under its values: %d", code)
	}

	e, _ := saltDesk(t)
	e.accepts(saltAt+"/entries", entry("readings", "new-reading", "what", "browning", "id", "crust", "kind", "count"))
	e.accepts(saltAt+"/questions", url.Values{"ask": {"Does it brown less?"}, "name": {"brown"}, "response": {"crust"}, "claim": {"lower"}, "margin": {"1"}})
	e.accepts(saltAt+"/entries", entry("readings", "new-reading", "what", "sticking", "id", "stuck", "kind", "yes-no"))
	e.accepts(saltAt+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	_, page := e.get(saltAt)
	wants(t, page, "The plan is sealed, and question brown asks about this reading.", "No sealed question asks about this reading")
	_, fresh, _ := strings.Cut(page, `id="edit-new-reading"`)
	if fresh, _, _ = strings.Cut(fresh, "</form>"); !strings.Contains(fresh, "No sealed question asks about this reading") {
		t.Error("a new reading is told to be sealed")
	}
	wants(t, e.accepts(saltAt+"/edit", edit("reading-crust", "readings[crust].judged", "no", "yes")), "Changed since the seal")
}

func TestInstrumentsByForm(t *testing.T) {
	d, s := saltDesk(t)
	const at = saltAt + "/instruments"
	_, page := d.get(at)
	wants(t, page, "No instrument is listed", "A bare temperature is taken in °C, a bare altitude in m")
	d.refuses(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "", "what", "needle probe")), 422, "An instrument needs its name", `value="needle probe"`)
	d.refuses(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T 1")), 422, `value="T 1"`, "Use letters, digits")
	d.refuses(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T-1", "ice", "cold; 0.2 °C")), 422, `value="cold; 0.2 °C"`, `aria-invalid="true"`)
	body := d.accepts(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T-1", "what", "needle probe", "class", "T special", "checked", "2026-03-01", "ice", "0.2; 32.5 °F", "boil", "99.1", "altitude", "300")))
	wants(t, body, "The instrument T-1 was added", "Needle probe; class T special; reads 0.24 °C in ice and 99.10 °C where water boils", "How is this known?", `value="0.2 °C; 32.5 °F"`, `<option value="T special" selected>`)
	x := s().Instruments[0]
	if len(x.IceC) != 2 || x.IceC[0] != 0.2 || x.BoilC[0] != 99.1 || x.AltitudeM != 300 || x.Checked != "2026-03-01" {
		t.Fatalf("%+v", x)
	}
	d.refuses(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T-1")), 422, "Another instrument has this name")

	change := func(form string, fields ...string) url.Values {
		for i := 0; i+2 < len(fields); i += 3 {
			fields[i] = "instruments[T-1]." + fields[i]
		}
		return paged("instruments", edit("instrument-T-1"+form, fields...))
	}
	d.accepts(saltAt+"/edit", change("-checks", "ice", "0.2 °C; 32.5 °F", "0.1", "checked", "2026-03-01", "2026-03-02"))
	d.refuses(saltAt+"/edit", change("-checks", "ice", "0.2 °C; 32.5 °F", "0.4"), http.StatusConflict, "0.1 °C", "0.4", "Keep theirs")
	d.refuses(saltAt+"/edit", change("-checks", "mass", "", "heavy"), 422, `value="heavy"`, `aria-invalid="true"`)
	before := string(d.record("salt").Document)
	d.refuses(saltAt+"/edit", change("-correct", "stem.length", "", "40"), 422, "A stem needs its length, diameter", `value="40"`, `aria-invalid="true"`)
	d.accepts(saltAt+"/edit", change("-correct", "lag", "", "3", "stem.length", "", "40", "stem.diameter", "", "3 mm", "stem.conductivity", "", "16", "stem.film", "", "200"))
	if x := s().Instruments[0]; x.LagS != 3 || x.Stem == nil || x.Stem.LengthM != 0.04 || x.Stem.FilmWM2K != 200 || x.Stem.HandleC != nil {
		t.Errorf("%+v", x)
	}
	d.accepts(saltAt+"/edit", change("-correct", "lag", "3 s", "", "stem.length", "40 mm", "", "stem.diameter", "3 mm", "", "stem.conductivity", "16", "", "stem.film", "200", ""))
	if now := string(d.record("salt").Document); now != before {
		t.Errorf("emptied again:\n%s\nwant\n%s", now, before)
	}

	// In the units of who reads °F and inches; what is saved stays as written.
	wants(t, d.accepts(saltAt+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T-2", "class", "T special"))), "Write it under “Write down the checks of T-2” on the page of the instruments.")
	d.accepts(saltAt+"/entries", paged("instruments", d.taking("instruments", "T-2")))
	d.post("/units", url.Values{"temperature": {"F"}, "length": {"in"}, "next": {"/"}})
	d.accepts(saltAt+"/edit", change("-checks", "ice", "0.1 °C", "32.6", "altitude", "300 m", "900"))
	_, page = d.get(at)
	wants(t, page, `value="32.6 °F"`, `value="900 ft"`, "a bare altitude in ft")
	if x := s().Instruments[0]; x.IceC[0] < 0.333 || x.IceC[0] > 0.334 || x.AltitudeM < 274.31 || x.AltitudeM > 274.33 {
		t.Errorf("%+v", x)
	}
	out := paged("instruments", d.taking("instruments", "T-1"))
	wants(t, d.accepts(saltAt+"/entries", out), "The instrument T-1 was removed", "Put it back", "No instrument is listed")
	_, page = d.get(saltAt)
	wants(t, page, "List instruments and their checks", `href="/studies/salt/instruments"`)
	d.backAgain()
	if len(s().Instruments) != 1 {
		t.Error("not put back")
	}
}

func TestLotsByForm(t *testing.T) {
	d, s := saltDesk(t)
	lot := func(fields ...string) url.Values { return paged("pieces", entry("lots", "new-lot", fields...)) }
	d.refuses(saltAt+"/entries", lot("what", "", "bought", "2026-02-27"), 422, "A lot needs to say what it is", `value="2026-02-27"`)
	body := d.accepts(saltAt+"/entries", lot("what", "two loins of one animal", "id", "A", "bought", "2026-02-27", "note", "aged: 10 days # on the bone"))
	wants(t, body, "Two loins of one animal; of 2026-02-27; no piece names it yet; aged: 10 days # on the bone", "The lot A was added", "Take it back")
	d.refuses(saltAt+"/entries", lot("what", "more", "id", "A"), 422, "Another lot has this name")
	d.accepts(saltAt+"/entries", lot("what", "one batch"))
	d.accepts(saltAt+"/entries", paged("pieces", entry("pieces", "new-piece", "label", "L01-a", "block", "L01", "lot", "A")))
	d.refuses(saltAt+"/entries", paged("pieces", d.taking("lots", "A")), 422, "Piece L01-a still needs it")
	d.accepts(saltAt+"/edit", paged("pieces", edit("lot-A", "lots[A].bought", "2026-02-27", "2026-02-26")))
	d.refuses(saltAt+"/edit", paged("pieces", edit("lot-A", "lots[A].bought", "2026-02-27", "2026-02-25")), http.StatusConflict, "2026-02-26", "2026-02-25", "Keep mine")
	wants(t, d.accepts(saltAt+"/entries", paged("pieces", d.taking("lots", "one-batch"))), "The lot one-batch was removed")
	if x := s().Lots; len(x) != 1 || x[0].Bought != "2026-02-26" || x[0].Note != "aged: 10 days # on the bone" {
		t.Errorf("%+v", x)
	}
}

// Every field of the lists has its words, and every word of theirs a field.
func TestTheFieldsOfListsHaveTheirWords(t *testing.T) {
	used := map[string]bool{}
	for _, l := range documentLists {
		for _, w := range []string{"one", "add", "remove", "empty", "empty-fix", "taken", "f-id", "f-id-is"} {
			used["list-"+l.One+"-"+w] = true
		}
		for code := range l.Strays {
			used["list-"+l.One+"-"+string(code)], used["list-"+l.One+"-"+string(code)+"-fix"] = true, true
		}
		for _, f := range l.Fields {
			used["list-"+l.One+"-f-"+f.Key] = true
			if l.hasWord("f-" + f.Key + "-is") {
				used["list-"+l.One+"-f-"+f.Key+"-is"] = true
			}
			for _, o := range f.Options {
				if l.hasWord("o-" + o) {
					used["list-"+l.One+"-o-"+o] = true
				}
			}
		}
	}
	for key := range used {
		if _, ok := english[key]; !ok {
			t.Errorf("no words for %q", key)
		}
	}
	for key := range english {
		if strings.HasPrefix(key, "list-") && !used[key] && key != "list-unknown" {
			t.Errorf("%q is never said", key)
		}
	}
}

// written by hand, with everything a person may do to the text.
const byHand = `# The head of the file.
study: Probes  # its title
questions:
  - {id: crust, ask: Does it brown?, response: crust, margin: 1}

# What is read.
readings:
  # by two people
  - {id: crust, kind: grade, scale: [pale, "golden, light", brown], judged: yes}   # blind
  - id: force          # on the bench
    what: 'peak force of a round core'
    unit: "N"

instruments:
- id: T-1
  ice: [0.10 °C, "32.4 °F"]   # twice
  stem: {length: 1 1/2 in, diameter: 3 mm, conductivity: 16.0, film: 200}
  note: |
    kept dry
    in its tube
- {id: scale, mass: 0.5 kg, read: 501 g}
lots:
    - id: A
      what: >-
        two loins
        of one animal
      bought: 2026-02-27
risk: {alpha: 0.05, power: 0.8, mode: fixed}   # the end
`

func parsedRecord(t interface{ Fatal(args ...any) }, text []byte) *bench.Record {
	s, err := study.Parse("study.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return &bench.Record{Study: s, Document: text}
}

// What a form shows, sent back as it stands, changes nothing; a field that is
// changed reads back as what was typed, and no line of another entry moves.
func TestListFieldsLeaveTheRestAlone(t *testing.T) {
	rec := parsedRecord(t, []byte(byHand))
	type place struct {
		l  *documentList
		id string
	}
	var places []place
	for _, x := range []struct{ list, id string }{{"readings", "crust"}, {"readings", "force"}, {"instruments", "T-1"}, {"instruments", "scale"}, {"lots", "A"}} {
		places = append(places, place{documentLists[x.list], x.id})
	}
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SampledFrom(places).Draw(t, "entry")
		f := rapid.SampledFrom(at.l.Fields).Draw(t, "field")
		path := at.l.Name + "[" + at.id + "]." + f.Key
		was, ok := valueOf(rec, path)
		if !ok {
			t.Fatalf("%s is not there", path)
		}
		var typed string
		switch f.As {
		case asYesNo:
			typed = rapid.SampledFrom([]string{"yes", "no"}).Draw(t, "typed")
		case asNumbers:
			typed = rapid.SampledFrom([]string{"", "0; 12.5", "-1; 0.25"}).Draw(t, "typed")
		case asNumber, asAmount, asAmounts:
			typed = rapid.SampledFrom([]string{"", "3", "12.5", "0.25"}).Draw(t, "typed")
		case asList:
			typed = rapid.SampledFrom([]string{"low, high", "a; b, c; d", "#1, yes, 3, “so”"}).Draw(t, "typed")
		default:
			typed = rapid.StringMatching(`[a-zé°:#'"{}\[\],&*!|>%@ -]{0,12}`).Draw(t, "typed")
		}
		if same(typed, was) {
			return
		}
		doc, err := study.ReadDocument("study.yaml", rec.Document)
		if err != nil {
			t.Fatal(err)
		}
		if err := put(doc, path, typed, units{}); err != nil {
			return // refused, and nothing is changed
		}
		now := parsedLines(doc.Bytes())
		after := f.shown(writtenAt(doc.Bytes(), at.l.Name, path))
		if want := f.shown(asWritten(f, typed)); !same(after, want) {
			t.Fatalf("%s: typed %q reads %q, want %q\n%s", path, typed, after, want, doc.Bytes())
		}
		for _, line := range parsedLines(rec.Document) {
			if mine := linesOfEntry[at.l.Name+" "+at.id]; !strings.Contains(mine, line) && !strings.Contains("\n"+strings.Join(now, "\n")+"\n", "\n"+line+"\n") {
				t.Fatalf("%s: the line %q is gone:\n%s", path, line, doc.Bytes())
			}
		}
	})
}

func parsedLines(b []byte) []string { return strings.Split(strings.TrimSuffix(string(b), "\n"), "\n") }

// asWritten is what stands in the document for what was typed.
func asWritten(f listField, typed string) []string {
	switch v := f.read(typed, units{}).(type) {
	case nil:
		return nil
	case bool:
		return []string{yesNo(v)}
	case float64:
		return []string{number(v)}
	case []string:
		return v
	case []any:
		var out []string
		for _, x := range v {
			out = append(out, number(x.(float64)))
		}
		return out
	case string:
		return []string{v}
	}
	return nil
}

var linesOfEntry = func() map[string]string {
	part := func(from, to string) string {
		_, rest, _ := strings.Cut(byHand, from)
		text, _, _ := strings.Cut(rest, to)
		return from + text
	}
	return map[string]string{
		"readings crust": part("  - {id: crust, kind", "  - id: force"), "readings force": part("  - id: force", "instruments:"),
		"instruments T-1": part("- id: T-1", "- {id: scale"), "instruments scale": part("- {id: scale", "lots:"), "lots A": part("    - id: A", "risk:")}
}()

// An entry that is added and taken out again leaves the bytes as they were.
func TestAnAddedEntryIsTakenOutWithoutATrace(t *testing.T) {
	rec := parsedRecord(t, []byte(byHand))
	rapid.Check(t, func(t *rapid.T) {
		l := documentLists[rapid.SampledFrom([]string{"readings", "instruments", "lots"}).Draw(t, "list")]
		in := map[string]string{l.Name + "[new].id": rapid.StringMatching(`[a-z][a-z0-9-]{2,6}`).Draw(t, "id")}
		for _, f := range l.Fields {
			text := "word # " + f.Key
			switch {
			case f.Options != nil:
				text = rapid.SampledFrom(f.Options).Draw(t, f.Key)
			case f.As == asNumbers:
				text = "0; 2.5"
			case f.As == asNumber || f.As == asAmount || f.As == asAmounts:
				text = "2.5"
			case f.As == asYesNo:
				text = "yes"
			case f.As == asList:
				text = "low, high"
			}
			if rapid.Bool().Draw(t, f.Key+" is typed") {
				in[l.Name+"[new]."+f.Key] = text
			}
		}
		doc, err := study.ReadDocument("study.yaml", rec.Document)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := l.addTo(rec, doc, in, units{}); err != nil {
			t.Fatal(err)
		}
		if err := doc.Remove(l.Name + "[" + in[l.Name+"[new].id"] + "]"); err != nil {
			t.Fatal(err)
		}
		if string(doc.Bytes()) != byHand {
			t.Fatalf("%v left\n%s", in, doc.Bytes())
		}
	})
}

var (
	formText     = regexp.MustCompile(`(?s)<form method="post" action="([^"]*)"[^>]*>(.*?)</form>`)
	inputTag     = regexp.MustCompile(`<input ([^>]*)>`)
	areaTag      = regexp.MustCompile(`(?s)<textarea [^>]*name="([^"]*)"[^>]*>(.*?)</textarea>`)
	selectTag    = regexp.MustCompile(`(?s)<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>`)
	selectedTag  = regexp.MustCompile(`<option(?: value="([^"]*)")? selected>`)
	firstOption  = regexp.MustCompile(`<option value="([^"]*)"`)
	nameValue    = regexp.MustCompile(`name="([^"]*)"(?: [a-z-]+="[^"]*")*? value="([^"]*)"`)
	checkedBoxes = regexp.MustCompile(`type="(?:checkbox|radio)"`)
)

// filled are the forms of a page as a browser would send them untouched.
func filled(page string) (actions []string, forms []url.Values) {
	for _, m := range formText.FindAllStringSubmatch(page, -1) {
		v := url.Values{}
		for _, in := range inputTag.FindAllStringSubmatch(m[2], -1) {
			if nv := nameValue.FindStringSubmatch(in[1]); nv != nil && !checkedBoxes.MatchString(in[1]) {
				v.Set(nv[1], html.UnescapeString(nv[2]))
			}
		}
		for _, a := range areaTag.FindAllStringSubmatch(m[2], -1) {
			v.Set(a[1], strings.ReplaceAll(html.UnescapeString(a[2]), "\n", "\r\n"))
		}
		for _, s := range selectTag.FindAllStringSubmatch(m[2], -1) {
			o := selectedTag.FindStringSubmatch(s[2])
			if o == nil {
				o = firstOption.FindStringSubmatch(s[2])
			}
			v.Set(s[1], html.UnescapeString(o[1]))
		}
		actions, forms = append(actions, m[1]), append(forms, v)
	}
	return actions, forms
}

// Every form of a document that was written by hand, sent as it is shown,
// leaves the document byte for byte.
func TestFormsSentUntouchedLeaveTheBytes(t *testing.T) {
	d, _ := saltDesk(t)
	rec := d.record("salt")
	text := "id: salt\n" + byHand + `treatments:
  - {id: old, control: yes}
  - {id: new, set: {salt: early}}
controlled: {thickness: 1 1/4 in ± 1 mm, "room air": "22 °C ± 2 °C"}
utc_offset: "+01:00"   # in winter
pieces:
  - {label: L01-a, block: L01, lot: A, thickness: [30 mm, 1 3/16 in], mass: 0.55 lb, start: 41 °F}
`
	text = strings.Replace(text, "margin: 1}", "margin: 1, compare: {treatment: new}, covariates: [mass, thickness], judged: true}", 1)
	d.accepts(saltAt+"/text", url.Values{"text": {text}, "base": {bench.HashOf(rec.Document)}})
	sent := 0
	for _, page := range []string{"", "/instruments", "/pieces"} {
		_, body := d.get(saltAt + page)
		actions, forms := filled(body)
		for i, form := range forms {
			if actions[i] != saltAt+"/edit" {
				continue
			}
			sent++
			if code, _ := d.post(actions[i], form); code != 200 {
				t.Errorf("%v: %d", form, code)
			}
			if now := string(d.record("salt").Document); now != text {
				t.Fatalf("%v changed the document:\n%s\nwant\n%s", form, now, text)
			}
		}
	}
	if sent < 15 {
		t.Errorf("only %d forms were sent", sent)
	}
}

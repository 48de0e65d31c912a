package web

import (
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"trivet/study"
)

const saltAt = "/studies/salt"

// saltDesk is a desk with one new study.
func saltDesk(t *testing.T) (*deskServer, func() *study.Study) {
	t.Helper()
	d := openDesk(t)
	d.post("/studies", url.Values{"title": {"Salt"}})
	return d, func() *study.Study { return d.record("salt").Study }
}

// entry is the form for a new entry of a list.
func entry(list, form string, fields ...string) url.Values {
	v := url.Values{"list": {list}, "form": {form}, "do": {"add"}}
	for i := 0; i+1 < len(fields); i += 2 {
		v.Set("set:"+list+"[new]."+fields[i], fields[i+1])
	}
	return v
}

// taking is the form that takes an entry out, as the page shows it now.
func (d *deskServer) taking(list, name string) url.Values {
	return url.Values{"list": {list}, "entry": {name}, "form": {"remove-" + list + "-" + strings.ReplaceAll(name, " ", "-")}, "do": {"remove"}, "sure": {"yes"},
		"seen": {stampOf(entryIn(d.record("salt").Study, list, name))}}
}

func (d *deskServer) accepts(path string, form url.Values) string {
	d.Helper()
	code, body := d.post(path, form)
	if code != http.StatusOK {
		_, problem, _ := strings.Cut(body, `class="problem"`)
		d.Fatalf("%s %v: %d %.500s", path, form, code, problem)
	}
	return body
}

func (d *deskServer) refuses(path string, form url.Values, status int, texts ...string) {
	d.Helper()
	before := string(d.record("salt").Document)
	code, body := d.post(path, form)
	if code != status {
		d.Errorf("%s %v: %d, want %d", path, form, code, status)
	}
	wants(d, html.UnescapeString(body), append(texts, `role="alert"`)...)
	if string(d.record("salt").Document) != before {
		d.Errorf("%s %v was refused and saved", path, form)
	}
}

func TestVoidRulesByForm(t *testing.T) {
	d, s := saltDesk(t)
	d.refuses(saltAt+"/entries", entry("void", "new-rule", "when", " … "), 422, "A rule needs its sentence", `value="new-rule"`)
	body := d.accepts(saltAt+"/entries", entry("void", "new-rule", "when", "the probe came out before the piece left the heat"))
	wants(t, body, "The probe came out before the piece left the heat.")
	d.accepts(saltAt+"/entries", entry("void", "new-rule", "when", "the probe came out before: two times"))
	rules := s().VoidRules
	if len(rules) != 2 || rules[0].ID != "the-probe-came-out-before" || rules[1].ID != "the-probe-came-out-before-2" || rules[1].When != "the probe came out before: two times" {
		t.Fatalf("%+v", rules)
	}
	path := "void[" + rules[0].ID + "].when"
	d.accepts(saltAt+"/edit", edit("rule-"+rules[0].ID, path, rules[0].When, "the probe slipped"))
	d.refuses(saltAt+"/edit", edit("rule-"+rules[0].ID, path, rules[0].When, "the oven failed"), http.StatusConflict, "the probe slipped", "the oven failed", "Keep mine")

	// Taking out: asked twice, not what somebody else changed, and back again.
	unsure := d.taking("void", rules[0].ID)
	unsure.Del("sure")
	d.refuses(saltAt+"/entries", unsure, 422, "Removing was not confirmed")
	stale := d.taking("void", rules[0].ID)
	stale.Set("seen", stampOf(rules[0]))
	d.refuses(saltAt+"/entries", stale, http.StatusConflict, "the probe slipped")
	before := string(d.record("salt").Document)
	body = d.accepts(saltAt+"/entries", d.taking("void", rules[0].ID))
	wants(t, body, "The void rule the-probe-came-out-before was removed.", "Put it back")
	d.accepts(saltAt+"/edit", edit("claim", "claim.says", "", "salt early"))
	d.backAgain()
	if got := s().VoidRules; len(got) != 2 || got[0].When != "the probe slipped" {
		t.Errorf("put back: %+v", got)
	}
	if after := strings.Replace(string(d.record("salt").Document), "says: salt early", "says:", 1); strings.Join(strings.Fields(after), " ") != strings.Join(strings.Fields(before), " ") {
		t.Errorf("the document came back otherwise:\n%s", after)
	}
	d.accepts(saltAt+"/entries", d.taking("void", rules[0].ID))
	d.accepts(saltAt+"/entries", d.taking("void", rules[1].ID)) // the last one takes its list with it
	if got := s().VoidRules; len(got) != 0 {
		t.Errorf("left: %+v", got)
	}
	d.accepts(saltAt+"/entries", entry("void", "new-rule", "when", "a power cut"))
	d.refuses(saltAt+"/undo", url.Values{"entry": {"999"}}, 422, "cannot be put back by itself")
}

// backAgain presses the first button that puts something back.
func (d *deskServer) backAgain() {
	d.Helper()
	_, page := d.get(saltAt)
	_, rest, ok := strings.Cut(page, `name="entry" value="`)
	for ok && !strings.Contains(rest[:60], "Put back:") && !strings.Contains(rest[:40], `"><button`) && !strings.Contains(rest[:60], "aria-label") {
		_, rest, ok = strings.Cut(rest, `name="entry" value="`)
	}
	if !ok {
		d.Fatal("nothing can be put back")
	}
	seq, _, _ := strings.Cut(rest, `"`)
	d.accepts(saltAt+"/undo", url.Values{"entry": {seq}})
}

func TestPiecesByForm(t *testing.T) {
	d, s := saltDesk(t)
	piece := func(fields ...string) url.Values {
		v := entry("pieces", "new-piece", fields...)
		v.Set("page", "pieces")
		return v
	}
	d.refuses(saltAt+"/entries", piece("label", "", "block", "L01"), 422, "A piece needs the label on its tag", `value="L01"`)
	d.refuses(saltAt+"/entries", piece("label", "L01 a"), 422, `value="L01 a"`, "Use letters, digits")
	d.refuses(saltAt+"/entries", piece("label", "L01-a", "thickness", "thick; 30 mm"), 422, `value="thick; 30 mm"`, `aria-invalid="true"`)
	d.refuses(saltAt+"/entries", piece("label", "L01-a", "twin", "L09-x"), 422, `value="L09-x"`)
	body := d.accepts(saltAt+"/entries", piece("label", "L01-a", "block", "L01", "thickness", "30 mm; 31; 1.25 in", "mass", "250.5", "start", "4", "position", "3 from the blade end", "spare", "no"))
	wants(t, body, "Block L01", "30 mm", "250.5 g", "3 from the blade end")
	x := s().Pieces[0]
	if len(x.ThicknessM) != 3 || x.ThicknessM[1] != 0.031 || x.ThicknessM[2] != 0.03175 || x.MassKg != 0.2505 || x.StartC == nil || *x.StartC != 4 || x.Spare {
		t.Fatalf("%+v", x)
	}
	d.refuses(saltAt+"/entries", piece("label", "L01-a"), 422, "Another piece has this label")
	d.accepts(saltAt+"/entries", piece("label", "L01-b", "block", "L01", "spare", "yes", "twin", "L01-a"))

	change := edit("piece-L01-a", "pieces[L01-a].mass", "250.5 g", "251 g", "pieces[L01-a].thickness", "30 mm; 31 mm; 31.75 mm", "31")
	change.Set("page", "pieces")
	body = d.accepts(saltAt+"/edit", change)
	wants(t, body, "251 g", "31 mm")
	change.Set("set:pieces[L01-a].mass", "252 g")
	d.refuses(saltAt+"/edit", change, http.StatusConflict, "251 g", "252 g", "Keep theirs")
	wrong := edit("piece-L01-a", "pieces[L01-a].mass", "251 g", "heavy")
	wrong.Set("page", "pieces")
	d.refuses(saltAt+"/edit", wrong, 422, `value="heavy"`, `aria-invalid="true"`)

	out := d.taking("pieces", "L01-a")
	out.Set("page", "pieces")
	d.refuses(saltAt+"/entries", out, 422, "Its twin L01-b still needs it")
	out = d.taking("pieces", "L01-b")
	out.Set("page", "pieces")
	wants(t, d.accepts(saltAt+"/entries", out), "The piece L01-b was removed", "Put it back")
	_, body = d.get(saltAt)
	wants(t, body, "1 piece listed, from 1 block.")
}

// The run order is drawn over the pieces that are listed, and where none are
// its own names can be listed by one button.
func TestPiecesAndTheRunOrder(t *testing.T) {
	d, s := saltDesk(t)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "2", "blocks.pieces", "", "2"))
	order := url.Values{"list": {"pieces"}, "form": {"from-order"}, "page": {"pieces"}, "do": {"from-order"}}
	d.refuses(saltAt+"/entries", order, 422)
	d.accepts(saltAt+"/order", nil)
	_, body := d.get(saltAt + "/pieces")
	wants(t, body, "The run order names 4 pieces that nobody has listed.")
	d.accepts(saltAt+"/entries", order)
	if got := s().Pieces; len(got) != 4 || got[0].Label != "L01-a" || got[0].Block != "L01" || got[3].Label != "L02-b" {
		t.Fatalf("%+v", got)
	}
	out := d.taking("pieces", "L01-a")
	out.Set("page", "pieces")
	d.refuses(saltAt+"/entries", out, 422, "run order still needs it")
	d.accepts(saltAt+"/order", nil)
	if got := s().Design.RunOrder; len(got) != 4 {
		t.Errorf("%+v", got)
	}
}

func TestFoodControlsLicenceByForm(t *testing.T) {
	d, s := saltDesk(t)
	d.accepts(saltAt+"/edit", edit("foods", "foods.animal", "", "pork", "foods.form", "", "intact", "foods.allergens", "", "milk, celery", "foods.fat", "", "butter"))
	d.accepts(saltAt+"/edit", edit("controlled", "controlled.pan", "", "205 °C ± 5 °C", "controlled.thickness", s().Controlled[0].Text, "30 mm ± 2 mm"))
	d.accepts(saltAt+"/edit", edit("licence", "licence", s().Licence, "CC0-1.0", "authors", "", "A. Cook; B. Cook"))
	got := s()
	if got.Foods.Animal != "pork" || strings.Join(got.Foods.Allergens, "|") != "milk|celery" || got.Foods.Fat != "butter" || got.Licence != "CC0-1.0" || strings.Join(got.Authors, "|") != "A. Cook|B. Cook" {
		t.Errorf("%+v %q %q", got.Foods, got.Licence, got.Authors)
	}
	if v, _ := fieldValue(got, "controlled.pan"); v != "205 °C ± 5 °C" {
		t.Errorf("pan: %q", v)
	}
	d.refuses(saltAt+"/edit", edit("controlled", "controlled.oven", "", "160 °C"), 422, `value="160 °C"`, `aria-invalid="true"`, "needs its tolerance")
	d.refuses(saltAt+"/edit", edit("foods", "foods.allergens", "", "nuts"), http.StatusConflict, "milk, celery", "nuts")
	d.refuses(saltAt+"/edit", edit("foods", "foods.animal", "pork", "unicorn"), 422, `role="alert"`)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "6"))
	_, body := d.get(saltAt)
	wants(t, body, "Press “Draw the run order” in this part.")
	if strings.Contains(body, "trivet plan") {
		t.Error("the page sends somebody to a command")
	}
}

func TestTreatmentsAndQuestionsAreTakenOutAndBack(t *testing.T) {
	d, s := saltDesk(t)
	d.accepts(saltAt+"/treatments", url.Values{"name": {"no salt"}})
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "4", "blocks.pieces", someCount(s().Blocks.Pieces), "3"))
	d.accepts(saltAt+"/order", nil)
	d.accepts(saltAt+"/edit", edit("treatment-no-salt", "treatments[no-salt].name", "no salt", "salt left out"))
	d.accepts(saltAt+"/edit", edit("q-loss", "questions[loss].compare.treatment", "", "new", "questions[loss].compare.against", "", "usual"))
	q := s().Questions[0]
	d.refuses(saltAt+"/entries", d.taking("treatments", q.Compare.Treatment), 422, "Question "+q.ID+" still needs it", "Change that first.")
	body := d.accepts(saltAt+"/entries", d.taking("treatments", "no-salt"))
	wants(t, body, "The treatment no-salt was removed.")
	if got := s(); len(got.Treatments) != 2 || len(got.Design.RunOrder) != 0 {
		t.Errorf("%+v", got.Treatments)
	}
	d.backAgain()
	if got := s(); len(got.Treatments) != 3 || len(got.Design.RunOrder) != 12 {
		t.Errorf("put back: %+v", got.Treatments)
	}
	d.accepts(saltAt+"/questions", url.Values{"ask": {"Can people tell?"}, "name": {"taste"}, "kind": {"tasting"}, "method": {"triangle"}})

	// Counts of a tasting on paper.
	counts := func(n, correct string) url.Values {
		v := entry("tastings", "new-counts-taste", "n", n, "correct", correct)
		v.Set("question", "taste")
		return v
	}
	d.refuses(saltAt+"/entries", counts("many", "3"), 422, `value="many"`, "This is no count")
	d.refuses(saltAt+"/entries", counts("24", "25"), 422, `value="25"`, "More correct answers than the 24 assessments")
	wants(t, d.accepts(saltAt+"/entries", counts("24", "13")), "13 of 24 right")
	d.accepts(saltAt+"/edit", edit("counts-paper-taste", "tastings[paper-taste].correct", "13", "14"))
	if got := s().Tastings[0]; got.N != 24 || got.Correct != 14 || got.Method != "triangle" || !got.Closed || got.Question != "taste" {
		t.Errorf("%+v", got)
	}
	d.refuses(saltAt+"/edit", edit("counts-paper-taste", "tastings[paper-taste].correct", "13", "15"), http.StatusConflict)
	d.refuses(saltAt+"/edit", edit("counts-paper-taste", "tastings[paper-taste].correct", "14", "most"), 422, `value="most"`)
	d.refuses(saltAt+"/entries", d.taking("questions", "taste"), 422, "Tasting paper-taste still needs it")
	d.accepts(saltAt+"/entries", d.taking("tastings", "paper-taste"))
	d.accepts(saltAt+"/entries", d.taking("questions", "taste"))
	if got := s(); len(got.Questions) != 1 || len(got.Tastings) != 0 {
		t.Errorf("%+v", got.Questions)
	}

	// A sealed plan shows what is changed afterwards.
	d.accepts(saltAt+"/entries", entry("void", "new-rule", "when", "the probe slipped"))
	d.accepts(saltAt+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	d.refuses(saltAt+"/entries", d.taking("treatments", "no-salt"), 422, "The sealed run order still needs it")
	wants(t, d.accepts(saltAt+"/entries", d.taking("void", "the-probe-slipped")), "Changed since the seal")
	d.refuses(saltAt+"/entries", url.Values{"list": {"cooks"}, "do": {"remove"}, "form": {"new-rule"}}, 422, "no such list")
}

func TestTheDayOfACook(t *testing.T) {
	d, at, cook := cookAt(t)
	was := cook().Day
	code, body := d.post(at+"/day", url.Values{"day": {"31.3.2026"}, "was": {was}})
	if code != 422 || cook().Day != was {
		t.Errorf("a bad day: %d, %q", code, cook().Day)
	}
	wants(t, body, `value="31.3.2026"`, "This is no day")
	if code, _ := d.post(at+"/day", url.Values{"day": {"2026-03-31"}, "was": {was}}); code != 200 || cook().Day != "2026-03-31" {
		t.Errorf("a good day: %d, %q", code, cook().Day)
	}
	if code, body := d.post(at+"/day", url.Values{"day": {"2026-04-01"}, "was": {was}}); code != 422 || cook().Day != "2026-03-31" || !strings.Contains(body, `value="2026-04-01"`) {
		t.Errorf("a stale day: %d, %q", code, cook().Day)
	}
	d.firstUndo(at)
	if cook().Day != was {
		t.Errorf("taken back: %q, want %q", cook().Day, was)
	}
}

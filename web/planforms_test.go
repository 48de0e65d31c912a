package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
)

// settingEntry is the form for something new that is set for a treatment.
func settingEntry(treatment, name, value string) url.Values {
	v := entry("settings", "new-setting-"+treatment, "name", name, "value", value)
	v.Set("question", treatment)
	return v
}

func TestTreatmentsAndTheirSettingsByForm(t *testing.T) {
	d, s := saltDesk(t)
	at := func(id string) (set map[string]string, control bool) {
		for _, x := range s().Treatments {
			if x.ID == id {
				return x.Set, x.Control
			}
		}
		t.Fatalf("no treatment %s", id)
		return nil, false
	}
	d.refuses(saltAt+"/treatments", url.Values{"name": {"usual"}, "setting": {"salt"}, "value": {"1 %"}}, 422, "There is a treatment called usual already", `value="salt"`, `value="1 %"`)
	d.refuses(saltAt+"/treatments", url.Values{"name": {"salt early"}, "setting": {"salt"}}, 422, "Nothing is said of what it is set to", `value="salt early"`)
	d.accepts(saltAt+"/treatments", url.Values{"name": {"salt early"}, "control": {"yes"}, "setting": {"salted"}, "value": {"1 h before"}})
	set, control := at("salt-early")
	if set["salted"] != "1 h before" || !control {
		t.Errorf("%v, control %v", set, control)
	}
	if _, control := at("usual"); control {
		t.Error("two treatments are the control")
	}
	d.accepts(saltAt+"/treatments", url.Values{"name": {"plain"}})
	if set, _ := at("plain"); len(set) != 0 {
		t.Errorf("settings that nobody typed: %v", set)
	}

	// Settings one by one.
	d.refuses(saltAt+"/entries", settingEntry("plain", "oven.top", "175 °C"), 422, "A setting needs a name", `value="oven.top"`, `aria-invalid="true"`)
	d.refuses(saltAt+"/entries", settingEntry("plain", "oven", " "), 422, "Nothing is said", `value="oven"`)
	d.refuses(saltAt+"/entries", settingEntry("gone", "oven", "175 °C"), 422)
	wants(t, d.accepts(saltAt+"/entries", settingEntry("plain", "oven  rack", "in the middle")), "oven rack", "in the middle")
	d.accepts(saltAt+"/entries", settingEntry("plain", "oven", "175 °C"))
	d.refuses(saltAt+"/entries", settingEntry("plain", "oven", "180 °C"), 422, "Oven is set already")
	d.accepts(saltAt+"/edit", edit("treatment-plain", "treatments[plain].set.oven", "175 °C", "180 °C"))
	d.refuses(saltAt+"/edit", edit("treatment-plain", "treatments[plain].set.oven", "175 °C", "190 °C"), http.StatusConflict, "180 °C", "190 °C", "Keep mine")
	stale := d.taking("settings", "plain.oven")
	d.accepts(saltAt+"/edit", edit("treatment-plain", "treatments[plain].set.oven", "180 °C", "185 °C"))
	d.refuses(saltAt+"/entries", stale, http.StatusConflict, "185 °C")
	wants(t, d.accepts(saltAt+"/entries", d.taking("settings", "plain.oven")), "The setting plain.oven was removed.", "Put it back")
	d.backAgain()
	d.accepts(saltAt+"/entries", d.taking("settings", "plain.oven"))
	d.accepts(saltAt+"/entries", d.taking("settings", "plain.oven rack")) // the last one takes its group with it
	if set, _ := at("plain"); len(set) != 0 {
		t.Errorf("left: %v", set)
	}

	// One control, whichever.
	d.accepts(saltAt+"/edit", edit("control", "control", "salt-early", "usual"))
	if _, control := at("usual"); !control || strings.Count(string(d.record("salt").Document), "control: true")+strings.Count(string(d.record("salt").Document), "control: yes") != 1 {
		t.Errorf("the control is %v:\n%s", control, d.record("salt").Document)
	}
	d.refuses(saltAt+"/edit", edit("control", "control", "salt-early", "plain"), http.StatusConflict, "Keep theirs")
	d.accepts(saltAt+"/edit", edit("control", "control", "usual", ""))
	_, body := d.get(saltAt)
	wants(t, body, "No treatment is the control", "Choose it under “Say what the others are compared with”.")
}

func TestLooksThatArePlannedByForm(t *testing.T) {
	d, s := saltDesk(t)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "20"))
	d.refuses(saltAt+"/edit", edit("plan", "risk.mode", "fixed", "group-sequential"), 422, "names its looks", `aria-invalid="true"`)
	d.refuses(saltAt+"/edit", edit("plan", "risk.mode", "fixed", "group-sequential", "risk.looks", "", "6; 12; 18"), 422, "The last look is at 18 blocks", `value="6; 12; 18"`)
	d.refuses(saltAt+"/edit", edit("plan", "risk.mode", "fixed", "group-sequential", "risk.looks", "", "6, some, 20"), 422, `value="6, some, 20"`)
	d.refuses(saltAt+"/edit", edit("plan", "risk.looks", "", "6, 20"), 422, "Only a group-sequential plan has looks")
	wants(t, d.accepts(saltAt+"/edit", edit("plan", "risk.mode", "fixed", "group-sequential", "risk.looks", "", "6, 12, 20", "risk.spending", "", "pocock")),
		"looks after 6, 12, 20 blocks; the error rate is spent evenly over them (Pocock)", "not decided yet; claimed lower")
	if r := s().Risk; r.Mode != "group-sequential" || !slices.Equal(r.Looks, []int{6, 12, 20}) || r.Spending != "pocock" {
		t.Fatalf("%+v", r)
	}
	d.accepts(saltAt+"/edit", edit("plan", "risk.mode", "group-sequential", "fixed", "risk.looks", "6, 12, 20", "6, 12, 20", "risk.spending", "pocock", "pocock"))
	if r := s().Risk; r.Mode != "fixed" || len(r.Looks) != 0 || r.Spending != "" {
		t.Errorf("%+v", r)
	}
}

func TestInventedDataAndTheNameOfARuleByForm(t *testing.T) {
	d, s := saltDesk(t)
	wants(t, d.accepts(saltAt+"/edit", edit("licence", "invented", "no", "yes")), "Invented data")
	if !s().Invented {
		t.Error("not invented")
	}
	d.accepts(saltAt+"/entries", entry("void", "new-rule", "when", "the probe slipped", "id", "probe-slip"))
	d.refuses(saltAt+"/entries", entry("void", "new-rule", "when", "it slipped again", "id", "probe-slip"), 422, "Another rule has this name", "it slipped again", `value="probe-slip"`)
	d.refuses(saltAt+"/entries", entry("void", "new-rule", "when", "it slipped again", "id", "probe slip!"), 422, "it slipped again", `value="probe slip!"`)
	if r := s().VoidRules; len(r) != 1 || r[0].ID != "probe-slip" {
		t.Errorf("%+v", r)
	}
}

// The pieces of the plan are listed by one form, those of the run order under
// its names, and measured in another.
func TestPiecesOfThePlanByForm(t *testing.T) {
	d, s := saltDesk(t)
	labels := func() string {
		var all []string
		for _, x := range s().Pieces {
			label := x.Label
			if x.Spare {
				label += " spare"
			}
			if x.Twin != "" {
				label += " of " + x.Twin
			}
			all = append(all, label)
		}
		return strings.Join(all, ", ")
	}
	planned := func(prefix, twins string) url.Values {
		return url.Values{"list": {"pieces"}, "form": {"from-plan"}, "page": {"pieces"}, "do": {"from-plan"}, "set:pieces[plan].prefix": {prefix}, "set:pieces[plan].twins": {twins}}
	}
	d.refuses(saltAt+"/entries", planned("L", "no"), 422, "There are no blocks to draw from")
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "2", "blocks.pieces", "2", "2", "blocks.spares", "1", "1"))
	d.refuses(saltAt+"/entries", planned("pork loin", "no"), 422, "Blocks need a name", `value="pork loin"`)
	wants(t, d.accepts(saltAt+"/entries", planned("loin", "no")), "loin01-a")
	if want := "loin01-a, loin01-b, loin01-c spare, loin02-a, loin02-b, loin02-c spare"; labels() != want {
		t.Fatalf("%s, want %s", labels(), want)
	}
	d.refuses(saltAt+"/entries", planned("loin", "no"), 422, "All pieces of the plan are listed")
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "2", "3"))
	d.accepts(saltAt+"/entries", planned("B", "yes"))
	if want := "loin01-a, loin01-b, loin01-c spare, loin02-a, loin02-b, loin02-c spare, B01-a, B01-b, B01-c spare, B01-ta of B01-a, B01-tb of B01-b, loin01-ta of loin01-a, loin01-tb of loin01-b, loin02-ta of loin02-a, loin02-tb of loin02-b"; labels() != want {
		t.Errorf("%s, want %s", labels(), want)
	}

	measured := edit("measures", "pieces[loin01-a].thickness", "", "30.1; 30.2 mm", "pieces[loin01-a].mass", "", "201.5", "pieces[loin01-b].start", "", "41 °F", "pieces[loin02-a].mass", "", "")
	measured.Set("page", "pieces")
	d.accepts(saltAt+"/edit", measured)
	if x := s().Pieces; len(x[0].ThicknessM) != 2 || x[0].MassKg != 0.2015 || x[1].StartC == nil || *x[1].StartC != 5 {
		t.Errorf("%+v", x[:2])
	}
	measured.Set("set:pieces[loin01-a].mass", "203")
	d.refuses(saltAt+"/edit", measured, http.StatusConflict, "201.5 g", "203", "Keep mine", `id="edit-measures" open`)
	// The form of a later stretch leads back to it, refused or not.
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "3", "16"))
	d.accepts(saltAt+"/entries", planned("C", "no"))
	later := edit("measures", "pieces[C13-a].mass", "", "198")
	later.Set("page", "pieces")
	later.Set("stretch", "41")
	if last := s().Pieces[len(s().Pieces)-1].Label; last != "C13-c" {
		t.Fatalf("the last piece is %s", last)
	}
	wants(t, d.accepts(saltAt+"/edit", later), `name="set:pieces[C13-a].mass"`, "198 g")
	later.Set("set:pieces[C13-a].mass", "light")
	later.Set("was:pieces[C13-a].mass", "198 g")
	d.refuses(saltAt+"/edit", later, 422, `value="light"`)
	wrong := edit("measures", "pieces[loin02-b].mass", "", "heavy", "pieces[loin02-a].mass", "", "199 g")
	wrong.Set("page", "pieces")
	d.refuses(saltAt+"/edit", wrong, 422, `value="heavy"`, `value="199 g"`)
}

// A piece is added one by one while the run order names others that nobody
// listed yet.
func TestAPieceIsAddedUnderADrawnOrder(t *testing.T) {
	d, s := saltDesk(t)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "2", "blocks.pieces", "2", "2"))
	d.accepts(saltAt+"/order", nil)
	piece := entry("pieces", "new-piece", "label", "L01-c", "block", "L01", "spare", "yes")
	piece.Set("page", "pieces")
	wants(t, d.accepts(saltAt+"/entries", piece), "L01-c", "The run order names 4 pieces that nobody has listed.")
	_, body := d.get(saltAt)
	wants(t, body, "4 pieces that are not under pieces", "List them on the page of the pieces")
	d.accepts(saltAt+"/entries", url.Values{"list": {"pieces"}, "form": {"from-order"}, "page": {"pieces"}, "do": {"from-order"}})
	if got := s(); len(got.Pieces) != 5 || len(got.Design.RunOrder) != 4 {
		t.Errorf("%+v", got.Pieces)
	}
}

// While a form is filled in, what is wrong so far is told and nothing saved.
func TestFormsOfThePlanAreTriedOut(t *testing.T) {
	d, _ := saltDesk(t)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "20"))
	before := string(d.record("salt").Document)
	for _, c := range []struct {
		form url.Values
		says string // "" nothing is wrong
	}{
		{edit("plan", "risk.mode", "fixed", "group-sequential", "risk.looks", "", "6, 12"), "The last look is at 12 blocks"},
		{edit("plan", "risk.mode", "fixed", "group-sequential", "risk.looks", "", "6, 20"), ""},
		{entry("void", "new-rule", "when", "it slipped", "id", "no good name"), "no good name"},
		{entry("void", "new-rule", "when", "it slipped", "id", "slip"), ""},
		{settingEntry("usual", "oven.top", "175 °C"), "A setting needs a name"},
		{settingEntry("usual", "oven", "175 °C"), ""},
		{entry("pieces", "new-piece", "label", "L01-a", "thickness", "thick"), "data-wrong=\"pieces[new].thickness\""},
	} {
		code, body := d.get(saltAt + "/trial?" + c.form.Encode())
		if code != 200 || c.says == "" && strings.Contains(body, "problem") || c.says != "" && !strings.Contains(body, "problem") {
			t.Errorf("%v: %d %s", c.form, code, body)
		}
		if c.says != "" && c.says != "no good name" {
			wants(t, body, c.says)
		}
	}
	if string(d.record("salt").Document) != before {
		t.Error("a trial was saved")
	}
}

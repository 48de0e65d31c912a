package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"trivet/bench"
	"trivet/study"
)

// roleAs is the form of what a cook counts as, made now.
func roleAs(c study.Cook, role study.Role, rule, why string) url.Values {
	return url.Values{"seen": {stampOf(bench.StandingOf(c))}, "role": {string(role)}, "rule": {rule}, "why": {why}}
}

func TestWhatACookCountsAs(t *testing.T) {
	d, at, cook := cookAt(t)
	post := func(form url.Values, want int, texts ...string) {
		t.Helper()
		code, body := d.post(at+"/role", form)
		if code != want {
			t.Errorf("%v: %d, want %d", form, code, want)
		}
		wants(t, body, texts...)
	}
	post(roleAs(cook(), study.Void, "probe-slip", " "), 422, "for a stated reason", `<option value="void" selected>`)
	post(roleAs(cook(), study.Void, "", "it fell"), 422, `value="it fell"`)
	post(roleAs(cook(), "burnt", "", ""), 422, "cannot count as that")
	stale := roleAs(cook(), study.Pilot, "", "")
	post(roleAs(cook(), study.Void, "probe-slip", "it fell out"), 200, "Void: it fell out.")
	if c := cook(); c.Role != study.Void || c.VoidRule != "probe-slip" || c.VoidedAt.IsZero() {
		t.Fatalf("%+v", c)
	}
	post(stale, http.StatusUnprocessableEntity, "void, by a rule of the plan", `<option value="pilot" selected>`)
	post(roleAs(cook(), study.Planned, "probe-slip", "left over"), 200)
	if c := cook(); c.Role != study.Planned || c.VoidRule != "" || c.VoidWhy != "" || !c.VoidedAt.IsZero() {
		t.Errorf("%+v", c)
	}
	d.firstUndo(at) // void again
	if c := cook(); c.Role != study.Void || c.VoidWhy != "it fell out" {
		t.Errorf("taken back: %+v", c)
	}
	d.firstUndo(at)
	post(roleAs(cook(), study.Pilot, "", ""), 200)
	post(roleAs(cook(), study.Planned, "", ""), 200)

	// Once the plan is sealed, what it counts on is left out by a rule alone.
	// What came before the seal is all pilots.
	post(roleAs(cook(), study.Pilot, "", ""), 200)
	d.accepts("/studies/"+demoID+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	post(roleAs(cook(), study.Planned, "", ""), 200)
	for _, role := range []study.Role{study.Pilot, study.Spare} {
		post(roleAs(cook(), role, "", ""), 422, "The sealed plan counts on cook", "make it void by a rule")
	}
	if cook().Role != study.Planned {
		t.Error("a cook of the sealed plan was left out without a rule")
	}
}

func TestACookThatTheOrderDoesNotName(t *testing.T) {
	d, s := saltDesk(t)
	_ = s
	form := func(fields ...string) url.Values {
		v := url.Values{"label": {"pilot-1"}, "treatment": {"usual"}, "role": {"pilot"}}
		for i := 0; i < len(fields); i += 2 {
			v.Set(fields[i], fields[i+1])
		}
		return v
	}
	for _, c := range []struct{ field, value, says string }{
		{"label", "pilot 1", "A cook needs a label"}, {"treatment", "gone", "A cook needs its treatment"}, {"piece", "L77-q", "No piece has this label"}, {"role", "void", "cannot count as that"},
	} {
		code, body := d.post(saltAt+"/cooks", form(c.field, c.value))
		if code != 422 || len(d.record("salt").Cooks) != 0 {
			t.Errorf("%s %q: %d", c.field, c.value, code)
		}
		wants(t, body, c.says, `id="edit-new-cook" open`)
	}
	d.accepts(saltAt+"/cooks", form())
	if c := d.record("salt").Cooks[0]; c.Label != "pilot-1" || c.Role != study.Pilot || c.Treatment != "usual" || c.ID == "" {
		t.Errorf("%+v", c)
	}
	code, body := d.post(saltAt+"/cooks", form())
	wants(t, body, "Another cook has this label", `value="pilot-1"`)
	if code != 422 {
		t.Errorf("the same label again: %d", code)
	}
}

// A sheet of paper is typed in at once: each line becomes an entry that can be
// taken back by itself, and where one is wrong none is kept.
func TestASheetIsTypedIn(t *testing.T) {
	d, at, cook := cookAt(t)
	before := cook()
	sheet := func(fields ...string) url.Values {
		v := url.Values{"was-day": {cook().Day}, "day": {"2026-04-01"}, "mark:turn": {"1:30; 4:00 slowly;12 min 30 s"}, "mark:cut": {"20:00"}, "notes": {"7:30 moved: from the pan to the oven\r\n\r\n-0:30 pan wiped"},
			"mass:cut": {"7 oz"}, "at:cut": {"21:00"}, "mass:drip": {"0 g"}, "what": {"door opened"}, "why": {"a cable"}, "at": {"6:40"}}
		for i := 0; i < len(fields); i += 2 {
			v.Set(fields[i], fields[i+1])
		}
		return v
	}
	for _, c := range []struct{ field, value, says string }{
		{"mark:turn", "soon; 12 min 30 s", "This begins with no time"}, {"notes", "7:30", "This time has no note"}, {"mass:cut", "much", `value="much"`},
		{"at:cut", "late", `value="late"`}, {"day", "1.4.2026", "This is no day"}, {"what", "", "What"}, {"mass:raw", "200 g", "already"},
	} {
		code, body := d.post(at+"/sheet", sheet(c.field, c.value))
		if code != 422 {
			t.Errorf("%s %q: %d", c.field, c.value, code)
		}
		wants(t, body, c.says, `id="sheet" open`, `value="a cable"`, "12 min 30 s")
		if got := cook(); len(got.Marks) != len(before.Marks) || got.Day != before.Day || len(got.Weighings) != len(before.Weighings) {
			t.Fatalf("%s %q was refused and some of the sheet kept", c.field, c.value)
		}
	}
	if code, body := d.post(at+"/sheet", sheet()); code != 200 {
		t.Fatalf("%d %.900s", code, body)
	}
	var marks []string
	for _, m := range cook().Marks {
		if m.Source == "typed" && !slices.ContainsFunc(before.Marks, func(x study.Mark) bool { return x.ID == m.ID }) {
			marks = append(marks, fmt.Sprint(m.Kind, " ", m.AtUS/1e6, " ", m.Note))
		}
	}
	if got, want := strings.Join(marks, "|"), "note -30 pan wiped|turn 90 |turn 240 slowly|note 450 moved: from the pan to the oven|turn 750 |cut 1200 "; got != want {
		t.Errorf("marks %s, want %s", got, want)
	}
	c := cook()
	i := slices.IndexFunc(c.Weighings, func(w study.Weighing) bool { return w.Stage == study.AfterCut })
	if i < 0 || c.Weighings[i].MassG < 198.4 || c.Weighings[i].MassG > 198.5 || c.Weighings[i].AtUS != 1260e6 || c.Day != "2026-04-01" || len(c.Deviations) != len(before.Deviations)+1 {
		t.Errorf("%+v", c)
	}
	// The deviation was the last line of it.
	d.firstUndo(at)
	if got := cook(); len(got.Deviations) != len(before.Deviations) || len(got.Weighings) != len(c.Weighings) {
		t.Errorf("taken back: %+v", got.Deviations)
	}
	if code, body := d.post(at+"/sheet", url.Values{"was-day": {"2026-04-01"}, "day": {"2026-04-01"}}); code != 422 || !strings.Contains(body, "The sheet says nothing new") {
		t.Errorf("an empty sheet: %d", code)
	}
}

package web

import (
	"net/url"
	"strings"
	"testing"

	"trivet/study"
)

const demoID = "sear-first-or-sear-last"

// cookAt is a desk with one cook of the demo, and the path of that cook.
func cookAt(t *testing.T) (*deskServer, string, func() study.Cook) {
	d := openDemo(t, 1)
	label := d.record(demoID).Cooks[0].Label
	return d, "/studies/" + demoID + "/cooks/" + label, func() study.Cook { return d.record(demoID).Cooks[0] }
}

// firstUndo presses the first button that takes something back.
func (d *deskServer) firstUndo(at string) {
	d.Helper()
	_, page := d.get(at)
	_, rest, ok := strings.Cut(page, `name="entry" value="`)
	if !ok {
		d.Fatal("nothing can be undone")
	}
	seq, _, _ := strings.Cut(rest, `"`)
	if code, body := d.post(at+"/undo", url.Values{"entry": {seq}}); code != 200 {
		d.Fatalf("undo: %d %.600s", code, body)
	}
}

func TestWhatIsTypedIntoACookIsRecordedAndCanBeTakenBack(t *testing.T) {
	d, at, cook := cookAt(t)
	ok := func(path string, form url.Values) {
		t.Helper()
		if code, body := d.post(at+path, form); code != 200 {
			t.Fatalf("%s %v: %d %.900s", path, form, code, body)
		}
	}
	// A weighing in ounces, corrected, and put back.
	ok("/weighings", url.Values{"stage": {"untrimmed"}, "mass": {"10 oz"}, "at": {"-2:00"}, "note": {"with its bone"}})
	w := cook().Weighings[len(cook().Weighings)-1]
	if w.Stage != study.Untrimmed || w.MassG < 283.4 || w.MassG > 283.6 || w.AtUS != -120e6 || w.Note != "with its bone" {
		t.Fatalf("%+v", w)
	}
	ok("/weighings", url.Values{"weighing": {w.ID}, "seen": {stampOf(w)}, "stage": {"untrimmed"}, "mass": {"290 g"}})
	if got := cook().Weighings[len(cook().Weighings)-1]; got.MassG != 290 || got.HasAt {
		t.Errorf("%+v", got)
	}
	d.firstUndo(at)
	if got := cook().Weighings[len(cook().Weighings)-1]; got != w {
		t.Errorf("after undoing: %+v, want %+v", got, w)
	}
	// Readings: a temperature by hand in Fahrenheit, an unknown one refused.
	ok("/readings", url.Values{"response": {"core_by_hand_off-heat"}, "values": {"142 °F; 61 °C"}, "by": {"P1"}})
	r := cook().Readings[len(cook().Readings)-1]
	if r.Unit != "°C" || len(r.Values) != 2 || r.Values[0] < 61.11 || r.Values[0] > 61.12 || r.Values[1] != 61 || r.By != "P1" {
		t.Fatalf("%+v", r)
	}
	ok("/readings", url.Values{"reading": {r.ID}, "seen": {stampOf(r)}, "do": {"remove"}})
	d.firstUndo(at)
	if got := cook().Readings[len(cook().Readings)-1]; got.ID != r.ID {
		t.Errorf("a reading taken out did not come back: %+v", got)
	}
	// Deviations.
	ok("/deviations", url.Values{"what": {"oven door open for 20 s"}, "at": {"6:30"}})
	dev := cook().Deviations[len(cook().Deviations)-1]
	ok("/deviations", url.Values{"deviation": {stampOf(dev)}, "what": {dev.What}, "why": {"a cable was caught"}, "at": {"6:30"}})
	if got := cook().Deviations[len(cook().Deviations)-1]; got.Why != "a cable was caught" || got.AtUS != 390e6 {
		t.Errorf("%+v", got)
	}
	_, page := d.get(at)
	wants(t, page, "oven door open for 20 s", "a cable was caught", "temperature by hand: core, off the heat", "as bought, untrimmed", "with its bone", "Taken back: weighing")

	// A person who reads °F and inches reads and types them bare.
	d.post("/units", url.Values{"temperature": {"F"}, "length": {"in"}, "next": {"/"}})
	_, page = d.get(at)
	wants(t, page, "142 °F; 141.8 °F", "A bare temperature is taken in °F and a bare length in in")
	r = cook().Readings[len(cook().Readings)-1]
	ok("/readings", url.Values{"reading": {r.ID}, "seen": {stampOf(r)}, "response": {r.Response}, "values": {"140"}})
	if got := cook().Readings[len(cook().Readings)-1]; len(got.Values) != 1 || got.Values[0] != 60 {
		t.Errorf("a bare 140 on a Fahrenheit scale: %+v", got)
	}
}

// Bad input is told where it happened, with what was typed.
func TestWhatIsTypedWronglyIntoACookIsKeptInItsForm(t *testing.T) {
	d, at, cook := cookAt(t)
	before := cook()
	w := before.Weighings[0]
	for _, c := range []struct {
		name, path string
		form       url.Values
		code       int
		says       []string
	}{
		{"no mass", "/weighings", url.Values{"stage": {"untrimmed"}, "mass": {"heavy"}, "note": {"my note"}}, 422, []string{"heavy", "my note"}},
		{"nothing", "/weighings", url.Values{"stage": {"untrimmed"}, "mass": {"0 g"}}, 422, []string{"A piece cannot weigh nothing"}},
		{"a moment that is taken", "/weighings", url.Values{"stage": {string(w.Stage)}, "mass": {"200 g"}}, 422, []string{"There is a weighing of that moment already", "200 g"}},
		{"changed by somebody else", "/weighings", url.Values{"weighing": {w.ID}, "seen": {"old"}, "stage": {string(w.Stage)}, "mass": {"251.5 g"}}, 422, []string{"Somebody else changed this meanwhile", "251.5 g"}},
		{"a reading without value", "/readings", url.Values{"response": {"core_by_hand_raw"}, "values": {"warm"}, "by": {"P7"}}, 422, []string{"warm", "P7"}},
		{"a reading nobody declared", "/readings", url.Values{"response": {"smell"}, "values": {"3"}}, 422, []string{"No such reading"}},
		{"a deviation that says nothing", "/deviations", url.Values{"what": {" "}, "why": {"it was late"}}, 422, []string{"This says nothing", "it was late"}},
		{"a time that is none", "/deviations", url.Values{"what": {"fell"}, "at": {"soon"}}, 422, []string{"soon", "fell"}},
		{"a mark of no kind", "/marks", url.Values{"kind": {"dance"}, "at": {"1:00"}}, 422, []string{"No such mark"}},
		{"an undo that came too late", "/undo", url.Values{"entry": {"999"}}, 422, []string{"cannot be undone any more"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, body := d.post(at+c.path, c.form)
			if code != c.code {
				t.Errorf("status %d, want %d", code, c.code)
			}
			wants(t, body, c.says...)
		})
	}
	if !sameJSON(before, cook()) {
		t.Error("something of it was kept")
	}
}

func sameJSON(a, b any) bool { return stampOf(a) == stampOf(b) }

func TestACookIsNamedWhole(t *testing.T) {
	for _, c := range []struct {
		what string
		want bool
	}{{"mark turn of cook L1 was added", true}, {"mark turn of cook L10 was added", false}, {"L1 was loaded", true}, {"cook L1-a", false}, {"cook XL1", false}, {"", false}} {
		if got := namesCook(c.what, "L1"); got != c.want {
			t.Errorf("%q: %v", c.what, got)
		}
	}
}

package web

import (
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"trivet/study"
)

// trying asks what a form would do.
func (d *deskServer) trying(form url.Values) string {
	d.Helper()
	code, body := d.get(saltAt + "/trial?" + form.Encode())
	if code != 200 {
		d.Errorf("%v: %d", form, code)
	}
	return body
}

// While a form is filled in the page says how its entry would stand, or what
// is wrong at which field, and saves nothing.
func TestFormsAreTriedOut(t *testing.T) {
	d, _ := saltDesk(t)
	d.accepts(saltAt+"/entries", entry("readings", "new-reading", "what", "browning", "id", "crust", "kind", "count"))
	before := string(d.record("salt").Document)
	for _, c := range []struct {
		name string
		form url.Values
		want []string
	}{
		{"an entry that is whole", entry("lots", "new-lot", "what", "one loin"), []string{"As it would stand: One loin; no piece names it yet."}},
		{"one that lacks something", entry("readings", "new-reading", "what", "force", "kind", "number", "unit", ""), []string{`data-wrong="readings[new].unit"`, "<strong>Unit of a number</strong> A number needs its unit."}},
		{"two wrong fields at once", entry("readings", "new-reading", "what", "force", "kind", "count", "unit", "N", "limits", "9; 1"), []string{`data-wrong="readings[new].unit"`, `data-wrong="readings[new].limits"`}},
		{"nothing yet", entry("instruments", "new-instrument", "id", ""), []string{`data-wrong="instruments[new].id"`, "An instrument needs its name"}},
		{"a field of an entry", edit("reading-crust", "readings[crust].kind", "count", "yes-no", "readings[crust].judged", "no", "yes"), []string{"As it would stand: Yes or no, judged."}},
		{"a wrong one", edit("reading-crust", "readings[crust].limits", "", "many"), []string{`data-wrong="readings[crust].limits"`, "Limits are two numbers that rise"}},
		{"a quantity held the same", entry("controlled", "new-control", "name", "room", "amount", "22 °C"), []string{`data-wrong="controlled[new].amount"`, "needs its tolerance"}},
		{"a margin", edit("q-loss", "questions[loss].margin", "", "2 °C"), []string{`data-wrong="questions[loss].margin"`}},
		{"the clock", edit("clock-offset", "utc_offset", "", "noon"), []string{`data-wrong="utc_offset"`}},
		{"what the page does not edit", edit("x", "nothing.there", "", "9"), nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			body := d.trying(c.form)
			wants(t, body, c.want...)
			if c.want == nil && strings.TrimSpace(body) != "" {
				t.Errorf("it says %q", body)
			}
		})
	}
	if now := string(d.record("salt").Document); now != before {
		t.Errorf("trying saved:\n%s", now)
	}
}

// Whatever a form holds, trying it says how it would stand or what is wrong in
// words, and what it would save reads back.
func FuzzTrial(f *testing.F) {
	d := &Desk{s: &Server{}}
	rec := parsedRecord(f, []byte(byHand))
	f.Add("list=readings&do=add&set:readings[new].what=force&set:readings[new].unit=N&set:readings[new].limits=0%3B1")
	f.Add("list=instruments&do=add&set:instruments[new].id=T-2&set:instruments[new].ice=0%3B+x&set:instruments[new].stem.length=4")
	f.Add("set:instruments[T-1].stem.film=&was:instruments[T-1].stem.film=200&set:lots[A].what=%23+%22")
	f.Add("set:questions[crust].covariates=mass&set:controlled.pan=9&set:utc_offset=x&set:readings[crust].scale=%5Ba")
	f.Add("list=controlled&do=add&set:controlled[new].name=a.b&set:controlled[new].amount=1+mm+%C2%B1+1+mm")
	f.Fuzz(func(t *testing.T, query string) {
		if _, err := url.ParseQuery(query); err != nil {
			t.Skip()
		}
		r := httptest.NewRequest("GET", "/studies/probes/trial", nil)
		r.URL.RawQuery = query
		if err := r.ParseForm(); err != nil {
			t.Skip()
		}
		in := map[string]string{}
		for key := range r.Form {
			if p, ok := strings.CutPrefix(key, "set:"); ok {
				in[p] = r.FormValue(key)
			}
		}
		v := d.trial(rec, r)
		for _, w := range v.Wrong {
			if strings.TrimSpace(w.What) == "" {
				t.Error("wrong without words")
			}
		}
		s, l, id, err := tried(rec, r, in)
		if err == nil && l != nil && (s == nil || l.Find(s, id) == nil) {
			t.Errorf("nothing of %s %s", l.Name, id)
		}
		if string(rec.Document) != byHand {
			t.Fatal("trying changed the document")
		}
		if _, err := study.Parse("study.yaml", rec.Document); err != nil {
			t.Fatal(err)
		}
	})
}

package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"trivet/heat"
)

// Whatever the form offers gives a cook file that can be read, from the file
// that a treatment begins with and from what the offer itself made of it.
func TestEveryOfferOfTheCookFormCanBeRead(t *testing.T) {
	seen := map[string]bool{}
	var try func(t *testing.T, src []byte, depth int)
	try = func(t *testing.T, src []byte, depth int) {
		for _, g := range leaves(src, nil) {
			if g.Changing == nil {
				continue
			}
			for _, o := range g.Changing.Options {
				name := g.At + " " + o.Value
				next, err := reshaped(src, "change:"+g.At, func(string) string { return o.Value })
				if err == nil {
					_, err = heat.ParseCook("cook.yaml", next)
				}
				if err != nil {
					t.Errorf("%s (%s): %v\n%s", name, o.Name, err, next)
					continue
				}
				if !seen[name] {
					seen[name] = true
					if depth > 0 {
						try(t, next, depth-1)
					}
				}
			}
		}
	}
	try(t, []byte(newCookFile), 1)
	if len(seen) < 40 {
		t.Errorf("only %d offers were tried", len(seen))
	}
}

func TestLegsAreAddedMovedAndTakenOut(t *testing.T) {
	names := func(src []byte) string {
		c, err := heat.ParseCook("cook.yaml", src)
		if err != nil {
			t.Fatalf("%v\n%s", err, src)
		}
		var all []string
		for _, l := range c.Spec.Legs {
			all = append(all, l.Name)
		}
		return strings.Join(all, " ")
	}
	src := []byte(newCookFile)
	for _, c := range []struct{ do, leg, want string }{
		{"add", "oven", "pan oven rest"},
		{"add", "fryer", "pan oven fryer rest"},
		{"add", "bath", "pan oven fryer bath rest"},
		{"add", "steam", "pan oven fryer bath steam rest"},
		{"add", "rest", "pan oven fryer bath steam rest rest"},
		{"earlier:legs[2]", "", "oven pan fryer bath steam rest rest"},
		{"out:legs[3]", "", "oven pan bath steam rest rest"},
		{"out:legs[6]", "", "oven pan bath steam rest"},
	} {
		var err error
		src, err = reshaped(src, c.do, func(string) string { return c.leg })
		if err != nil {
			t.Fatalf("%s: %v", c.do, err)
		}
		if got := names(src); got != c.want {
			t.Errorf("%s %s: %s, want %s", c.do, c.leg, got, c.want)
		}
	}
	for _, do := range []string{"add", "change:piece", "change:legs[9]", "out:legs[9]", "earlier:legs[1]", "", "out:", "out"} {
		if got, err := reshaped([]byte(newCookFile), do, func(string) string { return "nothing" }); err == nil || string(got) != newCookFile {
			t.Errorf("%q is done", do)
		}
	}
}

// A change of the form's structure is shown with what was typed and is not
// saved until it is.
func TestAChangeOfTheFormIsNotSavedYet(t *testing.T) {
	d := openDemo(t, 0)
	const id, at = "sear-first-or-sear-last", "/studies/sear-first-or-sear-last/treatments/sear-first"
	file := string(d.record(id).CookFiles["cooks/sear-first.yaml"])
	form := url.Values{"view": {"form"}, "text": {file}, "leaf:piece.thickness": {"41 mm"}, "do": {"add"}, "leg": {"bath"}}
	code, body := d.post(at+"/reshape", form)
	if code != http.StatusOK {
		t.Fatalf("status %d\n%s", code, body)
	}
	wants(t, body, "Changed, and not saved yet.", `value="41 mm"`, "Leg 3: bath", "Leg 4: rest")
	if string(d.record(id).CookFiles["cooks/sear-first.yaml"]) != file {
		t.Error("the change is saved already")
	}
	form.Set("do", "earlier:legs[1]")
	code, body = d.post(at+"/reshape", form)
	wants(t, body, "There is no entry before it", `value="41 mm"`)
	if code != http.StatusUnprocessableEntity {
		t.Errorf("status %d", code)
	}
}

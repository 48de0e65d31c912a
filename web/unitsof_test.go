package web

import (
	"net/url"
	"strings"
	"testing"

	"trivet/quantity"
)

func TestAmountsInAPersonsOwnUnits(t *testing.T) {
	us, si := units{Fahrenheit: true, Inch: true}, units{}
	for _, tc := range []struct {
		name string
		u    units
		kind quantity.Kind
		text string
		want string
	}{
		{"a temperature", us, "", "205 °C", "401 °F"},
		{"with its tolerance, as a difference", us, quantity.KindTemperature, "205 °C ± 5 °C", "401 °F ± 9 °F"},
		{"back", si, quantity.KindTemperature, "401 °F ± 9 °F", "205 °C ± 5 °C"},
		{"a difference", us, "", "+2 °C", "+3.6 °F"},
		{"a length", us, "", "30 mm ± 1 mm", "1.18 in ± 0.04 in"},
		{"a fraction of an inch", si, "", "1 1/2 in", "38.1 mm"},
		{"in that unit already, as it was written", us, "", "1 1/2 in", "1 1/2 in"},
		{"of neither", us, "", "12 min 30 s", "12 min 30 s"},
		{"no amount", us, "", "pork loin", "pork loin"},
		{"a bare number", us, "", "350", "350"},
		{"each by itself", units{Inch: true}, "", "205 °C", "205 °C"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := tc.u.written(tc.kind, tc.text); got != tc.want {
				t.Errorf("%q is written %q, want %q", tc.text, got, tc.want)
			}
		})
	}
	if got := us.width(5, "K") + ", " + si.width(0.31, "°C") + ", " + us.width(0.4, "%"); got != "9 °F, 0.31 K, 0.4 %" {
		t.Errorf("widths %q", got)
	}
}

// A person who reads °F and inches meets them on the study's page and in the
// form of a cook file; the document and the file keep what was written.
func TestStudyPageInAPersonsOwnUnits(t *testing.T) {
	demo := madeDemo(t)
	d := openDesk(t)
	const at = "/studies/sear-first-or-sear-last"
	d.upload("/import", "kitchen.zip", demoZip(t, demo, demo.Plan, false))
	_, before := d.get(at)
	wants(t, before, "by at least 2 °C.", "205 °C ± 5 °C", "30 mm ± 1.5 mm", "within 5 K of the core")
	d.post("/units", url.Values{"temperature": {"F"}, "length": {"in"}, "next": {"/"}})
	_, page := d.get(at)
	wants(t, page, "by at least 3.6 °F.", "401 °F ± 9 °F", "1.18 in ± 0.06 in", "within 9 °F of the core", "3.6 °F in about", `2 °C">`)
	for _, no := range []string{"by at least 2 °C", "within 5 K of the core at"} {
		if strings.Contains(page, no) {
			t.Errorf("the page still says %q", no)
		}
	}
	_, form := d.get(at + "/treatments/sear-first")
	wants(t, form, `value="205 °C"`, "= 401 °F", "= 1.18 in")
	// The scatter is written, and read, in °F; the chances are the same.
	table := func(page string) string {
		_, rest, _ := strings.Cut(page, "<tbody>")
		_, rest, _ = strings.Cut(rest, "<tbody>") // behind the figure's
		rest, _, _ = strings.Cut(rest, "</tbody>")
		return rest
	}
	_, inF := d.get(at + "/power?question=crust&margin=%2B3.6+%C2%B0F&sd=1.8")
	wants(t, inF, "(°F)")
	d.post("/units", url.Values{"temperature": {"C"}, "length": {"mm"}, "next": {"/"}})
	_, inC := d.get(at + "/power?question=crust&margin=%2B2+%C2%B0C&sd=1")
	wants(t, inC, "(°C)")
	if a, b := table(inF), table(inC); a == "" || a != b {
		t.Errorf("chances in °F\n%s\nand in °C\n%s", a, b)
	}
}

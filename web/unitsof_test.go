package web

import (
	"encoding/json"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
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

// Everybody reads their own units on every page: but for what somebody typed
// (in fields, code and the words of the study) nothing is left in °C and mm.
func TestEveryPageInAPersonsOwnUnits(t *testing.T) {
	d, links := openEverything(t)
	d.post("/units", url.Values{"temperature": {"F"}, "length": {"in"}, "next": {"/"}})
	label := d.record(demoID).Cooks[0].Label
	const at = "/studies/" + demoID
	pages := []string{"/", "/trash", at, at + "/treatments/sear-first", at + "/cooks", at + "/cooks/" + label, at + "/load", at + "/power", at + "/pieces", at + "/traces",
		"/links", "/audit", "/tastings", "/tastings/new?study=" + demoID, links["running"], links["closed"], links["result"], links["preparer"], links["server"], links["tasting"]}
	typed := regexp.MustCompile(`(?s)<(script|style|textarea|code|pre|title|desc)\b.*?</(script|style|textarea|code|pre|title|desc)>|<select[^>]*name="(temperature|length|unit:[^"]*)".*?</select>|<[^>]*>`)
	metric := regexp.MustCompile(`[^.\n]*(\d ?(°C|mm)\b|\((°C|mm)\))[^.\n]*`)
	for _, page := range pages {
		by := d.client
		if strings.HasPrefix(page, "/carve") || strings.HasPrefix(page, "/trays") || strings.HasPrefix(page, "/b/") { // each on a device of their own
			by = newClient()
		}
		guest := &deskServer{TB: t, nb: d.nb, desk: d.desk, http: d.http, client: by}
		code, body := guest.get(page)
		if code != 200 {
			t.Errorf("%s: %d", page, code)
		}
		text := html.UnescapeString(typed.ReplaceAllString(body, "\n"))
		for _, line := range metric.FindAllString(text, -1) {
			line = strings.TrimSpace(line)
			if strings.Contains(line, "°F") || slices.ContainsFunc(typedByHand, func(s string) bool { return strings.Contains(line, s) }) {
				continue // in both units, or somebody's own words
			}
			t.Errorf("%s: %s", page, line)
		}
	}
}

// typedByHand is what the demo's authors and its log wrote themselves, and what
// the answer words for all readers alike.
var typedByHand = []string{
	"Pork loin chops about 30 mm thick",                                                                        // the claim
	"core (°C)", "pan (°C)", "surface A (°C)", "surface B (°C)", "d5 (°C)", "d10 (°C)", "d20 (°C)", "d25 (°C)", // columns of the log
	"°C (k = 2), more than pieces of a block differ", // a check of a finding
}

// A channel at a depth is offered, asked for and titled in inches to who reads
// inches.
func TestADepthInInchesAmongTheTracesOfAllCooks(t *testing.T) {
	d := openDemo(t, 2)
	d.post("/units", url.Values{"temperature": {"F"}, "length": {"in"}, "next": {"/"}})
	ask := func(query string) (o overlay) {
		t.Helper()
		q, err := http.NewRequest("GET", d.http.URL+"/studies/"+demoID+"/traces"+query, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Accept", "application/json")
		r, err := d.client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if err := json.NewDecoder(r.Body).Decode(&o); err != nil || r.StatusCode != 200 {
			t.Fatalf("%s: %d %v", query, r.StatusCode, err)
		}
		return o
	}
	first := ask("")
	i := slices.IndexFunc(first.Channels, func(c string) bool { return strings.HasPrefix(c, "depth ") })
	if i < 0 || !strings.HasSuffix(first.Channels[i], " in") {
		t.Fatalf("channels %q", first.Channels)
	}
	if o := ask("?channel=" + url.QueryEscape(first.Channels[i])); o.Channel != first.Channels[i] || len(o.Lines) == 0 || o.Unit != "°F" {
		t.Errorf("%q: %q, %d lines in %s", first.Channels[i], o.Channel, len(o.Lines), o.Unit)
	}
}

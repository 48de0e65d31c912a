package web

import (
	"fmt"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/study"
)

// datedLog is a log whose dates allow two orders: the 5th of June or the 6th
// of May. The turns of a pan, late by some seconds, tell its clock.
func datedLog(late float64) []byte {
	var b strings.Builder
	b.WriteString("when,pan (°C)\n")
	start := time.Date(2026, 6, 5, 10, 0, 0, 0, time.UTC)
	for s := range 1500 {
		v := 205.0
		for _, turn := range []float64{60, 300, 540, 780, 1020} {
			if x := float64(s) + late - turn; x > 0 && x < 120 {
				v -= 15 * x / 8 * (1 - x/120)
				if x > 16 {
					v += 15 * (x - 16) / 8 * (1 - x/120)
				}
			}
		}
		fmt.Fprintf(&b, "%s,%.1f\n", start.Add(time.Duration(s)*time.Second).Format("02/01/2006 15:04:05"), v+0.1*float64(s*7%5))
	}
	return []byte(b.String())
}

// Where nothing in a log tells day from month the page shows its first date in
// both orders, loads nothing before one is chosen, and keeps the choice for
// later logs of the shape.
func TestDatesInTwoOrdersAreAsked(t *testing.T) {
	d := openDemo(t, 2)
	at := "/studies/" + demoID + "/load"
	labels := bench.Labels(d.record(demoID))
	label := labels[len(labels)-1]
	d.upload(at, label+".csv", datedLog(0))
	sha := bench.HashOf(datedLog(0))

	_, page := d.get(at)
	wants(t, page, "Day or month first?", "“05/06/2026 10:00:00”", "Day first: <strong>Friday, 5 June 2026</strong>", "Month first: <strong>Wednesday, 6 May 2026</strong>", "1500 of 1500 rows can be kept")
	if strings.Contains(page, "--date-order") {
		t.Error("the page speaks of the command line")
	}
	code, page := d.post(at+"/"+sha, url.Values{"cook": {label}})
	if code != 422 || len(d.cookOf(label).Logs) != 0 {
		t.Errorf("without a choice: %d", code)
	}
	wants(t, page, "It is not said whether day or month comes first")
	code, page = d.post(at+"/all", nil)
	if code != 422 || len(d.cookOf(label).Logs) != 0 {
		t.Errorf("all, without a choice: %d", code)
	}
	wants(t, page, label+".csv: It is not said whether day or month comes first")

	// Reading it again keeps the choice through a reload.
	d.post(at+"/"+sha, url.Values{"do": {"check"}, "cook": {label}, "date-order": {"local-mdy"}})
	_, page = d.get(at)
	wants(t, page, `value="local-mdy" aria-describedby="dates-0" checked`)
	if code, page = d.post(at+"/"+sha, url.Values{"cook": {label}, "date-order": {"local-mdy"}}); code != 200 {
		t.Fatalf("chosen: %d %.900s", code, page)
	}
	traces, err := d.nb.Traces(t.Context(), demoID, d.cookOf(label).ID)
	if err != nil {
		t.Fatal(err)
	}
	if got := time.UnixMicro(traces[0].TimesUS[0]).UTC(); !got.Equal(time.Date(2026, 5, 6, 10, 0, 0, 0, time.UTC)) {
		t.Errorf("the log begins at %s, want the 6th of May", got)
	}
	if maps, _ := filepath.Glob(filepath.Join(d.desk.opt.Maps, "*.map.yaml")); len(maps) != 1 {
		t.Errorf("saved maps: %v", maps)
	}
	d.upload(at, "next.csv", datedLog(1))
	_, page = d.get(at)
	wants(t, page, "Read by the saved column map")
	if strings.Contains(page, "Day or month first?") {
		t.Error("what a saved map tells is asked again")
	}
}

// A second log of a cook is compared with the first on loading; what it would
// take to bring the clocks together is said, with residual and uncertainty, and
// done when somebody takes it.
func TestALogJustLoadedOffersItsClock(t *testing.T) {
	d := openDemo(t, 2)
	at := "/studies/" + demoID + "/load"
	labels := bench.Labels(d.record(demoID))
	label := labels[len(labels)-1]
	load := func(late float64) string {
		t.Helper()
		log := datedLog(late)
		d.upload(at, fmt.Sprintf("%s %g.csv", label, late), log)
		code, page := d.post(at+"/"+bench.HashOf(log), url.Values{"cook": {label}, "date-order": {"local-dmy"}, "id:pan (°C)": {fmt.Sprintf("pan %g", late)}, "once": {"yes"}})
		if code != 200 {
			t.Fatalf("loading: %d %.900s", code, page)
		}
		return page
	}
	if strings.Contains(load(0), "several logs") {
		t.Error("the first log has nothing to be compared with")
	}
	page := load(37)
	wants(t, page, "Cook "+label+" has several logs now.", "37.csv onto", "residual", "known to ±", "(k = 2)", "Apply this correction", "Look at the clocks first")
	if len(d.cookOf(label).Clocks) != 0 {
		t.Fatal("offering a correction made it")
	}
	form := url.Values{"do": {"apply"}}
	_, part, _ := strings.Cut(page, "/cooks/"+label+`/clocks">`)
	part, _, _ = strings.Cut(part, "</form>")
	for _, m := range hidden.FindAllStringSubmatch(part, -1) {
		form.Set(m[1], m[2])
	}
	if code, page := d.post("/studies/"+demoID+"/cooks/"+label+"/clocks", form); code != 200 || !strings.Contains(page, `id="clocks"`) {
		t.Fatalf("taking it: %d %.900s", code, page)
	}
	fixes := d.cookOf(label).Clocks
	if len(fixes) != 1 || fixes[0].OffsetUS < 36.5e6 || fixes[0].OffsetUS > 37.5e6 {
		t.Errorf("the correction is %+v, want about 37 s", fixes)
	}
	// A log in which nothing happens is loaded all the same, and that it could
	// not be compared is said.
	var flat strings.Builder
	flat.WriteString("s,air (°C)\n")
	for s := range 600 {
		fmt.Fprintf(&flat, "%d,21.0\n", s)
	}
	d.upload(at, "flat.csv", []byte(flat.String()))
	code, page := d.post(at+"/"+bench.HashOf([]byte(flat.String())), url.Values{"cook": {label}})
	if code != 200 {
		t.Fatalf("a flat log: %d %.600s", code, page)
	}
	wants(t, page, "The clock of flat.csv could not be compared with the others of cook "+label)
}

var hidden = regexp.MustCompile(`<input type="hidden" name="([^"]+)" value="([^"]*)">`)

func (d *deskServer) cookOf(label string) study.Cook {
	d.Helper()
	for _, c := range d.record(demoID).Cooks {
		if c.Label == label {
			return c
		}
	}
	return study.Cook{}
}

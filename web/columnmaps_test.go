package web

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trivet/bench"
	"trivet/trace"
)

// A log whose columns tell little of themselves, with a cell that cannot be
// read and one left empty.
func dullLog(shift float64) []byte {
	var b strings.Builder
	b.WriteString("t;a1;b2\n")
	for i := range 60 {
		cell := trimmed(40 + shift + float64(i)/2)
		switch i {
		case 20:
			cell = "n/a?"
		case 30:
			cell = ""
		}
		b.WriteString(strings.Join([]string{trimmed(float64(i)), cell, trimmed(180 + float64(i%3))}, ";") + "\n")
	}
	return []byte(b.String())
}

func trimmed(v float64) string { return exactly(v) }

// What a person says of the columns stays through a reload, reads the log, and
// reads the next of that shape by itself; the command line finds the map too.
func TestColumnsCorrectedOnceAreReadRightEverAfter(t *testing.T) {
	d := openDemo(t, 2)
	at := "/studies/" + demoID + "/load"
	labels := bench.Labels(d.record(demoID))
	first, second := labels[len(labels)-1], labels[len(labels)-2]
	d.upload(at, "dull one.csv", dullLog(0))
	sha := bench.HashOf(dullLog(0))

	_, page := d.get(at)
	wants(t, page, "dull one.csv", "n/a?", "60 of 60 rows can be kept", "1 row cannot be read")
	said := url.Values{"do": {"check"}, "cook": {first}, "place:a1": {"depth"}, "unit:a1": {"degF"}, "id:a1": {"mid"}, "depth:a1": {"0.5 in"}, "sensor:a1": {"probe-in"}, "place:b2": {"leave-out"}}
	if code, body := d.post(at+"/"+sha, said); code != 200 {
		t.Fatalf("%d %.900s", code, body)
	}
	_, page = d.get(at) // a reload
	wants(t, page, `value="mid"`, `value="0.5 in"`, `value="`+first+`"`, `<option value="probe-in" selected>`)

	// A wrong word is refused, and the rest of it kept.
	wrong := url.Values{"cook": {first}, "place:a1": {"depth"}, "depth:a1": {"deep"}, "id:a1": {"middle of it"}}
	code, page := d.post(at+"/"+sha, wrong)
	if code != 422 {
		t.Errorf("a depth that is none: %d", code)
	}
	wants(t, page, "deep", "middle of it")

	said.Set("do", "")
	if code, body := d.post(at+"/"+sha, said); code != 200 || !strings.Contains(body, "Loaded into cook "+first) {
		t.Fatalf("%d %.1500s", code, body)
	}
	d.wantsMid(first)
	// The same log read with another instrument is another record, and told so.
	d.upload(at, "dull one.csv", dullLog(0))
	said.Set("sensor:a1", "")
	d.post(at+"/"+sha, said)
	if e := d.record(demoID).Events; e[len(e)-1].What != "dull one.csv was read anew into cook "+first {
		t.Errorf("the history ends with %q", e[len(e)-1].What)
	}
	said.Set("sensor:a1", "probe-in")
	d.upload(at, "dull one.csv", dullLog(0))
	d.post(at+"/"+sha, said)
	d.wantsMid(first)
	maps, err := filepath.Glob(filepath.Join(d.desk.opt.Maps, "*.map.yaml"))
	if err != nil || len(maps) != 1 {
		t.Fatalf("saved maps %v %v", maps, err)
	}

	// The next log of that shape is read by the map, named by nobody again.
	d.upload(at, second+".csv", dullLog(3))
	_, page = d.get(at)
	wants(t, page, "Read by the saved column map "+filepath.Base(maps[0]), `value="mid"`)
	if code, body := d.post(at+"/all", nil); code != 200 || !strings.Contains(body, "Loaded into cook "+second) {
		t.Fatalf("%d %.1500s", code, body)
	}
	d.wantsMid(second)

	// A map that somebody broke is told of and stops nothing.
	if err := os.WriteFile(filepath.Join(d.desk.opt.Maps, "broken.map.yaml"), []byte("format: 99"), 0o600); err != nil {
		t.Fatal(err)
	}
	d.upload(at, "third.csv", dullLog(5))
	_, page = d.get(at)
	wants(t, page, "broken.map.yaml", "third.csv", `value="mid"`)
}

// wantsMid wants the cook to have one channel, 12.7 mm deep, in °F and from the
// probe of the register.
func (d *deskServer) wantsMid(label string) {
	d.Helper()
	for _, c := range d.record(demoID).Cooks {
		if c.Label != label {
			continue
		}
		traces, err := d.nb.Traces(d.Context(), demoID, c.ID)
		if err != nil {
			d.Fatal(err)
		}
		for _, x := range traces {
			if ch := x.Channel; ch.ID == "mid" && ch.Place == trace.Depth && ch.Unit == trace.DegF && ch.DepthM > 0.01269 && ch.DepthM < 0.01271 && ch.Sensor == "probe-in" {
				return
			}
		}
		d.Errorf("channels of %s: %+v", label, traces)
		return
	}
	d.Errorf("no cook %s", label)
}

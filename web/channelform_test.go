package web

import (
	"context"
	"math"
	"net/url"
	"strings"
	"testing"

	"trivet/bench"
	"trivet/trace"
)

// Saying afterwards which instrument a channel comes from corrects its
// readings, by what it read in ice, and changes no sample.
func TestChannelsByForm(t *testing.T) {
	d := openDemo(t, 2)
	ctx := context.Background()
	label := d.record(demoID).Cooks[0].Label
	at := "/studies/" + demoID + "/cooks/" + label
	d.accepts("/studies/"+demoID+"/entries", paged("instruments", entry("instruments", "new-instrument", "id", "T-9", "what", "an old probe", "ice", "3 °C")))
	cook := d.record(demoID).Cooks[0]
	before, err := d.nb.Traces(ctx, demoID, cook.ID)
	if err != nil {
		t.Fatal(err)
	}
	channels, was := bench.SensorsOf(before)
	in := map[string]bool{}
	inside := ""
	for _, x := range before {
		if x.Channel.Place == trace.Core || x.Channel.Place == trace.Depth {
			in[x.Channel.ID], inside = true, x.Channel.ID
		}
	}
	if inside == "" {
		t.Fatal("no channel inside the chop")
	}
	pull := func() float64 {
		got, err := bench.Measure(ctx, d.nb, d.record(demoID), nil, "core_at_pull")
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range got[0].Result.Responses {
			if x.Name == "core_at_pull" {
				return x.Value
			}
		}
		t.Fatal("no core at the pull")
		return 0
	}
	first := pull()
	_, page := d.get(at)
	wants(t, page, "Say which instrument each channel comes from", `<option value="T-9">T-9: an old probe</option>`)

	all := url.Values{}
	for _, id := range channels {
		all.Set("was:"+id, was[id])
		all.Set("sensor:"+id, was[id])
		if in[id] {
			all.Set("sensor:"+id, "T-9")
		}
	}
	wrong := url.Values{"was:" + inside: {was[inside]}, "sensor:" + inside: {"T-8"}}
	if code, body := d.post(at+"/channels", wrong); code != 422 || !strings.Contains(body, "no such instrument") || !strings.Contains(body, `<option value="T-8" selected>`) {
		t.Errorf("an instrument that is not listed: %d", code)
	}
	if code, body := d.post(at+"/channels", all); code != 200 {
		t.Fatalf("%d %.500s", code, body)
	}
	after, err := d.nb.Traces(ctx, demoID, cook.ID)
	if err != nil || len(after) != len(before) {
		t.Fatalf("%d traces, were %d: %v", len(after), len(before), err)
	}
	_, now := bench.SensorsOf(after)
	if now[inside] != "T-9" {
		t.Errorf("%s comes from %q", inside, now[inside])
	}
	for _, a := range after {
		for _, b := range before {
			if a.Channel.ID == b.Channel.ID && a.Source == b.Source && (a.Len() != b.Len() || a.Counts[a.Len()/2] != b.Counts[b.Len()/2]) {
				t.Errorf("the samples of %s changed", a.Channel.ID)
			}
		}
	}
	// Read 3 °C too warm in ice, the core was 3 K colder than it said; a little
	// less of a profile that leans on the faces' own sensors too.
	if moved := pull() - first; math.Abs(moved+3) > 0.3 {
		t.Errorf("the core at the pull moved by %.2f K, want about −3", moved)
	}
	events := d.record(demoID).Events
	if last := events[len(events)-1].What; !strings.HasPrefix(last, "channels of cook "+label+" come from other instruments: ") || !strings.Contains(last, inside+" from T-9") {
		t.Errorf("the history ends with %q", last)
	}
	if code, body := d.post(at+"/channels", url.Values{"was:" + inside: {was[inside]}, "sensor:" + inside: {"probe-in"}}); code != 422 || !strings.Contains(body, "T-9") {
		t.Errorf("a stale form: %d", code)
	}
	n := len(events)
	if code, _ := d.post(at+"/channels", url.Values{"was:" + inside: {"T-9"}, "sensor:" + inside: {"T-9"}}); code != 200 || len(d.record(demoID).Events) != n {
		t.Errorf("nothing changed: %d", code)
	}
}

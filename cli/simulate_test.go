package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trivet/doneness"
	"trivet/heat"
)

const simCook = `piece: {shape: slab, thickness: 25 mm ± 1 mm, start: 5 °C, food: "pork loin, lean"}
legs:
  - name: sear
    bottom: {pan: 180 °C, contact: 350}
    top: {air: 25 °C, h: 8, humidity: 40 %}
    turn: {every: 1 min}
    ends_when: {core: 50 °C}
  - {name: rest, rest: true, bottom: {board: 23 °C}, top: {air: 23 °C, h: 6}, ends_when: {time: 8 min}}
output: {every: 10 s, depths: [0 mm, 12 mm]}
`

// trivet runs the whole command line.
func trivet(t *testing.T, stdin string, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	status = Run(context.Background(), args, NewEnv(strings.NewReader(stdin), &out, &errs))
	return status, out.String(), errs.String()
}

func simFile(t *testing.T, src string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "chop.yaml")
	if err := os.WriteFile(file, []byte(src), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestSimulateJSON(t *testing.T) {
	status, out, errs := trivet(t, "", "simulate", simFile(t, simCook), "--json", "--at", "pull,peak,2 min")
	if status != 0 {
		t.Fatal(errs)
	}
	var got simulateOut
	dec := json.NewDecoder(strings.NewReader(out))
	if err := dec.Decode(&got); err != nil {
		t.Fatal(err)
	}
	n := len(got.TimeS)
	if got.Format != 1 || n < 50 || len(got.DepthM) != 2 || len(got.DepthC) != n {
		t.Errorf("format %d, %d times, %d depths, %d rows", got.Format, n, len(got.DepthM), len(got.DepthC))
	}
	for name, v := range map[string]numbers{"core": got.CoreC, "coldest": got.ColdestC, "bottom": got.BottomC, "top": got.TopC, "mean": got.MeanC} {
		if len(v) != n {
			t.Errorf("%s has %d values, want %d", name, len(v), n)
		}
	}
	u := got.Summary
	if u.PullTimeS == nil || u.CarryoverK == nil || math.Abs(*u.CoreAtPullC-50) > 0.01 || *u.CarryoverK <= 0 ||
		math.Abs(*u.CorePeakC-*u.CoreAtPullC-*u.CarryoverK) > 1e-9 {
		t.Errorf("summary %+v", u)
	}
	if d := u.LossPct - u.DripPct - u.EvaporatedPct - u.BoiledPct; math.Abs(d) > 1e-9*u.LossPct || u.LossPct <= 0 {
		t.Errorf("loss %v misses its parts by %v", u.LossPct, d)
	}
	l := got.LedgerM
	if l == nil || got.LedgerJ != nil {
		t.Fatal("a slab has its ledger per m²")
	}
	if math.Abs(l.Residual) > 1e-9*l.Throughput {
		t.Errorf("residual %v of %v", l.Residual, l.Throughput)
	}
	var what []string
	for _, m := range got.Moments {
		what = append(what, m.What)
		if len(m.Core) != 5 {
			t.Errorf("%s has %d changes", m.What, len(m.Core))
		}
	}
	if strings.Join(what, "; ") != "after 2 min; at the pull; at the peak" {
		t.Errorf("moments %q", what)
	}
	if got.ColourNote != doneness.ColourCaution || len(got.Cautions) == 0 {
		t.Error("a caution is missing")
	}
	var raw map[string]any
	if err := json.Unmarshal([]byte(out), &raw); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"time_s", "core_c", "coldest_c", "bottom_c", "top_c", "mean_c", "depth_m", "depth_c", "events", "summary", "ledger_j_m2", "format", "notes"} {
		if _, ok := raw[key]; !ok {
			t.Errorf("no %s", key)
		}
	}
	event := raw["events"].([]any)[0].(map[string]any)
	if _, ok := event["t_s"]; !ok || event["what"] == "" {
		t.Errorf("event %v", event)
	}
}

func TestSimulateSeveral(t *testing.T) {
	a, b := simFile(t, simCook), simFile(t, strings.Replace(simCook, "180 °C", "220 °C", 1))
	status, out, errs := trivet(t, "", "simulate", a, b, "--json")
	var got struct {
		Format int
		Cooks  []simulateOut
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || status != 0 || len(got.Cooks) != 2 {
		t.Fatalf("%v %s", err, errs)
	}
	if *got.Cooks[1].Summary.PullTimeS >= *got.Cooks[0].Summary.PullTimeS {
		t.Error("a hotter pan is not quicker")
	}
}

func TestSimulateText(t *testing.T) {
	status, out, errs := trivet(t, "", "simulate", simFile(t, simCook))
	if status != 0 {
		t.Fatal(errs)
	}
	for _, want := range []string{"Pulled after", "°C more", "of the thickness lies within", "loses", doneness.ColourCaution,
		"Raw or undercooked animal food", "Local rules decide", "A prediction is not a measurement", "Where the heat went", "turn 1"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	for _, never := range []string{"is safe", "safe to eat", "NaN"} {
		if strings.Contains(out, never) {
			t.Errorf("%q in\n%s", never, out)
		}
	}
	_, us, _ := trivet(t, "", "simulate", simFile(t, simCook), "--units", "us")
	if !strings.Contains(us, "122.0 °F") || !strings.Contains(us, " in thick") {
		t.Errorf("not in US units:\n%s", us)
	}
	if head, _, _ := strings.Cut(us, "Pulled after"); strings.Contains(head, "°C") {
		t.Errorf("events in °C:\n%s", head)
	}
	_, plant, _ := trivet(t, "", "simulate", simFile(t, strings.Replace(simCook, `"pork loin, lean"`, "carrot", 1)))
	if strings.Contains(plant, "undercooked") || strings.Contains(plant, "firmed") {
		t.Errorf("a carrot is treated as meat:\n%s", plant)
	}
}

// A piece turned every ten seconds does not fill the screen.
func TestSimulateManyTurns(t *testing.T) {
	_, out, _ := trivet(t, "", "simulate", simFile(t, strings.Replace(simCook, "every: 1 min", "every: 10 s", 1)))
	if !strings.Contains(out, "more turns") || strings.Contains(out, "turn 9\n") || !strings.Contains(out, "turn 3\n") {
		t.Errorf("turns are not shortened:\n%s", out)
	}
	for line := range strings.Lines(out) {
		if strings.HasSuffix(line, " \n") && strings.Contains(out, "Where the heat") && strings.Contains(line, "face") {
			t.Errorf("a line ends in blanks: %q", line)
		}
	}
}

func TestSimulateFromStdin(t *testing.T) {
	status, out, errs := trivet(t, simCook, "simulate", "-")
	if status != 0 || !strings.HasPrefix(out, "standard input: ") {
		t.Errorf("%s%s", out, errs)
	}
}

func TestSimulateErrors(t *testing.T) {
	good := simFile(t, simCook)
	for _, c := range []struct {
		name   string
		args   []string
		status int
		says   string
	}{
		{"no file", []string{"simulate"}, 2, "COOK"},
		{"missing file", []string{"simulate", "none.yaml"}, 2, "none.yaml"},
		{"folder", []string{"simulate", t.TempDir()}, 2, "cook file"},
		{"bad number", []string{"simulate", simFile(t, strings.Replace(simCook, "350", "-350", 1))}, 1, ":4:"},
		{"unknown food", []string{"simulate", simFile(t, strings.Replace(simCook, "pork loin", "pork lion", 1))}, 1, "did you mean"},
		{"bad moment", []string{"simulate", good, "--at", "noon"}, 2, "noon"},
		{"late moment", []string{"simulate", good, "--at", "3 h"}, 2, "ends before"},
		{"pull without a rest", []string{"simulate", simFile(t, simCook[:strings.Index(simCook, "  - {name: rest")]), "--at", "pull"}, 2, "without a rest"},
		{"bad picture", []string{"simulate", good, "--picture", "a.gif"}, 2, ".png"},
		{"bad size", []string{"simulate", good, "--picture", "a.png", "--size", "huge"}, 2, "1080p"},
		{"size alone", []string{"simulate", good, "--size", "page"}, 2, "--picture"},
		{"no folder", []string{"simulate", good, "--picture", filepath.Join(t.TempDir(), "no", "a.png")}, 2, "a.png"},
		{"one sample", []string{"simulate", good, "--samples", "1"}, 2, "between 2"},
		{"negative samples", []string{"simulate", good, "--samples", "-5"}, 2, "between 2"},
		{"seed alone", []string{"simulate", good, "--seed", "3"}, 2, "--samples"},
		{"nothing uncertain", []string{"simulate", simFile(t, strings.Replace(simCook, " ± 1 mm", "", 1)), "--samples", "10"}, 1, "±"},
		{"never ends", []string{"simulate", simFile(t, strings.Replace(simCook, "core: 50 °C", "core: 250 °C", 1))}, 1, "chop.yaml:7:"},
	} {
		t.Run(c.name, func(t *testing.T) {
			status, out, errs := trivet(t, "", c.args...)
			if status != c.status || out != "" || !strings.Contains(errs, c.says) {
				t.Errorf("status %d, stdout %q, stderr %s", status, out, errs)
			}
		})
	}
}

func TestSimulateSamples(t *testing.T) {
	file := simFile(t, simCook)
	run := func(seed string) string {
		status, out, errs := trivet(t, "", "simulate", file, "--samples", "40", "--seed", seed, "--json")
		if status != 0 {
			t.Fatal(errs)
		}
		return out
	}
	one := run("7")
	if one != run("7") {
		t.Error("one seed gave two answers")
	}
	if one == run("8") {
		t.Error("two seeds gave one answer")
	}
	var got simulateOut
	if err := json.Unmarshal([]byte(one), &got); err != nil || got.Samples == nil || got.Samples.N != 40 || got.Samples.Seed != 7 {
		t.Fatalf("%v %+v", err, got.Samples)
	}
	for _, r := range got.Samples.Responses {
		if r.Low > r.Median || r.Median > r.High {
			t.Errorf("%s: %+v", r.ID, r.Band)
		}
	}
	_, text, _ := trivet(t, "", "simulate", file, "--samples", "40")
	if !strings.Contains(text, "40 sampled cooks, seed 1") || !strings.Contains(text, "piece.thickness") {
		t.Errorf("the samples are not told:\n%s", text)
	}
}

func TestSimulatePicture(t *testing.T) {
	a, b := simFile(t, simCook), simFile(t, strings.Replace(simCook, "180 °C", "220 °C", 1))
	dir := t.TempDir()
	file := filepath.Join(dir, "cut.png")
	if status, _, errs := trivet(t, "", "simulate", a, b, "--picture", file, "--at", "pull,end"); status != 0 {
		t.Fatal(errs)
	}
	img, err := png.Decode(bytes.NewReader(must(os.ReadFile(file))))
	if err != nil || img.Bounds().Dx() != 1920 || img.Bounds().Dy() != 1080 {
		t.Fatalf("%v %v", err, img.Bounds())
	}
	svg := filepath.Join(dir, "cut.svg")
	if status, _, errs := trivet(t, "", "simulate", a, "--picture", svg); status != 0 {
		t.Fatal(errs)
	}
	if s := string(must(os.ReadFile(svg))); !strings.Contains(s, doneness.ColourCaution) || !strings.Contains(s, "undercooked") {
		t.Error("a caution is missing from the picture")
	}
	pdf := filepath.Join(dir, "cut.pdf")
	if status, _, errs := trivet(t, "", "simulate", a, "--picture", pdf); status != 0 || !bytes.HasPrefix(must(os.ReadFile(pdf)), []byte("%PDF-")) {
		t.Error(errs)
	}
}

func TestSimulateFoodsAndSchema(t *testing.T) {
	_, out, _ := trivet(t, "", "simulate", "--foods")
	for _, f := range heat.Foods {
		if !strings.Contains(out, f.Name) {
			t.Errorf("%s is not listed", f.Name)
		}
	}
	_, out, _ = trivet(t, "", "simulate", "--foods", "--json")
	if m := jsonObject(t, out); len(m["foods"].([]any)) != len(heat.Foods) {
		t.Error("foods are missing")
	}
	_, out, _ = trivet(t, "", "simulate", "--schema")
	if jsonObject(t, out)["$schema"] == nil {
		t.Error("no schema")
	}
}

// Every example cook runs.
func TestSimulateExamples(t *testing.T) {
	files, err := filepath.Glob("../examples/simulate/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal("no examples", err)
	}
	for _, f := range files {
		if status, _, errs := trivet(t, "", "simulate", f); status != 0 {
			t.Errorf("%s: %s", f, errs)
		}
	}
}

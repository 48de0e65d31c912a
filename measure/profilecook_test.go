package measure

import (
	"math"
	"strings"
	"testing"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// input makes a cook's record of a computed cook whose moves nobody marked.
func (c seared) input(sensors []ProfileSensor) Input {
	const zero = 60e6 // µs from the start of the log to heat on
	in := Input{Cook: study.Cook{Label: "computed", ZeroUS: zero, ZeroSet: true},
		Piece: study.Piece{Label: "computed", ThicknessM: []float64{c.thickM}}}
	mark := func(k study.MarkKind, s float64) {
		in.Cook.Marks = append(in.Cook.Marks, study.Mark{Kind: k, AtUS: int64(s * 1e6)})
	}
	mark(study.HeatOn, 0)
	for _, s := range c.turnsS {
		mark(study.Turn, s)
	}
	mark(study.OffHeat, c.offS)
	mark(study.Served, c.endS)
	for _, s := range sensors {
		ch := trace.Channel{ID: s.ID, Place: trace.Depth, Unit: trace.DegC, DepthM: s.DepthM}
		switch {
		case s.OnProbe:
		case s.DepthM == 0 || s.DepthM == c.thickM:
			ch.Place, ch.Side = trace.Surface, s.ID
		default:
			ch.Place = trace.Core
		}
		tr := trace.Trace{Channel: ch, Elapsed: true, Quantum: 0.1}
		for i, t := range s.TimeS {
			tr.TimesUS = append(tr.TimesUS, int64(t*1e6)+zero)
			tr.Counts = append(tr.Counts, int64(math.Round(10*s.C[i])))
		}
		in.Traces = append(in.Traces, tr)
	}
	return in
}

// A seared cook as a kitchen leaves it: turns and off heat are marked, the
// move between pan and oven is not.
func TestSearedCookWithAnUnmarkedMove(t *testing.T) {
	for _, kind := range []string{"first", "last"} {
		c := searedCook(t, kind, 1)
		res, err := Cook(c.input(c.probe(0.3, 1, true)), "core_at_pull", "even_share", "surface_at_serving")
		if err != nil {
			t.Fatal(err)
		}
		wantNotes(t, res, "change-detected", "profile-fitted", "profile-below-crust")
		for name, want := range map[string]float64{"core_at_pull": c.at(c.thickM/2, c.offS), "even_share": c.evenShare(c.offS),
			"surface_at_serving": (c.at(0, c.endS) + c.at(c.thickM, c.endS)) / 2} {
			r, ok := res.Get(name)
			if !ok || math.Abs(r.Value-want) > 2.5*r.StdU {
				t.Errorf("seared %s: %s %.2f ± %.2f (k = 1), truly %.2f; %v", kind, name, r.Value, r.StdU, want, res.Absent)
			}
		}
		if r, _ := res.Get("even_share"); math.Abs(r.Value-c.evenShare(c.offS)) > 3 {
			t.Errorf("seared %s: even_share %.1f, truly %.1f", kind, r.Value, c.evenShare(c.offS))
		}
	}
}

// A sensor that was plugged into the wrong place goes with no profile: the fit
// does without it and says which. Two of them, and it says that nothing fits.
func TestSensorInTheWrongPlaceIsLeftOut(t *testing.T) {
	c := searedCook(t, "pan", 3)
	right := c.probe(0.3, 3, true)
	swapped := c.probe(0.3, 3, true)
	swapped[1].DepthM = 0.4 * c.thickM // stands at a sixth
	res, err := Cook(c.input(swapped), "core_at_pull")
	if err != nil {
		t.Fatal(err)
	}
	note := wantNotes(t, res, "profile-without", "profile-fitted")["profile-without"]
	if !strings.Contains(note.Text, right[1].ID) {
		t.Errorf("%q does not name sensor %s", note.Text, right[1].ID)
	}
	if r, ok := res.Get("core_at_pull"); !ok || math.Abs(r.Value-c.at(c.thickM/2, c.offS)) > 2*r.StdU {
		t.Errorf("core %.2f ± %.2f, truly %.2f", r.Value, r.StdU, c.at(c.thickM/2, c.offS))
	}
	swapped[4].DepthM = 0.55 * c.thickM // stands at five sixths
	if res, err = Cook(c.input(swapped), "core_at_pull"); err != nil {
		t.Fatal(err)
	}
	wantNotes(t, res, "profile-refused")
}

// wantNotes finds notes by their code.
func wantNotes(t *testing.T, res *Result, codes ...string) map[string]fault.Note {
	t.Helper()
	found := map[string]fault.Note{}
	for _, n := range res.Remarks() {
		found[string(n.Code)] = n
	}
	for _, c := range codes {
		if _, ok := found[c]; !ok {
			t.Fatalf("no note %s: %v", c, res.Remarks())
		}
	}
	return found
}

package heat

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"trivet/fault"
)

// chop is a seared and rested slab; legs may be changed by tests.
func chop() *Spec {
	return &Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.030, StartC: 5, Food: "pork top loin chop, lean"},
		Moisture: Moisture{On: true},
		Legs: []Leg{
			{
				Name:   "sear",
				Bottom: Pan{TempC: 200, Contact: 400},
				Top:    Air{TempC: 25, H: new(8.0), Humidity: new(0.4), Emissivity: new(0.95)},
				Turn:   &TurnRule{CoreRiseK: 10 / 1.8},
				Ends:   EndRule{CoreC: new(45.0)},
			},
			{
				Name: "rest", Rest: true,
				Bottom: Board{TempC: 23, H: 5},
				Top:    Air{TempC: 23, H: new(6.0), Humidity: new(0.4)},
				Ends:   EndRule{TimeS: new(720.0)},
			},
		},
		Output: Output{DepthsM: []float64{0, 0.010, 0.020}},
	}
}

func turnTimes(r *Result) (out []float64) {
	for _, e := range r.Events {
		if e.Kind == Turned {
			out = append(out, e.TimeS)
		}
	}
	return out
}

func coreAt(r *Result, t float64) float64 {
	i := int(t / 5)
	f := t/5 - float64(i)
	return r.CoreC[i]*(1-f) + r.CoreC[i+1]*f
}

func TestCoreRiseTurns(t *testing.T) {
	r := run(t, chop(), Options{})
	turns := turnTimes(r)
	// The core rises from 5 to 45 °C: turns at 5 + n·5.556 below 45, seven.
	if len(turns) != 7 || r.Legs[0].Turns != 7 {
		t.Fatalf("turns at %v", turns)
	}
	for n, at := range turns {
		within(t, fmt.Sprintf("core at turn %d", n+1), coreAt(r, at), 5+float64(n+1)*10/1.8, 0.03)
	}
	within(t, "core at pull", *r.Summary.CoreAtPullC, 45, 1e-5)
	within(t, "pull time", *r.Summary.PullTimeS, r.Legs[0].EndS, 0)
	if *r.Summary.CarryoverK <= 0 || *r.Summary.TimeToPeakS <= 0 || *r.Summary.TimeToPeakS >= 720 {
		t.Errorf("carryover %.2f K after %.0f s", *r.Summary.CarryoverK, *r.Summary.TimeToPeakS)
	}
	peak := 0.0
	for i, c := range r.CoreC {
		if r.TimeS[i] >= *r.Summary.PullTimeS {
			peak = math.Max(peak, c)
		}
	}
	within(t, "peak against the series", *r.Summary.CorePeakC, peak, 0.01)
	within(t, "carryover", *r.Summary.CarryoverK, *r.Summary.CorePeakC-45, 1e-5)
}

func TestScheduledTurns(t *testing.T) {
	spec := chop()
	spec.Legs[0].Ends = EndRule{TimeS: new(330.0)}
	spec.Legs[0].Turn = &TurnRule{EveryS: 60}
	if got := fmt.Sprint(turnTimes(run(t, spec, Options{}))); got != "[60 120 180 240 300]" {
		t.Errorf("every 60 s: %s", got)
	}
	spec.Legs[0].Turn = &TurnRule{AtS: []float64{100, 130.5}}
	// A leg before shifts the turns: they count from their leg's start.
	spec.Legs = append([]Leg{{Name: "wait", Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: new(50.0)}}}, spec.Legs...)
	if got := fmt.Sprint(turnTimes(run(t, spec, Options{}))); got != "[150 180.5]" {
		t.Errorf("at 100 and 130.5 s of a leg from 50 s: %s", got)
	}
}

// A turn swaps the piece under standing conditions: turning before anything
// happened is starting upside down.
func TestTurnSwapsThePiece(t *testing.T) {
	spec := chop()
	spec.Legs = spec.Legs[:1]
	spec.Legs[0].Turn = &TurnRule{AtS: []float64{1e-3}}
	spec.Legs[0].Turn.AtS[0] = 0.1
	spec.Legs[0].Ends = EndRule{TimeS: new(200.0)}
	turned := run(t, spec, Options{})
	spec.Legs[0].Turn = nil
	still := run(t, spec, Options{})
	end := len(still.TimeS) - 1
	within(t, "hot side after the turn", turned.TopC[end], still.BottomC[end], 0.3)
	within(t, "cold side after the turn", turned.BottomC[end], still.TopC[end], 0.3)
	within(t, "core", turned.CoreC[end], still.CoreC[end], 0.1)
}

func TestOutputTimes(t *testing.T) {
	spec := chop()
	spec.Output.EveryS = 7
	r := run(t, spec, Options{})
	end := r.Legs[1].EndS
	for i, s := range r.TimeS {
		if s != 7*float64(i) {
			t.Fatalf("row %d at %g s", i, s)
		}
	}
	if last := r.TimeS[len(r.TimeS)-1]; last > end || last < end-7 {
		t.Errorf("last row at %g s, the cook ends at %g s", last, end)
	}
	for name, v := range map[string]float64{"core": r.CoreC[0], "side A": r.BottomC[0], "side B": r.TopC[0], "mean": r.MeanC[0], "coldest": r.ColdestC[0]} {
		within(t, "first row, "+name, v, 5, 1e-9)
	}
	within(t, "first row, pan", r.PanC[0], spec.Legs[0].Bottom.(Pan).TempC, 1e-9)
	for _, n := range []int{len(r.CoreC), len(r.ColdestC), len(r.BottomC), len(r.TopC), len(r.MeanC), len(r.DepthC), len(r.PanC)} {
		if n != len(r.TimeS) {
			t.Errorf("a series has %d rows of %d", n, len(r.TimeS))
		}
	}
	for i := range r.TimeS {
		if math.Abs(r.DepthC[i][0]-r.BottomC[i]) > 1e-6 {
			t.Fatalf("depth 0 is %g, side A %g", r.DepthC[i][0], r.BottomC[i])
		}
	}
	spec.Legs = []Leg{{Name: "a", Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: new(21.0)}}}
	if r := run(t, spec, Options{}); len(r.TimeS) != 4 || r.TimeS[3] != 21 {
		t.Errorf("rows at %v", r.TimeS)
	}
}

// Halving the output interval must not change what happens.
func TestOutputDoesNotSteer(t *testing.T) {
	a, b := chop(), chop()
	b.Output.EveryS = 0.5
	ra, rb := run(t, a, Options{}), run(t, b, Options{})
	if *ra.Summary.CorePeakC != *rb.Summary.CorePeakC || ra.Summary.LossPct != rb.Summary.LossPct {
		t.Errorf("%+v against %+v", ra.Summary, rb.Summary)
	}
}

func TestBasteForTheLastTurns(t *testing.T) {
	spec := chop()
	spec.Legs[0].Also = []Action{{FromTurnsBeforeEnd: 2, Top: FatFilm{FatC: 150, Film: 120, Cover: 0.9}}}
	plain := run(t, chop(), Options{})
	r := run(t, spec, Options{})
	turns := turnTimes(r)
	start := -1.0
	for _, e := range r.Events {
		if e.Kind == ActionStart {
			start = e.TimeS
		}
	}
	// Two turns, its first one included, belong to the action.
	if n := len(turns); n < 2 || turns[n-2] != start {
		t.Fatalf("action at %g, turns at %v", start, turns)
	}
	if *r.Summary.PullTimeS >= *plain.Summary.PullTimeS {
		t.Errorf("hot fat on top must save time: %.1f against %.1f s", *r.Summary.PullTimeS, *plain.Summary.PullTimeS)
	}
	if *r.Summary.CarryoverK <= *plain.Summary.CarryoverK {
		t.Errorf("basting must raise carryover: %.2f against %.2f K", *r.Summary.CarryoverK, *plain.Summary.CarryoverK)
	}
	if r.LedgerM.Top.Fat <= 0 || plain.LedgerM.Top.Fat != 0 {
		t.Errorf("heat from fat %g and %g", r.LedgerM.Top.Fat, plain.LedgerM.Top.Fat)
	}
}

// A cooling action lengthens the leg: each turn earlier that it starts adds
// turns, and some counts are skipped. Then the latest start that leaves at
// least the turns asked for is taken, and said.
func TestActionWithoutExactStart(t *testing.T) {
	seen := false
	for count := 9; count <= 14; count++ {
		spec := chop()
		spec.Legs = spec.Legs[:1]
		spec.Legs[0].Turn = &TurnRule{EveryS: 20}
		spec.Legs[0].Bottom = Pan{TempC: 100}
		spec.Legs[0].Also = []Action{{FromTurnsBeforeEnd: count, Top: Fluid{TempC: 20, H: 600}}}
		r := run(t, spec, Options{Fast: true})
		remark, start := "", 0.0
		for _, e := range r.Events {
			switch e.Kind {
			case Remark:
				remark = e.What
			case ActionStart:
				start = e.TimeS
			}
		}
		left := 0
		for _, at := range turnTimes(r) {
			if at >= start {
				left++
			}
		}
		switch {
		case remark == "" && left != count:
			t.Errorf("%d asked: %d turns from the start on and no remark", count, left)
		case remark != "":
			seen = true
			if left <= count || left > count+2 {
				t.Errorf("%d asked: %d turns left: %s", count, left, remark)
			}
		}
	}
	if !seen {
		t.Error("no count was skipped; the remark stays untested")
	}
}

// With fewer turns than asked the action acts from the leg's start, and the
// result says so.
func TestBasteBeforeTheFirstTurn(t *testing.T) {
	for _, turn := range []*TurnRule{nil, {AtS: []float64{100}}} {
		spec := chop()
		spec.Legs[0].Turn = turn
		spec.Legs[0].Also = []Action{{FromTurnsBeforeEnd: 2, Top: FatFilm{FatC: 150}}}
		remarks, start := 0, -1.0
		for _, e := range run(t, spec, Options{Fast: true}).Events {
			switch e.Kind {
			case Remark:
				remarks++
			case ActionStart:
				start = e.TimeS
			}
		}
		if remarks != 1 || start != 0 {
			t.Errorf("%d remarks, action at %g s", remarks, start)
		}
	}
}

func TestActionForTheLastSeconds(t *testing.T) {
	for _, ends := range []EndRule{{CoreC: new(45.0)}, {TimeS: new(400.0)}} {
		spec := chop()
		spec.Legs[0].Turn = &TurnRule{EveryS: 60}
		spec.Legs[0].Ends = ends
		spec.Legs[0].Also = []Action{{LastS: 90, Top: FatFilm{FatC: 150, Film: 120, Cover: 0.9}}}
		r := run(t, spec, Options{})
		for _, e := range r.Events {
			if e.Kind == ActionStart {
				within(t, "seconds of the action", r.Legs[0].EndS-e.TimeS, 90, 0.1)
			}
		}
	}
}

func TestEndRules(t *testing.T) {
	for _, c := range []struct {
		name string
		ends EndRule
		got  func(r *Result, i int) float64
		want float64
	}{
		{"surface", EndRule{SurfaceC: new(60.0)}, func(r *Result, i int) float64 { return (r.BottomC[i] + r.TopC[i]) / 2 }, 60},
		{"coldest", EndRule{ColdestC: new(15.0)}, func(r *Result, i int) float64 { return r.ColdestC[i] }, 15},
		{"core", EndRule{CoreC: new(30.0), TimeS: new(5000.0)}, func(r *Result, i int) float64 { return r.CoreC[i] }, 30},
	} {
		spec := chop()
		spec.Legs = spec.Legs[:1]
		spec.Legs[0].Turn = nil
		spec.Legs[0].Bottom = Fluid{TempC: 80, H: 150}
		spec.Legs[0].Top = Fluid{TempC: 75, H: 150}
		spec.Legs[0].Ends = c.ends
		spec.Output.EveryS = 0.01
		r := run(t, spec, Options{})
		within(t, c.name, c.got(r, len(r.TimeS)-1), c.want, 0.02)
	}
	// A rest can wait for cooling.
	spec := chop()
	spec.Legs[1].Ends = EndRule{SurfaceC: new(50.0)}
	within(t, "surface after cooling", run(t, spec, Options{}).Summary.SurfaceAtEndC, 50, 0.01)
	// A core already reached ends a heating leg at once.
	spec = chop()
	spec.Legs[0].Ends = EndRule{CoreC: new(4.0)}
	if r := run(t, spec, Options{}); r.Legs[0].EndS != 0 {
		t.Errorf("the leg lasts %g s", r.Legs[0].EndS)
	}
}

func TestImpossibleCooks(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Spec)
		says   string
	}{
		{"core out of reach", func(s *Spec) {
			s.Moisture.On = false
			s.Legs[0].Bottom, s.Legs[0].Top = Fluid{TempC: 41, H: 200}, Fluid{TempC: 41, H: 200}
		}, "settles at 41.0 °C"},
		{"frozen", func(s *Spec) { s.Piece.StartC = -18 }, "frozen"},
		{"frozen layer", func(s *Spec) { s.Piece.StartProfile = []ProfilePoint{{0, -3}, {0.03, 5}} }, "frozen"},
		{"unknown food", func(s *Spec) { s.Piece.Food = "unicorn" }, "no food of that name"},
		{"no end", func(s *Spec) { s.Legs[0].Ends = EndRule{} }, "never ends"},
		{"no legs", func(s *Spec) { s.Legs = nil }, "no legs"},
		{"no top", func(s *Spec) { s.Legs[0].Top = nil }, "top face"},
		{"two turn rules", func(s *Spec) { s.Legs[0].Turn.EveryS = 60 }, "exactly one"},
		{"deep output", func(s *Spec) { s.Output.DepthsM = []float64{0.1} }, "output depth"},
		{"negative thickness", func(s *Spec) { s.Piece.ThicknessM = -1 }, "thickness"},
		{"not a number", func(s *Spec) { s.Piece.StartC = math.NaN() }, "start"},
		{"water missing", func(s *Spec) { s.Piece.Food = ""; s.Piece.Material = stuff(0.5, 1000, 3500) }, "no water"},
		{"mad humidity", func(s *Spec) { s.Legs[0].Top = Air{TempC: 20, Humidity: new(40.0)} }, "humidity"},
	} {
		spec := chop()
		c.change(spec)
		_, err := Simulate(spec, Options{})
		var e *fault.Error
		if !errors.As(err, &e) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		if text := e.Error(); !strings.Contains(text, c.says) {
			t.Errorf("%s: %q does not say %q", c.name, text, c.says)
		}
	}
}

func TestNoRestNoCarryover(t *testing.T) {
	spec := chop()
	spec.Legs = spec.Legs[:1]
	s := run(t, spec, Options{}).Summary
	if s.PullTimeS != nil || s.CarryoverK != nil || s.CorePeakC != nil || s.TimeToPeakS != nil || s.CoreAtPullC != nil {
		t.Errorf("%+v", s)
	}
}

func TestSnapshots(t *testing.T) {
	spec := chop()
	spec.Output.SnapshotsS = []float64{200, 60}
	r := run(t, spec, Options{})
	var whats []string
	for _, s := range r.Snapshots {
		whats = append(whats, fmt.Sprintf("%s %.0f", s.What, s.TimeS))
		for i := range s.TempC {
			if s.PeakC[i] < s.TempC[i]-1e-9 {
				t.Errorf("%s: peak below present", s.What)
			}
		}
	}
	if len(whats) != 4 || whats[0] != "asked 60" || whats[1] != "asked 200" || !strings.HasPrefix(whats[2], "pull") || !strings.HasPrefix(whats[3], "end") {
		t.Errorf("snapshots %v", whats)
	}
}

// A reused solver must give what a fresh one gives.
func TestSolverReuse(t *testing.T) {
	s := NewSolver()
	res := new(Result)
	disc := chop()
	disc.Piece.Shape, disc.Piece.DiameterM = Disc, 0.07
	for _, spec := range []*Spec{disc, chop(), flipSpec(900, 60, []float64{37}), chop(), disc} {
		if err := s.RunInto(res, spec, Options{Fast: true}); err != nil {
			t.Fatal(err)
		}
		fresh := run(t, spec, Options{Fast: true})
		if got, want := fmt.Sprint(res.CoreC, res.Summary.LossPct, res.Events), fmt.Sprint(fresh.CoreC, fresh.Summary.LossPct, fresh.Events); got != want {
			t.Errorf("a reused solver differs:\n%.200s\n%.200s", got, want)
		}
	}
}

// even_share of a straight profile is known.
func TestEvenShare(t *testing.T) {
	end := 1e-3
	spec := &Spec{
		Piece: Piece{Shape: Slab, ThicknessM: 0.02, StartC: 20, StartProfile: []ProfilePoint{{0, 40}, {0.02, 80}}, Material: stuff(0.5, 1000, 3500)},
		Legs:  []Leg{{Name: "now", Bottom: Insulated{}, Top: Insulated{}, Ends: EndRule{TimeS: &end}}},
	}
	within(t, "even share of 40…80 °C about 60 ± 5", run(t, spec, Options{Cells: 80}).Summary.EvenSharePct, 25, 0.2)
	spec.Output.EvenBandK = 10
	within(t, "within ± 10", run(t, spec, Options{Cells: 80}).Summary.EvenSharePct, 50, 0.2)
}

// Beyond what food withstands the numbers stay finite and a note says that
// they mean little.
func TestBurntFoodIsNoted(t *testing.T) {
	for _, c := range []struct {
		name  string
		panC  float64
		noted bool
	}{{"frying", 200, false}, {"burning", 600, true}} {
		spec := chop()
		spec.Legs[0].Bottom = Pan{TempC: c.panC, Contact: 2000}
		r := run(t, spec, Options{Fast: true})
		noted := slices.ContainsFunc(r.Notes, func(n fault.Note) bool { return n.Code == "model-range" })
		if noted != c.noted {
			t.Errorf("%s: notes %v", c.name, r.Notes)
		}
	}
}

// A surface that jumps over its target as the conditions change ends the leg
// there: these cooks once went on in steps of a nanosecond.
func TestSurfaceJumpsOverItsTarget(t *testing.T) {
	thin := &Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.002, StartC: 23, Composition: &Composition{Water: 0.72, Protein: 0.22, Fat: 0.05, Ash: 0.01}},
		Moisture: Moisture{On: true, Shrinkage: 0.9}, AltitudeM: 9000,
		Legs: []Leg{{Name: "fry", Bottom: Steam{}, Top: Fluid{TempC: 202, H: 4186}, Turn: &TurnRule{CoreRiseK: 1.3},
			Ends: EndRule{TimeS: new(2812.0), SurfaceC: new(56.0)}}},
	}
	thick := &Spec{
		Piece:    Piece{Shape: Slab, ThicknessM: 0.0105, StartC: 19, Material: Material{Conductivity: 0.5, Density: 1050, SpecificHeat: 3500, Water: 0.7}},
		Moisture: Moisture{On: true}, AltitudeM: 9000,
		Legs: []Leg{{Name: "steam", Bottom: Steam{TempC: new(135.0)}, Top: Foil{AirC: 257}, Turn: &TurnRule{AtS: []float64{30, 90}},
			Ends: EndRule{TimeS: new(619.0), SurfaceC: new(103.0)}, Also: []Action{{LastS: 451, Top: Air{TempC: 591}}}}},
	}
	for _, spec := range []*Spec{thin, thick} {
		r := run(t, spec, Options{})
		if r.Stats.Steps > 5000 || r.Legs[0].EndS >= *spec.Legs[0].Ends.TimeS {
			t.Errorf("%s: %d steps, ends at %.1f s", spec.Legs[0].Name, r.Stats.Steps, r.Legs[0].EndS)
		}
	}
}

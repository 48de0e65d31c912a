package trace

import (
	"math"
	"math/rand/v2"
	"testing"
)

// panCook computes a turned slab: explicit conduction in 60 cells of a 30 mm
// slab (α = 0.13 mm²/s), its lower face held towards a pan, its upper face
// cooled by air, read at 1 Hz to 0.1 K with noise at the depths given. The
// pan sags when the slab is laid on.
func panCook(onS, offS, endS float64, turnsS []float64, noise float64, depthsMM ...float64) []*Trace {
	const (
		cells = 60
		dx    = 0.5 // mm
		alpha = 0.13
		dt    = 0.2
	)
	r := rand.New(rand.NewPCG(5, 6))
	temp := make([]float64, cells)
	for i := range temp {
		temp[i] = 5
	}
	pan := 205.0
	down := 0 // cell at the pan
	traces := []*Trace{{Channel: Channel{ID: "pan", Place: Pan, Unit: DegC}, Quantum: 0.1}}
	for _, d := range depthsMM {
		traces = append(traces, &Trace{Channel: Channel{ID: "d", Place: Depth, Unit: DegC, DepthM: d / 1000}, Quantum: 0.1})
	}
	for i, tr := range traces[1:] {
		tr.Channel.ID += string(rune('0' + i))
	}
	next := make([]float64, cells)
	turn := 0
	for step := 0; float64(step)*dt <= endS; step++ {
		s := float64(step) * dt
		if turn < len(turnsS) && s >= turnsS[turn] {
			down = cells - 1 - down
			turn++
		}
		hot := s >= onS && s < offS
		if step%5 == 0 {
			us := int64(math.Round(s * 1e6))
			for i, tr := range traces {
				v := pan
				if i > 0 {
					v = temp[int(tr.Channel.DepthM*1000/dx)]
				}
				tr.TimesUS = append(tr.TimesUS, us)
				tr.Counts = append(tr.Counts, int64(math.Round((v+noise*r.NormFloat64())*10)))
			}
		}
		// Contact 500 W/m²K and air 25 W/m²K over k = 0.45 W/mK, per cell.
		contact, air := 500*dx/1000/0.45, 25*dx/1000/0.45
		for i := range temp {
			left, right := temp[max(i-1, 0)], temp[min(i+1, cells-1)]
			next[i] = temp[i] + alpha*dt/(dx*dx)*(left-2*temp[i]+right)
		}
		for _, face := range []int{0, cells - 1} {
			h, to := air, 23.0
			if hot && face == down {
				h, to = contact, min(pan, 115)
			}
			next[face] += alpha * dt / (dx * dx) * h * (to - temp[face])
		}
		temp, next = next, temp
		if hot {
			pan += dt * (0.02*(205-pan) - 0.012*(pan-temp[down]))
		} else {
			pan += dt * 0.02 * (205 - pan)
		}
	}
	return traces
}

func TestDetectReadsACook(t *testing.T) {
	for _, c := range []struct {
		name         string
		noise        float64
		depths       []float64
		on, off, end float64
		turns        []float64
	}{
		{"two turns, sensors 2 mm under each face", 0.05, []float64{2, 15, 28}, 60, 600, 1000, []float64{240, 420}},
		{"turned each minute", 0.05, []float64{2, 15, 28}, 45, 405, 800, []float64{105, 165, 225, 285, 345}},
		{"not turned", 0.05, []float64{2, 15, 28}, 60, 600, 1000, nil},
		{"turned every 15 s", 0.05, []float64{2, 28}, 60, 240, 600, []float64{75, 90, 105, 120, 135, 150, 165, 180, 195, 210, 225}},
		{"noisy", 0.15, []float64{2, 28}, 60, 600, 1000, []float64{330}},
	} {
		t.Run(c.name, func(t *testing.T) {
			events := Detect(panCook(c.on, c.off, c.end, c.turns, c.noise, c.depths...), DetectOptions{})
			want := []Event{{Kind: HeatOn, AtUS: int64(c.on * 1e6)}}
			for _, s := range c.turns {
				want = append(want, Event{Kind: Turn, AtUS: int64(s * 1e6)})
			}
			want = append(want, Event{Kind: OffHeat, AtUS: int64(c.off * 1e6)})
			if len(events) != len(want) {
				t.Fatalf("found %+v\nwant  %+v", events, want)
			}
			for i, e := range events {
				if e.Kind != want[i].Kind || abs(e.AtUS-want[i].AtUS) > 8e6 || e.Confidence < 0.3 || e.Why == "" {
					t.Errorf("event %d: %+v, want %s at %d s", i, e, want[i].Kind, want[i].AtUS/1e6)
				}
			}
		})
	}
}

func TestDetectOffersNoTurnsItCannotSee(t *testing.T) {
	turned := []float64{240, 420}
	for name, c := range map[string]struct {
		place  Place
		depths []float64
	}{
		"one sensor near a face": {Depth, []float64{2}},
		"sensors 8 mm deep":      {Depth, []float64{8, 22}},
		"a core alone":           {Core, []float64{15}},
	} {
		cook := panCook(60, 600, 1000, turned, 0.05, c.depths...)
		for _, tr := range cook[1:] {
			tr.Channel.Place = c.place
		}
		if len(c.depths) == 1 && c.place == Depth {
			cook = cook[1:] // the pan would tell
		}
		events := Detect(cook, DetectOptions{})
		if len(events) == 0 || events[0].Kind != HeatOn || abs(events[0].AtUS-60e6) > 8e6 {
			t.Errorf("%s: %+v", name, events)
		}
		for _, e := range events {
			if e.Kind == Turn {
				t.Errorf("%s: %+v", name, e)
			}
		}
	}
}

func TestDetectFindsNothingInAColdPiece(t *testing.T) {
	cold := panCook(1e9, 1e9, 600, nil, 0.1, 2, 28)
	if e := Detect(cold, DetectOptions{}); len(e) != 0 {
		t.Errorf("%+v", e)
	}
	if e := Detect(nil, DetectOptions{}); len(e) != 0 {
		t.Errorf("%+v", e)
	}
}

func BenchmarkDetect(b *testing.B) {
	cook := panCook(60, 600, 1200, []float64{240, 420}, 0.05, 2, 15, 28)
	b.ReportAllocs()
	for b.Loop() {
		Detect(cook, DetectOptions{})
	}
}
